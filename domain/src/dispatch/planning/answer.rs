//! The search's answer in the words of the shop.

use super::build::{Built, kilometres};
use super::problem::RoundsProblem;
use super::reasons;
use super::spans::{UNITS_PER_POINT, instant};
use crate::dispatch::search::{Event, RouteCost, Solution, timeline};
use crate::dispatch::{Conflict, DayProblem, Place, Technician, conflicts};
use chrono::{NaiveDate, NaiveDateTime};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, ToSchema)]
pub struct RoundsPlan {
    /// In the order of days and vans.
    pub rounds: Vec<PlannedRound>,
    pub unserved: Vec<Unserved>,
    pub cost: CostSplit,
    /// What still speaks against the rounds: late ends, overtime, the same vehicle twice, notices of the planner.
    pub conflicts: Vec<Conflict>,
    /// What of the input could not be used, and what was done instead.
    pub faults: Vec<String>,
    pub iterations: u64,
}

/// A van's day.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct PlannedRound {
    pub on: NaiveDate,
    pub van: String,
    pub technicians: Vec<String>,
    pub departs_at: NaiveDateTime,
    pub returns_at: NaiveDateTime,
    pub travel_km: f64,
    pub travel_min: f64,
    pub work_min: f64,
    pub stops: Vec<PlannedStop>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum StopKind {
    Visit,
    Refill,
    Break,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct PlannedStop {
    pub kind: StopKind,
    /// Of a visit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub job: Option<String>,
    /// Absent for a break, which is taken where the crew is.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub place: Option<Place>,
    pub arrives_at: NaiveDateTime,
    pub starts_at: NaiveDateTime,
    pub finishes_at: NaiveDateTime,
    /// Minutes after the end of its window.
    pub late_min: f64,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Unserved {
    pub job: String,
    pub priority: u8,
    /// Why: never empty.
    pub reasons: Vec<Conflict>,
}

/// Points by name.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize, ToSchema)]
pub struct CostSplit {
    pub travel: f64,
    pub late: f64,
    pub overtime: f64,
    pub refills: f64,
    /// Against the published rounds.
    pub change: f64,
    pub fairness: f64,
    /// The same technician wanted and not given.
    pub parted: f64,
    pub unserved: f64,
    pub total: f64,
}

/// The points of a cost of the search.
pub fn points(units: i64) -> f64 {
    units as f64 / UNITS_PER_POINT
}

pub fn answer(problem: &RoundsProblem, built: &Built, solution: &Solution) -> RoundsPlan {
    let mut sum = RouteCost::default();
    let mut rounds = Vec::new();
    for (shift, route) in solution.routes.iter().enumerate().filter(|(_, route)| !route.is_empty()) {
        let Some(timeline) = timeline(&built.model, shift, route.visits(), &solution.pins) else { continue };
        sum = sum + timeline.cost;
        rounds.push(round(problem, built, shift, &timeline.events));
    }
    let mut absent: Vec<u32> = solution.absent.clone();
    absent.sort_unstable();
    let unserved = absent.iter().map(|&node| {
        let request = &problem.requests[node as usize];
        let reasons = reasons::unserved(problem, built, solution, node as usize);
        Unserved { job: request.visit.job.clone(), priority: request.priority, reasons }
    });
    let mut plan = RoundsPlan {
        unserved: unserved.collect(),
        cost: split(sum, solution.link_cost(&built.model), solution.skip_cost(&built.model)),
        faults: built.faults.clone(),
        rounds,
        ..RoundsPlan::default()
    };
    plan.conflicts = problem.days.iter().flat_map(|&on| conflicts(&plan.day(problem, on))).collect();
    plan
}

fn split(sum: RouteCost, parted: i64, unserved: i64) -> CostSplit {
    CostSplit {
        travel: points(sum.travel),
        late: points(sum.late),
        overtime: points(sum.overtime),
        refills: points(sum.refills),
        change: points(sum.change),
        fairness: points(sum.fairness),
        parted: points(parted),
        unserved: points(unserved),
        total: points(sum.total() + parted + unserved),
    }
}

fn round(problem: &RoundsProblem, built: &Built, shift: usize, events: &[Event]) -> PlannedRound {
    let candidate = &built.candidates[shift];
    let van = &problem.vans[candidate.van];
    let home = van.home.unwrap_or(problem.depot);
    let spec = built.model.shift(shift);
    let (mut at, mut node, mut clock) = (home, spec.start, None);
    let (mut km, mut travel_s, mut work_s) = (0.0, 0, 0);
    let mut stops = Vec::new();
    let (mut departs_s, mut returns_s) = (spec.opens_s, spec.opens_s);
    for event in events {
        let mut drive = |to: Place, to_node: u32, arrives_s: i32| {
            km += kilometres(problem, &at, &to);
            let time_s = built.model.leg(node, to_node).time_s;
            travel_s += time_s;
            if clock.is_none() {
                departs_s = arrives_s - time_s;
                clock = Some(arrives_s);
            }
            (at, node) = (to, to_node);
        };
        let stop = |kind, job, place, times: [i32; 3], late_min| PlannedStop {
            kind,
            job,
            place,
            arrives_at: instant(problem, times[0]),
            starts_at: instant(problem, times[1]),
            finishes_at: instant(problem, times[2]),
            late_min,
        };
        match *event {
            Event::Visit { node: to, arrives_s, starts_s, finishes_s } => {
                let visit = &problem.requests[to as usize].visit;
                drive(visit.place, to, arrives_s);
                work_s += finishes_s - starts_s;
                let late =
                    (instant(problem, finishes_s) - visit.window_to).num_seconds().max(0) as f64 / 60.0;
                let times = [arrives_s, starts_s, finishes_s];
                stops.push(stop(StopKind::Visit, Some(visit.job.clone()), Some(visit.place), times, late));
            }
            Event::Refill { arrives_s, finishes_s } => {
                let (Some(refill), Some(spec)) = (&van.van.refill, &spec.refill) else { continue };
                drive(refill.place, spec.node, arrives_s);
                let times = [arrives_s, arrives_s, finishes_s];
                stops.push(stop(StopKind::Refill, None, Some(refill.place), times, 0.0));
            }
            Event::Rest { starts_s, finishes_s, .. } => {
                stops.push(stop(StopKind::Break, None, None, [starts_s, starts_s, finishes_s], 0.0));
            }
            Event::Return { arrives_s } => {
                drive(home, spec.end, arrives_s);
                returns_s = arrives_s;
            }
        }
    }
    // Nobody leaves earlier than needed for the first visit; who would wait there starts later.
    let wait = stops.first().map_or(0, |first| (first.starts_at - first.arrives_at).num_seconds());
    if let Some(first) = stops.first_mut().filter(|first| first.kind == StopKind::Visit) {
        first.arrives_at = first.starts_at;
        departs_s += wait as i32;
    }
    PlannedRound {
        on: candidate.on,
        van: van.van.id.clone(),
        technicians: candidate
            .crew
            .iter()
            .map(|&who| problem.technicians[who].technician.id.clone())
            .collect(),
        departs_at: instant(problem, departs_s),
        returns_at: instant(problem, returns_s),
        travel_km: km,
        travel_min: f64::from(travel_s) / 60.0,
        work_min: f64::from(work_s) / 60.0,
        stops,
    }
}

impl RoundsPlan {
    /// A day of the plan as an assignment, to be judged by [`conflicts`].
    pub fn day(&self, problem: &RoundsProblem, on: NaiveDate) -> DayProblem {
        let mut visits = Vec::new();
        for round in self.rounds.iter().filter(|round| round.on == on) {
            for stop in round.stops.iter().filter(|stop| stop.kind == StopKind::Visit) {
                let request =
                    problem.requests.iter().find(|request| Some(&request.visit.job) == stop.job.as_ref());
                let Some(mut visit) = request.map(|request| request.visit.clone()) else { continue };
                visit.van = Some(round.van.clone());
                visit.technicians.clone_from(&round.technicians);
                visit.start = Some(stop.starts_at);
                visit.work_min = (stop.finishes_at - stop.starts_at).num_seconds() as f64 / 60.0;
                visits.push(visit);
            }
        }
        let technicians = problem.technicians.iter().map(|rostered| {
            let hours = rostered.roster.iter().find(|day| day.on == on).map(|day| day.hours);
            Technician { hours, ..rostered.technician.clone() }
        });
        DayProblem {
            on,
            depot: problem.depot,
            travel: problem.travel,
            matrix: problem.matrix.clone(),
            margins: problem.margins,
            technicians: technicians.collect(),
            vans: problem.vans.iter().map(|van| van.van.clone()).collect(),
            visits,
        }
    }
}
