//! What the order of the steps and their split among the crew cost: `cargo bench -p domain --bench crew`.
//!
//! Aims on one core: an answer within 5 ms for 15 to 40 activities (`--example crew_jobs` shows how many are proved).

mod crew_jobs;

use criterion::{BenchmarkId, Criterion, criterion_group, criterion_main};
use domain::handbook::{Handbook, PairKind};
use domain::plan::crew::{Budget, schedule};
use domain::plan::{Constraint, arrange};
use std::hint::black_box;

/// All steps of the handbook with all its pairs: more than any one plan has.
fn order(bench: &mut Criterion) {
    let handbook = Handbook::standard();
    let place = |id: &str| handbook.steps.place(id).unwrap_or(usize::MAX);
    let constraints: Vec<Constraint> = handbook
        .precedence
        .iter()
        .filter(|pair| pair.kind != PairKind::Forbidden)
        .map(|pair| {
            let (before, after) = (place(&pair.before), place(&pair.after));
            let cost = (pair.kind == PairKind::Soft).then_some(5.0);
            Constraint { pair: &pair.id, before, after, cost }
        })
        .collect();
    let steps = handbook.steps.len();
    bench.bench_function("order of every step", |b| b.iter(|| arrange(steps, black_box(&constraints))));
}

fn split(bench: &mut Criterion) {
    type Allowed = fn(usize) -> Budget;
    let budgets: [(_, Allowed); 3] = [
        ("crew, genetic answer", |activities| Budget { nodes: 0, ..Budget::quick(activities) }),
        ("crew, quick", Budget::quick),
        ("crew, thorough", |_| Budget::THOROUGH),
    ];
    for (name, budget) in budgets {
        let mut group = bench.benchmark_group(name);
        group.sample_size(10);
        for (activities, technicians) in [(15, 2), (25, 2), (40, 3), (40, 4)] {
            let problem = crew_jobs::job(activities, technicians, 1);
            let id = BenchmarkId::from_parameter(format!("{activities} x {technicians}"));
            group.bench_function(id, |b| b.iter(|| schedule(black_box(&problem), budget(activities), 1)));
        }
        group.finish();
    }
}

criterion_group!(crew, order, split);
criterion_main!(crew);
