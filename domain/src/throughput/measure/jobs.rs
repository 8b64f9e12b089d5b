//! What is measured of jobs alone.

use super::{LEAST_JOBS, Measure, Shown, Span, measure, middle, rate, ratio, show};
use crate::throughput::job::JobFigures;
use crate::throughput::statistics::{median, median_interval, quantile};
use chrono::NaiveDate;

/// Days after which a job is known not to have come back (common practice).
const REWORK_DAYS: u32 = 14;

/// What is measured of jobs alone, whatever they are grouped by.
pub fn of_jobs(jobs: &[&JobFigures], as_of: NaiveDate) -> Vec<Measure> {
    let done: Vec<&JobFigures> = jobs.iter().copied().filter(|job| job.business.finished).collect();
    let sound: Vec<&JobFigures> = done.iter().copied().filter(|job| job.has_sound_minutes()).collect();
    let work: Vec<_> =
        sound.iter().filter(|j| j.weighted_m2 > 0.0).map(|j| (j.minutes, j.weighted_m2)).collect();
    let steps: u64 = done.iter().map(|job| u64::from(job.steps)).sum();
    let passes: u64 = done.iter().map(|job| u64::from(job.first_passes)).sum();
    let due: Vec<&JobFigures> = done.iter().copied().filter(|job| is_past(job, as_of)).collect();
    let again = due.iter().filter(|job| job.business.reworked_after_days.is_some_and(|d| d <= REWORK_DAYS));
    vec![
        ratio("person_minutes_per_weighted_m2", &work, None),
        plan_error(&sound),
        per_m2("water_per_m2", &done, |job| job.water_l, |job| job.planned_water_l),
        per_m2("product_per_m2", &done, |job| job.product_ml, |job| job.planned_product_ml),
        Measure {
            median: first_passes(&done),
            ..rate("first_pass_rate", passes, steps, done.len(), "no steps were recorded")
        },
        loops(&done, steps),
        rate(
            "rework_within_14_days",
            again.count() as u64,
            due.len() as u64,
            due.len(),
            "no job was finished at least 14 days ago",
        ),
    ]
}

fn is_past(job: &JobFigures, as_of: NaiveDate) -> bool {
    (as_of - job.business.on).num_days() >= i64::from(REWORK_DAYS)
}

fn per_m2(
    name: &str,
    jobs: &[&JobFigures],
    used: fn(&JobFigures) -> Option<f64>,
    planned: fn(&JobFigures) -> Option<f64>,
) -> Measure {
    let known = || jobs.iter().filter(|job| job.area_m2 > 0.0 && used(job).is_some());
    let pairs: Vec<_> = known().filter_map(|job| Some((used(job)?, job.area_m2))).collect();
    let norms: Vec<_> = known().filter_map(|job| Some((planned(job)?, job.area_m2))).collect();
    let (norm, area) = norms.iter().fold((0.0, 0.0), |(a, b), p| (a + p.0, b + p.1));
    // Half a norm is none: it must speak of the same jobs.
    let norm = (!norms.is_empty() && norms.len() == pairs.len()).then(|| norm / area);
    Measure { norm, ..ratio(name, &pairs, None) }
}

fn plan_error(jobs: &[&JobFigures]) -> Measure {
    let planned = || jobs.iter().filter(|job| job.planned_minutes > 0.0);
    let mut each: Vec<f64> = planned().map(|job| job.actual_minutes / job.planned_minutes).collect();
    each.sort_by(f64::total_cmp);
    let shown = median(&each).map_or_else(
        || Shown::none("no job had planned steps with sound times"),
        |value| show(&each, value, median_interval(&each)),
    );
    let span_80 = (each.len() >= LEAST_JOBS)
        .then(|| Some(Span { low: quantile(&each, 0.1)?, high: quantile(&each, 0.9)? }))
        .flatten();
    let count = each.len() as f64;
    Measure {
        median: middle(&each),
        span_80,
        norm: Some(1.0),
        ..measure("actual_to_planned", shown, each.len(), (count, count))
    }
}

fn loops(jobs: &[&JobFigures], steps: u64) -> Measure {
    let pairs: Vec<_> = jobs.iter().map(|job| (f64::from(job.loops), f64::from(job.steps))).collect();
    Measure { count: steps as usize, ..ratio("loops_per_step", &pairs, Some("no steps were recorded")) }
}

/// Of the jobs one by one.
fn first_passes(jobs: &[&JobFigures]) -> Option<f64> {
    let worked = jobs.iter().filter(|job| job.steps > 0);
    let mut each: Vec<f64> = worked.map(|job| f64::from(job.first_passes) / f64::from(job.steps)).collect();
    each.sort_by(f64::total_cmp);
    middle(&each)
}
