//! What holds on every route, so that no handler can forget it: queries without unknown names, nothing said where no body
//! is taken, a pace that each caller keeps, repeated requests answered once, validators on everything that is read, links
//! from page to page, and notice of what will go. What a handler has to know itself (`If-Match`) it takes by an extractor.

pub mod kept;
pub mod once;
pub mod pace;
pub mod query;
pub mod seen;
pub mod shape;
pub mod sunset;
pub mod tags;

use crate::app::App;
use crate::auth;
use crate::body::read_sent;
use crate::error::ApiError;
use crate::openapi;
use crate::page::NextCursor;
use crate::route::Route;
use actix_web::body::{BoxBody, MessageBody};
use actix_web::dev::{Payload, ServiceRequest, ServiceResponse};
use actix_web::http::Method;
use actix_web::http::header::{self, HeaderName, HeaderValue};
use actix_web::middleware::Next;
use actix_web::web::Data;
use actix_web::{Error, HttpMessage, HttpResponse};
use kept::{KeptAnswers, Known, Unanswered};
use once::{Attempt, Held};
use pace::Left;
use std::sync::Arc;

/// Wraps every request, below the edge.
pub async fn conventions(
    mut request: ServiceRequest,
    next: Next<impl MessageBody + 'static>,
) -> Result<ServiceResponse<BoxBody>, Error> {
    let mut seen = Seen::default();
    let meant = take_meant_method(&mut request);
    let route = Route::find(request.method(), request.match_info().as_str());
    let looked = match meant {
        Ok(()) => look(&mut request, route, &mut seen).await,
        Err(error) => Err(error),
    };
    let mut response = match looked {
        Ok(None) => next.call(request).await?.map_into_boxed_body(),
        Ok(Some(kept)) => request.into_response(kept),
        Err(error) => request.error_response(error),
    };
    if let Some(unanswered) = seen.unanswered {
        response = unanswered.keep(response);
    }
    if let Some(left) = seen.left {
        left.write(response.headers_mut());
    }
    if let Some(route) = route {
        sunset::write(sunset::LEAVING, route.method, route.path, response.headers_mut());
    }
    link_next(&mut response);
    if is_of_tus(response.request().path()) {
        // Every answer says which version of tus it is, errors too.
        set(response.headers_mut(), HeaderName::from_static("tus-resumable"), "1.0.0");
    }
    Ok(tags::validated(response))
}

/// Addresses that speak the protocol of resumable uploads.
fn is_of_tus(path: &str) -> bool {
    path.starts_with("/v1/uploads")
}

/// tus 1.0.0: a client whose network lets only some methods through names the one that it means.
fn take_meant_method(request: &mut ServiceRequest) -> Result<(), ApiError> {
    let Some(meant) = request.headers().get("x-http-method-override").filter(|_| is_of_tus(request.path()))
    else {
        return Ok(());
    };
    let meant = Method::from_bytes(meant.as_bytes());
    let meant = meant.map_err(|_| ApiError::BadHeader("X-HTTP-Method-Override: is no method".into()))?;
    request.head_mut().method = meant;
    Ok(())
}

/// What was found out about a request before its handler has it.
#[derive(Default)]
struct Seen {
    left: Option<Left>,
    /// A read whose answer is to be kept.
    unanswered: Option<Unanswered>,
    /// Keeps a second request with the same key out until this one is answered.
    _held: Option<Held>,
}

/// Refuses what no route takes; gives the answer of a request that was made before.
async fn look(
    request: &mut ServiceRequest,
    route: Option<&'static Route>,
    seen: &mut Seen,
) -> Result<Option<HttpResponse>, ApiError> {
    let Some(route) = route else { return Ok(None) };
    request.extensions_mut().insert(route);
    let caller = match auth::identify(request.request()) {
        Ok(caller) => Some(caller),
        Err(_) if route.row.is_none() => None,
        // The handler says why.
        Err(_) => return Ok(None),
    };
    let app = request.app_data::<Data<App>>().cloned().ok_or(ApiError::Internal("no app data".into()))?;
    if let Some(caller) = &caller {
        seen.left = app.pace.spend(caller, app.clock.now());
        if let Some(left) = seen.left.filter(|left| !left.allowed) {
            return Err(ApiError::TooMany { retry_after_s: left.reset_s });
        }
    }
    query::only_known(route, request.query_string())?;
    let Some(mut caller) = caller else { return Ok(None) };
    if !takes_what_comes(request, route) {
        let_nothing_pass(request).await?;
    }
    match KeptAnswers::find(&app, route, &caller, request.path()).await? {
        Known::Answer(given) => return Ok(Some(given)),
        Known::Nothing(unanswered) => seen.unanswered = Some(unanswered),
        Known::Other => {}
    }
    let key = if route.method == "POST" { once::key(request.headers())? } else { None };
    let Some(key) = key else {
        request.extensions_mut().insert(caller);
        return Ok(None);
    };
    let (http, payload) = request.parts_mut();
    let body = read_sent(http, payload).await?;
    let attempt = Arc::new(Attempt::new(&caller, http, &body, &key));
    request.set_payload(Payload::from(body));
    seen._held = Some(app.in_flight.hold(&attempt)?);
    let asked = attempt.clone();
    if let Some(kept) = app.read(&caller, move |db| asked.find(db)).await? {
        return Ok(Some(kept.into()));
    }
    caller.attempt = Some(attempt);
    request.extensions_mut().insert(caller);
    Ok(None)
}

/// False where something comes with a change of which the document has no body.
fn takes_what_comes(request: &ServiceRequest, route: &Route) -> bool {
    let headers = request.headers();
    let is_empty = headers.get(header::CONTENT_LENGTH).is_none_or(|length| length == "0");
    request.method().is_safe()
        || (is_empty && !headers.contains_key(header::TRANSFER_ENCODING))
        || openapi::operation(route)["requestBody"].is_object()
}

/// Reads a body, within the limits of all bodies, that has to say nothing.
async fn let_nothing_pass(request: &mut ServiceRequest) -> Result<(), ApiError> {
    let (http, payload) = request.parts_mut();
    let body = read_sent(http, payload).await?;
    shape::must_say_nothing(&body)?;
    request.set_payload(Payload::from(body));
    Ok(())
}

/// RFC 8288: where the next page is.
fn link_next(response: &mut ServiceResponse<BoxBody>) {
    let Some(cursor) = response.response().extensions().get::<NextCursor>().map(|next| next.0.clone()) else {
        return;
    };
    let uri = response.request().uri().clone();
    let kept = uri.query().unwrap_or("").split('&').filter(|part| !part.is_empty());
    let kept = kept.filter(|part| !part.starts_with("cursor="));
    let query: Vec<String> = kept.map(str::to_owned).chain([format!("cursor={cursor}")]).collect();
    add_link(response.headers_mut(), &format!("{}?{}", uri.path(), query.join("&")), "next");
}

fn add_link(headers: &mut header::HeaderMap, target: &str, relation: &str) {
    if let Ok(value) = HeaderValue::from_str(&format!("<{target}>; rel=\"{relation}\"")) {
        headers.append(header::LINK, value);
    }
}

fn set(headers: &mut header::HeaderMap, name: HeaderName, value: &str) {
    if let Ok(value) = HeaderValue::from_str(value) {
        headers.insert(name, value);
    }
}
