//! What the customers of jobs agreed to in writing. A waiver is never changed: a newer one of its rule takes its place.

use super::Db;
use super::kinds::{Doc, Id, Instant};
use super::schema::waiver;
use super::sync::Kind;
use crate::check::{Check, Checker};
use chrono::NaiveDateTime;
use chrono_tz::Tz;
use diesel::prelude::*;
use domain::plan::Waiver;
use domain::vehicle::Zone;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// Zones or steps of one waiver, at most.
const MOST_LEFT_OUT: usize = 40;

/// What the customer agreed to, or takes back.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct WaiverFields {
    /// The rule of the notice that it answers. Of `R43` and `R45` the harm is accepted, everywhere or on the zones
    /// named; of any other rule the zones and steps named are left out.
    #[schema(max_length = 40, example = "R43")]
    pub rule: String,
    /// False takes back what was agreed of this rule.
    #[serde(default = "given")]
    pub given: bool,
    #[serde(default)]
    #[schema(max_items = 40)]
    pub zones: Vec<Zone>,
    /// Steps that treat or protect something.
    #[serde(default)]
    #[schema(max_items = 40)]
    pub steps: Vec<String>,
    /// Who agreed.
    #[schema(min_length = 1, max_length = 120, example = "Hyppa")]
    pub by: String,
}

fn given() -> bool {
    true
}

/// A waiver, who wrote it down, and when.
#[derive(Debug, Clone, Serialize, ToSchema, Queryable, Selectable)]
#[diesel(table_name = waiver)]
pub struct WaiverRecord {
    pub id: Id,
    pub rule: String,
    pub given: bool,
    #[schema(value_type = Vec<Zone>)]
    pub zones: Doc<Vec<Zone>>,
    #[schema(value_type = Vec<String>)]
    pub steps: Doc<Vec<String>>,
    #[diesel(column_name = agreed_by)]
    pub by: String,
    /// The person who wrote it down.
    pub noted_by: Id,
    pub at: Instant,
}

impl WaiverFields {
    /// As the planner takes it, agreed to at a time on the wall clock.
    pub fn waiver(&self, at: NaiveDateTime) -> Waiver {
        let WaiverFields { rule, zones, steps, by, .. } = self.clone();
        Waiver { rule, zones, steps, by, at }
    }
}

impl WaiverRecord {
    /// As the planner takes it, where the wall clock shows the time of `zone`.
    pub fn waiver(self, zone: Tz) -> Waiver {
        let (zones, steps) = (self.zones.0, self.steps.0);
        Waiver { rule: self.rule, zones, steps, by: self.by, at: self.at.local(zone) }
    }
}

impl Check for WaiverFields {
    fn check(&self, found: &mut Checker) {
        found.line("rule", &self.rule, 40);
        found.at_most("zones", &self.zones, MOST_LEFT_OUT);
        found.at_most("steps", &self.steps, MOST_LEFT_OUT);
        found.line("by", &self.by, 120);
    }
}

pub fn insert(db: &mut Db<'_>, job: Id, id: Id, noted_by: Id, fields: &WaiverFields) -> QueryResult<()> {
    db.touch_of_job(job, Kind::Waiver, id);
    let made = (
        waiver::shop.eq(db.shop),
        waiver::job.eq(job),
        waiver::id.eq(id),
        waiver::rule.eq(fields.rule.clone()),
        waiver::given.eq(fields.given),
        waiver::zones.eq(Doc(fields.zones.clone())),
        waiver::steps.eq(Doc(fields.steps.clone())),
        waiver::agreed_by.eq(fields.by.clone()),
        waiver::noted_by.eq(noted_by),
        waiver::at.eq(db.now),
    );
    diesel::insert_into(waiver::table).values(made).execute(db.conn).map(|_| ())
}

/// All that were written down for a job, the oldest first.
pub fn list(db: &mut Db<'_>, job: Id) -> QueryResult<Vec<WaiverRecord>> {
    waiver::table
        .filter(waiver::shop.eq(db.shop).and(waiver::job.eq(job)))
        .order((waiver::at, waiver::id))
        .select(WaiverRecord::as_select())
        .load(db.conn)
}

/// Those of these jobs, in no order.
pub fn of_jobs(db: &mut Db<'_>, jobs: &[Id]) -> QueryResult<Vec<WaiverRecord>> {
    waiver::table
        .filter(waiver::shop.eq(db.shop).and(waiver::job.eq_any(jobs.to_vec())))
        .select(WaiverRecord::as_select())
        .load(db.conn)
}

/// Those that stand: the newest of each rule, unless it takes back.
pub fn standing(db: &mut Db<'_>, job: Id) -> QueryResult<Vec<WaiverRecord>> {
    let mut newest: Vec<WaiverRecord> = Vec::new();
    for record in list(db, job)? {
        newest.retain(|older| older.rule != record.rule);
        newest.push(record);
    }
    newest.retain(|record| record.given);
    Ok(newest)
}
