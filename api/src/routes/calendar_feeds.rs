//! Calendars to subscribe to: made and ended by their owners, read by whoever has the secret address.

use super::{Answer, Shared, listed};
use crate::auth::tokens::{new_secret, secret_hash};
use crate::auth::{Caller, Role, Scope, Who};
use crate::calendar::{self, Entry};
use crate::db::calendar_feeds::{self, CalendarFeed, CalendarFeedFields};
use crate::db::jobs::{self, Job, JobFilter, JobStatus};
use crate::db::kinds::Id;
use crate::db::{Db, bookings, customers, partner_apps, people, shops, vehicles};
use crate::error::ApiError;
use crate::extract::{Body, IfMatch, Key};
use crate::handbooks::Handbooks;
use crate::page::Page;
use crate::reply::Reply;
use actix_web::http::header;
use actix_web::web::Path;
use actix_web::{HttpRequest, HttpResponse, delete, get, post};
use chrono::TimeDelta;
use chrono_tz::Tz;
use serde::Serialize;
use utoipa::ToSchema;

/// How far a calendar looks back and ahead; assumptions, like the numbers below.
const BACK: TimeDelta = TimeDelta::days(30);
const AHEAD: TimeDelta = TimeDelta::days(366);
/// Events in a calendar, at most.
const MOST: i64 = 2000;
/// An event has some length, even if its window does not say so.
const SHORTEST: TimeDelta = TimeDelta::minutes(30);

/// A calendar with its address, which is shown only this once.
#[derive(Serialize, ToSchema)]
pub struct CalendarAddress {
    pub feed: CalendarFeed,
    /// For a calendar program; whoever has it can read the calendar until it is deleted.
    #[schema(format = "uri")]
    pub url: String,
}

/// Calendars: a technician's own, a partner app's own, for the office all.
#[utoipa::path(tag = "calendars", responses((status = 200, body = Page<CalendarFeed>, description = "All of them")))]
#[get("/v1/calendar-feeds")]
pub async fn list_calendar_feeds(app: Shared, caller: Caller) -> Answer {
    let (person, own) = (caller.only_own_work(), caller.app());
    let items = app.read(&caller, move |db| Ok(calendar_feeds::list(db, person, own)?)).await?;
    listed(&Page::whole(items))
}

/// Makes a calendar of visits to subscribe to. Its address is in the answer, and only there.
#[utoipa::path(
    tag = "calendars",
    request_body = CalendarFeedFields,
    responses((status = 201, body = CalendarAddress, description = "Made; note the address"))
)]
#[post("/v1/calendar-feeds")]
pub async fn create_calendar_feed(app: Shared, caller: Caller, body: Body<CalendarFeedFields>) -> Answer {
    let (fields, own) = (of_caller(&caller, body.0)?, caller.app());
    let (secret, shop) = (new_secret()?, caller.shop);
    let hash = secret_hash(&secret);
    let public = app.config.public_url.clone();
    app.once(
        &caller,
        move |db| {
            if let Some(person) = fields.person
                && people::active_among(db, &[person])?.is_empty()
            {
                return Err(ApiError::field("/person", "unknown", "there is no such active person"));
            }
            calendar_feeds::insert(db, Id::new(db.now), own, &fields, &hash)?;
            calendar_feeds::find_by_secret(db, &hash)?.ok_or(ApiError::NotFound)
        },
        move |feed| {
            let url = format!("{public}/calendars/{shop}.{secret}");
            let location = format!("/v1/calendar-feeds/{}", feed.id);
            Reply::created(&CalendarAddress { feed: feed.clone(), url }, CalendarFeed::REV, location)
        },
    )
    .await
}

/// Deletes a calendar: its address leads nowhere any more. A calendar never changes, so its revision is 1.
#[utoipa::path(tag = "calendars", params(("id" = Id, Path)), responses((status = 204, description = "Deleted")))]
#[delete("/v1/calendar-feeds/{id}")]
pub async fn delete_calendar_feed(app: Shared, caller: Caller, key: Key, seen: IfMatch) -> Answer {
    let (person, own) = (caller.only_own_work(), caller.app());
    let delete = app.write(&caller, move |db| {
        if !calendar_feeds::list(db, person, own)?.iter().any(|feed| feed.id == key.0) {
            return Err(ApiError::NotFound);
        }
        seen.allows(CalendarFeed::REV)?;
        Ok(calendar_feeds::delete(db, key.0)?)
    });
    delete.await?;
    Ok(HttpResponse::NoContent().finish())
}

