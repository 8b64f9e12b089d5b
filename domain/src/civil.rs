//! Wall-clock time in a zone and the instant it means, after RFC 5545 section 3.3.5.
//!
//! A local time that a change of offset skips takes the offset before the gap; one that happens twice is the first.

use crate::site::HourRange;
use chrono::{
    DateTime, Datelike, Days, LocalResult, Months, NaiveDate, NaiveDateTime, NaiveTime, Offset, TimeDelta,
    TimeZone, Utc, Weekday,
};
use chrono_tz::Tz;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// The instant of a local time. Years outside 1 to 9998 are taken as the nearest day inside.
pub fn resolve(local: NaiveDateTime, zone: Tz) -> DateTime<Utc> {
    let local = within_calendar(local);
    match zone.from_local_datetime(&local) {
        LocalResult::Single(at) => at.with_timezone(&Utc),
        LocalResult::Ambiguous(a, b) => a.min(b).with_timezone(&Utc),
        LocalResult::None => (local - offset_before_gap(local, zone)).and_utc(),
    }
}

/// The wall clock of an instant in a zone.
pub fn local(at: DateTime<Utc>, zone: Tz) -> NaiveDateTime {
    let at = within_calendar(at.naive_utc());
    at + offset(at, zone)
}

/// When something recurs, on the wall clock.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct LocalRule {
    #[schema(value_type = String, example = "09:30:00")]
    pub time: NaiveTime,
    pub days: RuleDays,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(tag = "kind", rename_all = "snake_case", deny_unknown_fields)]
pub enum RuleDays {
    Daily,
    /// On one day of every week.
    Weekly {
        #[schema(value_type = String, example = "Mon")]
        weekday: Weekday,
    },
    /// On a day of every month; in a shorter month on its last day.
    Monthly {
        #[schema(minimum = 1, maximum = 31)]
        day: u32,
    },
}

impl RuleDays {
    /// Most days from one to the next.
    fn longest(&self) -> i64 {
        match self {
            RuleDays::Daily => 1,
            RuleDays::Weekly { .. } => 7,
            RuleDays::Monthly { .. } => 31,
        }
    }
}

/// One time that a rule names: the local time it is due, which may not exist, and the instant that stands for it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Occurrence {
    pub due_local: NaiveDateTime,
    pub due_at: DateTime<Utc>,
}

/// The first occurrence after an instant. Every local date that the rule names has exactly one occurrence.
pub fn next_due(rule: &LocalRule, zone: Tz, after: DateTime<Utc>) -> Occurrence {
    // Two days back: no change of offset is as long as that, so the first occurrence after `after` is not missed.
    let mut date = plus_days(local(after, zone).date(), -2);
    loop {
        date = first_date(&rule.days, date);
        let due_local = date.and_time(rule.time);
        let due_at = resolve(due_local, zone);
        if due_at > after || date >= LAST_DAY {
            return Occurrence { due_local, due_at };
        }
        date = plus_days(date, 1);
    }
}

/// The last occurrence up to an instant.
pub fn last_due(rule: &LocalRule, zone: Tz, at: DateTime<Utc>) -> Occurrence {
    // No change of offset is as long as two days.
    let before = within_calendar(at.naive_utc()).and_utc() - TimeDelta::days(rule.days.longest() + 2);
    let mut last = next_due(rule, zone, before);
    loop {
        let next = next_due(rule, zone, last.due_at);
        if next.due_at > at || next.due_at <= last.due_at {
            return last;
        }
        last = next;
    }
}

/// The hours in which a customer may be written to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct OpenHours {
    pub hours: HourRange,
    pub sundays: bool,
}

impl Default for OpenHours {
    /// 09:00 to 19:00 and not on Sundays (common practice).
    fn default() -> OpenHours {
        let time = |hour| NaiveTime::from_hms_opt(hour, 0, 0).unwrap_or(NaiveTime::MIN);
        OpenHours { hours: HourRange { from: time(9), to: time(19) }, sundays: false }
    }
}

