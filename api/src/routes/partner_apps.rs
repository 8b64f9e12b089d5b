//! Partner apps of the shop.

use super::{Answer, Shared, listed, ok, unless_stale};
use crate::auth::tokens::{new_secret, secret_hash};
use crate::auth::{Caller, client_id};
use crate::check::Checker;
use crate::db::kinds::Id;
use crate::db::partner_apps::{self, PartnerApp, PartnerAppFields};
use crate::db::{Db, customers};
use crate::error::ApiError;
use crate::extract::{Body, IfMatch, Key, Patch};
use crate::page::Page;
use crate::reply::Reply;
use actix_web::{get, patch, post};
use serde::Serialize;
use utoipa::ToSchema;

/// An app with a new secret, which is shown only this once.
#[derive(Serialize, ToSchema)]
pub struct NewPartnerApp {
    pub app: PartnerApp,
    pub client_id: String,
    pub client_secret: String,
}

/// All partner apps.
#[utoipa::path(tag = "partner apps", responses((status = 200, body = Page<PartnerApp>, description = "All of them")))]
#[get("/v1/partner-apps")]
pub async fn list_partner_apps(app: Shared, caller: Caller) -> Answer {
    let items = app.read(&caller, |db| Ok(partner_apps::list(db)?)).await?;
    listed(&Page::whole(items))
}

/// Adds a partner app.
#[utoipa::path(
    tag = "partner apps",
    request_body = PartnerAppFields,
    responses((status = 201, body = NewPartnerApp, description = "Added; note the secret"))
)]
#[post("/v1/partner-apps")]
pub async fn create_partner_app(app: Shared, caller: Caller, body: Body<PartnerAppFields>) -> Answer {
    let secret = new_secret()?;
    let hash = secret_hash(&secret);
    let shop = caller.shop;
    app.once(
        &caller,
        move |db| {
            let id = Id::new(db.now);
            known(db, &body.0)?;
            partner_apps::insert(db, id, &body.0, &hash)?;
            partner_apps::find(db, id)?.ok_or(ApiError::NotFound)
        },
        move |made| {
            let client_id = client_id(shop, made.id);
            let new = NewPartnerApp { app: made.clone(), client_id, client_secret: secret };
            Reply::created(&new, made.rev, format!("/v1/partner-apps/{}", made.id))
        },
    )
    .await
}

/// One partner app.
#[utoipa::path(
    tag = "partner apps",
    params(("id" = Id, Path)),
    responses((status = 200, body = PartnerApp, description = "The app"))
)]
#[get("/v1/partner-apps/{id}")]
pub async fn get_partner_app(app: Shared, caller: Caller, key: Key) -> Answer {
    let found =
        app.read_briefly(&caller, move |db| partner_apps::find(db, key.0)?.ok_or(ApiError::NotFound)).await?;
    ok(&found, found.rev)
}

/// Changes what an app is called and may do. Its tokens with a scope that it loses end at once.
#[utoipa::path(
    tag = "partner apps",
    params(("id" = Id, Path)),
    request_body(content = PartnerAppFields, content_type = "application/merge-patch+json"),
    responses((status = 200, body = PartnerApp, description = "Changed"))
)]
#[patch("/v1/partner-apps/{id}")]
pub async fn update_partner_app(
    app: Shared,
    caller: Caller,
    key: Key,
    seen: IfMatch,
    patch: Patch,
) -> Answer {
    let found = app
        .write(&caller, move |db| {
            let before = partner_apps::find(db, key.0)?.ok_or(ApiError::NotFound)?;
            seen.allows(before.rev)?;
            let fields = patch.apply(&before.fields)?;
            known(db, &fields)?;
            unless_stale(partner_apps::update(db, key.0, before.rev, &fields)?)?;
            partner_apps::find(db, key.0)?.ok_or(ApiError::NotFound)
        })
        .await?;
    ok(&found, found.rev)
}

/// Gives an app a second secret. Both are good until the older one is retired.
#[utoipa::path(
    tag = "partner apps",
    params(("id" = Id, Path)),
    responses((status = 200, body = NewPartnerApp, description = "Note the secret"))
)]
#[post("/v1/partner-apps/{id}/secret")]
pub async fn add_partner_secret(app: Shared, caller: Caller, key: Key, seen: IfMatch) -> Answer {
    let client_secret = new_secret()?;
    let hash = secret_hash(&client_secret);
    let shop = caller.shop;
    app.once(
        &caller,
        move |db| {
            let found = partner_apps::find(db, key.0)?.ok_or(ApiError::NotFound)?;
            seen.allows(found.rev)?;
            if !partner_apps::add_secret(db, found.id, &hash)? {
                let text = "an app has at most two secrets: retire the older one first";
                return Err(ApiError::conflict("two_secrets", text));
            }
            partner_apps::find(db, key.0)?.ok_or(ApiError::NotFound)
        },
        move |found| {
            let client_id = client_id(shop, found.id);
            Reply::ok(&NewPartnerApp { app: found.clone(), client_id, client_secret }, found.rev)
        },
    )
    .await
}

/// Ends the older of an app's two secrets.
#[utoipa::path(
    tag = "partner apps",
    params(("id" = Id, Path)),
    responses((status = 200, body = PartnerApp, description = "Only the newer one is good"))
)]
#[post("/v1/partner-apps/{id}/secret/retire")]
pub async fn retire_partner_secret(app: Shared, caller: Caller, key: Key, seen: IfMatch) -> Answer {
    app.once(
        &caller,
        move |db| {
            let found = partner_apps::find(db, key.0)?.ok_or(ApiError::NotFound)?;
            seen.allows(found.rev)?;
            if !partner_apps::retire_secret(db, found.id)? {
                return Err(ApiError::conflict("one_secret", "the app has one secret: add another first"));
            }
            partner_apps::find(db, key.0)?.ok_or(ApiError::NotFound)
        },
        move |found| Reply::ok(found, found.rev),
    )
    .await
}

/// Ends an app's access at once.
#[utoipa::path(
    tag = "partner apps",
    params(("id" = Id, Path)),
    responses((status = 200, body = PartnerApp, description = "Disabled"))
)]
#[post("/v1/partner-apps/{id}/disable")]
pub async fn disable_partner_app(app: Shared, caller: Caller, key: Key, seen: IfMatch) -> Answer {
    app.once(
        &caller,
        move |db| {
            seen.allows(partner_apps::find(db, key.0)?.ok_or(ApiError::NotFound)?.rev)?;
            partner_apps::disable(db, key.0)?;
            partner_apps::find(db, key.0)?.ok_or(ApiError::NotFound)
        },
        move |found| Reply::ok(found, found.rev),
    )
    .await
}

/// Refuses customers that there are not.
fn known(db: &mut Db<'_>, fields: &PartnerAppFields) -> Result<(), ApiError> {
    let Some(named) = &fields.customers else { return Ok(()) };
    let there = customers::among(db, &named.0)?;
    let mut found = Checker::default();
    for (i, _) in named.0.iter().enumerate().filter(|(_, id)| !there.contains(id)) {
        found.refuse(format!("customers/{i}"), "unknown", "there is no such customer");
    }
    found.finish()
}
