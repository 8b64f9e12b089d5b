//! Phones: told of by whoever has them, taken out of use by the office.

use super::sync::push::knows_more;
use super::{Answer, Shared, listed, ok, unless_stale};
use crate::auth::Caller;
use crate::check::{Check, Checker};
use crate::db::Db;
use crate::db::devices::{self, Device, DeviceFields, DeviceState};
use crate::db::kinds::Id;
use crate::db::sync::{Touch, clock};
use crate::error::ApiError;
use crate::extract::{Body, IfMatch, Key, Query};
use crate::page::{self, Page, PageQuery};
use crate::reply::Reply;
use actix_web::{HttpResponse, get, post, put};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// A phone, and the timeline that the server is on.
#[derive(Debug, Serialize, ToSchema)]
pub struct RegisteredDevice {
    pub epoch: String,
    #[serde(flatten)]
    pub device: Device,
}

/// Says that a phone, under an id of its own, is the caller's. Saying it again changes nothing; it tells the timeline that
/// the server is on and the number of the last command that was taken from the phone.
#[utoipa::path(
    tag = "sync",
    params(("id" = Id, Path)),
    request_body(content = DeviceFields, example = json!({ "name": "Work phone", "row_schema": 1 })),
    responses(
        (status = 200, body = RegisteredDevice, description = "It was known"),
        (status = 201, body = RegisteredDevice, description = "It is new")
    )
)]
#[put("/v1/devices/{id}")]
pub async fn register_device(app: Shared, caller: Caller, key: Key, body: Body<DeviceFields>) -> Answer {
    let person = caller.person()?;
    if !key.0.is_v7() {
        return Err(ApiError::field("", "not_a_uuid_v7", "the id in the address is no UUIDv7"));
    }
    let write = app.write(&caller, move |db| {
        let known = devices::find_locked(db, key.0)?;
        match &known {
            Some(device) if device.person != person => {
                return Err(ApiError::conflict("device_of_another", "this device is somebody else's"));
            }
            Some(device) if device.state.0 == DeviceState::Barred => {
                return Err(ApiError::Forbidden("this device was barred"));
            }
            Some(_) => devices::update(db, key.0, &body.0)?,
            None => {
                devices::insert(db, key.0, person, &body.0)?;
                db.touch(Touch::Person(person));
            }
        }
        let device = found(db, key.0, None)?;
        if body.0.acknowledged_n > device.last_n && body.0.epoch == Some(clock::now(db)?.0) {
            knows_more(db, &device, body.0.acknowledged_n)?;
        }
        Ok(known.is_none())
    });
    let is_new = write.await?;
    let registered = app
        .read(&caller, move |db| {
            let device = devices::find(db, key.0)?.ok_or(ApiError::NotFound)?;
            Ok(RegisteredDevice { epoch: clock::now(db)?.0, device })
        })
        .await?;
    let mut response = if is_new { HttpResponse::Created() } else { HttpResponse::Ok() };
    Ok(response.json(registered))
}

/// Phones. Technicians and leads see their own.
#[utoipa::path(
    tag = "sync",
    params(PageQuery),
    responses((status = 200, body = Page<Device>, description = "A page"))
)]
#[get("/v1/devices")]
pub async fn list_devices(app: Shared, caller: Caller, query: Query<PageQuery>) -> Answer {
    let own = caller.only_own_work();
    let list = format!("{} devices {own:?}", caller.shop);
    let after = page::unseal::<Id>(&app.keys, &list, query.0.cursor.as_deref())?;
    let limit = query.0.limit.unwrap_or(page::DEFAULT_LIMIT);
    let rows = app.read(&caller, move |db| Ok(devices::list(db, own, after, limit + 1)?)).await?;
    listed(&Page::cut(rows, limit, &app.keys, &list, |device| device.id)?)
}

/// A phone. Technicians see their own.
#[utoipa::path(
    tag = "sync",
    params(("id" = Id, Path)),
    responses((status = 200, body = Device, description = "The phone"))
)]
#[get("/v1/devices/{id}")]
pub async fn get_device(app: Shared, caller: Caller, key: Key) -> Answer {
    let own = caller.only_own_work();
    let device = app.read_briefly(&caller, move |db| found(db, key.0, own)).await?;
    ok(&device, device.rev)
}

/// How a phone is taken out of use.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Revocation {
    /// Refuse it at once. Otherwise it is told to forget everything, and what it had not sent yet still comes to the inbox.
    #[serde(default)]
    pub hard: bool,
}

impl Check for Revocation {
    fn check(&self, _: &mut Checker) {}
}

/// Takes a phone out of use. End the login too (`POST /v1/people/{id}/disable`, or a new password) where it may be in
/// wrong hands.
#[utoipa::path(
    tag = "sync",
    params(("id" = Id, Path)),
    request_body(content = Revocation, example = json!({ "hard": false })),
    responses((status = 200, body = Device, description = "Taken out of use"))
)]
#[post("/v1/devices/{id}/revoke")]
pub async fn revoke_device(
    app: Shared,
    caller: Caller,
    key: Key,
    seen: IfMatch,
    body: Body<Revocation>,
) -> Answer {
    let state = if body.0.hard { DeviceState::Barred } else { DeviceState::Wiped };
    app.once(
        &caller,
        move |db| {
            let device = found(db, key.0, None)?;
            seen.allows(device.rev)?;
            unless_stale(devices::set_state(db, key.0, device.rev, state)?)?;
            found(db, key.0, None)
        },
        move |device| Reply::ok(device, device.rev),
    )
    .await
}

fn found(db: &mut Db<'_>, id: Id, own: Option<Id>) -> Result<Device, ApiError> {
    let device = devices::find(db, id)?.filter(|device| own.is_none_or(|own| own == device.person));
    device.ok_or(ApiError::NotFound)
}
