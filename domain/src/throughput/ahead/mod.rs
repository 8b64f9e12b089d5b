//! The week ahead: how much work is booked and due, how sure that is, and where another hour or pair of hands pays.

mod gains;
mod load;

use chrono::NaiveDate;
use gains::{a_second_pair, an_hour_more};
use load::{Part, load, usable};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use utoipa::ToSchema;

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
