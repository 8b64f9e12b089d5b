//! From vehicle, inspection, package, site, weather, van and crew to a plan whose every line explains itself.

pub mod crew;

use crate::handbook::Handbook;
use crate::inspection::{Grade, Inspection};
use crate::site::{Site, Weather};
use crate::vehicle::{Vehicle, VehicleClass, Zone};
use chrono::NaiveDateTime;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use utoipa::ToSchema;

/// Version of the shape of a stored plan.
pub const PLAN_FORMAT: u32 = 1;

/// Everything a plan depends on.
#[derive(Debug, Clone)]
pub struct PlanInput<'a> {
    pub handbook: &'a Handbook,
    pub vehicle: &'a Vehicle,
    pub inspection: &'a Inspection,
    /// The grade the customer booked; it stands in wherever nobody has looked yet.
    pub booked_grade: Option<Grade>,
    /// Package code, for instance `P2`.
    pub package: &'a str,
    /// Optional steps of the package that the customer wants.
    pub options: &'a [String],
    pub site: &'a Site,
    pub weather: &'a Weather,
    pub kit: &'a Kit,
    pub crew: &'a [CrewMember],
    /// Planned start, local wall-clock time at the site.
    pub start: NaiveDateTime,
    /// Hours that local time is ahead of UTC at the start.
    pub utc_offset_min: i32,
    /// End of the booked window, local wall-clock time.
    pub window_end: Option<NaiveDateTime>,
    /// What the customer said to extra work that was found on site.
    pub extra_work: ExtraWork,
    /// Steps already finished, in order: kept as they are when replanning.
    pub done: &'a [String],
}

/// The customer's answer to extra work found on site.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields, default)]
pub struct ExtraWork {
    pub approved: Option<bool>,
    /// Minutes the customer has not answered.
    pub silent_min: u32,
}

/// What the van carries.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Kit {
    /// Ids in the handbook's `equipment` table.
    pub equipment: Vec<String>,
    /// Usable water on board at the start of the job, litres.
    #[schema(minimum = 0.0, maximum = 10000.0)]
    pub tank_l: f64,
    /// Battery energy for machines, kWh.
    #[serde(default)]
    #[schema(minimum = 0.0, maximum = 1000.0)]
    pub battery_kwh: f64,
    /// Product stock by class id, millilitres of concentrate; a class that is absent was not counted.
    #[serde(default)]
    pub stock_ml: BTreeMap<String, f64>,
    /// Vehicles served so far, by tool id, for tools with a wear limit.
    #[serde(default)]
    pub vehicles_served: BTreeMap<String, u32>,
}

/// A technician on the job.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CrewMember {
    pub name: String,
    /// `wash`, `decon`, `clay`, `polish`, `coating`, `soft_top`, `rinseless`, `acid_mild`, `platform`.
    pub skills: Vec<String>,
    #[serde(default)]
    pub trainee: bool,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct JobPlan {
    /// Shape of this document.
    pub format: u32,
    /// Handbook the plan was made from.
    pub handbook: String,
    pub package: String,
    pub package_name: String,
    pub vehicle_class: VehicleClass,
    pub start: NaiveDateTime,
    /// False when a notice of severity `block` stands.
    pub workable: bool,
    pub lines: Vec<PlanLine>,
    pub notices: Vec<Notice>,
    pub questions: Vec<Question>,
    pub totals: Totals,
    /// Read before the first step.
    pub cautions: Vec<String>,
}

/// One step on the vehicle, in the order of work.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct PlanLine {
    /// Id in the handbook's `steps` table.
    pub step: String,
    pub name: String,
    pub purpose: String,
    pub zones: Vec<Zone>,
    /// How to go about the zones.
    pub zone_order: String,
    /// m², wheels, spots or 1 for the whole vehicle, as `unit` says.
    pub quantity: f64,
    pub unit: String,
    /// Grade the minutes were taken from.
    pub grade: Grade,
    /// Person-minutes expected.
    pub minutes: f64,
    pub hands: u8,
    /// Minutes after the start.
    pub begin_min: f64,
    pub end_min: f64,
    /// Who does it.
    pub technicians: Vec<String>,
    pub mixes: Vec<Mix>,
    /// Clean water for this step, litres, by the supply used.
    pub water_l: f64,
    pub dwell: Option<Dwell>,
    pub max_panel_c: Option<f64>,
    pub cautions: Vec<String>,
    pub pass_check: String,
    pub on_fail: String,
    pub max_loops: u32,
    /// Why this step is here and why at this place.
    pub reasons: Vec<Reason>,
}

/// One product made up for one step.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Mix {
    /// Id in the handbook's `product_classes` table.
    pub product: String,
    pub product_name: String,
    /// Parts of water to one part of product; absent when used as it comes.
    pub water_to_product: Option<f64>,
    /// Volume made up, ml.
    pub made_up_ml: f64,
    /// Product to pour, ml, rounded up to 5.
    pub pour_ml: f64,
    /// Fills of the vessel, each at most three quarters full.
    pub fills: u32,
    /// Shampoo added to make it cling, ml.
    pub shampoo_ml: f64,
    pub ghs: String,
    pub ppe: String,
}

/// How long a product may stay wet on the panel, seconds.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Dwell {
    pub min_s: u32,
    /// The shorter of the label's maximum and the safe share of the drying time.
    pub max_s: u32,
    pub label_max_s: u32,
    /// Time until the film is dry on the worst zone treated, when weather is known.
    pub dry_s: Option<f64>,
    pub panel_c: Option<f64>,
    /// Largest section to treat at once, m².
    pub section_m2: Option<f64>,
}

/// A rule (`R..`), a precedence pair (`Q..`), a mixing entry (`X..`) or the package, and what it did here.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Reason {
    pub id: String,
    pub text: String,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Severity {
    Advise,
    Adjust,
    Warn,
    Block,
}

/// A rule that fired, with the numbers it used.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Notice {
    pub rule: String,
    pub severity: Severity,
    pub text: String,
    pub steps: Vec<String>,
    /// What would lift a block.
    pub unblock: Option<String>,
}

/// A fact that a rule needs and nobody has given.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Question {
    pub rule: String,
    /// JSON pointer of the missing value, for instance `/site/drain`.
    pub pointer: String,
    pub text: String,
}

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Totals {
    pub person_minutes: f64,
    /// From arrival to leaving, with the crew given.
    pub elapsed_minutes: f64,
    /// Area of the zones treated, m².
    pub area_m2: f64,
    /// Clean water by the supply in use, litres.
    pub water_l: f64,
    /// True when the water was counted for a garden hose and not for a pressure washer.
    pub by_hose: bool,
    /// Product to take along by class id, ml.
    pub product_ml: BTreeMap<String, f64>,
    pub machine_kwh: f64,
}
