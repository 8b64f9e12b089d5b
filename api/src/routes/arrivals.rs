//! Crews at the customer's place: arrivals, no-shows, and what was asked for beyond the booking.

use super::jobs::{running, visible, with_reworked};
use super::steps::{Teller, not_ahead};
use super::{Answer, Shared, listed, ok, unless_stale};
use crate::auth::Caller;
use crate::check::Checker;
use crate::db::Db;
use crate::db::arrivals::{self, Arrival, ArrivalFields};
use crate::db::extra_work::{self, ExtraWork, ExtraWorkFields};
use crate::db::jobs::{self, JobStatus};
use crate::db::kinds::Id;
use crate::error::ApiError;
use crate::extract::{Body, Key, Seen};
use crate::handbooks::Handbooks;
use crate::page::Page;
use crate::reply::Reply;
use crate::throughput::roll_ups;
use actix_web::{get, post, put};

/// Says when the crew arrived, in the place of what was said before. A no-show cancels the job.
#[utoipa::path(
    tag = "jobs",
    params(("id" = Id, Path)),
    request_body(content = ArrivalFields, example = json!({
        "arrived_at": "2026-05-04T10:02:00+02:00", "travel_min": 18, "travel_km": 9.5
    })),
    responses((status = 200, body = Arrival, description = "Stored"))
)]
#[put("/v1/jobs/{id}/arrival")]
pub async fn set_arrival(
    app: Shared,
    caller: Caller,
    key: Key,
    seen: Seen,
    body: Body<ArrivalFields>,
) -> Answer {
    let (who, handbooks) = ((caller.only_own_work(), caller.person()?), app.handbooks.clone());
    let arrival = app
        .write(&caller, move |db| {
            arrive(db, &handbooks, who, key.0, |before| {
                seen.allows(before.map(|before| before.rev))?;
                Ok(body.0)
            })
        })
        .await?;
    ok(&arrival, arrival.rev)
}

/// Notes when the crew arrived: what `say` makes of what was said before.
pub fn arrive(
    db: &mut Db<'_>,
    handbooks: &Handbooks,
    (technician, by): Teller,
    job: Id,
    say: impl FnOnce(Option<&Arrival>) -> Result<ArrivalFields, ApiError>,
) -> Result<Arrival, ApiError> {
    let (handbook, touched) = (handbooks.of(db)?, with_reworked(db, job)?);
    roll_ups::keep(db, &handbook, &touched, |db| {
        let job = running(db, job, technician)?;
        let fields = say(arrivals::find(db, job.id)?.as_ref())?;
        let mut found = Checker::default();
        not_ahead(&mut found, "arrived_at", fields.arrived_at, db.now);
        found.finish()?;
        if fields.no_show {
            if job.status.0 == JobStatus::Started {
                return Err(ApiError::conflict("job_started", "work on the job has begun"));
            }
            unless_stale(jobs::set_status(db, job.id, job.rev, JobStatus::Cancelled)?)?;
        }
        arrivals::put(db, job.id, by, &fields)?;
        arrivals::find(db, job.id)?.ok_or(ApiError::NotFound)
    })
}

/// When the crew arrived.
#[utoipa::path(
    tag = "jobs",
    params(("id" = Id, Path)),
    responses((status = 200, body = Arrival, description = "The arrival"))
)]
#[get("/v1/jobs/{id}/arrival")]
pub async fn get_arrival(app: Shared, caller: Caller, key: Key) -> Answer {
    let technician = caller.only_own_work();
    let arrival = app
        .read_briefly(&caller, move |db| {
            visible(db, key.0, technician)?;
            arrivals::find(db, key.0)?.ok_or(ApiError::NotFound)
        })
        .await?;
    ok(&arrival, arrival.rev)
}

/// Notes work beyond the booking that the customer was asked for, and the answer.
///
/// It changes no plan: plan the job anew with the answer (`extra_work` of the planning request).
#[utoipa::path(
    tag = "jobs",
    params(("id" = Id, Path)),
    request_body(content = ExtraWorkFields, example = json!({
        "what": "Sap on the bonnet: it etches the coat if it stays. 25 minutes.", "minutes": 25,
        "answer": "accepted", "asked_at": "2026-05-04T10:25:00+02:00"
    })),
    responses((status = 201, body = ExtraWork, description = "Noted"))
)]
#[post("/v1/jobs/{id}/extra-work")]
pub async fn create_extra_work(app: Shared, caller: Caller, key: Key, body: Body<ExtraWorkFields>) -> Answer {
    let (who, handbooks) = ((caller.only_own_work(), caller.person()?), app.handbooks.clone());
    app.once(
        &caller,
        move |db| {
            let id = Id::new(db.now);
            ask_extra_work(db, &handbooks, who, (key.0, id), &body.0)
        },
        move |noted| Reply::created(noted, 1, format!("/v1/jobs/{}/extra-work", key.0)),
    )
    .await
}

/// Notes what the customer was asked for, under `id`.
pub fn ask_extra_work(
    db: &mut Db<'_>,
    handbooks: &Handbooks,
    (technician, by): Teller,
    (job, id): (Id, Id),
    fields: &ExtraWorkFields,
) -> Result<ExtraWork, ApiError> {
    let handbook = handbooks.of(db)?;
    roll_ups::keep(db, &handbook, &[job], |db| {
        let job = running(db, job, technician)?;
        let mut found = Checker::default();
        not_ahead(&mut found, "asked_at", fields.asked_at, db.now);
        found.finish()?;
        extra_work::insert(db, job.id, id, by, fields)?;
        let all = extra_work::of_jobs(db, &[job.id])?;
        all.into_iter().find(|one| one.id == id).ok_or(ApiError::NotFound)
    })
}

/// What the customer was asked for beyond the booking, the oldest first.
#[utoipa::path(
    tag = "jobs",
    params(("id" = Id, Path)),
    responses((status = 200, body = Page<ExtraWork>, description = "All of it"))
)]
#[get("/v1/jobs/{id}/extra-work")]
pub async fn list_extra_work(app: Shared, caller: Caller, key: Key) -> Answer {
    let technician = caller.only_own_work();
    let items = app
        .read(&caller, move |db| {
            visible(db, key.0, technician)?;
            Ok(extra_work::of_jobs(db, &[key.0])?)
        })
        .await?;
    listed(&Page::whole(items))
}
