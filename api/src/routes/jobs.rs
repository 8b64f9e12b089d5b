//! Jobs: booking, changing, assigning, cancelling.

use super::{Answer, Shared, created, free, id_taken, listed, ok, unless_stale};
use crate::auth::Caller;
use crate::check::{Check, Checker};
use crate::day;
use crate::db::jobs::{self, Assignment, Job, JobFields, JobFilter, JobStatus};
use crate::db::kinds::{Id, Instant};
use crate::db::webhooks::EventKind;
use crate::db::{Db, customers, people, promises, shops, vans, vehicles};
use crate::error::ApiError;
use crate::events;
use crate::extract::{Body, IfMatch, Key, NewKey, Patch, Query};
use crate::handbooks::Handbooks;
use crate::page::{self, Page};
use crate::plan_input::zone_of;
use crate::reply::Reply;
use crate::throughput::roll_ups;
use actix_web::{get, patch, post, put};
use chrono::NaiveDateTime;
use chrono_tz::Tz;
use domain::dispatch::Conflict;
use domain::handbook::Handbook;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use utoipa::{IntoParams, ToSchema};

/// Which jobs, and which page of them.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
pub struct JobQuery {
    /// `next_cursor` of the page before.
    #[param(max_length = 400)]
    pub cursor: Option<String>,
    /// Entries per page.
    #[param(minimum = 1, maximum = 200, default = 50)]
    pub limit: Option<i64>,
    /// Only windows that end later.
    pub from: Option<Instant>,
    /// Only windows that begin earlier.
    pub to: Option<Instant>,
    pub status: Option<JobStatus>,
    pub van: Option<Id>,
    pub vehicle: Option<Id>,
    pub customer: Option<Id>,
    pub technician: Option<Id>,
}

impl Check for JobQuery {
    fn check(&self, found: &mut Checker) {
        found.range_if_given("limit", self.limit, 1, page::MAX_LIMIT);
    }
}

/// A job, who goes with it, and its times where the customer is.
#[derive(Debug, Clone, Serialize, ToSchema)]
#[schema(as = Job)]
pub struct JobView {
    #[serde(flatten)]
    pub job: Job,
    pub technicians: Vec<Id>,
    pub local: LocalTimes,
}

/// Wall-clock times in the customer's time zone.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct LocalTimes {
    #[schema(example = "Europe/Vienna")]
    pub time_zone: String,
    #[schema(value_type = String, example = "2026-05-04T08:30:00")]
    pub window_from: NaiveDateTime,
    #[schema(value_type = String, example = "2026-05-04T10:30:00")]
    pub window_to: NaiveDateTime,
    #[schema(value_type = Option<String>, example = "2026-05-04T09:00:00")]
    pub start_at: Option<NaiveDateTime>,
}

/// Jobs by window. A technician sees their own.
#[utoipa::path(tag = "jobs", params(JobQuery), responses((status = 200, body = Page<JobView>, description = "A page")))]
#[get("/v1/jobs")]
pub async fn list_jobs(app: Shared, caller: Caller, query: Query<JobQuery>) -> Answer {
    let Query(query) = query;
    let mut filter = JobFilter {
        from: query.from,
        to: query.to,
        status: query.status,
        van: query.van,
        vehicle: query.vehicle,
        customer: query.customer,
        technician: query.technician,
    };
    if let Some(own) = caller.only_own_work() {
        if filter.technician.is_some_and(|asked| asked != own) {
            return Err(ApiError::Forbidden("a technician sees only their own jobs"));
        }
        filter.technician = Some(own);
    }
    let list = format!("{} jobs {}", caller.shop, serde_json::to_string(&filter)?);
    let after = page::unseal::<(Instant, Id)>(&app.keys, &list, query.cursor.as_deref())?;
    let limit = query.limit.unwrap_or(page::DEFAULT_LIMIT);
    let rows = app.read(&caller, move |db| {
        let rows = jobs::list(db, &filter, after, limit + 1)?;
        views(db, rows)
    });
    let place = |view: &JobView| (view.job.fields.window_from, view.job.id);
    listed(&Page::cut(rows.await?, limit, &app.keys, &list, place)?)
}

