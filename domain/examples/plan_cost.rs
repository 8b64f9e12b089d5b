//! Percentiles of the processor time one plan takes, and how it grows with zones, steps and hours:
//! `cargo run --release -p domain --example plan_cost -- [runs]`.
#![allow(clippy::disallowed_methods, clippy::disallowed_macros, reason = "an example measures and prints")]

#[path = "../tests/plan_cases/mod.rs"]
mod plan_cases;

use chrono::Duration;
use domain::plan::plan_job;
use domain::vehicle::VehicleClass;
use plan_cases::{Case, at, hot_day, sedan_wash, worst_case};
use std::hint::black_box;
use std::time::Instant;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let runs: usize = std::env::args().nth(1).map_or(Ok(300), |word| word.parse())?;
    println!("{:<34} {:>8} {:>8} {:>8} {:>13}", "plan", "p50_ms", "p99_ms", "min_ms", "processor_ms");
    for (name, case) in [
        ("sedan wash, alone", sedan_wash()),
        ("sedan wash, crew of 2", sedan_wash().with_crew(2)),
        ("motorhome, all found, alone", worst_case().with_crew(1)),
        ("motorhome, all found, crew of 2", worst_case().with_crew(2)),
        ("motorhome, all found, crew of 3", worst_case().with_crew(3)),
        ("motorhome, all found, crew of 4", worst_case()),
        ("the same on a hot day, alone", hot_day(worst_case().with_crew(1))),
        ("the same on a hot day, crew of 4", hot_day(worst_case())),
        ("sedan wash on a hot day, alone", hot_day(sedan_wash())),
    ] {
        let Cost { p50, p99, least, processor } = cost(&case, runs)?;
        println!("{name:<34} {p50:>8.2} {p99:>8.2} {least:>8.2} {processor:>13.2}");
    }
    println!(
        "\n{:>6} {:>6} {:>6} {:>8} {:>8} {:>13} {:>12}",
        "zones", "steps", "hours", "product", "min_ms", "processor_ms", "us_per_1000"
    );
    for (class, package, hours) in curve() {
        let case = with_hours(sedan_wash().of(class, package), hours);
        let zones = case.handbook.zones_of(class).count();
        let steps = plan_job(&case.input())?.lines.len();
        let product = zones * steps * hours as usize;
        let Cost { least, processor, .. } = cost(&case, runs)?;
        let each = processor * 1000.0 / (product as f64 / 1000.0);
        println!("{zones:>6} {steps:>6} {hours:>6} {product:>8} {least:>8.2} {processor:>13.2} {each:>12.1}");
    }
    Ok(())
}

fn curve() -> Vec<(VehicleClass, &'static str, i64)> {
    let mut points = Vec::new();
    for hours in [6, 24, 96, 384] {
        for package in ["P9", "P1", "P2", "P4"] {
            for class in [VehicleClass::CityCar, VehicleClass::Motorhome] {
                points.push((class, package, hours));
            }
        }
    }
    points
}

/// The same weather over and over, from six in the morning.
fn with_hours(mut case: Case, hours: i64) -> Case {
    let day = case.weather.hours.clone();
    case.weather.hours = (0..hours)
        .map(|hour| {
            let mut next = day[(6 + hour) as usize % day.len()].clone();
            next.at = at(6, 0) + Duration::hours(hour);
            next
        })
        .collect();
    case
}

/// What some runs took, ms: median, 99th percentile and least by the clock, mean on the processor.
struct Cost {
    p50: f64,
    p99: f64,
    least: f64,
    processor: f64,
}

fn cost(case: &Case, runs: usize) -> Result<Cost, Box<dyn std::error::Error>> {
    let mut times = Vec::with_capacity(runs);
    let begun_ms = processor_ms();
    for _ in 0..runs.max(1) {
        let begun = Instant::now();
        black_box(plan_job(&black_box(case).input())?);
        times.push(begun.elapsed().as_secs_f64() * 1000.0);
    }
    let processor = (processor_ms() - begun_ms) / times.len() as f64;
    times.sort_by(f64::total_cmp);
    let at = |share: f64| times[((times.len() - 1) as f64 * share).round() as usize];
    Ok(Cost { p50: at(0.5), p99: at(0.99), least: times[0], processor })
}

/// Time this thread has spent on a processor, by the scheduler's tick: for means on a busy machine. Zero where the
/// system does not tell.
fn processor_ms() -> f64 {
    let told = std::fs::read_to_string("/proc/thread-self/schedstat").ok();
    told.and_then(|text| text.split(' ').next()?.parse::<f64>().ok()).map_or(0.0, |ns| ns / 1e6)
}
