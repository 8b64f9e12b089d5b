//! The handbook's precedence pairs, applied to the steps of one draft.

use super::draft::{Draft, each};
use super::order::{Arrangement, Constraint, arrange};
use super::{PlanError, Reason};
use crate::handbook::{Chemistry, Pair, PairCondition, PairKind, Severity};
use crate::inspection::{Contaminant, Grade};
use crate::vehicle::Zone;

/// Orders the steps by every pair that holds here, and gives each line the pairs that placed it.
pub(super) fn put_in_order(draft: &mut Draft) -> Result<(), PlanError> {
    let handbook = draft.facts.handbook();
    draft.work.sort_by_key(|w| handbook.steps.place(&w.step.id));
    let (held, void): (Vec<&Pair>, Vec<&Pair>) =
        handbook.precedence.iter().partition(|pair| holds(draft, pair));
    forget(draft, &void);
    let position = |id: &str| draft.work.iter().position(|w| w.step.id == id);
    let mut holding: Vec<&Pair> = Vec::new();
    let mut constraints = Vec::new();
    for pair in held {
        let (Some(before), Some(after)) = (position(&pair.before), position(&pair.after)) else { continue };
        // A forbidden pair may not come in this order, so it holds the other way round.
        let (before, after) =
            if pair.kind == PairKind::Forbidden { (after, before) } else { (before, after) };
        constraints.push(Constraint { pair: &pair.id, before, after, cost: pair.cost_min });
        holding.push(pair);
    }
    for (pair, before, after) in implied(draft) {
        let (Some(pair), Some(before), Some(after)) =
            (handbook.precedence.get(pair), position(before), position(after))
        else {
            continue;
        };
        constraints.push(Constraint { pair: &pair.id, before, after, cost: None });
        holding.push(pair);
    }
    let Arrangement { order, broken } = arrange(draft.work.len(), &constraints)
        .map_err(|circle| PlanError::new("/handbook/precedence", circle.to_string()))?;
    explain(draft, &constraints, &holding, &broken);
    let mut slots: Vec<_> = draft.work.drain(..).map(Some).collect();
    draft.work = order.into_iter().filter_map(|index| slots[index].take()).collect();
    Ok(())
}

/// Takes back what pairs said of an order made before, when their condition was still met.
fn forget(draft: &mut Draft, void: &[&Pair]) {
    for work in &mut draft.work {
        work.reasons.retain(|reason| void.iter().all(|pair| pair.id != reason.id));
    }
}

/// Orders that pairs imply without naming both steps: wet-type protection is rinsed off before the vehicle is
/// dried (Q74), unless polishing has to come between; the rinse of strip wash is a rinse before iron (Q45); and the
/// tyre's alkali runs onto its wheel, which is cooled first (Q07).
pub(super) fn implied<'d>(draft: &Draft) -> Vec<(&'d str, &'d str, &'d str)> {
    let mut implied = vec![("Q45", "D13", "D12"), ("Q07", "B01", "B03")];
    let polished = ["G02", "G03", "G04"].iter().any(|step| draft.has(step));
    if draft.wet_protection && !polished {
        implied.extend([("Q74", "D14", "H03"), ("Q74", "D05", "H03"), ("Q74", "E02", "H03")]);
        implied.extend([("Q74", "H03", "F01"), ("Q74", "H03", "F02"), ("Q74", "H03", "F03")]);
    }
    implied
}

/// Whether a pair's condition is met here, both steps being planned.
fn holds(draft: &Draft, pair: &Pair) -> bool {
    let facts = draft.facts;
    match pair.condition {
        PairCondition::Always | PairCondition::NormalOrder | PairCondition::ArchesDirty => true,
        PairCondition::GritVisible => true,
        PairCondition::ChemistryPlanned => draft.work.iter().any(|w| {
            facts.uses_chemistry(w, &[Chemistry::Alkali, Chemistry::Acid, Chemistry::Thioglycolate])
        }),
        PairCondition::WheelOverLimit => {
            // Cooling first costs nothing when the wheels turn out to be cool.
            facts.reading(Zone::WheelFace).is_none_or(|c| c > facts.limit("R03", "wheel_c"))
        }
        PairCondition::FilmTypical => {
            facts.worst_or_booked(Contaminant::Film) >= Grade::TYPICAL || draft.has("C01")
        }
        PairCondition::WetType => draft.wet_protection,
        PairCondition::DryType => !draft.wet_protection,
    }
}

fn explain(draft: &mut Draft, constraints: &[Constraint], holding: &[&Pair], broken: &[usize]) {
    for (index, (constraint, pair)) in constraints.iter().zip(holding).enumerate() {
        if broken.contains(&index) {
            let text = format!(
                "{} before {} given up: {} (cost {} min)",
                pair.before,
                pair.after,
                pair.reason,
                constraint.cost.unwrap_or(0.0)
            );
            if !draft.notices.iter().any(|n| n.rule == pair.id) {
                let lines = each(vec![pair.after.clone()], &format!("before {} for once", pair.before));
                draft.tell(&pair.id, Severity::Advise, text, lines);
            }
            continue;
        }
        let before = draft.work[constraint.before].step.id.clone();
        let work = &mut draft.work[constraint.after];
        if !work.reasons.iter().any(|r| r.id == pair.id) {
            let gap = if pair.gap.is_empty() || pair.gap == "-" {
                String::new()
            } else {
                format!(" ({})", pair.gap)
            };
            work.reasons
                .push(Reason { id: pair.id.clone(), text: format!("after {before}{gap}: {}", pair.reason) });
        }
    }
}
