//! Finished steps of jobs, as the technicians recorded them.

use super::Db;
use super::kinds::{Doc, Id, Instant, Word};
use super::schema::step_record;
use super::sync::{Kind, Touch};
use crate::check::{Check, Checker};
use chrono::NaiveDate;
use diesel::prelude::*;
use domain::throughput::Flaw;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// How a step ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Outcome {
    /// The pass check held.
    Passed,
    /// It was left as it was, although the check did not hold.
    Left,
}

/// What one technician did on one step.
#[derive(
    Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema, Queryable, Selectable, Insertable, AsChangeset,
)]
#[serde(deny_unknown_fields)]
#[diesel(table_name = step_record, treat_none_as_null = true)]
pub struct StepFields {
    /// Id in the handbook's `steps` table; it need not have been planned.
    #[schema(example = "D03")]
    pub step: String,
    pub technician: Id,
    pub started_at: Instant,
    /// Minutes of this technician, waiting included.
    #[schema(minimum = 0.0, maximum = 1440.0)]
    pub minutes: f64,
    /// Rounds repeated because the pass check failed; 0 when it passed at once.
    #[serde(default)]
    #[schema(minimum = 0, maximum = 50)]
    pub loops: i32,
    /// Clean water used, litres.
    #[serde(default)]
    #[schema(minimum = 0.0, maximum = 10000.0)]
    pub water_l: f64,
    /// Concentrate used.
    #[serde(default)]
    #[schema(value_type = Vec<ProductUse>, max_items = 20)]
    #[diesel(column_name = product)]
    pub products: Doc<Vec<ProductUse>>,
    /// Warmest panel read during the step, °C.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = -40.0, maximum = 120.0)]
    pub panel_c: Option<f64>,
    #[schema(value_type = Outcome)]
    pub outcome: Word<Outcome>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 2000)]
    pub note: Option<String>,
}

/// Concentrate of one product.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ProductUse {
    /// Id in the handbook's `product_classes` table.
    #[schema(example = "iron_remover")]
    pub product: String,
    #[schema(minimum = 0.0, maximum = 100000.0)]
    pub ml: f64,
}

/// A finished step as stored.
#[derive(Debug, Clone, Serialize, ToSchema, Queryable, Selectable)]
#[diesel(table_name = step_record)]
pub struct FinishedStep {
    pub id: Id,
    /// The day of the shop's calendar on which it was begun.
    pub worked_on: NaiveDate,
    /// Absent in records older than this field.
    pub recorded_by: Option<Id>,
    pub recorded_at: Instant,
    /// Counts the corrections.
    pub rev: i32,
    #[serde(flatten)]
    #[diesel(embed)]
    pub fields: StepFields,
}

impl Check for StepFields {
    fn check(&self, found: &mut Checker) {
        found.line("step", &self.step, 40);
        found.range("minutes", self.minutes, 0.0, 1440.0);
        found.range("loops", self.loops, 0, 50);
        found.range("water_l", self.water_l, 0.0, 10_000.0);
        found.at_most("products", &self.products.0, 20);
        for (i, used) in self.products.0.iter().enumerate() {
            found.within(format!("products/{i}"), |found| found.range("ml", used.ml, 0.0, 100_000.0));
        }
        found.range_if_given("panel_c", self.panel_c, -40.0, 120.0);
        found.note("note", self.note.as_deref(), 2000);
    }
}

/// What the plan said of a step when it was recorded, of all lines with the step.
#[derive(Debug, Clone, Copy, PartialEq, Queryable)]
pub struct StepNorm {
    /// Person-minutes by the handbook alone.
    pub minutes: f64,
    /// The grade they were taken from.
    pub grade: i32,
    /// Person-minutes that the plan expected.
    pub planned_minutes: f64,
}

/// A record that is to be stored.
pub struct NewStep<'a> {
    pub job: Id,
    /// The van that went there.
    pub van: Option<Id>,
    pub id: Id,
    pub fields: &'a StepFields,
    pub norm: Option<StepNorm>,
    pub worked_on: NaiveDate,
    pub recorded_by: Option<Id>,
}

pub fn insert(db: &mut Db<'_>, new: &NewStep<'_>) -> QueryResult<()> {
    db.touch_of_job(new.job, Kind::Record, new.id);
    let made = (
        (step_record::shop.eq(db.shop), step_record::job.eq(new.job), step_record::id.eq(new.id)),
        new.fields,
        (step_record::worked_on.eq(new.worked_on), against(new.norm)),
        (
            step_record::recorded_by.eq(new.recorded_by),
            step_record::recorded_at.eq(db.now),
            step_record::rev.eq(1),
            step_record::van.eq(new.van),
        ),
    );
    diesel::insert_into(step_record::table).values(made).execute(db.conn).map(|_| ())
}

