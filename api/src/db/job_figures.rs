//! Jobs as their records add up: one row for each job that is not cancelled, kept by `throughput::roll_ups`.

use super::Db;
use super::kinds::{Doc, Id};
use super::schema::job_figures;
use chrono::NaiveDate;
use diesel::prelude::*;
use domain::throughput::JobFigures;
use std::collections::BTreeMap;

/// Stores a job's row in the place of its earlier one.
pub fn put(db: &mut Db<'_>, job: Id, figures: &JobFigures) -> QueryResult<()> {
    let document = Doc(figures.clone());
    let set = (job_figures::counted_on.eq(figures.business.on), job_figures::document.eq(&document));
    if diesel::update(job_figures::table.find((db.shop, job))).set(set).execute(db.conn)? == 1 {
        return Ok(());
    }
    let made = (job_figures::shop.eq(db.shop), job_figures::job.eq(job), set);
    diesel::insert_into(job_figures::table).values(made).execute(db.conn).map(|_| ())
}

pub fn remove(db: &mut Db<'_>, job: Id) -> QueryResult<()> {
    diesel::delete(job_figures::table.find((db.shop, job))).execute(db.conn).map(|_| ())
}

/// Takes every row out.
pub fn clear(db: &mut Db<'_>) -> QueryResult<()> {
    diesel::delete(job_figures::table.filter(job_figures::shop.eq(db.shop))).execute(db.conn).map(|_| ())
}

/// Those of these jobs.
pub fn of_jobs(db: &mut Db<'_>, jobs: &[Id]) -> QueryResult<BTreeMap<Id, JobFigures>> {
    let rows: Vec<(Id, Doc<JobFigures>)> = job_figures::table
        .filter(job_figures::shop.eq(db.shop).and(job_figures::job.eq_any(jobs.to_vec())))
        .select((job_figures::job, job_figures::document))
        .load(db.conn)?;
    Ok(rows.into_iter().map(|(job, figures)| (job, figures.0)).collect())
}

/// Those counted on the days from `from` to `to`.
pub fn between(db: &mut Db<'_>, from: NaiveDate, to: NaiveDate) -> QueryResult<Vec<JobFigures>> {
    let rows: Vec<Doc<JobFigures>> = job_figures::table
        .filter(job_figures::shop.eq(db.shop).and(job_figures::counted_on.between(from, to)))
        .order((job_figures::counted_on, job_figures::job))
        .select(job_figures::document)
        .load(db.conn)?;
    Ok(rows.into_iter().map(|figures| figures.0).collect())
}
