//! A route in another order: a segment moved, two visits swapped, a stretch reversed.

use super::model::Model;
use super::solution::Solution;
use super::timing;

/// Another order of a route's visits.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reorder {
    /// `length` visits from `from` on go before what is now at `to`, outside them.
    Move { from: usize, length: usize, to: usize },
    /// The visits from `from` to `to`, both included, backwards.
    Reverse { from: usize, to: usize },
}

impl Reorder {
    /// The part that changes, and its new order.
    fn stretch(self, place: impl Fn(usize) -> u32, out: &mut Vec<u32>) -> (usize, usize) {
        out.clear();
        match self {
            Reorder::Move { from, length, to } if to < from => {
                out.extend((from..from + length).chain(to..from).map(place));
                (to, from + length)
            }
            Reorder::Move { from, length, to } => {
                out.extend((from + length..to).chain(from..from + length).map(place));
                (from, to)
            }
            Reorder::Reverse { from, to } => {
                out.extend((from..=to).rev().map(place));
                (from, to + 1)
            }
        }
    }
}

/// What it changes in cost, if less than nothing and possible. `room` is only for the work.
pub fn gain(
    model: &Model,
    solution: &Solution,
    shift: usize,
    change: Reorder,
    room: &mut Vec<u32>,
) -> Option<i64> {
    let route = &solution.routes[shift];
    let (from, to) = change.stretch(|at| route.stops[at + 1].node, room);
    let (before, after) = (&route.stops[from], &route.stops[to + 1]);
    let old: i64 = route.stops[from..=to].iter().map(|stop| i64::from(stop.onward)).sum();
    let mut at = before.node;
    let mut new = 0;
    for &node in room.iter().chain([&after.node]) {
        new += i64::from(model.leg(at, node).cost);
        at = node;
    }
    if !model.plain {
        if new - old >= route.beside_travel() {
            return None;
        }
        let nodes = route.visits().take(from).chain(room.iter().copied()).chain(route.visits().skip(to));
        let change = timing::cost(model, shift, nodes, &solution.pins)? - route.cost;
        return (change < 0).then_some(change);
    }
    if new >= old {
        return None;
    }
    let (mut clock, mut at) = (before.depart_s, before.node);
    for &node in room.iter() {
        let arrival = clock + model.leg(at, node).time_s;
        clock = model.service(shift, node)?.at(arrival)?.1;
        at = node;
    }
    (clock + model.leg(at, after.node).time_s <= after.latest_s).then_some(new - old)
}

pub fn apply(model: &Model, solution: &mut Solution, shift: usize, change: Reorder) {
    let mut nodes: Vec<u32> = solution.routes[shift].visits().collect();
    let mut room = Vec::new();
    let (from, to) = change.stretch(|at| nodes[at], &mut room);
    nodes.splice(from..to, room);
    solution.replace(model, shift, &nodes);
}
