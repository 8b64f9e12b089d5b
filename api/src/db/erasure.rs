//! Takes out of every table what tells who a customer was. What was done to the vehicles stays, as the work of a shop.

use super::Db;
use super::kept_replies::{self, Concern};
use super::kinds::{Doc, Id, Word};
use super::outbox::TaskStatus;
use super::reminders::{ReminderDocument, ReminderStatus};
use super::round_asks::RoundsAsk;
use super::round_plans::RoundPlanStatus;
use super::schema::{
    arrival, booking, consent, crew_note, customer, customer_reply, extra_work, inspection, job, job_comment,
    mutation, near_miss, outbox, photo, plan, reminder, round_plan, step_act, step_change, step_record,
    upload, van, vehicle, waiver,
};
use super::sync::{Kind, Touch};
use super::{bookings, customers, round_plans, shops, travel_matrices, uploads};
use diesel::prelude::*;
use domain::dispatch::Place;
use domain::inspection::Inspection;
use domain::plan::JobPlan;
use domain::site::Site;
use domain::sync::Command;
use domain::vehicle::Vehicle;
use serde_json::Value;

/// Stands where a name or a text was.
const ERASED: &str = "erased";

/// Rows per statement: SQLite takes 32,766 values in one.
const BATCH: usize = 1_000;

/// Erases a customer with the texts of their vehicles, bookings and jobs. Doing it again takes what was written since.
/// What has a revision gets another one where it shows something else than before.
pub fn erase(db: &mut Db<'_>, of: Id) -> QueryResult<()> {
    // What tells which ways and photos were theirs goes after these.
    erase_ways(db, of)?;
    erase_photos(db, of)?;
    erase_customer(db, of)?;
    erase_vehicles(db, of)?;
    erase_jobs(db, of)?;
    erase_plans(db, of)?;
    erase_round_plans(db, of)?;
    erase_work(db, of)?;
    erase_changes(db, of)?;
    erase_told(db, of)?;
    let bookings = erase_bookings(db, of)?;
    let reminders = erase_reminders(db, of)?;
    erase_tasks(db, &reminders)?;
    let mut concerns = bookings;
    concerns.extend(erase_answers(db, of)?);
    erase_replies(db, of, concerns)
}

/// A customer's jobs, as part of a statement: however many they are, they are no values in it.
#[diesel::dsl::auto_type(no_type_alias)]
fn jobs_of(shop: Id, of: Id) -> _ {
    job::table.filter(job::shop.eq(shop).and(job::customer.eq(of))).select(job::id)
}

/// What they answered; tells which.
fn erase_answers(db: &mut Db<'_>, of: Id) -> QueryResult<Vec<Concern>> {
    let rows =
        customer_reply::table.filter(customer_reply::shop.eq(db.shop).and(customer_reply::customer.eq(of)));
    let found = rows.select((customer_reply::id, customer_reply::created_at)).load(db.conn)?;
    diesel::delete(rows).execute(db.conn)?;
    Ok(found)
}

/// What requests about them were answered: those that name them, and those that made them.
fn erase_replies(db: &mut Db<'_>, of: Id, mut concerns: Vec<Concern>) -> QueryResult<()> {
    let themselves = customer::table.find((db.shop, of)).select((customer::id, customer::created_at));
    concerns.extend(themselves.load::<Concern>(db.conn)?);
    let vehicles = vehicle::table
        .filter(vehicle::shop.eq(db.shop).and(vehicle::customer.eq(of)))
        .select((vehicle::id, vehicle::created_at));
    concerns.extend(vehicles.load::<Concern>(db.conn)?);
    let jobs =
        job::table.filter(job::shop.eq(db.shop).and(job::customer.eq(of))).select((job::id, job::created_at));
    concerns.extend(jobs.load::<Concern>(db.conn)?);
    kept_replies::forget_about(db, &concerns)
}

