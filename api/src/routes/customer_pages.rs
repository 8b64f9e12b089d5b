//! What a customer sees and does without a login, by the signed link in a message: plain pages that need no script.
//!
//! Programs that only look at links send GET, so that GET changes nothing: it shows a page with buttons, each of which
//! posts to a link of its own that can do that one thing. Links end, and a customer's links are answered so often a minute
//! and no more.

mod appointment;
mod messages;
mod page;
mod upkeep;

use super::Shared;
use crate::app::App;
use crate::auth::Caller;
use crate::auth::links::{Act, CustomerLink};
use crate::db::Db;
use crate::db::customers::{self, Customer};
use crate::db::shops::{self, Shop};
use crate::error::ApiError;
use crate::windows::{self, Choice};
use actix_web::http::StatusCode;
use actix_web::http::header::{self, HeaderValue};
use actix_web::web::Path;
use actix_web::{HttpResponse, get, post};
use chrono_tz::Tz;
use page::Page;

/// Pages of one customer in a minute; an assumption.
pub(super) const PER_MIN: u32 = 30;

/// What every page is made from.
struct Visit<'a> {
    app: &'a App,
    link: &'a CustomerLink,
    shop: Shop,
    customer: Customer,
    zone: Tz,
    /// What is offered in place of the appointment that is shown.
    choices: Vec<Choice>,
}

impl Visit<'_> {
    /// A button that does one thing.
    fn button(&self, act: Act, words: &str) -> Result<String, ApiError> {
        Ok(page::button(&self.link.to(act).seal(&self.app.keys)?, words))
    }
}

/// Shows what the link is for, with a button for each thing that can be done. It changes nothing.
#[utoipa::path(tag = "messages", params(("token" = String, Path)),
    responses((status = 200, body = String, content_type = "text/html", description = "The page")))]
#[get("/c/{token}")]
pub async fn show_customer_page(app: Shared, token: Path<String>) -> HttpResponse {
    answer(&app, &token, false).await
}

/// Does the one thing that the link is for; doing it twice is the same as once. The body is not looked at.
#[utoipa::path(tag = "messages", params(("token" = String, Path)),
    responses((status = 200, body = String, content_type = "text/html", description = "It is done")))]
#[post("/c/{token}")]
pub async fn act_on_customer_page(app: Shared, token: Path<String>) -> HttpResponse {
    answer(&app, &token, true).await
}

async fn answer(app: &App, token: &str, acts: bool) -> HttpResponse {
    match visit(app, token, acts).await {
        Ok(page) => page.into(),
        Err(error) => refusal(&error),
    }
}

/// What cannot be done, as a page.
fn refusal(error: &ApiError) -> HttpResponse {
    let (status, why) = match error {
        ApiError::TooMany { .. } => {
            (StatusCode::TOO_MANY_REQUESTS, "That was very often. Please try again in a minute.")
        }
        ApiError::NotFound => (
            StatusCode::NOT_FOUND,
            "This link has ended. Just answer the message, and a person will read it.",
        ),
        ApiError::Conflict { code, detail } if appointment::REFUSALS.contains(code) => {
            (StatusCode::CONFLICT, detail.as_str())
        }
        // What else is in the way is told in words for the office.
        ApiError::Conflict { code, .. } => {
            tracing::warn!(code, "a customer's page");
            (
                StatusCode::CONFLICT,
                "This cannot be done here now. Just answer the message, and a person will read it.",
            )
        }
        error => {
            tracing::error!(%error, "a customer's page");
            (StatusCode::INTERNAL_SERVER_ERROR, "Something failed on our side. Please try again.")
        }
    };
    let mut page: HttpResponse = Page::refusal(status, why).into();
    if let ApiError::TooMany { retry_after_s } = error {
        page.headers_mut().insert(header::RETRY_AFTER, HeaderValue::from(*retry_after_s));
    }
    page
}

async fn visit(app: &App, token: &str, acts: bool) -> Result<Page, ApiError> {
    let now = app.clock.now();
    let link = CustomerLink::open(&app.keys, token, now).ok_or(ApiError::NotFound)?;
    app.link_pace.admit((link.shop, link.customer), PER_MIN, now)?;
    let (ours, house) = (app.clone(), Caller::house(link.shop));
    let choices = choices(app, &link).await;
    let work = move |db: &mut Db<'_>| {
        let shop = shops::find(db)?.ok_or(ApiError::NotFound)?;
        let customer = customers::find(db, link.customer)?.ok_or(ApiError::NotFound)?;
        let named = customer.fields.time_zone.as_ref().unwrap_or(&shop.fields.time_zone);
        // A zone may have vanished from the zone data since it was set.
        let zone = named.parse().or_else(|_| shop.fields.time_zone.parse()).unwrap_or(Tz::UTC);
        let visit = Visit { app: &ours, link: &link, shop, customer, zone, choices };
        if acts { act(db, &visit) } else { show(db, &visit) }
    };
    if acts { app.write(&house, work).await } else { app.read(&house, work).await }
}

/// A page is of use without them, too.
async fn choices(app: &App, link: &CustomerLink) -> Vec<Choice> {
    let Act::SeeJob { job } = link.act else { return Vec::new() };
    windows::offered(app, link.shop, job).await.unwrap_or_else(|error| {
        tracing::warn!(%error, "no windows for a customer's page");
        Vec::new()
    })
}

fn show(db: &mut Db<'_>, visit: &Visit<'_>) -> Result<Page, ApiError> {
    match &visit.link.act {
        Act::SeeJob { job } => appointment::show(db, visit, *job),
        Act::SeeUpkeep { reminder } => upkeep::show(db, visit, *reminder),
        // Somebody opened the address of a button.
        Act::Choose { .. } => Page::ask(visit, "Take this time for your appointment?", "Take it"),
        Act::AskVisit { .. } => Page::ask(visit, "Ask for a visit?", "Ask for it"),
        Act::Snooze { .. } => Page::ask(visit, "Have quiet about upkeep for a while?", "Have quiet"),
        Act::Allow { given, .. } => match given {
            true => Page::ask(visit, "Get these messages again?", "Get them"),
            false => Page::ask(visit, "Get no more of these messages?", "End them"),
        },
    }
}

fn act(db: &mut Db<'_>, visit: &Visit<'_>) -> Result<Page, ApiError> {
    match &visit.link.act {
        Act::SeeJob { .. } | Act::SeeUpkeep { .. } => show(db, visit),
        Act::Choose { job, rev, to, place } => {
            appointment::choose(db, visit, (*job, *rev), (*to, place.as_deref()))
        }
        Act::AskVisit { reminder } => upkeep::ask_visit(db, visit, *reminder),
        Act::Snooze { until_on } => messages::snooze(db, visit, *until_on),
        Act::Allow { channel, purpose, given } => messages::allow(db, visit, (*channel, *purpose), *given),
    }
}

#[cfg(test)]
mod tests {
    use super::refusal;
    use crate::error::ApiError;

    #[test]
    fn who_came_too_often_is_told_when_to_come_back() {
        let told = |error: ApiError| {
            let page = refusal(&error);
            let after = page.headers().get("retry-after").map(|value| value.as_bytes().to_vec());
            (page.status().as_u16(), after)
        };
        assert_eq!(told(ApiError::TooMany { retry_after_s: 42 }), (429, Some(b"42".to_vec())));
        assert_eq!(told(ApiError::NotFound), (404, None));
    }
}
