//! Calendars that somebody may subscribe to with a secret address.

use super::Db;
use super::kinds::{Id, Instant};
use super::schema::calendar_feed;
use crate::check::{Check, Checker};
use diesel::prelude::*;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// Whose visits, and how much of them.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema, Queryable, Selectable, Insertable)]
#[serde(deny_unknown_fields)]
#[diesel(table_name = calendar_feed)]
pub struct CalendarFeedFields {
    /// The technician; absent: the caller. A partner app has the visits that came of its own bookings, as long as it may
    /// act for their customers.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub person: Option<Id>,
    /// Also which vehicle and, for people of the shop, whose it is. Whoever has the address can read it.
    #[serde(default)]
    pub details: bool,
}

#[derive(Debug, Clone, Serialize, ToSchema, Queryable, Selectable)]
#[diesel(table_name = calendar_feed)]
pub struct CalendarFeed {
    pub id: Id,
    pub created_at: Instant,
    pub app: Option<Id>,
    #[serde(flatten)]
    #[diesel(embed)]
    pub fields: CalendarFeedFields,
}

impl CalendarFeed {
    /// It is made and deleted, never changed.
    pub const REV: i32 = 1;
}

impl Check for CalendarFeedFields {
    fn check(&self, _: &mut Checker) {}
}

pub fn insert(
    db: &mut Db<'_>,
    id: Id,
    app: Option<Id>,
    fields: &CalendarFeedFields,
    secret_hash: &str,
) -> QueryResult<()> {
    let made = (
        calendar_feed::shop.eq(db.shop),
        calendar_feed::id.eq(id),
        calendar_feed::app.eq(app),
        fields,
        calendar_feed::secret_hash.eq(secret_hash),
        calendar_feed::created_at.eq(db.now),
    );
    diesel::insert_into(calendar_feed::table).values(made).execute(db.conn).map(|_| ())
}

/// By id; of one person or one app, or all.
pub fn list(db: &mut Db<'_>, person: Option<Id>, app: Option<Id>) -> QueryResult<Vec<CalendarFeed>> {
    let mut rows = calendar_feed::table.filter(calendar_feed::shop.eq(db.shop)).into_boxed();
    if let Some(person) = person {
        rows = rows.filter(calendar_feed::person.eq(person));
    }
    if let Some(app) = app {
        rows = rows.filter(calendar_feed::app.eq(app));
    }
    rows.order(calendar_feed::id).select(CalendarFeed::as_select()).load(db.conn)
}

pub fn find_by_secret(db: &mut Db<'_>, hash: &str) -> QueryResult<Option<CalendarFeed>> {
    calendar_feed::table
        .filter(calendar_feed::shop.eq(db.shop).and(calendar_feed::secret_hash.eq(hash)))
        .select(CalendarFeed::as_select())
        .first(db.conn)
        .optional()
}

pub fn delete(db: &mut Db<'_>, id: Id) -> QueryResult<()> {
    diesel::delete(calendar_feed::table.find((db.shop, id))).execute(db.conn).map(|_| ())
}
