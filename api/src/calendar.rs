//! iCalendar (RFC 5545): visits as events, in one time zone that is described in the same file.

use crate::db::kinds::{Id, Instant};
use chrono::{NaiveDateTime, Offset, TimeDelta, TimeZone};
use chrono_tz::{OffsetComponents, OffsetName, Tz};
use std::fmt::Write;

/// Longest line, octets without its end (RFC 5545, 3.1).
const LONGEST_LINE: usize = 75;
/// A zone whose offset never changed within two years is described from then on.
const LOOKED_BACK: TimeDelta = TimeDelta::days(730);
/// Offsets hold for longer than this.
const STRIDE: TimeDelta = TimeDelta::days(7);

/// One event.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// The same for ever, so that a program changes the event instead of adding one.
    pub uid: Id,
    /// Greater after every change.
    pub sequence: i32,
    pub stamp: Instant,
    pub from: Instant,
    pub to: Instant,
    pub summary: String,
    pub description: Option<String>,
    pub cancelled: bool,
}

/// A calendar with these entries.
pub fn write(name: &str, zone: Tz, entries: &[Entry]) -> String {
    let mut lines = Lines::default();
    lines.add("BEGIN:VCALENDAR");
    lines.add("VERSION:2.0");
    lines.add("PRODID:-//Lustrum//Lustrum//EN");
    lines.add("CALSCALE:GREGORIAN");
    lines.add(&format!("NAME:{}", text(name)));
    lines.add("REFRESH-INTERVAL;VALUE=DURATION:PT1H");
    let from = entries.iter().map(|entry| entry.from).min();
    let to = entries.iter().map(|entry| entry.to).max();
    if let (Some(from), Some(to)) = (from, to) {
        describe(&mut lines, zone, from, to);
    }
    for entry in entries {
        add_event(&mut lines, zone, entry);
    }
    lines.add("END:VCALENDAR");
    lines.0
}

fn add_event(lines: &mut Lines, zone: Tz, entry: &Entry) {
    lines.add("BEGIN:VEVENT");
    lines.add(&format!("UID:{}", entry.uid));
    lines.add(&format!("SEQUENCE:{}", entry.sequence));
    lines.add(&format!("DTSTAMP:{}Z", moment(entry.stamp.utc())));
    for (property, at) in [("DTSTART", entry.from), ("DTEND", entry.to)] {
        // UTC has no description, as it needs none.
        match zone {
            Tz::UTC => lines.add(&format!("{property}:{}Z", moment(at.utc()))),
            zone => lines.add(&format!("{property};TZID={}:{}", zone.name(), moment(at.local(zone)))),
        }
    }
    lines.add(&format!("SUMMARY:{}", text(&entry.summary)));
    if let Some(description) = &entry.description {
        lines.add(&format!("DESCRIPTION:{}", text(description)));
    }
    lines.add(if entry.cancelled { "STATUS:CANCELLED" } else { "STATUS:CONFIRMED" });
    lines.add("END:VEVENT");
}

/// The offsets of the zone from the one in force at `from` to the one at `to` (VTIMEZONE).
fn describe(lines: &mut Lines, zone: Tz, from: Instant, to: Instant) {
    if zone == Tz::UTC {
        return;
    }
    lines.add("BEGIN:VTIMEZONE");
    lines.add(&format!("TZID:{}", zone.name()));
    for change in changes(zone, from, to) {
        let kind = if change.is_daylight { "DAYLIGHT" } else { "STANDARD" };
        lines.add(&format!("BEGIN:{kind}"));
        lines.add(&format!("DTSTART:{}", moment(change.at + change.before)));
        lines.add(&format!("TZOFFSETFROM:{}", offset(change.before)));
        lines.add(&format!("TZOFFSETTO:{}", offset(change.after)));
        lines.add(&format!("TZNAME:{}", change.name));
        lines.add(&format!("END:{kind}"));
    }
    lines.add("END:VTIMEZONE");
}

/// From `at`, UTC, on another offset holds.
#[derive(Debug)]
struct Change {
    at: NaiveDateTime,
    before: TimeDelta,
    after: TimeDelta,
    is_daylight: bool,
    name: String,
}

/// The changes of offset up to `to`, the first of them before `from`.
fn changes(zone: Tz, from: Instant, to: Instant) -> Vec<Change> {
    let start = from.utc() - LOOKED_BACK;
    let mut found = vec![change_at(zone, start, start)];
    let mut seen = start;
    while seen < to.utc() {
        let next = seen + STRIDE;
        if utc_offset(zone, seen) != utc_offset(zone, next) {
            found.push(change_between(zone, seen, next));
        }
        seen = next;
    }
    let needless = found.iter().filter(|change| change.at <= from.utc()).count().saturating_sub(1);
    found.drain(..needless);
    found
}

/// The first second at which the offset is no longer that of `early`.
fn change_between(zone: Tz, mut early: NaiveDateTime, mut late: NaiveDateTime) -> Change {
    let before = early;
    while late - early > TimeDelta::seconds(1) {
        let middle = early + TimeDelta::seconds((late - early).num_seconds() / 2);
        if utc_offset(zone, middle) == utc_offset(zone, before) { early = middle } else { late = middle }
    }
    change_at(zone, before, late)
}

