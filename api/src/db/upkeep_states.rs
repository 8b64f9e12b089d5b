//! How far the forecast of each vehicle is up to date, and what all forecasts of a shop rest on.

use super::kinds::{Doc, Id, Instant};
use super::schema::{upkeep_basis, upkeep_state, vehicle};
use super::{Conn, Db};
use crate::on_either;
use chrono::NaiveDate;
use diesel::prelude::*;
use diesel::sql_types::{Array, Date, Integer, Nullable, Text};
use domain::upkeep::{Climate, Experience};
use domain::vehicle::Vehicle;
use std::collections::{BTreeMap, BTreeSet};

/// The basis of a vehicle whose inputs changed since its needs were computed.
const STALE: i32 = 0;

/// What a shop's forecasts rest on beside each vehicle's own past.
#[derive(Debug, Clone, Queryable, Selectable)]
#[diesel(table_name = upkeep_basis)]
pub struct Basis {
    pub version: i32,
    /// Handbook and release.
    pub rests_on: String,
    pub experience: Doc<Experience>,
    pub climate: Doc<Climate>,
    pub made_at: Instant,
}

/// What the forecast of one vehicle is made from.
#[derive(Debug, Clone, Queryable)]
pub struct Inputs {
    pub vehicle: Id,
    /// Counts the changes of these inputs.
    pub rev: i32,
    pub document: Doc<Vehicle>,
    pub sold_at: Option<Instant>,
    /// Its gathered past as JSON; none when it has to be gathered anew.
    pub past: Option<String>,
    /// The days of its needs by its last forecast, as JSON.
    pub needs: String,
}

/// What was computed from the inputs of one vehicle at revision `rev`.
#[derive(Debug, Clone)]
pub struct Computed {
    pub vehicle: Id,
    pub rev: i32,
    /// Its past as JSON, where it was gathered anew.
    pub past: Option<String>,
    /// Its needs, where they are others than before.
    pub needs: Option<Needs>,
    /// Why there is no forecast.
    pub fault: Option<String>,
    /// The day from which the same inputs may give other days.
    pub recheck_on: Option<NaiveDate>,
}

/// The days of the needs of one vehicle.
#[derive(Debug, Clone)]
pub struct Needs {
    /// As JSON.
    pub days: String,
    /// The first day on which there is something to tell.
    pub remind_on: Option<NaiveDate>,
}

/// How many vehicles have a forecast, and how many of those are older than what they rest on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Counts {
    pub vehicles: i64,
    pub stale: i64,
    pub faulty: i64,
}

/// The newest basis, if there ever was one.
pub fn newest_basis(db: &mut Db<'_>) -> QueryResult<Option<Basis>> {
    upkeep_basis::table
        .filter(upkeep_basis::shop.eq(db.shop))
        .order(upkeep_basis::version.desc())
        .select(Basis::as_select())
        .first(db.conn)
        .optional()
}

/// Stores the basis unless there is one of that version.
pub fn keep_basis(db: &mut Db<'_>, basis: &Basis) -> QueryResult<()> {
    let known = upkeep_basis::table.find((db.shop, basis.version)).select(upkeep_basis::version);
    if known.first::<i32>(db.conn).optional()?.is_some() {
        return Ok(());
    }
    let made = (
        upkeep_basis::shop.eq(db.shop),
        upkeep_basis::version.eq(basis.version),
        upkeep_basis::rests_on.eq(&basis.rests_on),
        upkeep_basis::experience.eq(&basis.experience),
        upkeep_basis::climate.eq(&basis.climate),
        upkeep_basis::made_at.eq(basis.made_at),
    );
    on_either!(db, |conn| diesel::insert_into(upkeep_basis::table)
        .values(made)
        .on_conflict_do_nothing()
        .execute(conn))
    .map(|_| ())
}

/// Notes in the transaction of what changes the inputs of a vehicle that its forecast is older now, and that its past
/// is to be gathered anew. Others who do the same wait until the transaction ends.
pub fn mark(db: &mut Db<'_>, of: Id) -> QueryResult<()> {
    let set = (
        upkeep_state::rev.eq(upkeep_state::rev + 1),
        upkeep_state::basis.eq(STALE),
        upkeep_state::past.eq(None::<String>),
    );
    if diesel::update(upkeep_state::table.find((db.shop, of))).set(set).execute(db.conn)? == 0 {
        let made = (
            upkeep_state::shop.eq(db.shop),
            upkeep_state::vehicle.eq(of),
            upkeep_state::rev.eq(1),
            upkeep_state::basis.eq(STALE),
        );
        diesel::insert_into(upkeep_state::table).values(made).execute(db.conn)?;
    }
    Ok(())
}

