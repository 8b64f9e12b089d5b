//! When vehicles need what next: one vehicle, and how far the forecasts of all are up to date.

use super::{Answer, Shared, customers::visible, listed};
use crate::auth::Caller;
use crate::check::{Check, Checker};
use crate::db::kinds::{Id, Instant};
use crate::db::outbox::{self, Row, TaskStatus};
use crate::db::upkeep_states;
use crate::db::vehicles::{self, Vehicle};
use crate::db::{Db, forecast_checks};
use crate::error::ApiError;
use crate::extract::{Key, Query};
use crate::handbooks::Handbooks;
use crate::page::{self, Page, PageQuery};
use crate::reply::Reply;
use crate::tasks::{self, Task};
use crate::upkeep::{self, Ground};
use actix_web::http::header;
use actix_web::{HttpResponse, get, post};
use chrono::NaiveDate;
use domain::upkeep::visits::{MovedVisit, move_visit};
use domain::upkeep::{ForecastCheck, Upkeep, picture};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

/// Weeks by which a visit is moved when nobody says.
const WEEKS: i32 = 4;

/// The forecast of a vehicle as of today: from where it stands, its coats, its finished jobs and what was found on it.
#[utoipa::path(
    tag = "upkeep",
    params(("id" = Id, Path)),
    responses((status = 200, body = Upkeep, description = "Its needs, the soonest first"))
)]
#[get("/v1/vehicles/{id}/upkeep")]
pub async fn get_upkeep(app: Shared, caller: Caller, key: Key) -> Answer {
    let (technician, handbooks) = (caller.only_own_work(), app.handbooks.clone());
    let read = app.read(&caller, move |db| forecast(db, &handbooks, key.0, technician));
    let (_, upkeep) = read.await?;
    Ok(HttpResponse::Ok().json(upkeep))
}

/// The same as a picture: load and life of the vehicle over the year with their 80 % intervals, as SVG.
///
/// It reads in black and white, and its `title` and `desc` say in words what it shows.
#[utoipa::path(
    tag = "upkeep",
    params(("id" = Id, Path)),
    responses((status = 200, description = "The picture", content((String = "image/svg+xml"))))
)]
#[get("/v1/vehicles/{id}/upkeep.svg")]
pub async fn draw_upkeep(app: Shared, caller: Caller, key: Key) -> Answer {
    let (technician, handbooks) = (caller.only_own_work(), app.handbooks.clone());
    let read = app.read(&caller, move |db| forecast(db, &handbooks, key.0, technician));
    let (vehicle, upkeep) = read.await?;
    let svg = picture(&vehicle.fields.label, &upkeep);
    Ok(HttpResponse::Ok()
        .insert_header((header::CONTENT_TYPE, "image/svg+xml"))
        .insert_header((header::CACHE_CONTROL, "private, no-cache"))
        .body(svg))
}

/// Makes the forecast of one vehicle anew from what is stored, keeps it, and shows it.
#[utoipa::path(
    tag = "upkeep",
    params(("id" = Id, Path)),
    responses((status = 200, body = Upkeep, description = "Made anew"))
)]
#[post("/v1/vehicles/{id}/upkeep")]
pub async fn forecast_vehicle(app: Shared, caller: Caller, key: Key) -> Answer {
    let (technician, handbooks) = (caller.only_own_work(), app.handbooks.clone());
    app.once(
        &caller,
        move |db| {
            let (_, upkeep) = forecast(db, &handbooks, key.0, technician)?;
            upkeep::changed(db, &handbooks, key.0)?;
            Ok(upkeep)
        },
        Reply::plain,
    )
    .await
}

/// Which visit, and by how much it is moved.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
pub struct MoveQuery {
    /// The day of the visit in the forecast; absent: its first one.
    pub visit_on: Option<NaiveDate>,
    /// Weeks later; below 0 earlier.
    #[param(minimum = -520, maximum = 520, default = 4)]
    pub weeks: Option<i32>,
}

impl Check for MoveQuery {
    fn check(&self, found: &mut Checker) {
        found.range_if_given("weeks", self.weeks, -520, 520);
    }
}

/// What the customer gains or loses when a visit is made some weeks later or earlier.
#[utoipa::path(
    tag = "upkeep",
    params(("id" = Id, Path), MoveQuery),
    responses((status = 200, body = MovedVisit, description = "What changes"))
)]
#[get("/v1/vehicles/{id}/upkeep/move")]
pub async fn get_moved_visit(app: Shared, caller: Caller, key: Key, query: Query<MoveQuery>) -> Answer {
    let (technician, handbooks) = (caller.only_own_work(), app.handbooks.clone());
    let read = app.read(&caller, move |db| forecast(db, &handbooks, key.0, technician));
    let (_, Upkeep { visits, .. }) = read.await?;
    let visit_on = query.0.visit_on;
    let found = visits.iter().position(|visit| visit_on.is_none_or(|on| on == visit.on));
    let none = || ApiError::conflict("no_visit", "the forecast has no such visit");
    let moved = move_visit(&visits, found.ok_or_else(none)?, query.0.weeks.unwrap_or(WEEKS));
    Ok(HttpResponse::Ok().json(moved.map_err(|error| ApiError::BadQuery(error.to_string()))?))
}

