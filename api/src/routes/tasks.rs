//! Background work, for the owner to look at and to repeat.

use super::{Answer, Shared, listed};
use crate::auth::Caller;
use crate::check::{Check, Checker};
use crate::db::kinds::Id;
use crate::db::outbox::{self, Row, TaskFilter, TaskStatus};
use crate::error::ApiError;
use crate::extract::{IfMatch, Key, Query};
use crate::page::{self, Page};
use crate::reply::Reply;
use crate::tasks::Task;
use actix_web::{get, post};
use serde::Deserialize;
use utoipa::IntoParams;

/// Which tasks, and which page of them.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
pub struct TaskQuery {
    /// `next_cursor` of the page before.
    #[param(max_length = 400)]
    pub cursor: Option<String>,
    /// Entries per page.
    #[param(minimum = 1, maximum = 200, default = 50)]
    pub limit: Option<i64>,
    pub status: Option<TaskStatus>,
    /// `find_reminders`, `forecast_upkeep`, `send_reminder`, `announce_upkeep`, `deliver_webhook`, `refresh_weather`,
    /// `refresh_ways`, `back_up`, `plan_rounds`, `purge_tokens`, `purge_tasks`, `purge_replies`, `purge_sync`.
    #[param(max_length = 40)]
    pub kind: Option<String>,
}

impl Check for TaskQuery {
    fn check(&self, found: &mut Checker) {
        found.range_if_given("limit", self.limit, 1, page::MAX_LIMIT);
        found.line_if_given("kind", self.kind.as_deref(), 40);
    }
}

/// Tasks, the newest first: state, attempts, last error.
#[utoipa::path(tag = "tasks", params(TaskQuery), responses((status = 200, body = Page<Row>, description = "A page")))]
#[get("/v1/tasks")]
pub async fn list_tasks(app: Shared, caller: Caller, query: Query<TaskQuery>) -> Answer {
    let Query(query) = query;
    let filter = TaskFilter { status: query.status, kind: query.kind };
    let list = format!("{} tasks {}", caller.shop, serde_json::to_string(&filter)?);
    let before = page::unseal::<Id>(&app.keys, &list, query.cursor.as_deref())?;
    let limit = query.limit.unwrap_or(page::DEFAULT_LIMIT);
    let rows = app.read(&caller, move |db| Ok(outbox::list(db, &filter, before, limit + 1)?)).await?;
    listed(&Page::cut(rows, limit, &app.keys, &list, |row| row.id)?)
}

/// Lets a task that was given up, or whose end is not known, begin anew. A mail of which nobody knows whether it
/// arrived is sent again by this.
#[utoipa::path(tag = "tasks", params(("id" = Id, Path)), responses((status = 200, body = Row, description = "It waits to be done")))]
#[post("/v1/tasks/{id}/replay")]
pub async fn replay_task(app: Shared, caller: Caller, key: Key, seen: IfMatch) -> Answer {
    app.once(
        &caller,
        move |db| {
            let before = outbox::find(db, key.0)?.ok_or(ApiError::NotFound)?;
            seen.allows(before.fence)?;
            if !outbox::replay(db, key.0)? {
                let text = "only a task that is dead or uncertain can be replayed";
                return Err(ApiError::conflict("task_not_ended", text));
            }
            if let Ok(task) = serde_json::from_value::<Task>(before.payload.0) {
                task.replayed(db)?;
            }
            outbox::find(db, key.0)?.ok_or(ApiError::NotFound)
        },
        move |row| Reply::ok(row, row.fence),
    )
    .await
}
