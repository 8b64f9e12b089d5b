//! A day of rounds as a time chart: a row for each van, readable in black and white.

use crate::throughput::canvas::{Anchor, Canvas, Mark, Stroke, WIDTH};
use chrono::{NaiveDate, NaiveDateTime, NaiveTime, TimeDelta, Timelike};

/// A van's row.
#[derive(Debug, Clone, PartialEq)]
pub struct DayTrack {
    pub van: String,
    pub crew: Vec<String>,
    pub spans: Vec<DaySpan>,
}

/// Something that a van or its crew does, or what the day does to them.
#[derive(Debug, Clone, PartialEq)]
pub struct DaySpan {
    pub kind: DaySpanKind,
    pub from: NaiveDateTime,
    pub to: NaiveDateTime,
    /// What it is, in words; drawn where there is room.
    pub label: String,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DaySpanKind {
    /// On the road.
    Travel,
    /// At a vehicle.
    Work,
    /// A product lies on the vehicle and is waited for: part of the work.
    Dwell,
    Refill,
    Break,
    /// Too hot for a product that the visit needs.
    Hot,
}

const ROW: f64 = 62.0;
const BAR: f64 = 24.0;
const TOP: f64 = 84.0;
const LABEL: f64 = 132.0;
const END: f64 = WIDTH - 16.0;
/// Width of a letter of the labels, about, in units of the picture.
const LETTER: f64 = 7.2;
const ID: &str = "day";

/// The picture of a day: lines are travel, boxes work with the time that products lie hatched in them, black blocks
/// refills, dashes breaks, and dots above a row hours in which its visits would be too hot.
pub fn day_svg(title: &str, on: NaiveDate, tracks: &[DayTrack]) -> String {
    let hours = Hours::around(on, tracks);
    let bottom = TOP + ROW * tracks.len().max(1) as f64;
    let mut canvas = Canvas::new(bottom + 34.0);
    canvas.heading(title);
    canvas.text(
        (8.0, 40.0),
        Anchor::Start,
        "line: on the road; box: at a vehicle; hatched: a product lies; black: refill of water;",
    );
    canvas.text((8.0, 57.0), Anchor::Start, "dashes: break; dots above a row: too hot for a product there");
    for hour in hours.first..=hours.last {
        let x = hours.x(on.and_time(NaiveTime::MIN) + TimeDelta::hours(hour));
        canvas.line((x, TOP - 6.0), (x, bottom + 4.0), Stroke::Thin);
        canvas.text((x, bottom + 20.0), Anchor::Middle, &format!("{}", hour.rem_euclid(24)));
    }
    if tracks.is_empty() {
        canvas.text(((LABEL + END) / 2.0, TOP + ROW / 2.0), Anchor::Middle, "no van goes out");
    }
    for (nth, track) in tracks.iter().enumerate() {
        row(&mut canvas, &hours, TOP + ROW * nth as f64, track);
    }
    canvas.finish(ID, title, &told(tracks))
}

/// The hours of the day that are drawn.
struct Hours {
    midnight: NaiveDateTime,
    first: i64,
    last: i64,
}

impl Hours {
    fn around(on: NaiveDate, tracks: &[DayTrack]) -> Hours {
        let midnight = on.and_time(NaiveTime::MIN);
        let spans =
            || tracks.iter().flat_map(|track| &track.spans).filter(|span| span.kind != DaySpanKind::Hot);
        let hour = |at: NaiveDateTime| (at - midnight).num_minutes().clamp(-720, 2880).div_euclid(60);
        let first = spans().map(|span| hour(span.from)).min().unwrap_or(8);
        let last = spans().map(|span| hour(span.to) + 1).max().unwrap_or(17);
        Hours { midnight, first, last: last.max(first + 1) }
    }