/// The same for all vehicles: the shop's calendar changed.
pub fn mark_all(db: &mut Db<'_>) -> QueryResult<()> {
    let set = (
        upkeep_state::rev.eq(upkeep_state::rev + 1),
        upkeep_state::basis.eq(STALE),
        upkeep_state::past.eq(None::<String>),
    );
    let rows = upkeep_state::table.filter(upkeep_state::shop.eq(db.shop));
    diesel::update(rows).set(set).execute(db.conn).map(|_| ())
}

/// Marks those whose forecast changes by the passing of days; tells how many.
pub fn mark_passed(db: &mut Db<'_>, today: NaiveDate) -> QueryResult<usize> {
    let passed = upkeep_state::table
        .filter(upkeep_state::shop.eq(db.shop).and(upkeep_state::recheck_on.le(today)))
        .filter(upkeep_state::basis.ne(STALE));
    diesel::update(passed).set(upkeep_state::basis.eq(STALE)).execute(db.conn)
}

/// The lowest basis below `current` that any vehicle still has.
pub fn oldest_basis(db: &mut Db<'_>, current: i32) -> QueryResult<Option<i32>> {
    upkeep_state::table
        .filter(upkeep_state::shop.eq(db.shop).and(upkeep_state::basis.lt(current)))
        .order(upkeep_state::basis)
        .select(upkeep_state::basis)
        .first(db.conn)
        .optional()
}

/// The next vehicles, by id, whose needs were computed with the basis `basis`.
pub fn with_basis(db: &mut Db<'_>, basis: i32, after: Option<Id>, limit: i64) -> QueryResult<Vec<Inputs>> {
    let mut rows =
        inputs().filter(upkeep_state::shop.eq(db.shop).and(upkeep_state::basis.eq(basis))).into_boxed();
    if let Some(after) = after {
        rows = rows.filter(upkeep_state::vehicle.gt(after));
    }
    rows.order(upkeep_state::vehicle).limit(limit).load(db.conn)
}

/// Those of these vehicles, by id.
pub fn inputs_of(db: &mut Db<'_>, vehicles: &[Id]) -> QueryResult<Vec<Inputs>> {
    inputs()
        .filter(upkeep_state::shop.eq(db.shop).and(upkeep_state::vehicle.eq_any(vehicles.to_vec())))
        .order(upkeep_state::vehicle)
        .load(db.conn)
}

#[diesel::dsl::auto_type(no_type_alias)]
fn inputs() -> _ {
    let of_state = vehicle::shop.eq(upkeep_state::shop).and(vehicle::id.eq(upkeep_state::vehicle));
    upkeep_state::table.inner_join(vehicle::table.on(of_state)).select((
        upkeep_state::vehicle,
        upkeep_state::rev,
        vehicle::document,
        vehicle::sold_at,
        upkeep_state::past,
        upkeep_state::needs,
    ))
}

/// The pasts of all vehicles, by id.
pub fn pasts(db: &mut Db<'_>, after: Option<Id>, limit: i64) -> QueryResult<Vec<(Id, Option<String>)>> {
    let mut rows = upkeep_state::table.filter(upkeep_state::shop.eq(db.shop)).into_boxed();
    if let Some(after) = after {
        rows = rows.filter(upkeep_state::vehicle.gt(after));
    }
    rows.order(upkeep_state::vehicle)
        .limit(limit)
        .select((upkeep_state::vehicle, upkeep_state::past))
        .load(db.conn)
}

/// Stores what was computed for those whose inputs have not changed since; tells which these are.
pub fn store(db: &mut Db<'_>, basis: i32, on: NaiveDate, all: &[Computed]) -> QueryResult<BTreeSet<Id>> {
    match &mut *db.conn {
        Conn::Sqlite(_) => store_sqlite(db, basis, on, all),
        Conn::Pg(conn) => {
            let ids: Vec<StoredId> = diesel::sql_query(STORE_ALL)
                .bind::<Text, _>(db.shop)
                .bind::<Integer, _>(basis)
                .bind::<Date, _>(on)
                .bind::<Array<Text>, _>(column(all, |one| one.vehicle))
                .bind::<Array<Integer>, _>(column(all, |one| one.rev))
                .bind::<Array<Nullable<Date>>, _>(column(all, |one| one.recheck_on))
                .bind::<Array<Nullable<Text>>, _>(column(all, |one| one.past.as_deref()))
                .bind::<Array<Nullable<Text>>, _>(column(all, |one| one.fault.as_deref()))
                .bind::<Array<Nullable<Text>>, _>(column(all, |one| Some(one.needs.as_ref()?.days.as_str())))
                .bind::<Array<Nullable<Date>>, _>(column(all, |one| one.needs.as_ref()?.remind_on))
                .load(conn)?;
            Ok(ids.iter().filter_map(|row| row.vehicle.parse().ok()).collect())
        }
    }
}

