//! Minutes beyond a step's norm: tools that take longer to put up, and knees that have had enough.

use super::draft::Work;
use super::facts::Facts;
use super::uncertain::Uncertain;
use crate::handbook::Reach;
use crate::site::Drain;

/// The step that lays the runoff kit, where there is a storm drain to keep clean (R23).
const SET_UP: &str = "A05";

/// Norm and likely minutes, at least as long as the slowest tool that the step puts up.
pub(super) fn put_up(facts: &Facts, work: &Work, norm: f64, likely: Uncertain) -> (f64, Uncertain) {
    let kit = (work.step.id == SET_UP && lays_kit(facts)).then_some("runoff_kit");
    let tools = work.step.equipment.iter().map(String::as_str).filter(|tool| facts.carries(tool)).chain(kit);
    let rows = tools.filter_map(|tool| facts.handbook().equipment.get(tool)?.setup_min);
    match rows.reduce(f64::max) {
        Some(least) if norm > 0.0 && least > norm => (least, likely.times(least / norm)),
        _ => (norm, likely),
    }
}

fn lays_kit(facts: &Facts) -> bool {
    facts.input.site.drain == Some(Drain::Storm) && facts.carries("runoff_kit") && !facts.rinseless()
}

/// The minutes of a step, of which those below knee height go slower once a technician has knelt long enough.
///
/// The crew is taken to share the kneeling (assumption). `knelt_min` is what each has knelt before.
pub(super) fn kneeling(facts: &Facts, work: &Work, likely: Uncertain, knelt_min: &mut f64) -> Uncertain {
    let share = low_share(facts, work);
    let own_min = likely.expected * share / facts.input.crew.len().max(1) as f64;
    if own_min <= 0.0 {
        return likely;
    }
    *knelt_min += own_min;
    let tired_min = (*knelt_min - facts.factor("kneel_after_min")).clamp(0.0, own_min);
    likely.times(1.0 + (facts.factor("kneel_norm") - 1.0) * share * tired_min / own_min)
}

/// Share of the treated area that is reached kneeling.
fn low_share(facts: &Facts, work: &Work) -> f64 {
    let rows = || work.zones.iter().filter_map(|&zone| facts.zone(zone)).map(|zone| zone.row);
    let all_m2: f64 = rows().map(|row| row.area_m2).sum();
    let low_m2: f64 = rows().filter(|row| row.reach == Reach::Kneel).map(|row| row.area_m2).sum();
    if all_m2 > 0.0 { low_m2 / all_m2 } else { 0.0 }
}