/// What was found on a vehicle against what had been forecast, the newest first.
#[utoipa::path(
    tag = "upkeep",
    params(("id" = Id, Path), PageQuery),
    responses((status = 200, body = Page<ForecastCheck>, description = "A page"))
)]
#[get("/v1/vehicles/{id}/upkeep/checks")]
pub async fn list_forecast_checks(app: Shared, caller: Caller, key: Key, query: Query<PageQuery>) -> Answer {
    let technician = caller.only_own_work();
    let list = format!("{} upkeep checks {}", caller.shop, key.0);
    let before = page::unseal::<Id>(&app.keys, &list, query.0.cursor.as_deref())?;
    let limit = query.0.limit.unwrap_or(page::DEFAULT_LIMIT);
    let rows = app.read(&caller, move |db| {
        seen(db, key.0, technician)?;
        Ok(forecast_checks::of_vehicle(db, key.0, before, limit + 1)?)
    });
    let Page { items, next_cursor } = Page::cut(rows.await?, limit, &app.keys, &list, |row| row.id)?;
    let items: Vec<ForecastCheck> = items.into_iter().map(ForecastCheck::from).collect();
    listed(&Page { items, next_cursor })
}

/// How far the forecasts of all vehicles are up to date.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct ForecastState {
    pub vehicles: i64,
    /// Of these, whose forecast is older than what it rests on.
    pub stale: i64,
    /// Of these, whose record contradicts itself; the vehicle's own forecast says how.
    pub without_forecast: i64,
    /// The newest task that makes them anew.
    pub task: Option<ForecastTask>,
}

/// A task that makes forecasts anew.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct ForecastTask {
    pub status: TaskStatus,
    pub created_at: Instant,
    pub finished_at: Option<Instant>,
    /// Vehicles done, of how many; none before it has begun.
    pub done: Option<i32>,
    pub total: Option<i32>,
}

/// How many forecasts are stale, and how far the task has come that makes them anew.
#[utoipa::path(
    tag = "upkeep",
    responses((status = 200, body = ForecastState, description = "The state"))
)]
#[get("/v1/upkeep/forecasts")]
pub async fn get_forecasts(app: Shared, caller: Caller) -> Answer {
    let handbooks = app.handbooks.clone();
    let state = app.read(&caller, move |db| state(db, &handbooks)).await?;
    Ok(HttpResponse::Ok().json(state))
}

/// Has the forecasts of all vehicles made anew in the background, from what the shop's vehicles have taught until now.
///
/// While one such task waits or runs, no second one is added.
#[utoipa::path(
    tag = "upkeep",
    responses((status = 202, body = ForecastState, description = "It will be done"))
)]
#[post("/v1/upkeep/forecasts")]
pub async fn forecast_all(app: Shared, caller: Caller) -> Answer {
    let handbooks = app.handbooks.clone();
    app.once(
        &caller,
        move |db| {
            let task = Task::ForecastUpkeep { renew: true };
            let newest = outbox::newest(db, task.kind())?.filter(|row| row.finished_at.is_none());
            if newest.is_none_or(|row| row.payload.0 != serde_json::json!(task)) {
                let key = format!("{}:{}", task.kind(), Id::new(db.now));
                tasks::enqueue(db, task, &key, db.now)?;
            }
            state(db, &handbooks)
        },
        Reply::accepted,
    )
    .await
}

fn state(db: &mut Db<'_>, handbooks: &Handbooks) -> Result<ForecastState, ApiError> {
    let basis = Ground::read(db, handbooks)?.basis;
    let counts = upkeep_states::counts(db, basis)?;
    let kind = Task::ForecastUpkeep { renew: false }.kind();
    let of = |row: Row| ForecastTask {
        status: row.status.0,
        created_at: row.created_at,
        finished_at: row.finished_at,
        done: row.done_count,
        total: row.total_count,
    };
    Ok(ForecastState {
        vehicles: counts.vehicles,
        stale: counts.stale,
        without_forecast: counts.faulty,
        task: outbox::newest(db, kind)?.map(of),
    })
}

fn forecast(
    db: &mut Db<'_>,
    handbooks: &Handbooks,
    id: Id,
    technician: Option<Id>,
) -> Result<(Vehicle, Upkeep), ApiError> {
    let vehicle = seen(db, id, technician)?;
    let ground = Ground::live(db, handbooks)?;
    let upkeep = upkeep::forecast(db, &ground, &vehicle)?;
    Ok((vehicle, upkeep))
}

/// The vehicle, unless a technician asks who has no job of its customer.
pub fn seen(db: &mut Db<'_>, id: Id, technician: Option<Id>) -> Result<Vehicle, ApiError> {
    let vehicle = vehicles::find(db, id)?.ok_or(ApiError::NotFound)?;
    visible(db, vehicle.fields.customer, technician)?;
    Ok(vehicle)
}
