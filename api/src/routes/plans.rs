//! Plans of jobs: made, read as data or as a job sheet, and tried out before anything is booked.

use super::{Answer, Shared, created, jobs::going_on, jobs::running, jobs::visible, ok, unless_stale};
use crate::auth::Caller;
use crate::check::{Check, Checker};
use crate::db::jobs::{self, Job, JobStatus};
use crate::db::kinds::{Doc, Id};
use crate::db::plans::{self, PlanVersion, StoredPlan};
use crate::db::{Db, customers, people, vans, vehicles};
use crate::error::ApiError;
use crate::extract::{Body, Key, Optional, Query};
use crate::page::Page;
use crate::plan_input::{PlanFacts, Start, gather, zone_of};
use actix_web::http::header::{self, Accept, Header};
use actix_web::{HttpRequest, HttpResponse, get, post};
use chrono::NaiveDateTime;
use domain::handbook::Severity;
use domain::plan::{ExtraWork, JobPlan, PlanError, SheetHead, job_sheet};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

/// What is known at planning time and stored nowhere else.
#[derive(Debug, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PlanRequest {
    /// The customer's answer to extra work; give it with every replanning.
    #[serde(default)]
    pub extra_work: ExtraWork,
}

impl Check for PlanRequest {
    fn check(&self, _: &mut Checker) {}
}

/// Plans a job, or plans it anew from where it stands. Every plan is kept as a version of its own.
///
/// It is made from the vehicle, the newest inspection (else the booked grade), the package and options, the customer's
/// site, the shop's weather, the van's kit and the technicians assigned, for the planned start or else the beginning
/// of the window. What forbids the work comes as a notice in the plan, not as an error.
#[utoipa::path(
    tag = "plans",
    params(("id" = Id, Path)),
    request_body(content = Option<PlanRequest>, example = json!({ "extra_work": { "approved": true, "silent_min": 0 } })),
    responses((status = 201, body = StoredPlan, description = "Planned"))
)]
#[post("/v1/jobs/{id}/plan")]
pub async fn plan_job(app: Shared, caller: Caller, key: Key, body: Optional<PlanRequest>) -> Answer {
    let handbooks = app.handbooks.clone();
    let load = app.read(&caller, move |db| {
        let job = visible(db, key.0, None)?;
        going_on(&job)?;
        let (facts, start) = gather(db, &job, body.0.extra_work)?;
        Ok((job, facts, start, handbooks.of(db)?))
    });
    let (seen, facts, start, handbook) = load.await?;
    let plan = app.planning(move || facts.plan(&handbook, &start).map_err(contradiction)).await?;
    let save = app.write(&caller, move |db| {
        let job = running(db, key.0, None)?;
        unless_stale(job.rev == seen.rev)?;
        let version = plans::insert(db, job.id, &plan)?;
        if job.status.0 == JobStatus::Booked {
            jobs::set_status(db, job.id, job.rev, JobStatus::Planned)?;
        }
        Ok(StoredPlan { version, made_at: db.now, document: Doc(plan) })
    });
    let plan = save.await?;
    created(&plan, plan.version, format!("/v1/jobs/{}/plan?version={}", key.0, plan.version))
}

/// Which version of a plan.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
pub struct PlanQuery {
    /// Absent: the one in force.
    #[param(minimum = 1)]
    pub version: Option<i32>,
}

impl Check for PlanQuery {
    fn check(&self, found: &mut Checker) {
        found.range_if_given("version", self.version, 1, i32::MAX);
    }
}

