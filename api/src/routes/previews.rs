//! What a job would mean before it is planned: start times tried out, and the range to tell the customer.

use super::jobs::visible;
use super::plans::contradiction;
use super::{Answer, Shared};
use crate::app::processors;
use crate::auth::Caller;
use crate::check::{Check, Checker};
use crate::db::kinds::Id;
use crate::error::ApiError;
use crate::extract::{Body, Key};
use crate::norms;
use crate::plan_input::{gather, start, zone_of};
use actix_web::{HttpResponse, get, post};
use chrono::NaiveDateTime;
use domain::plan::{
    ExtraWork, JobPlan, PlanError, PlanFacts, Preview, Quote, Start, plan_job, preview, quote,
};
use serde::{Deserialize, Serialize};
use std::sync::Arc;
use utoipa::ToSchema;

/// Start times tried in one preview, at most.
const MOST_STARTS: usize = 1000;

/// A job that nobody has booked, and the start times to try.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PreviewRequest {
    pub facts: PlanFacts,
    /// Wall-clock times at the site.
    #[schema(value_type = Vec<String>, min_items = 1, max_items = 1000, example = json!(["2026-05-04T08:00:00"]))]
    pub starts: Vec<NaiveDateTime>,
    /// IANA name of the time zone at the site; absent: the shop's.
    #[serde(default)]
    pub time_zone: Option<String>,
}

/// What each start would mean, the best first, and the plan of the best.
#[derive(Debug, Serialize, ToSchema)]
pub struct Previewed {
    pub handbook: String,
    pub starts: Vec<Preview>,
    /// The whole plan of the first of them; another's comes when it is asked for alone.
    pub plan: JobPlan,
}

impl Check for PreviewRequest {
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

/// Plans a job that is not stored, for up to 1,000 start times, and stores nothing.
///
/// Starts that can be worked come first, then those with fewer blocks, fewer warnings, cooler panels, less time on
/// site, and the earlier ones; each says what put it behind the one before.
#[utoipa::path(
    tag = "plans",
    request_body(content = PreviewRequest, example = json!({
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
pub async fn preview_plan(app: Shared, caller: Caller, body: Body<PreviewRequest>) -> Answer {
    let Body(PreviewRequest { mut facts, starts, time_zone }) = body;
    let handbooks = app.handbooks.clone();
    let load = app.read(&caller, move |db| {
        Ok((handbooks.of(db)?, zone_of(db, time_zone.as_deref())?, norms::learned(db)?))
    });
    let (handbook, zone, learned) = load.await?;
    facts.norms = match caller.knows_staff() {
        true => learned,
        false => Arc::new(Arc::unwrap_or_clone(learned).without_names()),
    };
    let previewed = app
        .planning(move || {
            let starts: Vec<Start> = starts.into_iter().map(|at| start(at, zone, None)).collect();
            let first = starts.first().ok_or(ApiError::NotFound)?;
            let ranked = preview(&facts.input(&handbook, first), &starts, processors()).map_err(misfit)?;
            let best = ranked.first().map_or(*first, |best| start(best.start, zone, None));
            let plan = plan_job(&facts.input(&handbook, &best)).map_err(misfit)?;
            Ok(Previewed { handbook: handbook.version.clone(), starts: ranked, plan })
        })
        .await?;
    Ok(HttpResponse::Ok().json(previewed))
}

/// The range of a job: minutes, litres and the window to offer, from the booked grade to one worse.
///
/// It is made anew each time from the same facts as a plan. Once somebody has inspected the vehicle, both ends are
/// what was found.
#[utoipa::path(
    tag = "plans",
    params(("id" = Id, Path)),
    responses((status = 200, body = Quote, description = "The range"))
)]
#[get("/v1/jobs/{id}/quote")]
pub async fn get_quote(app: Shared, caller: Caller, key: Key) -> Answer {
    let handbooks = app.handbooks.clone();
    let load = app.read(&caller, move |db| {
        let job = visible(db, key.0, None)?;
        let norms = norms::learned(db)?;
        let (facts, start) = gather(db, &job, ExtraWork::default(), &norms)?;
        Ok((facts, start, handbooks.of(db)?))
    });
    let (facts, start, handbook) = load.await?;
    let range = app.planning(move || quote(&facts.input(&handbook, &start)).map_err(contradiction)).await?;
    Ok(HttpResponse::Ok().json(range))
}

/// What was sent contradicts the handbook or itself.
fn misfit(error: PlanError) -> ApiError {
    let of_start = error.pointer.starts_with("/starts/");
    let pointer = if of_start { error.pointer } else { format!("/facts{}", error.pointer) };
    ApiError::field(pointer, "does_not_fit", error.detail)
}
