//! Control charts: individuals with moving ranges, and the moving average.

use super::axis::{Axis, number};
use super::canvas::{Anchor, Canvas, LEFT, Mark, RIGHT, Stroke};
use crate::throughput::statistics::LEAST_POINTS;
use crate::throughput::{Ewma, Individuals, Phase, Point, Series};
use chrono::NaiveDate;

/// Top and bottom of the plots.
const VALUES: (f64, f64) = (56.0, 216.0);
const RANGES: (f64, f64) = (254.0, 314.0);
/// Room below a plot for the dates.
const DATES: f64 = 44.0;

/// Individuals above, moving ranges below; limits over the weeks of each phase, none while it has fewer than 20 points.
pub fn individuals_svg(series: &Series) -> String {
    let charts: Vec<(&Phase, &Individuals)> =
        series.phases.iter().filter_map(|phase| Some((phase, phase.individuals.as_ref()?))).collect();
    let bottom = if charts.is_empty() { VALUES.1 } else { RANGES.1 };
    let mut canvas = Canvas::new(bottom + DATES);
    canvas.heading(&series.title);
    let limits = charts.iter().flat_map(|(_, chart)| [chart.lower, chart.upper]);
    let values = series.points.iter().map(|point| point.value).chain(limits);
    let y = Axis::around(values, VALUES.1, VALUES.0);
    let x = time(&series.points);
    canvas.scale(&y, &series.unit, VALUES.0, VALUES.1);
    for (phase, chart) in &charts {
        let place = Place::of(phase, series, &x);
        draw_limits(&mut canvas, &y, place, (chart.lower, chart.center, chart.upper));
    }
    changes(&mut canvas, series, &x, VALUES);
    canvas.path(series.points.iter().map(|p| (at(&x, p.week_on), y.at(p.value))), Stroke::Thin);
    for point in &series.points {
        let outside = series.is_outside(point.week_on);
        canvas.mark((at(&x, point.week_on), y.at(point.value)), mark(point.enough, outside));
    }
    if charts.is_empty() {
        no_limits(&mut canvas, series);
    } else {
        ranges(&mut canvas, series, &charts, &x);
    }
    dates(&mut canvas, &series.points, &x, bottom);
    canvas.finish(&format!("individuals-{}", series.name), &title(series, "individuals chart"), &told(series))
}

/// The moving average with its limits, begun anew with each phase; none while no phase has 20 points.
pub fn ewma_svg(series: &Series) -> Option<String> {
    let charts: Vec<(&Phase, &Ewma)> =
        series.phases.iter().filter_map(|phase| Some((phase, phase.ewma.as_ref()?))).collect();
    let (_, last) = charts.last()?;
    let mut canvas = Canvas::new(VALUES.1 + DATES);
    canvas.heading(&format!("{}: moving average, each week with weight {}", series.title, last.lambda));
    let values = charts.iter().flat_map(|(_, c)| c.values.iter().copied().chain([c.lower, c.upper]));
    let y = Axis::around(values, VALUES.1, VALUES.0);
    let x = time(&series.points);
    canvas.scale(&y, &series.unit, VALUES.0, VALUES.1);
    changes(&mut canvas, series, &x, VALUES);
    for (phase, chart) in &charts {
        let place = Place::of(phase, series, &x);
        draw_limits(&mut canvas, &y, place, (chart.lower, chart.target, chart.upper));
        let weeks = solid(series, phase).map(|point| point.week_on);
        let places: Vec<_> = weeks.zip(chart.values.iter().map(|value| y.at(*value))).collect();
        canvas.path(places.iter().map(|(week, y)| (at(&x, *week), *y)), Stroke::Solid);
        for (week, y) in places {
            canvas.mark((at(&x, week), y), mark(true, chart.outside.contains(&week)));
        }
    }
    dates(&mut canvas, &series.points, &x, VALUES.1);
    let of_phases = charts.iter().map(|(phase, chart)| {
        format!(
            " {} to {}: at the end {}; limits {} to {} around {}. Outside the limits: {}.",
            phase.from,
            phase.to,
            chart.values.last().map_or_else(|| "unknown".to_owned(), |value| number(*value)),
            number(chart.lower),
            number(chart.upper),
            number(chart.target),
            weeks(&chart.outside)
        )
    });
    let description = of_phases.fold(series.definition.clone(), |text, phase| text + &phase);
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
    for phase in &series.phases {
        let (from, to) = (phase.from, phase.to);
        text.push_str(&match &phase.individuals {
            Some(chart) => format!(
                " {from} to {to}: mean {}, limits {} to {}. Outside the limits: {}. Jumps: {}.",
                number(chart.center),
                number(chart.lower),
                number(chart.upper),
                weeks(&chart.outside),
                weeks(&chart.jumps)
            ),
            None => format!(" {from} to {to}: no limits, {} weeks with jobs enough.", phase.points),
        });
    }
    if series.phases.is_empty() {
        text.push_str(&format!(" No limits: fewer than {LEAST_POINTS} weeks with jobs enough."));
    }
    for change in &series.changes {
        text.push(' ');
        text.push_str(&change.text);
    }
    text
}

