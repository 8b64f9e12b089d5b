//! The one text of a job that crew and office change in place.

use super::Db;
use super::kinds::{Id, Instant};
use super::schema::crew_note;
use super::sync::Kind;
use diesel::prelude::*;
use serde::Serialize;
use utoipa::ToSchema;

#[derive(Debug, Clone, Serialize, ToSchema, Queryable, Selectable)]
#[diesel(table_name = crew_note)]
pub struct CrewNote {
    pub job: Id,
    pub text: String,
    /// The phone that wrote it; absent: the office.
    pub device: Option<Id>,
    pub by_person: Id,
    pub at: Instant,
    /// `edit_note` names the one that was seen.
    pub rev: i32,
}

pub fn find(db: &mut Db<'_>, job: Id) -> QueryResult<Option<CrewNote>> {
    crew_note::table.find((db.shop, job)).select(CrewNote::as_select()).first(db.conn).optional()
}

/// Those of these jobs, in no order.
pub fn of_jobs(db: &mut Db<'_>, jobs: &[Id]) -> QueryResult<Vec<CrewNote>> {
    crew_note::table
        .filter(crew_note::shop.eq(db.shop).and(crew_note::job.eq_any(jobs.to_vec())))
        .select(CrewNote::as_select())
        .load(db.conn)
}

/// Writes the text in the place of what was there. The job must be locked.
pub fn put(db: &mut Db<'_>, job: Id, by_person: Id, device: Option<Id>, text: &str) -> QueryResult<()> {
    db.touch_of_job(job, Kind::Note, job);
    let set = (
        (crew_note::text.eq(text.to_owned()), crew_note::device.eq(device)),
        (crew_note::by_person.eq(by_person), crew_note::at.eq(db.now)),
    );
    let row = crew_note::table.find((db.shop, job));
    if diesel::update(row).set((set.clone(), crew_note::rev.eq(crew_note::rev + 1))).execute(db.conn)? == 1 {
        return Ok(());
    }
    let made = (crew_note::shop.eq(db.shop), crew_note::job.eq(job), set, crew_note::rev.eq(1));
    diesel::insert_into(crew_note::table).values(made).execute(db.conn).map(|_| ())
}