/// The ways to where they are, unless somebody else is there.
fn erase_ways(db: &mut Db<'_>, of: Id) -> QueryResult<()> {
    let Some(place) = customers::find(db, of)?.and_then(|customer| globe(&customer.fields.site.0)) else {
        return Ok(());
    };
    let Some(stored) = travel_matrices::find_locked(db)? else { return Ok(()) };
    let is_there = stored.document.0.places.iter().any(|known| known.is_same(&place));
    if !is_there || is_of_others(db, of, &place)? {
        return Ok(());
    }
    travel_matrices::take_out(db, stored, &place)
}

/// Whether another customer, a van or the shop's base is at a place.
fn is_of_others(db: &mut Db<'_>, of: Id, place: &Place) -> QueryResult<bool> {
    let sites: Vec<Doc<Site>> = customer::table
        .filter(customer::shop.eq(db.shop).and(customer::id.ne(of)))
        .select(customer::site)
        .load(db.conn)?;
    let homes: Vec<Option<Doc<shops::Place>>> =
        van::table.filter(van::shop.eq(db.shop)).select(van::home).load(db.conn)?;
    let base = shops::find(db)?.and_then(|shop| shop.fields.settings.0.base);
    let ours = homes.into_iter().flatten().map(|home| home.0).chain(base);
    let ours = ours.map(|point| Place::Globe { latitude: point.latitude, longitude: point.longitude });
    Ok(sites.iter().filter_map(|site| globe(&site.0)).chain(ours).any(|other| other.is_same(place)))
}

fn globe(site: &Site) -> Option<Place> {
    Some(Place::Globe { latitude: site.latitude?, longitude: site.longitude? })
}

/// Photos of their jobs, and bytes that only a command in the inbox names: parked or rejected, it made no photo.
fn erase_photos(db: &mut Db<'_>, of: Id) -> QueryResult<()> {
    let shop = db.shop;
    let photos = photo::table.filter(photo::shop.eq(shop).and(photo::job.eq_any(jobs_of(shop, of))));
    diesel::update(photos).set(photo::caption.eq(None::<String>)).execute(db.conn)?;
    for id in photos.select(photo::upload).load::<Id>(db.conn)? {
        uploads::delete(db, id)?;
    }
    let told: Vec<(Id, Option<Doc<Value>>)> = mutation::table
        .filter(mutation::shop.eq(shop).and(mutation::job.eq_any(jobs_of(shop, of))))
        .filter(mutation::command.eq(Command::AttachPhoto.word()))
        .select((mutation::person, mutation::payload))
        .load(db.conn)?;
    for (person, payload) in told {
        let named = payload.and_then(|payload| payload.0["args"]["upload"].as_str()?.parse::<Id>().ok());
        let Some(id) = named else { continue };
        let own = upload::table.find((shop, id)).filter(upload::person.eq(person)).select(upload::id);
        let own: Option<Id> = own.first(db.conn).optional()?;
        // Another customer's job may show them, too.
        if own.is_some() && uploads::jobs_of(db, id)?.is_empty() {
            uploads::delete(db, id)?;
        }
    }
    Ok(())
}

fn erase_customer(db: &mut Db<'_>, of: Id) -> QueryResult<()> {
    let before = customers::find(db, of)?;
    let set = (
        customer::name.eq(ERASED),
        customer::email.eq(None::<String>),
        customer::phone.eq(None::<String>),
        customer::language.eq(None::<String>),
        customer::time_zone.eq(None::<String>),
        customer::site.eq(Doc(Site::default())),
        customer::note.eq(None::<String>),
        customer::preferred_months.eq(Doc(Vec::<u8>::new())),
        customer::complaint_open.eq(false),
        customer::snoozed_until_on.eq(None::<chrono::NaiveDate>),
    );
    let row = customer::table.find((db.shop, of));
    diesel::update(row).set(set).execute(db.conn)?;
    if customers::find(db, of)? != before {
        diesel::update(row).set(customer::rev.eq(customer::rev + 1)).execute(db.conn)?;
    }
    let first = customer::table.find((db.shop, of)).filter(customer::erased_at.is_null());
    diesel::update(first).set(customer::erased_at.eq(db.now)).execute(db.conn)?;
    let told = consent::table.filter(consent::shop.eq(db.shop).and(consent::customer.eq(of)));
    diesel::delete(told).execute(db.conn).map(|_| ())
}

