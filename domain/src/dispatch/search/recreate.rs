//! Puts absent nodes back where they cost least, now and then passing over the best place (greedy insertion with
//! blinks; Christiaens & Vanden Berghe 2020).

use super::insertion::{Cache, Insertion};
use super::links;
use super::model::Model;
use super::solution::{NOWHERE, Solution};
use crate::random::Random;

/// Chance in a thousand that a route is passed over.
const BLINK: usize = 10;

/// Inserts the nodes of `queue` in an order drawn by chance; those without a place that is worth it are left in `queue`.
pub fn recreate(
    model: &Model,
    solution: &mut Solution,
    cache: &mut Cache,
    random: &mut Random,
    queue: &mut Vec<u32>,
) {
    sort(model, random, queue);
    // With links, a second round: what waited for another node may follow it now.
    for _ in 0..=usize::from(!model.parts.links.is_empty()) {
        for &node in queue.iter() {
            place(model, solution, cache, random, node);
        }
    }
    queue.retain(|&node| solution.route_of[node as usize] == NOWHERE);
}

fn place(model: &Model, solution: &mut Solution, cache: &mut Cache, random: &mut Random, node: u32) {
    if solution.route_of[node as usize] != NOWHERE || links::waits(model, solution, node) {
        return;
    }
    if let Some(twin) = links::twin_of(model, node) {
        if solution.route_of[twin as usize] == NOWHERE {
            if !links::waits(model, solution, twin) {
                links::insert_together(model, solution, random, [node, twin]);
            }
            return;
        }
        links::pin_to_twin(model, solution, node);
    }
    if let Some((shift, insertion)) = best_place(model, solution, cache, random, node) {
        solution.insert(model, shift, insertion.at, node);
    } else if solution.pins[node as usize].is_some() {
        solution.pin(node, None);
    }
}

fn best_place(
    model: &Model,
    solution: &Solution,
    cache: &mut Cache,
    random: &mut Random,
    node: u32,
) -> Option<(usize, Insertion)> {
    let mut best: Option<(usize, Insertion)> = None;
    let mut bound = model.parts.nodes[node as usize].skip_cost;
    let linked = !model.links_of[node as usize].is_empty();
    let pinned = solution.pins[node as usize].is_some();
    let mut empty_before = false;
    for &shift in &model.able[node as usize] {
        let shift = shift as usize;
        let empty = solution.routes[shift].is_empty();
        let passed = empty && (empty_before && model.twin[shift] || !solution.is_free(model, shift));
        if passed || random.below(1000) < BLINK {
            continue;
        }
        empty_before = empty;
        let link_cost = if linked { links::cost_in(model, solution, node, shift) } else { Some(0) };
        let Some(link_cost) = link_cost.filter(|&cost| cost < bound) else { continue };
        let found = if pinned {
            super::insertion::best_in_route(model, solution, shift, node)
        } else {
            cache.best(model, solution, shift, node, bound - link_cost)
        };
        if let Some(found) = found
            && found.cost + link_cost < bound
        {
            bound = found.cost + link_cost;
            best = Some((shift, found));
        }
    }
    best
}

/// By chance, demand, distance from the depot, what leaving it out costs, or window: the paper's orders.
fn sort(model: &Model, random: &mut Random, queue: &mut [u32]) {
    let window =
        |node: u32| model.service_anywhere(node).map_or((0, 0), |service| (service.open_s, service.close_s));
    let far = |node: u32| model.depot_distance[node as usize];
    let load = |node: u32| {
        let node = &model.parts.nodes[node as usize];
        node.load.iter().map(|&load| i64::from(load)).sum::<i64>() + i64::from(node.water)
    };
    match random.below(16) {
        0..4 => shuffle(random, queue),
        4..8 => queue.sort_by_key(|&node| (-load(node), node)),
        8..10 => queue.sort_by_key(|&node| (-far(node), node)),
        10 => queue.sort_by_key(|&node| (far(node), node)),
        11 => queue.sort_by_key(|&node| (-model.parts.nodes[node as usize].skip_cost, node)),
        12..14 => queue.sort_by_key(|&node| (window(node).1 - window(node).0, node)),
        14 => queue.sort_by_key(|&node| (window(node).0, node)),
        _ => queue.sort_by_key(|&node| (-window(node).1, node)),
    }
}

fn shuffle(random: &mut Random, queue: &mut [u32]) {
    for last in (1..queue.len()).rev() {
        queue.swap(last, random.below(last + 1));
    }
}
