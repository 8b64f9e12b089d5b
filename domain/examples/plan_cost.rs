//! Percentiles of the time one plan takes, how it grows with zones, steps and hours, what a thousand starts of one
//! job take, and which crews cannot keep a dwell over a whole side:
//! `cargo run --release -p domain --example plan_cost -- [runs]`.
#![allow(clippy::disallowed_methods, clippy::disallowed_macros, reason = "an example measures and prints")]

#[path = "../tests/plan_cases/mod.rs"]
mod plan_cases;

use chrono::Duration;
use domain::plan::{Preview, Start, plan_job, preview};
use domain::vehicle::VehicleClass;
use plan_cases::{Case, at, hot_day, sedan_wash, worst_case};
use std::error::Error;
use std::hint::black_box;
use std::num::NonZeroUsize;
use std::time::Instant;

fn main() -> Result<(), Box<dyn Error>> {
    let runs: usize = std::env::args().nth(1).map_or(Ok(300), |word| word.parse())?;
    plans(runs)?;
    growth(runs)?;
    what_ifs()?;
    dwells_given_up()
}

fn plans(runs: usize) -> Result<(), Box<dyn Error>> {
    println!("| plan | p50, ms | p99, ms | processor p50, ms | processor p99, ms |");
    println!("|---|---|---|---|---|");
    for (name, case) in [
        ("sedan wash, alone", sedan_wash()),
        ("sedan wash, crew of 2", sedan_wash().with_crew(2)),
        ("sedan wash on a hot day, alone", hot_day(sedan_wash())),
        ("motorhome, coating, all found, alone", worst_case().with_crew(1)),
        ("motorhome, coating, all found, crew of 2", worst_case().with_crew(2)),
        ("motorhome, coating, all found, crew of 3", worst_case().with_crew(3)),
        ("motorhome, coating, all found, crew of 4", worst_case()),
        ("the same on a hot day, alone", hot_day(worst_case().with_crew(1))),
        ("the same on a hot day, crew of 4", hot_day(worst_case())),
    ] {
        let Cost { clock, processor } = cost(&case, runs)?;
        let figures = [clock.p50, clock.p99, processor.p50, processor.p99].map(|ms| format!("{ms:.2}"));
        println!("| {name} | {} |", figures.join(" | "));
    }
    Ok(())
}

fn growth(runs: usize) -> Result<(), Box<dyn Error>> {
    println!("\n| zones | steps | hours | zones x steps x hours | processor p50, ms | us per 1,000 |");
    println!("|---|---|---|---|---|---|");
    for (class, package, hours) in curve() {
        let case = with_hours(sedan_wash().of(class, package), hours);
        let zones = case.handbook.zones_of(class).count();
        let steps = plan_job(&case.input())?.lines.len();
        let product = zones * steps * hours as usize;
        let ms = cost(&case, runs)?.processor.p50;
        let each = ms * 1e6 / product as f64;
        println!("| {zones} | {steps} | {hours} | {product} | {ms:.2} | {each:.1} |");
    }
    Ok(())
}

/// A thousand starts of one job, a minute and a half apart: a day.
fn what_ifs() -> Result<(), Box<dyn Error>> {
    let all = std::thread::available_parallelism()?;
    println!("\n| 1,000 starts | one thread, s | {all} threads, s | rows as JSON, kB |");
    println!("|---|---|---|---|");
    for (name, case) in [
        ("sedan wash, alone", sedan_wash()),
        ("sedan wash, crew of 2", sedan_wash().with_crew(2)),
        ("sedan wash on a hot day, crew of 2", hot_day(sedan_wash().with_crew(2))),
        ("motorhome, coating, all found, alone", worst_case().with_crew(1)),
        ("motorhome, coating, all found, crew of 4", worst_case()),
        ("the same on a hot day, crew of 4", hot_day(worst_case())),
    ] {
        let input = case.input();
        let start = |n: i64| Start { at: at(0, 0) + Duration::seconds(86 * n), ..Start::of(&input) };
        let starts: Vec<Start> = (0..1000).map(|n| Start { window_end: None, ..start(n) }).collect();
        let timed = |threads| -> Result<(f64, Vec<Preview>), Box<dyn Error>> {
            let begun = Instant::now();
            let rows = preview(&input, black_box(&starts), threads)?;
            Ok((begun.elapsed().as_secs_f64(), rows))
        };
        let ((alone, rows), (together, _)) = (timed(NonZeroUsize::MIN)?, timed(all)?);
        let json_kb = serde_json::to_string(&rows)?.len() / 1000;
        println!("| {name} | {alone:.2} | {together:.2} | {json_kb} |");
    }
    Ok(())
}

