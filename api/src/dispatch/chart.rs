//! A day as tracks of a time chart: what each van does, where products lie, and which hours are too hot.

use super::hours;
use crate::day::Day;
use chrono::{NaiveDate, NaiveDateTime, TimeDelta};
use chrono_tz::Tz;
use domain::dispatch::planning::{Rest, RoundsPlan, StopKind};
use domain::dispatch::{DaySpan, DaySpanKind, DayTrack, Round};
use domain::handbook::Handbook;

/// What tells when crews rest.
pub enum Breaks<'a> {
    /// The draft that the rounds are of.
    Planned(&'a RoundsPlan),
    /// The shop's rule, as of rounds in force nobody has said it.
    Usual(Rest),
}

/// A track for each round.
pub fn tracks(
    day: &Day,
    rounds: &[Round],
    breaks: &Breaks<'_>,
    (handbook, zone): (&Handbook, Tz),
) -> Vec<DayTrack> {
    let name = |id: &String| day.names.get(id).cloned().unwrap_or_default();
    let track = |round: &Round| {
        let mut spans = driven(day, round);
        let rests = match breaks {
            Breaks::Planned(draft) => planned_breaks(draft, day.problem.on, round),
            Breaks::Usual(rest) => usual_break(rest, day.problem.on, round).into_iter().collect(),
        };
        let drawn = |(from, to)| DaySpan { kind: DaySpanKind::Break, from, to, label: "break".into() };
        spans.extend(rests.into_iter().map(drawn));
        for stop in &round.stops {
            let nth = day.problem.visits.iter().position(|visit| Some(&visit.job) == stop.job.as_ref());
            let Some(nth) = nth else { continue };
            spans.extend(dwells(day, nth, stop.starts_at));
            spans.extend(hot(day, nth, (handbook, zone)));
        }
        DayTrack { van: name(&round.van), crew: round.technicians.iter().map(name).collect(), spans }
    };
    rounds.iter().map(track).collect()
}

fn driven(day: &Day, round: &Round) -> Vec<DaySpan> {
    let span = |kind, from, to, label: String| DaySpan { kind, from, to, label };
    let mut spans = Vec::new();
    for stop in &round.stops {
        let leaves = stop.arrives_at - TimeDelta::seconds((stop.travel_min * 60.0) as i64);
        spans.push(span(DaySpanKind::Travel, leaves, stop.arrives_at, "on the road".into()));
        let (kind, label) = match &stop.job {
            Some(job) => (DaySpanKind::Work, day.names.get(job).cloned().unwrap_or_default()),
            None => (DaySpanKind::Refill, "refill of water".into()),
        };
        spans.push(span(kind, stop.starts_at, stop.finishes_at, label));
    }
    if let Some(last) = round.stops.last() {
        spans.push(span(DaySpanKind::Travel, last.finishes_at, round.returns_at, "on the road".into()));
    }
    spans
}

type Span = (NaiveDateTime, NaiveDateTime);

fn planned_breaks(draft: &RoundsPlan, on: NaiveDate, round: &Round) -> Vec<Span> {
    let own = draft.rounds.iter().filter(|planned| planned.on == on && planned.van == round.van);
    let breaks = own.flat_map(|planned| &planned.stops).filter(|stop| stop.kind == StopKind::Break);
    breaks.map(|stop| (stop.starts_at, stop.finishes_at)).collect()
}

/// In the first wait that has room for it. A van waits where it has arrived, so that a refill on the way is over then.
fn usual_break(rest: &Rest, on: NaiveDate, round: &Round) -> Option<Span> {
    let (earliest, latest) = (on.and_time(rest.begins.from), on.and_time(rest.begins.to));
    let length = (rest.minutes > 0).then(|| TimeDelta::minutes(i64::from(rest.minutes)))?;
    round.stops.iter().find_map(|stop| {
        let from = stop.arrives_at.max(earliest);
        (from <= latest && from + length <= stop.starts_at).then_some((from, from + length))
    })
}

/// When a product lies on the vehicle, by its plan.
fn dwells(day: &Day, nth: usize, start: NaiveDateTime) -> Vec<DaySpan> {
    let Some(plan) = day.plans.get(&nth) else { return Vec::new() };
    let at = |minutes: f64| start + TimeDelta::seconds((minutes.clamp(0.0, 2880.0) * 60.0) as i64);
    let lies = plan.lines.iter().filter(|line| line.dwell.is_some() && line.begin_min < line.end_min);
    lies.map(|line| DaySpan {
        kind: DaySpanKind::Dwell,
        from: at(line.begin_min),
        to: at(line.end_min),
        label: line.name.clone(),
    })
    .collect()
}

/// The hours of the day in which heat forbids the visit.
fn hot(day: &Day, nth: usize, (handbook, zone): (&Handbook, Tz)) -> Vec<DaySpan> {
    let Some(facts) = day.planned_from.get(&nth) else { return Vec::new() };
    let spans = hours::hot_hours(handbook, facts, day.problem.on, zone);
    spans.into_iter().map(|(from, to, label)| DaySpan { kind: DaySpanKind::Hot, from, to, label }).collect()
}
