//! The shop's trade tables, and what it changed in them.

use super::{Answer, Shared, ok};
use crate::auth::Caller;
use crate::db::handbooks::{self, Overrides};
use crate::db::kinds::{Id, Instant};
use crate::db::{Db, is_taken};
use crate::error::{ApiError, FieldError};
use crate::extract::{Body, IfMatch};
use crate::tasks;
use actix_web::{get, put};
use domain::handbook::{Fault, Handbook};
use serde::Serialize;
use serde_json::Value;
use utoipa::ToSchema;

/// The tables the shop works by: the standard ones with the shop's own cells.
///
/// Every number is a starting value of common practice: the label and safety data sheet of a product, local codes and
/// licensed practice rank above it. The ETag names the content; with `If-None-Match` an unchanged handbook is 304.
#[utoipa::path(tag = "handbook", responses(
    (status = 200, body = Handbook, description = "The handbook"),
    (status = 304, description = "The one you have")
))]
#[get("/v1/handbook")]
pub async fn get_handbook(app: Shared, caller: Caller) -> Answer {
    let handbooks = app.handbooks.clone();
    let handbook = app.read(&caller, move |db| handbooks.of(db)).await?;
    ok(&*handbook, &handbook.version)
}

/// What the shop changed in the standard tables.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct HandbookChange {
    /// 1, 2, ...; 0 while nothing was changed.
    pub version: i32,
    /// Name of the handbook that comes of it, as plans carry it; null when cells no longer fit the standard tables and
    /// the overrides must be set anew.
    #[schema(example = "standard-cbf15a9b-a343e14a")]
    pub handbook: Option<String>,
    pub by_person: Option<Id>,
    pub created_at: Option<Instant>,
    pub overrides: Overrides,
}

/// The shop's changes in force.
#[utoipa::path(tag = "handbook", responses((status = 200, body = HandbookChange, description = "The changes")))]
#[get("/v1/handbook/overrides")]
pub async fn get_overrides(app: Shared, caller: Caller) -> Answer {
    let handbooks = app.handbooks.clone();
    let change = app
        .read(&caller, move |db| {
            let name = match handbooks.of(db) {
                Ok(handbook) => Some(handbook.version.clone()),
                Err(ApiError::Conflict { .. }) => None,
                Err(error) => return Err(error),
            };
            change(db, name)
        })
        .await?;
    ok(&change, change.version)
}

/// Sets the shop's changes, all of them; what is not named is as in the standard tables again.
///
/// Only cells can be changed: tables, rows, columns and ids are fixed. The whole is checked, and every cell that does
/// not fit is named.
#[utoipa::path(
    tag = "handbook",
    request_body(content = Overrides, example = json!({
        "steps": { "D03": { "dwell_max_s": 240 } },
        "rules": { "R09": { "parameters": { "wind_m_s": 4.0 } } }
    })),
    responses((status = 200, body = HandbookChange, description = "In force"))
)]
#[put("/v1/handbook/overrides")]
pub async fn set_overrides(app: Shared, caller: Caller, seen: IfMatch, body: Body<Overrides>) -> Answer {
    let person = caller.person()?;
    let overrides = body.0.clone();
    let name = app.planning(move || {
        let handbook = Handbook::standard().with_overrides(&Value::Object(overrides.0)).map_err(misfits)?;
        Ok(Some(handbook.version))
    });
    let name = name.await?;
    let change = app
        .write(&caller, move |db| {
            let before = change(db, name.clone())?;
            seen.allows(before.version)?;
            if before.overrides != body.0 {
                handbooks::insert(db, before.version + 1, person, &body.0).map_err(outrun)?;
                tasks::forecast_anew(db)?;
            }
            change(db, name)
        })
        .await?;
    ok(&change, change.version)
}

fn change(db: &mut Db<'_>, handbook: Option<String>) -> Result<HandbookChange, ApiError> {
    let stored = match handbooks::newest_version(db)? {
        Some(version) => handbooks::find(db, version)?,
        None => None,
    };
    Ok(match stored {
        Some(stored) => HandbookChange {
            version: stored.version,
            handbook,
            by_person: Some(stored.by_person),
            created_at: Some(stored.created_at),
            overrides: stored.document.0,
        },
        None => HandbookChange {
            version: 0,
            handbook,
            by_person: None,
            created_at: None,
            overrides: Overrides::default(),
        },
    })
}

fn misfits(faults: Vec<Fault>) -> ApiError {
    ApiError::Invalid(
        faults.into_iter().map(|f| FieldError::new(f.pointer, "does_not_fit", f.text)).collect(),
    )
}

/// Somebody else stored the same version number first.
fn outrun(error: diesel::result::Error) -> ApiError {
    if is_taken(&error) { ApiError::Stale } else { error.into() }
}
