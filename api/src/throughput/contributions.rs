//! What jobs add to the roll-ups, gathered from their rows, many jobs at a time.

use crate::db::arrivals::{self, Arrival};
use crate::db::extra_work::{self, Answer};
use crate::db::jobs::{self, Job, JobStatus};
use crate::db::kinds::{Id, Instant};
use crate::db::steps::{self, Counting, Outcome, StepFields};
use crate::db::{Db, inspections, job_figures, plans, vehicles};
use crate::error::ApiError;
use crate::plan_input::zone_of;
use chrono::NaiveDate;
use chrono_tz::Tz;
use domain::handbook::Handbook;
use domain::inspection::Grade;
use domain::plan::JobPlan;
use domain::throughput::{
    Contribution, Counted, ExtraWork, JobBusiness, JobFacts, JobFigures, PlannedStep, StepEntry, weighted_m2,
};
use domain::vehicle::VehicleClass;
use std::collections::{BTreeMap, BTreeSet};

/// Jobs that are asked for at once.
pub const BATCH: usize = 400;

/// How much work the plan of a job foresaw.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Scope {
    area_m2: f64,
    water_l: Option<f64>,
    product_ml: Option<f64>,
}

/// What is stored about some jobs.
struct Rows {
    zone: Tz,
    classes: BTreeMap<Id, VehicleClass>,
    steps: BTreeMap<Id, Vec<Counting>>,
    worst: BTreeMap<Id, Grade>,
    arrivals: BTreeMap<Id, Arrival>,
    extra: BTreeMap<Id, ExtraWork>,
    reworks: BTreeMap<Id, Job>,
}

/// What each of these jobs adds; a cancelled one adds nothing, unless nobody was there.
///
/// With `anew` a job's scope is read from its plan again instead of from its row.
pub fn contributions(
    db: &mut Db<'_>,
    handbook: &Handbook,
    ids: &[Id],
    anew: bool,
) -> Result<BTreeMap<Id, Contribution>, ApiError> {
    let mut found = BTreeMap::new();
    for ids in ids.chunks(BATCH) {
        let mut jobs = jobs::among(db, ids)?;
        let rows = Rows::read(db, handbook, &jobs, ids)?;
        jobs.retain(|job| job.status.0 != JobStatus::Cancelled || rows.no_show(job.id));
        let stored = if anew { BTreeMap::new() } else { job_figures::of_jobs(db, ids)? };
        for job in &jobs {
            let scope = scope(db, handbook, job, &rows, stored.get(&job.id))?;
            found.insert(job.id, rows.contribution(handbook, job, scope));
        }
    }
    Ok(found)
}

/// The area and amounts of the plan with which the job was begun, else of the newest; without a plan the whole outside.
/// The job's row has them already, unless a plan was made since: whoever makes one asks anew.
fn scope(
    db: &mut Db<'_>,
    handbook: &Handbook,
    job: &Job,
    rows: &Rows,
    stored: Option<&JobFigures>,
) -> Result<Scope, ApiError> {
    if let Some(row) = stored.filter(|row| row.planned_water_l.is_some()) {
        let (water_l, product_ml) = (row.planned_water_l, row.planned_product_ml);
        return Ok(Scope { area_m2: row.area_m2, water_l, product_ml });
    }
    if job.status.0 != JobStatus::Booked
        && let Some(plan) = plans::find(db, job.id, job.started_plan)?
    {
        return Ok(Scope::of(&plan.document.0));
    }
    let outside = handbook.zones_of(rows.class(job)).filter(|zone| zone.in_envelope);
    Ok(Scope { area_m2: outside.map(|zone| zone.area_m2).sum(), water_l: None, product_ml: None })
}

impl Scope {
    fn of(plan: &JobPlan) -> Scope {
        Scope {
            area_m2: plan.totals.area_m2,
            water_l: Some(plan.totals.water_l),
            product_ml: Some(plan.totals.product_ml.values().sum()),
        }
    }
}

impl Rows {
    fn read(db: &mut Db<'_>, handbook: &Handbook, jobs: &[Job], ids: &[Id]) -> Result<Rows, ApiError> {
        let vehicle_ids: BTreeSet<Id> = jobs.iter().map(|job| job.fields.vehicle).collect();
        let vehicles = vehicles::among(db, &vehicle_ids.into_iter().collect::<Vec<_>>())?;
        let mut steps: BTreeMap<Id, Vec<Counting>> = BTreeMap::new();
        for step in steps::of_jobs(db, ids)? {
            steps.entry(step.job).or_default().push(step);
        }
        let mut worst: BTreeMap<Id, Grade> = BTreeMap::new();
        for (job, seen) in inspections::of_jobs(db, ids)? {
            let told_worse = handbook.told_worse();
            let grades = seen.0.findings.iter().map(|finding| finding.working_grade(told_worse));
            if let Some(grade) = grades.max() {
                let before = worst.get(&job).copied().unwrap_or(grade);
                worst.insert(job, grade.max(before));
            }
        }
        let mut extra: BTreeMap<Id, ExtraWork> = BTreeMap::new();
        for asked in extra_work::of_jobs(db, ids)? {
            let sum = extra.entry(asked.job).or_default();
            sum.asked += 1;
            sum.accepted += u32::from(asked.fields.answer.0 == Answer::Accepted);
        }
        let mut reworks = BTreeMap::new();
        for job in jobs::reworks(db, ids)? {
            if let Some(of) = job.fields.rework_of {
                reworks.entry(of).or_insert(job);
            }
        }
        Ok(Rows {
            zone: zone_of(db, None)?,
            classes: vehicles.into_iter().map(|v| (v.id, v.fields.document.0.class)).collect(),
            steps,
            worst,
            arrivals: arrivals::of_jobs(db, ids)?.into_iter().map(|arrival| (arrival.job, arrival)).collect(),
            extra,
            reworks,
        })
    }

