//! The rounds of a day, with every reason why they cannot hold.

use super::{Answer, Shared};
use crate::auth::Caller;
use crate::check::{Check, Checker};
use crate::day;
use crate::extract::Query;
use crate::plan_input::zone_of;
use actix_web::{HttpResponse, get};
use chrono::NaiveDate;
use domain::dispatch::{Conflict, Round, rounds};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

/// Which day.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
pub struct RoundsQuery {
    /// A day of the shop's calendar.
    pub date: NaiveDate,
}

impl Check for RoundsQuery {
    fn check(&self, _: &mut Checker) {}
}

/// A day of the shop; all times are local ones of the shop.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct DayOfRounds {
    pub date: NaiveDate,
    #[schema(example = "Europe/Vienna")]
    pub time_zone: String,
    /// One per van that has visits.
    pub rounds: Vec<Round>,
    /// Every reason why the day as assigned cannot hold; none: it holds as far as its numbers are true.
    pub conflicts: Vec<Conflict>,
}

/// The rounds of a day as assigned: order, travel, times and water of each van, and all conflicts. A technician sees
/// the rounds they are on, and the conflicts of their own jobs.
#[utoipa::path(tag = "rounds", params(RoundsQuery), responses((status = 200, body = DayOfRounds, description = "The day")))]
#[get("/v1/rounds")]
pub async fn get_rounds(app: Shared, caller: Caller, query: Query<RoundsQuery>) -> Answer {
    let on = query.0.date;
    let handbooks = app.handbooks.clone();
    let (zone, handbook, day) = app
        .read(&caller, move |db| {
            let handbook = handbooks.of(db)?;
            let day = day::read(db, &handbook, on)?;
            Ok((zone_of(db, None)?, handbook, day))
        })
        .await?;
    let own = caller.only_own_work().map(|id| id.to_string());
    let view = app
        .planning(move || {
            let day = day.complete(&handbook);
            let mut view = DayOfRounds {
                date: on,
                time_zone: zone.name().to_owned(),
                rounds: rounds(&day.problem),
                conflicts: day.conflicts(),
            };
            if let Some(own) = own {
                let mut visits = day.problem.visits;
                visits.retain(|visit| visit.technicians.contains(&own));
                view.rounds.retain(|round| round.technicians.contains(&own));
                view.conflicts.retain(|found| visits.iter().any(|visit| found.jobs.contains(&visit.job)));
            }
            Ok(view)
        })
        .await?;
    Ok(HttpResponse::Ok().json(view))
}
