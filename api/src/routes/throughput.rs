//! What the crews got through.

use super::{Answer, Shared};
use crate::auth::{Caller, Role, Who};
use crate::check::{Check, Checker};
use crate::db::kinds::Id;
use crate::extract::Query;
use crate::plan_input::zone_of;
use crate::{day, work_done};
use actix_web::{HttpResponse, get};
use chrono::{Days, NaiveDate, Weekday};
use domain::throughput::{Throughput, throughput};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

/// Longest time that can be asked for, in days.
const LONGEST_DAYS: i64 = 366;

/// Which time: a week, or from one day to another; nothing: the present week.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
pub struct ThroughputQuery {
    /// A week, Monday to Sunday, as ISO 8601 writes it.
    #[param(example = "2031-W13", max_length = 8)]
    pub week: Option<String>,
    /// First day.
    pub from: Option<NaiveDate>,
    /// Last day, less than 366 days after the first.
    pub to: Option<NaiveDate>,
}

impl Check for ThroughputQuery {
    fn check(&self, found: &mut Checker) {
        match (&self.week, self.from, self.to) {
            (None, None, None) => {}
            (Some(week), None, None) if monday(week).is_none() => {
                found.refuse("week", "not_a_week", format!("{week:?} is no week such as 2031-W13"));
            }
            (Some(_), None, None) => {}
            (None, Some(from), Some(to)) if to < from => {
                found.refuse("to", "ends_before_start", "to must not be before from");
            }
            (None, Some(from), Some(to)) if (to - from).num_days() >= LONGEST_DAYS => {
                found.refuse("to", "out_of_range", format!("at most {LONGEST_DAYS} days can be asked for"));
            }
            (None, Some(_), Some(_)) => {}
            _ => found.refuse("week", "ambiguous", "give either week, or from and to"),
        }
    }
}

/// Figures of a time, each with its count and definition. Days are those of the shop's calendar.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct ThroughputSheet {
    pub from: NaiveDate,
    /// The last day.
    pub to: NaiveDate,
    #[schema(example = "Europe/Vienna")]
    pub time_zone: String,
    #[serde(flatten)]
    pub figures: Throughput,
}

/// What the crews got through, by package and crew. A crew is a van. The owner sees all; a lead sees the jobs they
/// were on.
#[utoipa::path(tag = "throughput", params(ThroughputQuery), responses((status = 200, body = ThroughputSheet, description = "The sheet")))]
#[get("/v1/throughput")]
pub async fn get_throughput(app: Shared, caller: Caller, query: Query<ThroughputQuery>) -> Answer {
    let handbooks = app.handbooks.clone();
    let of = only_own_crew(&caller);
    let (from, to, zone, handbook, records) = app
        .read(&caller, move |db| {
            let zone = zone_of(db, None)?;
            let (from, to) = days(&query.0, db.now.local(zone).date());
            let (begin, end) = day::span(from, to, zone);
            let handbook = handbooks.of(db)?;
            let records = work_done::read(db, &handbook, begin, end, of)?;
            Ok((from, to, zone, handbook, records))
        })
        .await?;
    let figures = app.planning(move || Ok(throughput(&handbook, &records))).await?;
    Ok(HttpResponse::Ok().json(ThroughputSheet { from, to, time_zone: zone.name().to_owned(), figures }))
}

/// A lead sees what their own crew did; none for the owner.
fn only_own_crew(caller: &Caller) -> Option<Id> {
    match caller.who {
        Who::Person { id, role: Role::Lead, .. } => Some(id),
        _ => None,
    }
}

fn days(query: &ThroughputQuery, today: NaiveDate) -> (NaiveDate, NaiveDate) {
    if let (Some(from), Some(to)) = (query.from, query.to) {
        return (from, to);
    }
    let asked = query.week.as_deref().and_then(monday);
    let monday = asked.unwrap_or_else(|| today.week(Weekday::Mon).first_day());
    (monday, monday.checked_add_days(Days::new(6)).unwrap_or(monday))
}

/// The Monday of a week such as `2031-W13`.
fn monday(week: &str) -> Option<NaiveDate> {
    let (year, number) = week.split_once("-W")?;
    let digits = |text: &str, length| text.len() == length && text.bytes().all(|b| b.is_ascii_digit());
    if !digits(year, 4) || !digits(number, 2) {
        return None;
    }
    NaiveDate::from_isoywd_opt(year.parse().ok()?, number.parse().ok()?, Weekday::Mon)
}

#[cfg(test)]
mod tests {
    use super::monday;

    /// ISO 8601: the first week has the year's first Thursday. 2031-03-24 is a Monday of week 13 (calendar).
    #[test]
    fn weeks_are_those_of_iso_8601() {
        let day = |week| monday(week).map(|day| day.to_string());
        assert_eq!(day("2031-W13").as_deref(), Some("2031-03-24"));
        assert_eq!(day("2026-W01").as_deref(), Some("2025-12-29"));
        assert_eq!(day("2026-W53").as_deref(), Some("2026-12-28"));
        for wrong in ["2027-W53", "2026-W00", "2026-W1", "2026W01", "26-W01", "+026-W01", "2026-W+1", ""] {
            assert_eq!(day(wrong), None, "{wrong}");
        }
    }
}
