//! Customers' vehicles.

use super::{Answer, Shared, created, customers::visible, ok, unless_stale};
use crate::auth::Caller;
use crate::db::kinds::Id;
use crate::db::vehicles::{self, Vehicle, VehicleFields};
use crate::db::{Db, customers};
use crate::error::ApiError;
use crate::extract::{Body, IfMatch, Key, Patch, Query};
use crate::page::{self, Page, PageQuery};
use actix_web::{HttpResponse, get, patch, post};

/// The vehicles of a customer.
#[utoipa::path(
    tag = "vehicles",
    params(("id" = Id, Path, description = "The customer")),
    responses((status = 200, body = Page<Vehicle>, description = "All of them"))
)]
#[get("/v1/customers/{id}/vehicles")]
pub async fn list_customer_vehicles(app: Shared, caller: Caller, key: Key) -> Answer {
    let technician = caller.only_own_work();
    let items = app
        .read(&caller, move |db| {
            visible(db, key.0, technician)?;
            Ok(vehicles::of_customer(db, key.0)?)
        })
        .await?;
    Ok(HttpResponse::Ok().json(Page { items, next_cursor: None }))
}

/// All vehicles, in the order in which they were added.
#[utoipa::path(tag = "vehicles", params(PageQuery), responses((status = 200, body = Page<Vehicle>, description = "A page")))]
#[get("/v1/vehicles")]
pub async fn list_vehicles(app: Shared, caller: Caller, query: Query<PageQuery>) -> Answer {
    let list = format!("{} vehicles", caller.shop);
    let after = page::unseal::<Id>(&app.keys, &list, query.0.cursor.as_deref())?;
    let limit = query.0.limit.unwrap_or(page::DEFAULT_LIMIT);
    let rows = app.read(&caller, move |db| Ok(vehicles::list(db, after, limit + 1)?)).await?;
    Ok(HttpResponse::Ok().json(Page::cut(rows, limit, &app.keys, &list, |vehicle| vehicle.id)?))
}

/// Adds a vehicle.
#[utoipa::path(tag = "vehicles", request_body = VehicleFields, responses((status = 201, body = Vehicle, description = "Added")))]
#[post("/v1/vehicles")]
pub async fn create_vehicle(app: Shared, caller: Caller, body: Body<VehicleFields>) -> Answer {
    let vehicle = app
        .write(&caller, move |db| {
            known_customer(db, &body.0)?;
            let id = Id::new(db.now);
            vehicles::insert(db, id, &body.0)?;
            vehicles::find(db, id)?.ok_or(ApiError::NotFound)
        })
        .await?;
    created(&vehicle, vehicle.rev, format!("/v1/vehicles/{}", vehicle.id))
}

/// One vehicle. A technician sees those of the customers of their own jobs.
#[utoipa::path(tag = "vehicles", params(("id" = Id, Path)), responses((status = 200, body = Vehicle, description = "The vehicle")))]
#[get("/v1/vehicles/{id}")]
pub async fn get_vehicle(app: Shared, caller: Caller, key: Key) -> Answer {
    let technician = caller.only_own_work();
    let vehicle = app
        .read(&caller, move |db| {
            let vehicle = vehicles::find(db, key.0)?.ok_or(ApiError::NotFound)?;
            visible(db, vehicle.fields.customer, technician)?;
            Ok(vehicle)
        })
        .await?;
    ok(&vehicle, vehicle.rev)
}

/// Changes a vehicle.
#[utoipa::path(
    tag = "vehicles",
    params(("id" = Id, Path)),
    request_body(content = VehicleFields, content_type = "application/merge-patch+json"),
    responses((status = 200, body = Vehicle, description = "Changed"))
)]
#[patch("/v1/vehicles/{id}")]
pub async fn update_vehicle(app: Shared, caller: Caller, key: Key, seen: IfMatch, patch: Patch) -> Answer {
    let vehicle = app
        .write(&caller, move |db| {
            let before = vehicles::find(db, key.0)?.ok_or(ApiError::NotFound)?;
            seen.allows(before.rev)?;
            let fields = patch.apply(&before.fields)?;
            known_customer(db, &fields)?;
            unless_stale(vehicles::update(db, key.0, before.rev, &fields)?)?;
            vehicles::find(db, key.0)?.ok_or(ApiError::NotFound)
        })
        .await?;
    ok(&vehicle, vehicle.rev)
}

fn known_customer(db: &mut Db<'_>, fields: &VehicleFields) -> Result<(), ApiError> {
    match customers::find(db, fields.customer)? {
        Some(_) => Ok(()),
        None => Err(ApiError::field("/customer", "unknown", "there is no such customer")),
    }
}
