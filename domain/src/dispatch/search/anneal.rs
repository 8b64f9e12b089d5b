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
    /// Starts of a plain model, of which the best is followed: some lead to where no way leads out.
    pub starts: u64,
}

impl Default for Options {
    /// Tuned on classes of public instances.
    fn default() -> Options {
        Options { seed: 1, ruin: Ruin::default(), hot: 0.1, cold: 0.003, starts: 4 }
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
const WITHIN: u64 = 30;
/// Chances in percent that a whole route changes its shift, or is taken apart; in plain models shifts are alike.
const SHIFT_CHANGES: usize = 10;
const WHOLE_ROUTES: usize = 10;

/// The best solution found, and the iterations made.
pub fn search(model: &Model, options: &Options, watch: &mut dyn Watch) -> (Solution, u64) {
    search_from(model, Solution::new(model), options, watch)
}

/// The same from a solution; what it leaves out is put where it costs least first.
pub fn search_from(
    model: &Model,
    start: Solution,
    options: &Options,
    watch: &mut dyn Watch,
) -> (Solution, u64) {
    let mut run = Run { watch, iterations: 0, best_cost: i64::MAX, spent: 0.0 };
    let mut best = Search::new(model, start.clone(), options, options.seed);
    run.improved(&best);
    // Where visits may be left out and shifts exclude each other, the way from one good plan to another leads over
    // dearer ones.
    let hot = options.hot * if model.plain { 1.0 } else { 10.0 };
    let heat = Heat { hot, cold: options.cold, scale: best.cost_of_a_visit() };
    let starts = if model.plain { options.starts.max(1) } else { 1 };
    let mut first_part = 0.0;
    if starts > 1 {
        for nth in 0..starts {
            let mut search = if nth == 0 {
                best.clone()
            } else {
                Search::new(model, start.clone(), options, options.seed.wrapping_add(nth << 32))
            };
            let until = first_part + START_SHARE;
            run.anneal(&mut search, heat, first_part, until);
            first_part = until;
            if nth == 0 || search.best_cost < best.best_cost {
                best = search;
            }
        }
        best.back_to_best();
    }
    run.anneal(&mut best, heat, first_part, 1.0);
    best.back_to_best();
    (best.solution, run.iterations)
}

/// Share of the budget that each start gets before the best of them gets the rest.
const START_SHARE: f64 = 0.08;

/// Temperatures as shares of `scale`.
#[derive(Clone, Copy)]
struct Heat {
    hot: f64,
    cold: f64,
    scale: f64,
}

/// What the watch has seen.
struct Run<'a> {
    watch: &'a mut dyn Watch,
    iterations: u64,
    best_cost: i64,
    spent: f64,
}

impl Run<'_> {
    fn improved(&mut self, search: &Search) {
        if search.best_cost < self.best_cost {
            self.best_cost = search.best_cost;
            self.watch.improved(self.iterations, self.best_cost);
        }
    }

    /// Cools down from hot to cold while the budget is spent from one share to another.
    fn anneal(&mut self, search: &mut Search, heat: Heat, from: f64, to: f64) {
        let mut temperature = 0.0;
        let mut asked = false;
        loop {
            if !asked || self.iterations.is_multiple_of(ASKED_EVERY) {
                asked = true;
                let Some(spent) = self.watch.spent(self.iterations) else {
                    self.spent = 1.0;
                    return;
                };
                self.spent = self.spent.max(spent);
                if self.spent >= to || search.model.is_empty() {
                    return;
                }
                let share = ((self.spent - from) / (to - from)).max(0.0);
                temperature = heat.scale * heat.hot * (heat.cold / heat.hot).powf(share);
            }
            self.iterations += 1;
            search.step(temperature);
            if self.iterations.is_multiple_of(PENALTY_EVERY) {
                search.adapt_penalty();
            }
            self.improved(search);
        }
    }
}

#[derive(Clone)]
struct Search<'a> {
    model: &'a Model,
    ruin: Ruin,
    random: Random,
    solution: Solution,
    cost: i64,
    best: Solution,
    best_cost: i64,
    cache: Cache,
    queue: Vec<u32>,
    /// Solutions within all capacities since the penalty was last set.
    within: u64,
}

impl<'a> Search<'a> {
    /// Starts from greedy insertion.
    fn new(model: &'a Model, start: Solution, options: &Options, seed: u64) -> Search<'a> {
        let mut search = Search {
            model,
            ruin: options.ruin,
            random: Random::new(seed),
            best: start.clone(),
            best_cost: i64::MAX,
            solution: start,
            cost: 0,
            cache: Cache::new(model),
            queue: Vec::new(),
            within: 0,
        };
        search.queue = std::mem::take(&mut search.solution.absent);
        recreate(model, &mut search.solution, &mut search.cache, &mut search.random, &mut search.queue);
        search.solution.absent = std::mem::take(&mut search.queue);
        search.solution.keep();
        search.cost = search.solution.cost(model);
        (search.best, search.best_cost) = (search.solution.clone(), search.cost);
        if model.plain {
            let loads: i64 =
                model.parts.nodes.iter().flat_map(|node| &node.load).map(|&load| i64::from(load)).sum();
            // What is left out says nothing of what a load costs on its way.
            let served = search.cost - search.solution.skip_cost(model);
            search.solution.set_penalty(model, (served / loads.max(1)).max(1));
        }
        search
    }

    /// One change, kept or taken back.
    fn step(&mut self, temperature: f64) {
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
        let within = self.solution.excess() == 0;
        self.within += u64::from(within);
        if kept && within && self.cost < self.best_cost {
            self.best_cost = self.cost;
            self.best.copy_from(&self.solution);
        }
    }

    /// What serving a visit costs on average.
    fn cost_of_a_visit(&self) -> f64 {
        let served = self.model.len() - self.solution.absent.len();
        (self.cost - self.solution.skip_cost(self.model)) as f64 / served.max(1) as f64
    }

    fn back_to_best(&mut self) {
        self.solution.copy_from(&self.best);
        self.cost = self.best_cost;
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
