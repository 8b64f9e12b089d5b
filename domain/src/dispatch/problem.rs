//! A day of a shop as dispatch sees it. All times are local wall-clock times of the shop.

use super::{Place, Travel, TravelMatrix, VisitStep};
use crate::handbook::Handbook;
use crate::site::{HourRange, Site};
use chrono::{NaiveDate, NaiveDateTime};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use utoipa::ToSchema;

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct DayProblem {
    pub on: NaiveDate,
    /// Where vans start and end unless they have a home of their own.
    pub depot: Place,
    #[serde(default)]
    pub travel: Travel,
    /// Ways that are known better; one with a fault counts as none.
    #[serde(default)]
    pub matrix: Option<TravelMatrix>,
    #[serde(default)]
    pub margins: Margins,
    pub technicians: Vec<Technician>,
    pub vans: Vec<Van>,
    pub visits: Vec<Visit>,
}

/// What is kept in hand.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Margins {
    /// Share of the tank that stays in it. Default 0.1 (rule R18, common practice).
    #[schema(minimum = 0.0, maximum = 1.0)]
    pub tank_reserve_share: f64,
    /// Product on board over product planned. Default 1.2 (rule R60, common practice).
    #[schema(minimum = 1.0, maximum = 10.0)]
    pub stock_factor: f64,
}

impl Default for Margins {
    fn default() -> Margins {
        Margins { tank_reserve_share: 0.1, stock_factor: 1.2 }
    }
}

impl Margins {
    /// The shop's own values.
    pub fn read(handbook: &Handbook) -> Margins {
        let usual = Margins::default();
        Margins {
            tank_reserve_share: handbook
                .parameter("R18", "reserve_share")
                .unwrap_or(usual.tank_reserve_share),
            stock_factor: handbook.parameter("R60", "stock_factor").unwrap_or(usual.stock_factor),
        }
    }
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Technician {
    pub id: String,
    pub name: String,
    /// `wash`, `decon`, `clay`, `polish`, `coating`, `soft_top`, `rinseless`, `acid_mild`, `platform`.
    pub skills: Vec<String>,
    #[serde(default)]
    pub trainee: bool,
    /// Spans of work on this day, ascending and apart; none on a day off.
    #[serde(default)]
    pub hours: Vec<HourRange>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Van {
    pub id: String,
    #[schema(minimum = 1, maximum = 20)]
    pub seats: u32,
    /// Usable water, litres; full in the morning.
    #[schema(minimum = 0.0, maximum = 10000.0)]
    pub tank_l: f64,
    /// Where it stands in the morning and in the evening, if not at the depot.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub home: Option<Place>,
    /// Where it can fill up on the way; none: nowhere.
    #[serde(default)]
    pub refills: Vec<Refill>,
    /// Ids in the handbook's `equipment` table, with `platform` for a work platform.
    #[serde(default)]
    pub equipment: Vec<String>,
    #[serde(default)]
    #[schema(minimum = 0.0, maximum = 1000.0)]
    pub battery_kwh: f64,
    #[serde(default)]
    pub generator: bool,
    /// Concentrate on board by product class, millilitres; a class that is absent was not counted.
    #[serde(default)]
    pub stock_ml: BTreeMap<String, f64>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Refill {
    pub place: Place,
    #[schema(minimum = 0.0, maximum = 600.0)]
    pub minutes: f64,
}

/// One appointment of a job.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Visit {
    pub job: String,
    pub vehicle: String,
    /// Package code.
    pub package: String,
    pub place: Place,
    /// The work begins and ends inside the window.
    pub window_from: NaiveDateTime,
    pub window_to: NaiveDateTime,
    /// What the customer was told when the rounds were published.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub promised: Option<PromisedWindow>,
    /// Start promised or planned; absent: as soon as the van is there and the window is open.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub start: Option<NaiveDateTime>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub van: Option<String>,
    #[serde(default)]
    pub technicians: Vec<String>,
    /// Time on site with this crew, from the plan.
    #[schema(minimum = 0.0, maximum = 1440.0)]
    pub work_min: f64,
    /// Least number of people.
    #[serde(default)]
    pub hands: u32,
    /// The plan's steps, with what they ask for.
    #[serde(default)]
    pub steps: Vec<VisitStep>,
    /// A zone is out of reach without a platform.
    #[serde(default)]
    pub platform: bool,
    #[serde(default)]
    pub water_l: f64,
    #[serde(default)]
    pub machine_kwh: f64,
    /// Product by class, millilitres of concentrate.
    #[serde(default)]
    pub product_ml: BTreeMap<String, f64>,
    /// Equipment that must be on board.
    #[serde(default)]
    pub equipment: Vec<String>,
    #[serde(default)]
    pub site: Site,
    /// What the planner says about weather and heat at this time.
    #[serde(default)]
    pub notices: Vec<VisitNotice>,
    /// Visits of other jobs that it has to do with, as they stand.
    #[serde(default)]
    pub partners: Vec<Partner>,
}

/// A visit of another job, on this day or another one.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Partner {
    pub kind: PartnerKind,
    pub job: String,
    /// Absent: it stands nowhere yet.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub start: Option<NaiveDateTime>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub van: Option<String>,
    #[serde(default)]
    pub technicians: Vec<String>,
}

/// What a visit has to do with its partner.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(tag = "kind", rename_all = "snake_case", deny_unknown_fields)]
pub enum PartnerKind {
    /// It comes so many days after the partner's.
    After { least_days: u32, most_days: u32 },
    /// The partner's comes so many days after it.
    Before { least_days: u32, most_days: u32 },
    /// Both begin at the same time, in two vans.
    Together,
    /// The same technician is wanted.
    SamePerson,
}

/// The work begins and ends in it: a customer counts on that.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PromisedWindow {
    pub from: NaiveDateTime,
    pub to: NaiveDateTime,
}