/// A vehicle whose owner is not known any more is like one that was sold.
fn erase_vehicles(db: &mut Db<'_>, of: Id) -> QueryResult<()> {
    let rows = vehicle::table.filter(vehicle::shop.eq(db.shop).and(vehicle::customer.eq(of)));
    let set = (
        vehicle::label.eq(ERASED),
        vehicle::registration.eq(None::<String>),
        vehicle::vin.eq(None::<String>),
        vehicle::rev.eq(vehicle::rev + 1),
    );
    diesel::update(rows).set(set).execute(db.conn)?;
    let kept = rows.filter(vehicle::sold_at.is_null());
    diesel::update(kept).set(vehicle::sold_at.eq(db.now)).execute(db.conn)?;
    let documents: Vec<(Id, Doc<Vehicle>)> = rows.select((vehicle::id, vehicle::document)).load(db.conn)?;
    for (id, mut document) in documents {
        // Where it stood is part of what was found on it; how its people call the place is not.
        document.0.parking.iter_mut().for_each(|place| place.name = None);
        let row = vehicle::table.find((db.shop, id));
        diesel::update(row).set(vehicle::document.eq(document)).execute(db.conn)?;
    }
    Ok(())
}

fn erase_jobs(db: &mut Db<'_>, of: Id) -> QueryResult<()> {
    let rows = job::table.filter(job::shop.eq(db.shop).and(job::customer.eq(of)));
    let set = (job::note.eq(None::<String>), job::rev.eq(job::rev + 1));
    diesel::update(rows.filter(job::note.is_not_null())).set(set).execute(db.conn)?;
    let rows = waiver::table.filter(waiver::shop.eq(db.shop).and(waiver::job.eq_any(jobs_of(db.shop, of))));
    diesel::update(rows).set(waiver::agreed_by.eq(ERASED)).execute(db.conn).map(|_| ())
}

/// What was said of proposals; tells of which.
fn erase_bookings(db: &mut Db<'_>, of: Id) -> QueryResult<Vec<Concern>> {
    let found = bookings::of_customer(db, of)?;
    let ids: Vec<Id> = found.iter().map(|booking| booking.id).collect();
    for ids in ids.chunks(BATCH) {
        let rows = booking::table.filter(booking::shop.eq(db.shop).and(booking::id.eq_any(ids.to_vec())));
        let said = booking::note.is_not_null().or(booking::reason.is_not_null());
        let nothing = (booking::note.eq(None::<String>), booking::reason.eq(None::<String>));
        let set = (nothing, booking::rev.eq(booking::rev + 1));
        diesel::update(rows.filter(said)).set(set).execute(db.conn)?;
    }
    Ok(found.iter().map(|booking| (booking.id, booking.created_at)).collect())
}

/// Why one of their visits was barred was told in words, in what was asked and in what came of it.
fn erase_round_plans(db: &mut Db<'_>, of: Id) -> QueryResult<()> {
    let jobs: Vec<Id> = jobs_of(db.shop, of).load(db.conn)?;
    let rows: Vec<(Id, Doc<RoundsAsk>)> = round_plan::table
        .filter(round_plan::shop.eq(db.shop))
        .select((round_plan::id, round_plan::ask))
        .load(db.conn)?;
    let theirs =
        |ask: &RoundsAsk| ask.happened.iter().filter_map(|one| one.job()).any(|job| jobs.contains(&job));
    for (id, ask) in rows.into_iter().filter(|(_, ask)| theirs(&ask.0)) {
        let ask = RoundsAsk { happened: Vec::new(), ..ask.0 };
        let nothing = (round_plan::ask.eq(Doc(ask)), round_plan::outcome.eq(None::<String>));
        let set = (nothing, round_plan::rev.eq(round_plan::rev + 1));
        diesel::update(round_plan::table.find((db.shop, id))).set(set).execute(db.conn)?;
        // A search that goes on would write it down again when it ends.
        if let Some(plan) = round_plans::find(db, id)? {
            round_plans::end(db, &plan, RoundPlanStatus::Cancelled, None)?;
        }
    }
    Ok(())
}

