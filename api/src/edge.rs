//! The outermost layer: request ids, one log line per request, errors as problem+json, panics caught, plain headers.

use crate::clock::Stopwatch;
use crate::error::ApiError;
use actix_web::body::{BoxBody, MessageBody};
use actix_web::dev::{ServiceRequest, ServiceResponse};
use actix_web::http::header::{self, HeaderMap, HeaderName, HeaderValue};
use actix_web::middleware::Next;
use actix_web::{Error, HttpMessage, HttpResponse, ResponseError};
use futures_util::FutureExt;
use std::any::Any;
use std::fmt;
use std::panic::AssertUnwindSafe;

const REQUEST_ID: HeaderName = HeaderName::from_static("x-request-id");

/// Wraps every request. A request id is always ours: one sent by a client could forge log lines.
pub async fn edge(
    request: ServiceRequest,
    next: Next<impl MessageBody + 'static>,
) -> Result<ServiceResponse<BoxBody>, Error> {
    let request_id = uuid::Uuid::now_v7().simple().to_string();
    let line = format!("{} {}", request.method(), shown(request.path()));
    let watch = Stopwatch::start();
    request.extensions_mut().insert(RequestId(request_id.clone()));
    let outcome = AssertUnwindSafe(next.call(request)).catch_unwind().await;
    let outcome = match outcome {
        Ok(Ok(response)) => Ok(as_problem(response.map_into_boxed_body(), &request_id)),
        Ok(Err(error)) => Err(Refused::new(from_framework(&error), &request_id).into()),
        Err(panic) => {
            let cause = format!("panic: {}", panic_text(&*panic));
            Err(Refused::new(ApiError::Internal(cause), &request_id).into())
        }
    };
    let outcome = outcome.map(|mut response| {
        dress(response.headers_mut(), &request_id);
        response
    });
    let status = outcome.as_ref().map_or(500, |response| response.status().as_u16());
    tracing::info!(request_id, line, status, ms = watch.ms(), "request");
    outcome
}

/// What comes after these in an address is a secret.
pub const SECRET_ADDRESSES: [&str; 3] = ["/calendars/", "/u/", "/c/"];

/// An address as the log may have it.
fn shown(path: &str) -> &str {
    SECRET_ADDRESSES.into_iter().find(|secret| path.starts_with(secret)).unwrap_or(path)
}

/// The id of a request, for handlers that log.
#[derive(Debug, Clone)]
pub struct RequestId(pub String);

/// Rewrites every error response as problem+json with the request's id.
fn as_problem(response: ServiceResponse<BoxBody>, request_id: &str) -> ServiceResponse<BoxBody> {
    let status = response.status();
    if !status.is_client_error() && !status.is_server_error() {
        return response;
    }
    let mut problem = match response.response().error() {
        Some(error) => match error.as_error::<ApiError>() {
            Some(error) => error.respond(request_id),
            None => from_framework(error).respond(request_id),
        },
        // A handler wrote this answer itself: for a program, or as a page for a customer.
        None if response
            .headers()
            .get(header::CONTENT_TYPE)
            .is_some_and(|v| v == "application/problem+json" || v.as_bytes().starts_with(b"text/html")) =>
        {
            return response;
        }
        None => ApiError::Framework(status).respond(request_id),
    };
    let (request, refused) = response.into_parts();
    // What holds for every answer was written before. What told of the bytes that are no longer sent does not: a packed
    // route's refusal is not packed.
    let of_the_bytes = [header::CONTENT_LENGTH, header::CONTENT_ENCODING];
    for (name, value) in refused.headers() {
        if !problem.headers().contains_key(name) && !of_the_bytes.contains(name) {
            problem.headers_mut().insert(name.clone(), value.clone());
        }
    }
    ServiceResponse::new(request, problem)
}

fn from_framework(error: &Error) -> ApiError {
    let status = error.as_response_error().status_code();
    if status.is_server_error() { ApiError::Internal(error.to_string()) } else { ApiError::Framework(status) }
}

/// Headers of every response. An API answer is nothing to run, to frame or to keep in a shared cache.
fn dress(headers: &mut HeaderMap, request_id: &str) {
    let mut set = |name: HeaderName, value: &'static str| {
        if !headers.contains_key(&name) {
            headers.insert(name, HeaderValue::from_static(value));
        }
    };
    set(header::X_CONTENT_TYPE_OPTIONS, "nosniff");
    set(header::REFERRER_POLICY, "no-referrer");
    set(header::CACHE_CONTROL, "no-store");
    set(header::CONTENT_SECURITY_POLICY, "default-src 'none'; frame-ancestors 'none'");
    if let Ok(value) = HeaderValue::from_str(request_id) {
        headers.insert(REQUEST_ID, value);
    }
}

/// An error that no handler answered; it carries the request's id to where the response is written.
#[derive(Debug)]
struct Refused {
    error: ApiError,
    request_id: String,
}

impl Refused {
    fn new(error: ApiError, request_id: &str) -> Refused {
        Refused { error, request_id: request_id.to_owned() }
    }
}

impl fmt::Display for Refused {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.error.fmt(f)
    }
}

impl ResponseError for Refused {
    fn status_code(&self) -> actix_web::http::StatusCode {
        self.error.status_code()
    }

    fn error_response(&self) -> HttpResponse {
        let mut response = self.error.respond(&self.request_id);
        dress(response.headers_mut(), &self.request_id);
        response
    }
}

/// The message of a panic.
pub fn panic_text(payload: &(dyn Any + Send)) -> String {
    let text = payload.downcast_ref::<&str>().map(|s| (*s).to_owned());
    text.or_else(|| payload.downcast_ref::<String>().cloned())
        .unwrap_or_else(|| "without a message".to_owned())
}

#[cfg(test)]
mod tests {
    use super::edge;
    use crate::error::Problem;
    use actix_web::middleware::from_fn;
    use actix_web::test::{TestRequest, init_service, try_call_service};
    use actix_web::{App, HttpResponse, web};

    async fn fail() -> HttpResponse {
        let numbers: Vec<u8> = Vec::new();
        HttpResponse::Ok().body(numbers[web::Bytes::new().len()].to_string())
    }

    #[actix_web::test]
    async fn a_panic_is_a_problem_without_its_cause() {
        let app = init_service(App::new().wrap(from_fn(edge)).route("/", web::get().to(fail))).await;
        let error =
            try_call_service(&app, TestRequest::get().uri("/").to_request()).await.expect_err("a panic");
        let response = error.as_response_error().error_response();
        assert_eq!(response.status(), 500);
        assert_eq!(response.headers().get("content-type").expect("a type"), "application/problem+json");
        let id = response.headers().get("x-request-id").expect("an id").clone();
        let body = actix_web::body::to_bytes(response.into_body()).await.expect("a body");
        assert!(!String::from_utf8_lossy(&body).contains("index"), "the cause stays with us");
        let problem: Problem = serde_json::from_slice(&body).expect("a problem");
        assert_eq!((problem.code.as_str(), problem.request_id.as_bytes()), ("internal", id.as_bytes()));
    }
}
