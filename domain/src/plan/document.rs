//! The plan as a document: what the API gives out and stores.

use super::branches::Branch;
use super::waiver::Waiver;
use crate::handbook::{Phase, Severity};
use crate::hazard::SignalWord;
use crate::inspection::Grade;
use crate::site::dwell::DwellAdvice;
use crate::vehicle::{VehicleClass, Zone};
use chrono::NaiveDateTime;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use utoipa::ToSchema;

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct JobPlan {
    /// Shape of this document.
    pub format: u32,
    /// Handbook the plan was made from.
    pub handbook: String,
    pub package: String,
    pub package_name: String,
    pub vehicle_class: VehicleClass,
    /// Wall-clock time at the site.
    #[schema(value_type = String, example = "2026-05-04T08:00:00")]
    pub start: NaiveDateTime,
    /// False when a notice of severity `block` stands.
    pub workable: bool,
    pub lines: Vec<PlanLine>,
    pub notices: Vec<Notice>,
    pub questions: Vec<Question>,
    /// What the customer agreed to in writing.
    #[serde(default)]
    pub waivers: Vec<Waiver>,
    pub totals: Totals,
    /// How good the split among several technicians is; absent for one.
    pub crew_bound: Option<CrewBound>,
    /// Read before the first step.
    pub cautions: Vec<String>,
    /// What ends any step at once.
    pub stop_criteria: Vec<String>,
}

impl JobPlan {
    /// The same plan for readers outside the shop, whom names do not concern: the technicians become `technician 1`,
    /// `technician 2` and so on, in the order of their first turns, and who agreed to something becomes the customer.
    pub fn without_names(self) -> JobPlan {
        self.without_technicians().without_customer()
    }

    /// The same without what the technicians are called.
    pub fn without_technicians(mut self) -> JobPlan {
        let mut seen: Vec<String> = Vec::new();
        for turn in self.lines.iter_mut().flat_map(|line| &mut line.turns) {
            let known = seen.iter().position(|name| *name == turn.technician);
            let at = known.unwrap_or_else(|| {
                seen.push(turn.technician.clone());
                seen.len() - 1
            });
            turn.technician = format!("technician {}", at + 1);
        }
        self
    }

    /// The same without the names of those who agreed to something.
    pub fn without_customer(mut self) -> JobPlan {
        for waiver in &mut self.waivers {
            let by = std::mem::replace(&mut waiver.by, "the customer".to_string());
            let (named, nameless) = (format!("in writing by {by} at "), "in writing by the customer at ");
            for notice in &mut self.notices {
                notice.text = notice.text.replace(&named, nameless);
            }
        }
        self
    }
}

/// The split among a crew against what no split of this job can beat.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct CrewBound {
    pub elapsed_minutes: f64,
    pub lower_bound_minutes: f64,
    /// True when no shorter split exists.
    pub proved: bool,
}

/// One step on the vehicle, in the order of work.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct PlanLine {
    /// Id in the handbook's `steps` table.
    pub step: String,
    pub name: String,
    pub purpose: String,
    pub phase: Phase,
    /// How it leaves the zones behind.
    pub leaves: Leaves,
    pub zones: Vec<Zone>,
    /// How to go about the zones.
    pub zone_order: String,
    /// m², wheels, spots or 1 for the whole vehicle, as `unit` says.
    pub quantity: f64,
    pub unit: String,
    /// Grade the minutes were taken from.
    pub grade: Grade,
    /// Person-minutes by the handbook alone: what finished steps are measured against when norms are learned.
    pub norm_minutes: f64,
    /// Person-minutes expected, by the handbook and the shop's own finished steps.
    pub minutes: f64,
    /// As likely to be exceeded as not.
    pub minutes_p50: f64,
    /// Exceeded by one such step in ten.
    pub minutes_p90: f64,
    /// Minutes after the start.
    pub begin_min: f64,
    pub end_min: f64,
    /// Who does which part of it from when to when.
    pub turns: Vec<Turn>,
    pub mixes: Vec<Mix>,
    /// Clean water for this step, litres, by the supply used.
    pub water_l: f64,
    pub dwell: Option<Dwell>,
    pub max_panel_c: Option<f64>,
    pub cautions: Vec<String>,
    pub pass_check: String,
    pub on_fail: String,
    pub max_loops: u32,
    /// What happens when the check fails, known beforehand; absent for steps that cannot fail.
    pub branch: Option<Branch>,
    /// Why this step is here and why at this place.
    pub reasons: Vec<Reason>,
}

