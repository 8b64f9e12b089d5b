//! What another version of the handbook would make of a plan's own facts.

use super::jobs::visible;
use super::plans::contradiction;
use super::{Answer, Shared};
use crate::app::App;
use crate::auth::Caller;
use crate::check::{Check, Checker};
use crate::db::jobs::Job;
use crate::db::kinds::Id;
use crate::db::{Db, plans};
use crate::error::ApiError;
use crate::extract::{Body, Key};
use crate::handbooks::Handbooks;
use crate::kept_facts::KeptFacts;
use crate::norms;
use crate::plan_input::gather;
use actix_web::{HttpResponse, post};
use domain::handbook::Handbook;
use domain::plan::{ExtraWork, JobPlan, PlanDifference, compare};
use serde::{Deserialize, Serialize};
use std::sync::Arc;
use utoipa::ToSchema;

/// With what to compare.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CompareRequest {
    /// `standard`, `in_force`, or a version of the shop's overrides.
    pub handbook: OtherHandbook,
    /// Version of the job's plan; absent: the newest.
    #[serde(default)]
    #[schema(minimum = 1)]
    pub version: Option<i32>,
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
    /// The one the shop works by now.
    InForce,
}

/// A plan made anew from its own facts by its own handbook (before) and by another one (after).
#[derive(Debug, Serialize, ToSchema)]
pub struct PlanComparison {
    /// Version of the plan whose facts were taken.
    pub version: i32,
    /// True when its own facts and handbook still give the stored plan.
    pub as_stored: bool,
    /// JSON pointers of the facts that are otherwise by now, for instance `/site/drain`; absent when the job cannot be
    /// planned as it stands.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub facts_changed: Option<Vec<String>>,
    #[serde(flatten)]
    pub difference: PlanDifference,
}

impl Check for CompareRequest {
    fn check(&self, found: &mut Checker) {
        if let OtherHandbook::Version(version) = self.handbook {
            found.range("handbook", version, 1, i32::MAX);
        }
        found.range_if_given("version", self.version, 1, i32::MAX);
    }
}

/// What is read for a comparison.
struct Sides {
    version: i32,
    stored: JobPlan,
    kept: KeptFacts,
    own: Arc<Handbook>,
    other: Arc<Handbook>,
    facts_changed: Option<Vec<String>>,
}

/// Makes a plan anew from the facts that were kept with it, by its own handbook and by another one, and stores neither.
///
/// Both sides rest on the same facts, so that only the handbook makes a difference; what has become otherwise since is
/// named beside it. A plan made before facts were kept has to be made anew first.
#[utoipa::path(
    tag = "plans",
    params(("id" = Id, Path)),
    request_body(content = CompareRequest, example = json!({ "handbook": "standard" })),
    responses((status = 200, body = PlanComparison, description = "What would be otherwise"))
)]
#[post("/v1/jobs/{id}/plan/compare")]
pub async fn compare_plan(app: Shared, caller: Caller, key: Key, body: Body<CompareRequest>) -> Answer {
    let handbooks = app.handbooks.clone();
    let sides = app.read(&caller, move |db| sides(db, &handbooks, key.0, &body.0)).await?;
    let comparison = set_against(&app, sides).await?;
    Ok(HttpResponse::Ok().json(comparison))
}

fn sides(db: &mut Db<'_>, handbooks: &Handbooks, job: Id, asked: &CompareRequest) -> Result<Sides, ApiError> {
    let job = visible(db, job, None)?;
    let stored = plans::find(db, job.id, asked.version)?.ok_or(ApiError::NotFound)?;
    let kept = plans::facts(db, job.id, stored.version)?.ok_or(ApiError::Conflict {
        code: "facts_not_kept",
        detail: "this plan was made before facts were kept: plan the job anew".into(),
    })?;
    let other = match asked.handbook {
        OtherHandbook::Named(NamedHandbook::Standard) => handbooks.standard(),
        OtherHandbook::Named(NamedHandbook::InForce) => handbooks.of(db)?,
        OtherHandbook::Version(version) => handbooks.version(db, version)?.ok_or_else(unknown)?,
    };
    Ok(Sides {
        version: stored.version,
        stored: stored.document.0,
        own: kept.handbook(db, handbooks)?,
        other,
        facts_changed: changed_since(db, &job, &kept)?,
        kept,
    })
}

/// What is otherwise by now; none when the job has lost its van or its crew.
fn changed_since(db: &mut Db<'_>, job: &Job, kept: &KeptFacts) -> Result<Option<Vec<String>>, ApiError> {
    let norms = norms::learned(db)?;
    match gather(db, job, ExtraWork::default(), &norms) {
        Ok((facts, start)) => Ok(Some(kept.changed_since(&KeptFacts::now(db, &facts, start)?)?)),
        Err(ApiError::Conflict { .. }) => Ok(None),
        Err(other) => Err(other),
    }
}

async fn set_against(app: &App, sides: Sides) -> Result<PlanComparison, ApiError> {
    app.planning(move || {
        let before = sides.kept.plan(&sides.own).map_err(contradiction)?;
        let after = sides.kept.plan(&sides.other).map_err(contradiction)?;
        Ok(PlanComparison {
            version: sides.version,
            as_stored: compare(&sides.stored, &before).is_none(),
            facts_changed: sides.facts_changed,
            difference: compare(&before, &after),
        })
    })
    .await
}

fn unknown() -> ApiError {
    ApiError::field("/handbook", "unknown", "the shop has no such version")
}
