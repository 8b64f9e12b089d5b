//! The order of the steps: hard pairs always, soft pairs wherever they can be had.
//!
//! Ties are broken by position in the list, so the same steps always come out in the same order.

use thiserror::Error;

/// "`before` comes before `after`", by position in the list of steps.
#[derive(Debug, Clone, PartialEq)]
pub struct Constraint<'a> {
    /// Id of the precedence pair, for instance `Q30`.
    pub pair: &'a str,
    pub before: usize,
    pub after: usize,
    /// What it costs to break the pair; `None` for a hard pair, which is never broken.
    pub cost: Option<f64>,
}

/// An order that breaks no hard pair.
#[derive(Debug, Clone, PartialEq)]
pub struct Arrangement {
    pub order: Vec<usize>,
    /// Positions in the list of constraints of the soft pairs that this order breaks.
    pub broken: Vec<usize>,
}

#[derive(Debug, Clone, PartialEq, Error)]
pub enum OrderError {
    #[error("the pairs {} contradict each other", pairs.join(", "))]
    Circle { pairs: Vec<String> },
}

/// Largest knot of contradicting soft pairs that is untied exactly; above it the cheapest pair is given up first.
/// Assumption: 2^14 subsets cost about a millisecond, and the standard tables make no knot at all.
const EXACT_KNOT: usize = 14;

/// Orders `0..steps` so that all hard pairs hold and the cost of broken soft pairs is least.
pub fn arrange(steps: usize, constraints: &[Constraint]) -> Result<Arrangement, OrderError> {
    let mut kept: Vec<bool> =
        constraints.iter().map(|c| c.before < steps && c.after < steps && c.before != c.after).collect();
    loop {
        match sort(steps, constraints, &kept) {
            Ok(order) => {
                let position = positions(&order);
                let broken = (0..constraints.len())
                    .filter(|&i| {
                        let c = &constraints[i];
                        c.before < steps && c.after < steps && position[c.before] > position[c.after]
                    })
                    .collect();
                return Ok(Arrangement { order, broken });
            }
            Err(stuck) => {
                let knot = smallest_knot(&stuck, constraints, &kept);
                for pair in give_up(&knot, constraints, &kept)? {
                    kept[pair] = false;
                }
            }
        }
    }
}

/// Kahn's algorithm, earliest in the list first; the steps that could not be placed when it gets stuck.
fn sort(steps: usize, constraints: &[Constraint], kept: &[bool]) -> Result<Vec<usize>, Vec<usize>> {
    let mut waiting_for = vec![0usize; steps];
    for (c, _) in live(constraints, kept) {
        waiting_for[c.after] += 1;
    }
    let mut placed = vec![false; steps];
    let mut order = Vec::with_capacity(steps);
    while let Some(next) = (0..steps).find(|&s| !placed[s] && waiting_for[s] == 0) {
        placed[next] = true;
        order.push(next);
        for (c, _) in live(constraints, kept).filter(|(c, _)| c.before == next) {
            waiting_for[c.after] -= 1;
        }
    }
    if order.len() == steps { Ok(order) } else { Err((0..steps).filter(|&s| !placed[s]).collect()) }
}

fn live<'a>(
    constraints: &'a [Constraint<'a>],
    kept: &'a [bool],
) -> impl Iterator<Item = (&'a Constraint<'a>, usize)> {
    constraints.iter().zip(0..).filter(|(_, i)| kept[*i])
}

fn positions(order: &[usize]) -> Vec<usize> {
    let mut position = vec![0; order.len()];
    for (at, &step) in order.iter().enumerate() {
        position[step] = at;
    }
    position
}

/// The smallest set of stuck steps that all wait for each other.
fn smallest_knot(stuck: &[usize], constraints: &[Constraint], kept: &[bool]) -> Vec<usize> {
    let reach: Vec<Vec<usize>> =
        stuck.iter().map(|&from| reachable(from, stuck, constraints, kept)).collect();
    let knot = |i: usize| -> Vec<usize> {
        stuck
            .iter()
            .enumerate()
            .filter(|(j, step)| reach[i].contains(step) && reach[*j].contains(&stuck[i]))
            .map(|(_, &step)| step)
            .collect()
    };
    (0..stuck.len()).map(knot).filter(|k| k.len() > 1).min_by_key(Vec::len).unwrap_or_default()
}

fn reachable(from: usize, within: &[usize], constraints: &[Constraint], kept: &[bool]) -> Vec<usize> {
    let mut seen = vec![from];
    let mut next = 0;
    while next < seen.len() {
        let at = seen[next];
        for (c, _) in live(constraints, kept).filter(|(c, _)| c.before == at) {
            if within.contains(&c.after) && !seen.contains(&c.after) {
                seen.push(c.after);
            }
        }
        next += 1;
    }
    seen
}

