//! Takes strings of neighbouring visits out of routes near a seed: slack induction by string removals (Christiaens &
//! Vanden Berghe 2020, doi 10.1287/trsc.2019.0914).

use super::model::Model;
use super::solution::{Closed, NOWHERE, Solution};
use crate::random::Random;

/// How much is taken out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ruin {
    /// Visits removed on average.
    pub removals: f64,
    /// Longest string.
    pub longest: f64,
    /// Chance in percent that a string keeps some visits in its middle.
    pub split: usize,
    /// Chance in percent that one more visit in the middle is kept.
    pub keep_more: usize,
}

impl Default for Ruin {
    /// The paper's, with longer strings: tuned on classes of public instances.
    fn default() -> Ruin {
        Ruin { removals: 15.0, longest: 15.0, split: 50, keep_more: 99 }
    }
}

/// Removes nodes into `out`. The solution's list of absent nodes is left to the caller.
pub fn ruin(model: &Model, solution: &mut Solution, ruin: &Ruin, random: &mut Random, out: &mut Vec<u32>) {
    let served = model.len() - solution.absent.len();
    if model.is_empty() {
        return;
    }
    let used = solution.routes.iter().filter(|route| !route.is_empty()).count().max(1);
    let longest = ruin.longest.min(served as f64 / used as f64).max(1.0);
    let most_strings = 4.0 * ruin.removals / (1.0 + longest) - 1.0;
    let strings = (1.0 + random.unit() * most_strings.max(1.0)) as usize;
    let seed = random.below(model.len());
    let mut ruined: Vec<usize> = Vec::with_capacity(strings);
    for node in std::iter::once(seed as u32).chain(model.near[seed].iter().copied()) {
        if ruined.len() >= strings {
            break;
        }
        let route = solution.route_of[node as usize];
        if route == NOWHERE || ruined.contains(&(route as usize)) || model.frozen_of[node as usize].is_some()
        {
            continue;
        }
        let shift = route as usize;
        let bound = longest.min(solution.routes[shift].len() as f64);
        let length = (1.0 + random.unit() * bound) as usize;
        remove_string(model, solution, ruin, random, node, length.max(1), out);
        ruined.push(shift);
    }
}

/// Takes a string of `length` visits with `node` among them out of its route.
fn remove_string(
    model: &Model,
    solution: &mut Solution,
    ruin: &Ruin,
    random: &mut Random,
    node: u32,
    length: usize,
    out: &mut Vec<u32>,
) {
    let shift = solution.route_of[node as usize] as usize;
    let place = solution.place_of[node as usize] as usize;
    let visits = solution.routes[shift].len();
    let length = length.min(visits);
    // How many visits in the middle stay.
    let mut kept = 0;
    if length > 1 && length < visits && random.chance(ruin.split) {
        kept = 1;
        while length + kept < visits && !random.chance(100 - ruin.keep_more.min(100)) {
            kept += 1;
        }
    }
    let whole = length + kept;
    let first = (place + 1).saturating_sub(whole);
    let last = place.min(visits - whole);
    let begin = first + random.below(last + 1 - first);
    let skip_from = begin + if kept > 0 { 1 + random.below(length - 1) } else { whole };
    let route = &solution.routes[shift];
    let start = out.len();
    for at in begin..begin + whole {
        let node = route.stops[at + 1].node;
        if (at < skip_from || at >= skip_from + kept) && model.frozen_of[node as usize].is_none() {
            out.push(node);
        }
    }
    let leaving = &out[start..];
    solution.remove(model, shift, |node| leaving.contains(&node));
}

/// Takes a whole route apart, and its neighbour at times, so that other shifts can take their place.
pub fn ruin_whole(model: &Model, solution: &mut Solution, random: &mut Random, out: &mut Vec<u32>) {
    for _ in 0..=random.below(2) {
        let used: Vec<usize> =
            (0..solution.routes.len()).filter(|&shift| !solution.routes[shift].is_empty()).collect();
        if used.is_empty() {
            return;
        }
        let shift = used[random.below(used.len())];
        let start = out.len();
        out.extend(solution.routes[shift].visits().filter(|&node| model.frozen_of[node as usize].is_none()));
        let leaving = &out[start..];
        solution.remove(model, shift, |node| leaving.contains(&node));
        if random.chance(50) {
            // Two are quicker than one, so that each visit for itself would bring them together again.
            let apart = model.shift(shift).crew.len() > 1 && random.chance(50);
            solution.closed = Some(Closed { shift, apart });
        }
    }
}