/// A plan keeps its steps; what it was made from tells where the customer was.
fn erase_plans(db: &mut Db<'_>, of: Id) -> QueryResult<()> {
    let of_jobs = plan::shop.eq(db.shop).and(plan::job.eq_any(jobs_of(db.shop, of)));
    let rows: Vec<(Id, i32, Doc<JobPlan>)> =
        plan::table.filter(of_jobs).select((plan::job, plan::version, plan::document)).load(db.conn)?;
    for (job, version, document) in rows {
        let set = (plan::document.eq(Doc(document.0.without_customer())), plan::facts.eq(None::<String>));
        diesel::update(plan::table.find((db.shop, job, version))).set(set).execute(db.conn)?;
    }
    Ok(())
}

fn erase_work(db: &mut Db<'_>, of: Id) -> QueryResult<()> {
    let rows: Vec<(Id, Id, Doc<Inspection>)> = inspection::table
        .filter(inspection::shop.eq(db.shop).and(inspection::job.eq_any(jobs_of(db.shop, of))))
        .select((inspection::job, inspection::id, inspection::document))
        .load(db.conn)?;
    for (job, id, mut document) in rows.into_iter().filter(|row| row.2.0.note.is_some()) {
        document.0.note = None;
        let row = inspection::table.find((db.shop, job, id));
        diesel::update(row).set(inspection::document.eq(document)).execute(db.conn)?;
    }
    let rows = step_record::table
        .filter(step_record::shop.eq(db.shop).and(step_record::job.eq_any(jobs_of(db.shop, of))));
    diesel::update(rows).set(step_record::note.eq(None::<String>)).execute(db.conn)?;
    let rows =
        arrival::table.filter(arrival::shop.eq(db.shop).and(arrival::job.eq_any(jobs_of(db.shop, of))));
    let set = (arrival::note.eq(None::<String>), arrival::rev.eq(arrival::rev + 1));
    diesel::update(rows.filter(arrival::note.is_not_null())).set(set).execute(db.conn)?;
    let rows = extra_work::table
        .filter(extra_work::shop.eq(db.shop).and(extra_work::job.eq_any(jobs_of(db.shop, of))));
    diesel::update(rows).set(extra_work::what.eq(ERASED)).execute(db.conn)?;
    let jobs = jobs_of(db.shop, of).select(job::id.nullable());
    let rows = near_miss::table.filter(near_miss::shop.eq(db.shop).and(near_miss::job.eq_any(jobs)));
    diesel::update(rows).set(near_miss::what.eq(ERASED)).execute(db.conn).map(|_| ())
}

/// What phones told of the jobs; and the phones hear that it is gone.
fn erase_told(db: &mut Db<'_>, of: Id) -> QueryResult<()> {
    let shop = db.shop;
    let jobs: Vec<Id> = jobs_of(shop, of).load(db.conn)?;
    let comments =
        job_comment::table.filter(job_comment::shop.eq(shop).and(job_comment::job.eq_any(jobs_of(shop, of))));
    diesel::update(comments).set(job_comment::text.eq(ERASED)).execute(db.conn)?;
    let notes =
        crew_note::table.filter(crew_note::shop.eq(shop).and(crew_note::job.eq_any(jobs_of(shop, of))));
    let set = (crew_note::text.eq(ERASED), crew_note::rev.eq(crew_note::rev + 1));
    diesel::update(notes.filter(crew_note::text.ne(ERASED))).set(set).execute(db.conn)?;
    let acts = step_act::table.filter(step_act::shop.eq(shop).and(step_act::job.eq_any(jobs_of(shop, of))));
    diesel::update(acts).set(step_act::reason.eq(None::<String>)).execute(db.conn)?;
    let told = mutation::table.filter(mutation::shop.eq(shop).and(mutation::job.eq_any(jobs_of(shop, of))));
    let said = mutation::payload.is_not_null().or(mutation::reason.is_not_null());
    let said = said.or(mutation::settled_because.is_not_null());
    let nothing = (
        mutation::payload.eq(None::<String>),
        mutation::reason.eq(None::<String>),
        mutation::settled_because.eq(None::<String>),
    );
    let set = (nothing, mutation::rev.eq(mutation::rev + 1));
    diesel::update(told.filter(said)).set(set).execute(db.conn)?;
    db.touch(Touch::Row(Kind::Customer, of));
    let vehicles = vehicle::table.filter(vehicle::shop.eq(shop).and(vehicle::customer.eq(of)));
    for vehicle in vehicles.select(vehicle::id).load::<Id>(db.conn)? {
        db.touch(Touch::Row(Kind::Vehicle, vehicle));
    }
    jobs.into_iter().for_each(|job| db.touch(Touch::WholeJob(job)));
    Ok(())
}