/// Books a job.
#[utoipa::path(tag = "jobs", request_body = JobFields, responses((status = 201, body = JobView, description = "Booked")))]
#[post("/v1/jobs")]
pub async fn create_job(app: Shared, caller: Caller, body: Body<JobFields>) -> Answer {
    let handbooks = app.handbooks.clone();
    app.once(
        &caller,
        move |db| {
            let id = Id::new(db.now);
            book(db, &handbooks, id, &body.0)
        },
        move |view| Reply::created(view, view.job.rev, format!("/v1/jobs/{}", view.job.id)),
    )
    .await
}

/// Books a job under an id of the client's own, a UUIDv7.
#[utoipa::path(
    tag = "jobs",
    params(("id" = Id, Path)),
    request_body = JobFields,
    responses((status = 201, body = JobView, description = "Booked"))
)]
#[put("/v1/jobs/{id}")]
pub async fn create_job_under(app: Shared, caller: Caller, key: NewKey, body: Body<JobFields>) -> Answer {
    let handbooks = app.handbooks.clone();
    let view = app.write(&caller, move |db| {
        free(jobs::find(db, key.0)?)?;
        book(db, &handbooks, key.0, &body.0)
    });
    let view = view.await?;
    created(&view, view.job.rev, format!("/v1/jobs/{}", view.job.id))
}

/// One job. A technician sees their own.
#[utoipa::path(tag = "jobs", params(("id" = Id, Path)), responses((status = 200, body = JobView, description = "The job")))]
#[get("/v1/jobs/{id}")]
pub async fn get_job(app: Shared, caller: Caller, key: Key) -> Answer {
    let technician = caller.only_own_work();
    let view = app
        .read_briefly(&caller, move |db| {
            let view = view(db, key.0)?;
            let goes = technician.is_none_or(|technician| view.technicians.contains(&technician));
            if goes && db.reaches(view.job.customer) { Ok(view) } else { Err(ApiError::NotFound) }
        })
        .await?;
    ok(&view, view.job.rev)
}

/// Changes a job that has not been started. With another window what its customer was told is void, and so is a planned
/// start outside of it.
#[utoipa::path(
    tag = "jobs",
    params(("id" = Id, Path)),
    request_body(content = JobFields, content_type = "application/merge-patch+json"),
    responses((status = 200, body = JobView, description = "Changed"))
)]
#[patch("/v1/jobs/{id}")]
pub async fn update_job(app: Shared, caller: Caller, key: Key, seen: IfMatch, patch: Patch) -> Answer {
    let handbooks = app.handbooks.clone();
    let view = app
        .write(&caller, move |db| {
            let before = open_job(db, key.0)?;
            seen.allows(before.rev)?;
            let fields = patch.apply(&before.fields)?;
            if fields.vehicle != before.fields.vehicle {
                return Err(ApiError::field(
                    "/vehicle",
                    "fixed",
                    "a job stays with its vehicle: cancel and book anew",
                ));
            }
            let handbook = handbooks.of(db)?;
            let reworked = [before.fields.rework_of, fields.rework_of];
            let touched: Vec<Id> = [key.0].into_iter().chain(reworked.into_iter().flatten()).collect();
            roll_ups::keep(db, &handbook, &touched, |db| {
                bookable(db, &handbooks, &fields, Some(key.0))?;
                let window = |fields: &JobFields| (fields.window_from, fields.window_to);
                let mut start_at = before.start_at;
                if window(&fields) != window(&before.fields) {
                    // The office's word counts, not what was told before.
                    promises::forget(db, key.0)?;
                    start_at = start_at.filter(|at| fields.window_from <= *at && *at < fields.window_to);
                }
                unless_stale(jobs::update(db, key.0, before.rev, (&fields, start_at))?)?;
                changed(db, key.0)
            })
        })
        .await?;
    ok(&view, view.job.rev)
}

