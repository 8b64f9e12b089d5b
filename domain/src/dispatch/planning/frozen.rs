//! What stays where it is: frozen visits in their shifts, and departures that are past.

use super::crews::Candidate;
use super::problem::RoundsProblem;
use super::replan::is_of;
use super::spans::{self, seconds, work_s};
use crate::dispatch::search::{Event, Frozen, Model, Parts, Service, timeline};

/// Frozen visits stay where they are, whatever speaks against them; where that is not possible, a fault says so.
pub fn freeze(
    problem: &RoundsProblem,
    candidates: &[Candidate],
    parts: &mut Parts,
    faults: &mut Vec<String>,
) {
    let mut frozen: Vec<Frozen> = Vec::new();
    for (nth, request) in problem.requests.iter().enumerate() {
        let Some(published) = request.published.as_ref().filter(|published| published.frozen) else {
            continue;
        };
        let is_there = |candidate: &Candidate| is_of(problem, candidate, published);
        match candidates.iter().position(is_there) {
            Some(shift) => frozen.push(Frozen {
                node: nth as u32,
                shift: shift as u32,
                start_s: seconds(problem, published.start),
            }),
            None => faults.push(format!(
                "{}: van {} does not go with this crew on {}, so the visit could not be kept there.",
                request.visit.job,
                published.van,
                published.start.date()
            )),
        }
    }
    frozen.sort_by_key(|frozen| (frozen.shift, frozen.start_s, frozen.node));
    for frozen in frozen {
        let shift = frozen.shift as usize;
        let (class, node) = (parts.shifts[shift].class as usize, frozen.node as usize);
        let length = work_s(&problem.requests[node], parts.shifts[shift].people);
        let before =
            (parts.services[class][node].take(), parts.shifts[shift].clone(), parts.nodes[node].clone());
        parts.services[class][node] = Some(Service::fixed(frozen.start_s, frozen.start_s, length));
        parts.frozen.push(frozen);
        if holds(parts, shift) || holds_when_eased(parts, shift, node) {
            continue;
        }
        parts.frozen.pop();
        parts.nodes[node] = before.2;
        parts.shifts[shift] = before.1;
        parts.services[class][node] = before.0;
        faults.push(format!(
            "{}: it cannot be kept at {} beside the other visits of its van.",
            problem.requests[node].visit.job,
            spans::instant(problem, frozen.start_s)
        ));
    }
}

/// Without a break, with as much overtime, water and load as it takes: what is frozen has been decided. The shift is
/// eased no further than that, as others may be put beside it.
fn holds_when_eased(parts: &mut Parts, shift: usize, node: usize) -> bool {
    let (usual, needs) = (parts.shifts[shift].clone(), parts.nodes[node].clone());
    parts.shifts[shift].rest = None;
    if holds(parts, shift) {
        return true;
    }
    parts.shifts[shift].last_s += 12 * 3600;
    parts.shifts[shift].opens_s -= 6 * 3600;
    parts.nodes[node].water = 0;
    parts.nodes[node].load.fill(0);
    let Some(returns_s) = returns_with_frozen(parts, shift) else { return false };
    parts.shifts[shift].last_s = usual.last_s.max(returns_s);
    unless_broken(parts, shift, |parts| {
        let departs_s = frozen_departure(parts, shift).unwrap_or(usual.opens_s);
        parts.shifts[shift].opens_s = usual.opens_s.min(departs_s);
    });
    unless_broken(parts, shift, |parts| parts.nodes[node] = needs);
    unless_broken(parts, shift, |parts| parts.shifts[shift].rest = usual.rest);
    true
}

/// Takes a change of the shift and its frozen visits back where they would not hold with it.
fn unless_broken(parts: &mut Parts, shift: usize, change: impl FnOnce(&mut Parts)) {
    let before = (parts.shifts[shift].clone(), parts.nodes.clone());
    change(parts);
    if !holds(parts, shift) {
        (parts.shifts[shift], parts.nodes) = before;
    }
}

/// When the shift has to depart for its first frozen visit.
fn frozen_departure(parts: &Parts, shift: usize) -> Option<i32> {
    let first = parts.frozen.iter().find(|frozen| frozen.shift as usize == shift)?;
    let (start, places) = (parts.shifts[shift].start as usize, parts.legs.len().isqrt());
    Some(first.start_s - parts.legs[start * places + first.node as usize].time_s)
}

/// Nobody departs in the past; who is out for a frozen visit has departed in time for that.
pub fn depart_from_now(problem: &RoundsProblem, parts: &mut Parts) {
    let Some(now_s) = problem.now.map(|now| seconds(problem, now)) else { return };
    for shift in 0..parts.shifts.len() {
        let frozen_s = frozen_departure(parts, shift);
        let departs_s = now_s.min(frozen_s.unwrap_or(now_s));
        if departs_s <= parts.shifts[shift].opens_s {
            continue;
        }
        let depart = |parts: &mut Parts| {
            let spec = &mut parts.shifts[shift];
            spec.opens_s = departs_s;
            spec.rest = spec.rest.filter(|rest| departs_s <= rest.to_s);
        };
        match frozen_s {
            Some(_) => unless_broken(parts, shift, depart),
            None => depart(parts),
        }
    }
}

fn holds(parts: &Parts, shift: usize) -> bool {
    returns_with_frozen(parts, shift).is_some()
}

/// When the shift is back from its frozen visits alone; none where it cannot serve them.
fn returns_with_frozen(parts: &Parts, shift: usize) -> Option<i32> {
    let model = Model::new(parts.clone());
    let of_shift = || parts.frozen.iter().filter(|frozen| frozen.shift as usize == shift);
    let mut pins = vec![None; parts.nodes.len()];
    for frozen in of_shift() {
        pins[frozen.node as usize] = Some(frozen.start_s);
    }
    let load = of_shift().fold(vec![0; parts.shifts[shift].capacity.len()], |mut sum, frozen| {
        let load = &parts.nodes[frozen.node as usize].load;
        sum.iter_mut().zip(load).for_each(|(sum, load): (&mut i32, _)| *sum = sum.saturating_add(*load));
        sum
    });
    let fits = load.iter().zip(&parts.shifts[shift].capacity).all(|(load, most)| load <= most);
    let driven = timeline(&model, shift, of_shift().map(|frozen| frozen.node), &pins).filter(|_| fits)?;
    driven.events.iter().find_map(|event| match *event {
        Event::Return { arrives_s } => Some(arrives_s),
        _ => None,
    })
}
