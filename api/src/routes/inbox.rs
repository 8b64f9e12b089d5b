//! What phones said and the server could not do, or did and the office should see: the office decides. Nothing of it is lost.

use super::sync::commands::PhoneClock;
use super::sync::perform::{Telling, perform};
use super::{Answer, Shared, listed, ok, unless_stale};
use crate::auth::Caller;
use crate::check::{Check, Checker};
use crate::db::kinds::Id;
use crate::db::mutations::{self, InboxState, Mutation, Reason};
use crate::db::{Db, jobs};
use crate::error::{ApiError, FieldError};
use crate::extract::{Body, IfMatch, Key, Optional, Query};
use crate::page::{self, Page};
use crate::reply::Reply;
use actix_web::{get, post};
use chrono::TimeDelta;
use domain::sync::Command;
use serde::Deserialize;
use serde_json::Value;
use utoipa::{IntoParams, ToSchema};

/// Which entries, and which page of them.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
pub struct InboxQuery {
    /// `next_cursor` of the page before.
    #[param(max_length = 400)]
    pub cursor: Option<String>,
    /// Entries per page.
    #[param(minimum = 1, maximum = 200, default = 50)]
    pub limit: Option<i64>,
    /// Absent: those that wait.
    pub state: Option<InboxState>,
}

impl Check for InboxQuery {
    fn check(&self, found: &mut Checker) {
        found.range_if_given("limit", self.limit, 1, page::MAX_LIMIT);
    }
}

/// Commands of phones that were parked or rejected, and those that have their effect but are `flagged`, the oldest first, each
/// with its reason and all that was sent.
#[utoipa::path(
    tag = "sync",
    params(InboxQuery),
    responses((status = 200, body = Page<Mutation>, description = "A page"))
)]
#[get("/v1/inbox")]
pub async fn list_inbox(app: Shared, caller: Caller, query: Query<InboxQuery>) -> Answer {
    let Query(InboxQuery { cursor, limit, state }) = query;
    let state = state.unwrap_or(InboxState::Open);
    let list = format!("{} inbox {state:?}", caller.shop);
    let after = page::unseal::<Id>(&app.keys, &list, cursor.as_deref())?;
    let limit = limit.unwrap_or(page::DEFAULT_LIMIT);
    let rows = app.read(&caller, move |db| Ok(mutations::inbox(db, state, after, limit + 1)?)).await?;
    listed(&Page::cut(rows, limit, &app.keys, &list, |one| one.id)?)
}

/// One command of a phone.
#[utoipa::path(
    tag = "sync",
    params(("id" = Id, Path)),
    responses((status = 200, body = Mutation, description = "The command"))
)]
#[get("/v1/inbox/{id}")]
pub async fn get_inbox_entry(app: Shared, caller: Caller, key: Key) -> Answer {
    let entry = app.read_briefly(&caller, move |db| entry(db, key.0)).await?;
    ok(&entry, entry.rev)
}

/// Where an accepted command belongs.
#[derive(Debug, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Acceptance {
    /// Another job than the phone named; of no use for what has its effect already.
    #[serde(default)]
    pub job: Option<Id>,
}

impl Check for Acceptance {
    fn check(&self, _: &mut Checker) {}
}

/// Has a parked or rejected command its effect after all, as if the office had said it in the name of who sent it. Where
/// something still forbids that, the answer says what (422 with places in the entry's `payload`, else 409), and the entry
/// stays. A wish (`request_change`) is accepted by having done what it asks for, and what is flagged by having seen it.
#[utoipa::path(
    tag = "sync",
    params(("id" = Id, Path)),
    request_body(content = Option<Acceptance>, example = json!({ "job": "01890000-0000-7000-8000-000000000000" })),
    responses((status = 200, body = Mutation, description = "It has its effect"))
)]
#[post("/v1/inbox/{id}/accept")]
pub async fn accept_inbox_entry(
    app: Shared,
    caller: Caller,
    key: Key,
    seen: IfMatch,
    body: Optional<Acceptance>,
) -> Answer {
    let (by, handbooks) = (caller.person()?, app.handbooks.clone());
    app.once(
        &caller,
        move |db| {
            let waiting = waiting(db, key.0, &seen)?;
            if let Some(job) = body.0.job
                && jobs::find(db, job)?.is_none()
            {
                return Err(ApiError::field("/job", "unknown", "there is no such job"));
            }
            let is_wish = waiting.command == Command::RequestChange.word();
            if waiting.outcome.0.waits() && !is_wish {
                let job = body.0.job.unwrap_or(waiting.job);
                let fate = perform(db, &handbooks, &telling(&waiting, job))?;
                if fate.outcome.waits() {
                    return Err(still_impossible(fate.reason));
                }
            }
            let done = (by, None);
            unless_stale(mutations::settle(db, key.0, waiting.rev, InboxState::Accepted, done)?)?;
            entry(db, key.0)
        },
        move |entry| Reply::ok(entry, entry.rev),
    )
    .await
}

