//! Warnings of a plan that somebody took note of.

use super::jobs::running;
use super::{Answer, Shared, steps::Teller};
use crate::auth::Caller;
use crate::check::{Check, Checker};
use crate::db::Db;
use crate::db::acknowledgements::{self, Acknowledgement};
use crate::db::kinds::Id;
use crate::db::plans;
use crate::error::ApiError;
use crate::extract::{Body, Key};
use crate::reply::Reply;
use actix_web::post;
use domain::handbook::Severity;
use domain::plan::JobPlan;
use serde::Deserialize;
use utoipa::ToSchema;

/// The notice that is taken note of.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct AcknowledgementFields {
    /// Rule of a notice of severity `warn` or `block`.
    #[schema(max_length = 40, example = "R09")]
    pub rule: String,
    /// Version of the plan that was read.
    #[schema(minimum = 1)]
    pub version: i32,
}

impl Check for AcknowledgementFields {
    fn check(&self, found: &mut Checker) {
        found.line("rule", &self.rule, 40);
        found.range("version", self.version, 1, i32::MAX);
    }
}

/// Takes note of a warning of a plan, in the name of who calls and at this time.
///
/// It lifts nothing: what is blocked stays blocked. Doing it again changes nothing, and a new plan has to be read anew.
#[utoipa::path(
    tag = "plans",
    params(("id" = Id, Path)),
    request_body(content = AcknowledgementFields, example = json!({ "rule": "R09", "version": 1 })),
    responses((status = 200, body = Acknowledgement, description = "Stored, now or before"))
)]
#[post("/v1/jobs/{id}/plan/acknowledgements")]
pub async fn acknowledge(app: Shared, caller: Caller, key: Key, body: Body<AcknowledgementFields>) -> Answer {
    let (person, technician) = (caller.person()?, caller.only_own_work());
    app.once(&caller, move |db| take_note(db, (technician, person), key.0, &body.0), Reply::plain).await
}

/// Notes that a warning was read.
pub fn take_note(
    db: &mut Db<'_>,
    (technician, by): Teller,
    job: Id,
    AcknowledgementFields { rule, version }: &AcknowledgementFields,
) -> Result<Acknowledgement, ApiError> {
    let job = running(db, job, technician)?;
    let plan = plans::find(db, job.id, Some(*version))?;
    there_is_one(plan.as_ref().map(|plan| &plan.document.0), rule)?;
    let find = |all: Vec<Acknowledgement>| all.into_iter().find(|a| a.rule == *rule && a.person == by);
    if let Some(before) = find(acknowledgements::list(db, job.id, *version)?) {
        return Ok(before);
    }
    acknowledgements::insert(db, job.id, *version, rule, by)?;
    find(acknowledgements::list(db, job.id, *version)?).ok_or(ApiError::NotFound)
}

/// The plan exists, and the rule warns or blocks in it.
fn there_is_one(plan: Option<&JobPlan>, rule: &str) -> Result<(), ApiError> {
    let Some(plan) = plan else {
        return Err(ApiError::field("/version", "unknown", "the job has no such plan"));
    };
    let serious = |severity| severity >= Severity::Warn;
    if plan.notices.iter().any(|notice| notice.rule == rule && serious(notice.severity)) {
        return Ok(());
    }
    Err(ApiError::field("/rule", "unknown", format!("no warning or block of this plan comes from {rule:?}")))
}
