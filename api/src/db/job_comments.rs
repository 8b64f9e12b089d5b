//! Words to a job. They are never changed.

use super::Db;
use super::kinds::{Id, Instant};
use super::schema::job_comment;
use super::sync::Kind;
use crate::on_either;
use diesel::prelude::*;
use serde::Serialize;
use utoipa::ToSchema;

#[derive(Debug, Clone, Serialize, ToSchema, Queryable, Selectable)]
#[diesel(table_name = job_comment)]
pub struct JobComment {
    pub job: Id,
    pub id: Id,
    pub text: String,
    pub by_person: Id,
    pub at: Instant,
}

pub fn insert(db: &mut Db<'_>, job: Id, id: Id, by_person: Id, text: &str) -> QueryResult<()> {
    db.touch_of_job(job, Kind::Comment, id);
    let made = (
        (job_comment::shop.eq(db.shop), job_comment::job.eq(job), job_comment::id.eq(id)),
        (job_comment::text.eq(text.to_owned()), job_comment::by_person.eq(by_person)),
        job_comment::at.eq(db.now),
    );
    on_either!(db, |conn| diesel::insert_into(job_comment::table).values(made).execute(conn)).map(|_| ())
}

/// Those of these jobs, the oldest first.
pub fn of_jobs(db: &mut Db<'_>, jobs: &[Id]) -> QueryResult<Vec<JobComment>> {
    job_comment::table
        .filter(job_comment::shop.eq(db.shop).and(job_comment::job.eq_any(jobs.to_vec())))
        .order((job_comment::at, job_comment::id))
        .select(JobComment::as_select())
        .load(db.conn)
}
