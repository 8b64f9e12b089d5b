//! The audit log, for the owner.

use super::{Answer, Shared, listed};
use crate::auth::Caller;
use crate::db::audit::{self, AuditEntry, AuditState};
use crate::extract::Query;
use crate::page::{self, Page, PageQuery};
use actix_web::{HttpResponse, get};

/// Who changed what and when, the newest first. An entry is stored with the change, and is never changed itself.
#[utoipa::path(tag = "audit", params(PageQuery), responses((status = 200, body = Page<AuditEntry>, description = "A page")))]
#[get("/v1/audit")]
pub async fn list_audit(app: Shared, caller: Caller, query: Query<PageQuery>) -> Answer {
    let list = format!("{} audit", caller.shop);
    let before = page::unseal::<i32>(&app.keys, &list, query.0.cursor.as_deref())?;
    let limit = query.0.limit.unwrap_or(page::DEFAULT_LIMIT);
    let rows = app.read(&caller, move |db| Ok(audit::list(db, before, limit + 1)?)).await?;
    listed(&Page::cut(rows, limit, &app.keys, &list, |row| row.number)?)
}

/// Whether an entry was edited or is missing. `lustrum check-audit` tells the same of every shop.
#[utoipa::path(tag = "audit", responses((status = 200, body = AuditState, description = "The state")))]
#[get("/v1/audit/state")]
pub async fn get_audit_state(app: Shared, caller: Caller) -> Answer {
    Ok(HttpResponse::Ok().json(app.read(&caller, |db| Ok(audit::check(db)?)).await?))
}
