//! What was sent to webhooks, and how every attempt went.

use super::Db;
use super::kinds::{Id, Instant, Word};
use super::schema::{job, vehicle, webhook_attempt, webhook_delivery};
use super::webhooks::EventKind;
use diesel::prelude::*;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use std::collections::BTreeSet;
use utoipa::ToSchema;

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum DeliveryStatus {
    /// To be sent, or to be tried again.
    Waiting,
    Delivered,
    /// Given up, or not sent as its app may not hear of it; it can be replayed.
    Failed,
}

/// One event for one webhook.
#[derive(Debug, Clone, Serialize, ToSchema, Queryable, Selectable)]
#[schema(as = Delivery)]
#[diesel(table_name = webhook_delivery)]
pub struct Row {
    /// The header `webhook-id` of every attempt: whoever has seen it may ignore it.
    pub id: Id,
    #[serde(skip)]
    pub webhook: Id,
    #[schema(value_type = EventKind)]
    pub event: Word<EventKind>,
    /// The body, word for word as it is signed; empty for a partner app that may not act for the customer.
    pub payload: String,
    #[schema(value_type = DeliveryStatus)]
    pub status: Word<DeliveryStatus>,
    pub attempts: i32,
    pub created_at: Instant,
    pub settled_at: Option<Instant>,
}

impl Row {
    /// Greater after every attempt and every settlement.
    pub fn rev(&self) -> i32 {
        2 * self.attempts + i32::from(self.status.0 != DeliveryStatus::Waiting)
    }

    /// Names this revision, and behind the point that its body is not shown, which is no change of the delivery.
    pub fn tag(&self) -> String {
        if self.is_hidden() { format!("{}.hidden", self.rev()) } else { self.rev().to_string() }
    }

    pub fn is_hidden(&self) -> bool {
        self.payload.is_empty()
    }

    /// The job that it tells of, else the vehicle; a test tells of neither.
    fn about(&self) -> Option<Id> {
        let message: Value = serde_json::from_str(&self.payload).ok()?;
        let data = &message["data"];
        data["job"].as_str().or(data["vehicle"].as_str())?.parse().ok()
    }
}

/// One attempt of a delivery.
#[derive(Debug, Clone, Serialize, ToSchema, Queryable, Selectable, Insertable)]
#[diesel(table_name = webhook_attempt)]
pub struct Attempt {
    pub number: i32,
    pub at: Instant,
    /// The HTTP status that was answered.
    pub status: Option<i32>,
    /// Why nothing was answered.
    pub error: Option<String>,
    pub took_ms: i32,
}

pub fn insert(db: &mut Db<'_>, id: Id, webhook: Id, event: EventKind, payload: &str) -> QueryResult<()> {
    let made = (
        webhook_delivery::shop.eq(db.shop),
        webhook_delivery::id.eq(id),
        webhook_delivery::webhook.eq(webhook),
        webhook_delivery::event.eq(Word(event)),
        webhook_delivery::payload.eq(payload),
        webhook_delivery::status.eq(Word(DeliveryStatus::Waiting)),
        webhook_delivery::attempts.eq(0),
        webhook_delivery::created_at.eq(db.now),
    );
    diesel::insert_into(webhook_delivery::table).values(made).execute(db.conn).map(|_| ())
}

pub fn find(db: &mut Db<'_>, id: Id) -> QueryResult<Option<Row>> {
    webhook_delivery::table.find((db.shop, id)).select(Row::as_select()).first(db.conn).optional()
}

/// Those of a webhook, the newest first.
pub fn list(db: &mut Db<'_>, webhook: Id, before: Option<Id>, limit: i64) -> QueryResult<Vec<Row>> {
    let mut rows = webhook_delivery::table
        .filter(webhook_delivery::shop.eq(db.shop).and(webhook_delivery::webhook.eq(webhook)))
        .into_boxed();
    if let Some(before) = before {
        rows = rows.filter(webhook_delivery::id.lt(before));
    }
    rows.order(webhook_delivery::id.desc()).limit(limit).select(Row::as_select()).load(db.conn)
}

