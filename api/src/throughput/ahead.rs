//! What the look ahead is made from: booked jobs, upkeep that falls due, hours of the crews.

use super::period::Period;
use super::reading::{NO_VAN, figures};
use super::surroundings::{minutes_on, of_shop, weeks_before};
use crate::db::jobs::{self, Job, JobStatus};
use crate::db::kinds::Id;
use crate::db::{Db, people, plans, upkeep_needs, vehicles};
use crate::error::ApiError;
use crate::plan_input::zone_of;
use crate::{day, upkeep};
use chrono::NaiveDate;
use domain::handbook::{Handbook, estimate};
use domain::inspection::Grade;
use domain::plan::Norms;
use domain::throughput::{AheadInput, BookedJob, CrewDay, DueUpkeep};
use std::collections::BTreeMap;

/// Weeks that the chance of a booking and the minutes of a due vehicle are taken from (assumption).
const WEEKS_BACK: u64 = 26;
/// Of the hours that people are there for, what is left for steps when travel, loading and breaks are taken off
/// (assumption; the sheet's travel and idle shares say what it is here).
const WORK_SHARE: f64 = 0.75;
/// Before the shop's own reminders say otherwise, one of five due vehicles becomes a job in its week (assumption); this
/// counts as much as so many reminders.
const PRIOR_CHANCE: f64 = 0.2;
const PRIOR_REMINDERS: f64 = 20.0;
/// More people than any shop has.
const ALL: i64 = 10_000;

/// Person-minutes of a job that may be more or fewer.
#[derive(Debug, Clone, Copy)]
struct Minutes {
    expected: f64,
    p50: f64,
    p90: f64,
}

/// Gathers the days from the first to the last of `period`, which lie ahead.
pub fn gather(
    db: &mut Db<'_>,
    handbook: &Handbook,
    norms: &Norms,
    period: Period,
) -> Result<AheadInput, ApiError> {
    let zone = zone_of(db, None)?;
    let (begin, end) = day::span(period.from, period.to, zone);
    let rows: Vec<Job> = jobs::of_day(db, begin, end)?;
    let open: Vec<&Job> = rows.iter().filter(|job| job.status.0 != JobStatus::Finished).collect();
    let ids: Vec<Id> = open.iter().map(|job| job.id).collect();
    let crews = jobs::technicians(db, &ids)?;
    let mut booked = Vec::with_capacity(open.len());
    for job in open {
        let minutes = minutes(db, handbook, norms, job)?;
        let package = handbook.package(&job.fields.package);
        booked.push(BookedJob {
            job: job.id.to_string(),
            on: day::day_of(job, zone),
            crew: job.van.map_or_else(|| NO_VAN.to_owned(), |van| van.to_string()),
            expected_minutes: minutes.expected,
            p50_minutes: minutes.p50,
            p90_minutes: minutes.p90,
            people: crews.get(&job.id).map_or(0, |crew| u32::try_from(crew.len()).unwrap_or(0)),
            serial_share: package.map_or(0.0, |package| package.serial_share),
        });
    }
    Ok(AheadInput {
        from: period.from,
        to: period.to,
        upkeep: due(db, handbook, period)?,
        hours: hours(db, period)?,
        jobs: booked,
        second_person_overhead: handbook.factor("second_person_overhead").unwrap_or(0.0),
    })
}

/// By the plan in force, else by the norms of the booked grade.
fn minutes(db: &mut Db<'_>, handbook: &Handbook, norms: &Norms, job: &Job) -> Result<Minutes, ApiError> {
    if let Some(plan) = plans::find(db, job.id, None)? {
        let totals = &plan.document.0.totals;
        return Ok(Minutes {
            expected: totals.person_minutes,
            p50: totals.minutes_p50,
            p90: totals.minutes_p90,
        });
    }
    let class = vehicles::find(db, job.fields.vehicle)?.ok_or(ApiError::NotFound)?.fields.document.0.class;
    let grade = u8::try_from(job.fields.booked_grade).ok().and_then(Grade::new).unwrap_or(Grade::TYPICAL);
    let norm = estimate(handbook, &job.fields.package, class, grade).map_or(0.0, |norm| norm.work_min);
    let factors = norms.of("", grade, None);
    Ok(Minutes { expected: norm * factors.expected, p50: norm * factors.p50, p90: norm * factors.p90 })
}

/// Vehicles that fall due in these days and have no appointment. What one would take is what the shop's jobs took
/// lately.
fn due(db: &mut Db<'_>, handbook: &Handbook, period: Period) -> Result<Vec<DueUpkeep>, ApiError> {
    let today = upkeep::today(db)?;
    let back = Period { from: weeks_before(today, WEEKS_BACK), to: today };
    let mut taken: Vec<f64> = figures(db, handbook, back)?
        .into_iter()
        .filter(|job| job.business.finished && job.minutes > 0.0)
        .map(|job| job.minutes)
        .collect();
    taken.sort_by(f64::total_cmp);
    if taken.is_empty() {
        return Ok(Vec::new());
    }
    let at = |share: f64| taken[((taken.len() - 1) as f64 * share).round() as usize];
    let usual =
        Minutes { expected: taken.iter().sum::<f64>() / taken.len() as f64, p50: at(0.5), p90: at(0.9) };
    let chance = chance(db, back)?;
    let due = upkeep_needs::due_between(db, period.from, period.to)?.into_iter().map(|vehicle| DueUpkeep {
        vehicle: vehicle.to_string(),
        chance,
        expected_minutes: usual.expected,
        p50_minutes: usual.p50,
        p90_minutes: usual.p90,
    });
    Ok(due.collect())
}

/// That a vehicle which falls due becomes a job, by the shop's own reminders.
fn chance(db: &mut Db<'_>, back: Period) -> Result<f64, ApiError> {
    let (mut sent, mut booked) = (PRIOR_REMINDERS, PRIOR_REMINDERS * PRIOR_CHANCE);
    for counts in of_shop(db, back)?.into_iter().filter_map(|week| week.reminders) {
        sent += f64::from(counts.sent);
        booked += f64::from(counts.booked);
    }
    Ok(booked / sent)
}

/// Hours of the people who usually go with each van.
fn hours(db: &mut Db<'_>, period: Period) -> Result<Vec<CrewDay>, ApiError> {
    let mut people = people::list(db, None, ALL)?;
    people.retain(|person| person.disabled_at.is_none());
    let mut days: BTreeMap<(NaiveDate, String), f64> = BTreeMap::new();
    for on in period.from.iter_days().take_while(|on| *on <= period.to) {
        for person in &people {
            let crew = person.fields.home_van.map_or_else(|| NO_VAN.to_owned(), |van| van.to_string());
            if let Some(minutes) = minutes_on(&person.fields.hours.0, on) {
                *days.entry((on, crew)).or_default() += minutes * WORK_SHARE;
            }
        }
    }
    days.retain(|_, minutes| *minutes > 0.0);
    Ok(days.into_iter().map(|((on, crew), minutes)| CrewDay { crew, on, minutes }).collect())
}
