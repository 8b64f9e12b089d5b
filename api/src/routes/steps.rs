//! The work itself: steps recorded as they are done, and the end of the job.

use super::jobs::{JobView, going_on, view, visible, with_reworked};
use super::{Answer, Shared, inspections::findings_fit, listed, unless_stale};
use crate::auth::Caller;
use crate::check::{Check, Checker};
use crate::db::inspections::check_findings;
use crate::db::jobs::{self, Job, JobStatus};
use crate::db::kinds::{Id, Instant};
use crate::db::step_states::{self, NewAct, StepHistory};
use crate::db::steps::{self, FinishedStep, NewStep, Outcome, StepFields};
use crate::db::webhooks::EventKind;
use crate::db::{Db, observations, people, plans, vehicles};
use crate::error::ApiError;
use crate::events;
use crate::extract::{Body, IfMatch, Key, Optional};
use crate::handbooks::Handbooks;
use crate::norms;
use crate::page::Page;
use crate::plan_input::zone_of;
use crate::reply::Reply;
use crate::throughput::roll_ups;
use crate::upkeep;
use actix_web::{get, post};
use chrono::TimeDelta;
use domain::handbook::Handbook;
use domain::inspection::Finding;
use domain::sync::{StepAct, StepState};
use domain::upkeep::{CoatsAfter, DoneStep, History, coats_after};
use serde::Deserialize;
use utoipa::ToSchema;

/// How far a phone's clock may run ahead of ours.
pub const CLOCK_LEEWAY: TimeDelta = TimeDelta::minutes(5);

/// The recorded steps of a job, in the order in which they were begun.
#[utoipa::path(
    tag = "jobs",
    params(("id" = Id, Path)),
    responses((status = 200, body = Page<FinishedStep>, description = "All of them"))
)]
#[get("/v1/jobs/{id}/steps")]
pub async fn list_steps(app: Shared, caller: Caller, key: Key) -> Answer {
    let technician = caller.only_own_work();
    let items = app
        .read(&caller, move |db| {
            visible(db, key.0, technician)?;
            Ok(steps::list(db, key.0)?)
        })
        .await?;
    listed(&Page::whole(items))
}

/// How the steps of a job stand that anything was said of, with who began, did, left out or reopened each, and why. Done beats
/// left out, and both stay here.
#[utoipa::path(
    tag = "jobs",
    params(("id" = Id, Path)),
    responses((status = 200, body = Page<StepHistory>, description = "All of them, by step"))
)]
#[get("/v1/jobs/{id}/step-states")]
pub async fn list_step_states(app: Shared, caller: Caller, key: Key) -> Answer {
    let technician = caller.only_own_work();
    let items = app.read(&caller, move |db| {
        visible(db, key.0, technician)?;
        Ok(step_states::histories(db, key.0)?)
    });
    listed(&Page::whole(items.await?))
}

/// Records what one technician did on one step. The first one starts the job.
///
/// Two technicians on one step are two records; a step that the plan does not have may be recorded all the same. A phone
/// that was out of reach sends it later, also after the job was finished, and may send it again: the same record is
/// stored once.
#[utoipa::path(
    tag = "jobs",
    params(("id" = Id, Path)),
    request_body(content = StepFields, example = json!({
        "step": "D03",
        "technician": "01890000-0000-7000-8000-000000000000",
        "started_at": "2026-05-04T10:12:00+02:00",
        "minutes": 9.5,
        "loops": 0,
        "water_l": 0.0,
        "products": [{ "product": "iron_remover", "ml": 240.0 }],
        "panel_c": 24.0,
        "outcome": "passed"
    })),
    responses(
        (status = 201, body = FinishedStep, description = "Recorded"),
        (status = 200, body = FinishedStep, description = "It was recorded before")
    )
)]
#[post("/v1/jobs/{id}/steps")]
pub async fn record_step(app: Shared, caller: Caller, key: Key, body: Body<StepFields>) -> Answer {
    let (who, handbooks) = ((caller.only_own_work(), caller.person()?), app.handbooks.clone());
    app.once(
        &caller,
        move |db| {
            let id = Id::new(db.now);
            record(db, &handbooks, who, (key.0, id), &body.0)
        },
        move |(step, is_new)| match is_new {
            true => Reply::created(step, step.rev, format!("/v1/jobs/{}/steps", key.0)),
            false => Reply::ok(step, step.rev),
        },
    )
    .await
}

/// Who tells something of a job: the technician who is held to their own work, if it is one, and the person.
pub type Teller = (Option<Id>, Id);

