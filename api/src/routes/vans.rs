//! Vans and their kits.

use super::{Answer, Shared, created, free, id_taken, listed, ok, unless_stale};
use crate::auth::Caller;
use crate::check::Checker;
use crate::db::Db;
use crate::db::kinds::Id;
use crate::db::vans::{self, Van, VanFields};
use crate::error::ApiError;
use crate::extract::{Body, IfMatch, Key, NewKey, Patch, Query};
use crate::handbooks::Handbooks;
use crate::page::{self, Page, PageQuery};
use crate::reply::Reply;
use crate::stock::{self, StockLeft};
use actix_web::{get, patch, post, put};
use domain::handbook::Handbook;

/// All vans.
#[utoipa::path(tag = "vans", params(PageQuery), responses((status = 200, body = Page<Van>, description = "A page")))]
#[get("/v1/vans")]
pub async fn list_vans(app: Shared, caller: Caller, query: Query<PageQuery>) -> Answer {
    let list = format!("{} vans", caller.shop);
    let after = page::unseal::<Id>(&app.keys, &list, query.0.cursor.as_deref())?;
    let limit = query.0.limit.unwrap_or(page::DEFAULT_LIMIT);
    let rows = app.read(&caller, move |db| Ok(vans::list(db, after, limit + 1)?)).await?;
    listed(&Page::cut(rows, limit, &app.keys, &list, |van| van.id)?)
}

/// Adds a van.
#[utoipa::path(tag = "vans", request_body = VanFields, responses((status = 201, body = Van, description = "Added")))]
#[post("/v1/vans")]
pub async fn create_van(app: Shared, caller: Caller, body: Body<VanFields>) -> Answer {
    let handbooks = app.handbooks.clone();
    app.once(
        &caller,
        move |db| {
            let id = Id::new(db.now);
            add(db, &handbooks, id, &body.0)
        },
        move |van| Reply::created(van, van.rev, format!("/v1/vans/{}", van.id)),
    )
    .await
}

/// Adds a van under an id of the client's own, a UUIDv7.
#[utoipa::path(
    tag = "vans",
    params(("id" = Id, Path)),
    request_body = VanFields,
    responses((status = 201, body = Van, description = "Added"))
)]
#[put("/v1/vans/{id}")]
pub async fn create_van_under(app: Shared, caller: Caller, key: NewKey, body: Body<VanFields>) -> Answer {
    let handbooks = app.handbooks.clone();
    let van = app.write(&caller, move |db| {
        free(vans::find(db, key.0)?)?;
        add(db, &handbooks, key.0, &body.0)
    });
    let van = van.await?;
    created(&van, van.rev, format!("/v1/vans/{}", van.id))
}

/// One van.
#[utoipa::path(tag = "vans", params(("id" = Id, Path)), responses((status = 200, body = Van, description = "The van")))]
#[get("/v1/vans/{id}")]
pub async fn get_van(app: Shared, caller: Caller, key: Key) -> Answer {
    let van = app.read_briefly(&caller, move |db| vans::find(db, key.0)?.ok_or(ApiError::NotFound)).await?;
    ok(&van, van.rev)
}

/// Changes a van.
#[utoipa::path(
    tag = "vans",
    params(("id" = Id, Path)),
    request_body(content = VanFields, content_type = "application/merge-patch+json"),
    responses((status = 200, body = Van, description = "Changed"))
)]
#[patch("/v1/vans/{id}")]
pub async fn update_van(app: Shared, caller: Caller, key: Key, seen: IfMatch, patch: Patch) -> Answer {
    let handbooks = app.handbooks.clone();
    let van = app
        .write(&caller, move |db| {
            let before = vans::find(db, key.0)?.ok_or(ApiError::NotFound)?;
            seen.allows(before.rev)?;
            let fields = patch.apply(&before.fields)?;
            known_kit(&fields, &*handbooks.of(db)?)?;
            unless_stale(vans::update(db, key.0, before.rev, &fields)?)?;
            vans::find(db, key.0)?.ok_or(ApiError::NotFound)
        })
        .await?;
    ok(&van, van.rev)
}

/// What is left of products in a van: what was counted last, less what was recorded since.
///
/// A product that is not in one of the van's last 60 counts, of the last 91 days, is not listed. `left_ml` may be below zero: nothing that was
/// recorded is refused for it.
#[utoipa::path(
    tag = "vans",
    params(("id" = Id, Path)),
    responses((status = 200, body = Page<StockLeft>, description = "All of them, by product"))
)]
#[get("/v1/vans/{id}/stock")]
pub async fn list_stock(app: Shared, caller: Caller, key: Key) -> Answer {
    let handbooks = app.handbooks.clone();
    let left = app.read(&caller, move |db| {
        let van = vans::find(db, key.0)?.ok_or(ApiError::NotFound)?;
        let handbook = handbooks.of(db)?;
        stock::of_van(db, &handbook, van.id)
    });
    listed(&Page::whole(left.await?))
}

fn add(db: &mut Db<'_>, handbooks: &Handbooks, id: Id, fields: &VanFields) -> Result<Van, ApiError> {
    known_kit(fields, &*handbooks.of(db)?)?;
    vans::insert(db, id, fields).map_err(id_taken)?;
    vans::find(db, id)?.ok_or(ApiError::NotFound)
}

/// What the van carries is in the handbook.
fn known_kit(fields: &VanFields, handbook: &Handbook) -> Result<(), ApiError> {
    let mut found = Checker::default();
    let kit = &fields.kit.0;
    for (i, id) in kit.equipment.iter().enumerate().filter(|(_, id)| handbook.equipment.get(id).is_none()) {
        found.refuse(
            format!("kit/equipment/{i}"),
            "unknown",
            format!("the handbook has no equipment {id:?}"),
        );
    }
    for id in kit.stock_ml.keys().filter(|id| handbook.product(id).is_none()) {
        let text = format!("the handbook has no product class {id:?}");
        found.refuse(format!("kit/stock_ml/{id}"), "unknown", text);
    }
    found.finish()
}
