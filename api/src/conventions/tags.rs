//! Validators of what is read (RFC 9110, 8.8.3 and 13.1.2): where a handler names no revision, the tag is made from the
//! bytes; who holds the tag already gets 304 without them.

use actix_web::body::{BoxBody, MessageBody};
use actix_web::dev::ServiceResponse;
use actix_web::http::header::{self, HeaderMap, HeaderValue};
use actix_web::http::{Method, StatusCode};
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use sha2::{Digest, Sha256};

/// The beginning of a digest: long enough that no two things that are compared have the same by chance.
pub fn digest(bytes: impl AsRef<[u8]>) -> String {
    URL_SAFE_NO_PAD.encode(&Sha256::digest(bytes)[..12])
}

/// Gives what was read a tag, and leaves out what the client has.
pub fn validated(response: ServiceResponse<BoxBody>) -> ServiceResponse<BoxBody> {
    let read = response.request().method() == Method::GET && response.request().path().starts_with("/v1/");
    if !read || response.status() != StatusCode::OK {
        return response;
    }
    let (request, response) = response.into_parts();
    let (mut response, body) = response.into_parts();
    let bytes = match body.try_into_bytes() {
        Ok(bytes) => bytes,
        Err(streamed) => return ServiceResponse::new(request, response.set_body(streamed)),
    };
    let headers = response.headers_mut();
    if !headers.contains_key(header::ETAG) {
        super::set(headers, header::ETAG, &format!("\"{}\"", digest(&bytes)));
    }
    if !headers.contains_key(header::CACHE_CONTROL) {
        headers.insert(header::CACHE_CONTROL, HeaderValue::from_static("private, no-cache"));
    }
    let held = headers.get(header::ETAG).is_some_and(|tag| is_held(request.headers(), tag));
    if held {
        headers.remove(header::CONTENT_TYPE);
        *response.status_mut() = StatusCode::NOT_MODIFIED;
        return ServiceResponse::new(request, response.set_body(BoxBody::new(())));
    }
    ServiceResponse::new(request, response.set_body(BoxBody::new(bytes)))
}

/// Compared weakly, as `If-None-Match` is.
fn is_held(asked: &HeaderMap, tag: &HeaderValue) -> bool {
    let (Ok(tag), mut asked) = (tag.to_str(), asked.get_all(header::IF_NONE_MATCH)) else { return false };
    asked.any(|value| {
        let tags = value.to_str().unwrap_or("").split(',').map(str::trim);
        tags.map(|held| held.trim_start_matches("W/")).any(|held| held == tag || held == "*")
    })
}
