//! Bookings: a partner app proposes a job, the office accepts it or says why not.

use super::jobs::{book, bookable};
use super::{Answer, Shared, listed, ok};
use crate::auth::Caller;
use crate::check::{Check, Checker};
use crate::db::bookings::{self, Booking, BookingFields, BookingStatus};
use crate::db::kinds::Id;
use crate::db::{Db, vehicles};
use crate::error::ApiError;
use crate::extract::{Body, IfMatch, Key, Query};
use crate::page::{self, Page};
use crate::reply::Reply;
use actix_web::{get, post};
use serde::Deserialize;
use utoipa::{IntoParams, ToSchema};

/// Which bookings, and which page of them.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
pub struct BookingQuery {
    /// `next_cursor` of the page before.
    #[param(max_length = 400)]
    pub cursor: Option<String>,
    /// Entries per page.
    #[param(minimum = 1, maximum = 200, default = 50)]
    pub limit: Option<i64>,
    pub status: Option<BookingStatus>,
}

impl Check for BookingQuery {
    fn check(&self, found: &mut Checker) {
        found.range_if_given("limit", self.limit, 1, page::MAX_LIMIT);
    }
}

/// Why a booking is declined.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Refusal {
    /// One line for the app.
    #[schema(min_length = 1, max_length = 200, example = "That week is full; from 18 May there is room.")]
    pub reason: String,
}

impl Check for Refusal {
    fn check(&self, found: &mut Checker) {
        found.line("reason", &self.reason, 200);
    }
}

/// Bookings, the newest first; of a partner app its own, for customers for whom it may act.
#[utoipa::path(tag = "bookings", params(BookingQuery), responses((status = 200, body = Page<Booking>, description = "A page")))]
#[get("/v1/bookings")]
pub async fn list_bookings(app: Shared, caller: Caller, query: Query<BookingQuery>) -> Answer {
    let (own, status) = (caller.app(), query.0.status);
    let list = format!("{} bookings {own:?} {status:?}", caller.shop);
    let before = page::unseal::<Id>(&app.keys, &list, query.0.cursor.as_deref())?;
    let limit = query.0.limit.unwrap_or(page::DEFAULT_LIMIT);
    let rows = app.read(&caller, move |db| Ok(bookings::list(db, own, status, before, limit + 1)?)).await?;
    listed(&Page::cut(rows, limit, &app.keys, &list, |row| row.id)?)
}

/// Proposes a job for a vehicle. It becomes one when the office accepts it.
#[utoipa::path(tag = "bookings", request_body = BookingFields, responses((status = 201, body = Booking, description = "Proposed")))]
#[post("/v1/bookings")]
pub async fn propose_booking(app: Shared, caller: Caller, body: Body<BookingFields>) -> Answer {
    let (own, handbooks) =
        (caller.app().ok_or(ApiError::Forbidden("only a partner app may do this"))?, app.handbooks.clone());
    app.once(
        &caller,
        move |db| {
            let vehicle = vehicles::find(db, body.0.vehicle)?;
            if vehicle.is_none_or(|vehicle| !db.reaches(vehicle.fields.customer)) {
                return Err(ApiError::field("/vehicle", "unknown", "there is no such vehicle"));
            }
            bookable(db, &handbooks, &body.0.job(), None)?;
            let id = Id::new(db.now);
            bookings::insert(db, id, own, &body.0)?;
            visible(db, id, Some(own))
        },
        move |booking| Reply::created(booking, booking.rev, format!("/v1/bookings/{}", booking.id)),
    )
    .await
}

/// One booking.
#[utoipa::path(tag = "bookings", params(("id" = Id, Path)), responses((status = 200, body = Booking, description = "The booking")))]
#[get("/v1/bookings/{id}")]
pub async fn get_booking(app: Shared, caller: Caller, key: Key) -> Answer {
    let own = caller.app();
    let booking = app.read_briefly(&caller, move |db| visible(db, key.0, own)).await?;
    ok(&booking, booking.rev)
}

/// Makes the booking a job.
#[utoipa::path(tag = "bookings", params(("id" = Id, Path)), responses((status = 200, body = Booking, description = "It is a job now")))]
#[post("/v1/bookings/{id}/accept")]
pub async fn accept_booking(app: Shared, caller: Caller, key: Key, seen: IfMatch) -> Answer {
    let handbooks = app.handbooks.clone();
    app.once(
        &caller,
        move |db| {
            let before = visible(db, key.0, None)?;
            seen.allows(before.rev)?;
            open(&before)?;
            let id = Id::new(db.now);
            let job = book(db, &handbooks, id, &before.fields.job())?.job.id;
            settle(db, key.0, BookingStatus::Accepted, None, Some(job))
        },
        told,
    )
    .await
}

/// Declines the booking and says why.
#[utoipa::path(
    tag = "bookings",
    params(("id" = Id, Path)),
    request_body = Refusal,
    responses((status = 200, body = Booking, description = "Declined"))
)]
#[post("/v1/bookings/{id}/decline")]
pub async fn decline_booking(
    app: Shared,
    caller: Caller,
    key: Key,
    seen: IfMatch,
    body: Body<Refusal>,
) -> Answer {
    app.once(
        &caller,
        move |db| {
            seen.allows(visible(db, key.0, None)?.rev)?;
            settle(db, key.0, BookingStatus::Declined, Some(&body.0.reason), None)
        },
        told,
    )
    .await
}

/// Takes a proposal back that has not been answered.
#[utoipa::path(tag = "bookings", params(("id" = Id, Path)), responses((status = 200, body = Booking, description = "Taken back")))]
#[post("/v1/bookings/{id}/withdraw")]
pub async fn withdraw_booking(app: Shared, caller: Caller, key: Key, seen: IfMatch) -> Answer {
    let own = caller.app();
    app.once(
        &caller,
        move |db| {
            seen.allows(visible(db, key.0, own)?.rev)?;
            settle(db, key.0, BookingStatus::Withdrawn, None, None)
        },
        told,
    )
    .await
}

fn told(booking: &Booking) -> Result<Reply, ApiError> {
    Reply::ok(booking, booking.rev)
}

/// The booking, unless a partner app asks whose it is not: for them there is none.
fn visible(db: &mut Db<'_>, id: Id, own: Option<Id>) -> Result<Booking, ApiError> {
    let booking = bookings::find(db, id)?.ok_or(ApiError::NotFound)?;
    if own.is_some_and(|own| own != booking.app) { Err(ApiError::NotFound) } else { Ok(booking) }
}

fn open(booking: &Booking) -> Result<(), ApiError> {
    match booking.status.0 {
        BookingStatus::Proposed => Ok(()),
        _ => Err(ApiError::conflict("booking_settled", "it has been answered already")),
    }
}

fn settle(
    db: &mut Db<'_>,
    id: Id,
    status: BookingStatus,
    reason: Option<&str>,
    job: Option<Id>,
) -> Result<Booking, ApiError> {
    if !bookings::settle(db, id, status, reason, job)? {
        return Err(ApiError::conflict("booking_settled", "it has been answered already"));
    }
    bookings::find(db, id)?.ok_or(ApiError::NotFound)
}