fn change_at(zone: Tz, before: NaiveDateTime, at: NaiveDateTime) -> Change {
    let offset = zone.offset_from_utc_datetime(&at);
    Change {
        at,
        before: utc_offset(zone, before),
        after: utc_offset(zone, at),
        is_daylight: !offset.dst_offset().is_zero(),
        name: offset.abbreviation().unwrap_or("LMT").to_owned(),
    }
}

fn utc_offset(zone: Tz, at: NaiveDateTime) -> TimeDelta {
    TimeDelta::seconds(zone.offset_from_utc_datetime(&at).fix().local_minus_utc().into())
}

fn moment(at: NaiveDateTime) -> String {
    at.format("%Y%m%dT%H%M%S").to_string()
}

fn offset(offset: TimeDelta) -> String {
    let s = offset.num_seconds();
    let sign = if s < 0 { '-' } else { '+' };
    let (hours, minutes) = (s.abs() / 3600, s.abs() / 60 % 60);
    format!("{sign}{hours:02}{minutes:02}")
}

/// A value of type TEXT (RFC 5545, 3.3.11), without what could begin a line of its own.
fn text(value: &str) -> String {
    let mut escaped = String::new();
    for c in value.chars() {
        match c {
            '\n' => escaped.push_str("\\n"),
            '\\' | ';' | ',' => escaped.extend(['\\', c]),
            c if c.is_control() => escaped.push(' '),
            c => escaped.push(c),
        }
    }
    escaped
}

/// Content lines, each folded and ended as the standard wants.
#[derive(Default)]
struct Lines(String);

impl Lines {
    fn add(&mut self, line: &str) {
        let mut length = 0;
        for c in line.chars() {
            if length + c.len_utf8() > LONGEST_LINE {
                self.0.push_str("\r\n ");
                length = 1;
            }
            self.0.push(c);
            length += c.len_utf8();
        }
        let _ = self.0.write_str("\r\n");
    }
}

#[cfg(test)]
mod tests {
    use super::{Entry, write};
    use crate::db::kinds::{Id, Instant};
    use chrono::NaiveDate;

    fn at(month: u32, day: u32, hour: u32) -> Instant {
        let day = NaiveDate::from_ymd_opt(2026, month, day).expect("a day");
        Instant::from_utc(day.and_hms_opt(hour, 0, 0).expect("a time"))
    }

    fn entry(from: Instant, to: Instant, summary: &str) -> Entry {
        let uid: Id = "01890000-0000-7000-8000-000000000001".parse().expect("an id");
        let stamp = at(1, 1, 0);
        let summary = summary.to_owned();
        Entry { uid, sequence: 3, stamp, from, to, summary, description: None, cancelled: false }
    }

    /// The offsets of Vienna around the change of 29 March 2026, 01:00 UTC (EU directive 2000/84/EC, article 2).
    #[test]
    fn a_zone_is_described_with_every_change_that_matters() {
        let calendar = write("Rounds", chrono_tz::Europe::Vienna, &[entry(at(3, 28, 8), at(3, 30, 8), "P2")]);
        let standard = "BEGIN:STANDARD\r\nDTSTART:20251026T030000\r\nTZOFFSETFROM:+0200\r\nTZOFFSETTO:+0100\r\nTZNAME:CET\r\n";
        let daylight = "BEGIN:DAYLIGHT\r\nDTSTART:20260329T020000\r\nTZOFFSETFROM:+0100\r\nTZOFFSETTO:+0200\r\nTZNAME:CEST\r\n";
        assert!(calendar.contains(standard) && calendar.contains(daylight), "{calendar}");
        assert_eq!(calendar.matches("TZOFFSETTO").count(), 2, "{calendar}");
        assert!(calendar.contains("DTSTART;TZID=Europe/Vienna:20260328T090000\r\n"), "{calendar}");
        assert!(calendar.contains("DTEND;TZID=Europe/Vienna:20260330T100000\r\n"), "{calendar}");
    }

    #[test]
    fn a_zone_without_changes_is_described_once_and_utc_not_at_all() {
        let one = [entry(at(3, 28, 8), at(3, 30, 8), "P2")];
        let calendar = write("Rounds", chrono_tz::America::Phoenix, &one);
        assert_eq!(calendar.matches("TZOFFSETTO:-0700").count(), 1, "{calendar}");
        let calendar = write("Rounds", chrono_tz::UTC, &one);
        assert!(!calendar.contains("TZID") && calendar.contains("DTSTART:20260328T080000Z"), "{calendar}");
    }

    #[test]
    fn lines_are_folded_at_75_octets_between_characters_and_text_stays_text() {
        let long = "Größe, Öl; \\ ü\r\nEND:VEVENT\u{7} ".repeat(12);
        let calendar = write(&long, chrono_tz::UTC, &[entry(at(5, 4, 8), at(5, 4, 9), &long)]);
        assert!(calendar.ends_with("END:VCALENDAR\r\n"));
        assert!(calendar.split("\r\n").all(|line| line.len() <= 75), "{calendar}");
        assert_eq!(calendar.matches("\r\nEND:VEVENT\r\n").count(), 1, "nobody ends an event but we");
        let unfolded = calendar.replace("\r\n ", "");
        assert!(unfolded.contains("Größe\\, Öl\\; \\\\ ü \\nEND:VEVENT  Größe"), "{unfolded}");
    }
}