#[diesel::dsl::auto_type(no_type_alias)]
fn against(norm: Option<StepNorm>) -> _ {
    let minutes: Option<f64> = norm.map(|norm| norm.minutes);
    let grade: Option<i32> = norm.map(|norm| norm.grade);
    let planned_minutes: Option<f64> = norm.map(|norm| norm.planned_minutes);
    (
        step_record::norm_minutes.eq(minutes),
        step_record::norm_grade.eq(grade),
        step_record::planned_minutes.eq(planned_minutes),
    )
}

/// One record of a job.
pub fn find(db: &mut Db<'_>, job: Id, id: Id) -> QueryResult<Option<FinishedStep>> {
    step_record::table.find((db.shop, job, id)).select(FinishedStep::as_select()).first(db.conn).optional()
}

/// The record that says the same, if there is one: a phone that heard no answer sends it again.
pub fn repeated(db: &mut Db<'_>, job: Id, fields: &StepFields) -> QueryResult<Option<FinishedStep>> {
    let alike: Vec<FinishedStep> = step_record::table
        .filter(step_record::shop.eq(db.shop).and(step_record::job.eq(job)))
        .filter(step_record::step.eq(&fields.step).and(step_record::technician.eq(fields.technician)))
        .filter(step_record::started_at.eq(fields.started_at))
        .select(FinishedStep::as_select())
        .load(db.conn)?;
    Ok(alike.into_iter().find(|record| record.fields == *fields))
}

/// Stores other values of a record; when it was recorded and by whom stays.
pub fn correct(
    db: &mut Db<'_>,
    job: Id,
    id: Id,
    (fields, norm, worked_on): (&StepFields, Option<StepNorm>, NaiveDate),
) -> QueryResult<bool> {
    db.touch_of_job(job, Kind::Record, id);
    let row = step_record::table.find((db.shop, job, id));
    let moved = (step_record::worked_on.eq(worked_on), step_record::rev.eq(step_record::rev + 1));
    let set = (fields, moved, against(norm));
    Ok(diesel::update(row).set(set).execute(db.conn)? == 1)
}

/// Takes a record out. What it was is kept in `step_changes`.
pub fn remove(db: &mut Db<'_>, job: Id, id: Id) -> QueryResult<bool> {
    db.touch(Touch::Gone(job, Kind::Record, id.to_string()));
    Ok(diesel::delete(step_record::table.find((db.shop, job, id))).execute(db.conn)? == 1)
}

/// Those of these jobs as they are shown, in no order.
pub fn records_of(db: &mut Db<'_>, jobs: &[Id]) -> QueryResult<Vec<FinishedStep>> {
    step_record::table
        .filter(step_record::shop.eq(db.shop).and(step_record::job.eq_any(jobs.to_vec())))
        .select(FinishedStep::as_select())
        .load(db.conn)
}

/// A record as throughput counts it.
#[derive(Debug, Clone, Queryable, Selectable)]
#[diesel(table_name = step_record)]
pub struct Counting {
    pub id: Id,
    pub job: Id,
    pub worked_on: NaiveDate,
    pub recorded_at: Instant,
    pub recorded_by: Option<Id>,
    pub norm_minutes: Option<f64>,
    pub norm_grade: Option<i32>,
    pub planned_minutes: Option<f64>,
    /// How much of its time counts.
    pub counted_ms: i64,
    /// Whether its time may teach anything.
    pub sound: bool,
    /// What is wrong with it.
    pub flaws: Option<Doc<Vec<Flaw>>>,
    #[diesel(embed)]
    pub fields: StepFields,
}

/// Those of these jobs, job by job, in the order in which they were recorded.
pub fn of_jobs(db: &mut Db<'_>, jobs: &[Id]) -> QueryResult<Vec<Counting>> {
    step_record::table
        .filter(step_record::shop.eq(db.shop).and(step_record::job.eq_any(jobs.to_vec())))
        .order((step_record::job, step_record::id))
        .select(Counting::as_select())
        .load(db.conn)
}

/// Those of these jobs that were recorded after `after`.
pub fn recorded_after(db: &mut Db<'_>, jobs: &[Id], after: Instant) -> QueryResult<Vec<Counting>> {
    step_record::table
        .filter(step_record::shop.eq(db.shop).and(step_record::job.eq_any(jobs.to_vec())))
        .filter(step_record::recorded_at.gt(after))
        .order((step_record::recorded_at, step_record::id))
        .select(Counting::as_select())
        .load(db.conn)
}

