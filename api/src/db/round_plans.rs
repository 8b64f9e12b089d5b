//! Searches for rounds: what was asked, how far they are, what they found. They hold ids and times, and nothing of customers.

use super::Db;
use super::kinds::{Doc, Id, Instant, Word};
use super::round_asks::RoundsAsk;
use super::schema::round_plan;
use diesel::prelude::*;
use domain::dispatch::planning::{RoundsPlan, VisitChange};
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;
use utoipa::ToSchema;

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum RoundPlanStatus {
    /// It waits for its turn.
    Asked,
    Running,
    Done,
    Cancelled,
    Failed,
}

impl RoundPlanStatus {
    pub const OPEN: [RoundPlanStatus; 2] = [RoundPlanStatus::Asked, RoundPlanStatus::Running];

    pub fn is_over(self) -> bool {
        !RoundPlanStatus::OPEN.contains(&self)
    }
}

/// How far a search is.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct SearchProgress {
    pub iterations: u64,
    /// Share of the budget that is spent, 0 to 1.
    pub spent: f64,
    /// Cost of the best rounds so far, in points; absent before the first.
    pub cost: Option<f64>,
}

/// What a search found, by ids.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Outcome {
    pub plan: RoundsPlan,
    /// Against the rounds that people had been told.
    pub changes: Vec<VisitChange>,
    /// What was left out or taken more roughly, in words.
    pub notes: Vec<String>,
    /// The revision of each job that was to be planned.
    pub jobs: Vec<(Id, i32)>,
    /// Where all that it knew of stood.
    #[serde(default)]
    pub stood: Vec<Stood>,
}

/// Where a job, or an offer that was held, stood when the search read it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Stood {
    pub id: Id,
    pub van: Option<Id>,
    pub start_at: Option<Instant>,
    /// In the order of their ids.
    pub people: Vec<Id>,
}

impl Outcome {
    /// Jobs and held offers that it speaks of.
    pub fn named(&self) -> BTreeSet<Id> {
        let stops =
            self.plan.rounds.iter().flat_map(|round| &round.stops).filter_map(|stop| stop.job.as_deref());
        let unserved = self.plan.unserved.iter().map(|unserved| unserved.job.as_str());
        let reasons = self.plan.unserved.iter().flat_map(|unserved| &unserved.reasons);
        let texts = reasons.chain(&self.plan.conflicts).map(|conflict| &conflict.text);
        let texts = texts.chain(&self.plan.faults).chain(&self.notes);
        let in_texts = texts.flat_map(|text| text.split(|c: char| !c.is_ascii_hexdigit() && c != '-'));
        let named = stops.chain(unserved).chain(in_texts).filter_map(|id| id.parse().ok());
        self.jobs.iter().map(|(id, _)| *id).chain(named).collect()
    }
}

/// A search without what it found.
#[derive(Debug, Clone, Serialize, ToSchema, Queryable, Selectable)]
#[diesel(table_name = round_plan)]
pub struct RoundPlan {
    pub id: Id,
    pub rev: i32,
    pub created_at: Instant,
    pub asked_by: Id,
    #[schema(value_type = RoundPlanStatus)]
    pub status: Word<RoundPlanStatus>,
    #[schema(value_type = RoundsAsk)]
    pub ask: Doc<RoundsAsk>,
    #[schema(value_type = SearchProgress)]
    pub progress: Doc<SearchProgress>,
    /// SHA-256 of all that it was planned from, base64url: the same fingerprint, seed and iterations give the same rounds.
    pub fingerprint: Option<String>,
    pub begun_at: Option<Instant>,
    pub ended_at: Option<Instant>,
    /// Since when its rounds are those of the jobs.
    pub published_at: Option<Instant>,
    /// Why it failed.
    pub error: Option<String>,
}

pub fn insert(db: &mut Db<'_>, id: Id, by: Id, ask: &RoundsAsk) -> QueryResult<()> {
    let made = (
        round_plan::shop.eq(db.shop),
        round_plan::id.eq(id),
        round_plan::asked_by.eq(by),
        round_plan::ask.eq(Doc(ask.clone())),
        round_plan::status.eq(Word(RoundPlanStatus::Asked)),
        round_plan::progress.eq(Doc(SearchProgress::default())),
        round_plan::rev.eq(1),
        round_plan::created_at.eq(db.now),
    );
    diesel::insert_into(round_plan::table).values(made).execute(db.conn).map(|_| ())
}

pub fn find(db: &mut Db<'_>, id: Id) -> QueryResult<Option<RoundPlan>> {
    round_plan::table.find((db.shop, id)).select(RoundPlan::as_select()).first(db.conn).optional()
}

