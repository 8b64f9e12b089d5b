//! What a plan costs: `cargo bench -p domain --bench plan`.
//!
//! Aims on one core: a typical sedan wash 2 ms, the dearest plan 10 ms at the median and 50 ms at the 99th
//! percentile, 1,000 what-ifs of one job 2 s.

#[path = "../tests/plan_cases/mod.rs"]
mod plan_cases;

use chrono::Duration;
use criterion::{BenchmarkId, Criterion, criterion_group, criterion_main};
use domain::plan::{JobPlan, plan_job};
use domain::vehicle::VehicleClass;
use plan_cases::{Case, everything_found, sedan_wash, worst_case};
use std::hint::black_box;

fn planned(case: &Case) -> JobPlan {
    match plan_job(&black_box(case).input()) {
        Ok(plan) => plan,
        Err(error) => panic!("the bench's own job must be plannable: {error}"),
    }
}

fn whole(bench: &mut Criterion) {
    let mut group = bench.benchmark_group("plan");
    for (name, case) in [
        ("sedan wash, alone", sedan_wash()),
        ("sedan wash, crew of 2", sedan_wash().with_crew(2)),
        ("motorhome, all found, alone", worst_case().with_crew(1)),
        ("motorhome, all found, crew of 2", worst_case().with_crew(2)),
        ("motorhome, all found, crew of 4", worst_case()),
    ] {
        group.bench_function(name, |b| b.iter(|| planned(&case)));
    }
    group.finish();
}

criterion_group!(plan, whole);
criterion_main!(plan);