/// Job, id, and the record before and after.
type Change = (Id, Id, Doc<Value>, Option<Doc<Value>>);

fn erase_changes(db: &mut Db<'_>, of: Id) -> QueryResult<()> {
    let of_jobs = step_change::shop.eq(db.shop).and(step_change::job.eq_any(jobs_of(db.shop, of)));
    let rows: Vec<Change> = step_change::table
        .filter(of_jobs)
        .select((step_change::job, step_change::id, step_change::before, step_change::after))
        .load(db.conn)?;
    for (job, id, before, after) in rows {
        let without_note = |mut document: Doc<Value>| {
            if let Some(fields) = document.0.as_object_mut() {
                fields.remove("note");
            }
            document
        };
        let set = (
            step_change::reason.eq(ERASED),
            step_change::before.eq(without_note(before)),
            step_change::after.eq(after.map(without_note)),
        );
        diesel::update(step_change::table.find((db.shop, job, id))).set(set).execute(db.conn)?;
    }
    Ok(())
}

/// Nothing is sent any more, and what was sent is forgotten.
fn erase_reminders(db: &mut Db<'_>, of: Id) -> QueryResult<Vec<Id>> {
    let rows = reminder::table.filter(reminder::shop.eq(db.shop).and(reminder::customer.eq(of)));
    let set = (reminder::reason.eq(ERASED), reminder::document.eq(Doc(ReminderDocument::default())));
    diesel::update(rows).set(set).execute(db.conn)?;
    let due = rows.filter(reminder::status.eq(Word(ReminderStatus::Due)));
    diesel::update(due).set(reminder::status.eq(Word(ReminderStatus::Suppressed))).execute(db.conn)?;
    rows.select(reminder::id).load(db.conn)
}

/// A mail server's answer may name the customer.
fn erase_tasks(db: &mut Db<'_>, reminders: &[Id]) -> QueryResult<()> {
    let sending = outbox::shop.eq(db.shop).and(outbox::kind.eq("send_reminder"));
    let tasks: Vec<(Id, Doc<Value>)> =
        outbox::table.filter(sending).select((outbox::id, outbox::payload)).load(db.conn)?;
    let of_them = |payload: &Value| reminders.iter().any(|id| payload["reminder"] == id.as_str());
    let ids: Vec<Id> = tasks.iter().filter(|(_, payload)| of_them(&payload.0)).map(|(id, _)| *id).collect();
    ids.chunks(BATCH).try_for_each(|ids| end_tasks(db, ids))
}

/// Forgets how these went, and sends none of them that is still open.
fn end_tasks(db: &mut Db<'_>, ids: &[Id]) -> QueryResult<()> {
    let rows = outbox::table.filter(outbox::shop.eq(db.shop).and(outbox::id.eq_any(ids.to_vec())));
    diesel::update(rows.clone()).set(outbox::last_error.eq(None::<String>)).execute(db.conn)?;
    let open = [Word(TaskStatus::Waiting), Word(TaskStatus::Uncertain), Word(TaskStatus::Dead)];
    let set = (outbox::status.eq(Word(TaskStatus::Done)), outbox::finished_at.eq(Some(db.now)));
    diesel::update(rows.filter(outbox::status.eq_any(open))).set(set).execute(db.conn).map(|_| ())
}
