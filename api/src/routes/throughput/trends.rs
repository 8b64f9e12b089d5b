//! Figures week by week.

use super::{Answer, Shared, WEEKS, lead, picture, weeks_until};
use crate::auth::Caller;
use crate::check::{Check, Checker};
use crate::error::ApiError;
use crate::extract::Query;
use crate::forms::{respond, varied};
use crate::throughput::names::{self, named};
use crate::throughput::over_time::{self, own_jobs};
use crate::upkeep;
use actix_web::{HttpRequest, HttpResponse, get};
use domain::throughput::{Trends, ewma_svg, individuals_svg};
use serde::Deserialize;
use utoipa::{IntoParams, ToSchema};

/// Which weeks, and which picture.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
pub struct TrendQuery {
    /// Weeks up to the present one.
    #[param(minimum = 1, maximum = 105, default = 52)]
    pub weeks: Option<u64>,
    /// One series, by its name; a picture is of one.
    #[param(max_length = 40, example = "minutes_index")]
    pub series: Option<String>,
    /// Of a picture: the single weeks with their limits, or their moving average.
    #[param(inline)]
    pub chart: Option<Chart>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Chart {
    Individuals,
    Ewma,
}

impl Check for TrendQuery {
    fn check(&self, found: &mut Checker) {
        found.range_if_given("weeks", self.weeks, 1, 105);
        found.line_if_given("series", self.series.as_deref(), 40);
    }
}

/// Figures week by week with control limits (from 20 weeks of one level on), changes with what else changed, learning
/// curves, and work in progress. A lead sees those of the jobs they go with.
#[utoipa::path(
    tag = "throughput",
    params(TrendQuery),
    responses((status = 200, description = "Trends; as a picture the series that is named", content(
        (Trends = "application/json"),
        (String = "image/svg+xml")
    )))
)]
#[get("/v1/throughput/trends")]
pub async fn get_trends(
    app: Shared,
    caller: Caller,
    query: Query<TrendQuery>,
    request: HttpRequest,
) -> Answer {
    let (handbooks, lead) = (app.handbooks.clone(), lead(&caller));
    let Query(TrendQuery { weeks, series, chart }) = query;
    let (past, names) = app
        .read(&caller, move |db| {
            let today = upkeep::today(db)?;
            let handbook = handbooks.of(db)?;
            let own = lead.map(|lead| own_jobs(db, lead)).transpose()?;
            let weeks = weeks_until(today, weeks.unwrap_or(WEEKS));
            Ok((over_time::read(db, &handbook, weeks, today, own.as_ref())?, names::read(db)?))
        })
        .await?;
    let mut trends = app.planning(move || named(&past.trends(), &names)).await?;
    trends.series.retain(|one| series.as_ref().is_none_or(|name| one.name == *name));
    if !picture(&request) {
        return Ok(varied(HttpResponse::Ok().json(trends)));
    }
    let drawn = match (trends.series.as_slice(), chart.unwrap_or(Chart::Individuals)) {
        ([one], Chart::Individuals) => Some(individuals_svg(one)),
        ([one], Chart::Ewma) => ewma_svg(one),
        _ => None,
    };
    let none = || ApiError::BadQuery("series: a picture is of one series that has points for it".into());
    Ok(respond("image/svg+xml", drawn.ok_or_else(none)?))
}
