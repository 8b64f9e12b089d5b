//! Throws jobs at the planner for as long as asked: sane ones, mad ones, damaged documents, changed handbooks.
//!
//! `cargo run --release -p domain --example plan_fuzz -- --seconds 600 --seed 1`, or `--count 10000`; a case that
//! failed is thrown again by its number: `--case 1234`. Ends with an error if anything panicked or a plan broke one
//! of the promises in `tests/plan/promises.rs`.
#![allow(
    clippy::disallowed_methods,
    clippy::disallowed_macros,
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    dead_code,
    reason = "a program that tries and prints, on the tests' own jobs"
)]

#[path = "../tests/plan/damaged.rs"]
mod damaged;
#[path = "../tests/plan_cases/mod.rs"]
mod plan_cases;
#[path = "../tests/plan/promises.rs"]
mod promises;
#[path = "../tests/plan/scene.rs"]
mod scene;
#[path = "../tests/plan/thrown.rs"]
mod thrown;

use damaged::{Stopped, damaged, overridden};
use domain::plan::{JobPlan, SheetHead, Start, job_sheet, preview, quote, sheet_html, timeline};
use scene::Scene;
use std::collections::BTreeMap;
use std::error::Error;
use std::num::NonZeroUsize;
use std::panic::catch_unwind;
use std::time::{Duration, Instant};
use thrown::{Dice, mad, sane};

/// Failures that are printed in full.
const SHOWN: usize = 20;

fn main() -> Result<(), Box<dyn Error>> {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let number = |name: &str| -> Result<Option<u64>, Box<dyn Error>> {
        let at = words.iter().position(|word| word == name);
        Ok(at.and_then(|at| words.get(at + 1)).map(|word| word.parse()).transpose()?)
    };
    if let Some(case) = number("--case")? {
        return thrown_again(case);
    }
    let seed = number("--seed")?.unwrap_or(1);
    let count = number("--count")?;
    let seconds = number("--seconds")?.unwrap_or(if count.is_some() { u64::MAX } else { 60 });
    campaign(seed, seconds, count.unwrap_or(u64::MAX))
}

fn thrown_again(case: u64) -> Result<(), Box<dyn Error>> {
    println!("case {case}, {}", kind(case));
    println!("{}", tried(case)?);
    Ok(())
}

fn campaign(seed: u64, seconds: u64, count: u64) -> Result<(), Box<dyn Error>> {
    let (begun, dice) = (Instant::now(), &mut Dice(seed));
    let mut outcomes: BTreeMap<String, u64> = BTreeMap::new();
    let mut failed: Vec<u64> = Vec::new();
    let (mut cases, mut slowest) = (0, (Duration::ZERO, 0));
    while cases < count && begun.elapsed().as_secs() < seconds {
        let case = dice.roll();
        let since = Instant::now();
        let outcome = catch_unwind(|| tried(case)).unwrap_or_else(|_| Err("panicked".into()));
        slowest = slowest.max((since.elapsed(), case));
        cases += 1;
        if let Err(why) = &outcome {
            failed.push(case);
            if failed.len() <= SHOWN {
                println!("FAILED --case {case}, {}: {why}", kind(case));
            }
        }
        let told = outcome.unwrap_or_else(|_| "FAILED".into());
        *outcomes.entry(format!("{}: {told}", kind(case))).or_default() += 1;
    }
    println!("{cases} cases in {} s from seed {seed}", begun.elapsed().as_secs());
    println!("slowest: {} ms, --case {}", slowest.0.as_millis(), slowest.1);
    for (outcome, count) in outcomes {
        println!("{count:>9}  {outcome}");
    }
    if failed.is_empty() { Ok(()) } else { Err(format!("{} failed", failed.len()).into()) }
}

fn kind(case: u64) -> &'static str {
    match case % 8 {
        0 | 1 => "sane",
        2 | 3 => "mad",
        4..=6 => "damaged",
        _ => "overridden",
    }
}

/// What became of a case, or what it broke.
fn tried(case: u64) -> Result<String, String> {
    let thrown = match kind(case) {
        "sane" => Ok(sane(case)),
        "mad" => Ok(mad(case)),
        "damaged" => damaged(case),
        _ => overridden(case),
    };
    let scene = match thrown {
        Ok(scene) => scene,
        Err(Stopped::Unreadable) => return Ok("document refused".into()),
        Err(Stopped::Handbook) => return Ok("handbook refused".into()),
    };
    match scene.try_plan() {
        Ok(plan) => {
            promises::kept(&scene, &plan)?;
            printed(&plan)?;
            agrees(&scene, &plan)?;
            Ok(if plan.workable { "a plan" } else { "a blocked plan" }.into())
        }
        Err(error) if kind(case) == "sane" => Err(format!("refused {error}")),
        Err(error) if error.pointer.is_empty() || error.detail.is_empty() => Err(format!("{error:?}")),
        Err(error) => {
            let place: Vec<&str> =
                error.pointer.split('/').filter(|word| word.parse::<u32>().is_err()).collect();
            Ok(format!("refused {}", place.join("/")))
        }
    }
}

/// Every form can be made, and nothing is lost in the plan's own document.
fn printed(plan: &JobPlan) -> Result<(), String> {
    let head = SheetHead { job: "1", vehicle: "white", place: "here", crew: &[], van: "V1" };
    let forms = [job_sheet(&head, plan), sheet_html(&head, plan)];
    timeline(plan);
    let text = serde_json::to_string(plan).map_err(|error| error.to_string())?;
    let again: JobPlan = serde_json::from_str(&text).map_err(|error| format!("its own document: {error}"))?;
    if again.lines.len() != plan.lines.len() || forms.iter().any(String::is_empty) {
        return Err("a form is empty or its document lost lines".into());
    }
    Ok(())
}

/// A preview of the same start and the quote speak of the same plan.
fn agrees(scene: &Scene, plan: &JobPlan) -> Result<(), String> {
    let input = scene.input();
    let start = Start::of(&input);
    let told = preview(&input, &[start, start], NonZeroUsize::MIN).map_err(|error| error.to_string())?;
    let totals = &plan.totals;
    for one in &told {
        if (one.elapsed_minutes, one.person_minutes, one.water_l, one.workable)
            != (totals.elapsed_minutes, totals.person_minutes, totals.water_l, plan.workable)
        {
            return Err(format!("the preview differs: {one:?} against {totals:?}"));
        }
    }
    quote(&input).map_err(|error| format!("quote: {error}"))?;
    Ok(())
}
