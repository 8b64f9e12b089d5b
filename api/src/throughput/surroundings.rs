//! What a week has beside its jobs: hours, travel, reminders, near misses, what was used up.

use super::period::Period;
use crate::day;
use crate::db::people::{self, WorkDay};
use crate::db::{Db, arrivals, customers, jobs, near_misses, reminders, van_checks};
use crate::error::ApiError;
use crate::plan_input::zone_of;
use chrono::{Datelike, Days, NaiveDate, TimeDelta};
use domain::handbook::Handbook;
use domain::throughput::{JobFigures, ReminderCounts, Wear, WeekFacts};
use std::collections::{BTreeMap, BTreeSet};

/// A booking within this time after a reminder is taken to come of it (common practice: two weeks, then silence).
const BOOKED_WITHIN: TimeDelta = TimeDelta::days(14);
/// More people than any shop has.
const ALL: i64 = 10_000;

/// Monday and crew.
type CrewWeek = (NaiveDate, String);

fn monday(day: NaiveDate) -> NaiveDate {
    Period::week(day).from
}

/// Hours, travel and wear of each crew's weeks, by the jobs that it finished.
pub fn of_crews(
    db: &mut Db<'_>,
    handbook: &Handbook,
    period: Period,
    jobs: &[JobFigures],
) -> Result<Vec<WeekFacts>, ApiError> {
    let mut present = present(db, jobs)?;
    let mut travel = travel(db, period, jobs)?;
    let mut wear = wear(db, handbook, period)?;
    let mut weeks: BTreeSet<CrewWeek> = present.keys().chain(travel.keys()).cloned().collect();
    weeks.extend(wear.keys().cloned());
    let facts = weeks.into_iter().map(|key| WeekFacts {
        present_minutes: present.remove(&key).flatten(),
        travel_minutes: travel.remove(&key).flatten(),
        wear: wear.remove(&key).unwrap_or_default(),
        week_on: key.0,
        crew: key.1,
        ..WeekFacts::default()
    });
    Ok(facts.collect())
}

/// Person-minutes that the people were there for on the days they worked, by their hours of today; none where somebody
/// has no fixed hours. Who went with two crews on a day is shared between them.
fn present(db: &mut Db<'_>, jobs: &[JobFigures]) -> Result<BTreeMap<CrewWeek, Option<f64>>, ApiError> {
    let people = people::list(db, None, ALL)?;
    let hours: BTreeMap<String, Vec<WorkDay>> =
        people.into_iter().map(|person| (person.id.to_string(), person.fields.hours.0)).collect();
    let mut days: BTreeMap<(NaiveDate, &str), BTreeSet<&str>> = BTreeMap::new();
    for job in jobs.iter().filter(|job| job.business.finished) {
        for technician in &job.technicians {
            days.entry((job.business.on, technician)).or_default().insert(&job.crew);
        }
    }
    let mut present: BTreeMap<CrewWeek, Option<f64>> = BTreeMap::new();
    for ((on, technician), crews) in days {
        let minutes = hours.get(technician).and_then(|week| minutes_on(week, on));
        for crew in &crews {
            let sum = present.entry((monday(on), (*crew).to_owned())).or_insert(Some(0.0));
            *sum = sum.zip(minutes).map(|(sum, minutes)| sum + minutes / crews.len() as f64);
        }
    }
    Ok(present)
}

/// Working minutes of a day; none for who has no fixed hours.
pub fn minutes_on(week: &[WorkDay], on: NaiveDate) -> Option<f64> {
    let weekday = on.weekday().number_from_monday();
    let today = week.iter().filter(|day| u32::from(day.weekday) == weekday);
    let minutes = today.map(|day| (day.to - day.from).num_seconds() as f64 / 60.0).sum();
    (!week.is_empty()).then_some(minutes)
}

