//! Searches for rounds: asked for, followed, cancelled, read, published.

use super::{Answer, Shared, listed, ok, unless_stale};
use crate::app::App;
use crate::auth::Caller;
use crate::check::{Check, Checker};
use crate::db::jobs;
use crate::db::kinds::Id;
use crate::db::round_asks::RoundsAsk;
use crate::db::round_plans::{self, Outcome, RoundPlan, RoundPlanStatus};
use crate::db::{Db, people, vans, vehicles};
use crate::dispatch::happened;
use crate::dispatch::publish::{Published, publish};
use crate::dispatch::spoken::spoken;
use crate::error::ApiError;
use crate::extract::{Body, IfMatch, Key, Optional, Query};
use crate::page::{self, Page};
use crate::reply::Reply;
use crate::tasks::{Task, enqueue};
use crate::throughput::roll_ups;
use actix_web::web::Bytes;
use actix_web::{HttpResponse, get, post};
use domain::dispatch::Conflict;
use domain::dispatch::planning::{CostSplit, PlannedRound, Unserved, VisitChange};
use futures_util::stream;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;
use utoipa::{IntoParams, ToSchema};

/// Searches of a shop that wait or run, at most.
const MOST_OPEN: i64 = 10;
/// How often a follower is told what is new.
const TOLD_EVERY: Duration = Duration::from_millis(300);

/// Which searches, and which page of them.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
pub struct RoundPlanQuery {
    /// `next_cursor` of the page before.
    #[param(max_length = 400)]
    pub cursor: Option<String>,
    /// Entries per page.
    #[param(minimum = 1, maximum = 200, default = 50)]
    pub limit: Option<i64>,
    pub status: Option<RoundPlanStatus>,
}

impl Check for RoundPlanQuery {
    fn check(&self, found: &mut Checker) {
        found.range_if_given("limit", self.limit, 1, page::MAX_LIMIT);
    }
}

/// A search, with its rounds once it is done; all times are local ones of the shop.
#[derive(Debug, Serialize, ToSchema)]
pub struct RoundPlanView {
    #[serde(flatten)]
    pub plan: RoundPlan,
    pub found: Option<FoundRounds>,
}

/// Rounds that were found.
#[derive(Debug, Serialize, ToSchema)]
pub struct FoundRounds {
    /// In the order of days and vans.
    pub rounds: Vec<PlannedRound>,
    /// Who is not served, and why.
    pub unserved: Vec<Unserved>,
    /// Points by name.
    pub cost: CostSplit,
    /// Against the visits as they were assigned, the smallest change first.
    pub changes: Vec<VisitChange>,
    /// What still speaks against the rounds.
    pub conflicts: Vec<Conflict>,
    /// What of the input could not be used, what was left out or taken more roughly.
    pub notes: Vec<String>,
    /// What people call the jobs, vehicles, vans and people in it, by id.
    pub names: BTreeMap<String, String>,
}

/// Visits that stay exactly where they are, whatever happens later.
#[derive(Debug, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PublishRequest {
    #[serde(default)]
    #[schema(max_items = 500)]
    pub frozen: Vec<Id>,
}

impl Check for PublishRequest {
    fn check(&self, found: &mut Checker) {
        found.at_most("frozen", &self.frozen, 500);
    }
}

/// What publishing has done.
#[derive(Debug, Serialize, ToSchema)]
pub struct PublishedRounds {
    #[serde(flatten)]
    pub plan: RoundPlan,
    /// Jobs that go with another van, crew or start than before.
    pub assigned: usize,
    /// Jobs that had a place and are not served any more.
    pub unassigned: usize,
}

