//! What was done to vehicles and found on them, over all their jobs.

use super::Db;
use super::jobs::JobStatus;
use super::kinds::{Doc, Id, Instant, Word};
use super::schema::{inspection, job, step_record};
use super::steps::{Outcome, ProductUse};
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
    pub products: Doc<Vec<ProductUse>>,
    pub outcome: Word<Outcome>,
}

/// An inspection. What was felt stays true if its job is cancelled.
#[derive(Debug, Clone, Queryable)]
pub struct Seen {
    pub vehicle: Id,
    pub at: Instant,
    pub document: Doc<Inspection>,
}

/// Of these vehicles, in the order in which they were finished.
pub fn finished_jobs(db: &mut Db<'_>, vehicles: &[Id]) -> QueryResult<Vec<FinishedJob>> {
    job::table
        .filter(job::shop.eq(db.shop).and(job::vehicle.eq_any(vehicles.to_vec())))
        .filter(job::status.eq(Word(JobStatus::Finished)))
        .order((job::finished_at, job::id))
        .select((job::id, job::vehicle, job::finished_at, job::grades_after))
        .load(db.conn)
}

/// The steps of these jobs, in the order in which they were begun.
pub fn steps(db: &mut Db<'_>, vehicles: &[Id]) -> QueryResult<Vec<DoneStep>> {
    step_record::table
        .inner_join(job::table.on(job::shop.eq(step_record::shop).and(job::id.eq(step_record::job))))
        .filter(job::shop.eq(db.shop).and(job::vehicle.eq_any(vehicles.to_vec())))
        .filter(job::status.eq(Word(JobStatus::Finished)))
        .order((step_record::started_at, step_record::id))
        .select((step_record::job, step_record::step, step_record::product, step_record::outcome))
        .load(db.conn)
}

/// Inspections of these vehicles, oldest first.
pub fn inspections(db: &mut Db<'_>, vehicles: &[Id]) -> QueryResult<Vec<Seen>> {
    inspection::table
        .inner_join(job::table.on(job::shop.eq(inspection::shop).and(job::id.eq(inspection::job))))
        .filter(job::shop.eq(db.shop).and(job::vehicle.eq_any(vehicles.to_vec())))
        .order((inspection::at, inspection::id))
        .select((job::vehicle, inspection::at, inspection::document))
        .load(db.conn)
}
