//! Is it up, and what can it do.

use super::{Answer, Shared};
use crate::auth::Caller;
use crate::db::kinds::Id;
use crate::error::ApiError;
use actix_web::{HttpResponse, get};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// The state of this replica.
#[derive(Debug, Serialize, Deserialize, ToSchema)]
pub struct Health {
    #[schema(example = "ok")]
    pub status: String,
    #[schema(example = "0.1.0")]
    pub version: String,
}

/// Answers when this replica and its database work.
#[utoipa::path(tag = "service", responses((status = 200, body = Health, description = "It works")))]
#[get("/health")]
pub async fn get_health(app: Shared) -> Answer {
    // Any shop will do: the question is whether the database answers.
    let nobody = Caller::house(Id::new(app.clock.now()));
    app.read(&nobody, |db| crate::db::shops::find(db).map_err(ApiError::from)).await?;
    Ok(HttpResponse::Ok().json(Health { status: "ok".into(), version: env!("CARGO_PKG_VERSION").into() }))
}

/// This document.
#[utoipa::path(tag = "service", responses((status = 200, description = "The OpenAPI document", content_type = "application/json")))]
#[get("/openapi.json")]
pub async fn get_openapi() -> HttpResponse {
    HttpResponse::Ok().content_type("application/json").body(crate::openapi::document_text())
}
