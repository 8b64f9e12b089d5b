//! Plans of jobs: made, read as data, as a job sheet and as a timeline.

use super::{Answer, Shared, jobs::going_on, jobs::running, jobs::visible, listed, ok, unless_stale};
use crate::auth::Caller;
use crate::check::{Check, Checker};
use crate::conventions::tags::digest;
use crate::db::Db;
use crate::db::acknowledgements::{self, Acknowledgement};
use crate::db::jobs::{self, JobStatus};
use crate::db::kinds::{Doc, Id};
use crate::db::plans::{self, PlanVersion, StoredPlan};
use crate::db::webhooks::EventKind;
use crate::error::ApiError;
use crate::events;
use crate::extract::{Key, Optional, Query};
use crate::forms::varied;
use crate::job_sheet::{self, Form};
use crate::kept_facts::KeptFacts;
use crate::norms;
use crate::page::Page;
use crate::plan_input::{MOST_REFILLS, gather};
use crate::reply::Reply;
use crate::throughput::roll_ups;
use actix_web::{HttpRequest, get, post};
use domain::plan::{ExtraWork, PlanError, PlanFacts, Timeline, timeline};
use domain::site::Weather;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

/// What is known at planning time and stored nowhere else.
#[derive(Debug, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PlanRequest {
    /// The customer's answer to extra work; give it with every replanning.
    #[serde(default)]
    pub extra_work: ExtraWork,
    /// Times the tank can be filled again during the job; give it with every replanning.
    #[serde(default)]
    #[schema(minimum = 0, maximum = 20)]
    pub refill_stops: u32,
    /// Hours at the site, on its wall clock, in place of the shop's weather: read by hand or from a nearer station.
    #[serde(default)]
    pub weather: Option<Weather>,
}

impl Check for PlanRequest {
    fn check(&self, found: &mut Checker) {
        found.range("refill_stops", self.refill_stops, 0, MOST_REFILLS);
        if let Some(weather) = &self.weather {
            found.within("weather", |found| weather.check(found));
        }
    }
}

/// Plans a job, or plans it anew from where it stands. Every plan is kept as a version of its own.
///
/// It is made from the vehicle, the newest inspection (else the booked grade), the package and options, the customer's
/// site, the weather of the request (else the shop's), the van's kit, the technicians assigned and what the customer agreed to in writing, for
/// the planned start or else the beginning of the window. What it is made from is kept with it. What forbids the work comes as a notice in the plan, not as an error.
#[utoipa::path(
    tag = "plans",
    params(("id" = Id, Path)),
    request_body(content = Option<PlanRequest>, example = json!({ "extra_work": { "approved": true, "silent_min": 0 } })),
    responses((status = 201, body = PlanView, description = "Planned"))
)]
#[post("/v1/jobs/{id}/plan")]
pub async fn plan_job(app: Shared, caller: Caller, key: Key, body: Optional<PlanRequest>) -> Answer {
    let handbooks = app.handbooks.clone();
    let load = app.read(&caller, move |db| {
        let job = visible(db, key.0, None)?;
        going_on(&job)?;
        let norms = norms::learned(db)?;
        let PlanRequest { extra_work, refill_stops, weather } = body.0;
        let (facts, start) = gather(db, &job, extra_work, &norms)?;
        let given = weather.is_some();
        let weather = weather.unwrap_or_else(|| facts.weather.clone());
        let facts = PlanFacts { refill_stops, weather, ..facts };
        let kept = KeptFacts::now(db, &facts, start)?.with_weather_given(given);
        Ok((job, facts, start, kept, handbooks.of(db)?))
    });
    let (seen, facts, start, kept, handbook) = load.await?;
    let tables = handbook.clone();
    let given = kept.weather_given();
    let plan = app.planning(move || facts.plan(&handbook, &start).map_err(|e| misfit(e, given))).await?;
    let save = app.once(
        &caller,
        move |db| {
            roll_ups::keep_planned(db, &tables, key.0, |db| {
                let job = running(db, key.0, None)?;
                unless_stale(job.rev == seen.rev)?;
                let version = plans::insert(db, job.id, &plan, kept)?;
                if job.status.0 == JobStatus::Booked {
                    jobs::set_status(db, job.id, job.rev, JobStatus::Planned)?;
                }
                let told = if version == 1 { EventKind::JobPlanned } else { EventKind::PlanReplaced };
                let job = jobs::find(db, job.id)?.ok_or(ApiError::NotFound)?;
                events::job(db, told, &job)?;
                let plan = StoredPlan { version, made_at: db.now, document: Doc(plan) };
                Ok(PlanView { plan, acknowledged: Vec::new() })
            })
        },
        move |view| {
            let address = format!("/v1/jobs/{}/plan?version={}", key.0, view.plan.version);
            Reply::created(view, view.tag()?, address)
        },
    );
    save.await
}

