//! Records of steps that were wrong: corrected or taken back, with the reason, and never without a trace.

use super::steps::{Teller, before_the_end, recordable};
use super::{Answer, Shared, jobs::visible, listed, unless_stale};
use crate::auth::Caller;
use crate::check::{Check, Checker};
use crate::db::Db;
use crate::db::jobs::{self, Job};
use crate::db::kinds::Id;
use crate::db::step_changes::{self, ChangeKind, NewChange, StepChange};
use crate::db::steps::{self, FinishedStep, StepFields};
use crate::error::ApiError;
use crate::extract::{Body, IfMatch, Key, RecordKey};
use crate::handbooks::Handbooks;
use crate::norms;
use crate::page::Page;
use crate::plan_input::zone_of;
use crate::reply::Reply;
use crate::throughput::roll_ups::{self, Moment};
use crate::upkeep;
use actix_web::{get, post};
use serde::Deserialize;
use utoipa::ToSchema;

/// Other values for a record.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct StepCorrection {
    /// What was wrong.
    #[schema(min_length = 1, max_length = 500)]
    pub reason: String,
    /// The whole record as it should have been.
    pub corrected: StepFields,
}

impl Check for StepCorrection {
    fn check(&self, found: &mut Checker) {
        found.line("reason", &self.reason, 500);
        found.within("corrected", |found| self.corrected.check(found));
    }
}

/// Why a record is taken back.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct StepVoid {
    #[schema(min_length = 1, max_length = 500)]
    pub reason: String,
}

impl Check for StepVoid {
    fn check(&self, found: &mut Checker) {
        found.line("reason", &self.reason, 500);
    }
}

/// Corrects the record of a step, also of a finished job. The record as it was is kept with the reason.
///
/// A technician corrects only their own records. Coats that were entered into the vehicle when the job was finished
/// stay as they are: change the vehicle if they are wrong.
#[utoipa::path(
    tag = "jobs",
    params(("id" = Id, Path), ("record" = Id, Path)),
    request_body(content = StepCorrection, example = json!({
        "reason": "the timer ran on over lunch",
        "corrected": {
            "step": "D03",
            "technician": "01890000-0000-7000-8000-000000000000",
            "started_at": "2026-05-04T10:12:00+02:00",
            "minutes": 9.5,
            "outcome": "passed"
        }
    })),
    responses((status = 200, body = FinishedStep, description = "The record as it is now"))
)]
#[post("/v1/jobs/{id}/steps/{record}/correction")]
pub async fn correct_step(
    app: Shared,
    caller: Caller,
    (key, record, seen): (Key, RecordKey, IfMatch),
    body: Body<StepCorrection>,
) -> Answer {
    let (who, handbooks) = ((caller.only_own_work(), caller.person()?), app.handbooks.clone());
    app.once(
        &caller,
        move |db| correct(db, &handbooks, who, (key.0, record.0, Some(&seen)), &body.0),
        move |step| Reply::ok(step, step.rev),
    )
    .await
}

/// A record of a job; whoever saw it says which revision.
pub type SeenRecord<'a> = (Id, Id, Option<&'a IfMatch>);

/// Puts other values in the place of a record's.
pub fn correct(
    db: &mut Db<'_>,
    handbooks: &Handbooks,
    (technician, by): Teller,
    (job, record, seen): SeenRecord<'_>,
    StepCorrection { reason, corrected }: &StepCorrection,
) -> Result<FinishedStep, ApiError> {
    let handbook = handbooks.of(db)?;
    let was = moment(db, job, record)?;
    let moments = [was, (corrected.technician, corrected.started_at)];
    roll_ups::keep_steps(db, &handbook, job, &moments, |db| {
        let (job, before) = changeable(db, job, record, technician, was)?;
        seen.map_or(Ok(()), |seen| seen.allows(before.rev))?;
        let mut found = Checker::default();
        found.within_or("corrected", |found| {
            before_the_end(found, &job, corrected);
            recordable(db, found, &job, &handbook, technician, corrected)
        })?;
        found.finish()?;
        store(db, &job, &before, (corrected, reason, by))?;
        upkeep::changed(db, handbooks, job.fields.vehicle)?;
        steps::find(db, job.id, record)?.ok_or(ApiError::NotFound)
    })
}

