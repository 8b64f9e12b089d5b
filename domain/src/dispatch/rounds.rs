//! The day of each van in order and time: travel, waiting, work, refills.

use super::problem::{Refill, Van, Visit, usable};
use super::refills::refills;
use super::ways::Ways;
use super::{DayProblem, Place};
use chrono::{NaiveDateTime, TimeDelta};
use serde::Serialize;
use utoipa::ToSchema;

/// One van's day.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct Round {
    pub van: String,
    pub technicians: Vec<String>,
    pub departs_at: NaiveDateTime,
    /// Back at the depot, or at the van's own home.
    pub returns_at: NaiveDateTime,
    pub travel_km: f64,
    pub travel_min: f64,
    pub work_min: f64,
    pub wait_min: f64,
    pub stops: Vec<Stop>,
}

/// A visit, or a refill where `job` is absent.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct Stop {
    #[serde(skip_serializing_if = "Option::is_none")]
    pub job: Option<String>,
    /// Where it is, for those who draw it.
    #[serde(skip)]
    pub place: Place,
    /// The way here.
    pub travel_km: f64,
    pub travel_min: f64,
    pub arrives_at: NaiveDateTime,
    pub starts_at: NaiveDateTime,
    pub finishes_at: NaiveDateTime,
    pub wait_min: f64,
    /// Water in the tank on arrival and on leaving, litres.
    pub tank_before_l: f64,
    pub tank_after_l: f64,
}

/// The rounds of all vans that have visits, in the order of `vans`. Visits go in the order of their start, or of their
/// window where no start is set. Nothing is left out because it is late: see [`super::conflicts`].
pub fn rounds(day: &DayProblem) -> Vec<Round> {
    let ways = Ways::of(day);
    day.vans.iter().filter_map(|van| round(day, ways, van)).collect()
}

/// The visits of a van, in the order of the round.
pub(super) fn visits_of<'a>(day: &'a DayProblem, van: &Van) -> Vec<&'a Visit> {
    let mut visits: Vec<&Visit> = day.visits.iter().filter(|v| v.van.as_deref() == Some(&van.id)).collect();
    visits.sort_by(|a, b| {
        (a.wanted_start(), a.window_to, &a.job).cmp(&(b.wanted_start(), b.window_to, &b.job))
    });
    visits
}

fn round(day: &DayProblem, ways: Ways, van: &Van) -> Option<Round> {
    let visits = visits_of(day, van);
    let departs_at = departure(day, ways, van, visits.first()?);
    let refills = refills(day, ways, van, &visits, departs_at);
    let stops = drive(day, ways, van, &visits, &refills, departs_at);
    let last = stops.last()?;
    let (km, minutes) = ways.between(&last.place, &day.base_of(van));
    let mut technicians: Vec<String> = Vec::new();
    for id in visits.iter().flat_map(|v| &v.technicians) {
        if !technicians.contains(id) {
            technicians.push(id.clone());
        }
    }
    Some(Round {
        van: van.id.clone(),
        technicians,
        departs_at,
        returns_at: later(last.finishes_at, minutes),
        travel_km: km + stops.iter().map(|s| s.travel_km).sum::<f64>(),
        travel_min: minutes + stops.iter().map(|s| s.travel_min).sum::<f64>(),
        work_min: visits.iter().map(|v| usable(v.work_min)).sum(),
        wait_min: stops.iter().map(|s| s.wait_min).sum(),
        stops,
    })
}

/// In time for the first visit, but not before the whole crew is at work, nor on the way while somebody is off: then they
/// are there before that begins.
pub(super) fn departure(day: &DayProblem, ways: Ways, van: &Van, first: &Visit) -> NaiveDateTime {
    let (_, minutes) = ways.between(&day.base_of(van), &first.place);
    let start = first.wanted_start();
    let in_time = later(start, -minutes);
    let gaps = first.crew(day).flat_map(|t| t.spans(day.on).zip(t.spans(day.on).skip(1)));
    let off = gaps.map(|(before, after)| (before.1, after.0));
    let driven_in = off.filter(|(from, to)| in_time < *to && *from < start);
    let departs = driven_in.map(|(from, _)| later(from, -minutes)).fold(in_time, NaiveDateTime::min);
    let at_work = first.crew(day).filter_map(|t| t.spans(day.on).next()).map(|(from, _)| from).max();
    at_work.map_or(departs, |from| departs.max(from))
}

