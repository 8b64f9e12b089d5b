//! What was seen, measured or heard of a vehicle outside a job: its forecast counts it at once.

use super::{Answer, Shared, listed, ok, upkeep::seen as seen_vehicle};
use crate::auth::Caller;
use crate::check::{Check, Checker};
use crate::db::Db;
use crate::db::kinds::{Doc, Id};
use crate::db::observations::{self, ObservationRecord};
use crate::db::vehicles::Vehicle;
use crate::error::ApiError;
use crate::extract::{Body, IfMatch, Key};
use crate::handbooks::Handbooks;
use crate::page::Page;
use crate::reply::Reply;
use crate::upkeep;
use actix_web::{delete, get, post};
use chrono::NaiveDate;
use domain::upkeep::History;
use domain::vehicle::Vehicle as Document;

/// Entries of each list in one note, at most.
const MOST_ENTRIES: usize = 100;

/// Notes readings, bag and bead tests, events, days away, salted roads, and washes or decontaminations by others.
///
/// Days lie not ahead. Two tests of one day may contradict each other: the worse counts. The technician of a job of this
/// customer may note it, too.
#[utoipa::path(
    tag = "upkeep",
    params(("id" = Id, Path, description = "The vehicle")),
    request_body(content = History, example = json!({
        "bag_tests": [{ "on": "2026-05-02", "grade": 2 }],
        "bead_tests": [{ "on": "2026-05-02", "protection": "wax", "panel_grades": [4, 3, 4] }],
        "events": [{ "on": "2026-04-20", "kind": "grinding_beside" }],
        "away": [{ "from_on": "2026-06-01", "to_on": "2026-06-20" }],
        "readings": [{ "on": "2026-05-02", "contaminant": "tar", "found": { "spots": { "spots": 12, "area_m2": 0.5 } } }],
        "last_salted_on": "2026-03-02"
    })),
    responses((status = 201, body = ObservationRecord, description = "Noted"))
)]
#[post("/v1/vehicles/{id}/observations")]
pub async fn create_observation(app: Shared, caller: Caller, key: Key, body: Body<History>) -> Answer {
    let (technician, person, handbooks) = (caller.only_own_work(), caller.person()?, app.handbooks.clone());
    app.once(
        &caller,
        move |db| {
            let vehicle = seen_vehicle(db, key.0, technician)?;
            possible(db, &handbooks, &vehicle, &body.0)?;
            upkeep::found::compare(db, &handbooks, key.0, &vehicle.fields.document.0, &body.0)?;
            let id = Id::new(db.now);
            observations::insert(db, key.0, id, person, &body.0)?;
            upkeep::changed(db, &handbooks, key.0)?;
            let (vehicle, at, withdrawn_at) = (key.0, db.now, None);
            Ok(ObservationRecord { id, vehicle, by_person: person, at, withdrawn_at, document: Doc(body.0) })
        },
        move |record| Reply::created(record, 1, format!("/v1/vehicles/{}/observations", key.0)),
    )
    .await
}

/// What was noted of a vehicle, oldest first, withdrawn notes too.
#[utoipa::path(
    tag = "upkeep",
    params(("id" = Id, Path, description = "The vehicle")),
    responses((status = 200, body = Page<ObservationRecord>, description = "All of it"))
)]
#[get("/v1/vehicles/{id}/observations")]
pub async fn list_observations(app: Shared, caller: Caller, key: Key) -> Answer {
    let technician = caller.only_own_work();
    let items = app
        .read(&caller, move |db| {
            seen_vehicle(db, key.0, technician)?;
            Ok(observations::list(db, key.0)?)
        })
        .await?;
    listed(&Page::whole(items))
}

/// Withdraws a note that was a mistake: it is kept, and counts no longer. Again is the same.
#[utoipa::path(
    tag = "upkeep",
    params(("id" = Id, Path, description = "The note")),
    responses((status = 200, body = ObservationRecord, description = "It counts no longer"))
)]
#[delete("/v1/observations/{id}")]
pub async fn withdraw_observation(app: Shared, caller: Caller, key: Key, seen: IfMatch) -> Answer {
    let handbooks = app.handbooks.clone();
    let record = app
        .write(&caller, move |db| {
            let before = observations::find(db, key.0)?.ok_or(ApiError::NotFound)?;
            seen.allows(before.rev())?;
            if before.withdrawn_at.is_none() {
                observations::withdraw(db, key.0)?;
                upkeep::changed(db, &handbooks, before.vehicle)?;
            }
            observations::find(db, key.0)?.ok_or(ApiError::NotFound)
        })
        .await?;
    ok(&record, record.rev())
}

