//! Weeks that are closed.

use crate::auth::Caller;
use crate::db::closed_weeks::{self, ClosedWeek};
use crate::db::shops;
use crate::page::Page;
use crate::reply::Reply;
use crate::routes::{Answer, Shared, listed};
use crate::throughput::closing;
use crate::throughput::period::{Period, week_in_address, week_name};
use crate::throughput::reading;
use crate::upkeep;
use actix_web::{HttpRequest, get, post};

/// Closes a week that is over: its figures are kept as they are now, and what changes them later is shown beside them.
#[utoipa::path(
    tag = "throughput",
    params(("week" = String, Path, example = "2031-W13")),
    responses((status = 201, body = ClosedWeek, description = "Closed"))
)]
#[post("/v1/throughput/weeks/{week}/close")]
pub async fn close_week(app: Shared, caller: Caller, request: HttpRequest) -> Answer {
    let (by, week_on, handbooks) = (caller.person()?, week_in_address(&request)?, app.handbooks.clone());
    app.once(
        &caller,
        move |db| {
            shops::lock_roll_ups(db)?;
            let (today, handbook) = (upkeep::today(db)?, handbooks.of(db)?);
            let reading = reading::read(db, &handbook, Period::week(week_on), today, None)?;
            closing::close(db, by, reading)
        },
        move |closed| Reply::created(closed, 1, format!("/v1/throughput?week={}", week_name(week_on))),
    )
    .await
}

/// The weeks that are closed, the newest first.
#[utoipa::path(tag = "throughput", responses((status = 200, body = Page<ClosedWeek>, description = "All of them")))]
#[get("/v1/throughput/weeks")]
pub async fn list_closed_weeks(app: Shared, caller: Caller) -> Answer {
    let items = app.read(&caller, |db| Ok(closed_weeks::list(db)?)).await?;
    listed(&Page::whole(items))
}
