//! Where a node costs least in a route.

use super::model::Model;
use super::solution::{NOWHERE, Solution};
use super::timing;

/// A place in a route and what it adds to its cost.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Insertion {
    pub cost: i64,
    pub at: usize,
}

/// The best places of nodes in routes, kept while a route stays as it is: by ruin and recreate few routes change at a
/// time, and those taken back are as they were.
#[derive(Debug, Clone)]
pub struct Cache {
    shifts: usize,
    entries: Vec<Entry>,
}

#[derive(Debug, Clone, Copy)]
struct Entry {
    version: u32,
    /// [`NOWHERE`]: there is no place below `cost`.
    at: u32,
    cost: i64,
}

impl Cache {
    pub fn new(model: &Model) -> Cache {
        let shifts = model.parts.shifts.len();
        Cache {
            shifts,
            entries: vec![Entry { version: u32::MAX, at: NOWHERE, cost: i64::MIN }; shifts * model.len()],
        }
    }

    /// The cheapest place of those that cost less than `bound`.
    pub fn best(
        &mut self,
        model: &Model,
        solution: &Solution,
        shift: usize,
        node: u32,
        bound: i64,
    ) -> Option<Insertion> {
        let version = solution.routes[shift].version;
        let entry = &mut self.entries[node as usize * self.shifts + shift];
        if entry.version != version || entry.at == NOWHERE && entry.cost < bound {
            let found = best_below(model, solution, shift, node, bound);
            let (cost, at) = found.map_or((bound, NOWHERE), |found| (found.cost, found.at as u32));
            *entry = Entry { version, at, cost };
        }
        (entry.cost < bound).then_some(Insertion { cost: entry.cost, at: entry.at as usize })
    }
}

/// The cheapest place that keeps the route possible.
pub fn best_in_route(model: &Model, solution: &Solution, shift: usize, node: u32) -> Option<Insertion> {
    best_below(model, solution, shift, node, i64::MAX)
}

fn best_below(model: &Model, solution: &Solution, shift: usize, node: u32, bound: i64) -> Option<Insertion> {
    let route = &solution.routes[shift];
    let capacity = &model.shift(shift).capacity;
    let loads = route.load.iter().zip(&model.parts.nodes[node as usize].load);
    let excess: i64 =
        loads.zip(capacity).map(|((sum, load), most)| i64::from((sum + load - most).max(0))).sum();
    if excess > 0 && solution.penalty == 0 {
        return None;
    }
    if !model.plain {
        return best_timed(model, solution, shift, node, bound);
    }
    let mut found = best_plain(model, solution, shift, node)?;
    found.cost += (excess - route.excess) * solution.penalty;
    (found.cost < bound).then_some(found)
}

fn best_plain(model: &Model, solution: &Solution, shift: usize, node: u32) -> Option<Insertion> {
    let service = model.service(shift, node)?;
    let stops = &solution.routes[shift].stops;
    let (from, to) = (model.legs_from(node), model.legs_to(node));
    let (mut best, mut place) = (i32::MAX, usize::MAX);
    for (at, pair) in stops.windows(2).enumerate() {
        let [before, after] = pair else { continue };
        let there = to[before.node as usize];
        let arrival = before.depart_s + there.time_s;
        if arrival > service.close_s {
            break;
        }
        let onward = from[after.node as usize];
        let cost = there.cost + onward.cost - before.onward;
        if cost < best && arrival.max(service.open_s) + service.length_s + onward.time_s <= after.latest_s {
            (best, place) = (cost, at);
        }
    }
    let opening =
        if stops.len() == 2 { model.shift(shift).fixed_cost + i64::from(stops[0].onward) } else { 0 };
    (place != usize::MAX).then(|| Insertion { cost: i64::from(best) + opening, at: place })
}

/// Judges places by the whole round; those that cost too much by travel alone, or that the bounds of time forbid, are
/// passed over.
fn best_timed(
    model: &Model,
    solution: &Solution,
    shift: usize,
    node: u32,
    mut bound: i64,
) -> Option<Insertion> {
    let route = &solution.routes[shift];
    let (from, to) = (model.legs_from(node), model.legs_to(node));
    let change = [0, model.work_s(shift, node), model.placing_cost(shift, node)];
    let least = route.least_cost(model, shift, change) - route.cost;
    let mut best = None;
    for at in 0..=route.len() {
        let (before, after) = (&route.stops[at], &route.stops[at + 1]);
        let (there, onward) = (to[before.node as usize], from[after.node as usize]);
        if least + i64::from(there.cost + onward.cost - before.onward) >= bound {
            continue;
        }
        let arrival = before.depart_s + there.time_s;
        let Some((_, finish)) = timing::serve(model, shift, node, arrival, &solution.pins) else { continue };
        if finish + onward.time_s > after.latest_s {
            continue;
        }
        let nodes = route.visits().take(at).chain([node]).chain(route.visits().skip(at));
        let Some(cost) = timing::cost(model, shift, nodes, &solution.pins) else { continue };
        if cost - route.cost < bound {
            bound = cost - route.cost;
            best = Some(Insertion { cost: bound, at });
        }
    }
    best
}
