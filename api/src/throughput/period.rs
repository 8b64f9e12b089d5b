//! Weeks and days of the shop's calendar.

use crate::check::{Check, Checker};
use crate::error::ApiError;
use actix_web::HttpRequest;
use chrono::{Datelike, Days, NaiveDate, Weekday};
use serde::Deserialize;
use utoipa::IntoParams;

/// Longest time that can be asked for, in days.
const LONGEST_DAYS: i64 = 366;

/// Which time: a week, or from one day to another; nothing: the present week.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
pub struct PeriodQuery {
    /// A week, Monday to Sunday, as ISO 8601 writes it.
    #[param(example = "2031-W13", max_length = 8)]
    pub week: Option<String>,
    /// First day.
    pub from: Option<NaiveDate>,
    /// Last day, less than 366 days after the first.
    pub to: Option<NaiveDate>,
}

/// Days from the first to the last, both included.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Period {
    pub from: NaiveDate,
    pub to: NaiveDate,
}

impl Check for PeriodQuery {
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

impl PeriodQuery {
    pub fn period(&self, today: NaiveDate) -> Period {
        if let (Some(from), Some(to)) = (self.from, self.to) {
            return Period { from, to };
        }
        Period::week(self.week.as_deref().and_then(monday).unwrap_or(today))
    }
}

impl Period {
    /// The week that a day lies in.
    pub fn week(day: NaiveDate) -> Period {
        let from = day.week(Weekday::Mon).first_day();
        Period { from, to: from.checked_add_days(Days::new(6)).unwrap_or(from) }
    }

    /// Monday, if these days are one week.
    pub fn one_week(self) -> Option<NaiveDate> {
        (self == Period::week(self.from)).then_some(self.from)
    }

    /// The Mondays of the weeks that lie in it with all their days; none is told by a first after the last.
    pub fn whole_weeks(self) -> (NaiveDate, NaiveDate) {
        let first = match Period::week(self.from) {
            week if week.from == self.from => self.from,
            week => week.to.succ_opt().unwrap_or(week.to),
        };
        let last = match Period::week(self.to) {
            week if week.to == self.to => week.from,
            week => week.from.checked_sub_days(Days::new(7)).unwrap_or(week.from),
        };
        (first, last)
    }

    pub fn has(self, day: NaiveDate) -> bool {
        self.from <= day && day <= self.to
    }
}

/// The Monday of a week such as `2031-W13`.
pub fn monday(week: &str) -> Option<NaiveDate> {
    let (year, number) = week.split_once("-W")?;
    let digits = |text: &str, length| text.len() == length && text.bytes().all(|b| b.is_ascii_digit());
    if !digits(year, 4) || !digits(number, 2) {
        return None;
    }
    NaiveDate::from_isoywd_opt(year.parse().ok()?, number.parse().ok()?, Weekday::Mon)
}

/// The week of a day as ISO 8601 writes it.
pub fn week_name(day: NaiveDate) -> String {
    let week = day.iso_week();
    format!("{}-W{:02}", week.year(), week.week())
}

/// The Monday of the `{week}` of the address. What is no week cannot exist.
pub fn week_in_address(request: &HttpRequest) -> Result<NaiveDate, ApiError> {
    request.match_info().get("week").and_then(monday).ok_or(ApiError::NotFound)
}

#[cfg(test)]
mod tests {
    use super::*;

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
        assert_eq!(monday("2031-W13").map(week_name).as_deref(), Some("2031-W13"));
    }

    #[test]
    fn a_time_has_whole_weeks_and_days_at_its_ends() {
        let period = |from: &str, to: &str| Period {
            from: from.parse().expect("a day"),
            to: to.parse().expect("a day"),
        };
        let weeks = |from, to| {
            let (first, last) = period(from, to).whole_weeks();
            (first.to_string(), last.to_string())
        };
        // 2026-05-04 is a Monday.
        assert_eq!(weeks("2026-05-04", "2026-05-10"), ("2026-05-04".into(), "2026-05-04".into()));
        assert_eq!(weeks("2026-05-03", "2026-05-18"), ("2026-05-04".into(), "2026-05-11".into()));
        let (first, last) = period("2026-05-05", "2026-05-10").whole_weeks();
        assert!(first > last);
        assert_eq!(
            period("2026-05-04", "2026-05-10").one_week(),
            Some(period("2026-05-04", "2026-05-04").from)
        );
        assert_eq!(period("2026-05-04", "2026-05-09").one_week(), None);
    }
}
