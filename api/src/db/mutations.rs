//! What phones said, once each, with what became of it. What was parked, rejected or flagged is the office's inbox.

use super::Db;
use super::kinds::{Doc, Id, Instant, Word};
use super::schema::{device, mutation};
use crate::error::FieldError;
use crate::on_either;
use diesel::prelude::*;
use domain::sync::{Command, MOST_OF_A_PUSH};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use utoipa::ToSchema;

/// What became of a command.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum MutationOutcome {
    /// It has its effect.
    Applied,
    /// It met what somebody else had said: both are kept.
    Merged,
    /// It waits for the office with all that was sent.
    Parked,
    /// It can never have an effect as it is; the office sees it.
    Rejected,
}

/// Why a command was parked or rejected, or what was flagged or merged.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(as = MutationReason)]
pub struct Reason {
    /// Stable, for programs.
    pub code: String,
    /// For people.
    pub detail: String,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub errors: Vec<FieldError>,
}

/// Where a command that the office is to see is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum InboxState {
    Open,
    Accepted,
    Discarded,
}

/// A command as it was taken.
#[derive(Debug, Clone, Serialize, ToSchema, Queryable, Selectable)]
#[diesel(table_name = mutation)]
pub struct Mutation {
    /// The phone's own id of it; what it made has the same.
    pub id: Id,
    pub device: Id,
    pub n: i64,
    pub person: Id,
    pub job: Id,
    #[schema(example = "record_step")]
    pub command: String,
    pub version: i32,
    #[schema(value_type = MutationOutcome)]
    pub outcome: Word<MutationOutcome>,
    #[schema(value_type = Option<Reason>)]
    pub reason: Option<Doc<Reason>>,
    /// The arguments; absent where they are stored elsewhere.
    #[schema(value_type = Option<Object>)]
    pub payload: Option<Doc<Value>>,
    /// It has its effect, and is in the inbox to be seen: from somebody who no longer goes there, of times that were still to
    /// come, or with more of a product than the van had.
    pub flagged: bool,
    /// By the phone's clock.
    pub occurred_at: Instant,
    /// By the phone's clock.
    pub sent_at: Instant,
    pub received_at: Instant,
    /// When it happened, by our clock.
    pub corrected_at: Instant,
    #[schema(value_type = Option<InboxState>)]
    pub inbox: Option<Word<InboxState>>,
    pub settled_by: Option<Id>,
    pub settled_at: Option<Instant>,
    pub settled_because: Option<String>,
    pub rev: i32,
}

/// A command that is to be kept.
pub struct NewMutation {
    pub id: Id,
    pub device: Id,
    pub n: i64,
    pub person: Id,
    pub job: Id,
    pub command: String,
    pub version: i32,
    pub occurred_at: Instant,
    pub sent_at: Instant,
    pub corrected_at: Instant,
}

/// What became of it.
pub struct Fate {
    pub outcome: MutationOutcome,
    pub reason: Option<Reason>,
    pub payload: Option<Value>,
    pub flagged: bool,
}

impl MutationOutcome {
    /// Whether it has no effect unless the office gives it one.
    pub fn waits(self) -> bool {
        matches!(self, MutationOutcome::Parked | MutationOutcome::Rejected)
    }
}

pub fn insert(db: &mut Db<'_>, new: &NewMutation, fate: Fate) -> QueryResult<()> {
    let made = (
        (mutation::shop.eq(db.shop), mutation::id.eq(new.id), mutation::device.eq(new.device)),
        (mutation::n.eq(new.n), mutation::person.eq(new.person), mutation::job.eq(new.job)),
        (mutation::command.eq(new.command.clone()), mutation::version.eq(new.version)),
        (mutation::outcome.eq(Word(fate.outcome)), mutation::reason.eq(fate.reason.map(Doc))),
        (mutation::payload.eq(fate.payload.map(Doc)), mutation::flagged.eq(fate.flagged)),
        (mutation::occurred_at.eq(new.occurred_at), mutation::sent_at.eq(new.sent_at)),
        (mutation::received_at.eq(db.now), mutation::corrected_at.eq(new.corrected_at)),
        mutation::inbox.eq((fate.flagged || fate.outcome.waits()).then_some(Word(InboxState::Open))),
        mutation::rev.eq(1),
    );
    on_either!(db, |conn| diesel::insert_into(mutation::table).values(made).execute(conn)).map(|_| ())
}

pub fn find(db: &mut Db<'_>, id: Id) -> QueryResult<Option<Mutation>> {
    mutation::table.find((db.shop, id)).select(Mutation::as_select()).first(db.conn).optional()
}

