//! A round goes to another van, crew or day as it is.

use super::links;
use super::model::Model;
use super::solution::Solution;
use super::timing;
use crate::random::Random;

/// Gives a used round, drawn by chance, to the free shift where it costs least; whether there was one.
pub fn change_shift(model: &Model, solution: &mut Solution, random: &mut Random) -> bool {
    let can_move = |shift: &usize| {
        let mut visits = solution.routes[*shift].visits();
        visits.len() > 0
            && visits
                .all(|node| model.frozen_of[node as usize].is_none() && links::twin_of(model, node).is_none())
    };
    let used: Vec<usize> = (0..solution.routes.len()).filter(can_move).collect();
    if used.is_empty() {
        return false;
    }
    let from = used[random.below(used.len())];
    let nodes: Vec<u32> = solution.routes[from].visits().collect();
    let load = solution.routes[from].load.clone();
    solution.replace(model, from, &[]);
    let fits = |shift: usize| load.iter().zip(&model.shift(shift).capacity).all(|(load, most)| load <= most);
    let able = model.able[nodes[0] as usize].iter().map(|&shift| shift as usize);
    let others = able.filter(|&to| {
        to != from && solution.routes[to].is_empty() && fits(to) && solution.is_free(model, to)
    });
    let costs = others.filter_map(|to| {
        let linked = nodes.iter().try_for_each(|&node| links::cost_in(model, solution, node, to).map(|_| ()));
        linked?;
        let cost = timing::cost(model, to, nodes.iter().copied(), &solution.pins)?;
        Some((cost, to))
    });
    // Mostly the best, at times another, so that equals take turns.
    let mut costs: Vec<(i64, usize)> = costs.collect();
    costs.sort_unstable();
    let nth = if random.chance(50) { 0 } else { random.below(costs.len().min(4)) };
    let Some(&(_, to)) = costs.get(nth) else { return false };
    solution.replace(model, to, &nodes);
    true
}