/// Records a step under `id`, unless the same record is there; tells whether it is new.
pub fn record(
    db: &mut Db<'_>,
    handbooks: &Handbooks,
    (technician, by): Teller,
    (job, id): (Id, Id),
    fields: &StepFields,
) -> Result<(FinishedStep, bool), ApiError> {
    let handbook = handbooks.of(db)?;
    let moment = (fields.technician, fields.started_at);
    roll_ups::keep_steps(db, &handbook, job, &[moment], |db| {
        let job = worked(db, job, technician)?;
        if let Some(known) = steps::repeated(db, job.id, fields)? {
            return Ok((known, false));
        }
        let mut found = Checker::default();
        before_the_end(&mut found, &job, fields);
        recordable(db, &mut found, &job, &handbook, technician, fields)?;
        found.finish()?;
        store(db, &job, (id, by), fields)?;
        if job.finished_at.is_some() {
            upkeep::changed(db, handbooks, job.fields.vehicle)?;
        }
        Ok((steps::find(db, job.id, id)?.ok_or(ApiError::NotFound)?, true))
    })
}

/// Stores a record; the first one begins the job.
fn store(db: &mut Db<'_>, job: &Job, (id, by): (Id, Id), fields: &StepFields) -> Result<(), ApiError> {
    let norm = norms::norm_of(db, job.id, &fields.step)?;
    let worked_on = fields.started_at.local(zone_of(db, None)?).date();
    steps::insert(
        db,
        &NewStep { job: job.id, van: job.van, id, fields, norm, worked_on, recorded_by: Some(by) },
    )?;
    if job.status.0 == JobStatus::Planned {
        let plan = plans::newest_version(db, job.id)?;
        unless_stale(jobs::begin(db, job.id, job.rev, plan)?)?;
    }
    let act =
        NewAct { job: job.id, id, step: &fields.step, act: StepAct::Complete, reason: None, by_person: by };
    mark(db, &act).map(|_| ())
}

/// Notes what is said of a step; tells whether that changed how it stands. The job must be locked.
pub fn mark(db: &mut Db<'_>, new: &NewAct<'_>) -> Result<bool, ApiError> {
    let stored = step_states::find(db, new.job, new.step)?;
    let before = stored
        .map_or_else(StepState::default, |stored| StepState { status: stored.status.0, rev: stored.rev });
    let after = before.after(new.act).map_err(|e| ApiError::conflict("step_changed", e.to_string()))?;
    step_states::put(db, new, after)?;
    Ok(after != before)
}

/// How the vehicle was left.
#[derive(Debug, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct FinishFields {
    /// What is still there, as an inspection would say it.
    #[serde(default)]
    #[schema(max_items = 500)]
    pub grades_after: Vec<Finding>,
    /// When the work ended; absent: now.
    #[serde(default)]
    pub finished_at: Option<Instant>,
}

impl Check for FinishFields {
    fn check(&self, found: &mut Checker) {
        check_findings(found, "grades_after", &self.grades_after);
    }
}

/// Finishes a job, once. The coats that its steps laid are entered into the vehicle.
#[utoipa::path(
    tag = "jobs",
    params(("id" = Id, Path)),
    request_body(content = Option<FinishFields>, example = json!({
        "grades_after": [{ "zone": "doors", "contaminant": "fallout_iron", "grade": 0, "evidence": "felt" }]
    })),
    responses((status = 200, body = JobView, description = "Finished"))
)]
#[post("/v1/jobs/{id}/finish")]
pub async fn finish_job(
    app: Shared,
    caller: Caller,
    key: Key,
    seen: IfMatch,
    body: Optional<FinishFields>,
) -> Answer {
    let (who, handbooks) = ((caller.only_own_work(), caller.person()?), app.handbooks.clone());
    app.once(
        &caller,
        move |db| finish(db, &handbooks, who, (key.0, Some(&seen)), &body.0),
        move |view| Reply::ok(view, view.job.rev),
    )
    .await
}

/// Finishes a job; whoever saw it says which revision.
pub fn finish(
    db: &mut Db<'_>,
    handbooks: &Handbooks,
    (technician, by): Teller,
    (job, seen): (Id, Option<&IfMatch>),
    FinishFields { grades_after, finished_at }: &FinishFields,
) -> Result<JobView, ApiError> {
    let (handbook, touched) = (handbooks.of(db)?, with_reworked(db, job)?);
    roll_ups::keep(db, &handbook, &touched, |db| {
        let job = planned(db, job, technician)?;
        seen.map_or(Ok(()), |seen| seen.allows(job.rev))?;
        let done = steps::list(db, job.id)?;
        let at = finished_at.unwrap_or(db.now);
        finishable(db, &job, &handbook, &done, grades_after, at)?;
        let at = at.min(db.now);
        unless_stale(jobs::finish(db, job.id, job.rev, (at, Some(by)), grades_after)?)?;
        enter_coats(db, &job, &handbook, &done, (at, by))?;
        upkeep::changed(db, handbooks, job.fields.vehicle)?;
        let view = view(db, job.id)?;
        events::job(db, EventKind::JobFinished, &view.job)?;
        Ok(view)
    })
}

