//! Near misses and van checks: what crews write down so that things go well and nothing runs out.

use super::{Answer, Shared, jobs::visible, listed, steps::not_ahead};
use crate::auth::Caller;
use crate::check::Checker;
use crate::db::kinds::Id;
use crate::db::near_misses::{self, NearMiss, NearMissFields};
use crate::db::van_checks::{self, VanCheck, VanCheckFields};
use crate::db::{jobs, vans};
use crate::error::ApiError;
use crate::extract::{Body, Key, Query};
use crate::page::{self, Page, PageQuery};
use crate::plan_input::zone_of;
use crate::reply::Reply;
use actix_web::{get, post};
use domain::handbook::Handbook;

/// Tells a near miss. Who told it is kept and shown to nobody.
#[utoipa::path(
    tag = "throughput",
    request_body(content = NearMissFields, example = json!({
        "kind": "chemical", "what": "Wheel acid stood beside the eye wash bottle; labels are alike.",
        "happened_on": "2026-05-04"
    })),
    responses((status = 201, body = NearMiss, description = "Noted"))
)]
#[post("/v1/near-misses")]
pub async fn create_near_miss(app: Shared, caller: Caller, body: Body<NearMissFields>) -> Answer {
    let (technician, by) = (caller.only_own_work(), caller.person()?);
    app.once(
        &caller,
        move |db| {
            let mut found = Checker::default();
            if let Some(job) = body.0.job
                && (jobs::find(db, job)?.is_none() || visible(db, job, technician).is_err())
            {
                found.refuse("job", "unknown", "there is no such job");
            }
            if body.0.happened_on > db.now.local(zone_of(db, None)?).date() {
                found.refuse("happened_on", "in_the_future", "is still to come");
            }
            found.finish()?;
            Ok(near_misses::insert(db, by, &body.0)?)
        },
        move |noted| Reply::created(noted, 1, "/v1/near-misses".into()),
    )
    .await
}

/// Near misses, the newest first.
#[utoipa::path(tag = "throughput", params(PageQuery), responses((status = 200, body = Page<NearMiss>, description = "A page")))]
#[get("/v1/near-misses")]
pub async fn list_near_misses(app: Shared, caller: Caller, query: Query<PageQuery>) -> Answer {
    let list = format!("{} near-misses", caller.shop);
    let before = page::unseal::<Id>(&app.keys, &list, query.0.cursor.as_deref())?;
    let limit = query.0.limit.unwrap_or(page::DEFAULT_LIMIT);
    let rows = app.read(&caller, move |db| Ok(near_misses::list(db, before, limit + 1)?)).await?;
    listed(&Page::cut(rows, limit, &app.keys, &list, |row| row.id)?)
}

/// Notes what was counted in a van: what is left, and what is gone since the last count.
#[utoipa::path(
    tag = "vans",
    params(("id" = Id, Path)),
    request_body(content = VanCheckFields, example = json!({
        "checked_at": "2026-05-04T06:30:00+02:00",
        "items": [{ "item": "clay_towel", "left": 3, "gone": 1 }, { "item": "iron_remover", "left": 4200, "gone": 1300 }]
    })),
    responses((status = 201, body = VanCheck, description = "Noted"))
)]
#[post("/v1/vans/{id}/checks")]
pub async fn create_van_check(app: Shared, caller: Caller, key: Key, body: Body<VanCheckFields>) -> Answer {
    let (by, handbooks) = (caller.person()?, app.handbooks.clone());
    app.once(
        &caller,
        move |db| {
            let van = vans::find(db, key.0)?.ok_or(ApiError::NotFound)?;
            let mut found = Checker::default();
            not_ahead(&mut found, "checked_at", body.0.checked_at, db.now);
            known_items(&mut found, &body.0, &*handbooks.of(db)?);
            found.finish()?;
            let on = body.0.checked_at.local(zone_of(db, None)?).date();
            Ok(van_checks::insert(db, van.id, by, on, &body.0)?)
        },
        move |noted| Reply::created(noted, 1, format!("/v1/vans/{}/checks", key.0)),
    )
    .await
}

/// The counts of a van, the newest first.
#[utoipa::path(
    tag = "vans",
    params(("id" = Id, Path), PageQuery),
    responses((status = 200, body = Page<VanCheck>, description = "A page"))
)]
#[get("/v1/vans/{id}/checks")]
pub async fn list_van_checks(app: Shared, caller: Caller, key: Key, query: Query<PageQuery>) -> Answer {
    let list = format!("{} van {} checks", caller.shop, key.0);
    let before = page::unseal::<Id>(&app.keys, &list, query.0.cursor.as_deref())?;
    let limit = query.0.limit.unwrap_or(page::DEFAULT_LIMIT);
    let rows = app
        .read(&caller, move |db| {
            vans::find(db, key.0)?.ok_or(ApiError::NotFound)?;
            Ok(van_checks::list(db, key.0, before, limit + 1)?)
        })
        .await?;
    listed(&Page::cut(rows, limit, &app.keys, &list, |row| row.id)?)
}

fn known_items(found: &mut Checker, fields: &VanCheckFields, handbook: &Handbook) {
    for (i, counted) in fields.items.iter().enumerate() {
        if handbook.equipment.get(&counted.item).is_none() && handbook.product(&counted.item).is_none() {
            let text = format!("the handbook has neither equipment nor a product class {:?}", counted.item);
            found.refuse(format!("items/{i}/item"), "unknown", text);
        }
    }
}
