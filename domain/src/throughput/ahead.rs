//! The week ahead: how much work is booked and due, how sure that is, and where another hour or pair of hands pays.

use crate::plan::{Uncertain, Z90};
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF, Normal};
use std::collections::BTreeMap;
use utoipa::ToSchema;

/// Jobs of one week go fast or slow together a little, by weather and season: correlation between any two of them
/// (assumption).
const TOGETHER: f64 = 0.1;
/// Gains that are told, at most.
const MOST_GAINS: usize = 5;
/// Smaller gains are not worth a call, person-minutes (assumption).
const LEAST_GAIN_MIN: f64 = 5.0;
const HOUR_MIN: f64 = 60.0;

/// What is known of the week to come.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct AheadInput {
    pub from: NaiveDate,
    pub to: NaiveDate,
    pub jobs: Vec<BookedJob>,
    pub upkeep: Vec<DueUpkeep>,
    pub hours: Vec<CrewDay>,
    /// Half the parallel part times this is what two people need (handbook factor `second_person_overhead`).
    pub second_person_overhead: f64,
}

/// A job with an appointment in the week.
#[derive(Debug, Clone, PartialEq)]
pub struct BookedJob {
    pub job: String,
    pub on: NaiveDate,
    /// Empty while no crew is set.
    pub crew: String,
    /// Person-minutes of the plan's or quote's totals.
    pub expected_minutes: f64,
    pub p50_minutes: f64,
    pub p90_minutes: f64,
    /// People set to it.
    pub people: u32,
    /// Share of the work that only one can do at a time (handbook `packages.serial_share`), 0 to 1.
    pub serial_share: f64,
}

/// A vehicle whose upkeep falls due in the week and that has no appointment.
#[derive(Debug, Clone, PartialEq)]
pub struct DueUpkeep {
    pub vehicle: String,
    /// Chance that it becomes a job this week, 0 to 1: of the shop's own reminders that led to a booking.
    pub chance: f64,
    pub expected_minutes: f64,
    pub p50_minutes: f64,
    pub p90_minutes: f64,
}