/// One statement for a whole batch: a round trip per vehicle would cost more than its forecast.
const STORE_ALL: &str = "
    UPDATE upkeep_state s
    SET rev = s.rev + 1, basis = $2, computed_on = $3, recheck_on = n.recheck_on, fault = n.fault,
        past = coalesce(n.past, s.past), needs = coalesce(n.needs, s.needs),
        remind_on = CASE WHEN n.needs IS NULL THEN s.remind_on ELSE n.remind_on END
    FROM unnest($4, $5, $6, $7, $8, $9, $10) AS n (vehicle, rev, recheck_on, past, fault, needs, remind_on)
    WHERE s.shop = $1 AND s.vehicle = n.vehicle AND s.rev = n.rev
    RETURNING s.vehicle";

fn column<'a, T>(all: &'a [Computed], of: impl Fn(&'a Computed) -> T) -> Vec<T> {
    all.iter().map(of).collect()
}

/// The columns that a forecast sets; what is none stays as it was.
#[derive(AsChangeset)]
#[diesel(table_name = upkeep_state)]
struct Changed<'a> {
    basis: i32,
    computed_on: NaiveDate,
    recheck_on: Option<NaiveDate>,
    fault: Option<Option<&'a str>>,
    past: Option<&'a str>,
    needs: Option<&'a str>,
    remind_on: Option<Option<NaiveDate>>,
}

impl Changed<'_> {
    fn of(one: &Computed, basis: i32, on: NaiveDate) -> Changed<'_> {
        Changed {
            basis,
            computed_on: on,
            recheck_on: one.recheck_on,
            fault: Some(one.fault.as_deref()),
            past: one.past.as_deref(),
            needs: one.needs.as_ref().map(|needs| needs.days.as_str()),
            remind_on: one.needs.as_ref().map(|needs| needs.remind_on),
        }
    }
}

/// What is as it was, as most is on most nights, by one statement for all that have the same day; the others one by one.
fn store_sqlite(db: &mut Db<'_>, basis: i32, on: NaiveDate, all: &[Computed]) -> QueryResult<BTreeSet<Id>> {
    let of_shop = upkeep_state::table.filter(upkeep_state::shop.eq(db.shop));
    let revs: Vec<(Id, i32)> = of_shop
        .filter(upkeep_state::vehicle.eq_any(column(all, |one| one.vehicle)))
        .select((upkeep_state::vehicle, upkeep_state::rev))
        .load(db.conn)?;
    let revs: BTreeMap<Id, i32> = revs.into_iter().collect();
    let mut as_before: BTreeMap<Option<NaiveDate>, Vec<Id>> = BTreeMap::new();
    let mut stored = BTreeSet::new();
    for one in all.iter().filter(|one| revs.get(&one.vehicle) == Some(&one.rev)) {
        stored.insert(one.vehicle);
        if one.past.is_none() && one.needs.is_none() && one.fault.is_none() {
            as_before.entry(one.recheck_on).or_default().push(one.vehicle);
        } else {
            diesel::update(upkeep_state::table.find((db.shop, one.vehicle)))
                .set((upkeep_state::rev.eq(one.rev + 1), Changed::of(one, basis, on)))
                .execute(db.conn)?;
        }
    }
    for (recheck_on, vehicles) in as_before {
        let set = (
            upkeep_state::rev.eq(upkeep_state::rev + 1),
            upkeep_state::basis.eq(basis),
            upkeep_state::computed_on.eq(on),
            upkeep_state::recheck_on.eq(recheck_on),
            upkeep_state::fault.eq(None::<String>),
        );
        let rows = of_shop.filter(upkeep_state::vehicle.eq_any(vehicles));
        diesel::update(rows).set(set).execute(db.conn)?;
    }
    Ok(stored)
}

#[derive(QueryableByName)]
struct StoredId {
    #[diesel(sql_type = Text)]
    vehicle: String,
}

/// For a person who waits for a recomputation.
pub fn counts(db: &mut Db<'_>, current: i32) -> QueryResult<Counts> {
    let of_shop = upkeep_state::table.filter(upkeep_state::shop.eq(db.shop));
    Ok(Counts {
        vehicles: of_shop.count().get_result(db.conn)?,
        stale: of_shop.filter(upkeep_state::basis.lt(current)).count().get_result(db.conn)?,
        faulty: of_shop.filter(upkeep_state::fault.is_not_null()).count().get_result(db.conn)?,
    })
}

/// How many are to be computed.
pub fn stale_count(db: &mut Db<'_>, current: i32) -> QueryResult<i64> {
    upkeep_state::table
        .filter(upkeep_state::shop.eq(db.shop).and(upkeep_state::basis.lt(current)))
        .count()
        .get_result(db.conn)
}
