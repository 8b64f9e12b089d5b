//! What nearly went wrong, told so that it does not go wrong.

use super::Db;
use super::kinds::{Id, Instant, Word};
use super::schema::near_miss;
use crate::check::{Check, Checker};
use chrono::NaiveDate;
use diesel::prelude::*;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// What kind of harm it could have been.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum NearMissKind {
    /// A product in an eye, on skin, breathed in, or with what it must not meet.
    Chemical,
    /// A slip, trip or fall.
    Fall,
    /// Water near current, a cable, a battery.
    Electric,
    /// The customer's vehicle or property.
    Vehicle,
    /// On the road.
    Traffic,
    Other,
}

/// What is told of it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema, Queryable, Selectable, Insertable)]
#[serde(deny_unknown_fields)]
#[diesel(table_name = near_miss)]
pub struct NearMissFields {
    #[schema(value_type = NearMissKind)]
    pub kind: Word<NearMissKind>,
    /// What happened and what would have helped.
    #[schema(min_length = 1, max_length = 2000)]
    pub what: String,
    /// A day of the shop's calendar.
    pub happened_on: NaiveDate,
    /// The job at which it happened.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub job: Option<Id>,
}

/// A near miss as stored. Who told it is kept, and shown to nobody: it is told to learn from, not to blame.
#[derive(Debug, Clone, Serialize, ToSchema, Queryable, Selectable)]
#[diesel(table_name = near_miss)]
pub struct NearMiss {
    pub id: Id,
    pub recorded_at: Instant,
    #[serde(flatten)]
    #[diesel(embed)]
    pub fields: NearMissFields,
}

impl Check for NearMissFields {
    fn check(&self, found: &mut Checker) {
        if self.what.trim().is_empty() {
            found.refuse("what", "too_short", "must not be empty");
        }
        found.note("what", Some(&self.what), 2000);
    }
}

pub fn insert(db: &mut Db<'_>, by_person: Id, fields: &NearMissFields) -> QueryResult<NearMiss> {
    let id = Id::new(db.now);
    let made = (
        (near_miss::shop.eq(db.shop), near_miss::id.eq(id)),
        fields,
        (near_miss::by_person.eq(by_person), near_miss::recorded_at.eq(db.now)),
    );
    diesel::insert_into(near_miss::table).values(made).execute(db.conn)?;
    Ok(NearMiss { id, recorded_at: db.now, fields: fields.clone() })
}

/// The newest first.
pub fn list(db: &mut Db<'_>, before: Option<Id>, limit: i64) -> QueryResult<Vec<NearMiss>> {
    let mut rows = near_miss::table.filter(near_miss::shop.eq(db.shop)).into_boxed();
    if let Some(before) = before {
        rows = rows.filter(near_miss::id.lt(before));
    }
    rows.order(near_miss::id.desc()).limit(limit).select(NearMiss::as_select()).load(db.conn)
}

/// Those of a job, the oldest first.
pub fn of_job(db: &mut Db<'_>, job: Id) -> QueryResult<Vec<NearMiss>> {
    near_miss::table
        .filter(near_miss::shop.eq(db.shop).and(near_miss::job.eq(job)))
        .order(near_miss::id)
        .select(NearMiss::as_select())
        .load(db.conn)
}

/// The days of those from `from` to `to`.
pub fn days(db: &mut Db<'_>, from: NaiveDate, to: NaiveDate) -> QueryResult<Vec<NaiveDate>> {
    near_miss::table
        .filter(near_miss::shop.eq(db.shop).and(near_miss::happened_on.between(from, to)))
        .select(near_miss::happened_on)
        .load(db.conn)
}
