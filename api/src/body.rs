//! Bodies of requests as bytes: as large as allowed, in time, and unpacked where that is allowed.

use crate::error::{ApiError, FieldError};
use actix_web::dev::Payload;
use actix_web::http::{StatusCode, header};
use actix_web::web::{Bytes, BytesMut, Data};
use actix_web::{HttpRequest, ResponseError};
use flate2::read::MultiGzDecoder;
use futures_util::StreamExt;
use std::future::{Future, ready};
use std::io::Read;
use std::pin::Pin;
use std::time::Duration;
use tokio::time::timeout;

pub type Later<T> = Pin<Box<dyn Future<Output = Result<T, ApiError>>>>;

/// What a body may take.
#[derive(Debug, Clone, Copy, Default)]
pub struct BodyLimit {
    /// Largest one accepted.
    pub bytes: usize,
    /// Whoever sends slower than this holds a connection and nothing else.
    pub arrives_within: Duration,
}

pub fn read_bytes(request: &HttpRequest, payload: &mut Payload, wanted: &'static str) -> Later<Bytes> {
    match has_media(request, wanted) {
        true => read_any(request, payload),
        false => unsupported(wanted),
    }
}

pub fn has_media(request: &HttpRequest, wanted: &str) -> bool {
    let media = request.headers().get(header::CONTENT_TYPE).and_then(|v| v.to_str().ok()).unwrap_or("");
    media.split(';').next().unwrap_or("").trim().eq_ignore_ascii_case(wanted)
}

/// The body as it is. A packed one is refused: a small one could become a large one.
pub fn read_any(request: &HttpRequest, payload: &mut Payload) -> Later<Bytes> {
    match coding(request) {
        Coding::Identity => read_sent(request, payload),
        Coding::Gzip | Coding::Other => unsupported("the body without a content coding"),
    }
}

/// The bytes that were sent, packed or not.
pub fn read_sent(request: &HttpRequest, payload: &mut Payload) -> Later<Bytes> {
    let (limit, mut parts) = (limit(request), payload.take());
    let announced = request.headers().get(header::CONTENT_LENGTH).and_then(|length| length.to_str().ok());
    let announced = announced.and_then(|length| length.parse().ok()).unwrap_or(0);
    let read = async move {
        let too_large = ApiError::TooLarge { limit_bytes: limit.bytes };
        if announced > limit.bytes {
            return Err(too_large);
        }
        let mut all = BytesMut::new();
        while let Some(part) = parts.next().await {
            let part = part.map_err(|error| ApiError::Framework(error.status_code()))?;
            if all.len() + part.len() > limit.bytes {
                return Err(too_large);
            }
            all.extend_from_slice(&part);
        }
        Ok(all.freeze())
    };
    Box::pin(async move {
        let late = |_| ApiError::Framework(StatusCode::REQUEST_TIMEOUT);
        timeout(limit.arrives_within, read).await.map_err(late)?
    })
}

pub fn limit(request: &HttpRequest) -> BodyLimit {
    request.app_data::<Data<BodyLimit>>().map_or_else(BodyLimit::default, |limit| *limit.as_ref())
}

/// How a body is packed (RFC 9110, 8.4).
pub enum Coding {
    Identity,
    Gzip,
    Other,
}

pub fn coding(request: &HttpRequest) -> Coding {
    let mut codings = request.headers().get_all(header::CONTENT_ENCODING);
    match (codings.next().map(|coding| coding.as_bytes().to_ascii_lowercase()), codings.next()) {
        (None, _) => Coding::Identity,
        (Some(coding), None) if coding == b"identity" => Coding::Identity,
        (Some(coding), None) if coding == b"gzip" || coding == b"x-gzip" => Coding::Gzip,
        _ => Coding::Other,
    }
}

pub fn unsupported<T: 'static>(wanted: &'static str) -> Later<T> {
    Box::pin(ready(Err(ApiError::UnsupportedMedia { wanted })))
}

/// What gzip (RFC 1952) packed, as long as it is no larger than a body may be.
pub fn unpacked(packed: &[u8], limit_bytes: usize) -> Result<Bytes, ApiError> {
    let mut bytes = Vec::new();
    let most = u64::try_from(limit_bytes).unwrap_or(u64::MAX).saturating_add(1);
    MultiGzDecoder::new(packed)
        .take(most)
        .read_to_end(&mut bytes)
        .map_err(|e| ApiError::BrokenJson(FieldError::new("", "broken_gzip", e.to_string())))?;
    if bytes.len() > limit_bytes { Err(ApiError::TooLarge { limit_bytes }) } else { Ok(bytes.into()) }
}