/// The stops of a round that fills up on the way to some of its visits.
pub(super) fn drive(
    day: &DayProblem,
    ways: Ways,
    van: &Van,
    visits: &[&Visit],
    refills: &[Option<&Refill>],
    departs_at: NaiveDateTime,
) -> Vec<Stop> {
    let full_l = usable(van.tank_l);
    let mut driver =
        Driver { ways, at: day.base_of(van), clock: departs_at, tank_l: full_l, stops: Vec::new() };
    for (visit, refill) in visits.iter().zip(refills) {
        if let Some(refill) = refill {
            driver.refill(refill, full_l);
        }
        driver.visit(visit);
    }
    driver.stops
}

/// When a stop is reached, begins and ends.
#[derive(Clone, Copy)]
pub(super) struct Times {
    pub arrives_at: NaiveDateTime,
    pub starts_at: NaiveDateTime,
    pub finishes_at: NaiveDateTime,
}

impl Times {
    pub(super) fn of_visit(visit: &Visit, leaves_at: NaiveDateTime, travel_min: f64) -> Times {
        let arrives_at = later(leaves_at, travel_min);
        let starts_at = visit.wanted_start().max(arrives_at);
        Times { arrives_at, starts_at, finishes_at: later(starts_at, usable(visit.work_min)) }
    }

    pub(super) fn of_refill(refill: &Refill, leaves_at: NaiveDateTime, travel_min: f64) -> Times {
        let arrives_at = later(leaves_at, travel_min);
        Times { arrives_at, starts_at: arrives_at, finishes_at: later(arrives_at, usable(refill.minutes)) }
    }
}

struct Driver<'a> {
    ways: Ways<'a>,
    at: Place,
    clock: NaiveDateTime,
    tank_l: f64,
    stops: Vec<Stop>,
}

impl Driver<'_> {
    fn visit(&mut self, visit: &Visit) {
        let way = self.ways.between(&self.at, &visit.place);
        let times = Times::of_visit(visit, self.clock, way.1);
        let left_l = (self.tank_l - visit.tank_need_l()).max(0.0);
        self.stop(Some(visit.job.clone()), visit.place, way, times, left_l);
    }

    fn refill(&mut self, refill: &Refill, full_l: f64) {
        let way = self.ways.between(&self.at, &refill.place);
        self.stop(None, refill.place, way, Times::of_refill(refill, self.clock, way.1), full_l);
    }

    fn stop(
        &mut self,
        job: Option<String>,
        place: Place,
        (travel_km, travel_min): (f64, f64),
        Times { arrives_at, starts_at, finishes_at }: Times,
        left_l: f64,
    ) {
        self.stops.push(Stop {
            job,
            place,
            travel_km,
            travel_min,
            arrives_at,
            starts_at,
            finishes_at,
            wait_min: minutes_between(arrives_at, starts_at),
            tank_before_l: self.tank_l,
            tank_after_l: left_l,
        });
        (self.at, self.clock, self.tank_l) = (place, finishes_at, left_l);
    }
}

/// `at` plus minutes, to the second; at most a month either way, and `at` itself where the calendar ends.
pub(super) fn later(at: NaiveDateTime, minutes: f64) -> NaiveDateTime {
    const MONTH_MIN: f64 = 31.0 * 1440.0;
    let minutes = if minutes.is_finite() { minutes.clamp(-MONTH_MIN, MONTH_MIN) } else { 0.0 };
    let seconds = TimeDelta::seconds((minutes * 60.0).round() as i64);
    at.checked_add_signed(seconds).unwrap_or(at)
}

pub(super) fn minutes_between(from: NaiveDateTime, to: NaiveDateTime) -> f64 {
    (to - from).num_seconds() as f64 / 60.0
}