/// Whether each of these may be told to the caller: it is of a customer for whom they may act, or a test.
pub fn reached(db: &mut Db<'_>, rows: &[Row]) -> QueryResult<Vec<bool>> {
    let Some(granted) = db.granted.clone() else { return Ok(vec![true; rows.len()]) };
    let named: Vec<Id> = rows.iter().filter_map(Row::about).collect();
    let jobs: Vec<Id> = job::table
        .filter(job::shop.eq(db.shop).and(job::id.eq_any(named.clone())))
        .filter(job::customer.eq_any(granted.clone()))
        .select(job::id)
        .load(db.conn)?;
    let vehicles: Vec<Id> = vehicle::table
        .filter(vehicle::shop.eq(db.shop).and(vehicle::id.eq_any(named)))
        .filter(vehicle::customer.eq_any(granted))
        .select(vehicle::id)
        .load(db.conn)?;
    let theirs: BTreeSet<Id> = jobs.into_iter().chain(vehicles).collect();
    let is_reached = |row: &Row| {
        row.event.0 == EventKind::Test || row.about().is_some_and(|about| theirs.contains(&about))
    };
    Ok(rows.iter().map(is_reached).collect())
}

/// These as the caller may see them: what may not be told to them has no body.
pub fn shown(db: &mut Db<'_>, mut rows: Vec<Row>) -> QueryResult<Vec<Row>> {
    let reached = reached(db, &rows)?;
    for (row, is_reached) in rows.iter_mut().zip(reached) {
        if !is_reached {
            row.payload.clear();
        }
    }
    Ok(rows)
}

pub fn attempts(db: &mut Db<'_>, delivery: Id) -> QueryResult<Vec<Attempt>> {
    webhook_attempt::table
        .filter(webhook_attempt::shop.eq(db.shop).and(webhook_attempt::delivery.eq(delivery)))
        .order(webhook_attempt::number)
        .select(Attempt::as_select())
        .load(db.conn)
}

/// Adds an attempt to the log.
pub fn note_attempt(db: &mut Db<'_>, delivery: Id, attempt: &Attempt) -> QueryResult<()> {
    let row = webhook_delivery::table.find((db.shop, delivery));
    if diesel::update(row).set(webhook_delivery::attempts.eq(attempt.number)).execute(db.conn)? == 0 {
        return Ok(());
    }
    let made = (webhook_attempt::shop.eq(db.shop), webhook_attempt::delivery.eq(delivery), attempt);
    diesel::insert_into(webhook_attempt::table).values(made).execute(db.conn).map(|_| ())
}

pub fn set_status(db: &mut Db<'_>, id: Id, status: DeliveryStatus) -> QueryResult<()> {
    let settled_at = (status != DeliveryStatus::Waiting).then_some(db.now);
    let set = (webhook_delivery::status.eq(Word(status)), webhook_delivery::settled_at.eq(settled_at));
    diesel::update(webhook_delivery::table.find((db.shop, id))).set(set).execute(db.conn).map(|_| ())
}

/// Forgets what was settled before an instant.
pub fn delete_settled(db: &mut Db<'_>, before: Instant) -> QueryResult<usize> {
    let old =
        webhook_delivery::shop.eq(db.shop).and(webhook_delivery::settled_at.lt(before).assume_not_null());
    let ids = webhook_delivery::table.filter(old).select(webhook_delivery::id);
    let attempts = webhook_attempt::table
        .filter(webhook_attempt::shop.eq(db.shop).and(webhook_attempt::delivery.eq_any(ids)));
    diesel::delete(attempts).execute(db.conn)?;
    diesel::delete(webhook_delivery::table.filter(old)).execute(db.conn)
}
