//! Runs the crew scheduler on a folder of single-mode PSPLIB instances (Kolisch & Sprecher 1997,
//! doi 10.1016/S0377-2217(96)00170-1) and prints how far it stays from the best makespans known.
//!
//! `cargo run --release --example psplib -- <folder of .sm files> <best.csv> [schedules nodes]...`
//!
//! `best.csv` has one line per instance: file name, makespan (of `lower..upper` the upper one counts).

#![allow(
    clippy::disallowed_methods,
    clippy::disallowed_macros,
    reason = "a program that measures: it reads files, asks the time and prints"
)]

use domain::plan::crew::{
    Activity, Budget, CrewSize, Demand, Lag, Problem, Proof, Schedule, check, schedule,
};
use std::collections::BTreeMap;
use std::error::Error;
use std::path::Path;
use std::time::Instant;

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [folder, best, budgets @ ..] = arguments.as_slice() else {
        return Err("usage: psplib <folder of .sm files> <best.csv> [schedules nodes]...".into());
    };
    let instances = instances(Path::new(folder), &std::fs::read_to_string(best)?)?;
    let mut pairs: Vec<(u64, u64)> = Vec::new();
    for pair in budgets.chunks_exact(2) {
        pairs.push((pair[0].parse()?, pair[1].parse()?));
    }
    if pairs.is_empty() {
        pairs = vec![(1, 0), (3, 0), (1_000, 0), (5_000, 0), (1_000, 100_000)];
    }
    println!("{} instances", instances.len());
    println!("schedules     nodes  deviation_%  at_best_%  proved_%  ms_mean    ms_p50    ms_p90    ms_max");
    for (schedules, nodes) in pairs {
        run(&instances, Budget { schedules, nodes })?;
    }
    Ok(())
}

fn run(instances: &[(String, Problem, u32)], budget: Budget) -> Result<(), Box<dyn Error>> {
    let (mut deviation, mut at_best, mut proved, mut times) = (0.0, 0, 0, Vec::new());
    for (name, problem, best) in instances {
        let (found, ms) = timed(problem, budget, 1)?;
        times.push(ms);
        let broken = check(problem, &found);
        if !broken.is_empty() || found.lower_bound_s > *best {
            return Err(format!("{name}: {broken:?}, bound {} above {best}", found.lower_bound_s).into());
        }
        deviation += (f64::from(found.makespan_s) / f64::from(*best) - 1.0) * 100.0;
        at_best += usize::from(found.makespan_s <= *best);
        proved += usize::from(found.proof == Proof::Optimal);
    }
    let count = instances.len() as f64;
    times.sort_by(f64::total_cmp);
    let at = |share: f64| times[((count - 1.0) * share) as usize];
    println!(
        "{:>9} {:>9} {:>12.3} {:>10.1} {:>9.1} {:>8.2} {:>9.2} {:>9.2} {:>9.2}",
        budget.schedules,
        budget.nodes,
        deviation / count,
        100.0 * at_best as f64 / count,
        100.0 * proved as f64 / count,
        times.iter().sum::<f64>() / count,
        at(0.5),
        at(0.9),
        at(1.0),
    );
    Ok(())
}

/// Name, problem and best makespan known.
type Instance = (String, Problem, u32);

fn instances(folder: &Path, best: &str) -> Result<Vec<Instance>, Box<dyn Error>> {
    let mut known: BTreeMap<&str, u32> = BTreeMap::new();
    for line in best.lines() {
        let (name, makespan) = line.split_once(',').ok_or("a line of the best makespans has no comma")?;
        let upper = makespan.rsplit("..").next().unwrap_or(makespan);
        known.insert(name, upper.trim().parse()?);
    }
    let mut instances = Vec::new();
    for entry in std::fs::read_dir(folder)? {
        let path = entry?.path();
        let name = path.file_name().and_then(|name| name.to_str()).unwrap_or_default().to_string();
        if let Some(&makespan) = known.get(name.as_str()) {
            let problem = read(&std::fs::read_to_string(&path)?).map_err(|why| format!("{name}: {why}"))?;
            instances.push((name, problem, makespan));
        }
    }
    instances.sort_by(|one, other| one.0.cmp(&other.0));
    if instances.is_empty() {
        Err("no instance of the folder is in the list of best makespans".into())
    } else {
        Ok(instances)
    }
}

/// Reads the three tables of an .sm file: precedence relations, requests and durations, availabilities.
fn read(text: &str) -> Result<Problem, Box<dyn Error>> {
    let capacities: Vec<u32> =
        numbers(section(text, "RESOURCEAVAILABILITIES", 2)?.first().ok_or("no capacities")?)?;
    let mut problem = Problem { capacities, ..Problem::default() };
    for line in section(text, "REQUESTS/DURATIONS", 3)? {
        let fields = numbers(line)?;
        let duration_s = *fields.get(2).ok_or("a request has no duration")?;
        let demands = fields[3..].iter().enumerate();
        problem.activities.push(Activity {
            crews: vec![CrewSize { hands: 0, duration_s }],
            demands: demands.map(|(resource, &units)| Demand { resource, units }).collect(),
            ..Activity::default()
        });
    }
    for line in section(text, "PRECEDENCE RELATIONS", 2)? {
        let fields = numbers(line)?;
        let before = *fields.first().ok_or("an empty precedence line")? as usize;
        for &after in fields.get(3..).unwrap_or_default() {
            let (before, after) = (before.wrapping_sub(1), (after as usize).wrapping_sub(1));
            problem.lags.push(Lag { before, after, ..Lag::default() });
        }
    }
    Ok(problem)
}

/// Lines from `skip` lines after the title to the next row of stars.
fn section<'a>(text: &'a str, title: &str, skip: usize) -> Result<Vec<&'a str>, Box<dyn Error>> {
    let mut lines = text.lines().skip_while(|line| !line.starts_with(title));
    lines.next().ok_or_else(|| format!("no section {title}"))?;
    Ok(lines.skip(skip - 1).take_while(|line| !line.starts_with('*')).collect())
}

fn numbers(line: &str) -> Result<Vec<u32>, std::num::ParseIntError> {
    line.split_whitespace().map(str::parse).collect()
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
