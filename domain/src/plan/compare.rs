//! Two plans of one job side by side: what another handbook would change.

use super::{JobPlan, Notice, PlanLine, Totals};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use utoipa::ToSchema;

/// Minutes and litres that differ by less than this are the same: rounding, not the tables.
const SAME: f64 = 1e-6;

/// What the second plan has otherwise.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct PlanDifference {
    pub before: PlanSide,
    pub after: PlanSide,
    pub added: Vec<ChangedStep>,
    pub removed: Vec<ChangedStep>,
    /// The fewest steps that have to change places to get from one order to the other.
    pub moved: Vec<ChangedStep>,
    /// Steps of both plans with other minutes or litres.
    pub changed: Vec<ChangedStep>,
    pub notices_added: Vec<Notice>,
    pub notices_removed: Vec<Notice>,
}

/// One of the two plans as a whole.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct PlanSide {
    pub handbook: String,
    pub workable: bool,
    pub totals: Totals,
}

/// A step on both sides; absent where it does not stand.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ChangedStep {
    pub step: String,
    pub name: String,
    pub before: Option<StepSide>,
    pub after: Option<StepSide>,
}

/// A step in one of the plans.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct StepSide {
    /// 1 is the first step of the plan.
    pub place: u32,
    /// Person-minutes expected.
    pub minutes: f64,
    pub water_l: f64,
}

/// Compares two plans of one job. A step that stands in several lines is compared line by line.
pub fn compare(before: &JobPlan, after: &JobPlan) -> PlanDifference {
    let (old, new) = (numbered(&before.lines), numbered(&after.lines));
    let gone: Vec<&Key> = old.keys().filter(|key| !new.contains_key(*key)).collect();
    let come: Vec<&Key> = new.keys().filter(|key| !old.contains_key(*key)).collect();
    let mut both: Vec<&Key> = old.keys().filter(|key| new.contains_key(*key)).collect();
    both.sort_by_key(|key| place(&old, key));
    let kept = longest_rising(&both.iter().map(|key| place(&new, key)).collect::<Vec<_>>());
    let moved = both.iter().zip(&kept).filter(|(_, kept)| !**kept).map(|(key, _)| *key);
    let differs = |key: &&&Key| match (old.get(**key), new.get(**key)) {
        (Some((_, a)), Some((_, b))) => {
            (a.minutes - b.minutes).abs() > SAME || (a.water_l - b.water_l).abs() > SAME
        }
        _ => false,
    };
    let list = |keys: Vec<&Key>| {
        let mut steps: Vec<ChangedStep> = keys.into_iter().map(|key| changed(&old, &new, key)).collect();
        steps.sort_by_key(|step| step.after.or(step.before).map(|side| side.place));
        steps
    };
    PlanDifference {
        before: side(before),
        after: side(after),
        added: list(come),
        removed: list(gone),
        moved: list(moved.collect()),
        changed: list(both.iter().filter(differs).copied().collect()),
        notices_added: missing(&after.notices, &before.notices),
        notices_removed: missing(&before.notices, &after.notices),
    }
}

impl PlanDifference {
    /// Nothing is otherwise, but for rounding.
    pub fn is_none(&self) -> bool {
        let steps = [&self.added, &self.removed, &self.moved, &self.changed];
        let notices = [&self.notices_added, &self.notices_removed];
        steps.iter().all(|list| list.is_empty()) && notices.iter().all(|list| list.is_empty())
    }
}

/// A step and which of its lines.
type Key = (String, usize);
type Lines<'a> = BTreeMap<Key, (u32, &'a PlanLine)>;

fn numbered(lines: &[PlanLine]) -> Lines<'_> {
    let mut seen: BTreeMap<&str, usize> = BTreeMap::new();
    let mut numbered = BTreeMap::new();
    for (place, line) in (1..).zip(lines) {
        let count = seen.entry(&line.step).or_default();
        numbered.insert((line.step.clone(), *count), (place, line));
        *count += 1;
    }
    numbered
}

fn place(lines: &Lines, key: &Key) -> u32 {
    lines.get(key).map_or(0, |(place, _)| *place)
}

fn changed(old: &Lines, new: &Lines, key: &Key) -> ChangedStep {
    let of = |lines: &Lines| {
        let (place, line) = lines.get(key)?;
        Some(StepSide { place: *place, minutes: line.minutes, water_l: line.water_l })
    };
    let line = new.get(key).or(old.get(key));
    ChangedStep {
        step: key.0.clone(),
        name: line.map_or(String::new(), |(_, line)| line.name.clone()),
        before: of(old),
        after: of(new),
    }
}

/// Which of the places belong to the longest rising row of them.
fn longest_rising(places: &[u32]) -> Vec<bool> {
    let mut length: Vec<usize> = Vec::with_capacity(places.len());
    let mut from: Vec<Option<usize>> = Vec::with_capacity(places.len());
    for (at, place) in places.iter().enumerate() {
        let earlier = places.iter().zip(&length).take(at).enumerate().filter(|(_, (p, _))| *p < place);
        let best = earlier.map(|(index, (_, length))| (index, *length)).max_by_key(|(_, length)| *length);
        length.push(best.map_or(1, |(_, length)| length + 1));
        from.push(best.map(|(index, _)| index));
    }
    let mut kept = vec![false; places.len()];
    let mut at = (0..places.len()).max_by_key(|&at| length.get(at).copied());
    while let Some(index) = at {
        if let Some(kept) = kept.get_mut(index) {
            *kept = true;
        }
        at = from.get(index).copied().flatten();
    }
    kept
}

fn side(plan: &JobPlan) -> PlanSide {
    PlanSide { handbook: plan.handbook.clone(), workable: plan.workable, totals: plan.totals.clone() }
}

/// The notices that the other plan does not have, word for word.
fn missing(of: &[Notice], other: &[Notice]) -> Vec<Notice> {
    of.iter().filter(|notice| !other.contains(notice)).cloned().collect()
}

#[cfg(test)]
mod tests {
    use super::longest_rising;

    #[test]
    fn the_fewest_steps_move() {
        let moved = |places: &[u32]| -> Vec<u32> {
            let kept = longest_rising(places);
            places.iter().zip(kept).filter(|(_, kept)| !kept).map(|(place, _)| *place).collect()
        };
        assert_eq!(moved(&[]), Vec::<u32>::new());
        assert_eq!(moved(&[1, 2, 5, 9]), Vec::<u32>::new());
        assert_eq!(moved(&[9, 1, 2, 5]), [9]);
        assert_eq!(moved(&[2, 5, 9, 1]), [1]);
        assert_eq!(moved(&[1, 9, 2, 8, 3, 7]).len(), 2);
    }
}
