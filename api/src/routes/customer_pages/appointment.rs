//! The page of an appointment: when it is, and the windows that are offered instead.

use super::page::Page;
use super::{Visit, messages};
use crate::auth::links::Act;
use crate::db::Db;
use crate::db::customer_replies::{self, NewReply, ReplyReading, ReplyWay};
use crate::db::customers::Purpose;
use crate::db::jobs::{self, Job, JobFields, OtherWindow};
use crate::db::kinds::{Doc, Id, Instant};
use crate::db::webhooks::EventKind;
use crate::db::{promises, vehicles};
use crate::dispatch::offers::Ticket;
use crate::error::ApiError;
use crate::events;
use crate::routes::jobs::bookable;
use crate::tasks::decide::{ToldTime, told_time};
use crate::throughput::roll_ups;
use crate::windows::{self, Choice};
use chrono_tz::Tz;

/// What a page says of its own accord when it cannot do what it was asked.
pub const REFUSALS: [&str; 2] = [CHANGED, GONE];
const CHANGED: &str = "appointment_changed";
const GONE: &str = "window_gone";

pub fn show(db: &mut Db<'_>, visit: &Visit<'_>, id: Id) -> Result<Page, ApiError> {
    let job = own(db, visit, id)?;
    let vehicle = vehicles::find(db, job.fields.vehicle)?.ok_or(ApiError::NotFound)?;
    let handbook = visit.app.handbooks.of(db)?;
    let work =
        handbook.package(&job.fields.package).map_or(job.fields.package.clone(), |one| one.name.clone());
    let promises = promises::among(db, &[id])?;
    let when = match told_time(&job, promises.get(&id)) {
        ToldTime { from, until: Some(to) } => span(OtherWindow { from, to }, visit.zone),
        ToldTime { from, until: None } => clock(from, visit.zone),
    };
    let shop = &visit.shop.fields.name;
    let mut page = Page::new("Your appointment")
        .paragraph(&format!("{shop} comes to your {}: {when}.", vehicle.fields.label))
        .paragraph(&format!("The work: {work}."));
    if let Some(over) = over(&job) {
        page = page.paragraph(over);
    }
    if !visit.choices.is_empty() {
        page = page.heading("Choose another time");
    }
    for Choice { to, place } in &visit.choices {
        let place = place.clone().map(Box::new);
        let choose = Act::Choose { job: id, rev: job.rev, to: *to, place };
        page = page.html(&visit.button(choose, &span(*to, visit.zone))?);
    }
    page = page.paragraph("For anything else just answer the message, and a person will read it.");
    messages::switches(db, visit, page, Purpose::Appointment)
}

/// Moves the appointment, if it is not over and still is as it was shown. Who comes is settled by its place in the rounds, or planned anew.
pub fn choose(
    db: &mut Db<'_>,
    visit: &Visit<'_>,
    (id, rev): (Id, i32),
    (to, place): (OtherWindow, Option<&Ticket>),
) -> Result<Page, ApiError> {
    let handbook = visit.app.handbooks.of(db)?;
    roll_ups::keep(db, &handbook, &[id], |db| {
        jobs::find_locked(db, id)?;
        let job = own(db, visit, id)?;
        if let Some(over) = over(&job) {
            return Ok(Page::new("Your appointment").paragraph(over));
        }
        let is_there = (job.fields.window_from, job.fields.window_to) == (to.from, to.to);
        if !is_there {
            move_to(db, visit, (&job, rev), (to, place))?;
        }
        Ok(Page::new("Your appointment has moved")
            .paragraph(&format!("It is now {}. Thank you.", span(to, visit.zone))))
    })
}

fn move_to(
    db: &mut Db<'_>,
    visit: &Visit<'_>,
    (job, rev): (&Job, i32),
    (to, place): (OtherWindow, Option<&Ticket>),
) -> Result<(), ApiError> {
    let changed = || {
        let text = "Your appointment has been changed since. Please open the link in the message again.";
        ApiError::conflict(CHANGED, text)
    };
    if job.rev != rev {
        return Err(changed());
    }
    let gone = || ApiError::conflict(GONE, "This time is not free any more. Please choose another one.");
    if !windows::is_offered(db, job, (to, place))? {
        return Err(gone());
    }
    let mut others = job.fields.other_windows.0.clone();
    others.retain(|other| *other != to);
    let fields = JobFields {
        window_from: to.from,
        window_to: to.to,
        other_windows: Doc(others),
        ..job.fields.clone()
    };
    bookable(db, &visit.app.handbooks, &fields, Some(job.id)).map_err(|_| gone())?;
    if !jobs::move_to(db, job.id, rev, &fields)? {
        return Err(changed());
    }
    let reply = NewReply {
        customer: Some(visit.customer.id),
        job: Some(job.id),
        way: ReplyWay::Link,
        sender: visit.customer.fields.name.clone(),
        text: format!("Chose {}.", span(to, visit.zone)),
        reading: ReplyReading::WindowChosen,
        message_key: format!("chosen:{}:{rev}", job.id),
    };
    customer_replies::insert(db, &reply)?;
    // What was promised before holds no more.
    promises::forget(db, job.id)?;
    let job = jobs::find(db, job.id)?.ok_or(ApiError::NotFound)?;
    match place {
        Some(place) => place.take(db, &job),
        None => events::job(db, EventKind::JobChanged, &job),
    }
}

/// The customer's own job.
fn own(db: &mut Db<'_>, visit: &Visit<'_>, id: Id) -> Result<Job, ApiError> {
    jobs::find(db, id)?.filter(|job| job.customer == visit.customer.id).ok_or(ApiError::NotFound)
}

fn over(job: &Job) -> Option<&'static str> {
    match job.status.0 {
        jobs::JobStatus::Cancelled => Some("It has been called off."),
        jobs::JobStatus::Finished => Some("It is done."),
        jobs::JobStatus::Started => Some("It has begun."),
        _ => None,
    }
}

fn clock(at: Instant, zone: Tz) -> String {
    at.local(zone).format("%A %-d %B %Y at %H:%M").to_string()
}

fn span(window: OtherWindow, zone: Tz) -> String {
    let (from, to) = (window.from.local(zone), window.to.local(zone));
    let end = if from.date() == to.date() { "%H:%M" } else { "%A %-d %B %Y, %H:%M" };
    format!("{} to {}", from.format("%A %-d %B %Y, %H:%M"), to.format(end))
}
