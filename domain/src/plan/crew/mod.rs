//! Which technician does what when, inside one job.
//!
//! Resource-constrained project scheduling: activities with crew sizes and skills, minimal and maximal lags (dwells),
//! zones that exclude each other, and shared resources. [`schedule`] answers within milliseconds by a genetic search
//! (`evolve` over `decode`) and then tries to prove the answer or to better it (`exact`); [`check`] tells whether a
//! schedule keeps the problem without using any of that.
//!
//! It knows nothing of the trade: what excludes what, and how long a dwell may last, comes in with the [`Problem`].

mod bounds;
#[cfg(test)]
mod brute;
mod check;
mod decode;
mod evolve;
mod exact;
mod load;
mod memo;
mod net;
mod problem;
mod schedule;
mod staff;
#[cfg(test)]
mod tests;
mod timeline;
mod validate;

pub use check::{Violation, check};
pub use problem::{
    Activity, CrewSize, Demand, Infeasible, Lag, MAX_ACTIVITIES, MAX_TECHNICIANS, MAX_TIME_S, Problem,
};
pub use schedule::{Budget, Proof, Schedule, Slot};

use decode::{Decoder, Draft, Template};
use net::{Net, bits};

/// Nodes to find a way to do a block of activities tied by maximal lags: a first try, and before giving up so many
/// times the nodes of the budget, within these bounds.
const BLOCK_FIRST: u64 = 500;
const BLOCK_SHARE: u64 = 20;
const BLOCK_BOUNDS: (u64, u64) = (2_000, 200_000);

/// Finds a short schedule; the same problem, budget and seed always give the same one.
///
/// # Errors
/// Says why when there is no schedule at all, whatever the budget: see [`Infeasible`].
pub fn schedule(problem: &Problem, budget: Budget, seed: u64) -> Result<Schedule, Infeasible> {
    validate::validate(problem)?;
    let net = Net::new(problem)?;
    let pools = bounds::pools(&net);
    let templates = templates(&net, budget)?;
    let mut lower_bound = bounds::at_start(&net, &pools);
    let mut decoder = Decoder::new(&net, &templates);
    let mut best = evolve::evolve(&net, &mut decoder, budget.schedules, seed, lower_bound);
    let mut nodes = 0;
    if best.makespan > lower_bound && budget.nodes > 0 {
        nodes = exact::improve(&net, &pools, &mut best, &mut lower_bound, budget.nodes);
    }
    Ok(told(&net, &best, lower_bound, (decoder.schedules, nodes)))
}

/// Every block by itself; what cannot be done alone cannot be done at all, and what can goes one after the other.
fn templates(net: &Net, budget: Budget) -> Result<Vec<Template>, Infeasible> {
    let last = budget.nodes.saturating_mul(BLOCK_SHARE).clamp(BLOCK_BOUNDS.0, BLOCK_BOUNDS.1);
    net.blocks.iter().map(|block| template(net, block, [BLOCK_FIRST, last])).collect()
}

fn template(net: &Net, block: &[usize], limits: [u64; 2]) -> Result<Template, Infeasible> {
    if block.len() == 1 {
        return Ok(Template::default());
    }
    let mut nodes = 0;
    for limit in limits {
        let outcome = exact::search_within(net, bits(block.iter().copied()), limit);
        nodes = outcome.nodes;
        if let Some(draft) = outcome.best {
            let start = block.iter().map(|&at| draft.start[at]).collect();
            let way = block.iter().map(|&at| draft.way[at]).collect();
            return Ok(Template { start, way, length: draft.makespan });
        }
        if outcome.complete {
            return Err(Infeasible::LagsImpossible { activities: block.to_vec() });
        }
    }
    Err(Infeasible::LagsUndecided { activities: block.to_vec(), nodes })
}

fn told(net: &Net, best: &Draft, lower_bound: u32, (schedules, nodes): (u64, u64)) -> Schedule {
    let technicians = staff::assign(net, best);
    let slot = |(activity, technicians): (usize, Vec<usize>)| {
        let start_s = best.start[activity] * net.unit_s;
        let duration = net.alternatives[activity][best.way[activity]].duration;
        Slot { start_s, finish_s: start_s + duration * net.unit_s, technicians }
    };
    Schedule {
        slots: technicians.into_iter().enumerate().map(slot).collect(),
        makespan_s: best.makespan * net.unit_s,
        lower_bound_s: lower_bound * net.unit_s,
        proof: if best.makespan == lower_bound { Proof::Optimal } else { Proof::OutOfBudget },
        schedules,
        nodes,
    }
}
