//! Webhooks: where events are told, by Standard Webhooks 1.0.0. A partner app sees and changes its own.

use super::{Answer, Shared, listed, ok, unless_stale};
use crate::auth::Caller;
use crate::db::deliveries::{self, Attempt, DeliveryStatus, Row};
use crate::db::kinds::Id;
use crate::db::webhooks::{self, Webhook, WebhookFields};
use crate::db::{Db, kinds::Word};
use crate::error::ApiError;
use crate::events;
use crate::extract::{Body, IfMatch, Key, Patch, Query, RecordKey};
use crate::outbound::signature::new_secret;
use crate::page::{self, Page, PageQuery};
use crate::reply::Reply;
use actix_web::{HttpResponse, delete, get, patch, post};
use serde::Serialize;
use utoipa::ToSchema;

/// Webhooks of one app, or of the shop itself; an assumption.
const MOST: usize = 10;

/// A webhook with its secret, which is shown only this once.
#[derive(Serialize, ToSchema)]
pub struct WebhookSecret {
    pub webhook: Webhook,
    /// Signs what is sent there; give it to the receiver.
    #[schema(example = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw")]
    pub secret: String,
}

/// A delivery and how each attempt went.
#[derive(Serialize, ToSchema)]
pub struct DeliveryLog {
    #[serde(flatten)]
    pub delivery: Row,
    pub log: Vec<Attempt>,
}

/// All webhooks; of a partner app its own.
#[utoipa::path(tag = "webhooks", responses((status = 200, body = Page<Webhook>, description = "All of them")))]
#[get("/v1/webhooks")]
pub async fn list_webhooks(app: Shared, caller: Caller) -> Answer {
    let own = caller.app();
    let items = app.read(&caller, move |db| Ok(webhooks::list(db, own)?)).await?;
    listed(&Page::whole(items))
}

/// Adds a webhook. Its secret is in the answer, and only there.
#[utoipa::path(
    tag = "webhooks",
    request_body = WebhookFields,
    responses((status = 201, body = WebhookSecret, description = "Added; note the secret"))
)]
#[post("/v1/webhooks")]
pub async fn create_webhook(app: Shared, caller: Caller, body: Body<WebhookFields>) -> Answer {
    app.outbound.must_be_callable("/url", &body.0.url)?;
    let (own, secret) = (caller.app(), new_secret()?);
    let kept = secret.clone();
    app.once(
        &caller,
        move |db| {
            let others = webhooks::list(db, own)?;
            if others.iter().filter(|webhook| webhook.app == own).count() >= MOST {
                let text = format!("{MOST} webhooks are enough: delete one first");
                return Err(ApiError::conflict("too_many_webhooks", text));
            }
            let id = Id::new(db.now);
            webhooks::insert(db, id, own, &body.0, &kept)?;
            webhooks::find(db, id)?.ok_or(ApiError::NotFound)
        },
        move |webhook| {
            let with_secret = WebhookSecret { webhook: webhook.clone(), secret };
            Reply::created(&with_secret, webhook.rev, format!("/v1/webhooks/{}", webhook.id))
        },
    )
    .await
}

/// One webhook.
#[utoipa::path(tag = "webhooks", params(("id" = Id, Path)), responses((status = 200, body = Webhook, description = "The webhook")))]
#[get("/v1/webhooks/{id}")]
pub async fn get_webhook(app: Shared, caller: Caller, key: Key) -> Answer {
    let own = caller.app();
    let webhook = app.read_briefly(&caller, move |db| visible(db, key.0, own)).await?;
    ok(&webhook, webhook.tag())
}

/// Changes a webhook.
#[utoipa::path(
    tag = "webhooks",
    params(("id" = Id, Path)),
    request_body(content = WebhookFields, content_type = "application/merge-patch+json"),
    responses((status = 200, body = Webhook, description = "Changed"))
)]
#[patch("/v1/webhooks/{id}")]
pub async fn update_webhook(app: Shared, caller: Caller, key: Key, seen: IfMatch, patch: Patch) -> Answer {
    let (own, outbound) = (caller.app(), app.outbound.clone());
    let webhook = app
        .write(&caller, move |db| {
            let before = visible(db, key.0, own)?;
            seen.allows(before.rev)?;
            let fields = patch.apply(&before.fields)?;
            outbound.must_be_callable("/url", &fields.url)?;
            unless_stale(webhooks::update(db, key.0, before.rev, &fields)?)?;
            visible(db, key.0, own)
        })
        .await?;
    ok(&webhook, webhook.tag())
}

/// Deletes a webhook with its deliveries.
#[utoipa::path(tag = "webhooks", params(("id" = Id, Path)), responses((status = 204, description = "Deleted")))]
#[delete("/v1/webhooks/{id}")]
pub async fn delete_webhook(app: Shared, caller: Caller, key: Key, seen: IfMatch) -> Answer {
    let own = caller.app();
    let delete = app.write(&caller, move |db| {
        seen.allows(visible(db, key.0, own)?.rev)?;
        Ok(webhooks::delete(db, key.0)?)
    });
    delete.await?;
    Ok(HttpResponse::NoContent().finish())
}

/// Sends to a webhook again that was disabled.
#[utoipa::path(tag = "webhooks", params(("id" = Id, Path)), responses((status = 200, body = Webhook, description = "Enabled")))]
#[post("/v1/webhooks/{id}/enable")]
pub async fn enable_webhook(app: Shared, caller: Caller, key: Key, seen: IfMatch) -> Answer {
    let own = caller.app();
    app.once(
        &caller,
        move |db| {
            seen.allows(visible(db, key.0, own)?.rev)?;
            webhooks::enable(db, key.0)?;
            visible(db, key.0, own)
        },
        move |webhook| Reply::ok(webhook, webhook.tag()),
    )
    .await
}