/// A plan, and who took note of its warnings.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Plan)]
pub struct PlanView {
    #[serde(flatten)]
    pub plan: StoredPlan,
    /// Empty for partner apps, which are not told of the staff.
    pub acknowledged: Vec<Acknowledgement>,
}

/// A stored plan as this caller may see it: partner apps are not told what the staff are called.
fn stored(db: &mut Db<'_>, job: Id, version: Option<i32>, knows_staff: bool) -> Result<StoredPlan, ApiError> {
    let mut plan = plans::find(db, job, version)?.ok_or(ApiError::NotFound)?;
    if !knows_staff {
        plan.document = Doc(plan.document.0.without_names());
    }
    Ok(plan)
}

impl PlanView {
    /// Made from all that it says: a version stays, but more people may take note of it, and its customer may be erased.
    fn tag(&self) -> Result<String, ApiError> {
        Ok(format!("{}.{}", self.plan.version, digest(serde_json::to_vec(self)?)))
    }
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

/// The plan of a job. People get the job sheet when they ask for `text/html` (A4, to print) or `text/plain`.
///
/// Partner apps get no job sheet, and no names: technicians are `technician 1`, `technician 2` and so on.
#[utoipa::path(
    tag = "plans",
    params(("id" = Id, Path), PlanQuery),
    responses((status = 200, description = "The plan", content(
        (PlanView = "application/json"),
        (String = "text/html"),
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
    let (technician, knows_staff, form) =
        (caller.only_own_work(), caller.knows_staff(), Form::asked(&request));
    if form != Form::Data {
        caller.person()?;
    }
    let (view, sheet) = app
        .read(&caller, move |db| {
            let job = visible(db, key.0, technician)?;
            let plan = stored(db, job.id, query.0.version, knows_staff)?;
            let sheet = job_sheet::write(db, &job, &plan.document.0, form)?;
            let acknowledged = match knows_staff {
                true => acknowledgements::list(db, job.id, plan.version)?,
                false => Vec::new(),
            };
            Ok((PlanView { plan, acknowledged }, sheet))
        })
        .await?;
    match sheet {
        Some(sheet) => Ok(form.respond(sheet)),
        None => Ok(varied(ok(&view, view.tag()?)?)),
    }
}

/// A plan as a timeline for machines: who is where from when to when, and how long each zone stays wet.
///
/// Partner apps get it without the technicians' names.
#[utoipa::path(
    tag = "plans",
    params(("id" = Id, Path), PlanQuery),
    responses((status = 200, body = Timeline, description = "The timeline"))
)]
#[get("/v1/jobs/{id}/timeline")]
pub async fn get_timeline(app: Shared, caller: Caller, key: Key, query: Query<PlanQuery>) -> Answer {
    let (technician, knows_staff) = (caller.only_own_work(), caller.knows_staff());
    let plan = app
        .read(&caller, move |db| {
            let job = visible(db, key.0, technician)?;
            stored(db, job.id, query.0.version, knows_staff)
        })
        .await?;
    ok(&timeline(&plan.document.0), plan.version)
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
    listed(&Page::whole(items))
}

/// Weather that came with the request is at fault there; all else was stored.
fn misfit(error: PlanError, weather_given: bool) -> ApiError {
    if weather_given && error.pointer.starts_with("/weather") {
        return ApiError::field(error.pointer, "does_not_fit", error.detail);
    }
    contradiction(error)
}

/// What is stored contradicts itself: nothing in this request is wrong, so there is no pointer into it.
pub fn contradiction(error: PlanError) -> ApiError {
    ApiError::conflict("not_plannable", error.to_string())
}
