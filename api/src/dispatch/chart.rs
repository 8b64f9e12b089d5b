//! A day as tracks of a time chart: what each van does, where products lie, and which hours are too hot.

use super::hours;
use crate::day::Day;
use chrono::{NaiveDateTime, TimeDelta};
use chrono_tz::Tz;
use domain::dispatch::planning::{RoundsPlan, StopKind};
use domain::dispatch::{DaySpan, DaySpanKind, DayTrack, Round};
use domain::handbook::Handbook;

/// A track for each round. A draft also tells when its crews rest.
pub fn tracks(
    day: &Day,
    rounds: &[Round],
    draft: Option<&RoundsPlan>,
    (handbook, zone): (&Handbook, Tz),
) -> Vec<DayTrack> {
    let name = |id: &String| day.names.get(id).cloned().unwrap_or_default();
    let track = |round: &Round| {
        let mut spans = driven(day, round);
        spans.extend(breaks(draft, day, round));
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

fn breaks(draft: Option<&RoundsPlan>, day: &Day, round: &Round) -> Vec<DaySpan> {
    let rounds = draft.into_iter().flat_map(|draft| &draft.rounds);
    let own = rounds.filter(|planned| planned.on == day.problem.on && planned.van == round.van);
    own.flat_map(|planned| &planned.stops)
        .filter(|stop| stop.kind == StopKind::Break)
        .map(|stop| DaySpan {
            kind: DaySpanKind::Break,
            from: stop.starts_at,
            to: stop.finishes_at,
            label: "break".into(),
        })
        .collect()
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