/// The plan of a job. People get the job sheet as plain text when they ask for `text/plain`.
#[utoipa::path(
    tag = "plans",
    params(("id" = Id, Path), PlanQuery),
    responses((status = 200, description = "The plan", content(
        (StoredPlan = "application/json"),
        (String = "text/plain")
    )))
)]
#[get("/v1/jobs/{id}/plan")]
pub async fn get_plan(
    app: Shared,
    caller: Caller,
    key: Key,
    query: Query<PlanQuery>,
    request: HttpRequest,
) -> Answer {
    let technician = caller.only_own_work();
    let as_text = prefers_text(&request);
    if as_text {
        caller.person()?;
    }
    let (plan, sheet) = app
        .read(&caller, move |db| {
            let job = visible(db, key.0, technician)?;
            let plan = plans::find(db, job.id, query.0.version)?.ok_or(ApiError::NotFound)?;
            let sheet = if as_text { Some(sheet(db, &job, &plan.document.0)?) } else { None };
            Ok((plan, sheet))
        })
        .await?;
    let mut response = match sheet {
        Some(sheet) => HttpResponse::Ok().content_type("text/plain; charset=utf-8").body(sheet),
        None => ok(&plan, plan.version)?,
    };
    response.headers_mut().insert(header::VARY, header::HeaderValue::from_static("accept"));
    Ok(response)
}

/// The versions of a job's plan, the newest first.
#[utoipa::path(
    tag = "plans",
    params(("id" = Id, Path)),
    responses((status = 200, body = Page<PlanVersion>, description = "All of them"))
)]
#[get("/v1/jobs/{id}/plans")]
pub async fn list_plans(app: Shared, caller: Caller, key: Key) -> Answer {
    let technician = caller.only_own_work();
    let items = app
        .read(&caller, move |db| {
            visible(db, key.0, technician)?;
            Ok(plans::list(db, key.0)?)
        })
        .await?;
    Ok(HttpResponse::Ok().json(Page { items, next_cursor: None }))
}

/// Start times tried in one preview, at most.
const MOST_STARTS: usize = 24;

/// A job that nobody has booked, and the start times to try.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Preview {
    pub facts: PlanFacts,
    /// Wall-clock times at the site.
    #[schema(value_type = Vec<String>, min_items = 1, max_items = 24, example = json!(["2026-05-04T08:00:00"]))]
    pub starts: Vec<NaiveDateTime>,
    /// IANA name of the time zone at the site; absent: the shop's.
    #[serde(default)]
    pub time_zone: Option<String>,
}

/// The plans of a preview, the best start first.
#[derive(Debug, Serialize, ToSchema)]
pub struct Previewed {
    pub handbook: String,
    pub starts: Vec<PreviewedStart>,
}

/// What a start time would mean.
#[derive(Debug, Serialize, ToSchema)]
pub struct PreviewedStart {
    #[schema(value_type = String, example = "2026-05-04T08:00:00")]
    pub start: NaiveDateTime,
    /// Rules that forbid the work as it is.
    pub blocks: usize,
    pub warnings: usize,
    pub elapsed_minutes: f64,
    pub plan: JobPlan,
}

impl Check for Preview {
    fn check(&self, found: &mut Checker) {
        found.within("facts", |found| self.facts.check(found));
        found.at_most("starts", &self.starts, MOST_STARTS);
        if self.starts.is_empty() {
            found.refuse("starts", "too_few", "name at least one start time");
        }
        if let Some(zone) = &self.time_zone {
            found.time_zone("time_zone", zone);
        }
    }
}

