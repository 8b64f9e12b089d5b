//! Where events are to be told, and of which kinds.

use super::Db;
use super::kinds::{Doc, Id, Instant};
use super::schema::{webhook, webhook_attempt, webhook_delivery};
use crate::check::{Check, Checker};
use chrono::TimeDelta;
use diesel::prelude::*;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// Both secrets sign for so long after a change.
pub(super) const OVERLAP: TimeDelta = TimeDelta::hours(24);

/// What can be told.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(as = WebhookEventKind)]
pub enum EventKind {
    /// A job has its first plan.
    #[serde(rename = "job.planned")]
    JobPlanned,
    /// Window, package, assignment or state of a job changed.
    #[serde(rename = "job.changed")]
    JobChanged,
    #[serde(rename = "job.finished")]
    JobFinished,
    /// Something a vehicle needs has fallen due.
    #[serde(rename = "upkeep.due")]
    UpkeepDue,
    /// A job has another plan than before.
    #[serde(rename = "plan.replaced")]
    PlanReplaced,
    /// Sent when somebody asks for it, to whatever was subscribed.
    #[serde(rename = "webhook.test")]
    Test,
}

/// What its owner sets about a webhook.
#[derive(
    Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema, Queryable, Selectable, Insertable, AsChangeset,
)]
#[serde(deny_unknown_fields)]
#[diesel(table_name = webhook)]
pub struct WebhookFields {
    /// An HTTPS address on the public internet, on port 443 or above 1023.
    #[schema(format = "uri", min_length = 1, max_length = 500, example = "https://partner.example/events")]
    pub url: String,
    #[schema(value_type = Vec<EventKind>, min_items = 1, max_items = 6)]
    pub events: Doc<Vec<EventKind>>,
}

#[derive(Debug, Clone, Serialize, ToSchema, Queryable, Selectable)]
#[diesel(table_name = webhook)]
pub struct Webhook {
    pub id: Id,
    pub rev: i32,
    pub created_at: Instant,
    /// The partner app it belongs to; null: the shop itself.
    pub app: Option<Id>,
    /// When something last arrived there.
    pub delivered_at: Option<Instant>,
    /// Since when nothing is sent there.
    pub disabled_at: Option<Instant>,
    pub disabled_because: Option<String>,
    /// Until when the secret before this one signs too.
    pub old_secret_until: Option<Instant>,
    #[serde(flatten)]
    #[diesel(embed)]
    pub fields: WebhookFields,
}

impl Webhook {
    /// Names this revision, and behind the point when something last arrived there, which is nobody's change.
    pub fn tag(&self) -> String {
        match self.delivered_at {
            Some(at) => format!("{}.{}", self.rev, at.unix()),
            None => self.rev.to_string(),
        }
    }
}

/// What a delivery is signed with.
#[derive(Debug, Queryable)]
pub struct Secrets {
    secret: String,
    old_secret: Option<String>,
    old_secret_until: Option<Instant>,
}

impl Secrets {
    /// Those that sign now, the newest first.
    pub fn live(self, now: Instant) -> Vec<String> {
        let old = self.old_secret.filter(|_| self.old_secret_until.is_some_and(|until| until > now));
        [Some(self.secret), old].into_iter().flatten().collect()
    }
}

impl Check for WebhookFields {
    fn check(&self, found: &mut Checker) {
        found.line("url", &self.url, 500);
        if self.events.0.is_empty() {
            found.refuse("events", "too_few", "a webhook needs at least one kind of event");
        }
        found.at_most("events", &self.events.0, 6);
        for (i, event) in self.events.0.iter().enumerate() {
            if self.events.0[..i].contains(event) {
                found.refuse(format!("events/{i}"), "twice", "is already in the list");
            }
        }
    }
}

pub fn insert(
    db: &mut Db<'_>,
    id: Id,
    app: Option<Id>,
    fields: &WebhookFields,
    secret: &str,
) -> QueryResult<()> {
    let made = (
        webhook::shop.eq(db.shop),
        webhook::id.eq(id),
        webhook::app.eq(app),
        fields,
        webhook::secret.eq(secret),
        webhook::rev.eq(1),
        webhook::created_at.eq(db.now),
    );
    diesel::insert_into(webhook::table).values(made).execute(db.conn).map(|_| ())
}

