//! The finished steps of a time, as throughput counts them: gathered from step records, plans, inspections and vans.

use crate::db::jobs::Job;
use crate::db::kinds::{Id, Instant};
use crate::db::steps::{self, FinishedStep, Outcome};
use crate::db::{Db, inspections, jobs, plans, vans, vehicles};
use crate::error::ApiError;
use domain::handbook::Handbook;
use domain::inspection::{Finding, Grade};
use domain::plan::JobPlan;
use domain::throughput::StepRecord;
use domain::vehicle::VehicleClass;
use std::collections::{BTreeMap, BTreeSet};

/// The crew of a job that no van was set to.
const NO_VAN: &str = "no van";
/// More vans than any shop has.
const ALL: i64 = 10_000;

/// The steps begun from `from` to `to` (exclusive); with `of`, only those of jobs that this person was on.
pub fn read(
    db: &mut Db<'_>,
    handbook: &Handbook,
    from: Instant,
    to: Instant,
    of: Option<Id>,
) -> Result<Vec<StepRecord>, ApiError> {
    let mut ids = steps::jobs_between(db, from, to)?;
    if let Some(person) = of {
        let crews = jobs::technicians(db, &ids)?;
        ids.retain(|job| crews.get(job).is_some_and(|crew| crew.contains(&person)));
    }
    let vans: BTreeMap<Id, String> =
        vans::list(db, None, ALL)?.into_iter().map(|van| (van.id, van.fields.name)).collect();
    let mut records = Vec::new();
    for id in ids {
        let job = jobs::find(db, id)?.ok_or(ApiError::NotFound)?;
        let crew = job.van.and_then(|van| vans.get(&van)).map_or(NO_VAN, String::as_str);
        let facts = facts(db, handbook, &job, crew)?;
        records.extend(of_job(&facts, steps::list(db, id)?, from, to));
    }
    Ok(records)
}

/// What is the same for every step of a job.
struct JobFacts<'a> {
    job: Job,
    class: VehicleClass,
    grade: Grade,
    crew: &'a str,
    area_m2: f64,
    planned: BTreeMap<String, f64>,
}

fn facts<'a>(
    db: &mut Db<'_>,
    handbook: &Handbook,
    job: &Job,
    crew: &'a str,
) -> Result<JobFacts<'a>, ApiError> {
    let class = vehicles::find(db, job.fields.vehicle)?.ok_or(ApiError::NotFound)?.fields.document.0.class;
    let found = inspections::list(db, job.id)?;
    let worst = found.iter().flat_map(|seen| &seen.document.0.findings).map(Finding::working_grade).max();
    let booked = u8::try_from(job.fields.booked_grade).ok().and_then(Grade::new);
    let plans = all_plans(db, job.id)?;
    let whole_m2 = || handbook.zones_of(class).filter(|zone| zone.in_envelope).map(|zone| zone.area_m2).sum();
    Ok(JobFacts {
        job: job.clone(),
        class,
        grade: worst.or(booked).unwrap_or(Grade::TYPICAL),
        crew,
        area_m2: plans.last().map_or_else(whole_m2, |plan| plan.totals.area_m2),
        planned: planned_minutes(&plans),
    })
}

/// A step may have several records, one per technician or turn: the first carries the planned minutes of all, the
/// others none, so that their sum stands against the plan's once.
fn of_job(facts: &JobFacts, steps: Vec<FinishedStep>, from: Instant, to: Instant) -> Vec<StepRecord> {
    let mut counted: BTreeSet<String> = BTreeSet::new();
    let mut records = Vec::new();
    for FinishedStep { fields: step, .. } in steps {
        let planned = facts.planned.get(&step.step).copied();
        let first = counted.insert(step.step.clone());
        if step.started_at < from || step.started_at >= to {
            continue;
        }
        let product_ml: f64 = step.products.0.iter().map(|used| used.ml).sum();
        records.push(StepRecord {
            job: facts.job.id.to_string(),
            package: facts.job.fields.package.clone(),
            class: facts.class,
            grade: facts.grade,
            crew: facts.crew.to_owned(),
            technician: step.technician.to_string(),
            minutes: step.minutes,
            planned_minutes: planned.map(|minutes| if first { minutes } else { 0.0 }),
            water_l: Some(step.water_l),
            product_ml: Some(product_ml),
            loops: u32::try_from(step.loops).unwrap_or(0),
            passed: step.outcome.0 == Outcome::Passed,
            area_m2: facts.area_m2,
            panel_c: step.panel_c,
            step: step.step,
        });
    }
    records
}

/// Every version of the job's plan, oldest first.
fn all_plans(db: &mut Db<'_>, job: Id) -> Result<Vec<JobPlan>, ApiError> {
    let mut all = Vec::new();
    for version in plans::list(db, job)?.into_iter().rev() {
        all.extend(plans::find(db, job, Some(version.version))?.map(|plan| plan.document.0));
    }
    Ok(all)
}

/// Person-minutes by step, by the newest plan that has the step: what was done is in no later one. A step may stand
/// in several lines.
fn planned_minutes(plans: &[JobPlan]) -> BTreeMap<String, f64> {
    let mut minutes = BTreeMap::new();
    for plan in plans {
        let mut of_plan: BTreeMap<String, f64> = BTreeMap::new();
        for line in &plan.lines {
            *of_plan.entry(line.step.clone()).or_insert(0.0) += line.minutes;
        }
        minutes.extend(of_plan);
    }
    minutes
}