/// Plans a job that is not stored, for several start times, and stores nothing.
///
/// The start with the fewest blocks comes first, then the one with the fewest warnings, then the shortest, then the
/// earliest.
#[utoipa::path(
    tag = "plans",
    request_body(content = Preview, example = json!({
        "facts": {
            "vehicle": { "class": "estate", "colour": "black", "finish": "clear_coat" },
            "package": "P1",
            "booked_grade": 2,
            "site": { "latitude": 48.2, "longitude": 16.4, "tap": true, "drain": "vegetated" },
            "weather": { "hours": [
                { "at": "2026-05-04T09:00:00", "air_c": 14.0, "humidity": 0.7, "wind_m_s": 2.0 },
                { "at": "2026-05-04T14:00:00", "air_c": 24.0, "humidity": 0.4, "wind_m_s": 3.0 }
            ] },
            "kit": { "equipment": ["hose", "pump_foamer", "mitt", "towel_dry"], "tank_l": 200.0 },
            "crew": [{ "name": "T1", "skills": ["wash"] }]
        },
        "starts": ["2026-05-04T09:00:00", "2026-05-04T14:00:00"]
    })),
    responses((status = 200, body = Previewed, description = "The plans"))
)]
#[post("/v1/plans/preview")]
pub async fn preview_plan(app: Shared, caller: Caller, body: Body<Preview>) -> Answer {
    let Body(preview) = body;
    let handbooks = app.handbooks.clone();
    let named = preview.time_zone.clone();
    let load = app.read(&caller, move |db| Ok((handbooks.of(db)?, zone_of(db, named.as_deref())?)));
    let (handbook, zone) = load.await?;
    let previewed = app
        .planning(move || {
            let mut starts = Vec::with_capacity(preview.starts.len());
            for at in &preview.starts {
                let plan = preview.facts.plan(&handbook, &Start::new(*at, zone, None)).map_err(misfit)?;
                starts.push(previewed(*at, plan));
            }
            starts.sort_by(|a, b| {
                let rank = |s: &PreviewedStart| (s.blocks, s.warnings);
                rank(a)
                    .cmp(&rank(b))
                    .then(a.elapsed_minutes.total_cmp(&b.elapsed_minutes))
                    .then(a.start.cmp(&b.start))
            });
            Ok(Previewed { handbook: handbook.version.clone(), starts })
        })
        .await?;
    Ok(HttpResponse::Ok().json(previewed))
}

fn previewed(start: NaiveDateTime, plan: JobPlan) -> PreviewedStart {
    let count = |severity| plan.notices.iter().filter(|notice| notice.severity == severity).count();
    PreviewedStart {
        start,
        blocks: count(Severity::Block),
        warnings: count(Severity::Warn),
        elapsed_minutes: plan.totals.elapsed_minutes,
        plan,
    }
}

/// What is stored contradicts itself: nothing in this request is wrong, so there is no pointer into it.
fn contradiction(error: PlanError) -> ApiError {
    ApiError::conflict("not_plannable", error.to_string())
}

/// What was sent contradicts the handbook or itself.
fn misfit(error: PlanError) -> ApiError {
    ApiError::field(format!("/facts{}", error.pointer), "does_not_fit", error.detail)
}

/// True if the client would rather have text than JSON (RFC 9110, 12.5.1).
fn prefers_text(request: &HttpRequest) -> bool {
    let Ok(accept) = Accept::parse(request) else { return false };
    let known =
        |kind: &str| matches!(kind, "text/plain" | "text/*" | "application/json" | "application/*" | "*/*");
    let first = accept.ranked().into_iter().find(|kind| known(kind.essence_str()));
    first.is_some_and(|kind| kind.type_() == "text")
}

/// The job sheet of a plan, with what the technician needs to find the vehicle.
fn sheet(db: &mut Db<'_>, job: &Job, plan: &JobPlan) -> Result<String, ApiError> {
    let vehicle = vehicles::find(db, job.fields.vehicle)?.ok_or(ApiError::NotFound)?.fields;
    let vehicle =
        [Some(vehicle.label), vehicle.registration].into_iter().flatten().collect::<Vec<_>>().join(" ");
    let place = customers::find(db, job.customer)?.ok_or(ApiError::NotFound)?.fields.name;
    let van = match job.van {
        Some(van) => vans::find(db, van)?.map(|van| van.fields.name),
        None => None,
    };
    let technicians = jobs::technicians(db, &[job.id])?.remove(&job.id).unwrap_or_default();
    let crew = people::names(db, &technicians)?;
    let number = job.id.to_string().split_off(28);
    let head = SheetHead {
        job: &number,
        vehicle: &vehicle,
        place: &place,
        crew: &crew,
        van: van.as_deref().unwrap_or("-"),
    };
    Ok(job_sheet(&head, plan))
}
