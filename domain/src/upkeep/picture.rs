//! A forecast as a picture: load and life of a vehicle over the year with their 80 % intervals, and when what is needed.
//!
//! Plain SVG 1.1 that reads in black and white: lines differ by their dashes, intervals are hatched, and everything is
//! named in text. `title` and `desc` say the same in words.

use super::{CoatLife, CoatRef, Need, NeedKind, Rate, Upkeep};
use chrono::{Days, Months, NaiveDate};
use std::fmt::Write;

const WIDTH: f64 = 1000.0;
const LEFT: f64 = 230.0;
const RIGHT: f64 = 970.0;
const TOP: f64 = 84.0;
const PANEL: f64 = 150.0;
/// Below a panel: its months, then the name and the key of the next.
const GAP: f64 = 74.0;
/// Below the lower panel: its months, which the needs share.
const MONTHS: f64 = 30.0;
const ROW: f64 = 30.0;
/// Days from the left to the right edge.
const SPAN_D: f64 = 365.0;
/// The top of a panel, in limits or lives.
const HIGHEST: f64 = 1.25;
/// Lines in one panel; more would not be told apart.
const MOST_LINES: usize = 4;
const DASHES: [&str; MOST_LINES] = ["", "9 4", "2 3", "9 3 2 3"];
const HATCHES: [&str; MOST_LINES] = ["h0", "h1", "h2", "h3"];

/// The forecast of a vehicle that the shop calls `label`, as an SVG document.
///
/// Loads and lives are drawn as they would grow if nothing were done: at the rate of today, within its interval.
pub fn picture(label: &str, upkeep: &Upkeep) -> String {
    let rows = upkeep.needs.len().max(1) as f64;
    let rows_top = TOP + 2.0 * PANEL + GAP + MONTHS;
    let height = rows_top + rows * ROW + 40.0;
    let mut sheet = Sheet { svg: String::new(), on: upkeep.on, height };
    sheet.open(label, upkeep);
    let rates: Vec<&Rate> = upkeep.rates.iter().filter(|rate| is_drawn(rate)).take(MOST_LINES).collect();
    sheet.panel(TOP, "Load, if nothing is done", "limit", rates.is_empty());
    sheet.months(TOP + PANEL + 16.0, TOP + PANEL + 16.0);
    for (i, rate) in rates.iter().enumerate() {
        sheet.load(i, rate);
    }
    let lives_top = TOP + PANEL + GAP;
    let lives = &upkeep.lives[..upkeep.lives.len().min(MOST_LINES)];
    sheet.panel(lives_top, "Life used of each coat", "worn", lives.is_empty());
    for (i, life) in lives.iter().enumerate() {
        sheet.life(lives_top, i, life);
    }
    sheet.months(lives_top + PANEL + 16.0, height - 34.0);
    for (i, need) in upkeep.needs.iter().enumerate() {
        sheet.need(rows_top + ROW * i as f64, need);
    }
    sheet.close()
}

struct Sheet {
    svg: String,
    on: NaiveDate,
    height: f64,
}

