//! Windows offered for a job that is not booked yet, held for a quarter of an hour, and taken.

use super::jobs::{book, bookable};
use super::{Answer, Shared, listed, ok};
use crate::app::App;
use crate::auth::Caller;
use crate::check::{Check, Checker};
use crate::db::bookings::{self, BookingFields};
use crate::db::held_offers::{self, HeldOffer, HeldStatus};
use crate::db::jobs;
use crate::db::kinds::{Doc, Id, Instant};
use crate::db::round_asks::calendar_day;
use crate::db::{Db, shops};
use crate::dispatch::offers::{GOOD_FOR, HELD, Ticket, Wanted, look};
use crate::error::{ApiError, WindowOffer};
use crate::extract::{Body, IfMatch, Key, Query};
use crate::handbooks::Handbooks;
use crate::page::{self, Page, PageQuery};
use crate::plan_input::zone_of;
use crate::reply::Reply;
use crate::throughput::roll_ups;
use actix_web::{HttpResponse, delete, get, post};
use chrono::NaiveDate;
use domain::site::HourRange;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// Days looked ahead.
const MOST_DAYS: u32 = 28;
const MOST_OFFERS: u32 = 50;
/// Offers that one person or app holds at the same time.
const MOST_HELD: usize = 10;

/// What windows are wanted for.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct OfferAsk {
    pub vehicle: Id,
    /// Package code of the handbook.
    #[schema(min_length = 1, max_length = 20, example = "P2")]
    pub package: String,
    /// Optional steps of the package that are wanted.
    #[serde(default)]
    #[schema(max_items = 40)]
    pub options: Vec<String>,
    /// Soiling as told: 0 none to 4 exceptional.
    #[serde(default = "typical")]
    #[schema(minimum = 0, maximum = 4, default = 2)]
    pub booked_grade: i32,
    /// First day of the shop's calendar; absent: today.
    #[serde(default)]
    pub from_on: Option<NaiveDate>,
    #[serde(default = "a_week")]
    #[schema(minimum = 1, maximum = 28, default = 7)]
    pub days: u32,
    /// Windows of a day, local time of the shop; absent: those of the shop's settings.
    #[serde(default)]
    #[schema(min_items = 1, max_items = 12)]
    pub windows: Option<Vec<HourRange>>,
    /// Offers, at most.
    #[serde(default = "some")]
    #[schema(minimum = 1, maximum = 50, default = 6)]
    pub most: u32,
}

fn typical() -> i32 {
    2
}

fn a_week() -> u32 {
    7
}

fn some() -> u32 {
    6
}

impl Check for OfferAsk {
    fn check(&self, found: &mut Checker) {
        found.line("package", &self.package, 20);
        found.at_most("options", &self.options, 40);
        for (i, option) in self.options.iter().enumerate() {
            found.within("options", |found| found.line(&i.to_string(), option, 40));
        }
        found.range("booked_grade", self.booked_grade, 0, 4);
        if let Some(on) = self.from_on {
            calendar_day(found, "from_on", on);
        }
        found.range("days", self.days, 1, MOST_DAYS);
        found.range("most", self.most, 1, MOST_OFFERS);
        if let Some(windows) = &self.windows {
            found.at_most("windows", windows, 12);
            if windows.is_empty() {
                found.refuse("windows", "too_few", "name at least one window");
            }
            for (i, window) in windows.iter().enumerate().filter(|(_, window)| window.to <= window.from) {
                found.refuse(
                    format!("windows/{i}/to"),
                    "ends_before_start",
                    format!("{} is not later", window.to),
                );
            }
        }
    }
}

/// Windows, cheapest first.
#[derive(Debug, Serialize, ToSchema)]
pub struct OfferList {
    pub offers: Vec<WindowOffer>,
}

/// The offer to be held.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct HoldRequest {
    /// `offer` of a window.
    #[schema(min_length = 1, max_length = 8000)]
    pub offer: String,
}

impl Check for HoldRequest {
    fn check(&self, found: &mut Checker) {
        found.line("offer", &self.offer, 8000);
    }
}

/// How a held offer stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum HeldState {
    Held,
    /// It was not taken in time.
    Expired,
    /// It is a job.
    Taken,
    Released,
}

