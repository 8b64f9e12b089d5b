//! The measures of a set of jobs and of what the week has beside them, each with its count and denominator.

mod business;
mod jobs;

use super::catalogue::definition;
use super::statistics::{Interval, median, ratio_of_sums_interval, wilson};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

pub(super) use business::of_business;
pub(super) use jobs::of_jobs;

/// Below this many a range is shown and no number (common practice).
pub const LEAST_JOBS: usize = 8;
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Measure {
    pub name: String,
    pub title: String,
    /// In one sentence.
    pub definition: String,
    pub unit: String,
    pub shown: Shown,
    /// The middle one of the jobs taken one by one, where each has a value and there are eight.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub median: Option<f64>,
    /// The middle 80 % of jobs, where that says more than the number alone.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub span_80: Option<Span>,
    /// What plans or the handbook expect for the same jobs.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub norm: Option<f64>,
    /// How many things stand behind it: those that had the data.
    pub count: usize,
    /// What those things are.
    pub counted: String,
    pub numerator: f64,
    /// What was divided by, in `denominator_unit`.
    pub denominator: f64,
    pub denominator_unit: String,
    pub misleads: String,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Span {
    pub low: f64,
    pub high: f64,
}

/// A number with its 95 % interval where there is enough behind it, else the lowest and highest or, for a rate, its
/// 95 % interval alone.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Shown {
    Number {
        value: f64,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        low: Option<f64>,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        high: Option<f64>,
    },
    Range {
        low: f64,
        high: f64,
    },
    NoData {
        reason: String,
    },
}

impl Shown {
    pub(super) fn number(value: f64, interval: Option<Interval>) -> Shown {
        Shown::Number { value, low: interval.map(|i| i.low), high: interval.map(|i| i.high) }
    }

    pub(super) fn none(reason: &str) -> Shown {
        Shown::NoData { reason: reason.to_owned() }
    }
}

/// Sum over sum, so that a large vehicle weighs more than a small one.
fn ratio(name: &str, pairs: &[(f64, f64)], no_data: Option<&str>) -> Measure {
    let (above, below) = pairs.iter().fold((0.0, 0.0), |(a, b), p| (a + p.0, b + p.1));
    let mut each: Vec<f64> = pairs.iter().filter(|p| p.1 > 0.0).map(|p| p.0 / p.1).collect();
    each.sort_by(f64::total_cmp);
    let shown = if below > 0.0 {
        show(&each, above / below, positive(ratio_of_sums_interval(pairs)))
    } else {
        Shown::none(no_data.unwrap_or("no job had the data"))
    };
    Measure { median: middle(&each), ..measure(name, shown, pairs.len(), (above, below)) }
}

/// `things` are what must be eight for a number: jobs, where trials within one job are alike.
pub(super) fn rate(name: &str, hits: u64, trials: u64, things: usize, no_data: &str) -> Measure {
    let shown = match wilson(hits, trials) {
        None => Shown::none(no_data),
        Some(Interval { low, high }) if things < LEAST_JOBS => Shown::Range { low, high },
        interval => Shown::number(hits as f64 / trials as f64, interval),
    };
    measure(name, shown, trials as usize, (hits as f64, trials as f64))
}

fn measure(name: &str, shown: Shown, count: usize, (numerator, denominator): (f64, f64)) -> Measure {
    let known = definition(name);
    let text = |of: fn(&super::catalogue::MeasureDefinition) -> &'static str| {
        known.map(of).unwrap_or_default().to_owned()
    };
    Measure {
        name: name.to_owned(),
        title: text(|d| d.title),
        definition: text(|d| d.definition),
        unit: text(|d| d.unit),
        shown,
        median: None,
        span_80: None,
        norm: None,
        count,
        counted: text(|d| d.counted),
        numerator,
        denominator,
        denominator_unit: text(|d| d.denominator_unit),
        misleads: text(|d| d.misleads),
    }
}

/// Of sorted values.
pub(super) fn show(sorted: &[f64], value: f64, interval: Option<Interval>) -> Shown {
    match (sorted.first(), sorted.last()) {
        _ if sorted.len() >= LEAST_JOBS => Shown::number(value, interval),
        (Some(low), Some(high)) => Shown::Range { low: *low, high: *high },
        _ => Shown::none("no job had the data"),
    }
}

/// Of sorted values; of few it would tell more of one than of all.
fn middle(sorted: &[f64]) -> Option<f64> {
    median(sorted).filter(|_| sorted.len() >= LEAST_JOBS)
}

/// Amounts are never below nothing.
fn positive(interval: Option<Interval>) -> Option<Interval> {
    interval.map(|i| Interval { low: i.low.max(0.0), ..i })
}