/// Why a command has no effect even in the name of the office; what is wrong in it is told with its place in the entry.
fn still_impossible(reason: Option<Reason>) -> ApiError {
    let Some(Reason { detail, errors, .. }) = reason else {
        return ApiError::conflict("still_not_possible", "");
    };
    if errors.is_empty() {
        return ApiError::conflict("still_not_possible", detail);
    }
    let placed = |error: FieldError| {
        FieldError::new(format!("/payload/args{}", error.pointer), &error.code, error.detail)
    };
    ApiError::Invalid(errors.into_iter().map(placed).collect())
}

/// Why a command is not to have its effect.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Discarding {
    #[schema(min_length = 1, max_length = 500)]
    pub reason: String,
}

impl Check for Discarding {
    fn check(&self, found: &mut Checker) {
        found.line("reason", &self.reason, 500);
    }
}

/// Puts a parked or rejected command aside, with the reason. What was sent is kept; what is flagged keeps its effect, too.
#[utoipa::path(
    tag = "sync",
    params(("id" = Id, Path)),
    request_body(content = Discarding, example = json!({ "reason": "told on the phone: the wrong job" })),
    responses((status = 200, body = Mutation, description = "Put aside"))
)]
#[post("/v1/inbox/{id}/discard")]
pub async fn discard_inbox_entry(
    app: Shared,
    caller: Caller,
    key: Key,
    seen: IfMatch,
    body: Body<Discarding>,
) -> Answer {
    let by = caller.person()?;
    app.once(
        &caller,
        move |db| {
            let waiting = waiting(db, key.0, &seen)?;
            let why = (by, Some(body.0.reason.as_str()));
            unless_stale(mutations::settle(db, key.0, waiting.rev, InboxState::Discarded, why)?)?;
            entry(db, key.0)
        },
        move |entry| Reply::ok(entry, entry.rev),
    )
    .await
}

/// What is or was in the inbox.
fn entry(db: &mut Db<'_>, id: Id) -> Result<Mutation, ApiError> {
    mutations::find(db, id)?.filter(|one| one.inbox.is_some()).ok_or(ApiError::NotFound)
}

fn waiting(db: &mut Db<'_>, id: Id, seen: &IfMatch) -> Result<Mutation, ApiError> {
    let entry = entry(db, id)?;
    seen.allows(entry.rev)?;
    match entry.inbox.map(|inbox| inbox.0) {
        Some(InboxState::Open) => Ok(entry),
        _ => Err(ApiError::conflict("settled", "somebody has decided on this before")),
    }
}

/// The command as it was sent; nothing holds it to its sender's own work.
fn telling(waiting: &Mutation, job: Id) -> Telling {
    let kept = waiting.payload.as_ref().map(|payload| payload.0.clone()).unwrap_or(Value::Null);
    let number = |name: &str| kept[name].as_i64();
    Telling {
        id: waiting.id,
        device: waiting.device,
        person: waiting.person,
        technician: None,
        job,
        command: waiting.command.clone(),
        version: waiting.version,
        base_rev: number("base_rev").and_then(|rev| i32::try_from(rev).ok()),
        depends_on: Vec::new(),
        args: kept["args"].clone(),
        clock: PhoneClock {
            ahead: TimeDelta::try_milliseconds(number("ahead_ms").unwrap_or(0)).unwrap_or_default(),
            received_at: waiting.received_at,
        },
    }
}
