//! Simulated annealing around ruin and recreate.

use super::insertion::Cache;
use super::local_search::improve;
use super::model::Model;
use super::recreate::recreate;
use super::ruin::{Ruin, ruin};
use super::solution::Solution;
use crate::random::Random;

/// How the search goes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Options {
    pub seed: u64,
    pub ruin: Ruin,
    /// First and last temperature, as shares of the mean cost of a visit in the first solution.
    pub hot: f64,
    pub cold: f64,
}

impl Default for Options {
    /// Tuned on classes of public instances.
    fn default() -> Options {
        Options { seed: 1, ruin: Ruin::default(), hot: 0.3, cold: 0.01 }
    }
}

/// Watches a search.
pub trait Watch {
    /// Share of the budget that is spent, from 0 to 1, after so many iterations; `None` ends the search at once.
    fn spent(&mut self, iterations: u64) -> Option<f64>;

    /// A solution better than all before it.
    fn improved(&mut self, _iterations: u64, _cost: i64) {}
}

/// A budget of iterations: the only one that gives the same answer everywhere.
#[derive(Debug, Clone, Copy)]
pub struct Iterations(pub u64);

impl Watch for Iterations {
    fn spent(&mut self, iterations: u64) -> Option<f64> {
        (iterations < self.0).then(|| iterations as f64 / self.0 as f64)
    }
}

/// How often the watch is asked, in iterations.
const ASKED_EVERY: u64 = 16;
/// Most absent nodes tried in one iteration beside those just removed.
const RETRIES: usize = 20;

/// The best solution found, and the iterations made.
pub fn search(model: &Model, options: &Options, watch: &mut dyn Watch) -> (Solution, u64) {
    let mut search = Search::new(model, options);
    let mut best = search.solution.clone();
    let mut best_cost = search.cost;
    watch.improved(0, best_cost);
    let scale = best_cost as f64 / model.len().max(1) as f64;
    let mut temperature = 0.0;
    let mut iterations = 0;
    loop {
        if iterations % ASKED_EVERY == 0 {
            let Some(spent) = watch.spent(iterations) else { break };
            if spent >= 1.0 || model.is_empty() {
                break;
            }
            temperature = scale * options.hot * (options.cold / options.hot).powf(spent);
        }
        iterations += 1;
        if search.step(temperature) && search.cost < best_cost {
            best_cost = search.cost;
            best.clone_from(&search.solution);
            watch.improved(iterations, best_cost);
        }
    }
    (best, iterations)
}

struct Search<'a> {
    model: &'a Model,
    ruin: Ruin,
    random: Random,
    solution: Solution,
    cost: i64,
    cache: Cache,
    queue: Vec<u32>,
}

impl<'a> Search<'a> {
    /// Starts from greedy insertion.
    fn new(model: &'a Model, options: &Options) -> Search<'a> {
        let mut search = Search {
            model,
            ruin: options.ruin,
            random: Random::new(options.seed),
            solution: Solution::new(model),
            cost: 0,
            cache: Cache::new(model),
            queue: Vec::new(),
        };
        search.queue = std::mem::take(&mut search.solution.absent);
        recreate(model, &mut search.solution, &mut search.cache, &mut search.random, &mut search.queue);
        search.solution.absent = std::mem::take(&mut search.queue);
        search.solution.keep();
        search.cost = search.solution.cost(model);
        search
    }

    /// One change, kept or taken back; whether it was kept.
    fn step(&mut self, temperature: f64) -> bool {
        let before = self.solution.skip_cost(self.model);
        self.queue.clear();
        ruin(self.model, &mut self.solution, &self.ruin, &mut self.random, &mut self.queue);
        let mut waiting = std::mem::take(&mut self.solution.absent);
        for _ in 0..waiting.len().min(RETRIES) {
            let nth = self.random.below(waiting.len());
            self.queue.push(waiting.swap_remove(nth));
        }
        recreate(self.model, &mut self.solution, &mut self.cache, &mut self.random, &mut self.queue);
        waiting.append(&mut self.queue);
        self.solution.absent = waiting;
        self.around_changes();
        improve(self.model, &mut self.solution, &mut self.random, &mut self.queue);
        let change = self.solution.route_change() + self.solution.skip_cost(self.model) - before;
        let bar = -temperature * (1.0 - self.random.unit()).ln();
        if (change as f64) < bar {
            self.cost += change;
            self.solution.keep();
            true
        } else {
            self.solution.take_back(self.model);
            false
        }
    }

    /// Nodes that have another neighbour than before.
    fn around_changes(&mut self) {
        self.queue.clear();
        self.solution.changed_nodes(&mut self.queue);
    }
}
