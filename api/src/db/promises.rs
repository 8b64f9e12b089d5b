//! What customers were told when rounds were published. Who goes when stands with the job.

use super::Db;
use super::kinds::{Id, Instant};
use super::schema::promise;
use diesel::prelude::*;
use serde::Serialize;
use std::collections::BTreeMap;
use utoipa::ToSchema;

/// A promise for a job's visit: planning again keeps it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, ToSchema, Queryable, Selectable, Insertable)]
#[diesel(table_name = promise)]
pub struct Promise {
    pub job: Id,
    /// The rounds that were published; absent for a window that was offered and taken.
    pub plan: Option<Id>,
    /// The work begins and ends in it.
    pub promised_from: Instant,
    pub promised_to: Instant,
    /// The visit stays exactly where it is.
    pub frozen: bool,
    pub made_at: Instant,
}

/// Makes the promise in place of one before it.
pub fn put(db: &mut Db<'_>, promise: &Promise) -> QueryResult<()> {
    forget(db, promise.job)?;
    diesel::insert_into(promise::table)
        .values((promise::shop.eq(db.shop), promise))
        .execute(db.conn)
        .map(|_| ())
}

pub fn forget(db: &mut Db<'_>, job: Id) -> QueryResult<()> {
    diesel::delete(promise::table.find((db.shop, job))).execute(db.conn).map(|_| ())
}

/// Those for these jobs.
pub fn among(db: &mut Db<'_>, jobs: &[Id]) -> QueryResult<BTreeMap<Id, Promise>> {
    let rows: Vec<Promise> = promise::table
        .filter(promise::shop.eq(db.shop).and(promise::job.eq_any(jobs.to_vec())))
        .select(Promise::as_select())
        .load(db.conn)?;
    Ok(rows.into_iter().map(|promise| (promise.job, promise)).collect())
}
