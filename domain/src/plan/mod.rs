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
mod effort;
mod facts;
mod heat_day;
mod input;
mod norms;
mod order;
mod pairs;
mod paper;
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
pub use input::{CrewMember, ExtraWork, Kit, PlanFacts, PlanInput};
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

/// Version of the shape of a stored plan.
pub const PLAN_FORMAT: u32 = 1;

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
    draft.name_planned_steps();
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