/// A rule of the planner that speaks against this visit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct VisitNotice {
    pub of: NoticeOf,
    /// Id in the handbook's `rules` or `packages` table.
    pub rule: String,
    pub text: String,
}

/// What a notice is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum NoticeOf {
    /// Weather and heat at the hour of the visit.
    Hour,
    /// The work as it was ordered for this vehicle and place, whatever the hour.
    Work,
}

impl DayProblem {
    /// Where a van stands in the morning and in the evening.
    pub fn base_of(&self, van: &Van) -> Place {
        van.home.unwrap_or(self.depot)
    }

    /// Litres of a van's tank that are not planned away.
    pub(super) fn reserve_l(&self, van: &Van) -> f64 {
        usable(van.tank_l) * usable(self.margins.tank_reserve_share).min(1.0)
    }

    /// Litres that a visit lacks where its van comes with so many.
    pub(super) fn short_l(&self, van: &Van, visit: &Visit, tank_l: f64) -> f64 {
        /// Less than that comes of reckoning with fractions.
        const NOTHING_L: f64 = 1e-6;
        let short = visit.tank_need_l() - (tank_l - self.reserve_l(van)).max(0.0);
        if short > NOTHING_L { short } else { 0.0 }
    }

    pub(super) fn van(&self, id: &str) -> Option<&Van> {
        self.vans.iter().find(|v| v.id == id)
    }

    pub(super) fn technician(&self, id: &str) -> Option<&Technician> {
        self.technicians.iter().find(|t| t.id == id)
    }
}

/// From the first of two times to the second.
pub(super) type Span = (NaiveDateTime, NaiveDateTime);

impl Technician {
    /// When they are at work on a day.
    pub(super) fn spans(&self, on: NaiveDate) -> impl Iterator<Item = Span> {
        self.hours.iter().map(move |hours| (on.and_time(hours.from), on.and_time(hours.to)))
    }
}

impl Van {
    /// Where it can fill up; a place that nobody knows is none.
    pub(super) fn places_to_refill(&self) -> impl Iterator<Item = &Refill> {
        self.refills.iter().filter(|refill| refill.place.is_sound())
    }

    pub(super) fn has(&self, equipment: &str) -> bool {
        self.equipment.iter().any(|e| e == equipment)
    }
}

impl Visit {
    pub(super) fn crew<'a>(&'a self, day: &'a DayProblem) -> impl Iterator<Item = &'a Technician> {
        self.technicians.iter().filter_map(|id| day.technician(id))
    }

    /// The start it is meant to have.
    pub(super) fn wanted_start(&self) -> NaiveDateTime {
        self.start.unwrap_or(self.window_from)
    }

    /// Litres the van's tank must give: none where a customer's tap may be used. Under a restriction of level 2 or
    /// more the tap does not count (assumption).
    pub(super) fn tank_need_l(&self) -> f64 {
        let tap = self.site.tap == Some(true) && self.site.water_restriction.unwrap_or(0) < 2;
        if tap { 0.0 } else { usable(self.water_l) }
    }
}

/// A number fit to reckon with: what is negative, infinite or not a number counts as nothing and is reported apart.
pub(super) fn usable(value: f64) -> f64 {
    if value.is_finite() { value.max(0.0) } else { 0.0 }
}
