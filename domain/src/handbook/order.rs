//! The order of work that the precedence pairs give; ties are broken by the order of the steps table.

use super::{Handbook, Pair, PairKind};
use std::collections::{BTreeMap, BTreeSet};

/// Steps that wait for each other in a circle, each before the next and the last before the first.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("steps wait for each other in a circle: {}", .steps.join(", "))]
pub struct Cycle {
    pub steps: Vec<String>,
}

/// Puts steps in order: every hard and conditional pair is obeyed, and the soft ones too unless they contradict.
///
/// Conditions of pairs are taken to hold. Steps unknown to the handbook come last, in the order given; a step
/// named twice is kept once.
pub fn golden_order(handbook: &Handbook, steps: &[&str]) -> Result<Vec<String>, Cycle> {
    let all = sorted(handbook, steps, |pair| pair.kind != PairKind::Forbidden);
    let order = all.or_else(|_| sorted(handbook, steps, binding))?;
    Ok(order.into_iter().map(str::to_owned).collect())
}

/// A pair that an order must obey.
pub fn binding(pair: &Pair) -> bool {
    matches!(pair.kind, PairKind::Hard | PairKind::Conditional)
}

fn sorted<'a>(
    handbook: &'a Handbook,
    steps: &[&'a str],
    obeyed: fn(&Pair) -> bool,
) -> Result<Vec<&'a str>, Cycle> {
    let place = |id: &str, given: usize| (handbook.steps.place(id).unwrap_or(usize::MAX), given);
    let mut waiting: BTreeMap<(usize, usize), &str> = BTreeMap::new();
    for (given, id) in steps.iter().enumerate() {
        if !waiting.values().any(|other| other == id) {
            waiting.insert(place(id, given), id);
        }
    }
    let present: BTreeSet<&str> = waiting.values().copied().collect();
    let mut pairs: Vec<&Pair> = handbook
        .precedence
        .iter()
        .filter(|pair| {
            obeyed(pair) && present.contains(pair.before.as_str()) && present.contains(pair.after.as_str())
        })
        .collect();
    let mut order = Vec::with_capacity(waiting.len());
    while !waiting.is_empty() {
        let free = waiting.iter().find(|(_, id)| !pairs.iter().any(|pair| pair.after == **id));
        let Some((place, id)) = free.map(|(place, id)| (*place, *id)) else {
            return Err(circle(&pairs));
        };
        waiting.remove(&place);
        pairs.retain(|pair| pair.before != id);
        order.push(id);
    }
    Ok(order)
}

/// A circle among pairs of which every `after` step has such a pair: walking backwards must come round.
fn circle(pairs: &[&Pair]) -> Cycle {
    let mut walked: Vec<&str> = Vec::new();
    let mut at = pairs.first().map(|pair| pair.after.as_str());
    while let Some(step) = at {
        if let Some(start) = walked.iter().position(|seen| *seen == step) {
            let mut steps: Vec<String> = walked.split_off(start).into_iter().map(str::to_owned).collect();
            steps.reverse();
            return Cycle { steps };
        }
        walked.push(step);
        at = pairs.iter().find(|pair| pair.after == step).map(|pair| pair.before.as_str());
    }
    Cycle { steps: walked.into_iter().map(str::to_owned).collect() }
}
