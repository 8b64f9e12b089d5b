//! The needs of all vehicles: as a list by day, as a table for a spreadsheet, and how well they were forecast.

use super::{Answer, Shared, listed};
use crate::app::App;
use crate::auth::Caller;
use crate::check::{Check, Checker};
use crate::db::kinds::Id;
use crate::db::upkeep_needs::{self, ListedNeed, NeedFilter, Place};
use crate::db::{Db, forecast_checks, forecast_checks::CheckFilter};
use crate::error::ApiError;
use crate::extract::Query;
use crate::handbooks::Handbooks;
use crate::page::{self, Page};
use crate::upkeep::table::{self, VehicleNeed};
use crate::upkeep::{self, Ground};
use actix_web::http::header;
use actix_web::web::{Bytes, Data};
use actix_web::{HttpResponse, get};
use chrono::NaiveDate;
use domain::upkeep::{Calibration, ForecastCheck, NeedKind, Tally, Urgency};
use futures_util::stream;
use serde::Deserialize;
use utoipa::IntoParams;

/// Rows of the table that are read and sent together.
const ROWS: i64 = 200;
/// Checks that are read together.
const CHECKS: i64 = 10_000;

/// Which needs, and which page of them.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
pub struct UpkeepQuery {
    /// `next_cursor` of the page before.
    #[param(max_length = 400)]
    pub cursor: Option<String>,
    /// Entries per page.
    #[param(minimum = 1, maximum = 200, default = 50)]
    pub limit: Option<i64>,
    /// Only needs that fall due before this day.
    pub due_before: Option<NaiveDate>,
    /// Only needs of this kind.
    pub kind: Option<NeedKind>,
    /// Only vehicles in this technician's area: those whose last finished job they were on.
    pub technician: Option<Id>,
}

/// Which needs are in the table.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
pub struct UpkeepTableQuery {
    /// Only needs that fall due before this day.
    pub due_before: Option<NaiveDate>,
    /// Only needs of this kind.
    pub kind: Option<NeedKind>,
    /// Only vehicles in this technician's area: those whose last finished job they were on.
    pub technician: Option<Id>,
}

/// Which looks count.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
pub struct CalibrationQuery {
    /// Only looks on this day or later.
    pub from: Option<NaiveDate>,
    /// Only looks before this day.
    pub to: Option<NaiveDate>,
    /// Only needs of this kind.
    pub kind: Option<NeedKind>,
}

impl Check for UpkeepQuery {
    fn check(&self, found: &mut Checker) {
        found.range_if_given("limit", self.limit, 1, page::MAX_LIMIT);
    }
}

impl Check for UpkeepTableQuery {
    fn check(&self, _: &mut Checker) {}
}

impl Check for CalibrationQuery {
    fn check(&self, found: &mut Checker) {
        if self.from.zip(self.to).is_some_and(|(from, to)| to <= from) {
            found.refuse("to", "ends_before_start", "must be later than from");
        }
    }
}

/// Needs of all vehicles that customers still have, by the day on which they fall due.
///
/// The days are those of the stored forecasts, which follow every change of a vehicle at once, and of weather and
/// handbook by the next run of the task `forecast_upkeep`. A page may have fewer entries than asked for before the last.
#[utoipa::path(
    tag = "upkeep",
    params(UpkeepQuery),
    responses((status = 200, body = Page<VehicleNeed>, description = "A page"))
)]
#[get("/v1/upkeep")]
pub async fn list_upkeep(app: Shared, caller: Caller, query: Query<UpkeepQuery>) -> Answer {
    let Query(query) = query;
    let filter = NeedFilter { due_before: query.due_before, kind: query.kind, technician: query.technician };
    let list = format!("{} upkeep {}", caller.shop, serde_json::to_string(&filter)?);
    let after = page::unseal::<Place>(&app.keys, &list, query.cursor.as_deref())?;
    let limit = query.limit.unwrap_or(page::DEFAULT_LIMIT);
    let handbooks = app.handbooks.clone();
    let load = app.read(&caller, move |db| {
        let mut rows = upkeep_needs::list(db, &filter, after.as_ref(), limit + 1)?;
        let more = rows.len() as i64 > limit;
        rows.truncate(usize::try_from(limit).unwrap_or(1));
        let last = rows.last().filter(|_| more).map(place);
        Ok((worded(db, &handbooks, rows)?, last))
    });
    let (items, last) = load.await?;
    let next_cursor = last.map(|place| page::seal(&app.keys, &list, &place)).transpose()?;
    listed(&Page { items, next_cursor })
}