/// The calendar behind a secret address (iCalendar, RFC 5545). It names no customer unless it was made to.
#[utoipa::path(
    tag = "calendars",
    params(("token" = String, Path)),
    responses((status = 200, description = "The calendar", content((String = "text/calendar"))))
)]
#[get("/calendars/{token}")]
pub async fn get_calendar(app: Shared, request: HttpRequest, token: Path<String>) -> Answer {
    let (shop, secret) = token.split_once('.').ok_or(ApiError::NotFound)?;
    let (shop, hash) = (shop.parse().map_err(|_| ApiError::NotFound)?, secret_hash(secret));
    let (house, handbooks) = (Caller::house(shop), app.handbooks.clone());
    let text = app.read(&house, move |db| {
        let feed = calendar_feeds::find_by_secret(db, &hash)?.ok_or(ApiError::NotFound)?;
        text(db, &handbooks, &feed)
    });
    let text = text.await?;
    let tag = format!("\"{}\"", secret_hash(&text));
    let known = request.headers().get(header::IF_NONE_MATCH).and_then(|value| value.to_str().ok());
    let is_known = known.is_some_and(|known| known.split(',').any(|one| one.trim() == tag));
    let mut response = if is_known { HttpResponse::NotModified() } else { HttpResponse::Ok() };
    response.insert_header((header::ETAG, tag)).insert_header((header::CACHE_CONTROL, "private, no-cache"));
    if is_known {
        return Ok(response.finish());
    }
    Ok(response.content_type("text/calendar; charset=utf-8").body(text))
}

/// Whose calendar it is: a technician makes their own, the office anybody's, an app that of its bookings.
fn of_caller(caller: &Caller, mut fields: CalendarFeedFields) -> Result<CalendarFeedFields, ApiError> {
    match (&caller.who, fields.person) {
        (Who::App { .. }, None) => return Ok(fields),
        (Who::App { .. }, Some(_)) => return Err(ApiError::Forbidden("an app has only its own calendar")),
        (Who::Person { id, role: Role::Technician, .. }, Some(person)) if person != *id => {
            return Err(ApiError::Forbidden("a technician has only their own calendar"));
        }
        _ => {}
    }
    fields.person = Some(fields.person.map_or_else(|| caller.person(), Ok)?);
    Ok(fields)
}

fn text(db: &mut Db<'_>, handbooks: &Handbooks, feed: &CalendarFeed) -> Result<String, ApiError> {
    let shop = shops::find(db)?.ok_or(ApiError::NotFound)?.fields;
    let jobs = jobs_of(db, feed)?;
    let handbook = handbooks.of(db)?;
    let entries: Result<Vec<Entry>, ApiError> = jobs
        .iter()
        .map(|job| {
            let package = &job.fields.package;
            let name = handbook.package(package).map_or("", |known| known.name.as_str());
            let from = job.start_at.unwrap_or(job.fields.window_from);
            Ok(Entry {
                uid: job.id,
                sequence: job.rev,
                stamp: job.created_at,
                from,
                to: job.fields.window_to.max(from.plus(SHORTEST)),
                summary: format!("{package} {name}").trim_end().to_owned(),
                description: if feed.fields.details { details(db, job, feed)? } else { None },
                cancelled: job.status.0 == JobStatus::Cancelled,
            })
        })
        .collect();
    Ok(calendar::write(&shop.name, shop.time_zone.parse().unwrap_or(Tz::UTC), &entries?))
}

/// The jobs of a calendar, by window; none if its owner may no longer have it.
fn jobs_of(db: &mut Db<'_>, feed: &CalendarFeed) -> Result<Vec<Job>, ApiError> {
    let (from, to) = (db.now.plus(-BACK), db.now.plus(AHEAD));
    let jobs = match (feed.fields.person, feed.app) {
        (Some(person), _) if !people::active_among(db, &[person])?.is_empty() => {
            let filter = JobFilter {
                from: Some(from),
                to: Some(to),
                technician: Some(person),
                ..JobFilter::default()
            };
            jobs::list(db, &filter, None, MOST)?
        }
        (None, Some(app)) => {
            act_for(db, app)?;
            let ids = bookings::jobs_of(db, app)?;
            let mut jobs = jobs::among(db, &ids)?;
            let is_near = |job: &Job| job.fields.window_to > from && job.fields.window_from < to;
            jobs.retain(|job| is_near(job) && db.reaches(job.customer));
            jobs.sort_by_key(|job| (job.fields.window_from, job.id));
            jobs
        }
        _ => return Err(ApiError::NotFound),
    };
    Ok(jobs)
}

/// Reaches from here on only customers for whom the app may act; it has no calendar without the scope.
fn act_for(db: &mut Db<'_>, app: Id) -> Result<(), ApiError> {
    let grant = partner_apps::grant(db, app)?.filter(|grant| grant.scopes.0.contains(&Scope::OffersWrite));
    db.granted = grant.ok_or(ApiError::NotFound)?.customers.map(|customers| customers.0);
    Ok(())
}

/// The vehicle and, for people of the shop, whose it is. An app is not told of one that has since come to a customer for
/// whom it may not act.
fn details(db: &mut Db<'_>, job: &Job, feed: &CalendarFeed) -> Result<Option<String>, ApiError> {
    let vehicle = vehicles::find(db, job.fields.vehicle)?.ok_or(ApiError::NotFound)?.fields;
    if !db.reaches(vehicle.customer) {
        return Ok(None);
    }
    let plate = vehicle.registration.map(|plate| format!(", {plate}")).unwrap_or_default();
    let customer = match feed.app {
        Some(_) => None,
        None => customers::find(db, job.customer)?.map(|customer| customer.fields.name),
    };
    let customer = customer.map(|name| format!("\n{name}")).unwrap_or_default();
    Ok(Some(format!("{}{plate}{customer}", vehicle.label)))
}
