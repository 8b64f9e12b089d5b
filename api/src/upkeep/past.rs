//! What is stored of vehicles, as the past that their upkeep forecasts count from.

use crate::db::kinds::Id;
use crate::db::steps::Outcome;
use crate::db::{Db, histories, observations};
use crate::error::ApiError;
use crate::plan_input::zone_of;
use chrono_tz::Tz;
use domain::inspection::{Contaminant, Evidence, Finding, Grade};
use domain::upkeep::{History, WearStep};
use std::collections::BTreeMap;

/// The pasts of these vehicles: finished jobs with what was left after them, inspections, and what was noted outside.
pub fn gather(db: &mut Db<'_>, vehicles: &[Id]) -> Result<BTreeMap<Id, History>, ApiError> {
    let zone = zone_of(db, None)?;
    gather_in(db, vehicles, zone)
}

/// The same by the calendar of a zone.
pub fn gather_in(db: &mut Db<'_>, vehicles: &[Id], zone: Tz) -> Result<BTreeMap<Id, History>, ApiError> {
    let mut pasts: BTreeMap<Id, History> = BTreeMap::new();
    let mut steps: BTreeMap<Id, Vec<histories::DoneStep>> = BTreeMap::new();
    for done in histories::steps(db, vehicles)? {
        if done.outcome.0 == Outcome::Passed {
            steps.entry(done.job).or_default().push(done);
        }
    }
    for job in histories::finished_jobs(db, vehicles)? {
        let past = pasts.entry(job.vehicle).or_default();
        let on = job.finished_at.unwrap_or(db.now).local(zone).date();
        let left = job.grades_after.map(|left| left.0).unwrap_or_default();
        let done = steps.remove(&job.id).unwrap_or_default();
        let names: Vec<&str> = done.iter().map(|done| done.step.as_str()).collect();
        past.record_job(on, &names, iron_felt(&left));
        past.record_left(on, &left);
        past.wear_steps.extend(done.into_iter().map(|done| WearStep {
            on,
            step: done.step,
            products: done.products.0.into_iter().map(|used| used.product).collect(),
        }));
    }
    for seen in histories::inspections(db, vehicles)? {
        let on = seen.at.local(zone).date();
        pasts.entry(seen.vehicle).or_default().record_inspection(on, &seen.document.0);
    }
    for (vehicle, seen) in observations::in_force(db, vehicles)? {
        pasts.entry(vehicle).or_default().record_observed(&seen.0);
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
