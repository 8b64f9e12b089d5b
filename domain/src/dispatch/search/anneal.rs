//! Simulated annealing around ruin and recreate.

use super::change_shift::change_shift;
use super::insertion::Cache;
use super::links;
use super::local_search::improve;
use super::model::Model;
use super::recreate::recreate;
use super::ruin::{Ruin, ruin, ruin_whole};
use super::solution::{NOWHERE, Solution};
use crate::random::Random;

/// How the search goes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Options {
    pub seed: u64,
    pub ruin: Ruin,
    /// First and last temperature, as shares of the mean cost of a visit in the first solution.
    pub hot: f64,
    pub cold: f64,
    /// In this share of the budget a plain model uses no more shifts than its loads need: opening one is easy later,
    /// closing one is hard.
    pub tight: f64,
}

impl Default for Options {
    /// Tuned on classes of public instances.
    fn default() -> Options {
        Options { seed: 1, ruin: Ruin::default(), hot: 0.05, cold: 0.003, tight: 0.15 }
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
/// The penalty for load above capacity is adapted every so many iterations,
const PENALTY_EVERY: u64 = 256;
/// so that this many solutions in a hundred keep within it.
const WITHIN: u64 = 60;
/// Chances in percent that a whole route changes its shift, or is taken apart; in plain models shifts are alike.
const SHIFT_CHANGES: usize = 10;
const WHOLE_ROUTES: usize = 10;

/// The best solution found, and the iterations made.
pub fn search(model: &Model, options: &Options, watch: &mut dyn Watch) -> (Solution, u64) {
    let mut search = Search::new(model, options);
    let mut best = search.solution.clone();
    let mut best_cost = search.cost;
    watch.improved(0, best_cost);
    let scale = best_cost as f64 / model.len().max(1) as f64;
    // Where visits may be left out and shifts exclude each other, the way from one good plan to another leads over
    // dearer ones.
    let hot = options.hot * if model.plain { 1.0 } else { 10.0 };
    let mut temperature = 0.0;
    let mut iterations = 0;
    loop {
        if iterations % ASKED_EVERY == 0 {
            let Some(spent) = watch.spent(iterations) else { break };
            if spent >= 1.0 || model.is_empty() {
                break;
            }
            if spent >= options.tight {
                search.solution.most_used = usize::MAX;
            }
            temperature = scale * hot * (options.cold / hot).powf(spent);
        }
        iterations += 1;
        let kept = search.step(temperature);
        if iterations % PENALTY_EVERY == 0 {
            search.adapt_penalty();
        }
        if kept && search.cost < best_cost && search.solution.excess() == 0 {
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
    /// Solutions within all capacities since the penalty was last set.
    within: u64,
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
            within: 0,
        };
        if model.plain && options.tight > 0.0 {
            search.solution.most_used = least_shifts(model);
        }
        search.queue = std::mem::take(&mut search.solution.absent);
        recreate(model, &mut search.solution, &mut search.cache, &mut search.random, &mut search.queue);
        search.solution.absent = std::mem::take(&mut search.queue);
        search.solution.keep();
        search.cost = search.solution.cost(model);
        if model.plain {
            let loads: i64 =
                model.parts.nodes.iter().flat_map(|node| &node.load).map(|&load| i64::from(load)).sum();
            search.solution.set_penalty(model, (search.cost / loads.max(1)).max(1));
        }
        search
    }

    /// One change, kept or taken back; whether it was kept.
    fn step(&mut self, temperature: f64) -> bool {
        let before = self.beside_routes();
        if self.model.plain || !self.random.chance(SHIFT_CHANGES) || !self.change_shift() {
            self.ruin_and_recreate();
        }
        self.around_changes();
        improve(self.model, &mut self.solution, &mut self.random, &mut self.queue);
        let change = self.solution.route_change() + self.beside_routes() - before;
        let bar = -temperature * (1.0 - self.random.unit()).ln();
        let kept = change <= 0 || (change as f64) < bar;
        if kept {
            self.cost += change;
            self.solution.keep();
        } else {
            self.solution.take_back(self.model);
        }
        self.within += u64::from(self.solution.excess() == 0);
        kept
    }

    fn ruin_and_recreate(&mut self) {
        let Search { model, solution, random, queue, .. } = self;
        queue.clear();
        if !model.plain && random.chance(WHOLE_ROUTES) {
            ruin_whole(model, solution, random, queue);
        } else {
            ruin(model, solution, &self.ruin, random, queue);
        }
        if !model.parts.links.is_empty() {
            links::remove_dependent(model, solution, queue);
        }
        let mut waiting = std::mem::take(&mut solution.absent);
        for _ in 0..waiting.len().min(RETRIES) {
            let nth = random.below(waiting.len());
            queue.push(waiting.swap_remove(nth));
        }
        recreate(model, solution, &mut self.cache, random, queue);
        solution.closed = None;
        waiting.append(queue);
        waiting.retain(|&node| solution.route_of[node as usize] == NOWHERE);
        solution.absent = waiting;
    }

    /// Another van or crew for a round; what was left out may be served by those who become free.
    fn change_shift(&mut self) -> bool {
        let Search { model, solution, random, .. } = self;
        if !change_shift(model, solution, random) {
            solution.take_back(model);
            return false;
        }
        if solution.absent.is_empty() {
            return true;
        }
        self.queue = std::mem::take(&mut self.solution.absent);
        recreate(self.model, &mut self.solution, &mut self.cache, &mut self.random, &mut self.queue);
        self.solution.absent = std::mem::take(&mut self.queue);
        true
    }

    /// Capacities of plain models may be exceeded at a cost that keeps a good half of the solutions within them: full
    /// vans can hardly exchange visits otherwise.
    fn adapt_penalty(&mut self) {
        if !self.model.plain {
            return;
        }
        let factor = if self.within * 100 < PENALTY_EVERY * WITHIN { 1.2 } else { 0.85 };
        self.within = 0;
        let penalty = (self.solution.penalty as f64 * factor).round().max(1.0) as i64;
        self.solution.set_penalty(self.model, penalty);
        self.cost = self.solution.cost(self.model);
    }

    /// Cost of what is left out and of links.
    fn beside_routes(&self) -> i64 {
        self.solution.skip_cost(self.model) + self.solution.link_cost(self.model)
    }

    /// Nodes that have another neighbour than before.
    fn around_changes(&mut self) {
        self.queue.clear();
        self.solution.changed_nodes(&mut self.queue);
    }
}

/// Shifts that the loads need at least, if they are all as large as the largest.
fn least_shifts(model: &Model) -> usize {
    let kinds = model.parts.shifts.first().map_or(0, |shift| shift.capacity.len());
    let need = |kind: usize| {
        let load: i64 = model.parts.nodes.iter().map(|node| i64::from(node.load[kind])).sum();
        let most = model.parts.shifts.iter().map(|shift| i64::from(shift.capacity[kind])).max().unwrap_or(1);
        (load + most - 1).div_euclid(most.max(1)) as usize
    };
    (0..kinds).map(need).max().unwrap_or(0).max(1)
}