/// What it found, if it has found something.
pub fn outcome(db: &mut Db<'_>, id: Id) -> QueryResult<Option<Outcome>> {
    let found: Option<Option<Doc<Outcome>>> =
        round_plan::table.find((db.shop, id)).select(round_plan::outcome).first(db.conn).optional()?;
    Ok(found.flatten().map(|outcome| outcome.0))
}

/// The newest first.
pub fn list(
    db: &mut Db<'_>,
    status: Option<RoundPlanStatus>,
    before: Option<Id>,
    limit: i64,
) -> QueryResult<Vec<RoundPlan>> {
    let mut rows = round_plan::table.filter(round_plan::shop.eq(db.shop)).into_boxed();
    if let Some(status) = status {
        rows = rows.filter(round_plan::status.eq(Word(status)));
    }
    if let Some(before) = before {
        rows = rows.filter(round_plan::id.lt(before));
    }
    rows.order(round_plan::id.desc()).limit(limit).select(RoundPlan::as_select()).load(db.conn)
}

/// Searches that wait or run.
pub fn open_count(db: &mut Db<'_>) -> QueryResult<i64> {
    round_plan::table
        .filter(round_plan::shop.eq(db.shop))
        .filter(round_plan::status.eq_any(RoundPlanStatus::OPEN.map(Word)))
        .count()
        .get_result(db.conn)
}

/// Begins, or begins anew after a crash; false where it is over.
pub fn begin(db: &mut Db<'_>, id: Id) -> QueryResult<bool> {
    let row = round_plan::table.find((db.shop, id));
    let row = row.filter(round_plan::status.eq_any(RoundPlanStatus::OPEN.map(Word)));
    let set = (
        round_plan::status.eq(Word(RoundPlanStatus::Running)),
        round_plan::begun_at.eq(db.now),
        round_plan::rev.eq(round_plan::rev + 1),
    );
    Ok(diesel::update(row).set(set).execute(db.conn)? == 1)
}

/// Notes how far it is; false where it is over. Progress is no new revision: it changes nothing of what was asked.
pub fn advance(db: &mut Db<'_>, id: Id, progress: SearchProgress) -> QueryResult<bool> {
    let row = round_plan::table.find((db.shop, id));
    let row = row.filter(round_plan::status.eq(Word(RoundPlanStatus::Running)));
    Ok(diesel::update(row).set(round_plan::progress.eq(Doc(progress))).execute(db.conn)? == 1)
}

/// Ends it with what it found; false where it was over already.
pub fn finish(
    db: &mut Db<'_>,
    plan: &RoundPlan,
    (fingerprint, progress): (&str, SearchProgress),
    outcome: Outcome,
) -> QueryResult<bool> {
    let id = plan.id;
    let row = round_plan::table.find((db.shop, id));
    let row = row.filter(round_plan::status.eq(Word(RoundPlanStatus::Running)));
    let set = (
        round_plan::status.eq(Word(RoundPlanStatus::Done)),
        round_plan::ask.eq(Doc(plan.ask.0.clone().without_places())),
        round_plan::fingerprint.eq(fingerprint),
        round_plan::progress.eq(Doc(progress)),
        round_plan::outcome.eq(Some(Doc(outcome))),
        round_plan::ended_at.eq(db.now),
        round_plan::rev.eq(round_plan::rev + 1),
    );
    Ok(diesel::update(row).set(set).execute(db.conn)? == 1)
}

/// Ends it without rounds; false where it was over already.
pub fn end(
    db: &mut Db<'_>,
    plan: &RoundPlan,
    status: RoundPlanStatus,
    error: Option<&str>,
) -> QueryResult<bool> {
    let row = round_plan::table.find((db.shop, plan.id));
    let row = row.filter(round_plan::status.eq_any(RoundPlanStatus::OPEN.map(Word)));
    let set = (
        round_plan::status.eq(Word(status)),
        round_plan::ask.eq(Doc(plan.ask.0.clone().without_places())),
        round_plan::error.eq(error),
        round_plan::ended_at.eq(db.now),
        round_plan::rev.eq(round_plan::rev + 1),
    );
    Ok(diesel::update(row).set(set).execute(db.conn)? == 1)
}

/// Notes that its rounds are the ones in force, if it still has the revision `seen`.
pub fn publish(db: &mut Db<'_>, id: Id, seen: i32) -> QueryResult<bool> {
    let row = round_plan::table.find((db.shop, id)).filter(round_plan::rev.eq(seen));
    let set = (round_plan::published_at.eq(db.now), round_plan::rev.eq(seen + 1));
    Ok(diesel::update(row).set(set).execute(db.conn)? == 1)
}