/// Takes the record of a step back, also of a finished job. It counts nowhere any more; what it was is kept with the
/// reason. A technician takes back only their own records.
#[utoipa::path(
    tag = "jobs",
    params(("id" = Id, Path), ("record" = Id, Path)),
    request_body(content = StepVoid, example = json!({ "reason": "recorded for the wrong job" })),
    responses((status = 200, body = StepChange, description = "Taken back"))
)]
#[post("/v1/jobs/{id}/steps/{record}/void")]
pub async fn void_step(
    app: Shared,
    caller: Caller,
    (key, record, seen): (Key, RecordKey, IfMatch),
    body: Body<StepVoid>,
) -> Answer {
    let (who, handbooks) = ((caller.only_own_work(), caller.person()?), app.handbooks.clone());
    app.once(
        &caller,
        move |db| void(db, &handbooks, who, (key.0, record.0, Some(&seen)), &body.0.reason),
        Reply::plain,
    )
    .await
}

/// Takes a record back.
pub fn void(
    db: &mut Db<'_>,
    handbooks: &Handbooks,
    (technician, by): Teller,
    (job, record, seen): SeenRecord<'_>,
    reason: &str,
) -> Result<StepChange, ApiError> {
    let handbook = handbooks.of(db)?;
    let was = moment(db, job, record)?;
    roll_ups::keep_steps(db, &handbook, job, &[was], |db| {
        let (job, before) = changeable(db, job, record, technician, was)?;
        seen.map_or(Ok(()), |seen| seen.allows(before.rev))?;
        let id = note(db, &job, &before, (ChangeKind::Voided, None, reason, by))?;
        steps::remove(db, job.id, before.id)?;
        upkeep::changed(db, handbooks, job.fields.vehicle)?;
        let changes = step_changes::of_job(db, job.id)?;
        changes.into_iter().find(|change| change.id == id).ok_or(ApiError::NotFound)
    })
}

/// What was corrected and taken back in the records of a job, the oldest first.
#[utoipa::path(
    tag = "jobs",
    params(("id" = Id, Path)),
    responses((status = 200, body = Page<StepChange>, description = "All of them"))
)]
#[get("/v1/jobs/{id}/step-changes")]
pub async fn list_step_changes(app: Shared, caller: Caller, key: Key) -> Answer {
    let technician = caller.only_own_work();
    let items = app
        .read(&caller, move |db| {
            visible(db, key.0, technician)?;
            Ok(step_changes::of_job(db, key.0)?)
        })
        .await?;
    listed(&Page::whole(items))
}

/// Whose record it is and when the step was begun.
fn moment(db: &mut Db<'_>, job: Id, record: Id) -> Result<Moment, ApiError> {
    let record = steps::find(db, job, record)?.ok_or(ApiError::NotFound)?;
    Ok((record.fields.technician, record.fields.started_at))
}

/// The job, locked, and its record, if this person may change it and nobody moved it meanwhile.
fn changeable(
    db: &mut Db<'_>,
    job: Id,
    record: Id,
    technician: Option<Id>,
    was: Moment,
) -> Result<(Job, FinishedStep), ApiError> {
    jobs::find_locked(db, job)?;
    let job = visible(db, job, technician)?;
    let before = steps::find(db, job.id, record)?.ok_or(ApiError::NotFound)?;
    unless_stale(was == (before.fields.technician, before.fields.started_at))?;
    if technician.is_some_and(|own| own != before.fields.technician) {
        return Err(ApiError::Forbidden("a technician changes only their own records"));
    }
    Ok((job, before))
}

/// A record of the same step keeps what it is measured against.
fn store(
    db: &mut Db<'_>,
    job: &Job,
    before: &FinishedStep,
    (fields, reason, by): (&StepFields, &str, Id),
) -> Result<(), ApiError> {
    note(db, job, before, (ChangeKind::Corrected, Some(fields), reason, by))?;
    let norm = norms::norm_of(db, job.id, &fields.step)?;
    let worked_on = fields.started_at.local(zone_of(db, None)?).date();
    steps::correct(db, job.id, before.id, (fields, norm, worked_on))?;
    Ok(())
}

fn note(
    db: &mut Db<'_>,
    job: &Job,
    before: &FinishedStep,
    (kind, after, reason, by_person): (ChangeKind, Option<&StepFields>, &str, Id),
) -> Result<Id, ApiError> {
    let (record, worked_on) = (before.id, before.worked_on);
    let before = &before.fields;
    let change = NewChange { job: job.id, record, kind, reason, before, after, worked_on, by_person };
    Ok(step_changes::insert(db, &change)?)
}
