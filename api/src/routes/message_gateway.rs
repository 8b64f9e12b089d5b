//! The gateway that takes a shop's text messages and hands in what customers answer.

use super::{Answer, Shared, ok};
use crate::auth::Caller;
use crate::db::message_gateway::{self, GatewayFields, MessageGateway};
use crate::error::ApiError;
use crate::extract::{Body, IfMatch, Seen};
use crate::outbound::signature::new_secret;
use crate::reply::Reply;
use actix_web::{get, post, put};
use serde::Serialize;
use utoipa::ToSchema;

/// The gateway with its secret, which is shown only this once.
#[derive(Serialize, ToSchema)]
pub struct GatewaySecret {
    pub gateway: MessageGateway,
    /// Signs what is sent there and what comes from there.
    #[schema(example = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw")]
    pub secret: String,
}

/// Where text messages go.
#[utoipa::path(tag = "messages", responses((status = 200, body = MessageGateway, description = "The gateway")))]
#[get("/v1/message-gateway")]
pub async fn get_message_gateway(app: Shared, caller: Caller) -> Answer {
    let gateway =
        app.read_briefly(&caller, |db| message_gateway::find(db)?.ok_or(ApiError::NotFound)).await?;
    ok(&gateway, gateway.rev)
}

/// Says where text messages go. Ask for a secret afterwards.
///
/// Each message is posted there, signed by Standard Webhooks 1.0.0 with that secret, as
/// `{"type": "message.text", "timestamp": "2026-05-04T08:00:00.000Z", "data": {"to": "+43660123", "text": "…"}}`; `webhook-id` is
/// the id of the reminder, and a gateway that has seen it sends nothing again. Any 2xx says that the message was taken. After
/// 408, 425, 429 (`Retry-After` counts), 5xx, or where nothing could be handed over, it is posted again, ten times in all; any
/// other answer ends it. Where the connection broke after the message went out, the reminder is `uncertain`. What customers
/// answer is handed in by `POST /replies/{shop}`.
#[utoipa::path(
    tag = "messages",
    request_body = GatewayFields,
    responses((status = 200, body = MessageGateway, description = "Stored"))
)]
#[put("/v1/message-gateway")]
pub async fn set_message_gateway(
    app: Shared,
    caller: Caller,
    seen: Seen,
    body: Body<GatewayFields>,
) -> Answer {
    if let Some(url) = &body.0.text_url {
        app.outbound.must_be_callable("/text_url", url)?;
    }
    let secret = new_secret()?;
    let gateway = app.write(&caller, move |db| {
        seen.allows(message_gateway::find(db)?.map(|before| before.rev))?;
        message_gateway::store(db, &body.0, &secret)?;
        message_gateway::find(db)?.ok_or(ApiError::NotFound)
    });
    let gateway = gateway.await?;
    ok(&gateway, gateway.rev)
}

/// Gives the gateway another secret. The one before counts too for 24 hours, so that nothing is lost meanwhile.
#[utoipa::path(tag = "messages", responses((status = 200, body = GatewaySecret, description = "Note the secret")))]
#[post("/v1/message-gateway/secret")]
pub async fn change_gateway_secret(app: Shared, caller: Caller, seen: IfMatch) -> Answer {
    let secret = new_secret()?;
    let kept = secret.clone();
    app.once(
        &caller,
        move |db| {
            seen.allows(message_gateway::find(db)?.ok_or(ApiError::NotFound)?.rev)?;
            message_gateway::change_secret(db, &kept)?;
            message_gateway::find(db)?.ok_or(ApiError::NotFound)
        },
        move |gateway| Reply::ok(&GatewaySecret { gateway: gateway.clone(), secret }, gateway.rev),
    )
    .await
}
