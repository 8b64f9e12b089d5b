//! Customers' vehicles.

use super::{Answer, Shared, created, customers::visible, free, id_taken, listed, ok, unless_stale};
use crate::auth::Caller;
use crate::check::Checker;
use crate::db::kinds::Id;
use crate::db::vehicles::{self, Vehicle, VehicleFields};
use crate::db::{Db, customers, jobs};
use crate::error::ApiError;
use crate::extract::{Body, IfMatch, Key, NewKey, Patch, Query};
use crate::handbooks::Handbooks;
use crate::page::{self, Page, PageQuery};
use crate::reply::Reply;
use crate::throughput::roll_ups;
use crate::upkeep;
use actix_web::{get, patch, post, put};
use chrono::NaiveDate;
use domain::handbook::Handbook;
use domain::vehicle::{Vehicle as Document, Zone};

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
    listed(&Page::whole(items))
}

/// All vehicles, in the order in which they were added.
#[utoipa::path(tag = "vehicles", params(PageQuery), responses((status = 200, body = Page<Vehicle>, description = "A page")))]
#[get("/v1/vehicles")]
pub async fn list_vehicles(app: Shared, caller: Caller, query: Query<PageQuery>) -> Answer {
    let list = format!("{} vehicles", caller.shop);
    let after = page::unseal::<Id>(&app.keys, &list, query.0.cursor.as_deref())?;
    let limit = query.0.limit.unwrap_or(page::DEFAULT_LIMIT);
    let rows = app.read(&caller, move |db| Ok(vehicles::list(db, after, limit + 1)?)).await?;
    listed(&Page::cut(rows, limit, &app.keys, &list, |vehicle| vehicle.id)?)
}

/// Adds a vehicle.
#[utoipa::path(tag = "vehicles", request_body = VehicleFields, responses((status = 201, body = Vehicle, description = "Added")))]
#[post("/v1/vehicles")]
pub async fn create_vehicle(app: Shared, caller: Caller, body: Body<VehicleFields>) -> Answer {
    let handbooks = app.handbooks.clone();
    app.once(
        &caller,
        move |db| {
            let id = Id::new(db.now);
            add(db, &handbooks, id, &body.0)
        },
        move |vehicle| Reply::created(vehicle, vehicle.rev, format!("/v1/vehicles/{}", vehicle.id)),
    )
    .await
}

/// Adds a vehicle under an id of the client's own, a UUIDv7.
#[utoipa::path(
    tag = "vehicles",
    params(("id" = Id, Path)),
    request_body = VehicleFields,
    responses((status = 201, body = Vehicle, description = "Added"))
)]
#[put("/v1/vehicles/{id}")]
pub async fn create_vehicle_under(
    app: Shared,
    caller: Caller,
    key: NewKey,
    body: Body<VehicleFields>,
) -> Answer {
    let handbooks = app.handbooks.clone();
    let vehicle = app.write(&caller, move |db| {
        free(vehicles::find(db, key.0)?)?;
        add(db, &handbooks, key.0, &body.0)
    });
    let vehicle = vehicle.await?;
    created(&vehicle, vehicle.rev, format!("/v1/vehicles/{}", vehicle.id))
}

