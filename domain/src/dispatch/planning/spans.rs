//! When a visit may begin, in seconds from the first midnight, and how long it takes then.

use super::build::is_noisy;
use super::problem::{Request, RoundsProblem};
use crate::dispatch::problem::usable;
use crate::dispatch::search::{Service, StartSpan};
use chrono::{Datelike, NaiveDate, NaiveDateTime, NaiveTime, Weekday};

const DAY_S: i32 = 86_400;
/// Seconds of a point: weights are kept to a hundredth of a point per second's sixtieth.
pub const UNITS_PER_POINT: f64 = 6000.0;

/// Seconds from the first midnight of the problem, at most some years either way.
pub fn seconds(problem: &RoundsProblem, at: NaiveDateTime) -> i32 {
    let first = problem.days.first().map_or(at, |day| day.and_time(NaiveTime::MIN));
    (at - first).num_seconds().clamp(-200_000_000, 200_000_000) as i32
}

pub fn instant(problem: &RoundsProblem, seconds: i32) -> NaiveDateTime {
    let first = problem.days.first().map_or(NaiveDateTime::MIN, |day| day.and_time(NaiveTime::MIN));
    first.checked_add_signed(chrono::TimeDelta::seconds(i64::from(seconds))).unwrap_or(first)
}

/// Longer work than this is longer than any day, and two days keep every sum of seconds within bounds.
const LONGEST_S: f64 = 172_800.0;

/// Length of the work with so many people.
pub fn work_s(request: &Request, people: u32) -> i32 {
    let people = people.max(1);
    let planned = request.crew_min.get(people as usize - 1).copied();
    let minutes = planned.unwrap_or_else(|| {
        usable(request.visit.work_min) * f64::from(request.work_people.max(1)) / f64::from(people)
    });
    (usable(minutes) * 60.0).min(LONGEST_S).ceil() as i32
}

/// Length of the work begun at this time: never more than [`service`] has for it, which reckons with whole seconds.
pub fn length_s(request: &Request, people: u32, start: NaiveDateTime) -> i32 {
    let usual_s = work_s(request, people);
    let Some(span) = request.work_spans.iter().find(|span| span.from <= start && start < span.to) else {
        return usual_s;
    };
    let seconds = |from: NaiveDateTime, to: NaiveDateTime| (to - from).num_seconds() as f64;
    let share = seconds(span.from, start) / seconds(span.from, span.to).max(1.0);
    let (first, last) = (factor(span.factor_from), factor(span.factor_to));
    (f64::from(usual_s) * (first + (last - first) * share)).floor() as i32
}

/// A length over the usual one, fit to reckon with.
fn factor(value: f64) -> f64 {
    if value.is_finite() { value.clamp(0.1, 10.0) } else { 1.0 }
}

/// Who would do a visit.
#[derive(Debug, Clone, Copy)]
pub struct Doer<'a> {
    pub people: u32,
    /// Not told: any.
    pub van: Option<&'a str>,
    /// Machines run there.
    pub noisy: bool,
}

