//! The days on which vehicles need something, as their newest forecasts say. The words are made when somebody reads.

use super::kinds::{Id, Word};
use super::schema::{job, job_technician, upkeep_need, vehicle};
use super::{Conn, Db};
use crate::db::jobs::JobStatus;
use chrono::NaiveDate;
use diesel::prelude::*;
use diesel::sql_types::{Array, Date, Nullable, Text};
use domain::upkeep::NeedKind;
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// One need of one vehicle.
#[derive(Debug, Clone, PartialEq, Queryable, Selectable)]
#[diesel(table_name = upkeep_need)]
pub struct NeedRow {
    pub vehicle: Id,
    pub key: String,
    pub kind: Word<NeedKind>,
    pub remind_on: NaiveDate,
    pub due_on: NaiveDate,
    pub early_on: Option<NaiveDate>,
    pub late_on: Option<NaiveDate>,
    pub overdue_on: Option<NaiveDate>,
}

impl NeedRow {
    /// Names it among all of the shop.
    fn place(&self) -> (Id, &str) {
        (self.vehicle, &self.key)
    }
}

/// The same with whose it is.
#[derive(Debug, Clone, Queryable)]
pub struct ListedNeed {
    pub row: NeedRow,
    pub customer: Id,
    pub label: String,
}

/// Which needs to list; every absent value allows all.
#[derive(Debug, Clone, Default, Serialize)]
pub struct NeedFilter {
    pub due_before: Option<NaiveDate>,
    pub kind: Option<NeedKind>,
    pub technician: Option<Id>,
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
    let mut rows = upkeep_need::table
        .inner_join(vehicle::table.on(of_need))
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
    rows.order((upkeep_need::due_on, upkeep_need::vehicle, upkeep_need::key))
        .limit(limit)
        .select((NeedRow::as_select(), vehicle::customer, vehicle::label))
        .load(db.conn)
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

/// Puts `needs` in the place of all needs of these vehicles. What is stored like that already, as most is on most nights,
/// is not written again.
pub fn replace(db: &mut Db<'_>, vehicles: &[Id], needs: &[NeedRow]) -> QueryResult<()> {
    let before: Vec<NeedRow> = upkeep_need::table
        .filter(upkeep_need::shop.eq(db.shop).and(upkeep_need::vehicle.eq_any(vehicles.to_vec())))
        .select(NeedRow::as_select())
        .load(db.conn)?;
    let before: BTreeMap<(Id, &str), &NeedRow> = before.iter().map(|need| (need.place(), need)).collect();
    let (same, new): (Vec<&NeedRow>, Vec<&NeedRow>) =
        needs.iter().partition(|need| before.get(&need.place()) == Some(need));
    if same.len() < before.len() {
        let same: BTreeSet<(Id, &str)> = same.iter().map(|need| need.place()).collect();
        let gone: Vec<(Id, &str)> = before.into_keys().filter(|place| !same.contains(place)).collect();
        delete(db, &gone)?;
    }
    insert(db, &new)
}

fn delete(db: &mut Db<'_>, gone: &[(Id, &str)]) -> QueryResult<()> {
    match &mut *db.conn {
        Conn::Sqlite(conn) => gone.iter().try_for_each(|(vehicle, key)| {
            diesel::delete(upkeep_need::table.find((db.shop, *vehicle, *key))).execute(conn).map(|_| ())
        }),
        Conn::Pg(conn) => diesel::sql_query(DELETE_ALL)
            .bind::<Text, _>(db.shop)
            .bind::<Array<Text>, _>(gone.iter().map(|place| place.0).collect::<Vec<Id>>())
            .bind::<Array<Text>, _>(gone.iter().map(|place| place.1).collect::<Vec<&str>>())
            .execute(conn)
            .map(|_| ()),
    }
}

fn insert(db: &mut Db<'_>, needs: &[&NeedRow]) -> QueryResult<()> {
    match &mut *db.conn {
        Conn::Sqlite(conn) => needs.iter().try_for_each(|need| {
            let made = (
                upkeep_need::shop.eq(db.shop),
                upkeep_need::vehicle.eq(need.vehicle),
                upkeep_need::key.eq(&need.key),
                upkeep_need::kind.eq(need.kind),
                upkeep_need::remind_on.eq(need.remind_on),
                upkeep_need::due_on.eq(need.due_on),
                upkeep_need::early_on.eq(need.early_on),
                upkeep_need::late_on.eq(need.late_on),
                upkeep_need::overdue_on.eq(need.overdue_on),
            );
            diesel::insert_into(upkeep_need::table).values(made).execute(conn).map(|_| ())
        }),
        Conn::Pg(conn) => {
            fn column<T>(needs: &[&NeedRow], of: impl Fn(&NeedRow) -> T) -> Vec<T> {
                needs.iter().map(|need| of(need)).collect()
            }
            diesel::sql_query(INSERT_ALL)
                .bind::<Text, _>(db.shop)
                .bind::<Array<Text>, _>(column(needs, |need| need.vehicle))
                .bind::<Array<Text>, _>(column(needs, |need| need.key.clone()))
                .bind::<Array<Text>, _>(column(needs, |need| need.kind))
                .bind::<Array<Date>, _>(column(needs, |need| need.remind_on))
                .bind::<Array<Date>, _>(column(needs, |need| need.due_on))
                .bind::<Array<Nullable<Date>>, _>(column(needs, |need| need.early_on))
                .bind::<Array<Nullable<Date>>, _>(column(needs, |need| need.late_on))
                .bind::<Array<Nullable<Date>>, _>(column(needs, |need| need.overdue_on))
                .execute(conn)
                .map(|_| ())
        }
    }
}

/// One statement for a whole batch: a round trip per need would cost more than its forecast.
const DELETE_ALL: &str = "
    DELETE FROM upkeep_need n USING unnest($2, $3) AS gone (vehicle, key)
    WHERE n.shop = $1 AND n.vehicle = gone.vehicle AND n.key = gone.key";

/// The same for new ones.
const INSERT_ALL: &str = "
    INSERT INTO upkeep_need (shop, vehicle, key, kind, remind_on, due_on, early_on, late_on, overdue_on)
    SELECT $1, n.* FROM unnest($2, $3, $4, $5, $6, $7, $8, $9) AS n";