/// The same as one table for a spreadsheet: CSV as RFC 4180 has it, in UTF-8, sent as it is read.
///
/// A cell that a spreadsheet would take for a formula begins with an apostrophe.
#[utoipa::path(
    tag = "upkeep",
    params(UpkeepTableQuery),
    responses((status = 200, description = "The table", content((String = "text/csv"))))
)]
#[get("/v1/upkeep.csv")]
pub async fn export_upkeep(app: Shared, caller: Caller, query: Query<UpkeepTableQuery>) -> Answer {
    let Query(query) = query;
    let filter = NeedFilter { due_before: query.due_before, kind: query.kind, technician: query.technician };
    // Whoever may not read is told so before the first byte.
    app.read(&caller, |_| Ok(())).await?;
    let start = Export { app, caller, filter, next: Next::Head };
    Ok(HttpResponse::Ok()
        .content_type("text/csv; charset=utf-8; header=present")
        .insert_header((header::CONTENT_DISPOSITION, "attachment; filename=\"upkeep.csv\""))
        .insert_header((header::CACHE_CONTROL, "private, no-store"))
        .streaming(stream::try_unfold(start, |export| export.part())))
}

struct Export {
    app: Data<App>,
    caller: Caller,
    filter: NeedFilter,
    next: Next,
}

enum Next {
    Head,
    After(Option<Place>),
    End,
}

impl Export {
    async fn part(mut self) -> Result<Option<(Bytes, Export)>, ApiError> {
        let after = match self.next {
            Next::End => return Ok(None),
            Next::Head => {
                self.next = Next::After(None);
                return Ok(Some((table::head().into(), self)));
            }
            Next::After(ref after) => after.clone(),
        };
        let (filter, handbooks) = (self.filter.clone(), self.app.handbooks.clone());
        let load = self.app.read(&self.caller, move |db| {
            let rows = upkeep_needs::list(db, &filter, after.as_ref(), ROWS)?;
            let last = rows.last().filter(|_| rows.len() as i64 == ROWS).map(place);
            Ok((worded(db, &handbooks, rows)?, last))
        });
        let (items, last) = load.await?;
        self.next = last.map_or(Next::End, |place| Next::After(Some(place)));
        Ok(Some((table::rows(&items)?.into(), self)))
    }
}

/// How well the shop's forecasts held: of the needs called due, and of those called with at least 80 %, how many were
/// there when somebody looked?
///
/// Every bag test, and every bead test that is conclusive, is held against the forecast of that day without it.
#[utoipa::path(
    tag = "upkeep",
    params(CalibrationQuery),
    responses((status = 200, body = Calibration, description = "Counts and shares"))
)]
#[get("/v1/upkeep/calibration")]
pub async fn get_calibration(app: Shared, caller: Caller, query: Query<CalibrationQuery>) -> Answer {
    let Query(CalibrationQuery { from, to, kind }) = query;
    let filter = CheckFilter { from, to, kind };
    let count = app.read(&caller, move |db| {
        let (mut tally, mut after) = (Tally::default(), None);
        loop {
            let rows = forecast_checks::list(db, filter, after, CHECKS)?;
            after = rows.last().filter(|_| rows.len() as i64 == CHECKS).map(|row| (row.found_on, row.id));
            for row in rows {
                tally.enter(&ForecastCheck::from(row));
            }
            if after.is_none() {
                return Ok(tally.calibration());
            }
        }
    });
    Ok(HttpResponse::Ok().json(count.await?))
}

fn place(listed: &ListedNeed) -> Place {
    (listed.days.due_on, listed.vehicle, listed.days.key.clone())
}

/// The rows with their words as of today. What a vehicle needs no longer, as the day has come for it, is left out.
fn worded(
    db: &mut Db<'_>,
    handbooks: &Handbooks,
    rows: Vec<ListedNeed>,
) -> Result<Vec<VehicleNeed>, ApiError> {
    let ground = Ground::read(db, handbooks)?;
    let mut vehicles: Vec<Id> = rows.iter().map(|listed| listed.vehicle).collect();
    vehicles.sort();
    vehicles.dedup();
    let forecasts = upkeep::forecasts_of(db, &ground, &vehicles)?;
    let word = |ListedNeed { vehicle, customer, label, days }: ListedNeed| {
        let needs = &forecasts.get(&vehicle)?.needs;
        let mut need = needs.iter().find(|need| need.key() == days.key)?.clone();
        (need.remind_on, need.due_on, need.overdue_on) = (days.remind_on, days.due_on, days.overdue_on);
        (need.early_on, need.late_on) = (days.early_on, days.late_on);
        need.urgency = Urgency::on(ground.today, need.remind_on, need.due_on, need.overdue_on);
        Some(VehicleNeed { vehicle, customer, label, key: days.key, need })
    };
    Ok(rows.into_iter().filter_map(word).collect())
}
