//! What is measured of a crew or the shop beside the work itself.

use super::{LEAST_JOBS, Measure, Shown, measure, rate, ratio};
use crate::throughput::job::{JobFigures, week_of};
use crate::throughput::statistics::{Interval, poisson_interval};
use crate::throughput::week::{ReminderCounts, WeekFacts};
use chrono::NaiveDate;
use std::collections::BTreeMap;

/// What is measured of a crew or the shop beside the work itself.
pub fn of_business(jobs: &[&JobFigures], weeks: &[&WeekFacts]) -> Vec<Measure> {
    let planned = jobs.len();
    let done = jobs.iter().filter(|job| job.business.finished).count();
    let starts: Vec<bool> = jobs.iter().filter_map(|job| job.started_on_time()).collect();
    let no_shows = jobs.iter().filter(|job| job.business.no_show).count();
    let extra: Vec<_> = jobs.iter().filter_map(|job| job.business.extra_work).collect();
    let asked: u64 = extra.iter().map(|work| u64::from(work.asked)).sum();
    let accepted: u64 = extra.iter().map(|work| u64::from(work.accepted)).sum();
    let reminders = weeks.iter().filter_map(|week| week.reminders).fold(None, |sum, week| {
        let sum: ReminderCounts = sum.unwrap_or_default();
        Some(ReminderCounts {
            sent: sum.sent + week.sent,
            booked: sum.booked + week.booked,
            stopped: sum.stopped + week.stopped,
        })
    });
    let sent = u64::from(reminders.unwrap_or_default().sent);
    let of_sent = |name, hits: u32| {
        let none =
            if reminders.is_none() { "reminders are not counted here" } else { "no reminder was sent" };
        rate(name, u64::from(hits), sent, sent as usize, none)
    };
    vec![
        rate("jobs_done", done as u64, planned as u64, planned, "no job was planned"),
        rate(
            "on_time_start",
            starts.iter().filter(|on_time| **on_time).count() as u64,
            starts.len() as u64,
            starts.len(),
            "no start was recorded",
        ),
        extra_work_asked(jobs),
        rate(
            "extra_work_accepted",
            accepted,
            asked,
            asked as usize,
            "no request for extra work was recorded",
        ),
        sent_a_week(weeks, sent),
        of_sent("reminders_booked", reminders.unwrap_or_default().booked),
        of_sent("reminders_stopped", reminders.unwrap_or_default().stopped),
        rate("no_shows", no_shows as u64, planned as u64, planned, "no job was planned"),
        time_share("travel_share", weeks, |week| week.travel_minutes),
        idle_share(jobs, weeks),
        near_misses(weeks, done),
    ]
}

/// Where nothing was asked at all, nobody may have written it down.
fn extra_work_asked(jobs: &[&JobFigures]) -> Measure {
    let asked = |job: &JobFigures| job.business.extra_work.map_or(0.0, |work| f64::from(work.asked));
    let noted = jobs.iter().any(|job| job.business.extra_work.is_some());
    let done = jobs.iter().filter(|job| noted && job.business.finished);
    let requests: Vec<_> = done.map(|job| (asked(job), 1.0)).collect();
    ratio("extra_work_asked", &requests, Some("no request for extra work was recorded"))
}

fn time_share(name: &str, weeks: &[&WeekFacts], minutes: fn(&WeekFacts) -> Option<f64>) -> Measure {
    let pairs: Vec<_> =
        weeks.iter().filter_map(|week| Some((minutes(week)?, week.present_minutes?))).collect();
    share_of_time(name, &pairs)
}

/// A share of all minutes there were is no sample: it stands without an interval, however few weeks it is of.
fn share_of_time(name: &str, pairs: &[(f64, f64)]) -> Measure {
    let (above, below) = pairs.iter().fold((0.0, 0.0), |(a, b), p| (a + p.0, b + p.1));
    let shown = if below > 0.0 {
        Shown::number(above / below, None)
    } else {
        Shown::none("the hours present are not recorded")
    };
    measure(name, shown, pairs.len(), (above, below))
}

fn idle_share(jobs: &[&JobFigures], weeks: &[&WeekFacts]) -> Measure {
    // By week and crew; the empty crew is the whole shop.
    let mut work: BTreeMap<(NaiveDate, &str), f64> = BTreeMap::new();
    for job in jobs {
        for crew in [job.crew.as_str(), ""] {
            *work.entry((week_of(job.business.on), crew)).or_default() += job.minutes;
        }
    }
    let known = weeks.iter().filter_map(|week| {
        let (present, travel) = (week.present_minutes?, week.travel_minutes?);
        let work = work.get(&(week.week_on, week.crew.as_str())).copied().unwrap_or(0.0);
        Some((present - travel - work, present))
    });
    share_of_time("idle_share", &known.collect::<Vec<_>>())
}

fn near_misses(weeks: &[&WeekFacts], done: usize) -> Measure {
    let known: Vec<u32> = weeks.iter().filter_map(|week| week.near_misses).collect();
    let reported: u64 = known.iter().map(|number| u64::from(*number)).sum();
    let per_100 = |events: f64| events / done as f64 * 100.0;
    let shown = match poisson_interval(reported) {
        _ if known.is_empty() => Shown::none("near misses are not recorded"),
        _ if done == 0 => Shown::none("no job was done"),
        Some(Interval { low, high }) if done < LEAST_JOBS => {
            Shown::Range { low: per_100(low), high: per_100(high) }
        }
        interval => Shown::number(
            per_100(reported as f64),
            interval.map(|i| Interval { low: per_100(i.low), high: per_100(i.high) }),
        ),
    };
    measure("near_misses", shown, done, (reported as f64, done as f64))
}

/// Whatever was sent was sent: a number without an interval.
fn sent_a_week(weeks: &[&WeekFacts], sent: u64) -> Measure {
    let counted = weeks.iter().filter(|week| week.reminders.is_some()).count();
    let shown = match counted {
        0 => Shown::none("reminders are not counted here"),
        weeks => Shown::number(sent as f64 / weeks as f64, None),
    };
    measure("reminders_sent", shown, sent as usize, (sent as f64, counted as f64))
}