/// One product made up for one step.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Mix {
    /// Id in the handbook's `product_classes` table.
    pub product: String,
    pub product_name: String,
    /// Parts of water to one part of product as the label has it; absent when used as it comes.
    pub water_to_product: Option<f64>,
    /// The same as poured: rounding the pour up makes small fills stronger.
    pub poured_water_to_product: Option<f64>,
    /// What it is made up in: `pump foamer`, `foam lance bottle`, `bucket`, `sprayer` or `bottle` when neat.
    pub vessel: String,
    /// Equal fills, none fuller than the vessel may be.
    pub fills: u32,
    /// Mixture in each fill, ml.
    pub fill_ml: f64,
    /// Product poured into each fill, ml, rounded up to 5.
    pub pour_each_ml: f64,
    /// Water that completes each fill, ml.
    pub water_each_ml: f64,
    /// Mixture in all fills, ml.
    pub made_up_ml: f64,
    /// Product by the ratio alone, before rounding, in all fills, ml.
    pub product_ml: f64,
    /// Product poured in all fills, ml.
    pub pour_ml: f64,
    /// Shampoo added to make it cling, ml, in all fills.
    pub shampoo_ml: f64,
    /// GHS hazard statements usual for the class, mostly of the concentrate; the safety data sheet decides.
    pub hazards: Vec<String>,
    /// The strictest GHS signal word of these.
    pub signal_word: Option<SignalWord>,
    pub ppe: String,
}

/// What a step does to the water on a zone.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Leaves {
    Wet,
    Dry,
    AsItWas,
}

/// A technician's part of a step.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Turn {
    /// Their name; `technician 1`, `technician 2` … for readers outside the shop.
    pub technician: String,
    /// `all`, `left`, `right`, `front` or `rear`.
    pub part: String,
    /// The zones of the step on that part.
    pub zones: Vec<Zone>,
    /// Minutes after the start.
    pub begin_min: f64,
    pub end_min: f64,
}

/// How long a product may stay on the panel, seconds; wet, unless it may dry.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Dwell {
    pub min_s: u32,
    /// The shorter of the label's maximum and the safe share of the drying time.
    pub max_s: u32,
    pub label_max_s: u32,
    /// Time until the film is dry on the worst zone treated, when weather is known.
    pub dry_s: Option<f64>,
    /// False for what may dry where it lies: then the label alone sets the time.
    #[serde(default = "never_dry")]
    pub never_dry: bool,
    pub panel_c: Option<f64>,
    /// What follows from it, when weather is known.
    pub advice: Option<DwellAdvice>,
}

/// Older plans held every product to the film.
fn never_dry() -> bool {
    true
}

impl Dwell {
    /// Size of the sections it must be worked in, where the whole area is too much at once, m².
    pub fn section_m2(&self) -> Option<f64> {
        match self.advice? {
            DwellAdvice::Sections { section_m2 } | DwellAdvice::Remist { section_m2, .. } => Some(section_m2),
            DwellAdvice::Go | DwellAdvice::CoolFirst | DwellAdvice::Refuse => None,
        }
    }
}

/// A rule (`R..`), a precedence pair (`Q..`), a mixing entry (`X..`) or the package, and what it did here.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Reason {
    pub id: String,
    pub text: String,
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
    /// Person-minutes expected, with what two on one step cost each other.
    pub person_minutes: f64,
    /// Person-minutes as likely to be exceeded as not, and exceeded by one such job in ten: a lognormal with the
    /// mean and the variance of the sum of the steps, which go fast or slow together to a quarter (assumption).
    pub minutes_p50: f64,
    pub minutes_p90: f64,
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
