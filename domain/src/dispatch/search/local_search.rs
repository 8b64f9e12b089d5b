//! Local search around nodes whose surroundings changed: relocate and swap of up to three visits, 2-opt*, and another
//! order within a route. Every change makes a way from a node to one of its good next nodes (granular neighbourhood).

use super::exchange::{self, Segment};
use super::model::Model;
use super::solution::{NOWHERE, Solution};
use super::within::{self, Reorder};
use crate::random::Random;

/// Longest segment that is moved.
const SEGMENT: usize = 3;

/// Changes the solution until no change around the nodes of `queue`, or around those it changes, makes it cheaper.
pub fn improve(model: &Model, solution: &mut Solution, random: &mut Random, queue: &mut Vec<u32>) {
    let mut waiting = vec![false; model.len()];
    for &node in queue.iter() {
        waiting[node as usize] = true;
    }
    let mut room = Vec::new();
    while !queue.is_empty() {
        let node = queue.swap_remove(random.below(queue.len()));
        waiting[node as usize] = false;
        while let Some(nodes) = improve_at(model, solution, node, &mut room) {
            for changed in nodes.into_iter().flatten() {
                if !std::mem::replace(&mut waiting[changed as usize], true) {
                    queue.push(changed);
                }
            }
        }
    }
}

/// The nodes at the ends of what changed.
type Changed = [Option<u32>; 8];

fn improve_at(model: &Model, solution: &mut Solution, node: u32, room: &mut Vec<u32>) -> Option<Changed> {
    if solution.route_of[node as usize] == NOWHERE {
        return None;
    }
    for &next in &model.next[node as usize] {
        if solution.route_of[next as usize] == NOWHERE {
            continue;
        }
        let (one, other) =
            (solution.route_of[node as usize] as usize, solution.route_of[next as usize] as usize);
        let (here, there) =
            (solution.place_of[node as usize] as usize, solution.place_of[next as usize] as usize);
        if model.plain {
            // A change that pays has a new way cheaper than one it replaces (the gain criterion of Lin & Kernighan
            // 1973, doi 10.1287/opre.21.2.498), unless it relieves a van that carries too much.
            let (mine, theirs) = (&solution.routes[one], &solution.routes[other]);
            let relief = (mine.excess + theirs.excess) * solution.penalty;
            let way = i64::from(model.leg(node, next).cost);
            let replaced = [mine.stops[here + 1].onward, theirs.stops[there].onward];
            if replaced.iter().all(|&old| i64::from(old) + relief <= way) {
                continue;
            }
        }
        let found = if one == other {
            reorder(model, solution, one, here, there, room)
        } else {
            exchange(
                model,
                solution,
                Segment { shift: one, at: here, length: 0 },
                Segment { shift: other, at: there, length: 0 },
            )
        };
        if found.is_some() {
            return found;
        }
    }
    None
}

/// Makes the way from the visit at `here` of one route to that at `there` of another.
fn exchange(model: &Model, solution: &mut Solution, here: Segment, there: Segment) -> Option<Changed> {
    let after_here = solution.routes[here.shift].len() - here.at - 1;
    let from_there = solution.routes[there.shift].len() - there.at;
    let segment = |of: Segment, at: usize, length: usize| Segment { at, length, ..of };
    let mut best: Option<(i64, Segment, Segment)> = None;
    let mut consider = |one: Segment, other: Segment| {
        if let Some(change) = exchange::gain(model, solution, one, other)
            && best.is_none_or(|(least, ..)| change < least)
        {
            best = Some((change, one, other));
        }
    };
    // What follows `here` against what begins at `there`.
    for mine in 0..=SEGMENT.min(after_here) {
        for theirs in 1..=SEGMENT.min(from_there) {
            consider(segment(here, here.at + 1, mine), segment(there, there.at, theirs));
        }
    }
    // What ends at `here` against what ends before `there`.
    for mine in 1..=SEGMENT.min(here.at + 1) {
        for theirs in 0..=SEGMENT.min(there.at) {
            consider(segment(here, here.at + 1 - mine, mine), segment(there, there.at - theirs, theirs));
        }
    }
    consider(segment(here, here.at + 1, after_here), segment(there, there.at, from_there));
    let (_, one, other) = best?;
    let changed = ends(solution, one).into_iter().chain(ends(solution, other));
    let mut list = [None; 8];
    list.iter_mut().zip(changed).for_each(|(slot, node)| *slot = node);
    exchange::apply(model, solution, one, other);
    Some(list)
}

/// The visits on both sides of both ends of a segment.
fn ends(solution: &Solution, segment: Segment) -> [Option<u32>; 4] {
    let stops = &solution.routes[segment.shift].stops;
    let last = stops.len() - 1;
    let node = |at: usize| (at > 0 && at < last).then(|| stops[at].node);
    let end = segment.at + segment.length;
    [node(segment.at), node(segment.at + 1), node(end), node(end + 1)]
}

fn reorder(
    model: &Model,
    solution: &mut Solution,
    shift: usize,
    here: usize,
    there: usize,
    room: &mut Vec<u32>,
) -> Option<Changed> {
    if there == here + 1 {
        return None;
    }
    let count = solution.routes[shift].len();
    let mut best: Option<(i64, Reorder)> = None;
    let mut consider = |change: Reorder| {
        if let Some(cost) = within::gain(model, solution, shift, change, room)
            && best.is_none_or(|(least, _)| cost < least)
        {
            best = Some((cost, change));
        }
    };
    for length in 1..=SEGMENT {
        // What begins at `there` goes behind `here`; what ends at `here` goes before `there`.
        if there + length <= count && (here < there || there + length <= here) {
            consider(Reorder::Move { from: there, length, to: here + 1 });
        }
        if here + 1 >= length && (there > here || there < here + 1 - length) {
            consider(Reorder::Move { from: here + 1 - length, length, to: there });
        }
    }
    if there > here {
        consider(Reorder::Reverse { from: here + 1, to: there });
    } else {
        consider(Reorder::Reverse { from: there, to: here });
    }
    let (_, change) = best?;
    let stops = &solution.routes[shift].stops;
    let mut list = [None; 8];
    let places = [here, here + 1, there.wrapping_sub(1), there, there + 1, here.wrapping_sub(1)];
    for (slot, place) in list.iter_mut().zip(places) {
        *slot = (place < count).then(|| stops[place + 1].node);
    }
    within::apply(model, solution, shift, change);
    Some(list)
}
