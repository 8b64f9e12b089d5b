//! Work beyond the booking: what the customer was asked for, and the answer.

use super::Db;
use super::kinds::{Id, Instant, Word};
use super::schema::extra_work;
use super::sync::Kind;
use crate::check::{Check, Checker};
use diesel::prelude::*;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// What the customer said.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Answer {
    Accepted,
    Declined,
    /// Nothing within ten minutes: the booked scope holds (common practice).
    None,
}

/// One question and its answer.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema, Queryable, Selectable, Insertable)]
#[serde(deny_unknown_fields)]
#[diesel(table_name = extra_work)]
pub struct ExtraWorkFields {
    /// What was found, why now, and what happens if not.
    #[schema(min_length = 1, max_length = 2000)]
    pub what: String,
    /// Person-minutes it would take.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.0, maximum = 1440.0)]
    pub minutes: Option<f64>,
    #[schema(value_type = Answer)]
    pub answer: Word<Answer>,
    pub asked_at: Instant,
}

/// A question as stored.
#[derive(Debug, Clone, Serialize, ToSchema, Queryable, Selectable)]
#[schema(as = ExtraWorkRecord)]
#[diesel(table_name = extra_work)]
pub struct ExtraWork {
    pub id: Id,
    pub job: Id,
    pub by_person: Id,
    pub recorded_at: Instant,
    #[serde(flatten)]
    #[diesel(embed)]
    pub fields: ExtraWorkFields,
}

impl Check for ExtraWorkFields {
    fn check(&self, found: &mut Checker) {
        if self.what.trim().is_empty() {
            found.refuse("what", "too_short", "must not be empty");
        }
        found.note("what", Some(&self.what), 2000);
        found.range_if_given("minutes", self.minutes, 0.0, 1440.0);
    }
}

pub fn insert(db: &mut Db<'_>, job: Id, id: Id, by_person: Id, fields: &ExtraWorkFields) -> QueryResult<()> {
    db.touch_of_job(job, Kind::ExtraWork, id);
    let made = (
        (extra_work::shop.eq(db.shop), extra_work::job.eq(job), extra_work::id.eq(id)),
        fields,
        (extra_work::by_person.eq(by_person), extra_work::recorded_at.eq(db.now)),
    );
    diesel::insert_into(extra_work::table).values(made).execute(db.conn).map(|_| ())
}

/// Those of these jobs, the oldest first.
pub fn of_jobs(db: &mut Db<'_>, jobs: &[Id]) -> QueryResult<Vec<ExtraWork>> {
    extra_work::table
        .filter(extra_work::shop.eq(db.shop).and(extra_work::job.eq_any(jobs.to_vec())))
        .order(extra_work::id)
        .select(ExtraWork::as_select())
        .load(db.conn)
}
