//! Reminders of customers: what was sent, what will be, and what was held back and why.

use super::{Answer, Shared, listed};
use crate::auth::Caller;
use crate::check::{Check, Checker};
use crate::db::kinds::Id;
use crate::db::reminders::{self, Reminder, ReminderFilter, ReminderStatus};
use crate::extract::Query;
use crate::page::{self, Page};
use actix_web::get;
use domain::reminder::ReminderKind;
use serde::Deserialize;
use utoipa::IntoParams;

/// Which reminders, and which page of them.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
pub struct ReminderQuery {
    /// `next_cursor` of the page before.
    #[param(max_length = 400)]
    pub cursor: Option<String>,
    /// Entries per page.
    #[param(minimum = 1, maximum = 200, default = 50)]
    pub limit: Option<i64>,
    pub status: Option<ReminderStatus>,
    pub kind: Option<ReminderKind>,
    pub customer: Option<Id>,
}

impl Check for ReminderQuery {
    fn check(&self, found: &mut Checker) {
        found.range_if_given("limit", self.limit, 1, page::MAX_LIMIT);
    }
}

/// Reminders, the newest first. Each that was held back says why.
#[utoipa::path(tag = "reminders", params(ReminderQuery), responses((status = 200, body = Page<Reminder>, description = "A page")))]
#[get("/v1/reminders")]
pub async fn list_reminders(app: Shared, caller: Caller, query: Query<ReminderQuery>) -> Answer {
    let Query(query) = query;
    let filter = ReminderFilter { status: query.status, kind: query.kind, customer: query.customer };
    let list = format!("{} reminders {}", caller.shop, serde_json::to_string(&filter)?);
    let before = page::unseal::<Id>(&app.keys, &list, query.cursor.as_deref())?;
    let limit = query.limit.unwrap_or(page::DEFAULT_LIMIT);
    let rows = app.read(&caller, move |db| Ok(reminders::list(db, &filter, before, limit + 1)?)).await?;
    listed(&Page::cut(rows, limit, &app.keys, &list, |row| row.id)?)
}