impl Sheet {
    fn open(&mut self, label: &str, upkeep: &Upkeep) {
        let height = self.height;
        let _ = writeln!(
            self.svg,
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDTH} {height}\" role=\"img\" \
             aria-labelledby=\"title desc\" font-family=\"sans-serif\" font-size=\"13\" stroke-linejoin=\"round\">\n\
             <title id=\"title\">Upkeep of {} from {}</title>\n<desc id=\"desc\">{}</desc>\n<defs>",
            escaped(label),
            upkeep.on,
            escaped(&described(upkeep)),
        );
        for (hatch, path) in HATCHES.iter().zip(["M0 8L8 0", "M0 0L8 8", "M0 4H8", "M4 0V8"]) {
            let _ = writeln!(
                self.svg,
                "<pattern id=\"{hatch}\" width=\"8\" height=\"8\" patternUnits=\"userSpaceOnUse\">\
                 <path d=\"{path}\" stroke=\"black\" stroke-width=\"0.7\" fill=\"none\"/></pattern>"
            );
        }
        let _ = writeln!(self.svg, "</defs>\n<rect width=\"{WIDTH}\" height=\"{height}\" fill=\"white\"/>");
        self.text(
            LEFT,
            24.0,
            "start",
            &format!("Upkeep of {label}"),
            "font-size=\"17\" font-weight=\"bold\"",
        );
        let legend = "hatched: where it lies with 80 %; triangle: the day it is due";
        self.text(RIGHT, 24.0, "end", legend, "");
    }

    /// Frame, name, and the line at which something is to be done.
    fn panel(&mut self, top: f64, name: &str, line: &str, empty: bool) {
        let (bottom, at) = (top + PANEL, level(top, 1.0));
        self.text(LEFT, top - 26.0, "start", name, "font-weight=\"bold\"");
        let _ = writeln!(
            self.svg,
            "<path d=\"M{LEFT} {top}V{bottom}H{RIGHT}\" stroke=\"black\" fill=\"none\"/>\n\
             <path d=\"M{LEFT} {at:.1}H{RIGHT}\" stroke=\"black\" stroke-dasharray=\"1 4\"/>"
        );
        self.text(LEFT - 8.0, at + 4.0, "end", line, "");
        self.text(LEFT - 8.0, bottom + 4.0, "end", "0", "");
        if empty {
            self.text((LEFT + RIGHT) / 2.0, top + PANEL / 2.0, "middle", "nothing is known to show", "");
        }
    }

    /// Names of the months at `at`, with a line down to `to`.
    fn months(&mut self, at: f64, to: f64) {
        for month in 1..=12 {
            let Some(first) = self.on.checked_add_months(Months::new(month)) else { return };
            let first = first.checked_sub_days(Days::new(u64::from(chrono::Datelike::day0(&first))));
            let Some(first) = first else { return };
            let x = self.x(first);
            if x >= RIGHT - 20.0 {
                return;
            }
            self.text(x + 3.0, at, "start", &first.format("%b").to_string(), "font-size=\"11\"");
            let _ = writeln!(
                self.svg,
                "<path d=\"M{x:.1} {:.1}V{to:.1}\" stroke=\"black\" stroke-width=\"0.2\"/>",
                at - 12.0
            );
        }
    }

    /// The share of the limit that has gathered, day by day.
    fn load(&mut self, i: usize, rate: &Rate) {
        let start = rate.load.unwrap_or_default() / rate.limit;
        let after = |per_day: f64| {
            // The line ends at the top of the panel, or at the edge of the year.
            let days = if per_day > 0.0 { (HIGHEST - start) * rate.limit / per_day } else { SPAN_D };
            let days = days.clamp(0.0, SPAN_D);
            (days, (start + days * per_day / rate.limit).min(HIGHEST))
        };
        let ends = [rate.per_day.low, rate.per_day.expected, rate.per_day.high].map(after);
        self.fan(TOP, i, start.min(HIGHEST), ends);
        self.key(i, TOP, rate.contaminant.name());
    }

    /// The share of the life that is used, to the days between which it ends.
    fn life(&mut self, top: f64, i: usize, life: &CoatLife) {
        let day =
            |on: Option<NaiveDate>| on.map_or(20.0 * SPAN_D, |on| (on - self.on).num_days().max(0) as f64);
        let (early, late) = (day(life.early_on), day(life.late_on));
        let used = life.used.clamp(0.0, HIGHEST);
        let cut = |days: f64| {
            let days = days.max(1.0);
            (days.min(SPAN_D), used + (1.0_f64.max(used) - used) * (SPAN_D / days).min(1.0))
        };
        self.fan(top, i, used, [late, (early + late) / 2.0, early].map(cut));
        self.key(i, top, &coat(&life.coat));
    }

    /// A line that begins at `start` today, within an interval that opens from there.
    fn fan(&mut self, top: f64, i: usize, start: f64, [low, middle, high]: [(f64, f64); 3]) {
        let at = |(days, value): (f64, f64)| format!("{:.1} {:.1}", days_x(days), level(top, value));
        let (from, hatch, dashes) = (at((0.0, start)), HATCHES[i], DASHES[i]);
        // From the end of the high line along the edge of the panel to the end of the low one.
        let corner = if high.0 < SPAN_D && low.0 >= SPAN_D {
            format!("L{} ", at((SPAN_D, high.1)))
        } else {
            String::new()
        };
        let _ = writeln!(
            self.svg,
            "<path d=\"M{from}L{} {corner}L{}Z\" fill=\"url(#{hatch})\" stroke=\"black\" stroke-width=\"0.5\"/>\n\
             <path d=\"M{from}L{}\" stroke=\"black\" stroke-width=\"2\" stroke-dasharray=\"{dashes}\" fill=\"none\"/>",
            at(high),
            at(low),
            at(middle),
        );
    }

    /// What the line `i` of a panel stands for, above it.
    fn key(&mut self, i: usize, top: f64, name: &str) {
        let (x, dashes) = (LEFT + (RIGHT - LEFT) / MOST_LINES as f64 * i as f64, DASHES[i]);
        let _ = writeln!(
            self.svg,
            "<path d=\"M{x:.1} {:.1}h26\" stroke=\"black\" stroke-width=\"2\" stroke-dasharray=\"{dashes}\"/>",
            top - 12.0
        );
        self.text(x + 32.0, top - 8.0, "start", name, "font-size=\"11\"");
    }

    /// A need: its name, the interval of its day, and the day it is due.
    fn need(&mut self, top: f64, need: &Need) {
        let middle = top + ROW / 2.0;
        self.text(LEFT - 8.0, middle + 4.0, "end", &name(need), "");
        if let Some(early_on) = need.early_on {
            let (x, to) = (self.x(early_on), need.late_on.map_or(RIGHT, |on| self.x(on)));
            let _ = writeln!(
                self.svg,
                "<rect x=\"{x:.1}\" y=\"{:.1}\" width=\"{:.1}\" height=\"12\" fill=\"url(#h0)\" stroke=\"black\"/>",
                middle - 6.0,
                (to - x).max(1.0),
            );
        }
        let x = self.x(need.due_on);
        let _ = writeln!(
            self.svg,
            "<path d=\"M{x:.1} {:.1}l-6 -10h12z\" fill=\"black\" stroke=\"white\"/>",
            middle + 5.0
        );
        // Beside the triangle, on the side where there is room.
        let (at, anchor) = if x > RIGHT - 110.0 { (x - 10.0, "end") } else { (x + 10.0, "start") };
        let halo = "font-size=\"11\" stroke=\"white\" stroke-width=\"3\" paint-order=\"stroke\"";
        self.text(at, middle + 4.0, anchor, &need.due_on.to_string(), halo);
    }

    fn text(&mut self, x: f64, y: f64, anchor: &str, text: &str, more: &str) {
        let _ = writeln!(
            self.svg,
            "<text x=\"{x:.1}\" y=\"{y:.1}\" text-anchor=\"{anchor}\" {more}>{}</text>",
            escaped(text)
        );
    }

    fn x(&self, on: NaiveDate) -> f64 {
        days_x((on - self.on).num_days() as f64)
    }

    fn close(mut self) -> String {
        self.svg.push_str("</svg>\n");
        self.svg
    }
}

