//! Checks against the zone data, RFC 5545, and every change of offset of every zone.

use super::*;
use chrono_tz::TZ_VARIANTS;
use proptest::prelude::*;

fn utc(text: &str) -> DateTime<Utc> {
    DateTime::parse_from_rfc3339(text).expect("an instant").with_timezone(&Utc)
}

fn wall(text: &str) -> NaiveDateTime {
    text.parse().expect("a local time")
}

fn time(text: &str) -> NaiveTime {
    text.parse().expect("a time")
}

fn zone(name: &str) -> Tz {
    name.parse().expect("a zone")
}

/// The instants at which a zone's offset changes in the years given, to the second.
fn transitions(zone: Tz, from: i32, to: i32) -> Vec<DateTime<Utc>> {
    let start = |year| NaiveDate::from_ymd_opt(year, 1, 1).expect("a date").and_time(NaiveTime::MIN);
    let (mut at, end) = (start(from), start(to + 1));
    let mut found = Vec::new();
    while at < end {
        let next = at + TimeDelta::hours(24);
        if offset(at, zone) != offset(next, zone) {
            let (mut before, mut after) = (at, next);
            while after - before > TimeDelta::seconds(1) {
                let middle = before + TimeDelta::seconds((after - before).num_seconds() / 2);
                if offset(middle, zone) == offset(at, zone) { before = middle } else { after = middle }
            }
            found.push(after.and_utc());
        }
        at = next;
    }
    found
}

/// CAL-20 to CAL-24: IANA zone data 2026f, scanned with Python's zoneinfo.
#[test]
fn transitions_of_2026_and_2027() {
    let expect = |name: &str, years: (i32, i32), instants: &[&str]| {
        let wanted: Vec<_> = instants.iter().map(|t| utc(t)).collect();
        assert_eq!(transitions(zone(name), years.0, years.1), wanted, "{name}");
    };
    expect(
        "America/New_York",
        (2026, 2027),
        &["2026-03-08T07:00:00Z", "2026-11-01T06:00:00Z", "2027-03-14T07:00:00Z", "2027-11-07T06:00:00Z"],
    );
    expect(
        "Europe/London",
        (2026, 2027),
        &["2026-03-29T01:00:00Z", "2026-10-25T01:00:00Z", "2027-03-28T01:00:00Z", "2027-10-31T01:00:00Z"],
    );
    expect("Australia/Lord_Howe", (2026, 2026), &["2026-04-04T15:00:00Z", "2026-10-03T15:30:00Z"]);
    expect("Africa/Casablanca", (2026, 2026), &["2026-02-15T02:00:00Z", "2026-03-22T02:00:00Z"]);
    for quiet in ["Asia/Kolkata", "America/Phoenix", "America/Sao_Paulo"] {
        expect(quiet, (2026, 2027), &[]);
    }
}

/// CAL-25 and CAL-26: RFC 5545 section 3.3.5 (from memory), agreed by Python's zoneinfo with fold 0.
#[test]
fn gaps_take_the_offset_before_and_overlaps_the_first() {
    let new_york = zone("America/New_York");
    assert_eq!(resolve(wall("2026-03-08T02:30:00"), new_york), utc("2026-03-08T07:30:00Z"));
    assert_eq!(resolve(wall("2026-11-01T01:30:00"), new_york), utc("2026-11-01T05:30:00Z"));
    // Lord Howe moves by 30 minutes (CAL-22): 02:15 on 4 October 2026 is skipped, the offset before is +10:30.
    assert_eq!(
        resolve(wall("2026-10-04T02:15:00"), zone("Australia/Lord_Howe")),
        utc("2026-10-03T15:45:00Z")
    );
    // Apia skipped the whole of 30 December 2011; the offset before was -10 (IANA zone data, from memory).
    assert_eq!(resolve(wall("2011-12-30T12:00:00"), zone("Pacific/Apia")), utc("2011-12-30T22:00:00Z"));
}

/// Every zone, every change of offset 2025 to 2037: a daily rule at the skipped, doubled and neighbouring times gives
/// exactly one occurrence on each local date around it, in order, and resolves to the time it names where that exists.
#[test]
fn one_occurrence_per_local_date_in_every_zone() {
    let mut seen = 0;
    for zone in TZ_VARIANTS {
        for change in transitions(zone, 2025, 2037) {
            seen += 1;
            let before = change.naive_utc() - TimeDelta::seconds(1);
            let skipped_or_doubled = before + offset(before, zone) + TimeDelta::seconds(1);
            for minutes in [-61, -30, -1, 0, 1, 15, 30, 59, 60, 720] {
                let rule = LocalRule {
                    time: (skipped_or_doubled + TimeDelta::minutes(minutes)).time(),
                    days: RuleDays::Daily,
                };
                let first = plus_days(skipped_or_doubled.date(), -2);
                let mut at = resolve(first.and_time(NaiveTime::MIN), zone) - TimeDelta::seconds(1);
                for day in 0..5 {
                    let due = next_due(&rule, zone, at);
                    assert_eq!(due.due_local, plus_days(first, day).and_time(rule.time), "{zone} {change}");
                    assert!(due.due_at > at, "{zone} {change}");
                    let just_before = due.due_at - TimeDelta::seconds(1);
                    assert_eq!(last_due(&rule, zone, due.due_at), due, "{zone} {change}");
                    let day_before = plus_days(first, day - 1).and_time(rule.time);
                    assert_eq!(last_due(&rule, zone, just_before).due_local, day_before, "{zone} {change}");
                    let shown = local(due.due_at, zone);
                    let exists = zone.from_local_datetime(&due.due_local) != LocalResult::None;
                    assert_eq!(shown == due.due_local, exists, "{zone} {change}");
                    at = due.due_at;
                }
            }
        }
    }
    // The United States alone change their clocks 26 times in these years.
    assert!(seen > 1000, "only {seen} changes of offset seen");
}