impl Check for History {
    fn check(&self, found: &mut Checker) {
        let lengths = [
            ("decontaminations", self.decontaminations.len()),
            ("washes", self.washes.len()),
            ("bag_tests", self.bag_tests.len()),
            ("bead_tests", self.bead_tests.len()),
            ("events", self.events.len()),
            ("away", self.away.len()),
            ("readings", self.readings.len()),
            ("cleared", self.cleared.len()),
            ("stripped", self.stripped.len()),
        ];
        for (list, length) in lengths {
            if length > MOST_ENTRIES {
                let text = format!("has {length} entries, at most {MOST_ENTRIES} are allowed");
                found.refuse(list, "too_many", text);
            }
        }
        for (i, test) in self.bead_tests.iter().enumerate() {
            found.within(format!("bead_tests/{i}"), |found| {
                found.range("panel_grades", test.panel_grades.len(), 1, 20);
            });
        }
        if !self.wear_steps.is_empty() {
            found.refuse("wear_steps", "not_here", "steps are recorded with their job");
        }
        if self.mean_air_c.is_some() {
            found.refuse("mean_air_c", "not_here", "comes from the shop's weather");
        }
    }
}

/// Nothing lies ahead or before the vehicle's first day, and the handbook knows the words.
fn possible(
    db: &mut Db<'_>,
    handbooks: &Handbooks,
    vehicle: &Vehicle,
    seen: &History,
) -> Result<(), ApiError> {
    let ground = upkeep::Ground::read(db, handbooks)?;
    let mut found = Checker::default();
    let mut known = |list: &str, i: usize, protection: &str| {
        if ground.handbook.protection(protection).is_none() {
            let text = format!("the handbook has no protection {protection:?}");
            found.refuse(format!("{list}/{i}/protection"), "unknown", text);
        }
    };
    seen.bead_tests.iter().enumerate().for_each(|(i, test)| known("bead_tests", i, &test.protection));
    seen.stripped.iter().enumerate().for_each(|(i, gone)| known("stripped", i, &gone.protection));
    for (i, gone) in seen.stripped.iter().enumerate() {
        if let Some(step) = gone.step.as_deref().filter(|step| ground.handbook.step(step).is_none()) {
            found.refuse(
                format!("stripped/{i}/step"),
                "unknown",
                format!("the handbook has no step {step:?}"),
            );
        }
    }
    found.finish()?;
    if *seen == History::default() {
        return Err(ApiError::field("", "missing_field", "the note says nothing"));
    }
    after_first_day(&vehicle.fields.document.0, seen)?;
    seen.check(ground.today).map_err(|error| upkeep::refused("", &error))
}

/// Nothing was found on a vehicle before its first day on the road.
fn after_first_day(vehicle: &Document, seen: &History) -> Result<(), ApiError> {
    let Some(first_on) = vehicle.first_registered_on else { return Ok(()) };
    let mut found = Checker::default();
    let mut after = |list: &str, days: Vec<NaiveDate>| {
        for (i, on) in days.into_iter().enumerate().filter(|(_, on)| *on < first_on) {
            let text = format!("{on} is before the vehicle's first day, {first_on}");
            found.refuse(format!("{list}/{i}/on"), "before_the_vehicle", text);
        }
    };
    after("decontaminations", seen.decontaminations.iter().map(|one| one.on).collect());
    after("washes", seen.washes.iter().map(|one| one.on).collect());
    after("bag_tests", seen.bag_tests.iter().map(|one| one.on).collect());
    after("bead_tests", seen.bead_tests.iter().map(|one| one.on).collect());
    after("events", seen.events.iter().map(|one| one.on).collect());
    after("readings", seen.readings.iter().map(|one| one.on).collect());
    after("stripped", seen.stripped.iter().map(|one| one.on).collect());
    after("cleared", seen.cleared.iter().map(|one| one.on).collect());
    found.finish()
}
