//! What technicians saw at the vehicle of a job.

use super::{Answer, Shared, jobs::running, jobs::visible, listed, steps::Teller};
use crate::auth::Caller;
use crate::check::Checker;
use crate::db::Db;
use crate::db::inspections::{self, InspectionRecord};
use crate::db::kinds::Id;
use crate::db::vehicles;
use crate::error::ApiError;
use crate::extract::{Body, Key};
use crate::handbooks::Handbooks;
use crate::page::Page;
use crate::reply::Reply;
use crate::throughput::roll_ups;
use crate::upkeep;
use actix_web::{get, post};
use domain::handbook::Handbook;
use domain::inspection::{Finding, Inspection};
use domain::upkeep::History;
use domain::vehicle::{VehicleClass, Zone};

/// Notes what was seen; it takes the place of earlier inspections when the job is planned.
#[utoipa::path(
    tag = "jobs",
    params(("id" = Id, Path)),
    request_body(content = Inspection, example = json!({
        "findings": [
            { "zone": "doors", "contaminant": "fallout_iron", "grade": 2, "evidence": "felt" },
            { "zone": "front_bumper", "contaminant": "insect", "grade": 2, "evidence": "seen", "age_h": 20.0 }
        ],
        "readings": [{ "zone": "bonnet", "panel_c": 24.5 }],
        "parked_min": 60
    })),
    responses((status = 201, body = InspectionRecord, description = "Noted"))
)]
#[post("/v1/jobs/{id}/inspections")]
pub async fn create_inspection(app: Shared, caller: Caller, key: Key, body: Body<Inspection>) -> Answer {
    let (who, handbooks) = ((caller.only_own_work(), caller.person()?), app.handbooks.clone());
    app.once(
        &caller,
        move |db| {
            let id = Id::new(db.now);
            inspect(db, &handbooks, who, (key.0, id), &body.0)
        },
        move |record| Reply::created(record, 1, format!("/v1/jobs/{}/inspections", key.0)),
    )
    .await
}

/// Notes what was seen, under `id`.
pub fn inspect(
    db: &mut Db<'_>,
    handbooks: &Handbooks,
    (technician, by): Teller,
    (job, id): (Id, Id),
    inspection: &Inspection,
) -> Result<InspectionRecord, ApiError> {
    let handbook = handbooks.of(db)?;
    roll_ups::keep(db, &handbook, &[job], |db| {
        let job = running(db, job, technician)?;
        let vehicle = vehicles::find(db, job.fields.vehicle)?.ok_or(ApiError::NotFound)?;
        known_zones(inspection, vehicle.fields.document.0.class, &handbook)?;
        let mut seen = History::default();
        seen.record_inspection(upkeep::today(db)?, inspection);
        upkeep::found::compare(db, handbooks, vehicle.id, &vehicle.fields.document.0, &seen)?;
        inspections::insert(db, job.id, id, by, inspection)?;
        upkeep::changed(db, handbooks, vehicle.id)?;
        let all = inspections::list(db, job.id)?;
        all.into_iter().find(|one| one.id == id).ok_or(ApiError::NotFound)
    })
}

/// The inspections of a job, oldest first.
#[utoipa::path(
    tag = "jobs",
    params(("id" = Id, Path)),
    responses((status = 200, body = Page<InspectionRecord>, description = "All of them"))
)]
#[get("/v1/jobs/{id}/inspections")]
pub async fn list_inspections(app: Shared, caller: Caller, key: Key) -> Answer {
    let technician = caller.only_own_work();
    let items = app
        .read(&caller, move |db| {
            visible(db, key.0, technician)?;
            Ok(inspections::list(db, key.0)?)
        })
        .await?;
    listed(&Page::whole(items))
}

/// Every zone named is one that the class has.
fn known_zones(inspection: &Inspection, class: VehicleClass, handbook: &Handbook) -> Result<(), ApiError> {
    let mut found = Checker::default();
    findings_fit(&mut found, "findings", &inspection.findings, class, handbook);
    for (i, reading) in inspection.readings.iter().enumerate() {
        zone_fits(&mut found, format!("readings/{i}/zone"), reading.zone, class, handbook);
    }
    for (i, zone) in inspection.scratched.iter().enumerate() {
        zone_fits(&mut found, format!("scratched/{i}"), *zone, class, handbook);
    }
    found.finish()
}

/// The same for the findings of a list at `field`.
pub fn findings_fit(
    found: &mut Checker,
    field: &str,
    findings: &[Finding],
    class: VehicleClass,
    handbook: &Handbook,
) {
    for (i, finding) in findings.iter().enumerate() {
        zone_fits(found, format!("{field}/{i}/zone"), finding.zone, class, handbook);
    }
}

fn zone_fits(found: &mut Checker, place: String, zone: Zone, class: VehicleClass, handbook: &Handbook) {
    if handbook.zone(class, zone).is_none() {
        found.refuse(place, "unknown_zone", format!("this class of vehicle has no {}", zone.name()));
    }
}