/// A crew's working time on one day, travel and breaks taken off.
#[derive(Debug, Clone, PartialEq)]
pub struct CrewDay {
    pub crew: String,
    pub on: NaiveDate,
    /// Person-minutes.
    pub minutes: f64,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Ahead {
    pub from: NaiveDate,
    pub to: NaiveDate,
    /// The shop's week: booked jobs and due upkeep together.
    pub week: Load,
    pub booked: Load,
    pub upkeep: Load,
    /// By day, then crew.
    pub days: Vec<DayLoad>,
    /// Where one more person-hour saves the most expected overtime, the most first.
    pub an_hour_more: Vec<Gain>,
    /// Where a second pair of hands does, on jobs that one person is set to.
    pub a_second_pair_of_hands: Vec<Gain>,
    pub cautions: Vec<String>,
}

/// Person-minutes of work against the hours for it.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Load {
    /// Jobs, or for upkeep the expected number of them.
    pub jobs: f64,
    pub expected_minutes: f64,
    pub p50_minutes: f64,
    pub p90_minutes: f64,
    /// Person-minutes that the crews are there for.
    pub available_minutes: f64,
    /// Chance that the work does not fit, 0 to 1.
    pub chance_over: f64,
    /// Person-minutes beyond the hours, on average over the weeks or days that could come.
    pub expected_over_minutes: f64,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct DayLoad {
    pub on: NaiveDate,
    /// Empty for jobs that no crew is set to.
    pub crew: String,
    pub load: Load,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Gain {
    pub on: NaiveDate,
    pub crew: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub job: Option<String>,
    /// Expected overtime saved, person-minutes.
    pub saved_minutes: f64,
    pub text: String,
}

pub fn look_ahead(input: &AheadInput) -> Ahead {
    let booked: Vec<Part> = input.jobs.iter().map(Part::of_job).collect();
    let upkeep: Vec<Part> = input.upkeep.iter().map(Part::of_upkeep).collect();
    let all: Vec<Part> = booked.iter().chain(&upkeep).copied().collect();
    let hours = input.hours.iter().map(|day| usable(day.minutes)).sum();
    let days = days(input);
    Ahead {
        from: input.from,
        to: input.to,
        week: load(&all, hours),
        booked: load(&booked, hours),
        upkeep: load(&upkeep, hours),
        an_hour_more: an_hour_more(&days),
        a_second_pair_of_hands: a_second_pair(input, &days),
        cautions: cautions(input),
        days: days.into_iter().map(|day| DayLoad { on: day.on, crew: day.crew, load: day.load }).collect(),
    }
}

/// A piece of work that may come.
#[derive(Clone, Copy)]
struct Part {
    chance: f64,
    mean: f64,
    variance: f64,
}

impl Part {
    fn new(chance: f64, expected: f64, p50: f64, p90: f64) -> Part {
        let (mean, chance) = (usable(expected), chance.clamp(0.0, 1.0));
        let width = if p50 > 0.0 && p90 > p50 { (p90 / p50).ln() / Z90 } else { 0.0 };
        let own = mean * mean * (width * width).exp_m1();
        // A thing that comes or not: the variance of a mixture with nothing.
        Part { chance, mean: chance * mean, variance: chance * own + chance * (1.0 - chance) * mean * mean }
    }

    fn of_job(job: &BookedJob) -> Part {
        Part::new(1.0, job.expected_minutes, job.p50_minutes, job.p90_minutes)
    }

    fn of_upkeep(due: &DueUpkeep) -> Part {
        Part::new(due.chance, due.expected_minutes, due.p50_minutes, due.p90_minutes)
    }
}

/// The sum of the parts as a lognormal with the same mean and variance.
fn load(parts: &[Part], available_minutes: f64) -> Load {
    let mean: f64 = parts.iter().map(|part| part.mean).sum();
    let variances: f64 = parts.iter().map(|part| part.variance).sum();
    let deviations: f64 = parts.iter().map(|part| part.variance.sqrt()).sum();
    let variance = (1.0 - TOGETHER) * variances + TOGETHER * deviations * deviations;
    let sum = Uncertain::of_moments(mean, variance);
    let (chance_over, expected_over_minutes) = over(sum, available_minutes);
    Load {
        jobs: parts.iter().map(|part| part.chance).sum(),
        expected_minutes: mean,
        p50_minutes: sum.p50,
        p90_minutes: sum.p90,
        available_minutes,
        chance_over,
        expected_over_minutes,
    }
}

/// Chance that a lognormal exceeds a limit, and by how much it does on average (the closed form of option pricing:
/// Black 1976, Journal of Financial Economics 3:167).
fn over(load: Uncertain, limit: f64) -> (f64, f64) {
    let width = if load.p50 > 0.0 { (load.p90 / load.p50).ln() / Z90 } else { 0.0 };
    if load.expected <= 0.0 {
        return (0.0, 0.0);
    }
    if limit <= 0.0 {
        return (1.0, load.expected);
    }
    let Some(normal) = Normal::new(0.0, 1.0).ok().filter(|_| width > 1e-9) else {
        let beyond = (load.expected - limit).max(0.0);
        return (if beyond > 0.0 { 1.0 } else { 0.0 }, beyond);
    };
    let near = ((load.p50 / limit).ln()) / width;
    let chance = normal.cdf(near);
    (chance, (load.expected * normal.cdf(near + width) - limit * chance).max(0.0))
}

struct Day<'a> {
    on: NaiveDate,
    crew: String,
    jobs: Vec<&'a BookedJob>,
    load: Load,
}

fn days(input: &AheadInput) -> Vec<Day<'_>> {
    let mut days: BTreeMap<(NaiveDate, &str), (Vec<&BookedJob>, f64)> = BTreeMap::new();
    for job in &input.jobs {
        days.entry((job.on, &job.crew)).or_default().0.push(job);
    }
    for day in &input.hours {
        days.entry((day.on, &day.crew)).or_default().1 += usable(day.minutes);
    }
    let each = days.into_iter().map(|((on, crew), (jobs, minutes))| {
        let parts: Vec<Part> = jobs.iter().copied().map(Part::of_job).collect();
        Day { on, crew: crew.to_owned(), load: load(&parts, minutes), jobs }
    });
    each.collect()
}

fn an_hour_more(days: &[Day]) -> Vec<Gain> {
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
fn a_second_pair(input: &AheadInput, days: &[Day]) -> Vec<Gain> {
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

fn cautions(input: &AheadInput) -> Vec<String> {
    let mut cautions = Vec::new();
    let lost = input.jobs.iter().filter(|job| job.crew.is_empty()).count();
    if lost > 0 {
        cautions
            .push(format!("{lost} booked jobs have no crew yet: they are in the week, in no crew's day."));
    }
    if input.hours.is_empty() {
        cautions.push("No working hours are known: every job looks like overtime.".into());
    }
    if !input.upkeep.is_empty() {
        cautions
            .push("Upkeep that falls due is counted by the chance that it is booked, not as a job.".into());
    }
    cautions.push("Weather is not in it: rain and heat move jobs, they seldom make them vanish.".into());
    cautions
}

/// Minutes that can be counted.
fn usable(minutes: f64) -> f64 {
    if minutes.is_finite() { minutes.max(0.0) } else { 0.0 }
}