/// A window that is held. Partner apps are not told who would go, nor what it costs.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = HeldOffer)]
pub struct HeldOfferView {
    pub id: Id,
    pub rev: i32,
    pub created_at: Instant,
    pub status: HeldState,
    pub expires_at: Instant,
    pub vehicle: Id,
    pub package: String,
    pub options: Vec<String>,
    pub booked_grade: i32,
    pub window_from: Instant,
    pub window_to: Instant,
    /// The job that came of it.
    pub job: Option<Id>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub van: Option<Id>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub technicians: Option<Vec<Id>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub start_at: Option<Instant>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cost: Option<f64>,
}

impl HeldOfferView {
    fn of(held: HeldOffer, now: Instant, inside: bool) -> HeldOfferView {
        let status = match held.status.0 {
            HeldStatus::Taken => HeldState::Taken,
            HeldStatus::Released => HeldState::Released,
            HeldStatus::Held if held.is_live(now) => HeldState::Held,
            HeldStatus::Held => HeldState::Expired,
        };
        let of = held.fields;
        HeldOfferView {
            id: held.id,
            rev: held.rev,
            created_at: held.created_at,
            status,
            expires_at: held.expires_at,
            vehicle: of.vehicle,
            package: of.package,
            options: of.options.0,
            booked_grade: of.booked_grade,
            window_from: of.window_from,
            window_to: of.window_to,
            job: held.job,
            van: inside.then_some(of.van),
            technicians: inside.then_some(of.technicians.0),
            start_at: inside.then_some(of.start_at),
            cost: inside.then_some(of.cost),
        }
    }

    /// It also changes by expiring.
    fn tag(&self) -> String {
        match self.status {
            HeldState::Expired => format!("{}.expired", self.rev),
            _ => self.rev.to_string(),
        }
    }
}

/// The windows in which a new job costs the rounds least, over the next days. Nothing is stored: hold one to keep it.
///
/// Visits that are assigned keep their vans and people; held offers count as taken. Partner apps get the windows only. A
/// package that is not for the vehicle, so that nobody knows how long it takes, is refused.
#[utoipa::path(
    tag = "offers",
    request_body(content = OfferAsk, example = json!({
        "vehicle": "019f0000-0000-7000-8000-000000000001", "package": "P2", "days": 7, "most": 3
    })),
    responses((status = 200, body = OfferList, description = "The windows, cheapest first"))
)]
#[post("/v1/offers")]
pub async fn list_offers(app: Shared, caller: Caller, body: Body<OfferAsk>) -> Answer {
    let ask = body.0;
    let from_on = ask.from_on;
    let today = app.read(&caller, |db| Ok(db.now.local(zone_of(db, None)?).date())).await?;
    let wanted = Wanted {
        vehicle: ask.vehicle,
        package: ask.package,
        options: ask.options,
        booked_grade: ask.booked_grade,
        from_on: from_on.unwrap_or(today),
        days: ask.days,
        windows: ask.windows,
        most: ask.most as usize,
        instead_of: None,
    };
    let offers = offers(&app, &caller, wanted).await?;
    Ok(HttpResponse::Ok().json(OfferList { offers }))
}

/// The windows as they are now, as this caller may see them.
async fn offers(app: &App, caller: &Caller, wanted: Wanted) -> Result<Vec<WindowOffer>, ApiError> {
    let (tickets, zone) = look(app, caller, wanted).await?;
    let list = sealed_as(caller);
    let inside = caller.knows_staff();
    tickets
        .iter()
        .map(|ticket| {
            Ok(WindowOffer {
                offer: page::seal(&app.keys, &list, ticket)?,
                window_from: ticket.from,
                window_to: ticket.to,
                good_until: ticket.offered_at.plus(GOOD_FOR),
                local_from: ticket.from.local(zone),
                local_to: ticket.to.local(zone),
                van: inside.then_some(ticket.van),
                technicians: inside.then(|| ticket.technicians.clone()),
                start_at: inside.then_some(ticket.start),
                cost: inside.then_some(ticket.cost),
            })
        })
        .collect()
}

/// An offer is good for whoever got it.
fn sealed_as(caller: &Caller) -> String {
    let whose = caller.app().map_or_else(|| "people".to_owned(), |app| app.to_string());
    format!("{} offers {whose}", caller.shop)
}

