//! One error for the whole API, and the one match that gives it a status and a stable code (RFC 9457).

use crate::db::kinds::{Id, Instant};
use actix_web::http::{StatusCode, header};
use actix_web::{HttpResponse, ResponseError};
use chrono::NaiveDateTime;
use serde::{Deserialize, Serialize};
use std::fmt;
use utoipa::ToSchema;

/// Everything that can go wrong with a request, as far as the client is told.
#[derive(Debug)]
pub enum ApiError {
    /// The body is not JSON at all.
    BrokenJson(FieldError),
    /// The query string has a parameter that is unknown or has no valid value.
    BadQuery(String),
    /// The body is JSON, but not what this operation takes.
    Invalid(Vec<FieldError>),
    /// No token, or one that is not valid (any more).
    Unauthenticated(&'static str),
    /// A refused OAuth 2.0 request (RFC 6749, 5.2).
    OAuth(OAuthRefusal),
    /// The role or scope does not allow this.
    Forbidden(&'static str),
    NotFound,
    UnknownRoute,
    MethodNotAllowed(Vec<&'static str>),
    /// The request is fine, the state of things forbids it.
    Conflict {
        code: &'static str,
        detail: String,
    },
    /// The window that was offered is no longer free; these are, as they are now.
    OffersGone(Vec<WindowOffer>),
    /// `If-Match` names an older revision.
    Stale,
    /// `If-None-Match: *`, and there is one.
    Exists,
    /// The header that says what the client has seen is missing.
    Unconditional(&'static str),
    /// A header that cannot be understood.
    BadHeader(String),
    /// An idempotency key that came with another request before.
    KeyReused,
    /// More requests than this caller may make, or guesses at a password.
    TooMany {
        retry_after_s: i64,
    },
    TooLarge {
        limit_bytes: usize,
    },
    UnsupportedMedia {
        wanted: &'static str,
    },
    /// Bytes that are not those that were sent (tus 1.0.0, checksum extension).
    ChecksumMismatch,
    /// Another version of tus than ours.
    TusVersion,
    /// The phone understands rows of another shape than those that are sent.
    OtherRows {
        sent: i32,
        understood: i32,
    },
    /// A fault of ours; the cause is logged with the request id and never sent.
    Internal(String),
    /// Anything that actix-web itself refused.
    Framework(StatusCode),
}

/// RFC 6749, section 5.2.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OAuthRefusal {
    InvalidRequest,
    InvalidClient,
    InvalidGrant,
    UnsupportedGrantType,
    InvalidScope,
}

/// A window that can be promised. Partner apps are not told who would go, nor what it costs the shop.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct WindowOffer {
    /// Show it to hold the window.
    pub offer: String,
    pub window_from: Instant,
    pub window_to: Instant,
    /// Until then it can be held, unless somebody else is faster.
    pub good_until: Instant,
    /// The window by the shop's clock.
    #[schema(value_type = String, example = "2026-05-04T08:00:00")]
    pub local_from: NaiveDateTime,
    #[schema(value_type = String, example = "2026-05-04T11:00:00")]
    pub local_to: NaiveDateTime,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub van: Option<Id>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub technicians: Option<Vec<Id>>,
    /// When the work would begin.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub start_at: Option<Instant>,
    /// What it adds to the cost of the rounds, in points.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cost: Option<f64>,
}

/// One field that is wrong.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct FieldError {
    /// JSON pointer (RFC 6901) into the body; empty for the body as a whole.
    pub pointer: String,
    /// Stable, for programs: `unknown_field`, `missing_field`, `wrong_type`, `too_long`, `out_of_range`, ...
    pub code: String,
    /// For people.
    pub detail: String,
}

/// An error as RFC 9457 writes it (`application/problem+json`).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Problem {
    /// `urn:lustrum:problem:` and the code.
    #[serde(rename = "type")]
    pub kind: String,
    pub title: String,
    pub status: u16,
    /// Stable, for programs.
    pub code: String,
    /// For people; absent when the title says all.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub detail: Option<String>,
    /// The same as in the header `x-request-id`; name it when you ask us about this error.
    pub request_id: String,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub errors: Vec<FieldError>,
    /// Only from `/oauth/…`: the code of RFC 6749, 5.2.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub error: Option<String>,
    /// With the code `offer_gone`: the windows as they are now.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub offers: Option<Vec<WindowOffer>>,
}