/// A job as it was assigned, and what that makes of the day.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct AssignedJob {
    #[serde(flatten)]
    pub job: JobView,
    /// What stands against it, with the numbers: of this job, and of others because of it. The assignment is stored
    /// all the same: people may know better.
    pub conflicts: Vec<Conflict>,
}

/// Says which van goes, when and with whom: the manual move. Answers with every rule this breaks on its day, a promise or
/// the window among them; it is stored all the same. A search that keeps what
/// is assigned leaves a visit that was put out of its window where it is.
#[utoipa::path(
    tag = "jobs",
    params(("id" = Id, Path)),
    request_body = Assignment,
    responses((status = 200, body = AssignedJob, description = "Assigned"))
)]
#[put("/v1/jobs/{id}/assignment")]
pub async fn assign_job(
    app: Shared,
    caller: Caller,
    key: Key,
    seen: IfMatch,
    body: Body<Assignment>,
) -> Answer {
    let (handbooks, tables) = (app.handbooks.clone(), app.handbooks.clone());
    let job = app
        .write(&caller, move |db| {
            let handbook = tables.of(db)?;
            roll_ups::keep(db, &handbook, &[key.0], |db| {
                let before = open_job(db, key.0)?;
                seen.allows(before.rev)?;
                assignable(db, &body.0)?;
                unless_stale(jobs::assign(db, key.0, before.rev, &body.0)?)?;
                changed(db, key.0)
            })
        })
        .await?;
    let (id, start) = (job.job.id, job.job.clone());
    let (handbook, day) = app
        .read(&caller, move |db| {
            let on = day::day_of(&start, zone_of(db, None)?);
            let handbook = handbooks.of(db)?;
            let day = day::read(db, &handbook, on)?;
            Ok((handbook, day))
        })
        .await?;
    let conflicts = app.planning(move || Ok(day.complete(&handbook).conflicts_made_by(id))).await?;
    let rev = job.job.rev;
    ok(&AssignedJob { job, conflicts }, rev)
}

/// Cancels a job that has not been finished.
#[utoipa::path(tag = "jobs", params(("id" = Id, Path)), responses((status = 200, body = JobView, description = "Cancelled")))]
#[post("/v1/jobs/{id}/cancel")]
pub async fn cancel_job(app: Shared, caller: Caller, key: Key, seen: IfMatch) -> Answer {
    let handbooks = app.handbooks.clone();
    app.once(
        &caller,
        move |db| {
            let (handbook, touched) = (handbooks.of(db)?, with_reworked(db, key.0)?);
            roll_ups::keep(db, &handbook, &touched, |db| {
                let before = jobs::find(db, key.0)?.ok_or(ApiError::NotFound)?;
                seen.allows(before.rev)?;
                match before.status.0 {
                    JobStatus::Finished => {
                        return Err(ApiError::conflict("job_finished", "the job is finished"));
                    }
                    JobStatus::Cancelled => return view(db, key.0),
                    _ => unless_stale(jobs::set_status(db, key.0, before.rev, JobStatus::Cancelled)?)?,
                }
                changed(db, key.0)
            })
        },
        move |view| Reply::ok(view, view.job.rev),
    )
    .await
}

/// Books a job: from the office, or because a proposal was accepted.
pub fn book(db: &mut Db<'_>, handbooks: &Handbooks, id: Id, fields: &JobFields) -> Result<JobView, ApiError> {
    let handbook = handbooks.of(db)?;
    let touched: Vec<Id> = [id].into_iter().chain(fields.rework_of).collect();
    roll_ups::keep(db, &handbook, &touched, |db| {
        let customer = bookable(db, handbooks, fields, None)?;
        jobs::insert(db, id, customer, fields).map_err(id_taken)?;
        view(db, id)
    })
}

