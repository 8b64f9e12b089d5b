//! What a plan costs: `cargo bench -p domain --bench plan`.
//!
//! Aims on one core: a typical sedan wash 2 ms, the dearest plan 10 ms at the median and 50 ms at the 99th
//! percentile (`--example plan_cost` shows percentiles and the curve), 1,000 what-ifs of one job 2 s.

#[path = "../tests/plan_cases/mod.rs"]
mod plan_cases;

use chrono::Duration;
use criterion::{Criterion, criterion_group, criterion_main};
use domain::plan::{JobPlan, SheetHead, Start, job_sheet, plan_job, preview, sheet_html, timeline};
use plan_cases::{Case, hot_day, sedan_wash, worst_case};
use std::hint::black_box;
use std::num::NonZeroUsize;

#[expect(clippy::expect_used, reason = "a bench that cannot plan its own job has nothing to measure")]
fn planned(case: &Case) -> JobPlan {
    plan_job(&black_box(case).input()).expect("the bench's own job can be planned")
}

fn whole(bench: &mut Criterion) {
    let mut group = bench.benchmark_group("plan");
    for (name, case) in [
        ("sedan wash, alone", sedan_wash()),
        ("sedan wash, crew of 2", sedan_wash().with_crew(2)),
        ("motorhome, all found, alone", worst_case().with_crew(1)),
        ("motorhome, all found, crew of 2", worst_case().with_crew(2)),
        ("motorhome, all found, crew of 4", worst_case()),
        ("motorhome, all found, hot day, crew of 4", hot_day(worst_case())),
    ] {
        group.bench_function(name, |b| b.iter(|| planned(&case)));
    }
    group.finish();
}

/// A thousand starts, a minute apart.
fn what_ifs(bench: &mut Criterion) {
    let mut group = bench.benchmark_group("1000 what-ifs");
    group.sample_size(10);
    for (name, case) in
        [("sedan wash, alone", sedan_wash()), ("sedan wash, crew of 2", sedan_wash().with_crew(2))]
    {
        let starts: Vec<_> = (0..1000)
            .map(|minute| Start { at: case.start + Duration::minutes(minute), ..Start::of(&case.input()) })
            .collect();
        group.bench_function(name, |b| {
            b.iter(|| preview(&case.input(), black_box(&starts), NonZeroUsize::MIN))
        });
    }
    group.finish();
}

fn forms(bench: &mut Criterion) {
    let plan = planned(&worst_case());
    let head = SheetHead { job: "1", vehicle: "white", place: "here", crew: &[], van: "V1" };
    let mut group = bench.benchmark_group("forms of the dearest plan");
    group.bench_function("plain text", |b| b.iter(|| job_sheet(&head, black_box(&plan))));
    group.bench_function("paper", |b| b.iter(|| sheet_html(&head, black_box(&plan))));
    group.bench_function("timeline", |b| b.iter(|| timeline(black_box(&plan))));
    group.finish();
}

criterion_group!(plan, whole, what_ifs, forms);
criterion_main!(plan);