/// Those with these ids, in no order.
pub fn among(db: &mut Db<'_>, ids: &[Id]) -> QueryResult<Vec<Mutation>> {
    mutation::table
        .filter(mutation::shop.eq(db.shop).and(mutation::id.eq_any(ids.to_vec())))
        .select(Mutation::as_select())
        .load(db.conn)
}

/// Those of a device with numbers from `from` to `to`, both included.
pub fn numbered(db: &mut Db<'_>, device: Id, from: i64, to: i64) -> QueryResult<Vec<Mutation>> {
    mutation::table
        .filter(mutation::shop.eq(db.shop).and(mutation::device.eq(device)))
        .filter(mutation::n.between(from, to))
        .select(Mutation::as_select())
        .load(db.conn)
}

/// All that are kept, by id.
pub fn all(db: &mut Db<'_>) -> QueryResult<Vec<Mutation>> {
    let rows = mutation::table.filter(mutation::shop.eq(db.shop)).order(mutation::id);
    rows.select(Mutation::as_select()).load(db.conn)
}

/// What is, or was, in the inbox, the oldest first.
pub fn inbox(
    db: &mut Db<'_>,
    state: InboxState,
    after: Option<Id>,
    limit: i64,
) -> QueryResult<Vec<Mutation>> {
    let mut rows = mutation::table
        .filter(mutation::shop.eq(db.shop).and(mutation::inbox.eq(Some(Word(state)))))
        .into_boxed();
    if let Some(after) = after {
        rows = rows.filter(mutation::id.gt(after));
    }
    rows.order(mutation::id).limit(limit).select(Mutation::as_select()).load(db.conn)
}

/// Takes a command out of the inbox, if it still has the revision `seen`. What was accepted needs no payload any more, unless
/// it was a wish, which is stored nowhere else.
pub fn settle(
    db: &mut Db<'_>,
    id: Id,
    seen: i32,
    state: InboxState,
    (by, because): (Id, Option<&str>),
) -> QueryResult<bool> {
    let row = mutation::table.find((db.shop, id)).filter(mutation::rev.eq(seen));
    let set = (
        (mutation::inbox.eq(Some(Word(state))), mutation::rev.eq(seen + 1)),
        (mutation::settled_by.eq(Some(by)), mutation::settled_at.eq(Some(db.now))),
        mutation::settled_because.eq(because.map(str::to_owned)),
    );
    if diesel::update(row).set(set).execute(db.conn)? == 0 {
        return Ok(false);
    }
    if state == InboxState::Accepted {
        diesel::update(
            mutation::table.find((db.shop, id)).filter(mutation::command.ne(Command::RequestChange.word())),
        )
        .set(mutation::payload.eq(None::<Doc<Value>>))
        .execute(db.conn)?;
    }
    Ok(true)
}

/// The uploads that photos in the inbox name: their bytes wait with them.
pub fn uploads_waiting(db: &mut Db<'_>) -> QueryResult<Vec<Id>> {
    let named: Vec<Option<Doc<Value>>> = mutation::table
        .filter(mutation::shop.eq(db.shop).and(mutation::inbox.eq(Some(Word(InboxState::Open)))))
        .filter(mutation::command.eq(Command::AttachPhoto.word()))
        .select(mutation::payload)
        .load(db.conn)?;
    let upload = |payload: Doc<Value>| payload.0["args"]["upload"].as_str()?.parse().ok();
    Ok(named.into_iter().flatten().filter_map(upload).collect())
}

/// Forgets those that were taken before an instant and wait for nobody, but for the last of each phone, as many as one push
/// may have: these it may send again, however long it was away.
pub fn forget_before(db: &mut Db<'_>, before: Instant) -> QueryResult<usize> {
    let phones: Vec<(Id, i64)> =
        device::table.filter(device::shop.eq(db.shop)).select((device::id, device::last_n)).load(db.conn)?;
    let mut forgotten = 0;
    for (phone, last_n) in phones {
        let settled = mutation::inbox.is_null().or(mutation::inbox.ne(Some(Word(InboxState::Open))));
        let rows = mutation::table
            .filter(mutation::shop.eq(db.shop).and(mutation::device.eq(phone)))
            .filter(mutation::n.le(last_n - i64::try_from(MOST_OF_A_PUSH).unwrap_or(0)))
            .filter(mutation::received_at.lt(before))
            .filter(settled.assume_not_null());
        forgotten += diesel::delete(rows).execute(db.conn)?;
    }
    Ok(forgotten)
}