impl ApiError {
    pub fn field(pointer: impl Into<String>, code: &str, detail: impl Into<String>) -> ApiError {
        ApiError::Invalid(vec![FieldError::new(pointer, code, detail)])
    }

    pub fn conflict(code: &'static str, detail: impl Into<String>) -> ApiError {
        ApiError::Conflict { code, detail: detail.into() }
    }

    /// Status, code, title: the one place that knows.
    fn shape(&self) -> (StatusCode, &str, &'static str) {
        match self {
            ApiError::BrokenJson(_) => (StatusCode::BAD_REQUEST, "broken_json", "The body is not valid JSON"),
            ApiError::BadQuery(_) => (StatusCode::BAD_REQUEST, "bad_query", "The query string is not valid"),
            ApiError::Invalid(_) => {
                (StatusCode::UNPROCESSABLE_ENTITY, "invalid", "The body does not fit this operation")
            }
            ApiError::Unauthenticated(_) => {
                (StatusCode::UNAUTHORIZED, "unauthenticated", "A valid access token is needed")
            }
            ApiError::OAuth(OAuthRefusal::InvalidClient) => {
                (StatusCode::UNAUTHORIZED, "invalid_client", "The client is not known or its secret is wrong")
            }
            ApiError::OAuth(OAuthRefusal::InvalidRequest) => {
                (StatusCode::BAD_REQUEST, "invalid_request", "The token request is not valid")
            }
            ApiError::OAuth(OAuthRefusal::InvalidGrant) => {
                (StatusCode::BAD_REQUEST, "invalid_grant", "The token was issued to somebody else")
            }
            ApiError::OAuth(OAuthRefusal::UnsupportedGrantType) => {
                (StatusCode::BAD_REQUEST, "unsupported_grant_type", "Only client_credentials is supported")
            }
            ApiError::OAuth(OAuthRefusal::InvalidScope) => {
                (StatusCode::BAD_REQUEST, "invalid_scope", "The client may not have this scope")
            }
            ApiError::Forbidden(_) => (StatusCode::FORBIDDEN, "forbidden", "This is not allowed for you"),
            ApiError::NotFound => (StatusCode::NOT_FOUND, "not_found", "There is no such thing here"),
            ApiError::UnknownRoute => (StatusCode::NOT_FOUND, "unknown_route", "There is no such address"),
            ApiError::MethodNotAllowed(_) => {
                (StatusCode::METHOD_NOT_ALLOWED, "method_not_allowed", "This address has other methods")
            }
            ApiError::Conflict { code, .. } => (StatusCode::CONFLICT, code, "The present state forbids it"),
            ApiError::OffersGone(_) => (StatusCode::CONFLICT, "offer_gone", "This window is no longer free"),
            ApiError::Stale => {
                (StatusCode::PRECONDITION_FAILED, "stale", "It was changed meanwhile: read it again")
            }
            ApiError::Exists => {
                (StatusCode::PRECONDITION_FAILED, "exists", "There is one with this id already")
            }
            ApiError::Unconditional(_) => (
                StatusCode::PRECONDITION_REQUIRED,
                "precondition_required",
                "Say which revision you have seen",
            ),
            ApiError::BadHeader(_) => (StatusCode::BAD_REQUEST, "bad_header", "A header is not valid"),
            ApiError::KeyReused => (
                StatusCode::UNPROCESSABLE_ENTITY,
                "idempotency_key_reused",
                "This idempotency key came with another request before",
            ),
            ApiError::TooMany { .. } => {
                (StatusCode::TOO_MANY_REQUESTS, "too_many_requests", "These were too many requests")
            }
            ApiError::TooLarge { .. } => {
                (StatusCode::PAYLOAD_TOO_LARGE, "too_large", "The body is too large")
            }
            ApiError::UnsupportedMedia { .. } => (
                StatusCode::UNSUPPORTED_MEDIA_TYPE,
                "unsupported_media_type",
                "The body has another media type",
            ),
            ApiError::TusVersion => {
                (StatusCode::PRECONDITION_FAILED, "tus_version", "tus 1.0.0 is understood")
            }
            ApiError::OtherRows { .. } => {
                (StatusCode::UPGRADE_REQUIRED, "other_rows", "App and server are of different times")
            }
            ApiError::ChecksumMismatch => (
                StatusCode::from_u16(460).unwrap_or(StatusCode::BAD_REQUEST),
                "checksum_mismatch",
                "The bytes are not those that were sent",
            ),
            ApiError::Internal(_) => {
                (StatusCode::INTERNAL_SERVER_ERROR, "internal", "Something failed on our side")
            }
            ApiError::Framework(status) => (*status, "refused", "The request cannot be read"),
        }
    }

