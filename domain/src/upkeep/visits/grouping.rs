//! Which things to do together: each has a day that suits it best and a penalty for any other, and each visit costs once.
//!
//! The penalty is the second-order form of Wildeman, Dekker & Smit 1997 (EJOR 99:530), with a weight for early days and
//! another for late ones. Where the ratio of both weights is the same for all and every day is open to all, two visits
//! divide the things by their best day alone, so the best groups are consecutive and a dynamic programme over them is
//! exact, whatever the weights. Else all groups are compared, up to [`MOST_COMPARED`] things; beyond, the programme
//! over consecutive groups is a good answer and perhaps not the best.

/// So many things are compared in all groups; the work triples with each.
const MOST_COMPARED: usize = 8;

/// A thing to be done. Days are counted from any day, as fractions.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Thing {
    pub best_d: f64,
    /// Penalty of a day `t` before the best one: `early / 2 · (best - t)²`.
    pub early: f64,
    /// The same for a day after it.
    pub late: f64,
    /// Not before this day.
    pub from_d: f64,
    /// Months in which it cannot be done, bit 0 for January.
    pub closed: Months,
}

/// A set of months, bit 0 for January.
pub type Months = u16;

/// Where months lie on the axis of days, and which of them suit.
#[derive(Debug, Clone, Default)]
pub struct Calendar {
    /// First day of a month and its number from 0, in order; days before the first belong to it.
    pub months: Vec<(f64, u8)>,
    /// Months that do not suit.
    pub unwelcome: Months,
    /// What a visit in such a month costs more.
    pub unwelcome_cost: f64,
}

/// Things done together.
#[derive(Debug, Clone, PartialEq)]
pub struct Group {
    /// Places in the list of things, in the order of their best days.
    pub members: Vec<usize>,
    pub on_d: f64,
    /// Penalties and the visit itself.
    pub cost: f64,
}

impl Thing {
    pub fn penalty(&self, on_d: f64) -> f64 {
        let weight = if on_d < self.best_d { self.early } else { self.late };
        0.5 * weight * (on_d - self.best_d).powi(2)
    }
}

/// The cheapest groups, the soonest first; `visit_cost` is what each visit costs.
///
/// ```
/// use domain::upkeep::visits::{Calendar, Thing, group};
/// let thing = |best_d| Thing { best_d, early: 0.5, late: 0.5, from_d: 0.0, closed: 0 };
/// let groups = group(&[thing(40.0), thing(10.0), thing(14.0)], 20.0, &Calendar::default());
/// assert_eq!(groups[0].members, [1, 2]);
/// assert_eq!((groups[0].on_d, groups[1].on_d), (12.0, 40.0));
/// ```
pub fn group(things: &[Thing], visit_cost: f64, calendar: &Calendar) -> Vec<Group> {
    let mut order: Vec<usize> = (0..things.len()).collect();
    order.sort_by(|&a, &b| things[a].best_d.total_cmp(&things[b].best_d));
    let sorted: Vec<Thing> = order.iter().map(|&i| things[i]).collect();
    let chosen = if sorted.len() > MOST_COMPARED || consecutive_is_exact(&sorted, calendar) {
        consecutive(&sorted, visit_cost, calendar)
    } else {
        compared(&sorted, visit_cost, calendar)
    };
    let mut groups: Vec<Group> = chosen
        .into_iter()
        .map(|mask| {
            let (on_d, cost) = best_day(&sorted, mask, calendar);
            let members = members(mask).map(|i| order[i]).collect();
            Group { members, on_d, cost: cost + visit_cost }
        })
        .collect();
    groups.sort_by(|a, b| a.on_d.total_cmp(&b.on_d));
    groups
}

/// Whether the best groups are consecutive for certain.
fn consecutive_is_exact(sorted: &[Thing], calendar: &Calendar) -> bool {
    let Some(first) = sorted.first() else { return true };
    let same_ratio = |thing: &Thing| {
        let (one, other) = (thing.early * first.late, first.early * thing.late);
        (one - other).abs() <= 1e-12 * one.max(other)
    };
    calendar.unwelcome == 0
        && sorted.iter().all(|t| same_ratio(t) && t.closed == 0 && t.from_d <= first.best_d)
}