/// The failure this was written for: a daily 09:30 in New York stays at 09:30 after the clocks change.
#[test]
fn half_past_nine_stays_half_past_nine() {
    let rule = LocalRule { time: time("09:30:00"), days: RuleDays::Daily };
    let new_york = zone("America/New_York");
    let saturday = next_due(&rule, new_york, utc("2026-03-07T00:00:00Z"));
    let sunday = next_due(&rule, new_york, saturday.due_at);
    assert_eq!((saturday.due_at, sunday.due_at), (utc("2026-03-07T14:30:00Z"), utc("2026-03-08T13:30:00Z")));
}

#[test]
fn weekly_and_monthly_rules() {
    let london = zone("Europe/London");
    let after = utc("2026-01-28T12:00:00Z");
    let weekly = LocalRule { time: time("06:00:00"), days: RuleDays::Weekly { weekday: Weekday::Mon } };
    assert_eq!(next_due(&weekly, london, after).due_local, wall("2026-02-02T06:00:00"));
    let monthly = LocalRule { time: time("06:00:00"), days: RuleDays::Monthly { day: 31 } };
    let january = next_due(&monthly, london, after);
    let february = next_due(&monthly, london, january.due_at);
    let march = next_due(&monthly, london, february.due_at);
    assert_eq!(
        [january.due_local, february.due_local, march.due_local],
        [wall("2026-01-31T06:00:00"), wall("2026-02-28T06:00:00"), wall("2026-03-31T06:00:00")]
    );
    assert_eq!(march.due_at, utc("2026-03-31T05:00:00Z"));
    assert_eq!(
        [utc("2026-03-31T04:59:59Z"), march.due_at].map(|at| last_due(&monthly, london, at)),
        [february, march]
    );
    assert_eq!(last_due(&weekly, london, after).due_local, wall("2026-01-26T06:00:00"));
}

/// Default 09:00 to 19:00 without Sundays (common practice). 15 March 2026 is a Sunday.
#[test]
fn quiet_hours_push_on_and_pull_back() {
    let (new_york, open) = (zone("America/New_York"), OpenHours::default());
    let push = |t: &str| push_to_open(utc(t), new_york, &open);
    let pull = |t: &str| pull_to_open(utc(t), new_york, &open);
    assert_eq!(push("2026-03-13T13:00:00Z"), utc("2026-03-13T13:00:00Z"));
    assert_eq!(push("2026-03-13T12:59:59Z"), utc("2026-03-13T13:00:00Z"));
    assert_eq!(push("2026-03-13T23:00:00Z"), utc("2026-03-14T13:00:00Z"));
    assert_eq!(push("2026-03-14T23:00:00Z"), utc("2026-03-16T13:00:00Z"));
    assert_eq!(push("2026-03-15T16:00:00Z"), utc("2026-03-16T13:00:00Z"));
    assert_eq!(pull("2026-03-16T11:00:00Z"), utc("2026-03-14T22:30:00Z"));
    assert_eq!(pull("2026-03-13T23:00:00Z"), utc("2026-03-13T22:30:00Z"));
    assert_eq!(pull("2026-03-13T15:00:00Z"), utc("2026-03-13T15:00:00Z"));
}

proptest! {
    /// No instant and no local time makes it panic, and what comes out is open, in the right direction.
    #[test]
    fn open_hours_hold_everywhere(
        seconds in -8_000_000_000_000i64..8_000_000_000_000,
        zone in prop::sample::select(TZ_VARIANTS.to_vec()),
    ) {
        let at = DateTime::from_timestamp(seconds, 0).unwrap_or_default();
        let open = OpenHours::default();
        resolve(at.naive_utc(), zone);
        next_due(&LocalRule { time: NaiveTime::MIN, days: RuleDays::Monthly { day: 31 } }, zone, at);
        let (push, pull) = (push_to_open(at, zone, &open), pull_to_open(at, zone, &open));
        if (1970..2100).contains(&at.year()) {
            prop_assert!(pull <= at && at <= push);
            prop_assert!(is_open(local(push, zone), &open));
            prop_assert!(is_open(local(pull, zone), &open));
        }
    }
}
