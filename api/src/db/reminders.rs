//! Reminders: sent, waiting to be sent, and held back with the reason.

use super::Db;
use super::customers::{Channel, Purpose};
use super::kinds::{Doc, Id, Instant, Word};
use super::schema::reminder;
use diesel::prelude::*;
use domain::reminder::{Message, ReminderKind, Suppression};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ReminderStatus {
    /// A task will send it at `due_at`.
    Due,
    /// Just being handed to the mail server.
    Sending,
    Sent,
    /// Held back; `reason` says why.
    Suppressed,
    /// Handed to the mail server, but whether it was taken is not known. The office decides.
    Uncertain,
    /// The mail server refused it for good, or every attempt failed.
    Failed,
}

/// What a reminder speaks of and says.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ReminderDocument {
    pub vehicles: Vec<String>,
    /// Keys of the needs: vehicle, kind and the day its count began.
    pub needs: Vec<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub channel: Option<Channel>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub message: Option<Message>,
    /// Why it is held back, for programs.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub suppression: Option<Suppression>,
}

/// One reminder.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema, Queryable, Selectable)]
#[diesel(table_name = reminder)]
pub struct Reminder {
    pub id: Id,
    pub customer: Id,
    pub job: Option<Id>,
    #[schema(value_type = ReminderKind)]
    pub kind: Word<ReminderKind>,
    #[schema(value_type = Purpose)]
    pub purpose: Word<Purpose>,
    /// The same reminder is never made twice.
    #[serde(skip)]
    pub dedupe_key: String,
    pub due_at: Instant,
    #[schema(value_type = ReminderStatus)]
    pub status: Word<ReminderStatus>,
    /// One sentence for the office.
    pub reason: String,
    #[schema(value_type = ReminderDocument)]
    pub document: Doc<ReminderDocument>,
    pub created_at: Instant,
    /// When it was sent, held back or given up.
    pub settled_at: Option<Instant>,
}

/// What a decision makes of a reminder.
#[derive(Debug, Clone, PartialEq)]
pub struct NewReminder {
    pub customer: Id,
    pub job: Option<Id>,
    pub kind: ReminderKind,
    pub purpose: Purpose,
    pub dedupe_key: String,
    pub due_at: Instant,
    pub status: ReminderStatus,
    pub reason: String,
    pub document: ReminderDocument,
}

impl NewReminder {
    /// But for when it is due and how far it has come.
    pub fn says_the_same_as(&self, known: &Reminder) -> bool {
        self.document == known.document.0 && self.reason == known.reason
    }
}

/// Which reminders to list; every absent value allows all.
#[derive(Debug, Clone, Default, Serialize)]
pub struct ReminderFilter {
    pub status: Option<ReminderStatus>,
    pub kind: Option<ReminderKind>,
    pub customer: Option<Id>,
}

pub fn insert(db: &mut Db<'_>, new: &NewReminder) -> QueryResult<Id> {
    let id = Id::new(db.now);
    let made = (
        (reminder::shop.eq(db.shop), reminder::id.eq(id), reminder::customer.eq(new.customer)),
        (
            reminder::job.eq(new.job),
            reminder::kind.eq(Word(new.kind)),
            reminder::purpose.eq(Word(new.purpose)),
        ),
        (reminder::dedupe_key.eq(&new.dedupe_key), reminder::created_at.eq(db.now)),
        content(db, new),
    );
    diesel::insert_into(reminder::table).values(made).execute(db.conn)?;
    Ok(id)
}

/// Stores another decision on a reminder that was made before.
pub fn decide_anew(db: &mut Db<'_>, id: Id, new: &NewReminder) -> QueryResult<()> {
    let row = reminder::table.find((db.shop, id));
    let set = content(db, new);
    diesel::update(row).set(set).execute(db.conn).map(|_| ())
}

#[diesel::dsl::auto_type(no_type_alias)]
fn content<'a>(db: &Db<'a>, new: &'a NewReminder) -> _ {
    let settled_at: Option<Instant> = settled(db.now, new.status);
    let document: Doc<ReminderDocument> = Doc(new.document.clone());
    let status: Word<ReminderStatus> = Word(new.status);
    let reason: &'a str = new.reason.as_str();
    let due_at: Instant = new.due_at;
    (
        reminder::due_at.eq(due_at),
        reminder::status.eq(status),
        reminder::reason.eq(reason),
        reminder::document.eq(document),
        reminder::settled_at.eq(settled_at),
    )
}

fn settled(now: Instant, status: ReminderStatus) -> Option<Instant> {
    (!matches!(status, ReminderStatus::Due | ReminderStatus::Sending)).then_some(now)
}

pub fn find(db: &mut Db<'_>, id: Id) -> QueryResult<Option<Reminder>> {
    reminder::table.find((db.shop, id)).select(Reminder::as_select()).first(db.conn).optional()
}

/// Those of the ids that are there.
pub fn among(db: &mut Db<'_>, ids: &[Id]) -> QueryResult<Vec<Reminder>> {
    reminder::table
        .filter(reminder::shop.eq(db.shop).and(reminder::id.eq_any(ids.to_vec())))
        .select(Reminder::as_select())
        .load(db.conn)
}

pub fn find_by_key(db: &mut Db<'_>, key: &str) -> QueryResult<Option<Reminder>> {
    reminder::table
        .filter(reminder::shop.eq(db.shop).and(reminder::dedupe_key.eq(key)))
        .select(Reminder::as_select())
        .first(db.conn)
        .optional()
}