/// Holds an offer for 15 minutes: nobody else gets the place meanwhile. Who comes too late gets 409 with the windows
/// as they are now in `offers`.
#[utoipa::path(
    tag = "offers",
    request_body(content = HoldRequest, example = json!({ "offer": "AAAA" })),
    responses((status = 201, body = HeldOfferView, description = "Held"))
)]
#[post("/v1/held-offers")]
pub async fn hold_offer(app: Shared, caller: Caller, body: Body<HoldRequest>) -> Answer {
    let ticket: Ticket = page::unseal(&app.keys, &sealed_as(&caller), Some(&body.0.offer))
        .ok()
        .flatten()
        .ok_or_else(|| ApiError::field("/offer", "unknown", "it is no offer that was made here"))?;
    let wanted = ticket.wanted.clone();
    let (by, inside, handbooks) = (holder(&caller), caller.knows_staff(), app.handbooks.clone());
    let held = app.once(
        &caller,
        move |db| {
            // Whoever else wants the same waits here.
            shops::lock_roll_ups(db)?;
            let zone = zone_of(db, None)?;
            if !ticket.still_holds(db, zone)? {
                return Err(gone());
            }
            holdable(db, &handbooks, &ticket, by)?;
            let id = Id::new(db.now);
            held_offers::insert(db, id, by, &ticket.held(), db.now.plus(HELD))?;
            let held = held_offers::find(db, id)?.ok_or(ApiError::NotFound)?;
            Ok(HeldOfferView::of(held, db.now, inside))
        },
        |held| Reply::created(held, held.tag(), format!("/v1/held-offers/{}", held.id)),
    );
    or_fresh(&app, &caller, held.await, wanted).await
}

/// The person, or the app.
fn holder(caller: &Caller) -> (Option<Id>, Option<Id>) {
    match caller.app() {
        Some(app) => (None, Some(app)),
        None => (caller.principal(), None),
    }
}

/// The vehicle is free then, and the caller does not hold everything.
fn holdable(
    db: &mut Db<'_>,
    handbooks: &Handbooks,
    ticket: &Ticket,
    by: (Option<Id>, Option<Id>),
) -> Result<(), ApiError> {
    let fields = ticket.held();
    let customer = bookable(db, handbooks, &fields.job(), None)?;
    if !db.reaches(customer) {
        return Err(ApiError::field("/offer", "unknown", "it is no offer that was made here"));
    }
    let live = held_offers::live(db)?;
    if live.iter().filter(|held| (held.person, held.app) == by).count() >= MOST_HELD {
        return Err(ApiError::conflict("holds_too_many", format!("you hold {MOST_HELD} offers already")));
    }
    Ok(())
}

fn gone() -> ApiError {
    ApiError::OffersGone(Vec::new())
}

/// Who came too late is told what there is now.
async fn or_fresh(
    app: &App,
    caller: &Caller,
    answer: Result<HttpResponse, ApiError>,
    wanted: Wanted,
) -> Answer {
    match answer {
        Err(ApiError::OffersGone(_)) => Err(ApiError::OffersGone(offers(app, caller, wanted).await?)),
        other => other,
    }
}

/// Offers that are or were held, the newest first; of a partner app its own, for customers for whom it may act.
#[utoipa::path(tag = "offers", params(PageQuery), responses((status = 200, body = Page<HeldOfferView>, description = "A page")))]
#[get("/v1/held-offers")]
pub async fn list_held_offers(app: Shared, caller: Caller, query: Query<PageQuery>) -> Answer {
    let (own, inside) = (caller.app(), caller.knows_staff());
    let list = format!("{} held-offers {own:?}", caller.shop);
    let before = page::unseal::<Id>(&app.keys, &list, query.0.cursor.as_deref())?;
    let limit = query.0.limit.unwrap_or(page::DEFAULT_LIMIT);
    let rows = app.read(&caller, move |db| {
        let rows = held_offers::list(db, own, before, limit + 1)?;
        Ok(rows.into_iter().map(|held| HeldOfferView::of(held, db.now, inside)).collect())
    });
    listed(&Page::cut(rows.await?, limit, &app.keys, &list, |row| row.id)?)
}

/// One held offer.
#[utoipa::path(tag = "offers", params(("id" = Id, Path)), responses((status = 200, body = HeldOfferView, description = "The offer")))]
#[get("/v1/held-offers/{id}")]
pub async fn get_held_offer(app: Shared, caller: Caller, key: Key) -> Answer {
    let (own, inside) = (caller.app(), caller.knows_staff());
    let read = app.read_briefly(&caller, move |db| {
        let held = visible(db, key.0, own)?;
        Ok(HeldOfferView::of(held, db.now, inside))
    });
    let view = read.await?;
    ok(&view, view.tag())
}