/// The visible job, locked, if it has a plan and is not cancelled: what was done on a finished one may be told later.
pub fn worked(db: &mut Db<'_>, id: Id, technician: Option<Id>) -> Result<Job, ApiError> {
    jobs::find_locked(db, id)?;
    let job = visible(db, id, technician)?;
    match job.status.0 {
        JobStatus::Booked => Err(ApiError::conflict("job_not_planned", "the job has no plan yet")),
        JobStatus::Cancelled => going_on(&job).map(|()| job),
        JobStatus::Planned | JobStatus::Started | JobStatus::Finished => Ok(job),
    }
}

/// The same, if the job is not over.
fn planned(db: &mut Db<'_>, id: Id, technician: Option<Id>) -> Result<Job, ApiError> {
    let job = worked(db, id, technician)?;
    going_on(&job)?;
    Ok(job)
}

/// A step cannot have begun after its job was finished.
pub fn before_the_end(found: &mut Checker, job: &Job, fields: &StepFields) {
    if let Some(end) = job.finished_at.filter(|end| fields.started_at > end.plus(CLOCK_LEEWAY)) {
        found.refuse("started_at", "after_finish", format!("the job was finished at {end}"));
    }
}

/// Step, products and technician exist, and the step has begun. A technician records for the job's own crew.
pub fn recordable(
    db: &mut Db<'_>,
    found: &mut Checker,
    job: &Job,
    handbook: &Handbook,
    by_technician: Option<Id>,
    fields: &StepFields,
) -> Result<(), ApiError> {
    if handbook.step(&fields.step).is_none() {
        found.refuse("step", "unknown", format!("the handbook has no step {:?}", fields.step));
    }
    for (i, used) in fields.products.0.iter().enumerate() {
        if handbook.product(&used.product).is_none() {
            let text = format!("the handbook has no product class {:?}", used.product);
            found.refuse(format!("products/{i}/product"), "unknown", text);
        }
    }
    if people::active_among(db, &[fields.technician])?.is_empty() {
        found.refuse("technician", "unknown", "there is no such active person");
    } else if by_technician.is_some() && !jobs::is_done_by(db, job.id, fields.technician)? {
        found.refuse("technician", "not_assigned", "does not go with this job");
    }
    not_ahead(found, "started_at", fields.started_at, db.now);
    Ok(())
}

/// The zones are the vehicle's, and the end lies between the last step and now.
fn finishable(
    db: &mut Db<'_>,
    job: &Job,
    handbook: &Handbook,
    done: &[FinishedStep],
    left: &[Finding],
    at: Instant,
) -> Result<(), ApiError> {
    let mut found = Checker::default();
    let vehicle = vehicles::find(db, job.fields.vehicle)?.ok_or(ApiError::NotFound)?;
    findings_fit(&mut found, "grades_after", left, vehicle.fields.document.0.class, handbook);
    not_ahead(&mut found, "finished_at", at, db.now);
    let last = done.iter().map(|step| step.fields.started_at).max();
    if let Some(last) = last.filter(|last| *last > at.plus(CLOCK_LEEWAY)) {
        found.refuse("finished_at", "before_last_step", format!("the last step was begun at {last}"));
    }
    found.finish()
}

pub fn not_ahead(found: &mut Checker, field: &str, at: Instant, now: Instant) {
    if at > now.plus(CLOCK_LEEWAY) {
        found.refuse(field, "in_the_future", format!("{at} is still to come"));
    }
}

/// Enters into the vehicle what the steps that passed laid on it and took off it. What is gone is noted, too: its people
/// believe that it is there.
fn enter_coats(
    db: &mut Db<'_>,
    job: &Job,
    handbook: &Handbook,
    done: &[FinishedStep],
    (at, by): (Instant, Id),
) -> Result<(), ApiError> {
    let mut vehicle = vehicles::find_locked(db, job.fields.vehicle)?.ok_or(ApiError::NotFound)?;
    let passed = done.iter().map(|step| &step.fields).filter(|step| step.outcome.0 == Outcome::Passed);
    let passed: Vec<DoneStep> = passed
        .map(|step| DoneStep {
            step: step.step.clone(),
            products: step.products.0.iter().map(|used| used.product.clone()).collect(),
        })
        .collect();
    let on = at.local(zone_of(db, None)?).date();
    let CoatsAfter { coats, stripped } = coats_after(handbook, &vehicle.fields.document.0, &passed, on);
    if !stripped.is_empty() {
        let gone = History { stripped, ..History::default() };
        observations::insert(db, vehicle.id, Id::new(db.now), by, &gone)?;
    }
    if coats != vehicle.fields.document.0.coats {
        vehicle.fields.document.0.coats = coats;
        unless_stale(vehicles::update(db, vehicle.id, vehicle.rev, &vehicle.fields)?)?;
    }
    Ok(())
}
