//! The week ahead: work against hours, day by day and crew by crew.

use super::axis::Axis;
use super::canvas::{Anchor, Canvas, Mark, Stroke, WIDTH};
use crate::throughput::{Ahead, DayLoad, Load};

const ROW: f64 = 22.0;
const BAR: f64 = 13.0;
const TOP: f64 = 66.0;
const LABEL: f64 = 190.0;
const END: f64 = 560.0;
const MIN_PER_H: f64 = 60.0;
const ID: &str = "load-ahead";

/// One row for the week and one for each crew's day: a hatched bar to the median, a line on to the 90th percentile,
/// and an upright stroke where the hours end.
pub fn load_svg(ahead: &Ahead) -> String {
    let days: Vec<&DayLoad> =
        ahead.days.iter().filter(|day| day.load.jobs > 0.0 || day.load.available_minutes > 0.0).collect();
    let bottom = TOP + ROW * (days.len() as f64 + 2.0);
    let mut canvas = Canvas::new(bottom + 44.0);
    canvas.heading(&format!("Work ahead, {} to {}", ahead.from, ahead.to));
    canvas.text(
        (8.0, 40.0),
        Anchor::Start,
        "hatched to the median, line to the 90th percentile, upright stroke: the hours there are",
    );
    row(&mut canvas, TOP, "all crews, week", &ahead.week, &scale([&ahead.week].into_iter()));
    let x = scale(days.iter().map(|day| &day.load));
    let first = TOP + ROW * 1.6;
    for (index, day) in days.iter().enumerate() {
        let crew =
            if day.crew.is_empty() { "no crew yet" } else { day.crew.split(',').next().unwrap_or_default() };
        let label = format!("{} {crew}", day.on.format("%a %d"));
        row(&mut canvas, first + ROW * index as f64, &label, &day.load, &x);
    }
    for (tick, written) in x.ticks(6) {
        canvas.line((x.at(tick), bottom), (x.at(tick), bottom + 4.0), Stroke::Solid);
        canvas.text((x.at(tick), bottom + 18.0), Anchor::Middle, &written);
    }
    canvas.line((LABEL, bottom), (END, bottom), Stroke::Solid);
    canvas.text(((LABEL + END) / 2.0, bottom + 36.0), Anchor::Middle, "person-hours of a crew's day");
    canvas.finish(ID, &format!("Work ahead from {} to {}", ahead.from, ahead.to), &told(ahead, &days))
}

fn scale<'a>(loads: impl Iterator<Item = &'a Load>) -> Axis {
    let most =
        loads.flat_map(|load| [load.p90_minutes, load.available_minutes]).map(|minutes| minutes / MIN_PER_H);
    Axis::from_zero(most, LABEL, END)
}

fn row(canvas: &mut Canvas, y: f64, label: &str, load: &Load, x: &Axis) {
    let hours = |minutes: f64| x.at(minutes / MIN_PER_H);
    let middle = y + BAR / 2.0;
    canvas.text((LABEL - 8.0, middle + 4.5), Anchor::End, label);
    canvas.bar((LABEL, y), (hours(load.p50_minutes) - LABEL, BAR), Some(ID));
    canvas.line((hours(load.p50_minutes), middle), (hours(load.p90_minutes), middle), Stroke::Solid);
    canvas.line(
        (hours(load.p90_minutes), middle - 4.0),
        (hours(load.p90_minutes), middle + 4.0),
        Stroke::Solid,
    );
    let end = hours(load.available_minutes);
    // Twice, for a heavy stroke.
    for offset in [-0.8, 0.8] {
        canvas.line((end + offset, y - 3.0), (end + offset, y + BAR + 3.0), Stroke::Solid);
    }
    if load.chance_over >= 0.5 {
        canvas.mark((END + 16.0, middle), Mark::Outside);
    }
    let said = format!("{:.0} h, over {:.0} %", load.p50_minutes / MIN_PER_H, load.chance_over * 100.0);
    canvas.text((WIDTH - 8.0, middle + 4.5), Anchor::End, &said);
}

fn told(ahead: &Ahead, days: &[&DayLoad]) -> String {
    let load = |load: &Load| {
        format!(
            "{:.0} hours of work at the median and {:.0} at the 90th percentile for {:.0} hours; over with a chance of \
             {:.0} %",
            load.p50_minutes / MIN_PER_H,
            load.p90_minutes / MIN_PER_H,
            load.available_minutes / MIN_PER_H,
            load.chance_over * 100.0
        )
    };
    let mut text = format!("The week: {}.", load(&ahead.week));
    for day in days {
        text.push_str(&format!(" {} {}: {}.", day.on, day.crew, load(&day.load)));
    }
    text
}
