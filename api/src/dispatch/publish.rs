//! Rounds become the ones in force: each job is assigned, and its customer's narrower window is noted as a promise.

use crate::day::{instant, zone_of_shop};
use crate::db::jobs::{self, Assignment, Job, JobStatus};
use crate::db::kinds::{Id, Instant};
use crate::db::promises::{self, Promise};
use crate::db::round_plans::Outcome;
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

/// Puts the rounds in force, if every job is still as it was when they were searched.
pub fn publish(
    db: &mut Db<'_>,
    plan: Id,
    outcome: &Outcome,
    frozen: &BTreeSet<Id>,
) -> Result<Published, ApiError> {
    let shop = shops::find(db)?.ok_or(ApiError::NotFound)?;
    let (zone, promise_min) = (zone_of_shop(&shop)?, shop.fields.settings.0.rounds.promise_min);
    let ids: Vec<Id> = outcome.jobs.iter().map(|(id, _)| *id).collect();
    let jobs: BTreeMap<Id, Job> = jobs::among(db, &ids)?.into_iter().map(|job| (job.id, job)).collect();
    unchanged(outcome, &jobs)?;
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
                let promise = promise(job, plan, (stop, zone), promise_min);
                promises::put(db, &Promise { frozen: frozen.contains(&job.id), made_at: db.now, ..promise })?;
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
        Some((id, _)) => Err(ApiError::conflict(
            "rounds_outdated",
            format!("job {id} was changed since these rounds were searched: search again"),
        )),
    }
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

/// Some minutes around the visit, within the window that was booked as far as the visit itself is.
fn promise(job: &Job, plan: Id, (stop, zone): (&PlannedStop, Tz), minutes: u32) -> Promise {
    let (start, finish) = (instant(stop.starts_at, zone), instant(stop.finishes_at, zone));
    let around = TimeDelta::minutes(i64::from(minutes));
    let from = start.plus(-around).max(job.fields.window_from).min(start);
    let to = finish.plus(around).min(job.fields.window_to).max(finish);
    Promise {
        job: job.id,
        plan: Some(plan),
        promised_from: from,
        promised_to: to.max(from.plus(TimeDelta::minutes(1))),
        frozen: false,
        made_at: Instant::from_utc(stop.starts_at),
    }
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
