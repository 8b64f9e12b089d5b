//! The measures of a set of jobs and of what the week has beside them, each with its count and denominator.

use super::catalogue::definition;
use super::job::{JobFigures, week_of};
use super::statistics::{
    Interval, median, median_interval, poisson_interval, ratio_of_sums_interval, wilson,
};
use super::week::{ReminderCounts, WeekFacts};
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use utoipa::ToSchema;

/// Below this many a range is shown and no number (common practice).
pub const LEAST_JOBS: usize = 8;
/// Days after which a job is known not to have come back (common practice).
const REWORK_DAYS: u32 = 14;

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Measure {
    pub name: String,
    pub title: String,
    /// In one sentence.
    pub definition: String,
    pub unit: String,
    pub shown: Shown,
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
    fn number(value: f64, interval: Option<Interval>) -> Shown {
        Shown::Number { value, low: interval.map(|i| i.low), high: interval.map(|i| i.high) }
    }

    pub(super) fn none(reason: &str) -> Shown {
        Shown::NoData { reason: reason.to_owned() }
    }
}

/// What is measured of jobs alone, whatever they are grouped by.
pub(super) fn of_jobs(jobs: &[&JobFigures], as_of: NaiveDate) -> Vec<Measure> {
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
        rate("first_pass_rate", passes, steps, done.len(), "no steps were recorded"),
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

/// What is measured of a crew or the shop beside the work itself.
pub(super) fn of_business(jobs: &[&JobFigures], weeks: &[&WeekFacts]) -> Vec<Measure> {
    let planned = jobs.len();
    let done = jobs.iter().filter(|job| job.business.finished).count();
    let starts: Vec<bool> = jobs.iter().filter_map(|job| job.started_on_time()).collect();
    let no_shows = jobs.iter().filter(|job| job.business.no_show).count();
    let extra: Vec<_> = jobs.iter().filter_map(|job| job.business.extra_work).collect();
    let asked: u64 = extra.iter().map(|work| u64::from(work.asked)).sum();
    let accepted: u64 = extra.iter().map(|work| u64::from(work.accepted)).sum();
    let requests: Vec<_> = extra.iter().map(|work| (f64::from(work.asked), 1.0)).collect();
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
        ratio("extra_work_asked", &requests, Some("requests for extra work are not recorded")),
        rate(
            "extra_work_accepted",
            accepted,
            asked,
            asked as usize,
            "no request for extra work was recorded",
        ),
        of_sent("reminders_booked", reminders.unwrap_or_default().booked),
        of_sent("reminders_stopped", reminders.unwrap_or_default().stopped),
        rate("no_shows", no_shows as u64, planned as u64, planned, "no job was planned"),
        time_share("travel_share", weeks, |week| week.travel_minutes),
        idle_share(jobs, weeks),
        near_misses(weeks, done),
    ]
}

fn is_past(job: &JobFigures, as_of: NaiveDate) -> bool {
    (as_of - job.business.on).num_days() >= i64::from(REWORK_DAYS)
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
    measure(name, shown, pairs.len(), (above, below))
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
    let middle = median(&each);
    let shown = middle.map_or_else(
        || Shown::none("no job had planned steps with sound times"),
        |value| show(&each, value, median_interval(&each)),
    );
    let span_80 = (each.len() >= LEAST_JOBS)
        .then(|| Some(Span { low: quantile(&each, 0.1)?, high: quantile(&each, 0.9)? }))
        .flatten();
    let count = each.len() as f64;
    Measure { span_80, norm: Some(1.0), ..measure("actual_to_planned", shown, each.len(), (count, count)) }
}

/// Of sorted values, between the two nearest (Hyndman and Fan 1996, American Statistician 50:361, type 7).
pub(super) fn quantile(sorted: &[f64], p: f64) -> Option<f64> {
    let place = p * sorted.len().checked_sub(1)? as f64;
    let (low, share) = (place.floor() as usize, place.fract());
    let (below, above) = (sorted.get(low)?, sorted.get(low + 1).or(sorted.get(low))?);
    Some(below + share * (above - below))
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

fn loops(jobs: &[&JobFigures], steps: u64) -> Measure {
    let pairs: Vec<_> = jobs.iter().map(|job| (f64::from(job.loops), f64::from(job.steps))).collect();
    Measure { count: steps as usize, ..ratio("loops_per_step", &pairs, Some("no steps were recorded")) }
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

/// Amounts are never below nothing.
fn positive(interval: Option<Interval>) -> Option<Interval> {
    interval.map(|i| Interval { low: i.low.max(0.0), ..i })
}