type Mask = u64;

fn members(mask: Mask) -> impl Iterator<Item = usize> {
    (0..Mask::BITS as usize).filter(move |i| mask >> i & 1 == 1)
}

/// Dynamic programme over groups of neighbours: the cheapest way to serve the first `n` things, for each `n`.
fn consecutive(sorted: &[Thing], visit_cost: f64, calendar: &Calendar) -> Vec<Mask> {
    let mut best: Vec<(f64, usize)> = vec![(0.0, 0)];
    for end in 1..=sorted.len() {
        let from = end.saturating_sub(Mask::BITS as usize)..end;
        let costs = from.map(|start| {
            let (_, cost) = best_day(sorted, span(start, end), calendar);
            (best[start].0 + cost + visit_cost, start)
        });
        best.push(costs.min_by(|a, b| a.0.total_cmp(&b.0)).unwrap_or_default());
    }
    let mut groups = Vec::new();
    let mut end = sorted.len();
    while end > 0 {
        let start = best[end].1;
        groups.push(span(start, end));
        end = start;
    }
    groups
}

/// The things from `start` to before `end`.
fn span(start: usize, end: usize) -> Mask {
    (Mask::MAX >> (Mask::BITS as usize - (end - start))) << start
}

/// All partitions: the cheapest way to serve a set is its first thing's group and the cheapest way to serve the rest.
fn compared(sorted: &[Thing], visit_cost: f64, calendar: &Calendar) -> Vec<Mask> {
    const SETS: usize = 1 << MOST_COMPARED;
    let all = (1usize << sorted.len()) - 1;
    let (mut alone, mut best, mut chosen) = ([0.0; SETS], [0.0; SETS], [0; SETS]);
    for set in 1..=all {
        alone[set] = best_day(sorted, set as Mask, calendar).1 + visit_cost;
        let first = set & set.wrapping_neg();
        let rest = set ^ first;
        (best[set], chosen[set]) = (f64::INFINITY, set);
        let mut with = rest;
        loop {
            let cost = alone[first | with] + best[rest ^ with];
            if cost < best[set] {
                (best[set], chosen[set]) = (cost, first | with);
            }
            if with == 0 {
                break;
            }
            with = (with - 1) & rest;
        }
    }
    let mut groups = Vec::new();
    let mut left = all;
    while left > 0 {
        groups.push(chosen[left] as Mask);
        left ^= chosen[left];
    }
    groups
}

/// The cheapest day on which the things of a set can be done together, and the penalties on it.
fn best_day(sorted: &[Thing], mask: Mask, calendar: &Calendar) -> (f64, f64) {
    let from_d = members(mask).map(|i| sorted[i].from_d).fold(f64::NEG_INFINITY, f64::max);
    let closed = members(mask).fold(0, |months, i| months | sorted[i].closed);
    let on_d = least_penalty(sorted, mask).max(from_d);
    let cost = |on_d: f64| {
        let penalties: f64 = members(mask).map(|i| sorted[i].penalty(on_d)).sum();
        penalties + if calendar.is_in(on_d, calendar.unwelcome) { calendar.unwelcome_cost } else { 0.0 }
    };
    if closed | calendar.unwelcome == 0 {
        return (on_d, cost(on_d));
    }
    // The sum of penalties has one valley: the best day is its bottom or the nearest open day on either side.
    let days = [closed, closed | calendar.unwelcome].map(|shut| calendar.nearest_outside(on_d, from_d, shut));
    let days = days.into_iter().flatten().flatten().map(|on_d| (on_d, cost(on_d)));
    // What has no open month alone is done all the same; together it is not.
    let shut = if mask.is_power_of_two() { cost(on_d) } else { f64::INFINITY };
    days.min_by(|a, b| a.1.total_cmp(&b.1)).unwrap_or((on_d, shut))
}