    fn detail(&self) -> Option<String> {
        match self {
            ApiError::BrokenJson(at) => Some(at.detail.clone()),
            ApiError::BadQuery(why) | ApiError::BadHeader(why) | ApiError::Conflict { detail: why, .. } => {
                Some(why.clone())
            }
            ApiError::Unconditional(header) => Some(format!("send {header}")),
            ApiError::TooMany { retry_after_s } => Some(format!("come back in {retry_after_s} s")),
            ApiError::Invalid(errors) => errors.first().map(|e| e.detail.clone()),
            ApiError::Unauthenticated(why) | ApiError::Forbidden(why) => Some((*why).to_owned()),
            ApiError::MethodNotAllowed(allowed) => Some(format!("allowed here: {}", allowed.join(", "))),
            ApiError::TooLarge { limit_bytes } => Some(format!("at most {limit_bytes} bytes are accepted")),
            ApiError::UnsupportedMedia { wanted } => Some(format!("send {wanted}")),
            ApiError::OtherRows { sent, understood } => {
                Some(format!("rows of schema {sent} are sent, the phone understands schema {understood}"))
            }
            _ => None,
        }
    }

    fn errors(&self) -> Vec<FieldError> {
        match self {
            ApiError::BrokenJson(at) => vec![at.clone()],
            ApiError::Invalid(errors) => errors.clone(),
            _ => Vec::new(),
        }
    }

    /// The response for the client; an internal cause is logged here, once.
    pub fn respond(&self, request_id: &str) -> HttpResponse {
        if let ApiError::Internal(cause) = self {
            tracing::error!(request_id, cause, "internal error");
        }
        let (status, code, title) = self.shape();
        let mut response = HttpResponse::build(status);
        response.content_type("application/problem+json");
        match self {
            ApiError::Unauthenticated(_) => {
                response.insert_header((header::WWW_AUTHENTICATE, "Bearer realm=\"lustrum\""));
            }
            ApiError::OAuth(OAuthRefusal::InvalidClient) => {
                response.insert_header((header::WWW_AUTHENTICATE, "Basic realm=\"lustrum\""));
            }
            ApiError::TooMany { retry_after_s } => {
                response.insert_header((header::RETRY_AFTER, retry_after_s.to_string()));
            }
            ApiError::TusVersion => {
                response.insert_header(("tus-version", "1.0.0"));
            }
            // RFC 9110, 15.5.22: it names what is needed.
            ApiError::OtherRows { sent, .. } => {
                response.upgrade(format!("lustrum-rows/{sent}"));
            }
            ApiError::MethodNotAllowed(allowed) => {
                response.insert_header((header::ALLOW, allowed.join(", ")));
            }
            _ => {}
        }
        response.json(Problem {
            kind: format!("urn:lustrum:problem:{code}"),
            title: title.to_owned(),
            status: status.as_u16(),
            code: code.to_owned(),
            detail: self.detail(),
            request_id: request_id.to_owned(),
            errors: self.errors(),
            error: matches!(self, ApiError::OAuth(_)).then(|| code.to_owned()),
            offers: match self {
                ApiError::OffersGone(offers) => Some(offers.clone()),
                _ => None,
            },
        })
    }
}

impl FieldError {
    pub fn new(pointer: impl Into<String>, code: &str, detail: impl Into<String>) -> FieldError {
        FieldError { pointer: pointer.into(), code: code.to_owned(), detail: detail.into() }
    }
}

impl fmt::Display for ApiError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (_, code, title) = self.shape();
        write!(f, "{code}: {}", self.detail().unwrap_or_else(|| title.to_owned()))?;
        match self {
            ApiError::Internal(cause) => write!(f, " ({cause})"),
            _ => Ok(()),
        }
    }
}

impl std::error::Error for ApiError {}

impl ResponseError for ApiError {
    fn status_code(&self) -> StatusCode {
        self.shape().0
    }

    /// Used only outside the edge middleware, which writes the same with the request's id.
    fn error_response(&self) -> HttpResponse {
        self.respond("")
    }
}

impl From<diesel::result::Error> for ApiError {
    fn from(error: diesel::result::Error) -> ApiError {
        ApiError::Internal(format!("database: {error}"))
    }
}

impl From<serde_json::Error> for ApiError {
    fn from(error: serde_json::Error) -> ApiError {
        ApiError::Internal(format!("json: {error}"))
    }
}
