//! The measures of a group of jobs, each with its definition, count and denominator.

use super::JobSum;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// Below this many jobs a range is shown and no number (common practice).
const LEAST_JOBS: usize = 8;

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Measure {
    pub name: String,
    pub definition: String,
    pub unit: String,
    pub shown: Shown,
    /// Jobs that had the data.
    pub jobs: usize,
    /// What was divided by, in `denominator_unit`.
    pub denominator: f64,
    pub denominator_unit: String,
}

/// A number where there are jobs enough, else the lowest and highest job or, for a rate, its 95 % interval.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Shown {
    Number { value: f64 },
    Range { low: f64, high: f64 },
    NoData,
}

pub(super) fn all(jobs: &[JobSum]) -> Vec<Measure> {
    let water: Vec<_> = jobs.iter().filter_map(|j| Some((j.water_l?, j.area_m2))).collect();
    let product: Vec<_> = jobs.iter().filter_map(|j| Some((j.product_ml?, j.area_m2))).collect();
    let work: Vec<_> = jobs.iter().map(|j| (j.minutes, j.weighted_m2)).collect();
    vec![
        ratio(
            "person_minutes_per_weighted_m2",
            "Person-minutes of all steps divided by area times the severity weight of the worst grade.",
            "min/m2",
            &work,
        ),
        plan_error(jobs),
        ratio("water_per_m2", "Litres of water recorded divided by the area of those jobs.", "l/m2", &water),
        ratio("product_per_m2", "Millilitres of product recorded divided by the area.", "ml/m2", &product),
        first_pass_rate(jobs),
    ]
}

/// Sum over sum, so that a large vehicle weighs more than a small one.
fn ratio(name: &str, definition: &str, unit: &str, pairs: &[(f64, f64)]) -> Measure {
    let (above, below) = pairs.iter().fold((0.0, 0.0), |(a, b), p| (a + p.0, b + p.1));
    let each: Vec<f64> = pairs.iter().filter(|p| p.1 > 0.0).map(|p| p.0 / p.1).collect();
    let shown = if below > 0.0 { show(&each, above / below) } else { Shown::NoData };
    measure(name, definition, unit, shown, each.len(), (below, "m2"))
}

fn plan_error(jobs: &[JobSum]) -> Measure {
    let planned: Vec<&JobSum> = jobs.iter().filter(|j| j.planned.1 > 0.0).collect();
    let mut each: Vec<f64> = planned.iter().map(|j| j.planned.0 / j.planned.1).collect();
    each.sort_by(f64::total_cmp);
    let shown = median(&each).map_or(Shown::NoData, |m| show(&each, m));
    let definition =
        "Median over jobs of minutes spent divided by minutes planned, on the steps that were planned.";
    measure("actual_to_planned", definition, "1", shown, each.len(), (each.len() as f64, "jobs"))
}

fn first_pass_rate(jobs: &[JobSum]) -> Measure {
    let steps: usize = jobs.iter().map(|j| j.steps).sum();
    let passed: usize = jobs.iter().map(|j| j.first_pass).sum();
    let shown = match wilson(passed, steps) {
        None => Shown::NoData,
        Some((low, high)) if jobs.len() < LEAST_JOBS => Shown::Range { low, high },
        Some(_) => Shown::Number { value: passed as f64 / steps as f64 },
    };
    let definition =
        "Steps that passed their check at once divided by all steps; it says nothing about later rework.";
    measure("first_pass_rate", definition, "1", shown, jobs.len(), (steps as f64, "steps"))
}

fn measure(
    name: &str,
    definition: &str,
    unit: &str,
    shown: Shown,
    jobs: usize,
    (denominator, denominator_unit): (f64, &str),
) -> Measure {
    Measure {
        name: name.into(),
        definition: definition.into(),
        unit: unit.into(),
        shown,
        jobs,
        denominator,
        denominator_unit: denominator_unit.into(),
    }
}

fn show(each: &[f64], value: f64) -> Shown {
    if each.len() >= LEAST_JOBS {
        return Shown::Number { value };
    }
    let low = each.iter().copied().min_by(f64::total_cmp);
    let high = each.iter().copied().max_by(f64::total_cmp);
    low.zip(high).map_or(Shown::NoData, |(low, high)| Shown::Range { low, high })
}

/// Of sorted values.
fn median(sorted: &[f64]) -> Option<f64> {
    let upper = sorted.get(sorted.len() / 2)?;
    let lower = sorted.get(sorted.len().saturating_sub(1) / 2)?;
    Some((lower + upper) / 2.0)
}

/// Wilson's 95 % interval of a rate (Newcombe 1998, Statistics in Medicine 17:857, method 3).
pub(crate) fn wilson(hits: usize, of: usize) -> Option<(f64, f64)> {
    /// 97.5 % quantile of the normal distribution.
    const Z: f64 = 1.959964;
    if of == 0 {
        return None;
    }
    let (n, rate) = (of as f64, hits as f64 / of as f64);
    let middle = (rate + Z * Z / (2.0 * n)) / (1.0 + Z * Z / n);
    let half = Z / (1.0 + Z * Z / n) * (rate * (1.0 - rate) / n + Z * Z / (4.0 * n * n)).max(0.0).sqrt();
    Some(((middle - half).max(0.0), (middle + half).min(1.0)))
}
