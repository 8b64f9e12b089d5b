//! A route in another order: a segment moved, two visits swapped, a stretch reversed.

use super::model::Model;
use super::route::Stop;
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
    let travel = travel(model, &route.stops, change);
    if model.plain {
        if travel >= 0 {
            return None;
        }
        let (from, to) = change.stretch(|at| route.stops[at + 1].node, room);
        return in_time(model, shift, &route.stops[from], room, &route.stops[to + 1]).then_some(travel);
    }
    if travel >= route.timed_cost(model, shift) {
        return None;
    }
    let (from, to) = change.stretch(|at| route.stops[at + 1].node, room);
    let nodes = route.visits().take(from).chain(room.iter().copied()).chain(route.visits().skip(to));
    let change = timing::cost(model, shift, nodes, &solution.pins)? - route.cost;
    (change < 0).then_some(change)
}

/// Change of the ways alone.
fn travel(model: &Model, stops: &[Stop], change: Reorder) -> i64 {
    let cost = |from: usize, to: usize| i64::from(model.leg(stops[from].node, stops[to].node).cost);
    let onward = |at: usize| i64::from(stops[at].onward);
    match change {
        Reorder::Move { from, length, to } => {
            let end = from + length;
            cost(from, end + 1) + cost(to, from + 1) + cost(end, to + 1)
                - onward(from)
                - onward(end)
                - onward(to)
        }
        Reorder::Reverse { from, to } => {
            let inner = |at: usize| if model.symmetric { 0 } else { cost(at + 1, at) - onward(at) };
            let turned: i64 = if model.symmetric { 0 } else { (from + 1..=to).map(inner).sum() };
            turned + cost(from, to + 1) + cost(from + 1, to + 2) - onward(from) - onward(to + 1)
        }
    }
}

/// Whether the nodes can be served in this order between two stops.
fn in_time(model: &Model, shift: usize, before: &Stop, nodes: &[u32], after: &Stop) -> bool {
    let (mut clock, mut at) = (before.depart_s, before.node);
    for &node in nodes {
        let arrival = clock + model.leg(at, node).time_s;
        let Some((_, finish)) = model.service(shift, node).and_then(|service| service.at(arrival)) else {
            return false;
        };
        clock = finish;
        at = node;
    }
    clock + model.leg(at, after.node).time_s <= after.latest_s
}

pub fn apply(model: &Model, solution: &mut Solution, shift: usize, change: Reorder) {
    let mut nodes: Vec<u32> = solution.routes[shift].visits().collect();
    let mut room = Vec::new();
    let (from, to) = change.stretch(|at| nodes[at], &mut room);
    nodes.splice(from..to, room);
    solution.replace(model, shift, &nodes);
}
