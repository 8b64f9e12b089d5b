//! Background work: what waits, what runs, how it ended. A row is written in the transaction of what caused it.

use super::kinds::{Doc, Id, Instant, Word};
use super::schema::outbox;
use super::{Conn, Db};
use crate::on_either;
use chrono::TimeDelta;
use diesel::dsl::sql;
use diesel::prelude::*;
use diesel::sql_types::Text;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use utoipa::ToSchema;

/// Where the key of a task that sends a reminder names it: behind `send_reminder:`.
const REMINDER_OF: &str = "substr(outbox.dedupe_key, 15, 36)";
/// Reminders that are looked for at once; SQLite takes some ten thousand values in a statement.
const REMINDERS: usize = 1000;

/// How far a task has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum TaskStatus {
    Waiting,
    /// A worker has it until its lease ends.
    Leased,
    /// Something that cannot be taken back is being handed over.
    Sending,
    Done,
    /// It may have happened or not; it is not tried again by itself.
    Uncertain,
    /// Given up: look at the last error, then replay it.
    Dead,
}

/// One piece of background work.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema, Queryable, Selectable)]
#[schema(as = Task)]
#[diesel(table_name = outbox)]
pub struct Row {
    pub id: Id,
    /// `find_reminders`, `forecast_upkeep`, `send_reminder`, `announce_upkeep`, `deliver_webhook`, `refresh_weather`,
    /// `refresh_ways`, `back_up`, `plan_rounds`, `purge_tokens`, `purge_tasks`, `purge_replies`, `purge_sync`.
    pub kind: String,
    #[schema(value_type = Object)]
    pub payload: Doc<Value>,
    #[schema(value_type = TaskStatus)]
    pub status: Word<TaskStatus>,
    pub due_at: Instant,
    /// Times it was begun since it was made, was replayed, or got further.
    pub attempt: i32,
    pub last_error: Option<String>,
    pub lease_until: Option<Instant>,
    pub created_at: Instant,
    pub finished_at: Option<Instant>,
    /// How far a long task has come, and how far it has to go.
    pub done_count: Option<i32>,
    pub total_count: Option<i32>,
    /// Counts the claims: who holds an older one has lost the task.
    #[serde(rename = "rev")]
    pub fence: i32,
}

/// How an attempt ended.
#[derive(Debug, Clone, PartialEq)]
pub enum Ending {
    Done,
    /// Not now; the attempt does not count.
    Later {
        due_at: Instant,
    },
    Retry {
        due_at: Instant,
        error: String,
    },
    Uncertain {
        error: String,
    },
    Dead {
        error: String,
    },
}

/// Which tasks to list; every absent value allows all.
#[derive(Debug, Clone, Default, Serialize)]
pub struct TaskFilter {
    pub status: Option<TaskStatus>,
    pub kind: Option<String>,
}

/// Adds a task unless there is one with the same key already; tells whether it did.
pub fn enqueue(
    db: &mut Db<'_>,
    kind: &str,
    payload: &Value,
    dedupe_key: &str,
    due_at: Instant,
) -> QueryResult<bool> {
    let row = (
        outbox::shop.eq(db.shop),
        outbox::id.eq(Id::new(db.now)),
        outbox::kind.eq(kind),
        outbox::dedupe_key.eq(dedupe_key),
        outbox::payload.eq(Doc(payload.clone())),
        outbox::status.eq(Word(TaskStatus::Waiting)),
        outbox::due_at.eq(due_at),
        outbox::fence.eq(0),
        outbox::attempt.eq(0),
        outbox::created_at.eq(db.now),
    );
    let made = on_either!(db, |conn| diesel::insert_into(outbox::table)
        .values(row)
        .on_conflict_do_nothing()
        .execute(conn))?;
    db.adds_due |= made == 1 && due_at <= db.now;
    Ok(made == 1)
}

