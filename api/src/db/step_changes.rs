//! What was corrected in the records of steps, and which were taken back. `step_record` holds what is in force, so no
//! statement can count a withdrawn record by mistake.

use super::Db;
use super::kinds::{Doc, Id, Instant, Word};
use super::schema::{person, step_change};
use super::steps::StepFields;
use chrono::NaiveDate;
use diesel::prelude::*;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// What became of a record.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ChangeKind {
    /// Other values hold instead.
    Corrected,
    /// It was taken back and counts nowhere.
    Voided,
}

/// One change of a step's record.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema, Queryable)]
pub struct StepChange {
    pub id: Id,
    pub job: Id,
    /// The record that was changed.
    pub record: Id,
    #[schema(value_type = ChangeKind)]
    pub kind: Word<ChangeKind>,
    pub reason: String,
    /// The record as it was.
    #[schema(value_type = StepFields)]
    pub before: Doc<StepFields>,
    /// As it is since; absent for one that was taken back.
    #[schema(value_type = Option<StepFields>)]
    pub after: Option<Doc<StepFields>>,
    /// The day of the shop's calendar on which the step had been begun by the record.
    pub worked_on: NaiveDate,
    pub by_person: Id,
    /// What that person is called now.
    pub by_name: String,
    pub at: Instant,
}

/// What is to be noted of a change.
pub struct NewChange<'a> {
    pub job: Id,
    pub record: Id,
    pub kind: ChangeKind,
    pub reason: &'a str,
    pub before: &'a StepFields,
    pub after: Option<&'a StepFields>,
    pub worked_on: NaiveDate,
    pub by_person: Id,
}

pub fn insert(db: &mut Db<'_>, new: &NewChange<'_>) -> QueryResult<Id> {
    let id = Id::new(db.now);
    let made = (
        (step_change::shop.eq(db.shop), step_change::job.eq(new.job), step_change::id.eq(id)),
        (step_change::record.eq(new.record), step_change::kind.eq(Word(new.kind))),
        step_change::reason.eq(new.reason),
        step_change::before.eq(Doc(new.before.clone())),
        step_change::after.eq(new.after.cloned().map(Doc)),
        step_change::worked_on.eq(new.worked_on),
        (step_change::by_person.eq(new.by_person), step_change::at.eq(db.now)),
    );
    diesel::insert_into(step_change::table).values(made).execute(db.conn)?;
    Ok(id)
}

/// What makes a [`StepChange`].
#[diesel::dsl::auto_type(no_type_alias)]
fn columns() -> _ {
    (
        step_change::id,
        step_change::job,
        step_change::record,
        step_change::kind,
        step_change::reason,
        step_change::before,
        step_change::after,
        step_change::worked_on,
        step_change::by_person,
        person::name,
        step_change::at,
    )
}

/// Those of a job, the oldest first.
pub fn of_job(db: &mut Db<'_>, job: Id) -> QueryResult<Vec<StepChange>> {
    let by = person::shop.eq(step_change::shop).and(person::id.eq(step_change::by_person));
    step_change::table
        .inner_join(person::table.on(by))
        .filter(step_change::shop.eq(db.shop).and(step_change::job.eq(job)))
        .order(step_change::id)
        .select(columns())
        .load(db.conn)
}

/// Those of these jobs that were made after `after`, the oldest first.
pub fn after(db: &mut Db<'_>, jobs: &[Id], after: Instant) -> QueryResult<Vec<StepChange>> {
    let by = person::shop.eq(step_change::shop).and(person::id.eq(step_change::by_person));
    step_change::table
        .inner_join(person::table.on(by))
        .filter(step_change::shop.eq(db.shop).and(step_change::job.eq_any(jobs.to_vec())))
        .filter(step_change::at.gt(after))
        .order(step_change::id)
        .select(columns())
        .load(db.conn)
}

/// Those of records that lay on the days from `from` to `to`, the oldest first, at most `limit`.
pub fn between(db: &mut Db<'_>, from: NaiveDate, to: NaiveDate, limit: i64) -> QueryResult<Vec<StepChange>> {
    let by = person::shop.eq(step_change::shop).and(person::id.eq(step_change::by_person));
    step_change::table
        .inner_join(person::table.on(by))
        .filter(step_change::shop.eq(db.shop).and(step_change::worked_on.between(from, to)))
        .order(step_change::id)
        .limit(limit)
        .select(columns())
        .load(db.conn)
}
