//! The needs of all vehicles by the day on which they fall due. What else is known of them is in `upkeep_states`.

use super::kinds::{Doc, Id, Word};
use super::schema::{job, job_technician, upkeep_need, upkeep_state, vehicle};
use super::{Conn, Db};
use crate::db::jobs::JobStatus;
use chrono::NaiveDate;
use diesel::prelude::*;
use diesel::sql_types::{Array, Date, Text};
use domain::upkeep::{NeedDays, NeedKind};
use serde::Serialize;

/// A need in the list.
#[derive(Debug, Clone)]
pub struct ListedNeed {
    pub vehicle: Id,
    pub customer: Id,
    pub label: String,
    pub days: NeedDays,
}

/// Which needs to list; every absent value allows all.
#[derive(Debug, Clone, Default, Serialize)]
pub struct NeedFilter {
    pub due_before: Option<NaiveDate>,
    pub kind: Option<NeedKind>,
    pub technician: Option<Id>,
}

/// A need in the list with all needs of its vehicle.
#[derive(Queryable)]
struct Row {
    vehicle: Id,
    key: String,
    needs: Doc<Vec<NeedDays>>,
    customer: Id,
    label: String,
}

/// A place in the list: day, vehicle, key.
pub type Place = (NaiveDate, Id, String);

/// Needs of vehicles that customers still have, by the day on which they fall due, after a place in that order.
pub fn list(
    db: &mut Db<'_>,
    filter: &NeedFilter,
    after: Option<&Place>,
    limit: i64,
) -> QueryResult<Vec<ListedNeed>> {
    let of_need = vehicle::shop.eq(upkeep_need::shop).and(vehicle::id.eq(upkeep_need::vehicle));
    let state_of_need =
        upkeep_state::shop.eq(upkeep_need::shop).and(upkeep_state::vehicle.eq(upkeep_need::vehicle));
    let mut rows = upkeep_need::table
        .inner_join(vehicle::table.on(of_need))
        .inner_join(upkeep_state::table.on(state_of_need))
        .filter(upkeep_need::shop.eq(db.shop))
        .filter(vehicle::sold_at.is_null().or(vehicle::sold_at.gt(db.now)))
        .into_boxed();
    if let Some((due_on, vehicle, key)) = after {
        let same_vehicle = upkeep_need::vehicle.eq(*vehicle).and(upkeep_need::key.gt(key.clone()));
        let same_day =
            upkeep_need::due_on.eq(*due_on).and(upkeep_need::vehicle.gt(*vehicle).or(same_vehicle));
        // The first condition is in the others; it lets the index begin at the day.
        rows =
            rows.filter(upkeep_need::due_on.ge(*due_on)).filter(upkeep_need::due_on.gt(*due_on).or(same_day));
    }
    if let Some(before) = filter.due_before {
        rows = rows.filter(upkeep_need::due_on.lt(before));
    }
    if let Some(kind) = filter.kind {
        rows = rows.filter(upkeep_need::kind.eq(Word(kind)));
    }
    if let Some(technician) = filter.technician {
        rows = rows.filter(upkeep_need::vehicle.eq_any(last_served_by(db.shop, technician)));
    }
    if let Some(granted) = &db.granted {
        rows = rows.filter(vehicle::customer.eq_any(granted.clone()));
    }
    let rows: Vec<Row> = rows
        .order((upkeep_need::due_on, upkeep_need::vehicle, upkeep_need::key))
        .limit(limit)
        .select((
            upkeep_need::vehicle,
            upkeep_need::key,
            upkeep_state::needs,
            vehicle::customer,
            vehicle::label,
        ))
        .load(db.conn)?;
    let listed = rows.into_iter().filter_map(|Row { vehicle, key, needs, customer, label }| {
        let days = needs.0.into_iter().find(|days| days.key == key)?;
        Some(ListedNeed { vehicle, customer, label, days })
    });
    Ok(listed.collect())
}

diesel::alias!(job as later: Later);

/// The vehicles whose last finished job this person was on.
#[diesel::dsl::auto_type(no_type_alias)]
fn last_served_by(shop: Id, technician: Id) -> _ {
    let finished: Word<JobStatus> = Word(JobStatus::Finished);
    let crew = job_technician::shop.eq(job::shop).and(job_technician::job.eq(job::id));
    let newer = later
        .filter(later.field(job::shop).eq(job::shop))
        .filter(later.field(job::vehicle).eq(job::vehicle))
        .filter(later.field(job::finished_at).gt(job::finished_at));
    job::table
        .inner_join(job_technician::table.on(crew))
        .filter(job::shop.eq(shop).and(job::status.eq(finished)))
        .filter(job_technician::person.eq(technician))
        .filter(diesel::dsl::not(diesel::dsl::exists(newer)))
        .select(job::vehicle)
}

