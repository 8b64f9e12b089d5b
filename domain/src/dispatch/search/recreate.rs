//! Puts absent nodes back where they cost least, now and then passing over the best place (greedy insertion with
//! blinks; Christiaens & Vanden Berghe 2020).

use super::insertion::{Cache, Insertion};
use super::model::Model;
use super::solution::Solution;
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
    let mut left = 0;
    for nth in 0..queue.len() {
        let node = queue[nth];
        match best_place(model, solution, cache, random, node) {
            Some((shift, insertion)) => solution.insert(model, shift, insertion.at, node),
            None => {
                queue[left] = node;
                left += 1;
            }
        }
    }
    queue.truncate(left);
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
    let mut empty_before = false;
    for (shift, route) in solution.routes.iter().enumerate() {
        let empty = route.is_empty();
        let passed = empty && (empty_before && model.twin[shift] || !solution.is_free(model, shift));
        empty_before = empty;
        if passed || random.below(1000) < BLINK {
            continue;
        }
        if let Some(found) = cache.best(model, solution, shift, node)
            && found.cost < bound
        {
            bound = found.cost;
            best = Some((shift, found));
        }
    }
    best
}

/// By chance, demand, distance from the depot, or window: the paper's orders with its weights.
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
