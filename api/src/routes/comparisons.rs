//! What another version of the handbook would make of a job.

use super::jobs::visible;
use super::plans::contradiction;
use super::{Answer, Shared};
use crate::auth::Caller;
use crate::check::{Check, Checker};
use crate::db::kinds::Id;
use crate::db::plans;
use crate::error::ApiError;
use crate::extract::{Body, Key};
use crate::norms;
use crate::plan_input::gather;
use actix_web::{HttpResponse, post};
use domain::plan::{ExtraWork, PlanDifference, compare};
use serde::Deserialize;
use utoipa::ToSchema;

/// With what to compare.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CompareRequest {
    /// `standard`, or a version of the shop's overrides.
    pub handbook: OtherHandbook,
}

/// A handbook the shop could work by.
#[derive(Debug, Clone, Copy, Deserialize, ToSchema)]
#[serde(untagged)]
pub enum OtherHandbook {
    Named(NamedHandbook),
    /// Version of the shop's overrides, 1 or more.
    Version(i32),
}

/// A handbook without a version of the shop.
#[derive(Debug, Clone, Copy, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum NamedHandbook {
    /// The standard tables, with nothing changed.
    Standard,
}

impl Check for CompareRequest {
    fn check(&self, found: &mut Checker) {
        if let OtherHandbook::Version(version) = self.handbook {
            found.range("handbook", version, 1, i32::MAX);
        }
    }
}

/// Plans a planned job anew by the handbook in force (before) and by another one (after), and stores neither.
///
/// Both are made from what is known now, of the whole job, so that only the handbook makes a difference.
#[utoipa::path(
    tag = "plans",
    params(("id" = Id, Path)),
    request_body(content = CompareRequest, example = json!({ "handbook": "standard" })),
    responses((status = 200, body = PlanDifference, description = "What would be otherwise"))
)]
#[post("/v1/jobs/{id}/plan/compare")]
pub async fn compare_plan(app: Shared, caller: Caller, key: Key, body: Body<CompareRequest>) -> Answer {
    let handbooks = app.handbooks.clone();
    let load = app.read(&caller, move |db| {
        let job = visible(db, key.0, None)?;
        plans::find(db, job.id, None)?.ok_or(ApiError::NotFound)?;
        let norms = norms::learned(db)?;
        let (mut facts, start) = gather(db, &job, ExtraWork::default(), &norms)?;
        facts.done.clear();
        let other = match body.0.handbook {
            OtherHandbook::Named(NamedHandbook::Standard) => handbooks.standard(),
            OtherHandbook::Version(version) => handbooks.version(db, version)?.ok_or_else(unknown)?,
        };
        Ok((facts, start, handbooks.of(db)?, other))
    });
    let (facts, start, now, other) = load.await?;
    let difference = app
        .planning(move || {
            let before = facts.plan(&now, &start).map_err(contradiction)?;
            let after = facts.plan(&other, &start).map_err(contradiction)?;
            Ok(compare(&before, &after))
        })
        .await?;
    Ok(HttpResponse::Ok().json(difference))
}

fn unknown() -> ApiError {
    ApiError::field("/handbook", "unknown", "the shop has no such version")
}