/// Vehicles that customers still have, that need something on a day from `from` to `to`, and that no open job is booked
/// for.
pub fn due_between(db: &mut Db<'_>, from: NaiveDate, to: NaiveDate) -> QueryResult<Vec<Id>> {
    let of_need = vehicle::shop.eq(upkeep_need::shop).and(vehicle::id.eq(upkeep_need::vehicle));
    let booked = job::table
        .filter(job::shop.eq(db.shop).and(job::status.eq_any(JobStatus::OPEN.map(Word))))
        .select(job::vehicle);
    upkeep_need::table
        .inner_join(vehicle::table.on(of_need))
        .filter(upkeep_need::shop.eq(db.shop).and(upkeep_need::due_on.between(from, to)))
        .filter(vehicle::sold_at.is_null().or(vehicle::sold_at.gt(db.now)))
        .filter(diesel::dsl::not(upkeep_need::vehicle.eq_any(booked)))
        .select(upkeep_need::vehicle)
        .distinct()
        .order(upkeep_need::vehicle)
        .load(db.conn)
}

/// A need that fell due, and whose vehicle needs it.
#[derive(Debug, Clone, Queryable)]
pub struct FallenDue {
    pub vehicle: Id,
    pub customer: Id,
    pub due_on: NaiveDate,
    pub kind: Word<NeedKind>,
}

/// Needs that fell due on a day from `from` to `to`, of vehicles that customers still have, by vehicle and day.
pub fn fell_due(db: &mut Db<'_>, from: NaiveDate, to: NaiveDate) -> QueryResult<Vec<FallenDue>> {
    let of_need = vehicle::shop.eq(upkeep_need::shop).and(vehicle::id.eq(upkeep_need::vehicle));
    upkeep_need::table
        .inner_join(vehicle::table.on(of_need))
        .filter(upkeep_need::shop.eq(db.shop).and(upkeep_need::due_on.between(from, to)))
        .filter(vehicle::sold_at.is_null().or(vehicle::sold_at.gt(db.now)))
        .order((upkeep_need::vehicle, upkeep_need::due_on, upkeep_need::key))
        .select((upkeep_need::vehicle, vehicle::customer, upkeep_need::due_on, upkeep_need::kind))
        .load(db.conn)
}

/// A need as the list has it; in the list's order.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Entry<'a> {
    due_on: NaiveDate,
    vehicle: Id,
    key: &'a str,
    kind: NeedKind,
}

impl<'a> Entry<'a> {
    pub fn new(vehicle: Id, days: &'a NeedDays) -> Entry<'a> {
        Entry { due_on: days.due_on, vehicle, key: &days.key, kind: days.kind }
    }
}

/// Takes entries out of the list.
pub fn delete(db: &mut Db<'_>, gone: &[Entry]) -> QueryResult<()> {
    match &mut *db.conn {
        Conn::Sqlite(conn) => gone.iter().try_for_each(|entry| {
            let row = upkeep_need::table.find((db.shop, entry.due_on, entry.vehicle, entry.key));
            diesel::delete(row).execute(conn).map(|_| ())
        }),
        Conn::Pg(conn) => diesel::sql_query(DELETE_ALL)
            .bind::<Text, _>(db.shop)
            .bind::<Array<Date>, _>(column(gone, |entry| entry.due_on))
            .bind::<Array<Text>, _>(column(gone, |entry| entry.vehicle))
            .bind::<Array<Text>, _>(column(gone, |entry| entry.key))
            .execute(conn)
            .map(|_| ()),
    }
}

/// Puts new entries into the list. Those of many vehicles are best in its order.
pub fn insert(db: &mut Db<'_>, new: &[Entry]) -> QueryResult<()> {
    match &mut *db.conn {
        Conn::Sqlite(conn) => new.iter().try_for_each(|entry| {
            let made = (
                upkeep_need::shop.eq(db.shop),
                upkeep_need::due_on.eq(entry.due_on),
                upkeep_need::vehicle.eq(entry.vehicle),
                upkeep_need::key.eq(entry.key),
                upkeep_need::kind.eq(Word(entry.kind)),
            );
            diesel::insert_into(upkeep_need::table).values(made).execute(conn).map(|_| ())
        }),
        Conn::Pg(conn) => diesel::sql_query(INSERT_ALL)
            .bind::<Text, _>(db.shop)
            .bind::<Array<Date>, _>(column(new, |entry| entry.due_on))
            .bind::<Array<Text>, _>(column(new, |entry| entry.vehicle))
            .bind::<Array<Text>, _>(column(new, |entry| entry.key))
            .bind::<Array<Text>, _>(column(new, |entry| Word(entry.kind)))
            .execute(conn)
            .map(|_| ()),
    }
}

fn column<'a, T>(entries: &[Entry<'a>], of: impl Fn(&Entry<'a>) -> T) -> Vec<T> {
    entries.iter().map(of).collect()
}

/// One statement for a whole batch: a round trip per need would cost more than its forecast.
const DELETE_ALL: &str = "
    DELETE FROM upkeep_need n USING unnest($2, $3, $4) AS gone (due_on, vehicle, key)
    WHERE n.shop = $1 AND n.due_on = gone.due_on AND n.vehicle = gone.vehicle AND n.key = gone.key";

/// The same for new ones.
const INSERT_ALL: &str = "
    INSERT INTO upkeep_need (shop, due_on, vehicle, key, kind)
    SELECT $1, n.* FROM unnest($2, $3, $4, $5) AS n";
