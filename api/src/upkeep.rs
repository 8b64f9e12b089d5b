//! What is stored of a vehicle, as the past that its upkeep forecast counts from.

use crate::db::kinds::Id;
use crate::db::steps::Outcome;
use crate::db::vehicles::Vehicle;
use crate::db::{Db, histories};
use crate::error::ApiError;
use crate::plan_input::zone_of;
use chrono::NaiveDate;
use domain::handbook::Handbook;
use domain::inspection::{Contaminant, Evidence, Finding, Grade, Inspection};
use domain::upkeep::{Climate, Experience, History, Upkeep, UpkeepError};
use std::collections::BTreeMap;

/// Today on the shop's calendar.
pub fn today(db: &mut Db<'_>) -> Result<NaiveDate, ApiError> {
    let zone = zone_of(db, None)?;
    Ok(db.now.local(zone).date())
}

/// The needs of one vehicle as of today.
pub fn forecast(db: &mut Db<'_>, handbook: &Handbook, vehicle: &Vehicle) -> Result<Upkeep, ApiError> {
    let today = today(db)?;
    let history = pasts(db, Some(vehicle.id))?.remove(&vehicle.id).unwrap_or_default();
    judge(handbook, vehicle, &history, today)
        .map_err(|error| ApiError::conflict("no_forecast", error.to_string()))
}

/// The same from what was gathered before.
pub fn judge(
    handbook: &Handbook,
    vehicle: &Vehicle,
    history: &History,
    today: NaiveDate,
) -> Result<Upkeep, UpkeepError> {
    let (experience, climate) = (Experience::default(), Climate::default());
    domain::upkeep::forecast(handbook, &vehicle.fields.document.0, history, &experience, &climate, today)
}

/// The pasts of all vehicles, or of one: finished jobs with what was left after them, and inspections.
pub fn pasts(db: &mut Db<'_>, vehicle: Option<Id>) -> Result<BTreeMap<Id, History>, ApiError> {
    let zone = zone_of(db, None)?;
    let mut pasts: BTreeMap<Id, History> = BTreeMap::new();
    let mut steps: BTreeMap<Id, Vec<String>> = BTreeMap::new();
    for done in histories::steps(db, vehicle)? {
        if done.outcome.0 == Outcome::Passed {
            steps.entry(done.job).or_default().push(done.step);
        }
    }
    for job in histories::finished_jobs(db, vehicle)? {
        let past = pasts.entry(job.vehicle).or_default();
        let on = job.finished_at.unwrap_or(db.now).local(zone).date();
        let left = job.grades_after.map(|left| left.0).unwrap_or_default();
        let done = steps.remove(&job.id).unwrap_or_default();
        let done: Vec<&str> = done.iter().map(String::as_str).collect();
        past.record_job(on, &done, iron_felt(&left));
        past.record_inspection(on, &Inspection { findings: left, ..Inspection::default() });
    }
    for seen in histories::inspections(db, vehicle)? {
        let on = seen.at.local(zone).date();
        pasts.entry(seen.vehicle).or_default().record_inspection(on, &seen.document.0);
    }
    Ok(pasts)
}

/// The worst bonded iron that was felt or tested.
fn iron_felt(findings: &[Finding]) -> Option<Grade> {
    let felt = findings.iter().filter(|f| {
        f.contaminant == Contaminant::FalloutIron && matches!(f.evidence, Evidence::Felt | Evidence::Tested)
    });
    felt.map(|f| f.grade).max()
}
