//! Jobs that partner apps propose, until the office has answered.

use super::jobs::{JobFields, ordinary, typical};
use super::kinds::{Doc, Id, Instant, Word};
use super::schema::{booking, job, vehicle};
use super::{Db, MultiBackend};
use crate::check::{Check, Checker};
use diesel::prelude::*;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// What an app proposes.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema, Queryable, Selectable, Insertable)]
#[serde(deny_unknown_fields)]
#[diesel(table_name = booking)]
pub struct BookingFields {
    pub vehicle: Id,
    /// Package code of the handbook, for instance `P2`.
    #[schema(min_length = 1, max_length = 20, example = "P2")]
    pub package: String,
    /// Optional steps of the package that are wanted.
    #[serde(default)]
    #[schema(value_type = Vec<String>, max_items = 40)]
    pub options: Doc<Vec<String>>,
    pub window_from: Instant,
    /// Later than `window_from`, by 31 days at most.
    pub window_to: Instant,
    /// Soiling as told: 0 none to 4 exceptional.
    #[serde(default = "typical")]
    #[schema(minimum = 0, maximum = 4)]
    pub booked_grade: i32,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 2000)]
    pub note: Option<String>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum BookingStatus {
    Proposed,
    /// There is a job for it.
    Accepted,
    Declined,
    /// Taken back by the app.
    Withdrawn,
}

#[derive(Debug, Clone, Serialize, ToSchema, Queryable, Selectable)]
#[diesel(table_name = booking)]
pub struct Booking {
    pub id: Id,
    pub rev: i32,
    pub created_at: Instant,
    pub app: Id,
    #[schema(value_type = BookingStatus)]
    pub status: Word<BookingStatus>,
    /// Why it was declined.
    pub reason: Option<String>,
    /// The job that came of it.
    pub job: Option<Id>,
    pub settled_at: Option<Instant>,
    #[serde(flatten)]
    #[diesel(embed)]
    pub fields: BookingFields,
}

impl BookingFields {
    /// The job that it would become.
    pub fn job(&self) -> JobFields {
        JobFields {
            vehicle: self.vehicle,
            package: self.package.clone(),
            options: self.options.clone(),
            window_from: self.window_from,
            window_to: self.window_to,
            booked_grade: self.booked_grade,
            note: self.note.clone(),
            rework_of: None,
            priority: ordinary(),
            links: Doc::default(),
            other_windows: Doc(Vec::new()),
        }
    }
}

impl Check for BookingFields {
    fn check(&self, found: &mut Checker) {
        self.job().check(found);
    }
}

pub fn insert(db: &mut Db<'_>, id: Id, app: Id, fields: &BookingFields) -> QueryResult<()> {
    let made = (
        booking::shop.eq(db.shop),
        booking::id.eq(id),
        booking::app.eq(app),
        fields,
        booking::status.eq(Word(BookingStatus::Proposed)),
        booking::rev.eq(1),
        booking::created_at.eq(db.now),
    );
    diesel::insert_into(booking::table).values(made).execute(db.conn).map(|_| ())
}

/// A booking that was a job from the beginning, as the shop had offered its window.
pub fn insert_accepted(db: &mut Db<'_>, id: Id, app: Id, fields: &BookingFields, job: Id) -> QueryResult<()> {
    insert(db, id, app, fields)?;
    settle(db, id, BookingStatus::Accepted, None, Some(job)).map(|_| ())
}

/// Those that became a job of these customers', and those for their vehicles that never became one.
fn of_customers(shop: Id, of: &[Id]) -> booking::BoxedQuery<'static, MultiBackend> {
    let jobs = job::table.filter(job::shop.eq(shop).and(job::customer.eq_any(of.to_vec())));
    let vehicles = vehicle::table.filter(vehicle::shop.eq(shop).and(vehicle::customer.eq_any(of.to_vec())));
    let jobless = booking::job.is_null().and(booking::vehicle.eq_any(vehicles.select(vehicle::id)));
    booking::table
        .filter(booking::shop.eq(shop))
        .filter(booking::job.eq_any(jobs.select(job::id.nullable())).or(jobless))
        .into_boxed()
}

/// Those of customers for whom the caller may act.
fn reached(db: &Db<'_>) -> booking::BoxedQuery<'static, MultiBackend> {
    match &db.granted {
        Some(granted) => of_customers(db.shop, granted),
        None => booking::table.filter(booking::shop.eq(db.shop)).into_boxed(),
    }
}

/// A booking, if the caller may act for its customer.
pub fn find(db: &mut Db<'_>, id: Id) -> QueryResult<Option<Booking>> {
    reached(db).filter(booking::id.eq(id)).select(Booking::as_select()).first(db.conn).optional()
}

/// Those of customers for whom the caller may act, the newest first; of an app, in a state, or all.
pub fn list(
    db: &mut Db<'_>,
    app: Option<Id>,
    status: Option<BookingStatus>,
    before: Option<Id>,
    limit: i64,
) -> QueryResult<Vec<Booking>> {
    let mut rows = reached(db);
    if let Some(app) = app {
        rows = rows.filter(booking::app.eq(app));
    }
    if let Some(status) = status {
        rows = rows.filter(booking::status.eq(Word(status)));
    }
    if let Some(before) = before {
        rows = rows.filter(booking::id.lt(before));
    }
    rows.order(booking::id.desc()).limit(limit).select(Booking::as_select()).load(db.conn)
}

/// Those that became a job of a customer's, and those for their vehicles that never became one, the oldest first.
pub fn of_customer(db: &mut Db<'_>, of: Id) -> QueryResult<Vec<Booking>> {
    of_customers(db.shop, &[of]).order(booking::id).select(Booking::as_select()).load(db.conn)
}

/// The jobs that came of an app's bookings.
pub fn jobs_of(db: &mut Db<'_>, app: Id) -> QueryResult<Vec<Id>> {
    booking::table
        .filter(booking::shop.eq(db.shop).and(booking::app.eq(app)).and(booking::job.is_not_null()))
        .select(booking::job.assume_not_null())
        .load(db.conn)
}

/// Answers a proposal that nobody has answered yet; false if somebody was faster.
pub fn settle(
    db: &mut Db<'_>,
    id: Id,
    status: BookingStatus,
    reason: Option<&str>,
    job: Option<Id>,
) -> QueryResult<bool> {
    let row = booking::table.find((db.shop, id)).filter(booking::status.eq(Word(BookingStatus::Proposed)));
    let set = (
        booking::status.eq(Word(status)),
        booking::reason.eq(reason),
        booking::job.eq(job),
        booking::settled_at.eq(db.now),
        booking::rev.eq(booking::rev + 1),
    );
    Ok(diesel::update(row).set(set).execute(db.conn)? == 1)
}
