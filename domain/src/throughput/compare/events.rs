//! Counts of the same jobs: indirect standardisation, with the spread between jobs beyond Poisson's as a factor on the
//! variance (quasi-likelihood).

use super::funnel::{Seen, Spread};
use super::{Alike, Comparison, CrewCompared};
use crate::throughput::job::JobFigures;
use crate::throughput::measure::{LEAST_JOBS, Shown};
use crate::throughput::statistics::{CountBelief, Interval, poisson_interval};
use chrono::NaiveDate;
use std::collections::BTreeMap;

/// A count that a job may add to: its events and what they are out of.
struct Events<'a> {
    job: &'a JobFigures,
    events: f64,
    of: f64,
}

/// What a crew had, and what all crews have on the same jobs.
#[derive(Debug, Clone, Copy, Default)]
struct Sum {
    jobs: usize,
    events: f64,
    expected: f64,
}

pub(super) fn failed_checks(done: &[&JobFigures]) -> Comparison {
    let events = done.iter().filter(|job| job.steps > 0).map(|job| Events {
        job,
        events: f64::from(job.steps.saturating_sub(job.first_passes)),
        of: f64::from(job.steps),
    });
    counted("failed_checks_index", events.collect(), "the failed checks")
}

pub(super) fn rework(done: &[&JobFigures], as_of: NaiveDate) -> Comparison {
    let past = done.iter().filter(|job| (as_of - job.business.on).num_days() >= 14);
    let events = past.map(|job| Events {
        job,
        events: if job.business.reworked_after_days.is_some_and(|days| days <= 14) { 1.0 } else { 0.0 },
        of: 1.0,
    });
    counted("rework_index", events.collect(), "the rework")
}

fn counted(name: &str, all: Vec<Events>, what: &'static str) -> Comparison {
    let alike = Alike::of(all.iter().map(|e| e.job));
    let (by_crew, factor) = sums(&alike, &all);
    let groups: Vec<_> = by_crew.values().map(|sum| (sum.events / factor, sum.expected / factor)).collect();
    let prior = CountBelief::of_ratios(&groups);
    let sizes = by_crew
        .values()
        .filter(|sum| sum.expected > 0.0)
        .map(|sum| (sum.jobs, sum.events / sum.expected - 1.0, Some(factor / sum.expected)));
    let spread = Spread::of_counts(factor, sizes);
    let crews = by_crew.iter().map(|(crew, sum)| of_crew(crew, *sum, factor, prior, spread, what));
    Comparison::of(name, crews.collect(), spread, &alike)
}

/// By crew; and how many times Poisson's variance single jobs have, at least 1.
fn sums<'a>(alike: &Alike<'a>, all: &[Events<'a>]) -> (BTreeMap<&'a str, Sum>, f64) {
    let by_job: BTreeMap<&str, &Events> = all.iter().map(|e| (e.job.job.as_str(), e)).collect();
    let mut by_crew: BTreeMap<&str, Sum> = BTreeMap::new();
    let (mut chi2, mut degrees) = (0.0, 0.0);
    for jobs in alike.strata.values() {
        let own: Vec<&Events> = jobs.iter().filter_map(|job| by_job.get(job.job.as_str()).copied()).collect();
        let rate = own.iter().map(|e| e.events).sum::<f64>() / own.iter().map(|e| e.of).sum::<f64>();
        for event in &own {
            let expected = rate * event.of;
            let crew = by_crew.entry(&event.job.crew).or_default();
            crew.jobs += 1;
            crew.events += event.events;
            crew.expected += expected;
            if expected > 0.0 {
                chi2 += (event.events - expected).powi(2) / expected;
            }
        }
        degrees += if rate > 0.0 { own.len() as f64 - 1.0 } else { 0.0 };
    }
    (by_crew, if degrees > 0.0 { (chi2 / degrees).max(1.0) } else { 1.0 })
}

fn of_crew(
    crew: &str,
    Sum { jobs, events, expected }: Sum,
    factor: f64,
    prior: Option<CountBelief>,
    spread: Spread,
    what: &'static str,
) -> CrewCompared {
    // Without any event all crews are alike.
    let belief = prior.map(|prior| prior.after(events / factor, expected / factor));
    let interval = poisson_interval(events as u64).filter(|_| expected > 0.0);
    let interval = interval.map(|i| Interval { low: i.low / expected, high: i.high / expected });
    let value = events / expected;
    let ratio = match interval {
        None => Shown::none("nothing of the kind at any crew on these jobs"),
        Some(Interval { low, high }) if jobs < LEAST_JOBS => Shown::Range { low, high },
        Some(Interval { low, high }) => Shown::Number { value, low: Some(low), high: Some(high) },
    };
    let shrunk = [0.5, 0.1, 0.9].map(|p| belief.and_then(|b| b.quantile(p)).unwrap_or(1.0));
    Seen { crew, jobs, size: expected, value, ratio, shrunk, what }.compared(spread)
}
