//! Crews that set out to a customer, who hears of it at once.

use super::jobs::{JobView, running, view};
use super::{Answer, Shared, unless_stale};
use crate::auth::Caller;
use crate::check::{Check, Checker};
use crate::db::jobs::{self, JobStatus};
use crate::db::kinds::{Id, Instant};
use crate::error::ApiError;
use crate::extract::{Body, IfMatch, Key};
use crate::reply::Reply;
use crate::tasks::find_reminders;
use actix_web::post;
use chrono::TimeDelta;
use serde::Deserialize;
use utoipa::ToSchema;

/// No way to a customer takes longer; an assumption.
const LONGEST_WAY: TimeDelta = TimeDelta::hours(12);

/// When the crew should be there.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Departure {
    /// Later than now, by twelve hours at most.
    pub arrives_at: Instant,
}

impl Check for Departure {
    fn check(&self, _: &mut Checker) {}
}

/// Says that the crew has set out. The customer hears of it at once, if they agreed to that; `GET /v1/reminders` tells
/// when not, and why.
#[utoipa::path(
    tag = "jobs",
    params(("id" = Id, Path)),
    request_body(content = Departure, example = json!({ "arrives_at": "2026-05-04T10:05:00+02:00" })),
    responses((status = 200, body = JobView, description = "Noted"))
)]
#[post("/v1/jobs/{id}/on-the-way")]
pub async fn set_out(app: Shared, caller: Caller, key: Key, seen: IfMatch, body: Body<Departure>) -> Answer {
    let (technician, handbooks) = (caller.only_own_work(), app.handbooks.clone());
    let arrives_at = body.0.arrives_at;
    app.once(
        &caller,
        move |db| {
            let job = running(db, key.0, technician)?;
            seen.allows(job.rev)?;
            if job.status.0 == JobStatus::Started {
                return Err(ApiError::conflict("job_started", "the crew is there and has begun"));
            }
            if arrives_at <= db.now || arrives_at > db.now.plus(LONGEST_WAY) {
                let text = format!("must be later than now, {}, by twelve hours at most", db.now);
                return Err(ApiError::field("/arrives_at", "out_of_range", text));
            }
            unless_stale(jobs::set_out(db, job.id, job.rev, arrives_at)?)?;
            find_reminders::of_customer(db, &handbooks, job.customer)?;
            view(db, job.id)
        },
        move |view| Reply::ok(view, view.job.rev),
    )
    .await
}
