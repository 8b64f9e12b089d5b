//! What a request is answered with, as plain data: made inside the transaction of a change, so that it can be kept there.

use crate::error::ApiError;
use actix_web::HttpResponse;
use actix_web::http::{StatusCode, header};
use serde::{Deserialize, Serialize};
use std::fmt::Display;

/// Status, what the headers say of the entity, and the entity as JSON.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Reply {
    status: u16,
    etag: Option<String>,
    location: Option<String>,
    body: String,
}

impl Reply {
    /// 200 with the entity and its revision.
    pub fn ok(entity: &impl Serialize, rev: impl Display) -> Result<Reply, ApiError> {
        Ok(Reply { etag: Some(format!("\"{rev}\"")), ..Reply::plain(entity)? })
    }

    /// 201 with the entity, its revision and its address.
    pub fn created(entity: &impl Serialize, rev: impl Display, location: String) -> Result<Reply, ApiError> {
        Ok(Reply { status: 201, location: Some(location), ..Reply::ok(entity, rev)? })
    }

    /// 202 with something that is worked on, its revision and its address.
    pub fn begun(entity: &impl Serialize, rev: impl Display, location: String) -> Result<Reply, ApiError> {
        Ok(Reply { status: 202, ..Reply::created(entity, rev, location)? })
    }

    /// 202 with how far it is.
    pub fn accepted(state: &impl Serialize) -> Result<Reply, ApiError> {
        Ok(Reply { status: 202, ..Reply::plain(state)? })
    }

    /// 200 with something that has no revision of its own.
    pub fn plain(entity: &impl Serialize) -> Result<Reply, ApiError> {
        Ok(Reply { status: 200, etag: None, location: None, body: serde_json::to_string(entity)? })
    }
}

impl From<Reply> for HttpResponse {
    fn from(reply: Reply) -> HttpResponse {
        let status = StatusCode::from_u16(reply.status).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR);
        let mut response = HttpResponse::build(status);
        if let Some(etag) = reply.etag {
            response.insert_header((header::ETAG, etag));
            response.insert_header((header::CACHE_CONTROL, "private, no-cache"));
        }
        if let Some(location) = reply.location {
            response.insert_header((header::LOCATION, location));
        }
        response.content_type("application/json").body(reply.body)
    }
}
