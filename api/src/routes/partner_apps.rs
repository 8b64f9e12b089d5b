//! Partner apps of the shop.

use super::{Answer, Shared, listed, oauth};
use crate::auth::Caller;
use crate::auth::tokens::{new_secret, secret_hash};
use crate::db::kinds::Id;
use crate::db::partner_apps::{self, PartnerApp, PartnerAppFields};
use crate::error::ApiError;
use crate::extract::{Body, IfMatch, Key};
use crate::page::Page;
use crate::reply::Reply;
use actix_web::{get, post};
use serde::Serialize;
use utoipa::ToSchema;

/// A new app with its secret, which is shown only this once.
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
            partner_apps::insert(db, id, &body.0, &hash)?;
            partner_apps::find(db, id)?.ok_or(ApiError::NotFound)
        },
        move |made| {
            let client_id = oauth::client_id(shop, made.id);
            let new = NewPartnerApp { app: made.clone(), client_id, client_secret: secret };
            Reply::created(&new, made.rev, format!("/v1/partner-apps/{}", made.id))
        },
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