/// Those of `keys` for which there is a task.
pub fn known_keys(db: &mut Db<'_>, keys: &[String]) -> QueryResult<Vec<String>> {
    outbox::table
        .filter(outbox::shop.eq(db.shop).and(outbox::dedupe_key.eq_any(keys.to_vec())))
        .select(outbox::dedupe_key)
        .load(db.conn)
}

/// What a claim found.
pub struct Taken {
    /// The worker's own now.
    pub claimed: Vec<Row>,
    /// Their lease ran out, and they must not simply be tried again: handed over half-way, or begun often enough.
    pub unfit: Vec<Row>,
}

/// True if there is something to claim, but for these kinds: asked without a lock.
pub fn has_due(db: &mut Db<'_>, but: &[&'static str]) -> QueryResult<bool> {
    let clock = db.clock()?;
    let first: Option<Id> = outbox::table
        .filter(outbox::shop.eq(db.shop).and(is_ready(db.now, clock)))
        .filter(outbox::kind.ne_all(but.to_vec()))
        .order((outbox::due_at, outbox::id))
        .select(outbox::id)
        .first(db.conn)
        .optional()?;
    Ok(first.is_some())
}

/// Takes at most `limit` due tasks, but for these kinds: leases to `worker` for as long as `lease`, by the clock of the
/// database, those that may be begun (again, where a lease ran out). Each claim counts as an attempt, of which there are at
/// most `attempts` without getting further. No task is leased to two workers.
pub fn claim(
    db: &mut Db<'_>,
    worker: &str,
    lease: TimeDelta,
    but: &[&'static str],
    limit: i64,
    attempts: i32,
) -> QueryResult<Taken> {
    let clock = db.clock()?;
    let first = outbox::table
        .filter(outbox::shop.eq(db.shop).and(is_ready(db.now, clock)))
        .filter(outbox::kind.ne_all(but.to_vec()))
        .order((outbox::due_at, outbox::id))
        .limit(limit)
        .select((outbox::id, outbox::status, outbox::attempt));
    // Rows that another worker is just claiming are passed over; on SQLite the transaction is alone.
    let free: Vec<(Id, Word<TaskStatus>, i32)> = match &mut *db.conn {
        Conn::Pg(conn) => first.for_update().skip_locked().load(conn)?,
        Conn::Sqlite(conn) => first.load(conn)?,
    };
    let (unfit, fit): (Vec<_>, Vec<_>) = free.into_iter().partition(|(_, status, attempt)| {
        status.0 == TaskStatus::Sending || status.0 == TaskStatus::Leased && *attempt >= attempts
    });
    let of = |free: Vec<(Id, _, _)>| -> Vec<Id> { free.into_iter().map(|(id, _, _)| id).collect() };
    Ok(Taken {
        claimed: lease_all(db, worker, (clock, clock.plus(lease)), of(fit))?,
        unfit: find_all(db, of(unfit))?,
    })
}

/// In the order in which they were due.
fn lease_all(
    db: &mut Db<'_>,
    worker: &str,
    (clock, until): (Instant, Instant),
    ids: Vec<Id>,
) -> QueryResult<Vec<Row>> {
    if ids.is_empty() {
        return Ok(Vec::new());
    }
    let rows = outbox::table.filter(outbox::shop.eq(db.shop).and(outbox::id.eq_any(ids)));
    let claim = diesel::update(rows).set((
        outbox::status.eq(Word(TaskStatus::Leased)),
        outbox::lease_until.eq(until),
        outbox::lease_by.eq(worker),
        outbox::fence.eq(outbox::fence + 1),
        outbox::attempt.eq(outbox::attempt + 1),
    ));
    let mut claimed: Vec<Row> = on_either!(db, |conn| claim.returning(Row::as_select()).get_results(conn))?;
    claimed.sort_by_key(|row| (row.due_at, row.id));
    // One whose own clock is ahead may have taken it; who takes it up when it is lost must not wait until it is due.
    let early: Vec<Id> = claimed.iter().filter(|row| row.due_at > clock).map(|row| row.id).collect();
    if !early.is_empty() {
        let rows = outbox::table.filter(outbox::shop.eq(db.shop).and(outbox::id.eq_any(early)));
        diesel::update(rows).set(outbox::due_at.eq(clock)).execute(db.conn)?;
    }
    Ok(claimed)
}

fn find_all(db: &mut Db<'_>, ids: Vec<Id>) -> QueryResult<Vec<Row>> {
    if ids.is_empty() {
        return Ok(Vec::new());
    }
    let rows = outbox::table.filter(outbox::shop.eq(db.shop).and(outbox::id.eq_any(ids)));
    rows.select(Row::as_select()).load(db.conn)
}

/// Prolongs the lease, by the clock of the database; false if the task was lost to another worker.
pub fn renew(db: &mut Db<'_>, id: Id, fence: i32, lease: TimeDelta) -> QueryResult<bool> {
    let lease_until = db.clock()?.plus(lease);
    let row = outbox::table.find((db.shop, id)).filter(outbox::fence.eq(fence).and(is_held()));
    Ok(diesel::update(row).set(outbox::lease_until.eq(lease_until)).execute(db.conn)? == 1)
}

/// Notes that what cannot be taken back begins now with these tasks, each claimed with its fence; tells which of them were
/// not lost to another worker.
pub fn mark_sending(db: &mut Db<'_>, tasks: &[(Id, i32)]) -> QueryResult<BTreeSet<Id>> {
    let mut by_fence: BTreeMap<i32, Vec<Id>> = BTreeMap::new();
    tasks.iter().for_each(|(id, fence)| by_fence.entry(*fence).or_default().push(*id));
    let mut marked = BTreeSet::new();
    for (fence, ids) in by_fence {
        let rows = outbox::table
            .filter(outbox::shop.eq(db.shop).and(outbox::id.eq_any(ids)).and(outbox::fence.eq(fence)))
            .filter(outbox::status.eq(Word(TaskStatus::Leased)));
        let mark = diesel::update(rows).set(outbox::status.eq(Word(TaskStatus::Sending)));
        let held: Vec<Id> = on_either!(db, |conn| mark.returning(outbox::id).get_results(conn))?;
        marked.extend(held);
    }
    Ok(marked)
}

/// Notes how far a long task has come.
pub fn set_progress(db: &mut Db<'_>, id: Id, done: i64, total: i64) -> QueryResult<()> {
    let count = |many: i64| i32::try_from(many).unwrap_or(i32::MAX);
    let set = (outbox::done_count.eq(count(done)), outbox::total_count.eq(count(total)));
    diesel::update(outbox::table.find((db.shop, id))).set(set).execute(db.conn).map(|_| ())
}

/// A long task whose worker ends is begun again by the next, and is given up when that happens too often; what got further
/// each time is not. It is said in the transaction that keeps what was done.
pub fn got_further(db: &mut Db<'_>, id: Id) -> QueryResult<()> {
    let row = outbox::table.find((db.shop, id)).filter(is_held().and(outbox::attempt.gt(1)));
    diesel::update(row).set(outbox::attempt.eq(1)).execute(db.conn).map(|_| ())
}

/// The newest task of a kind.
pub fn newest(db: &mut Db<'_>, kind: &str) -> QueryResult<Option<Row>> {
    outbox::table
        .filter(outbox::shop.eq(db.shop).and(outbox::kind.eq(kind)))
        .order(outbox::id.desc())
        .select(Row::as_select())
        .first(db.conn)
        .optional()
}

/// Stores that attempts with this fence ended well; false if one of the tasks was lost to another worker.
pub fn finish_done(db: &mut Db<'_>, ids: &[Id], fence: i32) -> QueryResult<bool> {
    let rows = outbox::table.filter(outbox::shop.eq(db.shop).and(outbox::id.eq_any(ids.to_vec())));
    let stored = diesel::update(rows.filter(outbox::fence.eq(fence).and(is_held())))
        .set((
            outbox::status.eq(Word(TaskStatus::Done)),
            outbox::last_error.eq(None::<String>),
            outbox::finished_at.eq(db.now),
            outbox::lease_until.eq(None::<Instant>),
            outbox::lease_by.eq(None::<String>),
        ))
        .execute(db.conn)?;
    Ok(stored == ids.len())
}

/// Stores how the attempt ended; false if the task was lost to another worker.
pub fn finish(db: &mut Db<'_>, id: Id, fence: i32, ending: &Ending) -> QueryResult<bool> {
    let row = outbox::table.find((db.shop, id)).filter(outbox::fence.eq(fence).and(is_held()));
    let (status, error, finished) = match ending {
        Ending::Done => (TaskStatus::Done, None, true),
        Ending::Later { .. } => (TaskStatus::Waiting, None, false),
        Ending::Retry { error, .. } => (TaskStatus::Waiting, Some(error), false),
        Ending::Uncertain { error } => (TaskStatus::Uncertain, Some(error), true),
        Ending::Dead { error } => (TaskStatus::Dead, Some(error), true),
    };
    let stored = diesel::update(row)
        .set((
            outbox::status.eq(Word(status)),
            outbox::last_error.eq(error),
            outbox::finished_at.eq(finished.then_some(db.now)),
            outbox::lease_until.eq(None::<Instant>),
            outbox::lease_by.eq(None::<String>),
        ))
        .execute(db.conn)?;
    let row = outbox::table.find((db.shop, id));
    match ending {
        _ if stored == 0 => {}
        Ending::Later { due_at } => {
            let set = (outbox::due_at.eq(due_at), outbox::attempt.eq(outbox::attempt - 1));
            diesel::update(row).set(set).execute(db.conn)?;
        }
        Ending::Retry { due_at, .. } => {
            diesel::update(row).set(outbox::due_at.eq(due_at)).execute(db.conn)?;
        }
        _ => {}
    }
    Ok(stored == 1)
}

pub fn find(db: &mut Db<'_>, id: Id) -> QueryResult<Option<Row>> {
    outbox::table.find((db.shop, id)).select(Row::as_select()).first(db.conn).optional()
}

/// The newest first.
pub fn list(db: &mut Db<'_>, filter: &TaskFilter, before: Option<Id>, limit: i64) -> QueryResult<Vec<Row>> {
    let mut rows = outbox::table.filter(outbox::shop.eq(db.shop)).into_boxed();
    if let Some(before) = before {
        rows = rows.filter(outbox::id.lt(before));
    }
    if let Some(status) = filter.status {
        rows = rows.filter(outbox::stage.eq(stage(status)).and(outbox::status.eq(Word(status))));
    }
    if let Some(kind) = &filter.kind {
        rows = rows.filter(outbox::kind.eq(kind.clone()));
    }
    rows.order(outbox::id.desc()).limit(limit).select(Row::as_select()).load(db.conn)
}

/// Lets a task that was given up, or whose end is not known, begin anew; false if it is in another state.
pub fn replay(db: &mut Db<'_>, id: Id) -> QueryResult<bool> {
    let row = outbox::table
        .find((db.shop, id))
        .filter(outbox::status.eq_any([Word(TaskStatus::Dead), Word(TaskStatus::Uncertain)]));
    let set = (
        outbox::status.eq(Word(TaskStatus::Waiting)),
        outbox::attempt.eq(0),
        outbox::due_at.eq(db.now),
        outbox::finished_at.eq(None::<Instant>),
    );
    Ok(diesel::update(row).set(set).execute(db.conn)? == 1)
}

/// Makes due now what would send one of these reminders later. A failed attempt is not repeated any sooner.
pub fn hasten(db: &mut Db<'_>, reminders: &[Id]) -> QueryResult<()> {
    for some in reminders.chunks(REMINDERS) {
        let waiting = outbox::table
            .filter(outbox::shop.eq(db.shop).and(is_open()).and(outbox::kind.eq("send_reminder")))
            .filter(outbox::status.eq(Word(TaskStatus::Waiting)).and(outbox::last_error.is_null()))
            .filter(outbox::due_at.gt(db.now))
            .filter(sql::<Text>(REMINDER_OF).eq_any(some.to_vec()));
        let hastened = diesel::update(waiting).set(outbox::due_at.eq(db.now)).execute(db.conn)?;
        db.adds_due |= hastened > 0;
    }
    Ok(())
}

/// Gives up what waits to be tried again of this kind: a newer one does the same.
pub fn give_way(db: &mut Db<'_>, kind: &str) -> QueryResult<()> {
    let failed = outbox::table
        .filter(outbox::shop.eq(db.shop).and(is_open()).and(outbox::kind.eq(kind)))
        .filter(outbox::status.eq(Word(TaskStatus::Waiting)))
        // One that somebody replays has had no attempt yet.
        .filter(outbox::last_error.is_not_null().and(outbox::attempt.gt(0)));
    let set = (
        outbox::status.eq(Word(TaskStatus::Dead)),
        outbox::last_error.eq(outbox::last_error.concat("; the next one has taken over")),
        outbox::finished_at.eq(db.now),
    );
    diesel::update(failed).set(set).execute(db.conn).map(|_| ())
}

/// How many tasks are held by a worker.
pub fn held(db: &mut Db<'_>) -> QueryResult<i64> {
    let held = outbox::shop.eq(db.shop).and(is_open()).and(is_held());
    outbox::table.filter(held).count().get_result(db.conn)
}

/// Forgets tasks that were done before an instant, and of those that recur what was given up; what else was given up, or is
/// uncertain, stays.
pub fn delete_ended(db: &mut Db<'_>, recurring: &[&'static str], before: Instant) -> QueryResult<usize> {
    let rows = outbox::table.filter(outbox::shop.eq(db.shop).and(outbox::finished_at.lt(before)));
    let given_up = outbox::stage.eq(stage(TaskStatus::Dead)).and(outbox::kind.eq_any(recurring.to_vec()));
    diesel::delete(rows.filter(outbox::stage.eq(stage(TaskStatus::Done)).or(given_up))).execute(db.conn)
}

