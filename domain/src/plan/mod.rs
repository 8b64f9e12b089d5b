//! From vehicle, inspection, package, site, weather, van and crew to a plan whose every line explains itself.
//!
//! Data flows one way: `facts` (what is known) -> `choose` (which steps) -> `rules` (what may not be as it is) ->
//! `order` -> `amounts` -> `schedule` (when and by whom) -> `wet_time` -> `rules` again, on the clock -> the plan.

mod amounts;
mod cautions;
mod choose;
mod climate;
pub mod crew;
mod draft;
mod facts;
mod heat_day;
mod order;
mod pairs;
mod rules;
mod schedule;
mod sheet;
mod validate;
mod wet_time;

pub use order::{Arrangement, Constraint, OrderError, arrange};
pub use sheet::{SheetHead, job_sheet};

use crate::handbook::{Handbook, Severity};
use crate::inspection::{Grade, Inspection};
use crate::site::dwell::DwellAdvice;
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
    /// Wall-clock time at the site.
    #[schema(value_type = String, example = "2026-05-04T08:00:00")]
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
    /// Product to pour, ml, all fills together; each fill's pour is rounded up to 5.
    pub pour_ml: f64,
    /// Equal fills of the vessel, each at most three quarters full.
    pub fills: u32,
    /// Shampoo added to make it cling, ml.
    pub shampoo_ml: f64,
    /// GHS hazard statements usual for the class, mostly of the concentrate; the safety data sheet decides.
    pub hazards: Vec<String>,
    pub ppe: String,
}

/// A technician's part of a step.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Turn {
    pub technician: String,
    /// `all`, `left`, `right`, `front` or `rear`.
    pub part: String,
    /// Minutes after the start.
    pub begin_min: f64,
    pub end_min: f64,
}

impl Turn {
    fn of(technician: &str, part: &str, begin_min: f64, end_min: f64) -> Turn {
        Turn { technician: technician.to_string(), part: part.to_string(), begin_min, end_min }
    }
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
    /// What follows from it, when weather is known.
    pub advice: Option<DwellAdvice>,
}

impl Dwell {
    /// Largest section to treat at once, m², where the whole area is too much.
    pub fn section_m2(&self) -> Option<f64> {
        match self.advice? {
            DwellAdvice::Sections { section_m2 } | DwellAdvice::Remist { section_m2, .. } => Some(section_m2),
            _ => None,
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

/// Why there is no plan at all; everything else is a notice or a question within one.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("{pointer}: {detail}")]
pub struct PlanError {
    /// JSON pointer of the value at fault.
    pub pointer: String,
    pub detail: String,
}

impl PlanError {
    fn new(pointer: &str, detail: impl Into<String>) -> PlanError {
        PlanError { pointer: pointer.into(), detail: detail.into() }
    }
}

/// Plans one job. The same input always gives the same plan.
///
/// What the weather, the place or the van forbid is no error: it comes as a notice of severity `block` in a plan
/// that says what would lift it, and what a rule would need to know comes as a question.
///
/// # Errors
/// Values that contradict the handbook or themselves, with the pointer of the first one.
pub fn plan_job(input: &PlanInput) -> Result<JobPlan, PlanError> {
    validate::check(input)?;
    let facts = facts::Facts::new(input)?;
    let mut draft = choose::choose(&facts);
    rules::before_order(&mut draft);
    settle(&mut draft)?;
    shade_if_it_helps(&mut draft)?;
    rules::after_order(&mut draft);
    rules::on_the_clock(&mut draft);
    Ok(assemble(draft))
}

/// Order, amounts, clock and dwell of the steps chosen so far.
fn settle(draft: &mut draft::Draft) -> Result<(), PlanError> {
    pairs::put_in_order(draft)?;
    amounts::measure(draft);
    schedule::put_on_the_clock(draft);
    wet_time::judge(draft);
    Ok(())
}

/// Puts up the awning when a panel is over its limit and shade brings it under.
fn shade_if_it_helps(draft: &mut draft::Draft) -> Result<(), PlanError> {
    if !rules::too_hot(draft) || !rules::awning_stands(draft) {
        return Ok(());
    }
    let mut shaded = draft.clone();
    let why = "a panel would be over its limit (R01): shade it, wait 20 to 40 min, read the panels again";
    shaded.insert("A07", "T02", why);
    for work in &mut shaded.work {
        work.shaded = true;
    }
    settle(&mut shaded)?;
    if !rules::too_hot(&shaded) {
        *draft = shaded;
    }
    Ok(())
}

fn assemble(draft: draft::Draft) -> JobPlan {
    let input = draft.facts.input;
    let totals = Totals {
        person_minutes: draft.work.iter().flat_map(|w| &w.turns).map(|t| t.end_min - t.begin_min).sum(),
        elapsed_minutes: draft.end_min(),
        area_m2: draft.facts.zones.iter().filter(|z| z.row.in_envelope).map(|z| z.row.area_m2).sum(),
        water_l: draft.work.iter().map(|w| w.water_l).sum(),
        by_hose: !draft.facts.by_washer(),
        product_ml: draft.product_totals(),
        machine_kwh: draft.machine_kwh(),
    };
    let cautions = cautions::cautions(&draft);
    let mut notices = draft.notices;
    notices.sort_by(|a, b| b.severity.cmp(&a.severity).then_with(|| a.rule.cmp(&b.rule)));
    JobPlan {
        format: PLAN_FORMAT,
        handbook: input.handbook.version.clone(),
        package: draft.facts.package.id.clone(),
        package_name: draft.facts.package.name.clone(),
        vehicle_class: input.vehicle.class,
        start: input.start,
        workable: notices.iter().all(|n| n.severity != Severity::Block),
        lines: draft.work.into_iter().map(line).collect(),
        notices,
        questions: draft.questions,
        totals,
        cautions,
    }
}

fn line(work: draft::Work) -> PlanLine {
    PlanLine {
        step: work.step.id.clone(),
        name: work.step.name.clone(),
        purpose: work.step.purpose.clone(),
        zones: work.zones,
        zone_order: work.zone_order,
        quantity: work.quantity,
        unit: facts::unit(work.step.basis).to_string(),
        grade: work.grade,
        minutes: work.minutes,
        begin_min: work.begin_min,
        end_min: work.end_min,
        turns: work.turns,
        mixes: work.mixes,
        water_l: work.water_l,
        dwell: work.dwell,
        max_panel_c: work.step.max_panel_c,
        cautions: Some(work.step.caution.clone())
            .filter(|c| !c.is_empty())
            .into_iter()
            .chain(work.cautions)
            .collect(),
        pass_check: work.step.pass_check.clone(),
        on_fail: work.step.on_fail.clone(),
        max_loops: work.step.max_loops,
        reasons: work.reasons,
    }
}