/// The day of the least sum of penalties: between two best days the slope is a line, so each piece is tried in turn.
fn least_penalty(sorted: &[Thing], mask: Mask) -> f64 {
    let (mut weight, mut moment) = (0.0, 0.0);
    for i in members(mask) {
        weight += sorted[i].early;
        moment += sorted[i].early * sorted[i].best_d;
    }
    let mut inner = members(mask).peekable();
    while let Some(i) = inner.next() {
        weight += sorted[i].late - sorted[i].early;
        moment += (sorted[i].late - sorted[i].early) * sorted[i].best_d;
        let bottom = moment / weight;
        if inner.peek().is_none_or(|&next| bottom <= sorted[next].best_d) {
            return bottom;
        }
    }
    0.0
}

impl Calendar {
    fn month(&self, on_d: f64) -> Option<u8> {
        let after = self.months.partition_point(|m| m.0 <= on_d);
        self.months.get(after.saturating_sub(1)).map(|m| m.1)
    }

    pub fn is_in(&self, on_d: f64, months: Months) -> bool {
        self.month(on_d).is_some_and(|month| months >> month & 1 == 1)
    }

    /// `on_d` where its month is not shut, else the last open day before it, not before `from_d`, and the first after.
    fn nearest_outside(&self, on_d: f64, from_d: f64, shut: Months) -> [Option<f64>; 2] {
        if !self.is_in(on_d, shut) {
            return [Some(on_d), None];
        }
        let here = self.months.partition_point(|m| m.0 <= on_d).saturating_sub(1);
        let is_open = |m: &(f64, u8)| shut >> m.1 & 1 == 0;
        let before = (0..here).rev().find(|&i| is_open(&self.months[i])).map(|i| self.months[i + 1].0 - 1.0);
        let after = self.months.iter().skip(here).find(|m| is_open(m)).map(|m| m.0);
        [before.filter(|&on_d| on_d >= from_d), after]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn thing(best_d: f64, early: f64, late: f64) -> Thing {
        Thing { best_d, early, late, from_d: f64::NEG_INFINITY, closed: 0 }
    }

    fn total(groups: &[Group]) -> f64 {
        groups.iter().map(|g| g.cost).sum()
    }

    /// GRP-01 and GRP-02: all 52 partitions by brute force; model of Wildeman, Dekker & Smit 1997, EJOR 99:530.
    #[test]
    fn the_published_model_groups_five_things() {
        let days = [10.0, 14.0, 40.0, 45.0, 90.0];
        let things: Vec<Thing> =
            days.iter().zip([0.2, 0.1, 0.3, 0.05, 0.2]).map(|(&d, k)| thing(d, k, k)).collect();
        let groups = group(&things, 50.0, &Calendar::default());
        let members: Vec<&[usize]> = groups.iter().map(|g| g.members.as_slice()).collect();
        assert_eq!(members, [&[0, 1][..], &[2, 3], &[4]]);
        for (group, on_d) in groups.iter().zip([11.3333333, 40.7142857, 90.0]) {
            assert!((group.on_d - on_d).abs() < 1e-7, "{group:?}");
        }
        assert!((total(&groups) - 151.0690476).abs() < 1e-7);
        assert!((5.0 * 50.0 - total(&groups) - 98.9309524).abs() < 1e-7);
    }

    /// Every partition of `0..n`, by naming for each thing the group it joins.
    fn partitions(n: usize) -> Vec<Vec<Vec<usize>>> {
        let mut all = vec![vec![]];
        for i in 0..n {
            all = all
                .into_iter()
                .flat_map(|groups: Vec<Vec<usize>>| {
                    (0..=groups.len()).map(move |g| {
                        let mut groups = groups.clone();
                        if g == groups.len() {
                            groups.push(vec![i])
                        } else {
                            groups[g].push(i)
                        }
                        groups
                    })
                })
                .collect();
        }
        all
    }

    /// The least cost over all partitions and a grid of days: knows nothing of slopes, order or valleys.
    fn brute_force(things: &[Thing], visit_cost: f64, calendar: &Calendar, days: &[f64]) -> f64 {
        let open = |g: &[usize], t: f64| {
            g.iter().all(|&i| t >= things[i].from_d && !calendar.is_in(t, things[i].closed))
        };
        let cost_on = |g: &[usize], t: f64| {
            let off = if calendar.is_in(t, calendar.unwelcome) { calendar.unwelcome_cost } else { 0.0 };
            g.iter().map(|&i| things[i].penalty(t)).sum::<f64>() + off + visit_cost
        };
        let group_cost = |g: &Vec<usize>| {
            days.iter().filter(|&&t| open(g, t)).map(|&t| cost_on(g, t)).fold(f64::INFINITY, f64::min)
        };
        partitions(things.len()).iter().map(|p| p.iter().map(group_cost).sum()).fold(f64::INFINITY, f64::min)
    }

    fn quarter_days() -> Vec<f64> {
        (0..=1200).map(|i| f64::from(i) / 4.0).collect()
    }

    fn year() -> Vec<(f64, u8)> {
        (0..14).map(|m| (f64::from(m) * 30.0, (m % 12) as u8)).collect()
    }

    prop_compose! {
        fn any_thing()(best in 0..300u16, early in 0.005..0.5f64, late in 0.005..0.5f64) -> Thing {
            thing(f64::from(best), early, late)
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(48))]

        /// Symmetric penalties of any weight: the programme over neighbours misses nothing that brute force finds.
        #[test]
        fn neighbours_suffice_for_one_ratio(mut things in prop::collection::vec(any_thing(), 1..6), ratio in 0.2..5.0f64) {
            things.iter_mut().for_each(|t| t.late = t.early * ratio);
            things.sort_by(|a, b| a.best_d.total_cmp(&b.best_d));
            let calendar = Calendar::default();
            prop_assert!(consecutive_is_exact(&things, &calendar));
            let cost = |masks: Vec<Mask>| -> f64 {
                masks.into_iter().map(|m| best_day(&things, m, &calendar).1 + 3.0).sum()
            };
            let programme = cost(consecutive(&things, 3.0, &calendar));
            prop_assert!((programme - cost(compared(&things, 3.0, &calendar))).abs() < 1e-9);
            let brute = brute_force(&things, 3.0, &calendar, &quarter_days());
            prop_assert!(programme <= brute + 1e-9 && brute - programme < 0.25, "{programme} {brute}");
        }

        /// Any weights, first days, closed and unwelcome months: never dearer than brute force over days, and allowed.
        #[test]
        fn all_groups_are_compared(
            mut things in prop::collection::vec(any_thing(), 1..6),
            closed in 0..0xfffu16, first in 0..120u16, unwelcome in 0..0xfffu16,
        ) {
            things[0].closed = closed;
            things[0].from_d = f64::from(first);
            things.iter_mut().for_each(|t| t.from_d = t.from_d.max(0.0));
            let calendar = Calendar { months: year(), unwelcome, unwelcome_cost: 0.7 };
            let groups = group(&things, 3.0, &calendar);
            for g in &groups {
                prop_assert!(g.members.iter().all(|&i| g.on_d >= things[i].from_d));
                prop_assert!(g.members.iter().all(|&i| !calendar.is_in(g.on_d, things[i].closed)));
            }
            let mut seen: Vec<usize> = groups.iter().flat_map(|g| g.members.clone()).collect();
            seen.sort_unstable();
            prop_assert_eq!(seen, (0..things.len()).collect::<Vec<_>>());
            let days: Vec<f64> = (0..420).map(f64::from).collect();
            let brute = brute_force(&things, 3.0, &calendar, &days);
            prop_assert!(total(&groups) <= brute + 1e-9, "{} {brute}", total(&groups));
        }
    }
}
