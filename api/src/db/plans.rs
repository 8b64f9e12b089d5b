//! Plans of jobs, version by version.

use super::Db;
use super::kinds::{Doc, Id, Instant};
use super::schema::plan;
use super::sync::Kind;
use crate::kept_facts::KeptFacts;
use diesel::prelude::*;
use domain::plan::JobPlan;
use serde::Serialize;
use std::collections::BTreeMap;
use utoipa::ToSchema;

/// A plan as it was made.
#[derive(Debug, Clone, Serialize, ToSchema, Queryable, Selectable)]
#[diesel(table_name = plan)]
pub struct StoredPlan {
    /// 1, 2, ... of the job; the greatest is in force.
    pub version: i32,
    pub made_at: Instant,
    #[serde(flatten)]
    #[schema(value_type = JobPlan)]
    pub document: Doc<JobPlan>,
}

/// One version of a job's plan, without its content.
#[derive(Debug, Clone, Serialize, ToSchema, Queryable, Selectable)]
#[diesel(table_name = plan)]
pub struct PlanVersion {
    pub version: i32,
    pub made_at: Instant,
    /// Handbook it was made from.
    #[schema(example = "standard-cbf15a9b")]
    pub handbook: String,
    /// Shape of the document.
    pub format: i32,
}

/// Adds the next version and gives its number. The job must be locked.
pub fn insert(db: &mut Db<'_>, job: Id, document: &JobPlan, facts: KeptFacts) -> QueryResult<i32> {
    db.touch_of_job(job, Kind::Plan, job);
    let version = newest_version(db, job)?.unwrap_or(0) + 1;
    let made = (
        plan::shop.eq(db.shop),
        plan::job.eq(job),
        plan::version.eq(version),
        plan::handbook.eq(document.handbook.clone()),
        plan::format.eq(i32::try_from(document.format).unwrap_or(i32::MAX)),
        plan::document.eq(Doc(document.clone())),
        plan::made_at.eq(db.now),
        plan::facts.eq(Some(Doc(facts))),
    );
    diesel::insert_into(plan::table).values(made).execute(db.conn)?;
    Ok(version)
}

/// The number of the version in force.
pub fn newest_version(db: &mut Db<'_>, job: Id) -> QueryResult<Option<i32>> {
    plan::table
        .filter(plan::shop.eq(db.shop).and(plan::job.eq(job)))
        .select(diesel::dsl::max(plan::version))
        .first(db.conn)
}

/// The given version, or the one in force.
pub fn find(db: &mut Db<'_>, job: Id, version: Option<i32>) -> QueryResult<Option<StoredPlan>> {
    let mut rows = plan::table.filter(plan::shop.eq(db.shop).and(plan::job.eq(job))).into_boxed();
    if let Some(version) = version {
        rows = rows.filter(plan::version.eq(version));
    }
    rows.order(plan::version.desc()).select(StoredPlan::as_select()).first(db.conn).optional()
}

/// The versions in force of these jobs, as far as they have been planned.
pub fn in_force(db: &mut Db<'_>, jobs: &[Id]) -> QueryResult<BTreeMap<Id, JobPlan>> {
    let of_jobs = || plan::table.filter(plan::shop.eq(db.shop).and(plan::job.eq_any(jobs.to_vec())));
    let newest: Vec<(Id, Option<i32>)> =
        of_jobs().group_by(plan::job).select((plan::job, diesel::dsl::max(plan::version))).load(db.conn)?;
    let newest: BTreeMap<Id, Option<i32>> = newest.into_iter().collect();
    let mut versions: Vec<i32> = newest.values().flatten().copied().collect();
    versions.sort_unstable();
    versions.dedup();
    let rows: Vec<(Id, i32, Doc<JobPlan>)> = of_jobs()
        .filter(plan::version.eq_any(versions))
        .select((plan::job, plan::version, plan::document))
        .load(db.conn)?;
    let in_force = rows.into_iter().filter(|(job, version, _)| newest.get(job) == Some(&Some(*version)));
    Ok(in_force.map(|(job, _, document)| (job, document.0)).collect())
}

/// What a version was made from; none of plans made before this was kept.
pub fn facts(db: &mut Db<'_>, job: Id, version: i32) -> QueryResult<Option<KeptFacts>> {
    let facts: Option<Option<Doc<KeptFacts>>> =
        plan::table.find((db.shop, job, version)).select(plan::facts).first(db.conn).optional()?;
    Ok(facts.flatten().map(|kept| kept.0))
}

/// The newest first.
pub fn list(db: &mut Db<'_>, job: Id) -> QueryResult<Vec<PlanVersion>> {
    plan::table
        .filter(plan::shop.eq(db.shop).and(plan::job.eq(job)))
        .order(plan::version.desc())
        .select(PlanVersion::as_select())
        .load(db.conn)
}