/// Earlier than today is at the left edge, later than a year at the right.
fn days_x(days: f64) -> f64 {
    LEFT + (RIGHT - LEFT) * (days / SPAN_D).clamp(0.0, 1.0)
}

fn level(top: f64, value: f64) -> f64 {
    top + PANEL * (1.0 - value.clamp(0.0, HIGHEST) / HIGHEST)
}

/// A load that is known and has a limit.
fn is_drawn(rate: &Rate) -> bool {
    rate.limit > 0.0 && rate.load.is_some()
}

/// The picture in words.
fn described(upkeep: &Upkeep) -> String {
    let mut text = String::new();
    for rate in upkeep.rates.iter().filter(|rate| is_drawn(rate)) {
        let percent = 100.0 * rate.load.unwrap_or_default() / rate.limit;
        let _ = write!(text, "{}: {percent:.0} % of the limit today. ", rate.contaminant.name());
    }
    for life in &upkeep.lives {
        let _ = write!(text, "{}: {:.0} % of its life used. ", coat(&life.coat), 100.0 * life.used);
    }
    for need in &upkeep.needs {
        let _ = write!(text, "{}: due on {}", name(need), need.due_on);
        if let Some((early, late)) = need.early_on.zip(need.late_on) {
            let _ = write!(text, ", with 80 % between {early} and {late}");
        }
        text.push_str(". ");
    }
    if text.is_empty() { "Nothing is known to fall due.".into() } else { text.trim_end().to_owned() }
}

fn name(need: &Need) -> String {
    let kind = match need.kind {
        NeedKind::Decontamination => "iron removal",
        NeedKind::Protection => "protection",
        NeedKind::Wash => "wash",
        NeedKind::SaltFlush => "salt flush",
        NeedKind::FeelTest => "feel test",
        NeedKind::SpotRemoval => "spot removal",
        NeedKind::FrontWash => "front wash",
    };
    match (&need.coat, need.contaminants.first()) {
        (Some(of), _) => coat(of),
        (None, Some(of)) => format!("{kind}: {}", of.name()),
        (None, None) => kind.to_owned(),
    }
}

fn coat(coat: &CoatRef) -> String {
    let protection = coat.protection.replace('_', " ");
    coat.zone.map_or(protection.clone(), |zone| format!("{protection}, {}", zone.name()))
}

/// As character data of XML 1.0: markup is escaped, what XML cannot hold is left out.
fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\u{fffe}' | '\u{ffff}' => {}
            c if c.is_control() => out.push(' '),
            c => out.push(c),
        }
    }
    out
}
