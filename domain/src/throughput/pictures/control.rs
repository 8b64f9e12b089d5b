//! Control charts: individuals with moving ranges, and the moving average.

use super::axis::{Axis, number};
use super::canvas::{Anchor, Canvas, LEFT, Mark, RIGHT, Stroke};
use crate::throughput::statistics::LEAST_POINTS;
use crate::throughput::{Individuals, Point, Series};
use chrono::NaiveDate;

/// Top and bottom of the plots.
const VALUES: (f64, f64) = (56.0, 216.0);
const RANGES: (f64, f64) = (254.0, 314.0);
/// Room below a plot for the dates.
const DATES: f64 = 44.0;

/// Individuals above, moving ranges below; without limits while there are fewer than 20 points.
pub fn individuals_svg(series: &Series) -> String {
    let chart = series.individuals.as_ref();
    let mut canvas = Canvas::new(if chart.is_some() { RANGES.1 } else { VALUES.1 } + DATES);
    canvas.heading(&series.title);
    let limits = chart.map(|chart| [chart.lower, chart.upper]);
    let values = series.points.iter().map(|point| point.value).chain(limits.into_iter().flatten());
    let y = Axis::around(values, VALUES.1, VALUES.0);
    let x = time(&series.points);
    canvas.scale(&y, &series.unit, VALUES.0, VALUES.1);
    if let Some(chart) = chart {
        draw_limits(&mut canvas, &y, (chart.lower, chart.center, chart.upper));
    }
    changes(&mut canvas, series, &x, VALUES);
    canvas.path(series.points.iter().map(|p| (at(&x, p.week_on), y.at(p.value))), Stroke::Thin);
    for point in &series.points {
        let outside = chart.is_some_and(|chart| chart.outside.contains(&point.week_on));
        canvas.mark((at(&x, point.week_on), y.at(point.value)), mark(point.enough, outside));
    }
    match chart {
        Some(chart) => ranges(&mut canvas, series, chart, &x),
        None => no_limits(&mut canvas, series),
    }
    dates(&mut canvas, &series.points, &x, if chart.is_some() { RANGES.1 } else { VALUES.1 });
    canvas.finish(&format!("individuals-{}", series.name), &title(series, "individuals chart"), &told(series))
}

/// The moving average with its limits; none while there are fewer than 20 points.
pub fn ewma_svg(series: &Series) -> Option<String> {
    let chart = series.ewma.as_ref()?;
    let solid: Vec<&Point> = series.points.iter().filter(|point| point.enough).collect();
    let mut canvas = Canvas::new(VALUES.1 + DATES);
    canvas.heading(&format!("{}: moving average, each week with weight {}", series.title, chart.lambda));
    let y = Axis::around(chart.values.iter().copied().chain([chart.lower, chart.upper]), VALUES.1, VALUES.0);
    let x = time(&series.points);
    canvas.scale(&y, &series.unit, VALUES.0, VALUES.1);
    draw_limits(&mut canvas, &y, (chart.lower, chart.target, chart.upper));
    changes(&mut canvas, series, &x, VALUES);
    let places: Vec<_> =
        solid.iter().zip(&chart.values).map(|(point, value)| (point.week_on, y.at(*value))).collect();
    canvas.path(places.iter().map(|(week, y)| (at(&x, *week), *y)), Stroke::Solid);
    for (week, y) in places {
        canvas.mark((at(&x, week), y), mark(true, chart.outside.contains(&week)));
    }
    dates(&mut canvas, &series.points, &x, VALUES.1);
    let outside = weeks(&chart.outside);
    let description = format!(
        "{} The moving average is {} at the end; limits {} to {} around {}. Outside the limits: {outside}.",
        series.definition,
        chart.values.last().map_or_else(|| "unknown".to_owned(), |value| number(*value)),
        number(chart.lower),
        number(chart.upper),
        number(chart.target)
    );
    Some(canvas.finish(&format!("ewma-{}", series.name), &title(series, "moving average"), &description))
}

fn title(series: &Series, kind: &str) -> String {
    match (series.points.first(), series.points.last()) {
        (Some(first), Some(last)) => {
            format!("{}, {kind}, weeks of {} to {}", series.title, first.week_on, last.week_on)
        }
        _ => format!("{}, {kind}", series.title),
    }
}

