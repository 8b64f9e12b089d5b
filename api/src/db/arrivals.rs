//! When the crew was at the customer's place, after how long a drive, and whether the customer was there.

use super::Db;
use super::kinds::{Id, Instant};
use super::schema::{arrival, job_figures};
use super::sync::Kind;
use crate::check::{Check, Checker};
use chrono::NaiveDate;
use diesel::prelude::*;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// What the crew says of its arrival.
#[derive(
    Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema, Queryable, Selectable, Insertable, AsChangeset,
)]
#[serde(deny_unknown_fields)]
#[diesel(table_name = arrival, treat_none_as_null = true)]
pub struct ArrivalFields {
    pub arrived_at: Instant,
    /// Minutes on the road from the base or the customer before; the same for everybody in the van.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.0, maximum = 1440.0)]
    pub travel_min: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.0, maximum = 2000.0)]
    pub travel_km: Option<f64>,
    /// The customer or the vehicle was not there: the job ends with it.
    #[serde(default)]
    pub no_show: bool,
    /// How long the crew waited, minutes.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.0, maximum = 1440.0)]
    pub waited_min: Option<f64>,
    /// For a no-show the proof: who was called, where the card was left.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 2000)]
    pub note: Option<String>,
}

/// An arrival as stored.
#[derive(Debug, Clone, Serialize, ToSchema, Queryable, Selectable)]
#[diesel(table_name = arrival)]
pub struct Arrival {
    pub job: Id,
    pub by_person: Id,
    pub recorded_at: Instant,
    pub rev: i32,
    #[serde(flatten)]
    #[diesel(embed)]
    pub fields: ArrivalFields,
}

impl Check for ArrivalFields {
    fn check(&self, found: &mut Checker) {
        found.range_if_given("travel_min", self.travel_min, 0.0, 1440.0);
        found.range_if_given("travel_km", self.travel_km, 0.0, 2000.0);
        found.range_if_given("waited_min", self.waited_min, 0.0, 1440.0);
        found.note("note", self.note.as_deref(), 2000);
    }
}

pub fn find(db: &mut Db<'_>, job: Id) -> QueryResult<Option<Arrival>> {
    arrival::table.find((db.shop, job)).select(Arrival::as_select()).first(db.conn).optional()
}

/// Stores the arrival, in the place of an earlier one. The job must be locked.
pub fn put(db: &mut Db<'_>, job: Id, by_person: Id, fields: &ArrivalFields) -> QueryResult<()> {
    db.touch_of_job(job, Kind::Arrival, job);
    let row = arrival::table.find((db.shop, job));
    let by = (arrival::by_person.eq(by_person), arrival::recorded_at.eq(db.now));
    let again = (fields, by, arrival::rev.eq(arrival::rev + 1));
    if diesel::update(row).set(again).execute(db.conn)? == 1 {
        return Ok(());
    }
    let made = (arrival::shop.eq(db.shop), arrival::job.eq(job), fields, by, arrival::rev.eq(1));
    diesel::insert_into(arrival::table).values(made).execute(db.conn).map(|_| ())
}

/// Minutes driven to each job counted on the days from `from` to `to`, where they were noted.
pub fn travel(db: &mut Db<'_>, from: NaiveDate, to: NaiveDate) -> QueryResult<Vec<(Id, f64)>> {
    let of = job_figures::shop.eq(arrival::shop).and(job_figures::job.eq(arrival::job));
    arrival::table
        .inner_join(job_figures::table.on(of))
        .filter(arrival::shop.eq(db.shop).and(job_figures::counted_on.between(from, to)))
        .filter(arrival::travel_min.is_not_null())
        .select((arrival::job, arrival::travel_min.assume_not_null()))
        .load(db.conn)
}

/// Those of these jobs.
pub fn of_jobs(db: &mut Db<'_>, jobs: &[Id]) -> QueryResult<Vec<Arrival>> {
    arrival::table
        .filter(arrival::shop.eq(db.shop).and(arrival::job.eq_any(jobs.to_vec())))
        .select(Arrival::as_select())
        .load(db.conn)
}