    fn x(&self, at: NaiveDateTime) -> f64 {
        let hours = (at - self.midnight).num_seconds() as f64 / 3600.0;
        let share = (hours - self.first as f64) / (self.last - self.first) as f64;
        LABEL + share.clamp(0.0, 1.0) * (END - LABEL)
    }
}

fn row(canvas: &mut Canvas, hours: &Hours, top: f64, track: &DayTrack) {
    let (bar, middle) = (top + 18.0, top + 18.0 + BAR / 2.0);
    canvas.text((8.0, middle - 1.0), Anchor::Start, &cut(&track.van, LABEL - 16.0));
    canvas.text((8.0, middle + 14.0), Anchor::Start, &cut(&track.crew.join(", "), LABEL - 16.0));
    let of = |kind: DaySpanKind| track.spans.iter().filter(move |span| span.kind == kind);
    for span in of(DaySpanKind::Hot) {
        canvas.line((hours.x(span.from), bar - 5.0), (hours.x(span.to), bar - 5.0), Stroke::Dotted);
        canvas.line((hours.x(span.from), bar - 8.0), (hours.x(span.to), bar - 8.0), Stroke::Dotted);
    }
    for span in of(DaySpanKind::Travel) {
        canvas.line((hours.x(span.from), middle), (hours.x(span.to), middle), Stroke::Solid);
    }
    for span in of(DaySpanKind::Work) {
        canvas.bar((hours.x(span.from), bar), (hours.x(span.to) - hours.x(span.from), BAR), None);
    }
    for span in of(DaySpanKind::Dwell) {
        let width = hours.x(span.to) - hours.x(span.from);
        canvas.bar((hours.x(span.from), bar + BAR * 0.6), (width, BAR * 0.4), Some(ID));
    }
    for span in of(DaySpanKind::Refill) {
        canvas.block((hours.x(span.from), bar), ((hours.x(span.to) - hours.x(span.from)).max(2.0), BAR));
    }
    for span in of(DaySpanKind::Break) {
        canvas.line(
            (hours.x(span.from), bar + BAR + 4.0),
            (hours.x(span.to), bar + BAR + 4.0),
            Stroke::Dashed,
        );
    }
    for (nth, span) in of(DaySpanKind::Work).enumerate() {
        let (from, to) = (hours.x(span.from), hours.x(span.to));
        // Inside where it fits, else below, by turns at two heights.
        if span.label.chars().count() as f64 * LETTER < to - from {
            canvas.text(((from + to) / 2.0, bar + 11.5), Anchor::Middle, &span.label);
        } else {
            let y = bar + BAR + if nth.is_multiple_of(2) { 12.0 } else { -BAR - 9.0 };
            canvas.text((from, y), Anchor::Start, &cut(&span.label, 17.0 * LETTER));
        }
    }
    if track.spans.is_empty() {
        canvas.mark((LABEL + 8.0, middle), Mark::Hollow);
    }
}

/// The beginning of a text that is not wider than this.
fn cut(text: &str, width: f64) -> String {
    let most = (width / LETTER) as usize;
    if text.chars().count() <= most {
        return text.to_owned();
    }
    text.chars().take(most.saturating_sub(1)).chain(['…']).collect()
}

/// The picture in words.
fn told(tracks: &[DayTrack]) -> String {
    let mut text = String::new();
    for track in tracks {
        text.push_str(&format!("{} with {}: ", track.van, track.crew.join(" and ")));
        let mut spans: Vec<&DaySpan> = track
            .spans
            .iter()
            .filter(|span| !matches!(span.kind, DaySpanKind::Travel | DaySpanKind::Hot))
            .collect();
        spans.sort_by_key(|span| (span.from, span.to));
        let told = spans.iter().map(|span| {
            let clock = |at: NaiveDateTime| format!("{:02}:{:02}", at.hour(), at.minute());
            format!("{} to {} {}", clock(span.from), clock(span.to), span.label)
        });
        text.push_str(&told.collect::<Vec<_>>().join(", "));
        text.push_str(". ");
    }
    if text.is_empty() { "No van goes out.".into() } else { text.trim_end().to_owned() }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn span(kind: DaySpanKind, from: u32, to: u32, label: &str) -> DaySpan {
        let on = NaiveDate::from_ymd_opt(2031, 3, 19).expect("a date");
        let at = |minutes: u32| on.and_hms_opt(minutes / 60, minutes % 60, 0).expect("a time");
        DaySpan { kind, from: at(from), to: at(to), label: label.into() }
    }

    /// Every kind has a shape of its own, all is told in words, and what comes from outside is text.
    #[test]
    fn each_kind_is_drawn_and_told() {
        use DaySpanKind::*;
        let spans = vec![
            span(Travel, 440, 480, ""),
            span(Work, 480, 600, "J1 <b>"),
            span(Dwell, 500, 510, "iron remover"),
            span(Refill, 620, 635, "refill"),
            span(Break, 660, 690, "break"),
            span(Hot, 660, 900, "R08"),
            span(Work, 700, 720, "a short visit"),
        ];
        let track = DayTrack { van: "V1".into(), crew: vec!["Nimbo".into(), "Tarvel".into()], spans };
        let on = NaiveDate::from_ymd_opt(2031, 3, 19).expect("a date");
        let svg = day_svg("Rounds", on, std::slice::from_ref(&track));
        let count = |part: &str| svg.matches(part).count();
        assert_eq!(count("fill=\"#fff\" stroke=\"#000\"/>"), 2, "two boxes of work\n{svg}");
        assert_eq!(count("url(#day-hatch)"), 1, "one dwell");
        assert_eq!(count("stroke-dasharray=\"8 4\""), 1, "one break");
        assert_eq!(count("stroke-dasharray=\"2 3\""), 2, "hot hours as a double line of dots");
        assert!(svg.contains("08:00 to 10:00 J1 &lt;b&gt;, 08:20 to 08:30 iron remover"), "{svg}");
        assert!(!svg.contains("<b>"));
        // Every colour is black or white.
        assert!(svg.split("=\"#").skip(1).all(|rest| rest.starts_with("000") || rest.starts_with("fff")));
        assert!(day_svg("Rounds", on, &[]).contains("No van goes out."));
    }
}