/// Has rounds searched for a day or some days, or searched anew after something has happened. The search runs beside the
/// requests; follow it at the address in `Location`.
///
/// What is assigned keeps its place unless another is worth the change; visits that have begun stay. Nothing is changed
/// until the rounds are published.
#[utoipa::path(
    tag = "rounds",
    request_body(content = RoundsAsk, example = json!({
        "from_on": "2026-05-04", "days": 1, "seed": 1, "iterations": 500,
        "happened": [{ "kind": "rain", "from": "2026-05-04T14:00:00", "to": "2026-05-04T20:00:00" }]
    })),
    responses((status = 202, body = RoundPlan, description = "It waits for its turn"))
)]
#[post("/v1/round-plans")]
pub async fn ask_rounds(app: Shared, caller: Caller, body: Body<RoundsAsk>) -> Answer {
    let by = caller.person()?;
    let asked = app.once(
        &caller,
        move |db| {
            happened::known(db, &body.0.happened)?;
            if round_plans::open_count(db)? >= MOST_OPEN {
                return Err(ApiError::conflict(
                    "searches_waiting",
                    format!("{MOST_OPEN} searches wait or run already"),
                ));
            }
            let id = Id::new(db.now);
            round_plans::insert(db, id, by, &body.0)?;
            let task = Task::PlanRounds { plan: id };
            enqueue(db, task, &format!("{}:{id}", task.kind()), db.now)?;
            round_plans::find(db, id)?.ok_or(ApiError::NotFound)
        },
        |plan| Reply::begun(plan, plan.rev, format!("/v1/round-plans/{}", plan.id)),
    );
    let answer = asked.await;
    app.wake_searches.notify_one();
    answer
}

/// Searches, the newest first, without what they found.
#[utoipa::path(tag = "rounds", params(RoundPlanQuery), responses((status = 200, body = Page<RoundPlan>, description = "A page")))]
#[get("/v1/round-plans")]
pub async fn list_round_plans(app: Shared, caller: Caller, query: Query<RoundPlanQuery>) -> Answer {
    let status = query.0.status;
    let list = format!("{} round-plans {status:?}", caller.shop);
    let before = page::unseal::<Id>(&app.keys, &list, query.0.cursor.as_deref())?;
    let limit = query.0.limit.unwrap_or(page::DEFAULT_LIMIT);
    let rows = app.read(&caller, move |db| Ok(round_plans::list(db, status, before, limit + 1)?)).await?;
    listed(&Page::cut(rows, limit, &app.keys, &list, |row| row.id)?)
}

/// One search, with its rounds once it is done: unserved visits each with the reasons, the cost by name, what changes
/// against the visits as they were assigned and why. `GET /v1/rounds?plan=…` shows a day of it as map, calendar or picture.
#[utoipa::path(tag = "rounds", params(("id" = Id, Path)), responses((status = 200, body = RoundPlanView, description = "The search")))]
#[get("/v1/round-plans/{id}")]
pub async fn get_round_plan(app: Shared, caller: Caller, key: Key) -> Answer {
    let view = app.read(&caller, move |db| {
        let plan = round_plans::find(db, key.0)?.ok_or(ApiError::NotFound)?;
        let outcome = round_plans::outcome(db, key.0)?;
        let found = outcome.map(|outcome| found(db, outcome)).transpose()?;
        Ok(RoundPlanView { plan, found })
    });
    let view = view.await?;
    // While it runs, how far it is changes without a new revision.
    match view.plan.status.0.is_over() {
        true => ok(&view, view.plan.rev),
        false => Ok(HttpResponse::Ok().json(view)),
    }
}

/// How a search goes on, as server-sent events: `progress` while it runs, `end` with the search when it is over; then the
/// stream ends.
#[utoipa::path(
    tag = "rounds",
    params(("id" = Id, Path)),
    responses((status = 200, description = "The events", content((String = "text/event-stream"))))
)]
#[get("/v1/round-plans/{id}/events")]
pub async fn follow_round_plan(app: Shared, caller: Caller, key: Key) -> Answer {
    let first = look(&app, &caller, key.0).await?;
    let follower = Follower { app, caller, id: key.0, next: Some(first), told: String::new() };
    let events = stream::unfold(follower, |follower| follower.event());
    Ok(HttpResponse::Ok()
        .content_type("text/event-stream")
        .insert_header(("cache-control", "no-store"))
        .streaming(events))
}