fn told(series: &Series) -> String {
    let mut text = series.definition.clone();
    match &series.individuals {
        Some(chart) => text.push_str(&format!(
            " Mean {}, limits {} to {}. Outside the limits: {}. Jumps: {}.",
            number(chart.center),
            number(chart.lower),
            number(chart.upper),
            weeks(&chart.outside),
            weeks(&chart.jumps)
        )),
        None => text.push_str(&format!(" No limits: fewer than {LEAST_POINTS} weeks with jobs enough.")),
    }
    for change in &series.changes {
        text.push(' ');
        text.push_str(&change.text);
    }
    text
}

fn weeks(weeks: &[NaiveDate]) -> String {
    if weeks.is_empty() {
        return "none".to_owned();
    }
    weeks.iter().map(NaiveDate::to_string).collect::<Vec<_>>().join(", ")
}

fn mark(enough: bool, outside: bool) -> Mark {
    match (enough, outside) {
        (false, _) => Mark::Hollow,
        (true, true) => Mark::Outside,
        (true, false) => Mark::Plain,
    }
}

fn draw_limits(canvas: &mut Canvas, y: &Axis, (lower, center, upper): (f64, f64, f64)) {
    canvas.limit(y.at(upper), &format!("upper {}", number(upper)), Stroke::Dashed);
    canvas.limit(y.at(center), &format!("mean {}", number(center)), Stroke::Thin);
    canvas.limit(y.at(lower), &format!("lower {}", number(lower)), Stroke::Dashed);
}

fn ranges(canvas: &mut Canvas, series: &Series, chart: &Individuals, x: &Axis) {
    let solid: Vec<&Point> = series.points.iter().filter(|point| point.enough).collect();
    let ranges: Vec<(NaiveDate, f64)> =
        solid.windows(2).map(|pair| (pair[1].week_on, (pair[1].value - pair[0].value).abs())).collect();
    let values = ranges.iter().map(|range| range.1).chain([chart.moving_range_upper]);
    let y = Axis::from_zero(values, RANGES.1, RANGES.0);
    canvas.scale(&y, "moving range", RANGES.0, RANGES.1);
    let upper = chart.moving_range_upper;
    canvas.limit(y.at(upper), &format!("upper {}", number(upper)), Stroke::Dashed);
    canvas.limit(y.at(chart.moving_range), &format!("mean {}", number(chart.moving_range)), Stroke::Thin);
    canvas.path(ranges.iter().map(|(week, range)| (at(x, *week), y.at(*range))), Stroke::Thin);
    for (week, range) in ranges {
        canvas.mark((at(x, week), y.at(range)), mark(true, chart.jumps.contains(&week)));
    }
}

fn no_limits(canvas: &mut Canvas, series: &Series) {
    let enough = series.points.iter().filter(|point| point.enough).count();
    let text = format!("{enough} weeks with jobs enough: limits from {LEAST_POINTS} on");
    canvas.text((RIGHT, 20.0), Anchor::End, &text);
}

/// A dotted line before the first week of each new level.
fn changes(canvas: &mut Canvas, series: &Series, x: &Axis, (top, bottom): (f64, f64)) {
    for change in &series.changes {
        let place = at(x, change.week_on) - (at(x, change.week_on) - LEFT).min(4.0);
        canvas.line((place, top), (place, bottom), Stroke::Dotted);
        canvas.text((place, top - 7.0), Anchor::Middle, &format!("change {}", change.week_on));
    }
}

fn days(week: NaiveDate) -> f64 {
    (week - NaiveDate::default()).num_days() as f64
}

fn at(x: &Axis, week: NaiveDate) -> f64 {
    x.at(days(week))
}

fn time(points: &[Point]) -> Axis {
    Axis::around(points.iter().map(|point| days(point.week_on)), LEFT, RIGHT)
}

/// Every so many weeks a date, so that they do not run into each other.
fn dates(canvas: &mut Canvas, points: &[Point], x: &Axis, bottom: f64) {
    let every = points.len().div_ceil(8).max(1);
    for point in points.iter().step_by(every) {
        let place = at(x, point.week_on);
        canvas.line((place, bottom), (place, bottom + 4.0), Stroke::Solid);
        canvas.text((place, bottom + 18.0), Anchor::Middle, &point.week_on.format("%d %b").to_string());
    }
    if let (Some(first), Some(last)) = (points.first(), points.last()) {
        let years = format!("weeks from {} to {}", first.week_on, last.week_on);
        canvas.text(((LEFT + RIGHT) / 2.0, bottom + 36.0), Anchor::Middle, &years);
    }
}
