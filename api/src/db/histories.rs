//! What was done to vehicles and found on them, over all their jobs.

use super::Db;
use super::jobs::JobStatus;
use super::kinds::{Doc, Id, Instant, Word};
use super::schema::{inspection, job, step_record};
use super::steps::Outcome;
use diesel::prelude::*;
use domain::inspection::{Finding, Inspection};

/// A finished job.
#[derive(Debug, Clone, Queryable)]
pub struct FinishedJob {
    pub id: Id,
    pub vehicle: Id,
    pub finished_at: Option<Instant>,
    pub grades_after: Option<Doc<Vec<Finding>>>,
}

/// A step of a finished job.
#[derive(Debug, Clone, Queryable)]
pub struct DoneStep {
    pub job: Id,
    pub step: String,
    pub outcome: Word<Outcome>,
}

/// An inspection. What was felt stays true if its job is cancelled.
#[derive(Debug, Clone, Queryable)]
pub struct Seen {
    pub vehicle: Id,
    pub at: Instant,
    pub document: Doc<Inspection>,
}

/// Of one vehicle or of all, in the order in which they were finished.
pub fn finished_jobs(db: &mut Db<'_>, vehicle: Option<Id>) -> QueryResult<Vec<FinishedJob>> {
    let mut rows =
        job::table.filter(job::shop.eq(db.shop).and(job::status.eq(Word(JobStatus::Finished)))).into_boxed();
    if let Some(vehicle) = vehicle {
        rows = rows.filter(job::vehicle.eq(vehicle));
    }
    rows.order((job::finished_at, job::id))
        .select((job::id, job::vehicle, job::finished_at, job::grades_after))
        .load(db.conn)
}

/// The steps of these jobs, in the order in which they were begun.
pub fn steps(db: &mut Db<'_>, vehicle: Option<Id>) -> QueryResult<Vec<DoneStep>> {
    let mut rows = step_record::table
        .inner_join(job::table.on(job::shop.eq(step_record::shop).and(job::id.eq(step_record::job))))
        .filter(step_record::shop.eq(db.shop).and(job::status.eq(Word(JobStatus::Finished))))
        .into_boxed();
    if let Some(vehicle) = vehicle {
        rows = rows.filter(job::vehicle.eq(vehicle));
    }
    rows.order((step_record::started_at, step_record::id))
        .select((step_record::job, step_record::step, step_record::outcome))
        .load(db.conn)
}

/// Inspections of one vehicle or of all, oldest first.
pub fn inspections(db: &mut Db<'_>, vehicle: Option<Id>) -> QueryResult<Vec<Seen>> {
    let mut rows = inspection::table
        .inner_join(job::table.on(job::shop.eq(inspection::shop).and(job::id.eq(inspection::job))))
        .filter(inspection::shop.eq(db.shop))
        .into_boxed();
    if let Some(vehicle) = vehicle {
        rows = rows.filter(job::vehicle.eq(vehicle));
    }
    rows.order((inspection::at, inspection::id))
        .select((job::vehicle, inspection::at, inspection::document))
        .load(db.conn)
}