async fn look(app: &App, caller: &Caller, id: Id) -> Result<RoundPlan, ApiError> {
    app.read(caller, move |db| round_plans::find(db, id)?.ok_or(ApiError::NotFound)).await
}

/// Who follows a search.
struct Follower {
    app: Shared,
    caller: Caller,
    id: Id,
    /// What was looked at and not told yet; none after the end.
    next: Option<RoundPlan>,
    told: String,
}

impl Follower {
    /// Waits for the next thing to tell. Whoever may not look any more is told nothing more.
    async fn event(mut self) -> Option<(Result<Bytes, ApiError>, Follower)> {
        let mut plan = self.next.take()?;
        loop {
            let over = plan.status.0.is_over();
            let data = match over {
                true => serde_json::to_string(&plan),
                false => serde_json::to_string(&(plan.status, plan.progress.clone())),
            };
            let data = data.ok()?;
            if data != self.told {
                let text = match over {
                    true => format!("event: end\ndata: {data}\n\n"),
                    false => {
                        let told = serde_json::json!({ "status": plan.status, "progress": plan.progress });
                        format!("event: progress\ndata: {told}\n\n")
                    }
                };
                self.told = data;
                self.next = (!over).then_some(plan);
                return Some((Ok(Bytes::from(text)), self));
            }
            tokio::time::sleep(TOLD_EVERY).await;
            plan = look(&self.app, &self.caller, self.id).await.ok()?;
        }
    }
}

/// Ends a search that is not over; it leaves no rounds.
#[utoipa::path(tag = "rounds", params(("id" = Id, Path)), responses((status = 200, body = RoundPlan, description = "Cancelled")))]
#[post("/v1/round-plans/{id}/cancel")]
pub async fn cancel_round_plan(app: Shared, caller: Caller, key: Key, seen: IfMatch) -> Answer {
    app.once(
        &caller,
        move |db| {
            let before = round_plans::find(db, key.0)?.ok_or(ApiError::NotFound)?;
            seen.allows(before.rev)?;
            if !round_plans::end(db, &before, RoundPlanStatus::Cancelled, None)? {
                return Err(ApiError::conflict("search_over", "it is over already"));
            }
            round_plans::find(db, key.0)?.ok_or(ApiError::NotFound)
        },
        |plan| Reply::ok(plan, plan.rev),
    )
    .await
}

/// Puts the rounds in force: each job gets its van, people and start, and its customer's narrower window becomes a promise
/// that later searches keep; one that was made before stays as long as the visit lies in it. Refused where a job was
/// changed, or a place in these days was given away, since the rounds were searched.
#[utoipa::path(
    tag = "rounds",
    params(("id" = Id, Path)),
    request_body(content = Option<PublishRequest>, example = json!({ "frozen": [] })),
    responses((status = 200, body = PublishedRounds, description = "In force"))
)]
#[post("/v1/round-plans/{id}/publish")]
pub async fn publish_rounds(
    app: Shared,
    caller: Caller,
    key: Key,
    seen: IfMatch,
    body: Optional<PublishRequest>,
) -> Answer {
    let handbooks = app.handbooks.clone();
    app.once(
        &caller,
        move |db| {
            let before = round_plans::find(db, key.0)?.ok_or(ApiError::NotFound)?;
            seen.allows(before.rev)?;
            let outcome = publishable(db, &before)?;
            let frozen = known(&outcome, &body.0.frozen)?;
            let touched: Vec<Id> = outcome.jobs.iter().map(|(job, _)| *job).collect();
            let handbook = handbooks.of(db)?;
            let Published { assigned, unassigned } =
                roll_ups::keep(db, &handbook, &touched, |db| publish(db, &before, &outcome, &frozen))?;
            unless_stale(round_plans::publish(db, key.0, before.rev)?)?;
            let plan = round_plans::find(db, key.0)?.ok_or(ApiError::NotFound)?;
            Ok(PublishedRounds { plan, assigned, unassigned })
        },
        |done| Reply::ok(done, done.plan.rev),
    )
    .await
}