/// All of a customer, the oldest first.
pub fn of_customer(db: &mut Db<'_>, of: Id) -> QueryResult<Vec<Reminder>> {
    reminder::table
        .filter(reminder::shop.eq(db.shop).and(reminder::customer.eq(of)))
        .order(reminder::id)
        .select(Reminder::as_select())
        .load(db.conn)
}

/// All of these customers but those that were held back, the oldest first.
pub fn told(db: &mut Db<'_>, customers: &[Id]) -> QueryResult<Vec<Reminder>> {
    reminder::table
        .filter(reminder::shop.eq(db.shop).and(reminder::customer.eq_any(customers.to_vec())))
        .filter(reminder::status.ne(Word(ReminderStatus::Suppressed)))
        .order((reminder::due_at, reminder::id))
        .select(Reminder::as_select())
        .load(db.conn)
}

/// Those that wait to be sent: to a customer, or to all.
pub fn waiting(db: &mut Db<'_>, customer: Option<Id>) -> QueryResult<Vec<Id>> {
    let mut rows = reminder::table
        .filter(reminder::shop.eq(db.shop).and(reminder::status.eq(Word(ReminderStatus::Due))))
        .into_boxed();
    if let Some(customer) = customer {
        rows = rows.filter(reminder::customer.eq(customer));
    }
    rows.select(reminder::id).load(db.conn)
}

pub fn set_status(db: &mut Db<'_>, id: Id, status: ReminderStatus) -> QueryResult<()> {
    let set = (reminder::status.eq(Word(status)), reminder::settled_at.eq(settled(db.now, status)));
    diesel::update(reminder::table.find((db.shop, id))).set(set).execute(db.conn).map(|_| ())
}

/// These are handed over now, as they were found.
pub fn mark_sending(db: &mut Db<'_>, ids: &[Id]) -> QueryResult<()> {
    if ids.is_empty() {
        return Ok(());
    }
    let rows = reminder::table.filter(reminder::shop.eq(db.shop).and(reminder::id.eq_any(ids.to_vec())));
    diesel::update(rows)
        .set((reminder::status.eq(Word(ReminderStatus::Sending)), reminder::settled_at.eq(None::<Instant>)))
        .execute(db.conn)
        .map(|_| ())
}

/// Those of these that were being handed over have been.
pub fn mark_sent(db: &mut Db<'_>, ids: &[Id]) -> QueryResult<()> {
    if ids.is_empty() {
        return Ok(());
    }
    let rows = reminder::table.filter(reminder::shop.eq(db.shop).and(reminder::id.eq_any(ids.to_vec())));
    diesel::update(rows.filter(reminder::status.eq(Word(ReminderStatus::Sending))))
        .set((reminder::status.eq(Word(ReminderStatus::Sent)), reminder::settled_at.eq(db.now)))
        .execute(db.conn)
        .map(|_| ())
}

/// Customers who were sent a reminder of upkeep from `from` to `to` (exclusive), and when.
pub fn sent_between(db: &mut Db<'_>, from: Instant, to: Instant) -> QueryResult<Vec<(Id, Instant)>> {
    let settled = reminder::settled_at.ge(from).and(reminder::settled_at.lt(to)).assume_not_null();
    reminder::table
        .filter(reminder::shop.eq(db.shop).and(reminder::settled_at.is_not_null()).and(settled))
        .filter(reminder::status.eq(Word(ReminderStatus::Sent)))
        .filter(reminder::purpose.eq(Word(Purpose::Maintenance)))
        .select((reminder::customer, reminder::settled_at.assume_not_null()))
        .load(db.conn)
}

/// Holds it back with a reason.
pub fn hold_back(db: &mut Db<'_>, held: &Reminder, why: Suppression) -> QueryResult<()> {
    set_status(db, held.id, ReminderStatus::Suppressed)?;
    let row = reminder::table.find((db.shop, held.id));
    let reason = why.text();
    let document = Doc(ReminderDocument { suppression: Some(why), ..held.document.0.clone() });
    let set = (reminder::reason.eq(reason), reminder::document.eq(document));
    diesel::update(row).set(set).execute(db.conn).map(|_| ())
}

/// Says of one whose arrival nobody knows why it is not sent again.
pub fn explain(db: &mut Db<'_>, of: &Reminder, why: &str) -> QueryResult<()> {
    let reason = format!("{} Not sent again: {why}", of.reason);
    let row = reminder::table.find((db.shop, of.id));
    diesel::update(row).set(reminder::reason.eq(reason)).execute(db.conn).map(|_| ())
}

pub fn set_due(db: &mut Db<'_>, id: Id, due_at: Instant) -> QueryResult<()> {
    diesel::update(reminder::table.find((db.shop, id)))
        .set(reminder::due_at.eq(due_at))
        .execute(db.conn)
        .map(|_| ())
}

/// The newest first.
pub fn list(
    db: &mut Db<'_>,
    filter: &ReminderFilter,
    before: Option<Id>,
    limit: i64,
) -> QueryResult<Vec<Reminder>> {
    let mut rows = reminder::table.filter(reminder::shop.eq(db.shop)).into_boxed();
    if let Some(before) = before {
        rows = rows.filter(reminder::id.lt(before));
    }
    if let Some(status) = filter.status {
        rows = rows.filter(reminder::status.eq(Word(status)));
    }
    if let Some(kind) = filter.kind {
        rows = rows.filter(reminder::kind.eq(Word(kind)));
    }
    if let Some(customer) = filter.customer {
        rows = rows.filter(reminder::customer.eq(customer));
    }
    rows.order(reminder::id.desc()).limit(limit).select(Reminder::as_select()).load(db.conn)
}
