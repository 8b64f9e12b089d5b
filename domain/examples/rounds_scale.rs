//! How the search for rounds grows: an invented week, from nothing, under budgets of processor seconds.
//!
//! `cargo run --release -p domain --example rounds_scale -- week [visits] [vans] [seed] [seconds]...`
//! `cargo run --release -p domain --example rounds_scale -- growth [iterations]`
//!
//! `week` prints, for each budget, when the first rounds stood, their cost and that of the last ones in points, how many
//! visits are left out, and the most memory ever used. `growth` prints what an iteration costs for 50 to 2,000 visits.

#![allow(
    clippy::disallowed_methods,
    clippy::disallowed_macros,
    reason = "a program that measures: it reads its arguments, asks the time and prints"
)]

mod invented_rounds;

use domain::dispatch::planning::{RoundsPlan, plan_rounds};
use domain::dispatch::search::Watch;
use invented_rounds::{Size, problem};
use std::error::Error;

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let numbers: Vec<f64> = arguments.iter().skip(1).map(|text| text.parse()).collect::<Result<_, _>>()?;
    let number = |nth: usize, usual: f64| numbers.get(nth).copied().unwrap_or(usual);
    match arguments.first().map(String::as_str) {
        Some("week") => {
            let size = Size { visits: number(0, 1000.0) as usize, vans: number(1, 60.0) as usize, days: 7 };
            let budgets = if numbers.len() > 3 { &numbers[3..] } else { &[60.0, 600.0] };
            week(size, number(2, 1.0) as u64, budgets);
        }
        Some("growth") => growth(number(0, 2000.0) as u64),
        _ => return Err("usage: rounds_scale week|growth [numbers]".into()),
    }
    Ok(())
}

fn week(size: Size, seed: u64, budgets: &[f64]) {
    println!("{size:?}, seed {seed}");
    println!("| budget, s | first rounds, s | their cost | cost | left out | iterations | peak memory, MB |");
    println!("|---|---|---|---|---|---|---|");
    for &budget in budgets {
        let (plan, watched) = planned(size, seed, Limit::Seconds(budget));
        let (first, cost) = (watched.first_s, watched.first_cost);
        let (total, left) = (plan.cost.total, plan.unserved.len());
        let (iterations, peak) = (plan.iterations, peak_mb());
        println!("| {budget} | {first:.2} | {cost:.0} | {total:.1} | {left} | {iterations} | {peak:.0} |");
    }
}

/// Five visits to each van and day, as in the week.
fn growth(iterations: u64) {
    println!("| visits | vans | first rounds, s | an iteration, µs | peak memory, MB |");
    println!("|---|---|---|---|---|");
    for visits in [50, 100, 200, 500, 1000, 2000] {
        let size = Size { visits, vans: (visits * 60 / 1000).max(3), days: 7 };
        let watched = planned(size, 1, Limit::Iterations(iterations)).1;
        let (vans, first, peak) = (size.vans, watched.first_s, peak_mb());
        let each = (watched.last_s - watched.first_s) / iterations as f64 * 1e6;
        println!("| {visits} | {vans} | {first:.3} | {each:.0} | {peak:.0} |");
    }
}

fn planned(size: Size, seed: u64, limit: Limit) -> (RoundsPlan, Watched) {
    let problem = problem(size, seed);
    let began = processor_seconds();
    let mut watched = Watched { began, limit, share: 0.0, first_s: f64::NAN, first_cost: 0.0, last_s: 0.0 };
    (plan_rounds(&problem, seed, &mut watched), watched)
}

enum Limit {
    Seconds(f64),
    Iterations(u64),
}

/// Seconds since the problem was given, with making the model ready.
struct Watched {
    began: f64,
    limit: Limit,
    share: f64,
    first_s: f64,
    first_cost: f64,
    last_s: f64,
}

impl Watch for Watched {
    fn spent(&mut self, iterations: u64) -> Option<f64> {
        self.last_s = processor_seconds() - self.began;
        self.share = match self.limit {
            Limit::Seconds(most) => self.last_s / most,
            Limit::Iterations(most) => iterations as f64 / most as f64,
        };
        (self.share < 1.0).then_some(self.share)
    }

    fn improved(&mut self, _: u64, cost: i64) {
        if self.first_s.is_nan() {
            self.first_s = processor_seconds() - self.began;
            self.first_cost = domain::dispatch::planning::points(cost);
        }
    }
}

/// Processor seconds of this process: on a busy machine the clock on the wall says nothing.
fn processor_seconds() -> f64 {
    let spent = std::fs::read_to_string("/proc/self/schedstat").unwrap_or_default();
    spent.split(' ').next().and_then(|nanoseconds| nanoseconds.parse::<f64>().ok()).unwrap_or(f64::NAN) * 1e-9
}

/// The most memory this process ever had (`VmHWM` of `/proc`).
fn peak_mb() -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    let kilobytes = line.and_then(|line| line.split_whitespace().next()?.parse::<f64>().ok());
    kilobytes.unwrap_or(f64::NAN) / 1024.0
}
