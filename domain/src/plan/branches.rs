//! What happens when a step's check fails, shown before it is needed.
//!
//! Again on the failed zone only, never the whole vehicle, as often as the step allows; then one rung up the ladder
//! of what is to be removed, where the material allows it, time and price have a yes, and the panel is still cool
//! enough; else it is left and said so (common practice).

use super::amounts::on_zone;
use super::draft::{Draft, Work};
use crate::handbook::{Basis, ContaminantRow, Phase, Step};
use crate::inspection::{Contaminant, Grade};
use crate::vehicle::Zone;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// What ends any step at once, whatever the loops left (common practice).
const STOP_CRITERIA: [&str; 6] = [
    "colour or gloss changes on the test spot",
    "product dries twice although it was misted again",
    "smell of rotten eggs or chlorine: get away, then rinse",
    "product on skin or in an eye",
    "towel or clay sheds",
    "water below the reserve with chemistry open: rinse first, then stop",
];

/// What to do when a check fails.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Branch {
    /// In the handbook's words, on the failed zone only.
    pub first: String,
    /// What the step allows, and no more rounds than what it is against is worth.
    pub max_loops: u32,
    /// The step it leads to, when it names one; it is part of the loop unless it needs a yes.
    pub step: Option<String>,
    pub step_name: Option<String>,
    pub step_needs_approval: bool,
    /// What one loop is counted for: `doors` (the zone that takes longest), `one wheel`, `one spot`, `all of it`.
    pub loop_on: String,
    /// Of one loop on that.
    pub loop_minutes: f64,
    pub loop_water_l: f64,
    /// To rinse that place once the product has dried on it; none where it may dry.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub dried_rinse_l: Option<f64>,
    /// After the last loop, one for each thing the step removes.
    pub next: Vec<Rung>,
    /// What is recorded when no rung is taken.
    pub left: String,
}

/// The next step up a ladder.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Rung {
    pub against: Contaminant,
    /// Id in the handbook's `steps` table.
    pub step: String,
    pub step_name: String,
    /// Not part of the plan, so time and price need a yes.
    pub needs_approval: bool,
    /// Only on panels no hotter.
    pub max_panel_c: Option<f64>,
    /// On the zone that takes longest.
    pub minutes: f64,
    pub water_l: f64,
    /// Zones whose material does not allow it.
    pub refused_on: Vec<Zone>,
    /// When to stop for good.
    pub stop: String,
}

pub(super) fn stop_criteria() -> Vec<String> {
    STOP_CRITERIA.map(String::from).to_vec()
}

/// The branch of one step of the plan; none when the handbook says of no failure.
pub(super) fn branch(draft: &Draft, work: &Work) -> Option<Branch> {
    let step = work.step;
    if step.on_fail.is_empty() {
        return None;
    }
    let leads_to = step.on_fail_step.as_deref().and_then(|id| draft.facts.handbook().step(id));
    let step_needs_approval = leads_to.is_some_and(|other| needs_approval(draft, other));
    let zone = slowest(draft, step, &work.zones);
    let (mut loop_minutes, mut loop_water_l) = on_zone(draft.facts, step, zone);
    if let Some(other) = leads_to.filter(|other| !step_needs_approval && other.id != step.id) {
        let (minutes, water_l) = on_zone(draft.facts, other, zone);
        loop_minutes += minutes;
        loop_water_l += water_l;
    }
    let against = against(draft, work);
    Some(Branch {
        first: step.on_fail.clone(),
        max_loops: most_loops(work, &against),
        step: leads_to.map(|other| other.id.clone()),
        step_name: leads_to.map(|other| other.name.clone()),
        step_needs_approval,
        loop_on: loop_on(step, zone).to_string(),
        loop_minutes,
        loop_water_l,
        dried_rinse_l: zone.and_then(|zone| dried_rinse_l(draft, work, zone)),
        left: left(&against, work.grade),
        next: against.into_iter().filter_map(|row| rung(draft, work, row)).collect(),
    })
}