#[diesel::dsl::auto_type(no_type_alias)]
fn is_held() -> _ {
    let held: [&'static str; 2] = ["leased", "sending"];
    outbox::status.eq_any(held)
}

/// As the tables derive it from the status: what has not ended is in one stage, so that a claim changes nothing by which
/// tasks are found. On PostgreSQL a row whose indexed columns stay the same keeps its places in the indices
/// (<https://www.postgresql.org/docs/15/storage-hot.html>).
fn stage(status: TaskStatus) -> &'static str {
    match status {
        TaskStatus::Waiting | TaskStatus::Leased | TaskStatus::Sending => "open",
        TaskStatus::Done => "done",
        TaskStatus::Uncertain => "uncertain",
        TaskStatus::Dead => "dead",
    }
}

#[diesel::dsl::auto_type(no_type_alias)]
fn is_open() -> _ {
    let open: &'static str = "open";
    outbox::stage.eq(open)
}

/// It is due, and no worker has it, or the one that had it let its lease run out.
#[diesel::dsl::auto_type(no_type_alias)]
fn is_ready(now: Instant, clock: Instant) -> _ {
    let open: &'static str = "open";
    let is_free = outbox::lease_until.is_null().or(outbox::lease_until.le(clock));
    outbox::stage.eq(open).and(outbox::due_at.le(now)).and(is_free)
}