/// The instant itself if it is open, else the next opening. Hours that never open leave it as it is.
pub fn push_to_open(at: DateTime<Utc>, zone: Tz, open: &OpenHours) -> DateTime<Utc> {
    let now = local(at, zone);
    if is_open(now, open) || open.hours.from >= open.hours.to {
        return at;
    }
    let days = (0..=2).map(|ahead| plus_days(now.date(), ahead));
    let openings = days.filter(|d| opens_on(*d, open)).map(|d| resolve(d.and_time(open.hours.from), zone));
    openings.filter(|&opening| opening > at).min().unwrap_or(at)
}

/// The instant itself if it is open, else half an hour before the last closing, which leaves a sender some time
/// (assumption). For what must come early rather than late.
pub fn pull_to_open(at: DateTime<Utc>, zone: Tz, open: &OpenHours) -> DateTime<Utc> {
    let now = local(at, zone);
    if is_open(now, open) || open.hours.from >= open.hours.to {
        return at;
    }
    let days = (0..=2).map(|back| plus_days(now.date(), -back));
    let closings = days.filter(|d| opens_on(*d, open)).map(|d| resolve(d.and_time(open.hours.to), zone));
    let latest = closings.map(|closing| (closing - TimeDelta::minutes(30)).max(closing - length(open)));
    latest.filter(|&last| last < at).max().unwrap_or(at)
}

fn length(open: &OpenHours) -> TimeDelta {
    open.hours.to - open.hours.from
}

fn is_open(now: NaiveDateTime, open: &OpenHours) -> bool {
    open.hours.contains(now.time()) && opens_on(now.date(), open)
}

fn opens_on(date: NaiveDate, open: &OpenHours) -> bool {
    open.sundays || date.weekday() != Weekday::Sun
}

/// The first date from `date` on that the rule names.
fn first_date(days: &RuleDays, date: NaiveDate) -> NaiveDate {
    match *days {
        RuleDays::Daily => date,
        RuleDays::Weekly { weekday } => {
            let ahead = (7 + weekday.num_days_from_monday() - date.weekday().num_days_from_monday()) % 7;
            plus_days(date, i64::from(ahead))
        }
        RuleDays::Monthly { day } => {
            let this = day_of_month(date, day);
            let next = date.with_day(1).and_then(|first| first.checked_add_months(Months::new(1)));
            if this >= date { this } else { next.map_or(this, |first| day_of_month(first, day)) }
        }
    }
}

fn day_of_month(month: NaiveDate, day: u32) -> NaiveDate {
    (1..=day.clamp(1, 31)).rev().find_map(|d| month.with_day(d)).unwrap_or(month)
}

/// The offset that was valid just before the local time was skipped. Found by halving: local clocks within 26 hours
/// either side of the gap run before and after it.
fn offset_before_gap(local: NaiveDateTime, zone: Tz) -> TimeDelta {
    let (mut before, mut after) = (local - TimeDelta::hours(26), local + TimeDelta::hours(26));
    while after - before > TimeDelta::seconds(1) {
        let middle = before + TimeDelta::seconds((after - before).num_seconds() / 2);
        if middle + offset(middle, zone) > local { after = middle } else { before = middle }
    }
    offset(before, zone)
}

fn offset(at: NaiveDateTime, zone: Tz) -> TimeDelta {
    TimeDelta::seconds(i64::from(zone.offset_from_utc_datetime(&at).fix().local_minus_utc()))
}

const FIRST_DAY: NaiveDate = match NaiveDate::from_ymd_opt(1, 1, 1) {
    Some(day) => day,
    None => NaiveDate::MIN,
};
const LAST_DAY: NaiveDate = match NaiveDate::from_ymd_opt(9998, 12, 31) {
    Some(day) => day,
    None => NaiveDate::MAX,
};

fn within_calendar(at: NaiveDateTime) -> NaiveDateTime {
    at.date().clamp(FIRST_DAY, LAST_DAY).and_time(at.time())
}

fn plus_days(date: NaiveDate, days: i64) -> NaiveDate {
    let shift = Days::new(days.unsigned_abs());
    let moved = if days < 0 { date.checked_sub_days(shift) } else { date.checked_add_days(shift) };
    moved.unwrap_or(date).clamp(FIRST_DAY, LAST_DAY)
}

#[cfg(test)]
mod checks;