/// The step's own loops, as far as the rounds that its contaminants are worth allow; those planned count.
fn most_loops(work: &Work, against: &[&ContaminantRow]) -> u32 {
    let rounds = against.iter().map(|row| row.max_rounds);
    let most = rounds.reduce(|a, b| Some(a?.max(b?))).flatten();
    most.map_or(work.step.max_loops, |most| work.step.max_loops.min(most.saturating_sub(work.rounds)))
}

/// The litres of the next rinse on one zone, when a product that may not dry has dried there.
fn dried_rinse_l(draft: &Draft, work: &Work, zone: Zone) -> Option<f64> {
    work.dwell.as_ref().filter(|dwell| dwell.never_dry)?;
    let later = draft.work.iter().skip_while(|other| other.step.id != work.step.id).skip(1);
    let rinse = later.filter(|other| other.step.rinse).find(|other| other.zones.contains(&zone))?;
    Some(on_zone(draft.facts, rinse.step, Some(zone)).1 * draft.facts.factor("rinse_dried"))
}

/// Whatever is not planned is extra work; shade and set-up are the crew's own business.
fn needs_approval(draft: &Draft, step: &Step) -> bool {
    step.phase != Phase::Arrive && !draft.has(&step.id) && !draft.facts.done(&step.id)
}

fn loop_on(step: &Step, zone: Option<Zone>) -> &'static str {
    match (step.basis, zone) {
        (Basis::PerM2, Some(zone)) => zone.name(),
        (Basis::PerWheel, _) => "one wheel",
        (Basis::PerSpot, _) => "one spot",
        _ => "all of it",
    }
}

fn slowest(draft: &Draft, step: &Step, zones: &[Zone]) -> Option<Zone> {
    let minutes = |zone: Zone| on_zone(draft.facts, step, Some(zone)).0;
    zones
        .iter()
        .copied()
        .map(|zone| (zone, minutes(zone)))
        .max_by(|a, b| a.1.total_cmp(&b.1))
        .map(|slow| slow.0)
}

/// What the step removes here: what was found, or while nobody has looked all it is good for.
fn against<'a>(draft: &'a Draft, work: &Work) -> Vec<&'a ContaminantRow> {
    let facts = draft.facts;
    let here = |c: Contaminant| {
        !facts.inspected() || work.zones.iter().any(|&zone| facts.grade(zone, c) > Grade::NONE)
    };
    let rows = facts.handbook().contaminants.iter();
    rows.filter(|row| row.ladder_steps.contains(&work.step.id) && here(row.id)).collect()
}

/// The first rung above that some zone's material allows.
fn rung(draft: &Draft, work: &Work, row: &ContaminantRow) -> Option<Rung> {
    let above = row.ladder_steps.iter().skip_while(|id| **id != work.step.id).skip(1);
    above.filter_map(|id| draft.facts.work(id)).find_map(|rung| {
        let step = rung.step;
        let (refused_on, allowed): (Vec<Zone>, Vec<Zone>) =
            work.zones.iter().partition(|&&zone| refused(draft, &rung, zone));
        let zone = slowest(draft, step, &allowed)?;
        let (minutes, water_l) = on_zone(draft.facts, step, Some(zone));
        Some(Rung {
            against: row.id,
            step: step.id.clone(),
            step_name: step.name.clone(),
            needs_approval: needs_approval(draft, step),
            max_panel_c: step.max_panel_c,
            minutes,
            water_l,
            refused_on,
            stop: row.stop.clone(),
        })
    })
}

/// The zone's material or something set into it forbids the step or its product.
fn refused(draft: &Draft, rung: &Work, zone: Zone) -> bool {
    let facts = draft.facts;
    let Some(here) = facts.zone(zone) else { return true };
    let forbids = |substrate| {
        let product =
            rung.products.first().is_some_and(|used| facts.product_fit(used, false, substrate).never);
        product || facts.step_fit(rung, substrate).never
    };
    forbids(here.substrate) || here.inclusions.iter().any(|&substrate| forbids(substrate))
}

fn left(against: &[&ContaminantRow], grade: Grade) -> String {
    let of: Vec<&str> = against.iter().map(|row| row.id.name()).collect();
    let of = if of.is_empty() { String::new() } else { format!(" of {}", of.join(", ")) };
    format!(
        "photo, record \"left at grade _{of}\" (counted at {}) with the reason, tell the customer",
        grade.get()
    )
}