/// How many crews keep every longest dwell from the last panel of a side to the first.
fn dwells_given_up() -> Result<(), Box<dyn Error>> {
    println!("\n| weather | crew splits | keep every dwell | the others |");
    println!("|---|---|---|---|");
    for (name, heat) in [("mild", false), ("hot", true)] {
        let (mut splits, mut others) = (0, Vec::new());
        for technicians in 2..=4 {
            for (class, package) in every_job() {
                let case = sedan_wash().of(class, package).with_crew(technicians);
                let plan = plan_job(&if heat { hot_day(case) } else { case }.input())?;
                splits += usize::from(plan.crew_bound.is_some());
                let told = plan.notices.iter().find(|n| n.rule == "crew" && n.text.contains("dwell"));
                others.extend(told.map(|told| {
                    format!("{} {package} x {technicians} ({})", word(class), told.steps.join(" "))
                }));
            }
        }
        println!("| {name} | {splits} | {} | {} |", splits - others.len(), others.join(", "));
    }
    Ok(())
}

fn every_job() -> impl Iterator<Item = (VehicleClass, &'static str)> {
    let classes = [
        VehicleClass::CityCar,
        VehicleClass::Sedan,
        VehicleClass::Estate,
        VehicleClass::Suv,
        VehicleClass::Pickup,
        VehicleClass::LargeVan,
        VehicleClass::Motorhome,
    ];
    let packages = ["P1", "P2", "P3", "P4", "P5", "P6", "P8", "P9"];
    classes.into_iter().flat_map(move |class| packages.map(|package| (class, package)))
}

fn word(class: VehicleClass) -> String {
    format!("{class:?}").to_lowercase()
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

/// Median and 99th percentile of some runs, ms.
struct Percentiles {
    p50: f64,
    p99: f64,
}

impl Percentiles {
    fn of(mut times: Vec<f64>) -> Percentiles {
        times.sort_by(f64::total_cmp);
        let at = |share: f64| times[((times.len() - 1) as f64 * share).round() as usize];
        Percentiles { p50: at(0.5), p99: at(0.99) }
    }
}

/// By the clock and on the processor: on a busy machine only the second means anything.
struct Cost {
    clock: Percentiles,
    processor: Percentiles,
}

fn cost(case: &Case, runs: usize) -> Result<Cost, Box<dyn Error>> {
    let (mut clock, mut processor) = (Vec::with_capacity(runs), Vec::with_capacity(runs));
    for _ in 0..runs.max(1) {
        let (begun, begun_ms) = (Instant::now(), processor_ms());
        black_box(plan_job(&black_box(case).input())?);
        processor.push(processor_ms() - begun_ms);
        clock.push(begun.elapsed().as_secs_f64() * 1000.0);
    }
    Ok(Cost { clock: Percentiles::of(clock), processor: Percentiles::of(processor) })
}

/// Time this thread has spent on a processor, by the kernel's own account; zero where the system does not tell.
fn processor_ms() -> f64 {
    // The account is brought up to date when a thread gives way.
    std::thread::yield_now();
    let told = std::fs::read_to_string("/proc/thread-self/schedstat").ok();
    told.and_then(|text| text.split(' ').next()?.parse::<f64>().ok()).map_or(0.0, |ns| ns / 1e6)
}
