//! Spans of a day in which people are at work, and the rests that come of them.

use crate::dispatch::search::Break;
use crate::site::HourRange;
use chrono::{NaiveDate, NaiveDateTime, NaiveTime};
use std::cmp::Reverse;

/// The same hours, ascending and apart; a span that ends before it begins is none.
pub fn tidy(hours: &[HourRange]) -> Vec<HourRange> {
    let mut spans: Vec<HourRange> = hours.iter().copied().filter(is_some_time).collect();
    spans.sort_by_key(|span| (span.from, span.to));
    let mut tidy: Vec<HourRange> = Vec::new();
    for span in spans {
        match tidy.last_mut() {
            Some(last) if span.from <= last.to => last.to = last.to.max(span.to),
            _ => tidy.push(span),
        }
    }
    tidy
}

/// What lies in both, each ascending and apart.
pub fn common(one: &[HourRange], other: &[HourRange]) -> Vec<HourRange> {
    let both = |a: &HourRange, b: &HourRange| HourRange { from: a.from.max(b.from), to: a.to.min(b.to) };
    let pairs = one.iter().flat_map(|a| other.iter().map(move |b| both(a, b)));
    pairs.filter(is_some_time).collect()
}

/// What is left beside a time that is taken.
pub fn without(hours: &[HourRange], taken: HourRange) -> Vec<HourRange> {
    let around = |span: &HourRange| {
        [
            HourRange { from: span.from, to: span.to.min(taken.from) },
            HourRange { from: span.from.max(taken.to), to: span.to },
        ]
    };
    hours.iter().flat_map(around).filter(is_some_time).collect()
}

fn is_some_time(span: &HourRange) -> bool {
    span.from < span.to
}

/// What of a time lies on a day.
pub fn on_day(on: NaiveDate, from: NaiveDateTime, to: NaiveDateTime) -> HourRange {
    let last = NaiveTime::from_hms_opt(23, 59, 59).unwrap_or_default();
    let time = |at: NaiveDateTime| match at.date() {
        day if day < on => NaiveTime::MIN,
        day if day > on => last,
        _ => at.time(),
    };
    let from = time(from);
    HourRange { from, to: time(to).max(from) }
}

/// The rests of a shift, in order: each gap between its spans of work, and the shop's rest unless a gap gives it.
///
/// Where gaps cut the hours in which the rest may begin, it goes to the span of work that leaves it most freedom (the
/// first of equals), and there it ends before the next gap. Where no span has room for it, it is left out: the gaps
/// interrupt the work by then.
pub fn rests(spans: &[(i32, i32)], rest: Option<Break>) -> Vec<Break> {
    let gap = |pair: &[(i32, i32)]| {
        let (from_s, to_s) = (pair[0].1, pair[1].0);
        Break { from_s, to_s: from_s, length_s: to_s - from_s }
    };
    let mut rests: Vec<Break> = spans.windows(2).map(gap).collect();
    let Some(rest) = rest.filter(|rest| !rests.iter().any(|gap| gives(gap, rest))) else { return rests };
    let in_span = |nth: usize| {
        let next_gap = rests.get(nth).map(|gap| gap.from_s - rest.length_s);
        let to_s = next_gap.map_or(rest.to_s, |latest| rest.to_s.min(latest));
        (nth, Break { from_s: rest.from_s.max(spans[nth].0), to_s, ..rest })
    };
    let possible = (0..spans.len()).map(in_span).filter(|(_, rest)| rest.from_s <= rest.to_s);
    if let Some((nth, rest)) = possible.max_by_key(|(nth, rest)| (rest.to_s - rest.from_s, Reverse(*nth))) {
        rests.insert(nth, rest);
    }
    rests
}

/// Whether the rest could begin and end inside the gap.
fn gives(gap: &Break, rest: &Break) -> bool {
    let begins_s = gap.from_s.max(rest.from_s);
    begins_s <= rest.to_s && begins_s + rest.length_s <= gap.from_s + gap.length_s
}

#[cfg(test)]
mod tests {
    use super::*;

    fn hours(spans: &[(u32, u32)]) -> Vec<HourRange> {
        let time = |hour| NaiveTime::from_hms_opt(hour, 0, 0).expect("a time");
        spans.iter().map(|&(from, to)| HourRange { from: time(from), to: time(to) }).collect()
    }

    #[test]
    fn spans_are_put_in_order_joined_met_and_cut() {
        assert_eq!(tidy(&hours(&[(13, 16), (7, 9), (9, 10), (12, 11), (8, 9)])), hours(&[(7, 10), (13, 16)]));
        let (split, early) = (hours(&[(7, 12), (13, 16)]), hours(&[(6, 14)]));
        assert_eq!(common(&split, &early), hours(&[(7, 12), (13, 14)]));
        assert_eq!(common(&early, &split), common(&split, &early));
        assert_eq!(common(&split, &hours(&[(12, 13)])), []);
        assert_eq!(without(&split, hours(&[(11, 14)])[0]), hours(&[(7, 11), (14, 16)]));
        assert_eq!(without(&split, hours(&[(7, 12)])[0]), hours(&[(13, 16)]));
    }

    /// In minutes instead of seconds. A rest of 30 minutes begins between 11:00 (660) and 14:00 (840).
    #[test]
    fn gaps_are_rests_and_the_shops_rest_keeps_its_order() {
        let rest = Break { from_s: 660, to_s: 840, length_s: 30 };
        let gap = |from: i32, length: i32| Break { from_s: from, to_s: from, length_s: length };
        let of = |spans: &[(i32, i32)]| rests(spans, Some(rest));
        assert_eq!(of(&[(420, 960)]), [rest]);
        // An hour off at noon gives it; so does one from 10:40 on, of which 40 minutes lie in its hours.
        assert_eq!(of(&[(420, 720), (780, 960)]), [gap(720, 60)]);
        assert_eq!(of(&[(420, 640), (700, 960)]), [gap(640, 60)]);
        // An hour off at nine comes before it, one at four after it.
        assert_eq!(of(&[(420, 540), (600, 960)]), [gap(540, 60), rest]);
        assert_eq!(of(&[(420, 960), (1020, 1140)]), [rest, gap(960, 60)]);
        // Twenty minutes at noon are too short for it: before them it could begin until 11:30, after them until 14:00.
        let after = Break { from_s: 740, ..rest };
        assert_eq!(of(&[(420, 720), (740, 960)]), [gap(720, 20), after]);
        // At 13:30 they leave more freedom before them.
        let before = Break { to_s: 780, ..rest };
        assert_eq!(of(&[(420, 810), (830, 960)]), [before, gap(810, 20)]);
        // No room on either side of short work; and who begins after its hours has had it.
        assert_eq!(of(&[(830, 850), (865, 900)]), [gap(850, 15)]);
        assert_eq!(of(&[(850, 960)]), []);
    }
}