/// The job and the one that it makes good: what becomes of it is told in the figures of both.
pub fn with_reworked(db: &mut Db<'_>, id: Id) -> Result<Vec<Id>, ApiError> {
    let job = jobs::find(db, id)?.ok_or(ApiError::NotFound)?;
    Ok([id].into_iter().chain(job.fields.rework_of).collect())
}

/// The job, unless a technician asks who does not go there, or an app that may not act for its customer: for them there
/// is none.
pub fn visible(db: &mut Db<'_>, id: Id, technician: Option<Id>) -> Result<Job, ApiError> {
    let job = jobs::find(db, id)?.ok_or(ApiError::NotFound)?;
    match technician {
        Some(technician) if !jobs::is_done_by(db, id, technician)? => Err(ApiError::NotFound),
        _ if !db.reaches(job.customer) => Err(ApiError::NotFound),
        _ => Ok(job),
    }
}

/// The visible job, locked, if work on it goes on.
pub fn running(db: &mut Db<'_>, id: Id, technician: Option<Id>) -> Result<Job, ApiError> {
    jobs::find_locked(db, id)?;
    let job = visible(db, id, technician)?;
    going_on(&job)?;
    Ok(job)
}

/// Refuses what is over.
pub fn going_on(job: &Job) -> Result<(), ApiError> {
    match job.status.0 {
        JobStatus::Finished => Err(ApiError::conflict("job_finished", "the job is finished")),
        JobStatus::Cancelled => Err(ApiError::conflict("job_cancelled", "the job is cancelled")),
        JobStatus::Booked | JobStatus::Planned | JobStatus::Started => Ok(()),
    }
}

/// A job that can still be changed by the office.
fn open_job(db: &mut Db<'_>, id: Id) -> Result<Job, ApiError> {
    let job = jobs::find(db, id)?.ok_or(ApiError::NotFound)?;
    going_on(&job)?;
    match job.status.0 {
        JobStatus::Started => Err(ApiError::conflict("job_started", "the job has been started")),
        _ => Ok(job),
    }
}

/// The package is in the handbook, and so are the options in the package.
fn known_package(fields: &JobFields, handbook: &Handbook) -> Result<(), ApiError> {
    let mut found = Checker::default();
    if handbook.package(&fields.package).is_none() {
        found.refuse("package", "unknown", format!("the handbook has no package {:?}", fields.package));
        return found.finish();
    }
    for (i, option) in fields.options.0.iter().enumerate() {
        if !handbook.steps_of(&fields.package).any(|step| step.step == *option) {
            let text = format!("package {} has no step {option:?}", fields.package);
            found.refuse(format!("options/{i}"), "unknown", text);
        }
    }
    found.finish()
}

/// The customer of a job that may be booked like this. Bookings for one vehicle take turns.
pub fn bookable(
    db: &mut Db<'_>,
    handbooks: &Handbooks,
    fields: &JobFields,
    except: Option<Id>,
) -> Result<Id, ApiError> {
    known_package(fields, &*handbooks.of(db)?)?;
    reworkable(db, fields)?;
    linkable(db, fields, except)?;
    let vehicle = vehicles::find_locked(db, fields.vehicle)?
        .ok_or_else(|| ApiError::field("/vehicle", "unknown", "there is no such vehicle"))?;
    if vehicle.fields.sold_at.is_some_and(|sold| sold <= fields.window_to) {
        return Err(ApiError::conflict("vehicle_sold", "the customer no longer has this vehicle"));
    }
    let other = jobs::overlapping(db, fields.vehicle, fields.window_from, fields.window_to, except)?;
    match other {
        Some(other) => Err(ApiError::conflict(
            "vehicle_booked",
            format!(
                "job {} has this vehicle from {} to {}",
                other.id, other.fields.window_from, other.fields.window_to
            ),
        )),
        None => Ok(vehicle.fields.customer),
    }
}