/// The soft pairs to give up so that the knot can be ordered at the least cost.
fn give_up(knot: &[usize], constraints: &[Constraint], kept: &[bool]) -> Result<Vec<usize>, OrderError> {
    let inside: Vec<usize> = live(constraints, kept)
        .filter(|(c, _)| knot.contains(&c.before) && knot.contains(&c.after))
        .map(|(_, i)| i)
        .collect();
    let circle =
        || OrderError::Circle { pairs: inside.iter().map(|&i| constraints[i].pair.to_string()).collect() };
    if knot.len() <= EXACT_KNOT {
        return cheapest_order(knot, constraints, &inside).ok_or_else(circle);
    }
    let cost = |i: &usize| constraints[*i].cost.unwrap_or(f64::INFINITY);
    let cheapest = inside.iter().copied().filter(|&i| constraints[i].cost.is_some());
    cheapest.min_by(|a, b| cost(a).total_cmp(&cost(b))).map(|i| vec![i]).ok_or_else(circle)
}

/// Dynamic programme over the subsets already placed; the pairs that the cheapest order breaks.
fn cheapest_order(knot: &[usize], constraints: &[Constraint], inside: &[usize]) -> Option<Vec<usize>> {
    let index = |step: usize| knot.iter().position(|&s| s == step).unwrap_or(0);
    let edges: Vec<(usize, usize, Option<f64>, usize)> = inside
        .iter()
        .map(|&i| (index(constraints[i].before), index(constraints[i].after), constraints[i].cost, i))
        .collect();
    let full = (1usize << knot.len()) - 1;
    let mut best: Vec<Option<(f64, usize)>> = vec![None; full + 1];
    best[0] = Some((0.0, 0));
    for placed in 0..full {
        let Some((so_far, _)) = best[placed] else { continue };
        for step in (0..knot.len()).filter(|s| placed >> s & 1 == 0) {
            let late = edges.iter().filter(|e| e.1 == step && placed >> e.0 & 1 == 0);
            let Some(extra) = late.map(|e| e.2).try_fold(0.0, |sum, cost| cost.map(|c| sum + c)) else {
                continue;
            };
            let next = placed | 1 << step;
            if best[next].is_none_or(|(cost, _)| so_far + extra < cost) {
                best[next] = Some((so_far + extra, step));
            }
        }
    }
    let mut broken = Vec::new();
    let mut placed = full;
    while placed != 0 {
        let (_, last) = best[placed]?;
        placed &= !(1 << last);
        broken.extend(edges.iter().filter(|e| e.1 == last && placed >> e.0 & 1 == 0).map(|e| e.3));
    }
    Some(broken)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn pair(pair: &'static str, before: usize, after: usize, cost: Option<f64>) -> Constraint<'static> {
        Constraint { pair, before, after, cost }
    }

    #[test]
    fn list_order_breaks_ties_and_pairs_move_steps() {
        let made = arrange(4, &[pair("a", 3, 1, None), pair("b", 2, 0, Some(1.0))]);
        assert_eq!(made, Ok(Arrangement { order: vec![2, 0, 3, 1], broken: vec![] }));
    }

    #[test]
    fn a_hard_circle_names_its_pairs() {
        let made = arrange(3, &[pair("a", 0, 1, None), pair("b", 1, 0, None), pair("c", 1, 2, None)]);
        assert_eq!(made, Err(OrderError::Circle { pairs: vec!["a".into(), "b".into()] }));
    }

    #[test]
    fn the_cheaper_of_two_contradicting_soft_pairs_gives_way() {
        let made = arrange(2, &[pair("dear", 1, 0, Some(2.0)), pair("cheap", 0, 1, Some(1.0))]).unwrap();
        assert_eq!((made.order, made.broken), (vec![1, 0], vec![1]));
    }

    fn cost_of(order: &[usize], constraints: &[Constraint]) -> Option<f64> {
        let at = positions(order);
        constraints.iter().filter(|c| at[c.before] > at[c.after]).map(|c| c.cost).sum()
    }

    fn permutations(items: Vec<usize>) -> Vec<Vec<usize>> {
        if items.len() < 2 {
            return vec![items];
        }
        let mut all = Vec::new();
        for (i, &first) in items.iter().enumerate() {
            let mut rest = items.clone();
            rest.remove(i);
            all.extend(permutations(rest).into_iter().map(|tail| [vec![first], tail].concat()));
        }
        all
    }

    proptest! {
        /// Against every permutation: the same least cost, or a circle exactly when no order is allowed.
        #[test]
        fn agrees_with_every_permutation(
            raw in prop::collection::vec((0usize..5, 0usize..5, prop::option::of(1u8..9)), 0..14)
        ) {
            let constraints: Vec<Constraint> = raw
                .iter()
                .filter(|(a, b, _)| a != b)
                .map(|&(before, after, cost)| pair("q", before, after, cost.map(f64::from)))
                .collect();
            let least = permutations((0..5).collect())
                .iter()
                .filter_map(|order| cost_of(order, &constraints))
                .min_by(f64::total_cmp);
            match arrange(5, &constraints) {
                Ok(made) => prop_assert_eq!(cost_of(&made.order, &constraints), least),
                Err(_) => prop_assert_eq!(least, None),
            }
        }
    }
}