pub fn find(db: &mut Db<'_>, id: Id) -> QueryResult<Option<Webhook>> {
    webhook::table.find((db.shop, id)).select(Webhook::as_select()).first(db.conn).optional()
}

/// Those of an app, or, with none, all of the shop.
pub fn list(db: &mut Db<'_>, app: Option<Id>) -> QueryResult<Vec<Webhook>> {
    let mut rows = webhook::table.filter(webhook::shop.eq(db.shop)).into_boxed();
    if let Some(app) = app {
        rows = rows.filter(webhook::app.eq(app));
    }
    rows.order(webhook::id).select(Webhook::as_select()).load(db.conn)
}

/// Those that want to be told of something of this kind; whether their app still may be is not looked at.
pub fn listening(db: &mut Db<'_>, kind: EventKind) -> QueryResult<Vec<Webhook>> {
    let rows: Vec<Webhook> = webhook::table
        .filter(webhook::shop.eq(db.shop).and(webhook::disabled_at.is_null()))
        .order(webhook::id)
        .select(Webhook::as_select())
        .load(db.conn)?;
    Ok(rows.into_iter().filter(|row| row.fields.events.0.contains(&kind)).collect())
}

pub fn secrets(db: &mut Db<'_>, id: Id) -> QueryResult<Option<Secrets>> {
    webhook::table
        .find((db.shop, id))
        .select((webhook::secret, webhook::old_secret, webhook::old_secret_until))
        .first(db.conn)
        .optional()
}

/// Stores the fields if the webhook still has the revision `seen`.
pub fn update(db: &mut Db<'_>, id: Id, seen: i32, fields: &WebhookFields) -> QueryResult<bool> {
    let row = webhook::table.find((db.shop, id)).filter(webhook::rev.eq(seen));
    Ok(diesel::update(row).set((fields, webhook::rev.eq(seen + 1))).execute(db.conn)? == 1)
}

/// Signs with a new secret from now on, and with the one before for another day.
pub fn change_secret(db: &mut Db<'_>, id: Id, secret: &str) -> QueryResult<()> {
    let row = webhook::table.find((db.shop, id));
    let set = (
        webhook::old_secret.eq(webhook::secret.nullable()),
        webhook::old_secret_until.eq(db.now.plus(OVERLAP)),
        webhook::secret.eq(secret),
        webhook::rev.eq(webhook::rev + 1),
    );
    diesel::update(row).set(set).execute(db.conn).map(|_| ())
}

pub fn disable(db: &mut Db<'_>, id: Id, because: &str) -> QueryResult<()> {
    let row = webhook::table.find((db.shop, id)).filter(webhook::disabled_at.is_null());
    let set = (
        webhook::disabled_at.eq(db.now),
        webhook::disabled_because.eq(because),
        webhook::rev.eq(webhook::rev + 1),
    );
    diesel::update(row).set(set).execute(db.conn).map(|_| ())
}

pub fn enable(db: &mut Db<'_>, id: Id) -> QueryResult<()> {
    let row = webhook::table.find((db.shop, id)).filter(webhook::disabled_at.is_not_null());
    let set = (
        webhook::disabled_at.eq(None::<Instant>),
        webhook::disabled_because.eq(None::<String>),
        webhook::rev.eq(webhook::rev + 1),
    );
    diesel::update(row).set(set).execute(db.conn).map(|_| ())
}

/// Notes that something arrived there.
pub fn note_delivered(db: &mut Db<'_>, id: Id) -> QueryResult<()> {
    let row = webhook::table.find((db.shop, id));
    diesel::update(row).set(webhook::delivered_at.eq(db.now)).execute(db.conn).map(|_| ())
}

/// Forgets a webhook with all that was sent there.
pub fn delete(db: &mut Db<'_>, id: Id) -> QueryResult<()> {
    let of_it = webhook_delivery::shop.eq(db.shop).and(webhook_delivery::webhook.eq(id));
    let deliveries = webhook_delivery::table.filter(of_it).select(webhook_delivery::id);
    let attempts = webhook_attempt::table
        .filter(webhook_attempt::shop.eq(db.shop).and(webhook_attempt::delivery.eq_any(deliveries)));
    diesel::delete(attempts).execute(db.conn)?;
    diesel::delete(webhook_delivery::table.filter(of_it)).execute(db.conn)?;
    diesel::delete(webhook::table.find((db.shop, id))).execute(db.conn).map(|_| ())
}
