//! Crews beside each other.

use super::{Answer, Shared, picture, weeks_until};
use crate::auth::Caller;
use crate::check::{Check, Checker};
use crate::error::ApiError;
use crate::extract::Query;
use crate::forms::{respond, varied};
use crate::page::Page;
use crate::routes::listed;
use crate::throughput::names::{self, named};
use crate::throughput::period::{Period, PeriodQuery};
use crate::throughput::reading;
use crate::upkeep;
use actix_web::{HttpRequest, get};
use chrono::NaiveDate;
use domain::throughput::{Comparison, funnel_svg};
use serde::Deserialize;
use utoipa::IntoParams;

/// Which comparison of crews, and of which time.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
pub struct ComparisonQuery {
    /// First day.
    pub from: Option<NaiveDate>,
    /// Last day, less than 366 days after the first.
    pub to: Option<NaiveDate>,
    /// One of them, by its name; a picture is of one.
    #[param(max_length = 40, example = "minutes_index")]
    pub name: Option<String>,
}

impl ComparisonQuery {
    fn period(&self) -> PeriodQuery {
        PeriodQuery { week: None, from: self.from, to: self.to }
    }
}

impl Check for ComparisonQuery {
    fn check(&self, found: &mut Checker) {
        self.period().check(found);
        found.line_if_given("name", self.name.as_deref(), 40);
    }
}

/// Crews beside each other on like jobs, shrunk where they have few, with the limits that chance leaves, widened
/// by what usually differs between crews. Never a ranking. Without days: the present week and the twelve before it.
#[utoipa::path(
    tag = "throughput",
    params(ComparisonQuery),
    responses((status = 200, description = "Comparisons; as a picture the one that is named", content(
        (Page<Comparison> = "application/json"),
        (String = "image/svg+xml")
    )))
)]
#[get("/v1/throughput/comparisons")]
pub async fn compare_crews(
    app: Shared,
    caller: Caller,
    query: Query<ComparisonQuery>,
    request: HttpRequest,
) -> Answer {
    let handbooks = app.handbooks.clone();
    let (period, name) = (query.0.period(), query.0.name);
    let (reading, names) = app
        .read(&caller, move |db| {
            let today = upkeep::today(db)?;
            let handbook = handbooks.of(db)?;
            let period = match period.from {
                Some(_) => period.period(today),
                None => Period { from: weeks_until(today, 13).from, to: today },
            };
            Ok((reading::read(db, &handbook, period, today, None)?, names::read(db)?))
        })
        .await?;
    let mut items = app.planning(move || named(&reading.sheet().comparisons, &names)).await?;
    items.retain(|comparison| name.as_ref().is_none_or(|name| comparison.name == *name));
    if picture(&request) {
        return match items.as_slice() {
            [one] => Ok(respond("image/svg+xml", funnel_svg(one))),
            _ => Err(ApiError::BadQuery(
                "name: a picture is of one comparison, and these crews have none such".into(),
            )),
        };
    }
    Ok(varied(listed(&Page::whole(items))?))
}