fn publishable(db: &mut Db<'_>, plan: &RoundPlan) -> Result<Outcome, ApiError> {
    let refused = match plan.status.0 {
        RoundPlanStatus::Done if plan.published_at.is_none() => None,
        RoundPlanStatus::Done => Some(("rounds_published", "these rounds were published already")),
        _ => Some(("search_not_done", "it has no rounds")),
    };
    match refused {
        Some((code, why)) => Err(ApiError::conflict(code, why)),
        None => round_plans::outcome(db, plan.id)?.ok_or(ApiError::NotFound),
    }
}

/// The visits that stay are among those that were placed.
fn known(outcome: &Outcome, frozen: &[Id]) -> Result<BTreeSet<Id>, ApiError> {
    let placed: BTreeSet<&str> = outcome
        .plan
        .rounds
        .iter()
        .flat_map(|round| &round.stops)
        .filter_map(|stop| stop.job.as_deref())
        .collect();
    let mut found = Checker::default();
    for (i, _) in frozen.iter().enumerate().filter(|(_, id)| !placed.contains(id.as_str())) {
        found.refuse(format!("frozen/{i}"), "unknown", "there is no such job with a place in these rounds");
    }
    found.finish()?;
    Ok(frozen.iter().copied().collect())
}

/// What was found, in the names that people use.
fn found(db: &mut Db<'_>, outcome: Outcome) -> Result<FoundRounds, ApiError> {
    let ids: Vec<Id> = outcome.named().into_iter().collect();
    let Outcome { plan, mut changes, notes, .. } = outcome;
    let names = names(db, &ids)?;
    let name = |conflicts: &mut Vec<Conflict>| {
        conflicts.iter_mut().for_each(|conflict| conflict.text = spoken(&conflict.text, &names));
    };
    let (mut unserved, mut conflicts) = (plan.unserved, plan.conflicts);
    name(&mut conflicts);
    unserved.iter_mut().for_each(|one| name(&mut one.reasons));
    changes.iter_mut().for_each(|change| name(&mut change.because));
    let notes = plan.faults.iter().chain(&notes).map(|note| spoken(note, &names)).collect();
    Ok(FoundRounds { rounds: plan.rounds, unserved, cost: plan.cost, changes, conflicts, notes, names })
}

/// What people call the jobs and their vehicles, and all vans and people.
fn names(db: &mut Db<'_>, ids: &[Id]) -> Result<BTreeMap<String, String>, ApiError> {
    let rows = jobs::among(db, ids)?;
    let of: Vec<Id> = rows.iter().map(|job| job.fields.vehicle).collect();
    let labels: BTreeMap<Id, String> =
        vehicles::among(db, &of)?.into_iter().map(|vehicle| (vehicle.id, vehicle.fields.label)).collect();
    let mut names: BTreeMap<String, String> = rows
        .iter()
        .map(|job| {
            let label = labels.get(&job.fields.vehicle).map_or("", String::as_str);
            (job.id.to_string(), format!("{} for {label}", job.fields.package))
        })
        .collect();
    names.extend(labels.into_iter().map(|(vehicle, label)| (vehicle.to_string(), label)));
    names.extend(
        vans::list(db, None, crate::day::ALL)?.into_iter().map(|v| (v.id.to_string(), v.fields.name)),
    );
    let everybody = people::list(db, None, crate::day::ALL)?;
    names.extend(everybody.into_iter().map(|person| (person.id.to_string(), person.fields.name)));
    Ok(names)
}
