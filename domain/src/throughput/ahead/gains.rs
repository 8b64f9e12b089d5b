//! Where another hour or a second pair of hands saves most.

use super::load::{Part, load, usable};
use super::{AheadInput, Day, Gain};

/// Gains that are told, at most.
const MOST_GAINS: usize = 5;
/// Smaller gains are not worth a call, person-minutes (assumption).
const LEAST_GAIN_MIN: f64 = 5.0;
const HOUR_MIN: f64 = 60.0;

pub(super) fn an_hour_more(days: &[Day]) -> Vec<Gain> {
    let gains = days.iter().filter(|day| !day.crew.is_empty()).map(|day| {
        let parts: Vec<Part> = day.jobs.iter().copied().map(Part::of_job).collect();
        let longer = load(&parts, day.load.available_minutes + HOUR_MIN);
        let saved_minutes = day.load.expected_over_minutes - longer.expected_over_minutes;
        let text = format!(
            "An hour more of {} on {}: {saved_minutes:.0} minutes of overtime less on average; the day does not fit \
             with a chance of {:.0} %.",
            day.crew,
            day.on,
            day.load.chance_over * 100.0
        );
        Gain { on: day.on, crew: day.crew.clone(), job: None, saved_minutes, text }
    });
    largest(gains.collect())
}

/// The second person comes from outside the crew: what counts is the crew's own time that becomes free.
pub(super) fn a_second_pair(input: &AheadInput, days: &[Day]) -> Vec<Gain> {
    let overhead = if input.second_person_overhead > 0.0 { input.second_person_overhead } else { 1.0 };
    let mut gains = Vec::new();
    for day in days.iter().filter(|day| !day.crew.is_empty()) {
        for helped in day.jobs.iter().filter(|job| job.people == 1) {
            let serial = helped.serial_share.clamp(0.0, 1.0);
            let share = serial + (1.0 - serial) * overhead / 2.0;
            let parts: Vec<Part> = day
                .jobs
                .iter()
                .map(|job| {
                    let part = Part::of_job(job);
                    let share = if job.job == helped.job { share } else { 1.0 };
                    Part { mean: part.mean * share, variance: part.variance * share * share, ..part }
                })
                .collect();
            let shorter = load(&parts, day.load.available_minutes);
            let saved_minutes = day.load.expected_over_minutes - shorter.expected_over_minutes;
            let text = format!(
                "A second pair of hands on job {} ({}, {}): {:.0} minutes of the crew's time free, {saved_minutes:.0} \
                 minutes of overtime less on average.",
                helped.job,
                day.crew,
                day.on,
                usable(helped.expected_minutes) * (1.0 - share)
            );
            let job = Some(helped.job.clone());
            gains.push(Gain { on: day.on, crew: day.crew.clone(), job, saved_minutes, text });
        }
    }
    largest(gains)
}

fn largest(mut gains: Vec<Gain>) -> Vec<Gain> {
    gains.retain(|gain| gain.saved_minutes >= LEAST_GAIN_MIN);
    gains.sort_by(|a, b| b.saved_minutes.total_cmp(&a.saved_minutes).then_with(|| a.on.cmp(&b.on)));
    gains.truncate(MOST_GAINS);
    gains
}
