//! From vehicle, inspection, package, site, weather, van and crew to a plan whose every line explains itself.
//!
//! Data flows one way: `facts` (what is known) -> `choose` (which steps) -> `rules` (what may not be as it is) ->
//! `order` -> `amounts` -> `schedule` (when and by whom) -> `wet_time` -> `rules` again, on the clock -> the plan.

mod amounts;
mod belief;
mod branches;
mod carried;
mod cautions;
mod choose;
mod climate;
mod compare;
pub mod crew;
mod document;
mod draft;
mod facts;
mod heat_day;
mod norms;
mod order;
mod pairs;
mod parts;
mod places;
mod preview;
mod quote;
mod rules;
mod schedule;
mod sharing;
mod sheet;
mod sheet_html;
mod strain;
mod timeline;
mod uncertain;
mod validate;
mod waiver;
mod wet_time;
mod words;

#[cfg(test)]
#[path = "../../tests/plan_cases/mod.rs"]
mod plan_cases;

pub use belief::{Belief, LnSum, PRIOR_STEPS};
pub use branches::{Branch, Rung};
pub use compare::{ChangedStep, PlanDifference, PlanSide, StepSide, compare};
pub use document::{
    CrewBound, Dwell, JobPlan, Leaves, Mix, Notice, PlanLine, Question, Reason, Totals, Turn,
};
pub use norms::{Factors, FinishedStep, LearnedNorm, Lesson, NormVeto, Norms};
pub(crate) use norms::{StepSum, lessons};
pub use order::{Arrangement, Constraint, OrderError, arrange};
pub use preview::{Preview, Start, preview};
pub use quote::{Quote, QuoteEnd, quote};
pub use sheet::{SheetHead, job_sheet};
pub use sheet_html::sheet_html;
pub use timeline::{TechnicianSpell, TechnicianTrack, Timeline, ZoneSpell, ZoneTrack, timeline};
pub(crate) use uncertain::{Uncertain, Z90};
pub use waiver::Waiver;

use crate::handbook::Handbook;
use crate::inspection::{Grade, Inspection};
use crate::site::{Site, Weather};
use crate::vehicle::Vehicle;
use chrono::{NaiveDate, NaiveDateTime};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use utoipa::ToSchema;

/// Version of the shape of a stored plan.
pub const PLAN_FORMAT: u32 = 1;

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
    /// Hours that local time is ahead of UTC at the start.
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
    validate::check_start(input)?;
    validate::check_job(input)?;
    let facts = facts::Facts::new(input)?;
    let mut draft = choose::choose(&facts);
    finish(&mut draft)?;
    Ok(assemble(draft))
}

/// Everything that depends on the start.
fn finish(draft: &mut draft::Draft) -> Result<(), PlanError> {
    rules::before_order(draft);
    settle(draft)?;
    lay_wet_if_it_helps(draft)?;
    shade_if_it_helps(draft)?;
    rules::after_order(draft);
    rules::on_the_clock(draft);
    draft.notices.sort_by(|a, b| b.severity.cmp(&a.severity).then_with(|| a.rule.cmp(&b.rule)));
    Ok(())
}

/// Order, amounts, clock and dwell of the steps chosen so far.
fn settle(draft: &mut draft::Draft) -> Result<(), PlanError> {
    pairs::put_in_order(draft)?;
    amounts::measure(draft);
    schedule::put_on_the_clock(draft);
    wet_time::judge(draft);
    Ok(())
}

/// Lays the spray protection wet, on the panel that the rinse has cooled, when the dry panel would be too hot for it.
fn lay_wet_if_it_helps(draft: &mut draft::Draft) -> Result<(), PlanError> {
    let hot = rules::too_hot(draft);
    if hot == 0 || !draft.has("H03") || draft.wet_protection {
        return Ok(());
    }
    let mut wet = draft.clone();
    wet.wet_protection = true;
    wet.explain("H03", "R01", "wet type: laid while the rinsed panel is cool, then rinsed off");
    settle(&mut wet)?;
    if rules::too_hot(&wet) < hot {
        *draft = wet;
    }
    Ok(())
}

/// Puts up the awning when a panel is over its limit and shade brings it under.
fn shade_if_it_helps(draft: &mut draft::Draft) -> Result<(), PlanError> {
    if rules::too_hot(draft) == 0 || !rules::awning_stands(draft) {
        return Ok(());
    }
    let mut shaded = draft.clone();
    let why = "a panel would be over its limit (R01): shade it, wait 20 to 40 min, read the panels again";
    choose::when_over_limit(&mut shaded, why);
    for work in &mut shaded.work {
        work.shaded = true;
    }
    settle(&mut shaded)?;
    if rules::too_hot(&shaded) == 0 {
        *draft = shaded;
    }
    Ok(())
}

fn assemble(draft: draft::Draft) -> JobPlan {
    let input = draft.facts.input;
    let totals = totals(&draft);
    let cautions = cautions::cautions(&draft);
    let branches: Vec<Option<Branch>> =
        draft.work.iter().map(|work| branches::branch(&draft, work)).collect();
    JobPlan {
        format: PLAN_FORMAT,
        handbook: input.handbook.version.clone(),
        package: draft.facts.package.id.clone(),
        package_name: draft.facts.package.name.clone(),
        vehicle_class: input.vehicle.class,
        start: input.start,
        workable: draft.workable(),
        lines: draft.work.into_iter().zip(branches).map(|(work, branch)| line(work, branch)).collect(),
        notices: draft.notices,
        questions: draft.questions,
        waivers: input.waivers.to_vec(),
        totals,
        crew_bound: draft.crew_bound,
        cautions,
        stop_criteria: branches::stop_criteria(),
    }
}

fn totals(draft: &draft::Draft) -> Totals {
    let person_minutes: f64 =
        draft.work.iter().flat_map(|w| &w.turns).map(|turn| turn.end_min - turn.begin_min).sum();
    let likely = Uncertain::sum(draft.work.iter().map(|work| Uncertain {
        expected: work.minutes,
        p50: work.minutes_p50,
        p90: work.minutes_p90,
    }));
    // Two on one step hinder each other at the median as they do on average.
    let overhead = if likely.expected > 0.0 { person_minutes / likely.expected } else { 1.0 };
    let likely = likely.times(overhead);
    Totals {
        person_minutes,
        minutes_p50: likely.p50,
        minutes_p90: likely.p90,
        elapsed_minutes: draft.end_min(),
        area_m2: draft.facts.zones.iter().filter(|z| z.row.in_envelope).map(|z| z.row.area_m2).sum(),
        water_l: draft.work.iter().map(|w| w.water_l).sum(),
        by_hose: !draft.facts.by_washer(),
        product_ml: draft.product_totals(),
        machine_kwh: draft.machine_kwh(),
    }
}

fn line(work: draft::Work, branch: Option<Branch>) -> PlanLine {
    PlanLine {
        step: work.step.id.clone(),
        name: work.step.name.clone(),
        purpose: work.step.purpose.clone(),
        phase: work.step.phase,
        leaves: work.leaves(),
        zones: work.zones,
        zone_order: work.zone_order,
        quantity: work.quantity,
        unit: facts::unit(work.step.basis).to_string(),
        grade: work.grade,
        norm_minutes: work.norm_minutes,
        minutes: work.minutes,
        minutes_p50: work.minutes_p50,
        minutes_p90: work.minutes_p90,
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
        branch,
        reasons: work.reasons,
    }
}