/// Those of a technician that were begun from `from` to `to`, both included.
pub fn of_technician(
    db: &mut Db<'_>,
    technician: Id,
    from: Instant,
    to: Instant,
) -> QueryResult<Vec<Counting>> {
    step_record::table
        .filter(step_record::shop.eq(db.shop).and(step_record::technician.eq(technician)))
        .filter(step_record::started_at.between(from, to))
        .order((step_record::started_at, step_record::id))
        .select(Counting::as_select())
        .load(db.conn)
}

/// The van that a record was made with.
pub fn van_of(db: &mut Db<'_>, job: Id, id: Id) -> QueryResult<Option<Id>> {
    let row = step_record::table.find((db.shop, job, id)).select(step_record::van);
    Ok(row.first::<Option<Id>>(db.conn).optional()?.flatten())
}

/// What a record says was used, and when it was begun.
#[derive(Debug, Clone, Queryable)]
pub struct UseRecord {
    pub id: Id,
    pub rev: i32,
    pub started_at: Instant,
    pub products: Doc<Vec<ProductUse>>,
}

/// The records with products of a van that were begun from an instant on.
pub fn uses_of_van(db: &mut Db<'_>, van: Id, from: Instant) -> QueryResult<Vec<UseRecord>> {
    step_record::table
        .filter(step_record::shop.eq(db.shop).and(step_record::van.eq(Some(van))))
        .filter(step_record::started_at.ge(from).and(step_record::product.ne(Doc(Vec::<ProductUse>::new()))))
        .select((step_record::id, step_record::rev, step_record::started_at, step_record::product))
        .load(db.conn)
}

/// When the technician's first and last record were begun.
pub fn span_of_technician(db: &mut Db<'_>, technician: Id) -> QueryResult<Option<(Instant, Instant)>> {
    use diesel::dsl::{max, min};
    let (first, last): (Option<Instant>, Option<Instant>) = step_record::table
        .filter(step_record::shop.eq(db.shop).and(step_record::technician.eq(technician)))
        .select((min(step_record::started_at), max(step_record::started_at)))
        .first(db.conn)?;
    Ok(first.zip(last))
}

/// Stores how much of a record counts.
pub fn set_counted(
    db: &mut Db<'_>,
    record: &Counting,
    counted_ms: i64,
    sound: bool,
    flaws: &[Flaw],
) -> QueryResult<()> {
    let set = (
        step_record::counted_ms.eq(counted_ms),
        step_record::sound.eq(sound),
        step_record::flaws.eq((!flaws.is_empty()).then(|| Doc(flaws.to_vec()))),
    );
    let row = step_record::table.find((db.shop, record.job, record.id));
    diesel::update(row).set(set).execute(db.conn).map(|_| ())
}

/// What is wrong with records of the days from `from` to `to`, the oldest first, of at most `limit` records.
pub fn flawed(db: &mut Db<'_>, from: NaiveDate, to: NaiveDate, limit: i64) -> QueryResult<Vec<Flaw>> {
    let rows: Vec<Doc<Vec<Flaw>>> = step_record::table
        .filter(step_record::shop.eq(db.shop).and(step_record::worked_on.between(from, to)))
        .filter(step_record::flaws.is_not_null())
        .order((step_record::worked_on, step_record::id))
        .limit(limit)
        .select(step_record::flaws.assume_not_null())
        .load(db.conn)?;
    Ok(rows.into_iter().flat_map(|flaws| flaws.0).collect())
}

/// Those of a job, in the order in which they were begun.
pub fn list(db: &mut Db<'_>, job: Id) -> QueryResult<Vec<FinishedStep>> {
    step_record::table
        .filter(step_record::shop.eq(db.shop).and(step_record::job.eq(job)))
        .order((step_record::started_at, step_record::id))
        .select(FinishedStep::as_select())
        .load(db.conn)
}

/// What the earlier records of a step are measured against.
pub fn norm(db: &mut Db<'_>, job: Id, step: &str) -> QueryResult<Option<StepNorm>> {
    step_record::table
        .filter(step_record::shop.eq(db.shop).and(step_record::job.eq(job)).and(step_record::step.eq(step)))
        .filter(step_record::norm_minutes.is_not_null().and(step_record::norm_grade.is_not_null()))
        .filter(step_record::planned_minutes.is_not_null())
        .order((step_record::recorded_at, step_record::id))
        .select((
            step_record::norm_minutes.assume_not_null(),
            step_record::norm_grade.assume_not_null(),
            step_record::planned_minutes.assume_not_null(),
        ))
        .first(db.conn)
        .optional()
}
