//! Weeks that the owner has closed, with their figures as they were then.

use super::Db;
use super::kinds::{Doc, Id, Instant};
use super::schema::{closed_week, person};
use chrono::NaiveDate;
use diesel::prelude::*;
use domain::throughput::{JobFigures, Sheet};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// The figures of a week when it was closed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Snapshot {
    pub sheet: Sheet,
    pub jobs: Vec<JobFigures>,
}

/// That a week is closed.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema, Queryable)]
pub struct ClosedWeek {
    /// Its Monday.
    pub week_on: NaiveDate,
    pub closed_at: Instant,
    pub by_person: Id,
    /// What that person is called now.
    pub by_name: String,
}

pub fn insert(db: &mut Db<'_>, week_on: NaiveDate, by_person: Id, snapshot: Snapshot) -> QueryResult<()> {
    let made = (
        closed_week::shop.eq(db.shop),
        closed_week::week_on.eq(week_on),
        closed_week::document.eq(Doc(snapshot)),
        closed_week::closed_at.eq(db.now),
        closed_week::by_person.eq(by_person),
    );
    diesel::insert_into(closed_week::table).values(made).execute(db.conn).map(|_| ())
}

pub fn find(db: &mut Db<'_>, week_on: NaiveDate) -> QueryResult<Option<(ClosedWeek, Snapshot)>> {
    let by = person::shop.eq(closed_week::shop).and(person::id.eq(closed_week::by_person));
    let row: Option<(ClosedWeek, Doc<Snapshot>)> = closed_week::table
        .inner_join(person::table.on(by))
        .filter(closed_week::shop.eq(db.shop).and(closed_week::week_on.eq(week_on)))
        .select((
            (closed_week::week_on, closed_week::closed_at, closed_week::by_person, person::name),
            closed_week::document,
        ))
        .first(db.conn)
        .optional()?;
    Ok(row.map(|(week, snapshot)| (week, snapshot.0)))
}

/// The newest first.
pub fn list(db: &mut Db<'_>) -> QueryResult<Vec<ClosedWeek>> {
    let by = person::shop.eq(closed_week::shop).and(person::id.eq(closed_week::by_person));
    closed_week::table
        .inner_join(person::table.on(by))
        .filter(closed_week::shop.eq(db.shop))
        .order(closed_week::week_on.desc())
        .select((closed_week::week_on, closed_week::closed_at, closed_week::by_person, person::name))
        .load(db.conn)
}
