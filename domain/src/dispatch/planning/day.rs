//! A day of rounds as an assignment, so that the judge of days can judge it.

use super::answer::{RoundsPlan, StopKind};
use super::crews::{at_work, published_span};
use super::problem::{Request, RoundsProblem, VisitLink};
use crate::dispatch::{DayProblem, NoticeOf, Partner, PartnerKind, Technician, Visit, VisitNotice};
use chrono::{NaiveDate, NaiveDateTime};

/// Where a visit stands in rounds, planned or published.
pub struct Spot<'a> {
    pub request: &'a Request,
    pub on: NaiveDate,
    pub van: &'a str,
    pub technicians: &'a [String],
    pub start: NaiveDateTime,
    pub finish: NaiveDateTime,
}

impl Spot<'_> {
    pub fn job(&self) -> &str {
        &self.request.visit.job
    }
}

impl RoundsPlan {
    /// A day of the plan as an assignment, to be judged by [`crate::dispatch::conflicts`].
    pub fn day(&self, problem: &RoundsProblem, on: NaiveDate) -> DayProblem {
        day_problem(problem, &self.spots(problem), on)
    }

    /// In the order of the rounds.
    pub(super) fn spots<'a>(&'a self, problem: &'a RoundsProblem) -> Vec<Spot<'a>> {
        let mut spots = Vec::new();
        for round in &self.rounds {
            for stop in round.stops.iter().filter(|stop| stop.kind == StopKind::Visit) {
                let is_it = |request: &&Request| Some(&request.visit.job) == stop.job.as_ref();
                spots.extend(problem.requests.iter().find(is_it).map(|request| Spot {
                    request,
                    on: round.on,
                    van: &round.van,
                    technicians: &round.technicians,
                    start: stop.starts_at,
                    finish: stop.finishes_at,
                }));
            }
        }
        spots
    }
}

/// In the order of the requests.
pub fn published_spots(problem: &RoundsProblem) -> Vec<Spot<'_>> {
    problem.requests.iter().filter_map(published_spot).collect()
}

fn published_spot(request: &Request) -> Option<Spot<'_>> {
    let place = request.published.as_ref()?;
    let (start, finish) = published_span(request, place);
    let (van, technicians) = (place.van.as_str(), place.technicians.as_slice());
    Some(Spot { request, on: start.date(), van, technicians, start, finish })
}

/// The visits that stand on this day, under the facts of the problem. Vans that are out are not there.
pub fn day_problem(problem: &RoundsProblem, spots: &[Spot], on: NaiveDate) -> DayProblem {
    let visits = spots.iter().filter(|spot| spot.on == on).map(|spot| visit(problem, spots, spot));
    let technicians = problem
        .technicians
        .iter()
        .map(|rostered| Technician { hours: at_work(rostered, on), ..rostered.technician.clone() });
    let vans = problem.vans.iter().filter(|rostered| !rostered.out_on.contains(&on));
    DayProblem {
        on,
        depot: problem.depot,
        travel: problem.travel,
        matrix: problem.matrix.clone(),
        margins: problem.margins,
        technicians: technicians.collect(),
        vans: vans.map(|rostered| rostered.van.clone()).collect(),
        visits: visits.collect(),
    }
}

fn visit(problem: &RoundsProblem, spots: &[Spot], spot: &Spot) -> Visit {
    let request = spot.request;
    let mut visit = request.visit.clone();
    visit.van = Some(spot.van.to_owned());
    visit.technicians = spot.technicians.to_vec();
    visit.start = Some(spot.start);
    visit.work_min = (spot.finish - spot.start).num_seconds() as f64 / 60.0;
    let people = spot.technicians.len() as u32;
    let barred = request.barred.iter().filter(|bar| bar.from < spot.finish && spot.start < bar.to);
    let closed = request.closed_starts.iter().filter(|bar| bar.from <= spot.start && spot.start < bar.to);
    let bars = barred.chain(closed).filter(|bar| bar.bars(people, Some(spot.van)));
    visit.notices.extend(bars.map(|bar| VisitNotice {
        of: NoticeOf::Hour,
        rule: bar.rule.clone(),
        text: bar.text.clone(),
    }));
    let is_planned = |partner: &Partner| problem.requests.iter().any(|other| other.visit.job == partner.job);
    visit.partners.retain(|partner| !is_planned(partner));
    visit.partners.extend(partners(problem, spots, &visit.job));
    visit
}

/// The visits that a job is linked with, where they stand in the same rounds.
fn partners(problem: &RoundsProblem, spots: &[Spot], job: &str) -> Vec<Partner> {
    let of_job = problem.links.iter().filter_map(|link| partner_of(link, job));
    let is_planned = |other: &str| problem.requests.iter().any(|request| request.visit.job == other);
    let planned = of_job.filter(|&(other, _)| other != job && is_planned(other));
    let partners = planned.map(|(other, kind)| {
        let spot = spots.iter().find(|spot| spot.job() == other);
        Partner {
            kind,
            job: other.to_owned(),
            start: spot.map(|spot| spot.start),
            van: spot.map(|spot| spot.van.to_owned()),
            technicians: spot.map(|spot| spot.technicians.to_vec()).unwrap_or_default(),
        }
    });
    partners.collect()
}

/// The other of two linked jobs, and what it is to this one.
fn partner_of<'a>(link: &'a VisitLink, job: &str) -> Option<(&'a str, PartnerKind)> {
    match link {
        VisitLink::After { first, then, least_days, most_days } => {
            let (least_days, most_days) = (*least_days, *most_days.max(least_days));
            if then == job {
                Some((first.as_str(), PartnerKind::After { least_days, most_days }))
            } else {
                (first == job).then_some((then.as_str(), PartnerKind::Before { least_days, most_days }))
            }
        }
        VisitLink::Together { one, other } => Some((of_two(one, other, job)?, PartnerKind::Together)),
        VisitLink::SamePerson { one, other } => Some((of_two(one, other, job)?, PartnerKind::SamePerson)),
    }
}

fn of_two<'a>(one: &'a str, other: &'a str, job: &str) -> Option<&'a str> {
    match job {
        _ if one == job => Some(other),
        _ if other == job => Some(one),
        _ => None,
    }
}
