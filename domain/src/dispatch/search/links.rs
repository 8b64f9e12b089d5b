//! Visits that depend on each other: the next day, two vans at once, the same technician.

use super::insertion::best_in_route;
use super::model::{Link, Model};
use super::solution::{NOWHERE, Solution, share_person};
use super::timing;
use crate::random::Random;

/// Most common starts tried for two visits at once.
const STARTS: usize = 16;

/// Whether a node must wait until another one is served.
pub fn waits(model: &Model, solution: &Solution, node: u32) -> bool {
    model.links_of[node as usize].iter().any(|link| match *link {
        Link::After { first, then, .. } => then == node && solution.route_of[first as usize] == NOWHERE,
        _ => false,
    })
}

/// What a node's links cost if a shift serves it; `None` where they forbid it.
pub fn cost_in(model: &Model, solution: &Solution, node: u32, shift: usize) -> Option<i64> {
    let mut cost = 0;
    for link in &model.links_of[node as usize] {
        let [one, other] = link.nodes();
        let partner = if one == node { other } else { one };
        let theirs = solution.route_of[partner as usize];
        if theirs == NOWHERE {
            continue;
        }
        match *link {
            Link::After { first, least, most, .. } => {
                let (mine, theirs) = (model.shift(shift).day, model.shift(theirs as usize).day);
                let (from, to) = if first == node { (mine, theirs) } else { (theirs, mine) };
                let days = to.checked_sub(from)?;
                if days < least || days > most {
                    return None;
                }
            }
            Link::Together { .. } if theirs as usize == shift => return None,
            Link::Together { .. } => {}
            Link::SamePerson { cost: parted, .. } => {
                if !share_person(model, shift as u32, theirs) {
                    cost += parted;
                }
            }
        }
    }
    Some(cost)
}

/// The other of two visits at once.
pub fn twin_of(model: &Model, node: u32) -> Option<u32> {
    model.links_of[node as usize].iter().find_map(|link| match *link {
        Link::Together { one, other } => Some(if one == node { other } else { one }),
        _ => None,
    })
}

/// Takes out what cannot stay without the removed nodes: the later of two linked days, the other of two at once.
pub fn remove_dependent(model: &Model, solution: &mut Solution, removed: &mut Vec<u32>) {
    let mut nth = 0;
    while nth < removed.len() {
        let node = removed[nth];
        nth += 1;
        for link in &model.links_of[node as usize] {
            let dependent = match *link {
                Link::After { first, then, .. } if first == node => then,
                Link::Together { one, other } => {
                    if one == node {
                        other
                    } else {
                        one
                    }
                }
                _ => continue,
            };
            let route = solution.route_of[dependent as usize];
            if route != NOWHERE && model.frozen_of[dependent as usize].is_none() {
                solution.remove(model, route as usize, |node| node == dependent);
                removed.push(dependent);
            }
        }
    }
    for &node in removed.iter() {
        if solution.pins[node as usize].is_some() {
            solution.pin(node, None);
        }
    }
}

/// Serves two visits at once, if that is cheaper than leaving both out. All common starts at which one of them could
/// be served in some place are tried.
pub fn insert_together(model: &Model, solution: &mut Solution, random: &mut Random, nodes: [u32; 2]) -> bool {
    let mut starts: Vec<i32> = Vec::new();
    for node in nodes {
        starts_of(model, solution, node, &mut starts);
    }
    starts.sort_unstable();
    starts.dedup();
    // Where one of them cannot begin yet, the next time at which it can: of one, then of the other.
    for _ in 0..2 {
        for nth in 0..starts.len() {
            let services = nodes.iter().filter_map(|&node| model.service_anywhere(node));
            let next: Vec<i32> =
                services.filter_map(|service| service.at(starts[nth])).map(|(start, _)| start).collect();
            starts.extend(next);
        }
        starts.sort_unstable();
        starts.dedup();
    }
    while starts.len() > STARTS {
        starts.remove(random.below(starts.len()));
    }
    let mut bound: i64 = nodes.iter().map(|&node| model.parts.nodes[node as usize].skip_cost).sum();
    let mut best = None;
    for start in starts {
        let [one, other] = nodes.map(|node| pinned_costs(model, solution, node, start));
        for &(cost_one, shift_one) in &one {
            for &(cost_other, shift_other) in &other {
                if cost_one + cost_other >= bound {
                    break;
                }
                if can_both(model, solution, shift_one, shift_other) {
                    bound = cost_one + cost_other;
                    best = Some((start, [shift_one, shift_other]));
                }
            }
        }
    }
    let Some((start, shifts)) = best else { return false };
    for (node, shift) in nodes.into_iter().zip(shifts) {
        solution.pin(node, Some(start));
        if let Some(found) = best_in_route(model, solution, shift, node) {
            solution.insert(model, shift, found.at, node);
        }
    }
    true
}

/// Serves a visit at the start of its other one, which is served already.
pub fn pin_to_twin(model: &Model, solution: &mut Solution, node: u32) {
    if let Some(twin) = twin_of(model, node)
        && solution.route_of[twin as usize] != NOWHERE
    {
        let start = solution.pins[twin as usize];
        solution.pin(node, start);
    }
}

/// Two different shifts that can be used side by side.
fn can_both(model: &Model, solution: &Solution, one: usize, other: usize) -> bool {
    let both_new = solution.routes[one].is_empty() && solution.routes[other].is_empty();
    let (mine, theirs) = (&model.shift(one).resources, &model.shift(other).resources);
    one != other && !(both_new && mine.iter().any(|resource| theirs.contains(resource)))
}

/// Costs of a node in every shift that can begin it at a time, least first.
fn pinned_costs(model: &Model, solution: &mut Solution, node: u32, start: i32) -> Vec<(i64, usize)> {
    let before = solution.pins[node as usize].replace(start);
    let mut costs: Vec<(i64, usize)> = usable(model, solution, node)
        .filter_map(|(shift, link_cost)| {
            let found = best_in_route(model, solution, shift, node)?;
            Some((found.cost + link_cost, shift))
        })
        .collect();
    solution.pins[node as usize] = before;
    costs.sort_unstable();
    costs
}

fn usable<'a>(
    model: &'a Model,
    solution: &'a Solution,
    node: u32,
) -> impl Iterator<Item = (usize, i64)> + 'a {
    (0..solution.routes.len()).filter_map(move |shift| {
        let open = !solution.routes[shift].is_empty() || solution.is_free(model, shift);
        if open { Some((shift, cost_in(model, solution, node, shift)?)) } else { None }
    })
}

/// Starts that the node could have, in any place of any shift, with and without rests and refills before it.
fn starts_of(model: &Model, solution: &Solution, node: u32, starts: &mut Vec<i32>) {
    for (shift, _) in usable(model, solution, node) {
        let route = &solution.routes[shift];
        for at in 0..=route.len() {
            let before = &route.stops[at];
            let arrival = before.depart_s + model.leg(before.node, node).time_s;
            let Some((start, _)) = timing::serve(model, shift, node, arrival, &solution.pins) else {
                continue;
            };
            starts.push(start);
            let nodes = route.visits().take(at).chain([node]).chain(route.visits().skip(at));
            starts.extend(timing::starts(model, shift, nodes, node, &solution.pins));
        }
    }
}
