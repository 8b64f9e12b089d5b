//! Rounds become the ones in force: each job is assigned, and its customer's narrower window is noted as a promise.

use crate::day::{instant, span, zone_of_shop};
use crate::db::held_offers;
use crate::db::jobs::{self, Assignment, Job, JobStatus};
use crate::db::kinds::{Id, Instant};
use crate::db::promises::{self, Promise};
use crate::db::round_plans::{Outcome, RoundPlan, Stood};
use crate::db::webhooks::EventKind;
use crate::db::{Db, shops};
use crate::error::ApiError;
use crate::events;
use chrono::TimeDelta;
use chrono_tz::Tz;
use domain::dispatch::planning::{PlannedRound, PlannedStop};
use std::collections::{BTreeMap, BTreeSet};

/// What publishing did, in jobs.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Published {
    pub assigned: usize,
    pub unassigned: usize,
}

/// Puts the rounds in force, if every job is still as it was when they were searched, and no place was given away since.
pub fn publish(
    db: &mut Db<'_>,
    plan: &RoundPlan,
    outcome: &Outcome,
    frozen: &BTreeSet<Id>,
) -> Result<Published, ApiError> {
    let shop = shops::find(db)?.ok_or(ApiError::NotFound)?;
    let (zone, promise_min) = (zone_of_shop(&shop)?, shop.fields.settings.0.rounds.promise_min);
    let ids: Vec<Id> = outcome.jobs.iter().map(|(id, _)| *id).collect();
    let jobs: BTreeMap<Id, Job> = jobs::among(db, &ids)?.into_iter().map(|job| (job.id, job)).collect();
    unchanged(outcome, &jobs)?;
    none_since(db, plan, outcome, zone)?;
    let told = promises::among(db, &ids)?;
    let mut crews = jobs::technicians(db, &ids)?;
    let places = places(outcome);
    let mut done = Published::default();
    for job in jobs.values() {
        let crew = crews.remove(&job.id).unwrap_or_default();
        match places.get(&job.id) {
            Some((round, stop)) => {
                let to = assignment(round, stop, zone);
                if (job.van, job.start_at, sorted(&crew)) != (to.van, to.start_at, sorted(&to.technicians)) {
                    assign(db, job, &to)?;
                    done.assigned += 1;
                }
                let (from, to) = window(job, told.get(&job.id), (stop, zone), promise_min);
                let promise = Promise {
                    job: job.id,
                    plan: Some(plan.id),
                    promised_from: from,
                    promised_to: to,
                    frozen: frozen.contains(&job.id),
                    made_at: db.now,
                };
                promises::put(db, &promise)?;
            }
            None => {
                promises::forget(db, job.id)?;
                if job.van.is_some() || job.start_at.is_some() || !crew.is_empty() {
                    assign(db, job, &Assignment { van: None, start_at: None, technicians: Vec::new() })?;
                    done.unassigned += 1;
                }
            }
        }
    }
    Ok(done)
}

/// Nobody has changed, begun or cancelled one of the jobs.
fn unchanged(outcome: &Outcome, jobs: &BTreeMap<Id, Job>) -> Result<(), ApiError> {
    let same = |id: &Id, rev: i32| {
        let open = |job: &Job| matches!(job.status.0, JobStatus::Booked | JobStatus::Planned);
        jobs.get(id).is_some_and(|job| job.rev == rev && open(job))
    };
    match outcome.jobs.iter().find(|(id, rev)| !same(id, *rev)) {
        None => Ok(()),
        Some((id, _)) => Err(outdated(format!("job {id} was changed"))),
    }
}

/// In these days all that has a place has the one that the search knew of: offers that are held, and jobs.
fn none_since(db: &mut Db<'_>, plan: &RoundPlan, outcome: &Outcome, zone: Tz) -> Result<(), ApiError> {
    let days = plan.ask.0.days();
    let (Some(&first), Some(&last)) = (days.first(), days.last()) else { return Ok(()) };
    let (from, to) = span(first, last, zone);
    let known: BTreeMap<Id, &Stood> = outcome.stood.iter().map(|stood| (stood.id, stood)).collect();
    let mut held = held_offers::live(db)?;
    held.retain(|held| from <= held.fields.start_at && held.fields.start_at < to);
    if let Some(held) = held.iter().find(|held| !known.contains_key(&held.id)) {
        return Err(outdated(format!("the offer {} was held", held.id)));
    }
    let mut placed = jobs::of_day(db, from, to)?;
    placed.retain(|job| job.start_at.is_some() && JobStatus::OPEN.contains(&job.status.0));
    let ids: Vec<Id> = placed.iter().map(|job| job.id).collect();
    let crews = jobs::technicians(db, &ids)?;
    let is_as_it_was = |job: &Job| {
        let crew = crews.get(&job.id).map_or(&[][..], Vec::as_slice);
        known.get(&job.id).is_some_and(|stood| {
            (stood.van, stood.start_at, &stood.people[..]) == (job.van, job.start_at, crew)
        })
    };
    match placed.iter().find(|job| !is_as_it_was(job)) {
        None => Ok(()),
        Some(job) => Err(outdated(format!("job {} was given a place", job.id))),
    }
}

fn outdated(what: String) -> ApiError {
    ApiError::conflict("rounds_outdated", format!("{what} since these rounds were searched: search again"))
}

fn places(outcome: &Outcome) -> BTreeMap<Id, (&PlannedRound, &PlannedStop)> {
    let stops =
        outcome.plan.rounds.iter().flat_map(|round| round.stops.iter().map(move |stop| (round, stop)));
    stops.filter_map(|(round, stop)| Some((stop.job.as_ref()?.parse().ok()?, (round, stop)))).collect()
}

fn assignment(round: &PlannedRound, stop: &PlannedStop, zone: Tz) -> Assignment {
    Assignment {
        van: round.van.parse().ok(),
        start_at: Some(instant(stop.starts_at, zone)),
        technicians: round.technicians.iter().filter_map(|id| id.parse().ok()).collect(),
    }
}

/// What the customer is told: what they were told before as long as the visit lies in it; else some minutes around the
/// visit, within the window that was booked as far as the visit itself is.
fn window(
    job: &Job,
    told: Option<&Promise>,
    (stop, zone): (&PlannedStop, Tz),
    minutes: u32,
) -> (Instant, Instant) {
    let (start, finish) = (instant(stop.starts_at, zone), instant(stop.finishes_at, zone));
    if let Some(told) = told.filter(|told| told.promised_from <= start && finish <= told.promised_to) {
        return (told.promised_from, told.promised_to);
    }
    let around = TimeDelta::minutes(i64::from(minutes));
    let from = start.plus(-around).max(job.fields.window_from).min(start);
    let to = finish.plus(around).min(job.fields.window_to).max(finish);
    (from, to.max(from.plus(TimeDelta::minutes(1))))
}

/// Says who goes when, and tells whoever listens.
pub fn assign(db: &mut Db<'_>, job: &Job, to: &Assignment) -> Result<(), ApiError> {
    if !jobs::assign(db, job.id, job.rev, to)? {
        return Err(ApiError::Stale);
    }
    let job = jobs::find(db, job.id)?.ok_or(ApiError::NotFound)?;
    events::job(db, EventKind::JobChanged, &job)
}

fn sorted(ids: &[Id]) -> Vec<Id> {
    let mut ids = ids.to_vec();
    ids.sort_unstable();
    ids
}