/// One vehicle. A technician sees those of the customers of their own jobs.
#[utoipa::path(tag = "vehicles", params(("id" = Id, Path)), responses((status = 200, body = Vehicle, description = "The vehicle")))]
#[get("/v1/vehicles/{id}")]
pub async fn get_vehicle(app: Shared, caller: Caller, key: Key) -> Answer {
    let technician = caller.only_own_work();
    let vehicle = app
        .read_briefly(&caller, move |db| {
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
    let handbooks = app.handbooks.clone();
    let vehicle = app
        .write(&caller, move |db| {
            let before = vehicles::find(db, key.0)?.ok_or(ApiError::NotFound)?;
            seen.allows(before.rev)?;
            let fields = patch.apply(&before.fields)?;
            fitting(db, &handbooks, &fields)?;
            let reclassed = fields.document.0.class != before.fields.document.0.class;
            let touched = if reclassed { jobs::of_vehicle(db, key.0)? } else { Vec::new() };
            let handbook = handbooks.of(db)?;
            roll_ups::keep(db, &handbook, &touched, |db| {
                unless_stale(vehicles::update(db, key.0, before.rev, &fields)?)?;
                upkeep::changed(db, &handbooks, key.0)?;
                vehicles::find(db, key.0)?.ok_or(ApiError::NotFound)
            })
        })
        .await?;
    ok(&vehicle, vehicle.rev)
}

fn add(db: &mut Db<'_>, handbooks: &Handbooks, id: Id, fields: &VehicleFields) -> Result<Vehicle, ApiError> {
    fitting(db, handbooks, fields)?;
    vehicles::insert(db, id, fields).map_err(id_taken)?;
    upkeep::changed(db, handbooks, id)?;
    vehicles::find(db, id)?.ok_or(ApiError::NotFound)
}

/// The customer exists, and the handbook knows the words of the document.
fn fitting(db: &mut Db<'_>, handbooks: &Handbooks, fields: &VehicleFields) -> Result<(), ApiError> {
    let (handbook, today) = (handbooks.of(db)?, upkeep::today(db)?);
    let mut found = Checker::default();
    if customers::find(db, fields.customer)?.is_none() {
        found.refuse("customer", "unknown", "there is no such customer");
    }
    found.within("document", |found| {
        known_words(&fields.document.0, &handbook, found);
        past_days(&fields.document.0, today, found);
        one_garage(&fields.document.0, &handbook, found);
    });
    found.finish()
}

/// Zones that the class has, substrates, protections and exposures that are in the tables.
fn known_words(vehicle: &Document, handbook: &Handbook, found: &mut Checker) {
    let mut zone_exists = |place: String, zone: Zone| {
        if handbook.zone(vehicle.class, zone).is_none() {
            found.refuse(place, "unknown_zone", format!("a {:?} has no zone {zone:?}", vehicle.class));
        }
    };
    for (i, surface) in vehicle.surfaces.iter().enumerate() {
        zone_exists(format!("surfaces/{i}/zone"), surface.zone);
    }
    for (i, zone) in vehicle.repainted_zones.iter().enumerate() {
        zone_exists(format!("repainted_zones/{i}"), *zone);
    }
    for (i, coat) in vehicle.coats.iter().enumerate() {
        if let Some(zone) = coat.zone {
            zone_exists(format!("coats/{i}/zone"), zone);
        }
    }
    for (i, coat) in vehicle.coats.iter().enumerate() {
        if handbook.protection(&coat.protection).is_none() {
            let text = format!("the handbook has no protection {:?}", coat.protection);
            found.refuse(format!("coats/{i}/protection"), "unknown", text);
        }
    }
    for (i, exposure) in vehicle.exposures.iter().enumerate() {
        if handbook.exposure(&exposure.kind).is_none() {
            let text = format!("the handbook has no exposure {:?}", exposure.kind);
            found.refuse(format!("exposures/{i}/kind"), "unknown", text);
        }
    }
}

/// What was done to the vehicle was done by today.
fn past_days(vehicle: &Document, today: NaiveDate, found: &mut Checker) {
    let mut past = |place: String, on: Option<NaiveDate>| {
        if let Some(on) = on.filter(|on| *on > today) {
            found.refuse(place, "in_the_future", format!("{on} is after today, {today}"));
        }
    };
    for (i, coat) in vehicle.coats.iter().enumerate() {
        past(format!("coats/{i}/applied_on"), Some(coat.applied_on));
    }
    past("first_registered_on".into(), vehicle.first_registered_on);
    past("repainted_on".into(), vehicle.repainted_on);
    past("decontaminated_on".into(), vehicle.decontaminated_on);
}

/// A vehicle has one garage class, if any.
fn one_garage(vehicle: &Document, handbook: &Handbook, found: &mut Checker) {
    let base = |kind: &str| handbook.exposure(kind).is_some_and(|row| row.exclusive);
    let bases = vehicle.exposures.iter().enumerate().filter(|(_, exposure)| base(&exposure.kind));
    for (i, _) in bases.skip(1) {
        found.refuse(format!("exposures/{i}/kind"), "contradiction", "a vehicle has one garage class");
    }
}