    fn no_show(&self, job: Id) -> bool {
        self.arrivals.get(&job).is_some_and(|arrival| arrival.fields.no_show)
    }

    fn class(&self, job: &Job) -> VehicleClass {
        self.classes.get(&job.fields.vehicle).copied().unwrap_or(VehicleClass::Sedan)
    }

    fn contribution(&self, handbook: &Handbook, job: &Job, scope: Scope) -> Contribution {
        let booked = u8::try_from(job.fields.booked_grade).ok().and_then(Grade::new);
        let grade = self.worst.get(&job.id).copied().or(booked).unwrap_or(Grade::TYPICAL);
        let steps = self.steps.get(&job.id).map_or(&[][..], Vec::as_slice);
        let facts = JobFacts {
            job: job.id.to_string(),
            package: job.fields.package.clone(),
            class: self.class(job),
            grade,
            crew: job.van.map(|van| van.to_string()).unwrap_or_default(),
            area_m2: scope.area_m2,
            weighted_m2: weighted_m2(handbook, grade, scope.area_m2),
            planned: planned_steps(steps),
            planned_water_l: scope.water_l,
            planned_product_ml: scope.product_ml,
            business: self.business(job, steps),
        };
        let entries: Vec<StepEntry> = steps.iter().map(entry).collect();
        let counted = steps
            .iter()
            .map(|step| (step.id.to_string(), Counted { ms: step.counted_ms, sound: step.sound }));
        let mut contribution = Contribution::of(&facts, &entries, &counted.collect());
        if !facts.business.finished {
            // Steps of a job that goes on teach nothing yet.
            contribution.cells.clear();
        }
        contribution
    }

    fn business(&self, job: &Job, steps: &[Counting]) -> JobBusiness {
        let on = |at: Instant| at.local(self.zone).date();
        let finished = job.finished_at.filter(|_| job.status.0 == JobStatus::Finished);
        let arrived = self.arrivals.get(&job.id).map(|arrival| arrival.fields.arrived_at);
        let first = arrived.or_else(|| steps.iter().map(|step| step.fields.started_at).min());
        JobBusiness {
            on: on(finished.unwrap_or(planned_at(job))),
            finished: finished.is_some(),
            no_show: self.no_show(job.id),
            booked_on: Some(on(job.created_at)),
            late_minutes: first.map(|first| late_minutes(job, first)),
            reworked_after_days: finished.and_then(|end| {
                let again = self.reworks.get(&job.id)?;
                days_between(on(end), on(again.finished_at.unwrap_or(planned_at(again))))
            }),
            extra_work: self.extra.get(&job.id).copied(),
        }
    }
}

fn planned_at(job: &Job) -> Instant {
    job.start_at.unwrap_or(job.fields.window_from)
}

fn days_between(from: NaiveDate, to: NaiveDate) -> Option<u32> {
    u32::try_from((to - from).num_days()).ok()
}

/// After the planned start; where none is set the window is the promise, and any time in it is in time.
fn late_minutes(job: &Job, first: Instant) -> f64 {
    let (from, to) = match job.start_at {
        Some(start) => (start, start),
        None => (job.fields.window_from, job.fields.window_to),
    };
    let late = if first < from { first.utc() - from.utc() } else { first.utc() - to.utc().min(first.utc()) };
    late.num_milliseconds() as f64 / 60_000.0
}

/// What the plan in force said of each step when it was recorded.
fn planned_steps(steps: &[Counting]) -> BTreeMap<String, PlannedStep> {
    let mut planned = BTreeMap::new();
    for step in steps {
        let grade = step.norm_grade.and_then(|grade| u8::try_from(grade).ok()).and_then(Grade::new);
        if let (Some(minutes), Some(norm_minutes), Some(grade)) =
            (step.planned_minutes, step.norm_minutes, grade)
        {
            let of_plan = PlannedStep { minutes, norm_minutes, grade };
            planned.entry(step.fields.step.clone()).or_insert(of_plan);
        }
    }
    planned
}

/// A record as the statistics take it.
pub fn entry(step: &Counting) -> StepEntry {
    entry_of(step.id, step.job, step.worked_on, &step.fields)
}

/// The same of what was noted. Nothing noted of water or product is nothing known.
pub fn entry_of(id: Id, job: Id, on: NaiveDate, fields: &StepFields) -> StepEntry {
    let product_ml: f64 = fields.products.0.iter().map(|used| used.ml).sum();
    StepEntry {
        id: id.to_string(),
        job: job.to_string(),
        step: fields.step.clone(),
        technician: fields.technician.to_string(),
        started_at: fields.started_at.utc(),
        on,
        minutes: fields.minutes,
        loops: u32::try_from(fields.loops).unwrap_or(0),
        passed: fields.outcome.0 == Outcome::Passed,
        water_l: (fields.water_l > 0.0).then_some(fields.water_l),
        product_ml: (!fields.products.0.is_empty()).then_some(product_ml),
        panel_c: fields.panel_c,
        withdrawn: None,
    }
}