impl<'a> Doer<'a> {
    /// So many people with a van of the problem, by its place.
    pub fn of(problem: &'a RoundsProblem, request: &Request, van: usize, people: usize) -> Doer<'a> {
        let van = &problem.vans[van].van;
        Doer { people: people as u32, van: Some(&van.id), noisy: is_noisy(request, van) }
    }
}

/// When they can serve the visit; `None`: at no time of these days.
pub fn service(problem: &RoundsProblem, request: &Request, by: Doer) -> Option<Service> {
    timed(problem, request, by, &open_parts(problem, request, by))
}

/// The same with the work inside these hours.
pub fn service_within(
    problem: &RoundsProblem,
    request: &Request,
    by: Doer,
    hours: &[(i32, i32)],
) -> Option<Service> {
    let open = open_parts(problem, request, by);
    let pairs = open.iter().flat_map(|&(a, b)| hours.iter().map(move |&(from, to)| (a.max(from), b.min(to))));
    let parts: Vec<(i32, i32)> = pairs.filter(|(from, to)| from < to).collect();
    timed(problem, request, by, &parts)
}

fn timed(problem: &RoundsProblem, request: &Request, by: Doer, parts: &[(i32, i32)]) -> Option<Service> {
    let mut spans = Vec::new();
    for &part in parts {
        starts(problem, request, by, part, &mut spans);
    }
    let (due, rate) = if request.promised {
        (i32::MAX, 0)
    } else {
        (seconds(problem, request.visit.window_to), per_second(problem.weights.late))
    };
    Service::varying(&spans, due, rate)
}

/// Units for each second of what is weighed by the minute.
pub fn per_second(points_per_minute: f64) -> i64 {
    (usable(points_per_minute).min(100.0) * UNITS_PER_POINT / 60.0).round() as i64
}

/// The longest overtime.
pub fn overtime_s(problem: &RoundsProblem) -> i32 {
    (usable(problem.weights.overtime_most_min).min(480.0) * 60.0) as i32
}

/// The times in which work may go on.
fn open_parts(problem: &RoundsProblem, request: &Request, by: Doer) -> Vec<(i32, i32)> {
    let visit = &request.visit;
    let (from, to) = (seconds(problem, visit.window_from), seconds(problem, visit.window_to));
    let is_left = |day: &&NaiveDate| {
        request.linked_days.iter().all(|linked| linked.from <= **day && **day <= linked.to)
    };
    let mut parts = Vec::new();
    for day in problem.days.iter().filter(is_left) {
        if visit.site.saturday_allowed == Some(false) && day.weekday() == Weekday::Sat {
            continue;
        }
        let begins = seconds(problem, day.and_time(NaiveTime::MIN));
        let (mut open, mut close) = (begins, begins + DAY_S);
        if let Some(hours) = visit.site.machine_hours.filter(|_| by.noisy) {
            (open, close) =
                (seconds(problem, day.and_time(hours.from)), seconds(problem, day.and_time(hours.to)));
        }
        // What was not promised may end late, on the window's last day.
        let latest = if request.promised || to <= begins { to } else { to.max(begins + DAY_S) };
        let part = (open.max(from), close.min(latest));
        if part.0 < part.1 {
            parts.push(part);
        }
    }
    for barred in request.barred.iter().filter(|barred| barred.bars(by.people, by.van)) {
        parts = without(&parts, seconds(problem, barred.from), seconds(problem, barred.to));
    }
    parts
}

fn without(parts: &[(i32, i32)], from: i32, to: i32) -> Vec<(i32, i32)> {
    let cut = parts.iter().flat_map(|&(a, b)| [(a, b.min(from)), (a.max(to), b)]);
    cut.filter(|(a, b)| a < b).collect()
}

/// The starts whose work ends inside the part.
fn starts(
    problem: &RoundsProblem,
    request: &Request,
    by: Doer,
    (open, close): (i32, i32),
    out: &mut Vec<StartSpan>,
) {
    let length_s = work_s(request, by.people);
    let mut bounds = vec![open, close + 1];
    let spans: Vec<(i32, i32, f64, f64)> = request
        .work_spans
        .iter()
        .map(|span| {
            let (from, to) = (seconds(problem, span.from), seconds(problem, span.to));
            (from, to, factor(span.factor_from), factor(span.factor_to))
        })
        .filter(|(from, to, ..)| from < to)
        .collect();
    let closed: Vec<(i32, i32)> = request
        .closed_starts
        .iter()
        .filter(|closed| closed.bars(by.people, by.van))
        .map(|closed| (seconds(problem, closed.from), seconds(problem, closed.to)))
        .collect();
    let marks = spans.iter().flat_map(|&(from, to, ..)| [from, to]);
    let marks = marks.chain(closed.iter().flat_map(|&(from, to)| [from, to]));
    bounds.extend(marks.filter(|&at| open < at && at <= close));
    bounds.sort_unstable();
    bounds.dedup();
    for pair in bounds.windows(2) {
        let [from, to] = [pair[0], pair[1] - 1];
        if closed.iter().any(|&(first, last)| first <= from && from < last) {
            continue;
        }
        let span = spans.iter().find(|&&(a, b, ..)| a <= from && to < b);
        let length = |at: i32| match span {
            Some(&(a, b, first, last)) => {
                let share = f64::from(at - a) / f64::from(b - a);
                (f64::from(length_s) * (first + (last - first) * share)).ceil() as i32
            }
            None => length_s,
        };
        push_fitting(
            StartSpan { from_s: from, to_s: to, length_from_s: length(from), length_to_s: length(to) },
            close,
            out,
        );
    }
}

/// The first part of a span whose work ends by `close`.
fn push_fitting(span: StartSpan, close: i32, out: &mut Vec<StartSpan>) {
    let all = i64::from(span.to_s - span.from_s);
    let length = |at: i32| {
        let past = i64::from(at - span.from_s);
        let change = i64::from(span.length_to_s - span.length_from_s);
        if all == 0 { span.length_from_s } else { span.length_from_s + (change * past / all) as i32 }
    };
    let fits = |at: i32| at + length(at) <= close;
    // Starts end later and later as long as the length falls by less than a second a second; otherwise ends are tried.
    let (mut low, mut high) = (span.from_s, span.to_s);
    if !fits(low) {
        return;
    }
    while low < high {
        let middle = low + (high - low + 1) / 2;
        if fits(middle) { low = middle } else { high = middle - 1 }
    }
    out.push(StartSpan { to_s: low, length_to_s: length(low), ..span });
}
