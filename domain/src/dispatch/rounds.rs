//! The day of each van in order and time: travel, waiting, work, refills.

use super::problem::{Refill, Van, Visit, usable};
use super::{DayProblem, Place};
use chrono::{NaiveDateTime, TimeDelta};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// One van's day.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Round {
    pub van: String,
    pub technicians: Vec<String>,
    pub departs_at: NaiveDateTime,
    /// Back at the depot.
    pub returns_at: NaiveDateTime,
    pub travel_km: f64,
    pub travel_min: f64,
    pub work_min: f64,
    pub wait_min: f64,
    pub stops: Vec<Stop>,
}

/// A visit, or a refill where `job` is absent.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Stop {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub job: Option<String>,
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
    day.vans.iter().filter_map(|van| round(day, van)).collect()
}

/// The visits of a van, in the order of the round.
pub(super) fn visits_of<'a>(day: &'a DayProblem, van: &Van) -> Vec<&'a Visit> {
    let mut visits: Vec<&Visit> = day.visits.iter().filter(|v| v.van.as_deref() == Some(&van.id)).collect();
    visits.sort_by(|a, b| {
        (a.wanted_start(), a.window_to, &a.job).cmp(&(b.wanted_start(), b.window_to, &b.job))
    });
    visits
}

fn round(day: &DayProblem, van: &Van) -> Option<Round> {
    let visits = visits_of(day, van);
    let first = *visits.first()?;
    let departs_at = departure(day, first);
    let mut driver =
        Driver { day, van, at: day.depot, clock: departs_at, tank_l: usable(van.tank_l), stops: Vec::new() };
    for visit in &visits {
        if let Some(refill) = refill_before(day, van, visit, driver.tank_l) {
            driver.refill(refill);
        }
        driver.visit(visit);
    }
    let (km, minutes) = driver.way_to(&day.depot);
    let mut technicians: Vec<String> = Vec::new();
    for id in visits.iter().flat_map(|v| &v.technicians) {
        if !technicians.contains(id) {
            technicians.push(id.clone());
        }
    }
    let stops = driver.stops;
    Some(Round {
        van: van.id.clone(),
        technicians,
        departs_at,
        returns_at: later(driver.clock, minutes),
        travel_km: km + stops.iter().map(|s| s.travel_km).sum::<f64>(),
        travel_min: minutes + stops.iter().map(|s| s.travel_min).sum::<f64>(),
        work_min: visits.iter().map(|v| usable(v.work_min)).sum(),
        wait_min: stops.iter().map(|s| s.wait_min).sum(),
        stops,
    })
}

/// In time for the first visit, but not before the whole crew is at work.
fn departure(day: &DayProblem, first: &Visit) -> NaiveDateTime {
    let (_, minutes) = day.way(&day.depot, &first.place);
    let in_time = later(first.wanted_start(), -minutes);
    let at_work = first.crew(day).filter_map(|t| t.hours).map(|h| day.on.and_time(h.from)).max();
    at_work.map_or(in_time, |from| in_time.max(from))
}

/// A refill stop, where the tank would go below its reserve and a full tank would not.
fn refill_before<'a>(day: &DayProblem, van: &'a Van, visit: &Visit, tank_l: f64) -> Option<&'a Refill> {
    let (need, full) = (visit.tank_need_l(), usable(van.tank_l));
    let reserve = day.reserve_l(van);
    let helps = tank_l < full && full - reserve >= need;
    van.refill.as_ref().filter(|_| need > 0.0 && tank_l - reserve < need && helps)
}

struct Driver<'a> {
    day: &'a DayProblem,
    van: &'a Van,
    at: Place,
    clock: NaiveDateTime,
    tank_l: f64,
    stops: Vec<Stop>,
}

impl Driver<'_> {
    fn way_to(&self, place: &Place) -> (f64, f64) {
        self.day.way(&self.at, place)
    }

    fn visit(&mut self, visit: &Visit) {
        let left = (self.tank_l - visit.tank_need_l()).max(0.0);
        let job = Some(visit.job.clone());
        self.stop(job, &visit.place, Some(visit.wanted_start()), usable(visit.work_min), left);
    }

    fn refill(&mut self, refill: &Refill) {
        let full = usable(self.van.tank_l);
        self.stop(None, &refill.place, None, usable(refill.minutes), full);
    }

    fn stop(
        &mut self,
        job: Option<String>,
        place: &Place,
        not_before: Option<NaiveDateTime>,
        work: f64,
        left: f64,
    ) {
        let (travel_km, travel_min) = self.way_to(place);
        let arrives_at = later(self.clock, travel_min);
        let starts_at = not_before.map_or(arrives_at, |at| at.max(arrives_at));
        let finishes_at = later(starts_at, work);
        self.stops.push(Stop {
            job,
            travel_km,
            travel_min,
            arrives_at,
            starts_at,
            finishes_at,
            wait_min: minutes_between(arrives_at, starts_at),
            tank_before_l: self.tank_l,
            tank_after_l: left,
        });
        (self.at, self.clock, self.tank_l) = (*place, finishes_at, left);
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
