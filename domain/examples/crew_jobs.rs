//! Schedules invented jobs and prints how long that takes and how many are proved; with a folder, also writes each
//! problem and its schedule as JSON for a comparison with another solver.
//!
//! `cargo run --release --example crew_jobs -- <jobs per size> <schedules> <nodes> [folder]`

#![allow(
    clippy::disallowed_methods,
    clippy::disallowed_macros,
    reason = "a program that measures: it reads files, asks the time and prints"
)]

#[path = "../benches/crew_jobs/mod.rs"]
mod crew_jobs;
use domain::plan::crew::{Budget, Problem, Proof, Schedule, check, schedule};
use std::error::Error;
use std::time::Instant;

/// Activities and technicians of each row.
const SIZES: [(usize, usize); 8] = [(15, 1), (15, 2), (25, 2), (25, 3), (30, 2), (40, 2), (40, 3), (40, 4)];

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [jobs, schedules, nodes, folder @ ..] = arguments.as_slice() else {
        return Err("usage: crew_jobs <jobs per size> <schedules> <nodes> [folder]".into());
    };
    let (jobs, budget) = (jobs.parse()?, Budget { schedules: schedules.parse()?, nodes: nodes.parse()? });
    println!("activities  technicians  proved_%  gap_%  ms_p50   ms_p90   ms_max");
    for (activities, technicians) in SIZES {
        row(activities, technicians, jobs, budget, folder.first())?;
    }
    Ok(())
}

fn row(
    activities: usize,
    technicians: usize,
    jobs: u64,
    budget: Budget,
    folder: Option<&String>,
) -> Result<(), Box<dyn Error>> {
    let (mut proved, mut gap, mut times) = (0, 0.0, Vec::new());
    for seed in 0..jobs {
        let problem = crew_jobs::job(activities, technicians, seed);
        let (found, ms) = timed(&problem, budget, seed)?;
        let broken = check(&problem, &found);
        if !broken.is_empty() {
            return Err(format!("{activities} x {technicians}, job {seed}: {broken:?}").into());
        }
        times.push(ms);
        proved += usize::from(found.proof == Proof::Optimal);
        gap += 100.0 * (f64::from(found.makespan_s) / f64::from(found.lower_bound_s.max(1)) - 1.0);
        if let Some(folder) = folder {
            let name = format!("{folder}/{activities}x{technicians}-{seed:03}.json");
            let record = serde_json::json!({"problem": problem, "schedule": found, "ms": ms});
            std::fs::write(name, serde_json::to_string(&record)?)?;
        }
    }
    times.sort_by(f64::total_cmp);
    let at =
        |share: f64| times.get(((times.len().max(1) - 1) as f64 * share) as usize).copied().unwrap_or(0.0);
    println!(
        "{activities:>10} {technicians:>12} {:>9.1} {:>6.2} {:>7.2} {:>8.2} {:>8.2}",
        100.0 * proved as f64 / jobs as f64,
        gap / jobs as f64,
        at(0.5),
        at(0.9),
        at(1.0),
    );
    Ok(())
}

/// The shortest of three runs, so that a busy machine does not spoil the figures.
fn timed(problem: &Problem, budget: Budget, seed: u64) -> Result<(Schedule, f64), Box<dyn Error>> {
    let mut shortest = f64::INFINITY;
    let mut found = schedule(problem, budget, seed)?;
    for _ in 0..3 {
        let began = Instant::now();
        found = schedule(problem, budget, seed)?;
        shortest = shortest.min(began.elapsed().as_secs_f64() * 1_000.0);
    }
    Ok((found, shortest))
}
