//! Forecasts held against what was found on the vehicle.

use super::Db;
use super::kinds::{Id, Word};
use super::schema::forecast_check;
use chrono::NaiveDate;
use diesel::prelude::*;
use domain::upkeep::{ForecastCheck, NeedKind};

/// A stored check, as its columns are.
#[derive(Debug, Clone, Queryable, Selectable)]
#[diesel(table_name = forecast_check)]
pub struct CheckRow {
    pub id: Id,
    pub kind: Word<NeedKind>,
    pub key: String,
    pub found_on: NaiveDate,
    pub due_on: NaiveDate,
    pub risk: Option<f64>,
    pub found: bool,
}

/// Which checks to count; every absent value allows all.
#[derive(Debug, Clone, Copy, Default)]
pub struct CheckFilter {
    /// Found on this day or later.
    pub from: Option<NaiveDate>,
    /// Found before this day.
    pub to: Option<NaiveDate>,
    pub kind: Option<NeedKind>,
}

impl From<CheckRow> for ForecastCheck {
    fn from(row: CheckRow) -> ForecastCheck {
        ForecastCheck {
            kind: row.kind.0,
            key: row.key,
            found_on: row.found_on,
            due_on: row.due_on,
            risk: row.risk,
            found: row.found,
        }
    }
}

pub fn insert(db: &mut Db<'_>, vehicle: Id, check: &ForecastCheck) -> QueryResult<()> {
    let made = (
        forecast_check::shop.eq(db.shop),
        forecast_check::vehicle.eq(vehicle),
        forecast_check::id.eq(Id::new(db.now)),
        forecast_check::kind.eq(Word(check.kind)),
        forecast_check::key.eq(&check.key),
        forecast_check::found_on.eq(check.found_on),
        forecast_check::due_on.eq(check.due_on),
        forecast_check::risk.eq(check.risk),
        forecast_check::found.eq(check.found),
        forecast_check::at.eq(db.now),
    );
    diesel::insert_into(forecast_check::table).values(made).execute(db.conn).map(|_| ())
}

/// Those of a vehicle, the newest first, before one of them.
pub fn of_vehicle(
    db: &mut Db<'_>,
    vehicle: Id,
    before: Option<Id>,
    limit: i64,
) -> QueryResult<Vec<CheckRow>> {
    let mut rows = forecast_check::table
        .filter(forecast_check::shop.eq(db.shop).and(forecast_check::vehicle.eq(vehicle)))
        .into_boxed();
    if let Some(before) = before {
        rows = rows.filter(forecast_check::id.lt(before));
    }
    rows.order(forecast_check::id.desc()).limit(limit).select(CheckRow::as_select()).load(db.conn)
}

/// By the day of the look and id, after a place in that order.
pub fn list(
    db: &mut Db<'_>,
    filter: CheckFilter,
    after: Option<(NaiveDate, Id)>,
    limit: i64,
) -> QueryResult<Vec<CheckRow>> {
    let mut rows = forecast_check::table.filter(forecast_check::shop.eq(db.shop)).into_boxed();
    if let Some((found_on, id)) = after {
        let same_day = forecast_check::found_on.eq(found_on).and(forecast_check::id.gt(id));
        rows = rows.filter(forecast_check::found_on.gt(found_on).or(same_day));
    }
    if let Some(from) = filter.from {
        rows = rows.filter(forecast_check::found_on.ge(from));
    }
    if let Some(to) = filter.to {
        rows = rows.filter(forecast_check::found_on.lt(to));
    }
    if let Some(kind) = filter.kind {
        rows = rows.filter(forecast_check::kind.eq(Word(kind)));
    }
    rows.order((forecast_check::found_on, forecast_check::id))
        .limit(limit)
        .select(CheckRow::as_select())
        .load(db.conn)
}
