//! A day of a shop as dispatch sees it. All times are local wall-clock times of the shop.

use super::ways::{sound, way};
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
    /// Where vans start and end.
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
    /// Hours on this day; absent on a day off.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hours: Option<HourRange>,
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
    /// Where it can fill up on the way; absent: nowhere.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub refill: Option<Refill>,
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
}

/// The work begins and ends in it: a customer counts on that.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PromisedWindow {
    pub from: NaiveDateTime,
    pub to: NaiveDateTime,
}

/// A rule of the planner that speaks against this visit at this time.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct VisitNotice {
    /// Id in the handbook's `rules` table.
    pub rule: String,
    pub text: String,
}

impl DayProblem {
    /// Kilometres and minutes from one place to another.
    pub(super) fn way(&self, from: &Place, to: &Place) -> (f64, f64) {
        way(&self.travel, sound(self.matrix.as_ref()), from, to)
    }

    /// Litres of a van's tank that are not planned away.
    pub(super) fn reserve_l(&self, van: &Van) -> f64 {
        usable(van.tank_l) * usable(self.margins.tank_reserve_share).min(1.0)
    }

    pub(super) fn van(&self, id: &str) -> Option<&Van> {
        self.vans.iter().find(|v| v.id == id)
    }

    pub(super) fn technician(&self, id: &str) -> Option<&Technician> {
        self.technicians.iter().find(|t| t.id == id)
    }
}

impl Van {
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
