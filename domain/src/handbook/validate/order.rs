//! The pairs may not go round in a circle, and every package must obey them.

use super::Fault;
use crate::handbook::order::{binding, golden_order};
use crate::handbook::{Handbook, PackageRole, PackageStep, Pair, PairKind};

pub(super) fn faults(handbook: &Handbook) -> Vec<Fault> {
    let mut faults = circles(handbook);
    faults.extend(handbook.precedence.iter().filter_map(without_cost));
    for package in &handbook.packages {
        let steps: Vec<&PackageStep> = handbook.steps_of(&package.id).collect();
        package_faults(handbook, &steps, &mut faults);
    }
    faults
}

/// Points at every pair of the circle, since any of them may be the wrong one.
fn circles(handbook: &Handbook) -> Vec<Fault> {
    let all: Vec<&str> = handbook.steps.iter().map(|step| step.id.as_str()).collect();
    let Err(cycle) = golden_order(handbook, &all) else { return Vec::new() };
    let text = cycle.to_string();
    let next = |place: usize| &cycle.steps[(place + 1) % cycle.steps.len()];
    let links =
        cycle.steps.iter().enumerate().flat_map(|(place, before)| handbook.pairs(before, next(place)));
    links
        .filter(|pair| binding(pair))
        .map(|pair| Fault::new(format!("/precedence/{}/before", pair.id), text.clone()))
        .collect()
}

/// Only what may be broken costs something.
fn without_cost(pair: &Pair) -> Option<Fault> {
    let text = match (pair.kind == PairKind::Soft, pair.cost_min) {
        (true, None) => "a soft pair needs what breaking it costs",
        (false, Some(_)) => "only a soft pair may be broken, at a cost",
        _ => return None,
    };
    Some(Fault::new(format!("/precedence/{}/cost_min", pair.id), text))
}

fn package_faults(handbook: &Handbook, steps: &[&PackageStep], faults: &mut Vec<Fault>) {
    let row = |id: &str| steps.iter().find(|row| row.step == id);
    for pair in &handbook.precedence {
        let (Some(before), Some(after)) = (row(&pair.before), row(&pair.after)) else { continue };
        if breaks(pair, before, after) {
            let text = format!("{} comes before {}: {}", pair.before, pair.after, pair.id);
            faults.push(Fault::new(format!("/package_steps/{}/position", after.id), text));
        }
    }
}

fn breaks(pair: &Pair, before: &PackageStep, after: &PackageStep) -> bool {
    match pair.kind {
        PairKind::Forbidden => {
            let both = before.role == PackageRole::Required && after.role == PackageRole::Required;
            both && before.position < after.position
        }
        PairKind::Hard | PairKind::Soft | PairKind::Conditional => before.position >= after.position,
    }
}
