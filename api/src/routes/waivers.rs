//! What the customer of a job agreed to in writing.

use super::{Answer, Shared, jobs::running, jobs::visible, listed, steps::Teller};
use crate::auth::Caller;
use crate::db::Db;
use crate::db::kinds::Id;
use crate::db::vehicles;
use crate::db::waivers::{self, WaiverFields, WaiverRecord};
use crate::error::ApiError;
use crate::extract::{Body, Key};
use crate::handbooks::Handbooks;
use crate::page::Page;
use crate::plan_input::zone_of;
use crate::reply::Reply;
use actix_web::{get, post};

/// Writes down what the customer agreed to, or takes back (`given` false), as the answer to a notice of the plan.
///
/// The newest of each rule stands. It counts from the next planning on, and stands in that plan and on its sheet.
/// Rinses, the wash, drying and what guards the next step are never left out.
#[utoipa::path(
    tag = "jobs",
    params(("id" = Id, Path)),
    request_body(content = WaiverFields, example = json!({ "rule": "R35", "zones": ["roof"], "by": "Hyppa" })),
    responses((status = 201, body = WaiverRecord, description = "Written down"))
)]
#[post("/v1/jobs/{id}/waivers")]
pub async fn create_waiver(app: Shared, caller: Caller, key: Key, body: Body<WaiverFields>) -> Answer {
    let (who, handbooks) = ((caller.only_own_work(), caller.person()?), app.handbooks.clone());
    app.once(
        &caller,
        move |db| {
            let id = Id::new(db.now);
            waive(db, &handbooks, who, (key.0, id), &body.0)
        },
        move |record| Reply::created(record, 1, format!("/v1/jobs/{}/waivers", key.0)),
    )
    .await
}

/// Writes down what the customer agreed to or takes back, under `id`.
pub fn waive(
    db: &mut Db<'_>,
    handbooks: &Handbooks,
    (technician, by): Teller,
    (job, id): (Id, Id),
    fields: &WaiverFields,
) -> Result<WaiverRecord, ApiError> {
    let job = running(db, job, technician)?;
    let vehicle = vehicles::find(db, job.fields.vehicle)?.ok_or(ApiError::NotFound)?;
    if fields.given {
        let at = db.now.local(zone_of(db, None)?);
        let fits = fields.waiver(at).check(&*handbooks.of(db)?, vehicle.fields.document.0.class);
        fits.map_err(|fault| ApiError::field(fault.pointer, "does_not_fit", fault.detail))?;
    }
    waivers::insert(db, job.id, id, by, fields)?;
    waivers::list(db, job.id)?.into_iter().find(|record| record.id == id).ok_or(ApiError::NotFound)
}

/// All that was agreed to and taken back, the oldest first.
#[utoipa::path(
    tag = "jobs",
    params(("id" = Id, Path)),
    responses((status = 200, body = Page<WaiverRecord>, description = "All of them"))
)]
#[get("/v1/jobs/{id}/waivers")]
pub async fn list_waivers(app: Shared, caller: Caller, key: Key) -> Answer {
    let technician = caller.only_own_work();
    let items = app
        .read(&caller, move |db| {
            visible(db, key.0, technician)?;
            Ok(waivers::list(db, key.0)?)
        })
        .await?;
    listed(&Page::whole(items))
}