/// Person-minutes on the road; none where a finished job has no travel recorded.
fn travel(
    db: &mut Db<'_>,
    period: Period,
    jobs: &[JobFigures],
) -> Result<BTreeMap<CrewWeek, Option<f64>>, ApiError> {
    let driven: BTreeMap<String, f64> = arrivals::travel(db, period.from, period.to)?
        .into_iter()
        .map(|(job, minutes)| (job.to_string(), minutes))
        .collect();
    let mut travel: BTreeMap<CrewWeek, Option<f64>> = BTreeMap::new();
    for job in jobs.iter().filter(|job| job.business.finished) {
        let people = job.technicians.len().max(1) as f64;
        let sum = travel.entry((monday(job.business.on), job.crew.clone())).or_insert(Some(0.0));
        *sum = sum.zip(driven.get(&job.job)).map(|(sum, minutes)| sum + minutes * people);
    }
    Ok(travel)
}

fn wear(
    db: &mut Db<'_>,
    handbook: &Handbook,
    period: Period,
) -> Result<BTreeMap<CrewWeek, BTreeMap<String, Wear>>, ApiError> {
    let mut wear: BTreeMap<CrewWeek, BTreeMap<String, Wear>> = BTreeMap::new();
    for check in van_checks::between(db, period.from, period.to)? {
        let week = wear.entry((monday(check.checked_on), check.van.to_string())).or_default();
        for counted in check.document.0.items {
            let unit = if handbook.product(&counted.item).is_some() { "ml" } else { "pieces" };
            let sum = week.entry(counted.item).or_default();
            *sum = Wear { used: sum.used + counted.gone, left: Some(counted.left), unit: unit.to_owned() };
        }
    }
    Ok(wear)
}

/// Reminders and near misses of each week; they are nobody's crew's.
pub fn of_shop(db: &mut Db<'_>, period: Period) -> Result<Vec<WeekFacts>, ApiError> {
    let mut reminders = reminder_counts(db, period)?;
    let mut near_misses: BTreeMap<NaiveDate, u32> = BTreeMap::new();
    for on in near_misses::days(db, period.from, period.to)? {
        *near_misses.entry(monday(on)).or_default() += 1;
    }
    let mondays = monday(period.from).iter_weeks().take_while(|monday| *monday <= period.to);
    let facts = mondays.map(|week_on| WeekFacts {
        week_on,
        reminders: Some(reminders.remove(&week_on).unwrap_or_default()),
        near_misses: Some(near_misses.remove(&week_on).unwrap_or(0)),
        ..WeekFacts::default()
    });
    Ok(facts.collect())
}

/// By Monday: reminders of upkeep sent, those that a booking of the customer followed, and customers who stopped them.
fn reminder_counts(db: &mut Db<'_>, period: Period) -> Result<BTreeMap<NaiveDate, ReminderCounts>, ApiError> {
    let zone = zone_of(db, None)?;
    let (begin, end) = day::span(period.from, period.to, zone);
    let mut booked: BTreeMap<_, Vec<_>> = BTreeMap::new();
    for (customer, at) in jobs::booked_between(db, begin, end.plus(BOOKED_WITHIN))? {
        booked.entry(customer).or_default().push(at);
    }
    let mut counts: BTreeMap<NaiveDate, ReminderCounts> = BTreeMap::new();
    for (customer, at) in reminders::sent_between(db, begin, end)? {
        let sum = counts.entry(monday(at.local(zone).date())).or_default();
        let followed = |booked: &Vec<_>| booked.iter().any(|b| at <= *b && *b <= at.plus(BOOKED_WITHIN));
        sum.sent += 1;
        sum.booked += u32::from(booked.get(&customer).is_some_and(followed));
    }
    let stopped: BTreeSet<_> = customers::stopped_between(db, begin, end)?
        .into_iter()
        .map(|(customer, at)| (monday(at.local(zone).date()), customer))
        .collect();
    for (week_on, _) in stopped {
        counts.entry(week_on).or_default().stopped += 1;
    }
    Ok(counts)
}

/// The day before a number of weeks.
pub fn weeks_before(day: NaiveDate, weeks: u64) -> NaiveDate {
    day.checked_sub_days(Days::new(7 * weeks)).unwrap_or(day)
}
