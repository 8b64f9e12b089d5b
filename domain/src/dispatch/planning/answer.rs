//! The search's answer in the words of the shop.

use super::build::{Built, road};
use super::day::day_problem;
use super::problem::RoundsProblem;
use super::reasons;
use super::spans::{UNITS_PER_POINT, instant};
use crate::dispatch::search::{Event, RouteCost, Solution, timeline};
use crate::dispatch::{Conflict, Place, conflicts};
use chrono::{NaiveDate, NaiveDateTime};
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;
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
        rounds.push(Drawing::new(problem, built, shift).draw(&timeline.events));
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
    plan.conflicts = against(problem, &plan);
    plan
}

/// What speaks against the days of a plan.
fn against(problem: &RoundsProblem, plan: &RoundsPlan) -> Vec<Conflict> {
    let spots = plan.spots(problem);
    let days: BTreeSet<NaiveDate> = spots.iter().map(|spot| spot.on).collect();
    days.into_iter().flat_map(|on| conflicts(&day_problem(problem, &spots, on))).collect()
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

/// A round in the words of the shop, event by event.
struct Drawing<'a> {
    problem: &'a RoundsProblem,
    built: &'a Built,
    shift: usize,
    home: Place,
    at: Place,
    node: u32,
    departs_s: Option<i32>,
    returns_s: i32,
    /// When the crew came to the visit before which it rests.
    came_s: Option<i32>,
    km: f64,
    travel_s: i32,
    work_s: i32,
    stops: Vec<PlannedStop>,
}

impl<'a> Drawing<'a> {
    fn new(problem: &'a RoundsProblem, built: &'a Built, shift: usize) -> Drawing<'a> {
        let home = problem.vans[built.candidates[shift].van].van.home.unwrap_or(problem.depot);
        let spec = built.model.shift(shift);
        Drawing {
            problem,
            built,
            shift,
            home,
            at: home,
            node: spec.start,
            departs_s: None,
            returns_s: spec.opens_s,
            came_s: None,
            km: 0.0,
            travel_s: 0,
            work_s: 0,
            stops: Vec::new(),
        }
    }

    fn draw(mut self, events: &[Event]) -> PlannedRound {
        for event in events {
            match *event {
                Event::Visit { node, arrives_s, starts_s, finishes_s } => {
                    self.visit(node, [arrives_s, starts_s, finishes_s]);
                }
                Event::Refill { node, arrives_s, finishes_s } => {
                    let place = self.built.depot(node).unwrap_or(self.home);
                    self.drive(place, node, arrives_s);
                    self.stop(StopKind::Refill, None, Some(place), [arrives_s, arrives_s, finishes_s]);
                }
                Event::Rest { starts_s, finishes_s, on_arrival } => {
                    self.rest(starts_s, finishes_s, on_arrival);
                }
                Event::Return { arrives_s } => {
                    self.drive(self.home, self.built.model.shift(self.shift).end, arrives_s);
                    self.returns_s = arrives_s;
                }
            }
        }
        self.finish()
    }

    fn visit(&mut self, node: u32, [arrives_s, starts_s, finishes_s]: [i32; 3]) {
        let visit = &self.problem.requests[node as usize].visit;
        let came_s = self.came_s.take();
        // Nobody leaves earlier than needed for the first visit; who would wait there starts later.
        let arrives_s = match self.departs_s {
            None if came_s.is_none() => starts_s,
            _ => arrives_s,
        };
        self.drive(visit.place, node, came_s.unwrap_or(arrives_s));
        self.work_s += finishes_s - starts_s;
        let (job, place) = (Some(visit.job.clone()), Some(visit.place));
        self.stop(StopKind::Visit, job, place, [arrives_s, starts_s, finishes_s]);
        let late = instant(self.problem, finishes_s) - visit.window_to;
        if let Some(stop) = self.stops.last_mut() {
            stop.late_min = late.num_seconds().max(0) as f64 / 60.0;
        }
    }

    /// Before the round departs, its crew rests at home: that is no stop.
    fn rest(&mut self, starts_s: i32, finishes_s: i32, on_arrival: bool) {
        if on_arrival {
            self.came_s.get_or_insert(starts_s);
        } else if self.departs_s.is_none() {
            return;
        }
        self.stop(StopKind::Break, None, None, [starts_s, starts_s, finishes_s]);
    }

    fn drive(&mut self, to: Place, node: u32, arrives_s: i32) {
        let time_s = self.built.model.leg(self.node, node).time_s;
        self.km += road(self.problem, &self.at, &to).0;
        self.travel_s += time_s;
        self.departs_s.get_or_insert(arrives_s - time_s);
        (self.at, self.node) = (to, node);
    }

    fn stop(&mut self, kind: StopKind, job: Option<String>, place: Option<Place>, times: [i32; 3]) {
        let [arrives_at, starts_at, finishes_at] = times.map(|at_s| instant(self.problem, at_s));
        self.stops.push(PlannedStop { kind, job, place, arrives_at, starts_at, finishes_at, late_min: 0.0 });
    }

    fn finish(self) -> PlannedRound {
        let candidate = &self.built.candidates[self.shift];
        let id = |&who: &usize| self.problem.technicians[who].technician.id.clone();
        PlannedRound {
            on: candidate.on,
            van: self.problem.vans[candidate.van].van.id.clone(),
            technicians: candidate.crew.iter().map(id).collect(),
            departs_at: instant(self.problem, self.departs_s.unwrap_or(self.returns_s)),
            returns_at: instant(self.problem, self.returns_s),
            travel_km: self.km,
            travel_min: f64::from(self.travel_s) / 60.0,
            work_min: f64::from(self.work_s) / 60.0,
            stops: self.stops,
        }
    }
}