/// Makes a held offer a job: booked for its window, assigned as it was offered, and its window promised. Who comes too late
/// gets 409 with the windows as they are now.
#[utoipa::path(tag = "offers", params(("id" = Id, Path)), responses((status = 200, body = HeldOfferView, description = "It is a job now")))]
#[post("/v1/held-offers/{id}/take")]
pub async fn take_held_offer(app: Shared, caller: Caller, key: Key, seen: IfMatch) -> Answer {
    let (own, inside, handbooks) = (caller.app(), caller.knows_staff(), app.handbooks.clone());
    let held = app.read(&caller, move |db| visible(db, key.0, own)).await?;
    let wanted = wanted_again(&app, &caller, &held).await?;
    let taken = app.once(
        &caller,
        move |db| {
            shops::lock_roll_ups(db)?;
            let held = visible(db, key.0, own)?;
            if !held.is_live(db.now) {
                return Err(gone());
            }
            seen.allows(held.rev)?;
            let job = make_job(db, &handbooks, &held)?;
            if !held_offers::settle(db, held.id, HeldStatus::Taken, Some(job))? {
                return Err(gone());
            }
            let held = held_offers::find(db, key.0)?.ok_or(ApiError::NotFound)?;
            Ok(HeldOfferView::of(held, db.now, inside))
        },
        |held| Reply::ok(held, held.tag()),
    );
    or_fresh(&app, &caller, taken.await, wanted).await
}

/// What was wanted when the offer was made, from today on.
async fn wanted_again(app: &App, caller: &Caller, held: &HeldOffer) -> Result<Wanted, ApiError> {
    let today = app.read(caller, |db| Ok(db.now.local(zone_of(db, None)?).date())).await?;
    let of = held.fields.clone();
    Ok(Wanted {
        vehicle: of.vehicle,
        package: of.package,
        options: of.options.0,
        booked_grade: of.booked_grade,
        from_on: today,
        days: a_week(),
        windows: None,
        most: some() as usize,
        instead_of: None,
    })
}

fn make_job(db: &mut Db<'_>, handbooks: &Handbooks, held: &HeldOffer) -> Result<Id, ApiError> {
    let of = &held.fields;
    let id = Id::new(db.now);
    book(db, handbooks, id, &of.job())?;
    let handbook = handbooks.of(db)?;
    roll_ups::keep(db, &handbook, &[id], |db| {
        let job = jobs::find(db, id)?.ok_or(ApiError::NotFound)?;
        of.settle(db, &job)
    })?;
    if let Some(app) = held.app {
        let fields = BookingFields {
            vehicle: of.vehicle,
            package: of.package.clone(),
            options: Doc(of.options.0.clone()),
            window_from: of.window_from,
            window_to: of.window_to,
            booked_grade: of.booked_grade,
            note: None,
        };
        bookings::insert_accepted(db, Id::new(db.now), app, &fields, id)?;
    }
    Ok(id)
}

/// Gives a held offer back.
#[utoipa::path(tag = "offers", params(("id" = Id, Path)), responses((status = 204, description = "Given back")))]
#[delete("/v1/held-offers/{id}")]
pub async fn release_held_offer(app: Shared, caller: Caller, key: Key, seen: IfMatch) -> Answer {
    let own = caller.app();
    let release = app.write(&caller, move |db| {
        let held = visible(db, key.0, own)?;
        seen.allows(held.rev)?;
        match held_offers::settle(db, key.0, HeldStatus::Released, None)? {
            true => Ok(()),
            false => Err(ApiError::conflict("offer_settled", "it was taken or given back already")),
        }
    });
    release.await?;
    Ok(HttpResponse::NoContent().finish())
}

/// The held offer, unless a partner app asks whose it is not.
fn visible(db: &mut Db<'_>, id: Id, own: Option<Id>) -> Result<HeldOffer, ApiError> {
    let held = held_offers::find(db, id)?.ok_or(ApiError::NotFound)?;
    if own.is_none_or(|own| held.app == Some(own)) { Ok(held) } else { Err(ApiError::NotFound) }
}