/// Gives a webhook another secret. The one before signs too for 24 hours, so that nothing is lost meanwhile.
#[utoipa::path(
    tag = "webhooks",
    params(("id" = Id, Path)),
    responses((status = 200, body = WebhookSecret, description = "Note the secret"))
)]
#[post("/v1/webhooks/{id}/secret")]
pub async fn change_webhook_secret(app: Shared, caller: Caller, key: Key, seen: IfMatch) -> Answer {
    let (own, secret) = (caller.app(), new_secret()?);
    let kept = secret.clone();
    app.once(
        &caller,
        move |db| {
            seen.allows(visible(db, key.0, own)?.rev)?;
            webhooks::change_secret(db, key.0, &kept)?;
            visible(db, key.0, own)
        },
        move |webhook| Reply::ok(&WebhookSecret { webhook: webhook.clone(), secret }, webhook.rev),
    )
    .await
}

/// Sends a test event to a webhook; the answer is the delivery to look for.
#[utoipa::path(tag = "webhooks", params(("id" = Id, Path)), responses((status = 202, body = Row, description = "It will be sent")))]
#[post("/v1/webhooks/{id}/test")]
pub async fn test_webhook(app: Shared, caller: Caller, key: Key) -> Answer {
    let own = caller.app();
    app.once(
        &caller,
        move |db| {
            let webhook = visible(db, key.0, own)?;
            if webhook.disabled_at.is_some() {
                return Err(ApiError::conflict("webhook_disabled", "enable it first"));
            }
            let delivery = events::test(db, &webhook)?;
            deliveries::find(db, delivery)?.ok_or(ApiError::NotFound)
        },
        Reply::accepted,
    )
    .await
}

/// What was sent to a webhook, the newest first. It is kept for 30 days.
#[utoipa::path(
    tag = "webhooks",
    params(("id" = Id, Path), PageQuery),
    responses((status = 200, body = Page<Row>, description = "A page"))
)]
#[get("/v1/webhooks/{id}/deliveries")]
pub async fn list_deliveries(app: Shared, caller: Caller, key: Key, query: Query<PageQuery>) -> Answer {
    let own = caller.app();
    let list = format!("{} deliveries {}", caller.shop, key.0);
    let before = page::unseal::<Id>(&app.keys, &list, query.0.cursor.as_deref())?;
    let limit = query.0.limit.unwrap_or(page::DEFAULT_LIMIT);
    let rows = app.read(&caller, move |db| {
        visible(db, key.0, own)?;
        let rows = deliveries::list(db, key.0, before, limit + 1)?;
        Ok(deliveries::shown(db, rows)?)
    });
    listed(&Page::cut(rows.await?, limit, &app.keys, &list, |row| row.id)?)
}

/// One delivery, with how each attempt went.
#[utoipa::path(
    tag = "webhooks",
    params(("id" = Id, Path), ("record" = Id, Path, description = "The delivery")),
    responses((status = 200, body = DeliveryLog, description = "The delivery"))
)]
#[get("/v1/webhooks/{id}/deliveries/{record}")]
pub async fn get_delivery(app: Shared, caller: Caller, key: Key, record: RecordKey) -> Answer {
    let own = caller.app();
    let read = app.read_briefly(&caller, move |db| {
        let delivery = delivery_of(db, key.0, record.0, own)?;
        Ok(DeliveryLog { log: deliveries::attempts(db, delivery.id)?, delivery })
    });
    let log = read.await?;
    ok(&log, log.delivery.tag())
}

/// Sends a delivery again that has arrived or was given up, with the same `webhook-id`. A partner app has only those sent
/// again that are of customers for whom it may act.
#[utoipa::path(
    tag = "webhooks",
    params(("id" = Id, Path), ("record" = Id, Path, description = "The delivery")),
    responses((status = 202, body = Row, description = "It will be sent"))
)]
#[post("/v1/webhooks/{id}/deliveries/{record}/replay")]
pub async fn replay_delivery(
    app: Shared,
    caller: Caller,
    key: Key,
    record: RecordKey,
    seen: IfMatch,
) -> Answer {
    let own = caller.app();
    app.once(
        &caller,
        move |db| {
            let before = delivery_of(db, key.0, record.0, own)?;
            seen.allows(before.rev())?;
            if before.is_hidden() {
                return Err(ApiError::Forbidden("the app may not act for the customer of this delivery"));
            }
            if before.status == Word(DeliveryStatus::Waiting) {
                return Err(ApiError::conflict("delivery_waits", "it has not been settled yet"));
            }
            events::replay(db, before.id)?;
            delivery_of(db, key.0, record.0, own)
        },
        Reply::accepted,
    )
    .await
}

/// The webhook, unless a partner app asks whose it is not: for them there is none.
fn visible(db: &mut Db<'_>, id: Id, own: Option<Id>) -> Result<Webhook, ApiError> {
    let webhook = webhooks::find(db, id)?.ok_or(ApiError::NotFound)?;
    if own.is_some() && webhook.app != own { Err(ApiError::NotFound) } else { Ok(webhook) }
}

/// The delivery of a visible webhook, as the caller may see it.
fn delivery_of(db: &mut Db<'_>, webhook: Id, id: Id, own: Option<Id>) -> Result<Row, ApiError> {
    visible(db, webhook, own)?;
    let found = deliveries::find(db, id)?.filter(|row| row.webhook == webhook);
    let shown = deliveries::shown(db, found.into_iter().collect())?;
    shown.into_iter().next().ok_or(ApiError::NotFound)
}