/// Other jobs that are named are there.
fn linkable(db: &mut Db<'_>, fields: &JobFields, own: Option<Id>) -> Result<(), ApiError> {
    let mut found = Checker::default();
    for (i, link) in fields.links.0.iter().enumerate() {
        if own == Some(link.job) || jobs::find(db, link.job)?.is_none() {
            found.refuse(format!("links/{i}/job"), "unknown", "there is no such other job");
        }
    }
    found.finish()
}

/// What is made good is finished work on the same vehicle.
fn reworkable(db: &mut Db<'_>, fields: &JobFields) -> Result<(), ApiError> {
    let Some(before) = fields.rework_of else { return Ok(()) };
    match jobs::find(db, before)? {
        Some(job) if job.fields.vehicle == fields.vehicle && job.status.0 == JobStatus::Finished => Ok(()),
        _ => Err(ApiError::field("/rework_of", "unknown", "there is no such finished job of this vehicle")),
    }
}

/// Van and technicians exist and work.
fn assignable(db: &mut Db<'_>, to: &Assignment) -> Result<(), ApiError> {
    let mut found = Checker::default();
    if let Some(van) = to.van
        && vans::find(db, van)?.is_none_or(|van| van.fields.retired_at.is_some())
    {
        found.refuse("van", "unknown", "there is no such van in use");
    }
    let active = people::active_among(db, &to.technicians)?;
    for (i, id) in to.technicians.iter().enumerate() {
        if !active.contains(id) {
            found.refuse(format!("technicians/{i}"), "unknown", "there is no such active person");
        }
    }
    found.finish()
}

/// The job as it is shown, after a change that others are told of.
fn changed(db: &mut Db<'_>, id: Id) -> Result<JobView, ApiError> {
    let view = view(db, id)?;
    events::job(db, EventKind::JobChanged, &view.job)?;
    Ok(view)
}

/// The job as it is shown.
pub fn view(db: &mut Db<'_>, id: Id) -> Result<JobView, ApiError> {
    let (job, zone) = jobs::find_with_zone(db, id)?.ok_or(ApiError::NotFound)?;
    let technicians = jobs::technicians_of(db, id)?;
    let zone = zone.parse().unwrap_or(Tz::UTC);
    Ok(JobView { local: local_times(&job, zone), technicians, job })
}

pub fn views(db: &mut Db<'_>, rows: Vec<Job>) -> Result<Vec<JobView>, ApiError> {
    let ids: Vec<Id> = rows.iter().map(|job| job.id).collect();
    let mut technicians = jobs::technicians(db, &ids)?;
    let zones = zones(db, &rows)?;
    Ok(rows
        .into_iter()
        .map(|job| {
            let zone = zones.get(&job.customer).copied().unwrap_or(Tz::UTC);
            let technicians = technicians.remove(&job.id).unwrap_or_default();
            JobView { local: local_times(&job, zone), technicians, job }
        })
        .collect())
}

fn local_times(job: &Job, zone: Tz) -> LocalTimes {
    LocalTimes {
        time_zone: zone.name().to_owned(),
        window_from: job.fields.window_from.local(zone),
        window_to: job.fields.window_to.local(zone),
        start_at: job.start_at.map(|at| at.local(zone)),
    }
}

/// The time zone of each job's customer: theirs, else the shop's.
fn zones(db: &mut Db<'_>, rows: &[Job]) -> Result<BTreeMap<Id, Tz>, ApiError> {
    let shop = shops::find(db)?.ok_or(ApiError::NotFound)?.fields.time_zone;
    let customers: Vec<Id> = rows.iter().map(|job| job.customer).collect();
    let named = customers::time_zones(db, &customers)?;
    let zone = |name: Option<String>| name.unwrap_or_else(|| shop.clone()).parse().unwrap_or(Tz::UTC);
    Ok(named.into_iter().map(|(id, name)| (id, zone(name))).collect())
}
