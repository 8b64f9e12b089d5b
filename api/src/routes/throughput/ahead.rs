//! The week ahead.

use super::{Answer, Shared, next_week, picture};
use crate::auth::Caller;
use crate::check::{Check, Checker};
use crate::error::ApiError;
use crate::extract::Query;
use crate::forms::{respond, varied};
use crate::throughput::ahead;
use crate::throughput::names::{self, named};
use crate::throughput::period::PeriodQuery;
use crate::{norms, upkeep};
use actix_web::{HttpRequest, HttpResponse, get};
use domain::throughput::{Ahead, load_svg, look_ahead};
use serde::Deserialize;
use utoipa::IntoParams;

/// Which week ahead.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
pub struct AheadQuery {
    /// A week that is not over, as ISO 8601 writes it; absent: the next one.
    #[param(example = "2031-W15", max_length = 8)]
    pub week: Option<String>,
}

impl Check for AheadQuery {
    fn check(&self, found: &mut Checker) {
        PeriodQuery { week: self.week.clone(), from: None, to: None }.check(found);
    }
}

/// The load of a week to come against the hours of the crews: booked jobs and upkeep that falls due, as likely to be
/// exceeded as not and exceeded once in ten; and where an hour more or a second pair of hands saves most.
#[utoipa::path(
    tag = "throughput",
    params(AheadQuery),
    responses((status = 200, description = "The week ahead", content(
        (Ahead = "application/json"),
        (String = "image/svg+xml")
    )))
)]
#[get("/v1/throughput/ahead")]
pub async fn get_ahead(
    app: Shared,
    caller: Caller,
    query: Query<AheadQuery>,
    request: HttpRequest,
) -> Answer {
    let handbooks = app.handbooks.clone();
    let (input, names) = app
        .read(&caller, move |db| {
            let today = upkeep::today(db)?;
            let handbook = handbooks.of(db)?;
            let week = PeriodQuery { week: query.0.week.clone(), from: None, to: None };
            let period = if week.week.is_some() { week.period(today) } else { next_week(today) };
            if period.to < today {
                return Err(ApiError::BadQuery("week: it is over".into()));
            }
            let learned = norms::learned(db)?;
            Ok((ahead::gather(db, &handbook, &learned, period)?, names::read(db)?))
        })
        .await?;
    let ahead = app.planning(move || named(&look_ahead(&input), &names)).await?;
    if picture(&request) {
        return Ok(respond("image/svg+xml", load_svg(&ahead)));
    }
    Ok(varied(HttpResponse::Ok().json(ahead)))
}