/// The weeks of a phase that carry limits.
fn solid<'a>(series: &'a Series, phase: &Phase) -> impl Iterator<Item = &'a Point> + use<'a> {
    let (from, to) = (phase.from, phase.to);
    series.points.iter().filter(move |point| point.enough && from <= point.week_on && point.week_on <= to)
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

/// Where the limits of a phase are drawn, and whether their names have room at the right.
#[derive(Debug, Clone, Copy)]
struct Place {
    from: f64,
    to: f64,
    named: bool,
}

impl Place {
    /// Over all weeks where there is one phase alone.
    fn of(phase: &Phase, series: &Series, x: &Axis) -> Place {
        let first = series.phases.first().is_none_or(|first| first.from == phase.from);
        let last = series.phases.last().is_none_or(|last| last.to == phase.to);
        Place {
            from: if first { LEFT } else { at(x, phase.from) - 4.0 },
            to: if last { RIGHT } else { at(x, phase.to) + 4.0 },
            named: last,
        }
    }

    fn limit(self, canvas: &mut Canvas, (y, label): (f64, String), stroke: Stroke) {
        canvas.line((self.from, y), (self.to, y), stroke);
        if self.named {
            canvas.text((RIGHT + 6.0, y + 4.5), Anchor::Start, &label);
        } else {
            canvas.text((self.from + 4.0, y - 4.0), Anchor::Start, &label);
        }
    }
}

fn draw_limits(canvas: &mut Canvas, y: &Axis, place: Place, (lower, center, upper): (f64, f64, f64)) {
    for (name, value, stroke) in
        [("upper", upper, Stroke::Dashed), ("mean", center, Stroke::Thin), ("lower", lower, Stroke::Dashed)]
    {
        place.limit(canvas, (y.at(value), format!("{name} {}", number(value))), stroke);
    }
}

fn ranges(canvas: &mut Canvas, series: &Series, charts: &[(&Phase, &Individuals)], x: &Axis) {
    let of = |phase: &Phase| -> Vec<(NaiveDate, f64)> {
        let points: Vec<&Point> = solid(series, phase).collect();
        points.windows(2).map(|pair| (pair[1].week_on, (pair[1].value - pair[0].value).abs())).collect()
    };
    let values = charts.iter().flat_map(|(phase, chart)| {
        of(phase).into_iter().map(|range| range.1).chain([chart.moving_range_upper])
    });
    let y = Axis::from_zero(values, RANGES.1, RANGES.0);
    canvas.scale(&y, "moving range", RANGES.0, RANGES.1);
    for (phase, chart) in charts {
        let (ranges, place) = (of(phase), Place::of(phase, series, x));
        let (mean, upper) = (chart.moving_range, chart.moving_range_upper);
        place.limit(canvas, (y.at(upper), format!("upper {}", number(upper))), Stroke::Dashed);
        place.limit(canvas, (y.at(mean), format!("mean {}", number(mean))), Stroke::Thin);
        canvas.path(ranges.iter().map(|(week, range)| (at(x, *week), y.at(*range))), Stroke::Thin);
        for (week, range) in ranges {
            canvas.mark((at(x, week), y.at(range)), mark(true, chart.jumps.contains(&week)));
        }
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
