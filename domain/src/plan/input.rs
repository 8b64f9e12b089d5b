//! What a plan is made from: the facts of a job as a document, and the same with a handbook and a start for the planner.

use super::{JobPlan, Norms, PlanError, Start, Waiver, plan_job};
use crate::handbook::Handbook;
use crate::inspection::{Grade, Inspection};
use crate::site::{Site, Weather};
use crate::vehicle::Vehicle;
use chrono::{NaiveDate, NaiveDateTime};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::sync::Arc;
use utoipa::ToSchema;

/// Everything a plan depends on.
#[derive(Debug, Clone)]
pub struct PlanInput<'a> {
    pub handbook: &'a Handbook,
    /// What the shop's finished steps taught; [`Norms::default`] is the handbook alone.
    pub norms: &'a Norms,
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
    /// Minutes that local time is ahead of UTC at the start.
    pub utc_offset_min: i32,
    /// End of the booked window, local wall-clock time.
    pub window_end: Option<NaiveDateTime>,
    /// What the customer said to extra work that was found on site.
    pub extra_work: ExtraWork,
    /// Steps already finished, in order: kept as they are when replanning.
    pub done: &'a [String],
    /// Times the tank can be filled again during the job.
    pub refill_stops: u32,
    /// What the customer agreed to in writing.
    pub waivers: &'a [Waiver],
    /// The last day on which the roads around were salted, when known.
    pub last_salted_on: Option<NaiveDate>,
}

/// Everything a plan depends on but its handbook and its start.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PlanFacts {
    pub vehicle: Vehicle,
    /// Absent: nobody has looked yet.
    #[serde(default)]
    pub inspection: Inspection,
    /// The grade the customer booked; it stands in wherever nobody has looked yet.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub booked_grade: Option<Grade>,
    /// Package code of the handbook.
    #[schema(example = "P2")]
    pub package: String,
    /// Optional steps of the package that the customer wants.
    #[serde(default)]
    #[schema(max_items = 40)]
    pub options: Vec<String>,
    #[serde(default)]
    pub site: Site,
    #[serde(default)]
    pub weather: Weather,
    pub kit: Kit,
    #[schema(min_items = 1, max_items = 8)]
    pub crew: Vec<CrewMember>,
    #[serde(default)]
    pub extra_work: ExtraWork,
    /// Steps already finished, in order.
    #[serde(default)]
    #[schema(max_items = 200)]
    pub done: Vec<String>,
    /// Times the tank can be filled again during the job.
    #[serde(default)]
    #[schema(minimum = 0, maximum = 20)]
    pub refill_stops: u32,
    /// What the customer agreed to in writing.
    #[serde(default)]
    #[schema(max_items = 40)]
    pub waivers: Vec<Waiver>,
    /// The last day on which the roads around were salted.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<String>, format = Date, example = "2026-03-02")]
    pub last_salted_on: Option<NaiveDate>,
    /// What the shop's own steps taught; never part of a request.
    #[serde(skip)]
    #[schema(ignore)]
    pub norms: Arc<Norms>,
}

impl PlanFacts {
    /// As [`plan_job`].
    pub fn plan(&self, handbook: &Handbook, start: &Start) -> Result<JobPlan, PlanError> {
        plan_job(&self.input(handbook, start))
    }

    /// The facts as the planner takes them.
    pub fn input<'a>(&'a self, handbook: &'a Handbook, start: &Start) -> PlanInput<'a> {
        PlanInput {
            handbook,
            vehicle: &self.vehicle,
            inspection: &self.inspection,
            booked_grade: self.booked_grade,
            package: &self.package,
            options: &self.options,
            site: &self.site,
            weather: &self.weather,
            kit: &self.kit,
            crew: &self.crew,
            start: start.at,
            utc_offset_min: start.utc_offset_min,
            window_end: start.window_end,
            extra_work: self.extra_work,
            norms: &self.norms,
            done: &self.done,
            refill_stops: self.refill_stops,
            waivers: &self.waivers,
            last_salted_on: self.last_salted_on,
        }
    }
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
    /// What it is loaded with by product class id, millilitres of concentrate, as plans and rounds take it; a class that is
    /// absent is there as needed. What counts and records say is left is told by `GET /v1/vans/{id}/stock`.
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
