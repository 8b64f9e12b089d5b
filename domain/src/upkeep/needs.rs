//! A need: what a vehicle asks for, when, how surely and why.

use crate::figure::Figure;
use crate::inspection::Contaminant;
use crate::vehicle::Zone;
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Need {
    pub kind: NeedKind,
    /// The coat that wears, for `protection`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub coat: Option<CoatRef>,
    /// The day the count began: last decontamination, application or wash. A new count is a new trigger.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub since_on: Option<NaiveDate>,
    /// The day to tell the customer, at 80 % of the limit.
    pub remind_on: NaiveDate,
    /// The day on which the risk that the limit is crossed reaches `risk_target`, held within the limits against too much.
    pub due_on: NaiveDate,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub overdue_on: Option<NaiveDate>,
    /// 80 % interval of the day on which the limit is crossed: with 10 % it was by then, with 90 %. None beyond twenty
    /// years, and where the day is a rule and not a matter of chance.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub early_on: Option<NaiveDate>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub late_on: Option<NaiveDate>,
    /// Probability that the limit is crossed today, and at which the shop wants to act.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub risk_today: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub risk_target: Option<f64>,
    /// What it is about, for spots.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub contaminants: Vec<Contaminant>,
    pub urgency: Urgency,
    /// Package recommended, for instance `P2`.
    pub package: String,
    /// One plain sentence for the customer.
    pub reason: String,
    /// What to do first, and limits against too much.
    pub advice: Vec<String>,
    /// The numbers used.
    pub figures: Vec<Figure>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum NeedKind {
    /// Iron removal.
    Decontamination,
    /// Renewal of a coat.
    Protection,
    Wash,
    /// Salt out of seams and underbody after the winter.
    SaltFlush,
    /// A feel test, because nobody knows when iron was last removed.
    FeelTest,
    /// Tar, sap or mineral spots.
    SpotRemoval,
    /// Insects and bird lime off the front, between washes.
    FrontWash,
}

/// The days of a need, by which it is found in lists; its words are made when somebody reads them.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct NeedDays {
    /// As of [`Need::key`].
    pub key: String,
    pub kind: NeedKind,
    pub remind_on: NaiveDate,
    pub due_on: NaiveDate,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub early_on: Option<NaiveDate>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub late_on: Option<NaiveDate>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub overdue_on: Option<NaiveDate>,
}

impl NeedDays {
    pub fn of(need: &Need) -> NeedDays {
        NeedDays {
            key: need.key(),
            kind: need.kind,
            remind_on: need.remind_on,
            due_on: need.due_on,
            early_on: need.early_on,
            late_on: need.late_on,
            overdue_on: need.overdue_on,
        }
    }
}

/// Which coat a need is about.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct CoatRef {
    /// Id in the handbook's `protections` table.
    pub protection: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub zone: Option<Zone>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Urgency {
    /// Nothing to tell yet.
    Later,
    Remind,
    Due,
    Overdue,
}

/// The three days of a need.
#[derive(Debug, Clone, Copy)]
pub(super) struct Dates {
    pub remind_on: NaiveDate,
    pub due_on: NaiveDate,
    pub overdue_on: Option<NaiveDate>,
}

impl Dates {
    /// Not before `on`, in the right order.
    pub fn not_before(mut self, on: NaiveDate) -> Dates {
        self.remind_on = self.remind_on.max(on);
        self.due_on = self.due_on.max(self.remind_on);
        self.overdue_on = self.overdue_on.map(|on| on.max(self.due_on));
        self
    }

    pub fn urgency(&self, today: NaiveDate) -> Urgency {
        Urgency::on(today, self.remind_on, self.due_on, self.overdue_on)
    }
}

impl Urgency {
    /// As of `today`, by the days of a need.
    pub fn on(
        today: NaiveDate,
        remind_on: NaiveDate,
        due_on: NaiveDate,
        overdue_on: Option<NaiveDate>,
    ) -> Urgency {
        if overdue_on.is_some_and(|on| today >= on) {
            Urgency::Overdue
        } else if today >= due_on {
            Urgency::Due
        } else if today >= remind_on {
            Urgency::Remind
        } else {
            Urgency::Later
        }
    }
}

impl Need {
    /// Names this need and its trigger; the same until the count begins anew.
    pub fn key(&self) -> String {
        let kind = match self.kind {
            NeedKind::Decontamination => "decontamination",
            NeedKind::Protection => "protection",
            NeedKind::Wash => "wash",
            NeedKind::SaltFlush => "salt_flush",
            NeedKind::FeelTest => "feel_test",
            NeedKind::SpotRemoval => "spot_removal",
            NeedKind::FrontWash => "front_wash",
        };
        let coat = match &self.coat {
            Some(CoatRef { protection, zone: Some(zone) }) => format!(":{protection}:{zone:?}"),
            Some(CoatRef { protection, zone: None }) => format!(":{protection}"),
            None => String::new(),
        };
        let since = self.since_on.map_or("unknown".to_owned(), |on| on.to_string());
        format!("{kind}{coat}:{since}")
    }
}

/// A day is not made of rounding errors: about a tenth of a second.
const SLACK_DAYS: f64 = 1e-6;

/// `base` plus `days`, rounded up to a whole day; none beyond twenty years.
pub(super) fn day_after(base: NaiveDate, days: f64) -> Option<NaiveDate> {
    const HORIZON_DAYS: f64 = 20.0 * 365.25;
    let whole = (days - SLACK_DAYS).ceil();
    if !(0.0..=HORIZON_DAYS).contains(&whole) {
        return None;
    }
    base.checked_add_days(chrono::Days::new(whole as u64))
}

/// `base` plus whole days, or `base` where the calendar ends.
pub(super) fn plus_days(base: NaiveDate, days: u64) -> NaiveDate {
    base.checked_add_days(chrono::Days::new(days)).unwrap_or(base)
}
