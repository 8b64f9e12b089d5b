//! Crews in the funnel of what chance allows for their size.

use super::axis::Axis;
use super::canvas::{Anchor, Canvas, LEFT, Mark, RIGHT, Stroke};
use crate::throughput::{Comparison, CrewCompared, FunnelLimit, FunnelPlace, Shown};

const PLOT: (f64, f64) = (56.0, 286.0);
/// Lines nearer than this would cover each other.
const NAME_APART: f64 = 14.0;
/// Width of a letter, about.
const LETTER: f64 = 7.5;

/// A limit by size of the crew's work: its value, how it is drawn, its name and how far below the end that stands.
type Curve = (fn(&FunnelLimit) -> f64, Stroke, Option<(&'static str, f64)>);

pub fn funnel_svg(comparison: &Comparison) -> String {
    let mut canvas = Canvas::new(PLOT.1 + 44.0);
    canvas.heading(&comparison.title);
    let limits = &comparison.funnel;
    let crews: Vec<(&CrewCompared, f64)> =
        comparison.crews.iter().filter_map(|crew| Some((crew, shown(crew)?))).collect();
    let values = limits.iter().flat_map(|limit| [limit.low_998, limit.high_998.min(4.0)]);
    let y = Axis::around(values.chain(crews.iter().map(|crew| crew.1)).chain([1.0]), PLOT.1, PLOT.0);
    let sizes = limits.iter().map(|limit| limit.size).chain(crews.iter().map(|crew| crew.0.size));
    let x = Axis::from_zero(sizes, LEFT, RIGHT);
    canvas.scale(&y, "observed to expected, 1 is the shop", PLOT.0, PLOT.1);
    canvas.limit(y.at(1.0), "shop", Stroke::Solid);
    // Names of the upper curves alone, moved apart: they come close where crews are large.
    let curves: [Curve; 4] = [
        (|limit| limit.low_95, Stroke::Dashed, None),
        (|limit| limit.high_95, Stroke::Dashed, Some(("1 in 20", 10.0))),
        (|limit| limit.low_998, Stroke::Dotted, None),
        (|limit| limit.high_998, Stroke::Dotted, Some(("1 in 500", -2.0))),
    ];
    for (value, stroke, label) in curves {
        let within = limits.iter().filter(|limit| (PLOT.0..=PLOT.1).contains(&y.at(value(limit))));
        canvas.path(within.map(|limit| (x.at(limit.size), y.at(value(limit)))), stroke);
        if let Some((last, (label, down))) = limits.last().zip(label) {
            canvas.text((x.at(last.size) + 4.0, y.at(value(last)) + down), Anchor::Start, label);
        }
    }
    for (tick, written) in x.ticks(6) {
        canvas.line((x.at(tick), PLOT.1), (x.at(tick), PLOT.1 + 4.0), Stroke::Solid);
        canvas.text((x.at(tick), PLOT.1 + 18.0), Anchor::Middle, &written);
    }
    canvas.text(((LEFT + RIGHT) / 2.0, PLOT.1 + 36.0), Anchor::Middle, &comparison.size_unit);
    points(&mut canvas, &crews, &x, &y);
    let told: Vec<&str> = comparison.crews.iter().map(|crew| crew.text.as_str()).collect();
    let description = format!("{} {}", comparison.definition, told.join(" "));
    let title = format!("{}, crews beside what chance allows", comparison.title);
    canvas.finish(&format!("funnel-{}", comparison.name), &title, &description)
}

fn points(canvas: &mut Canvas, crews: &[(&CrewCompared, f64)], x: &Axis, y: &Axis) {
    let places: Vec<(f64, f64)> = crews.iter().map(|(crew, value)| (x.at(crew.size), y.at(*value))).collect();
    let mut taken = places.clone();
    for ((crew, _), place) in crews.iter().zip(&places) {
        let mark = match crew.place {
            FunnelPlace::TooFew => Mark::Hollow,
            FunnelPlace::Within => Mark::Plain,
            FunnelPlace::Beyond95 | FunnelPlace::Beyond998 => Mark::Outside,
        };
        canvas.mark(*place, mark);
        // The names of vans are long: their first part is enough beside the list below the picture.
        let name = crew.crew.split(" + ").next().unwrap_or_default();
        let (middle, anchor, at) = beside(*place, name.chars().count() as f64 * LETTER, &taken);
        taken.push(middle);
        canvas.text(at, anchor, name);
    }
}

/// Where a name stands: left of its point, right of it, or ever higher, the first place with nothing near. Its middle,
/// its anchor and that anchor's place.
fn beside((x, y): (f64, f64), width: f64, taken: &[(f64, f64)]) -> ((f64, f64), Anchor, (f64, f64)) {
    let free = |middle: (f64, f64)| {
        taken
            .iter()
            .all(|(a, b)| (a - middle.0).abs() > width / 2.0 + 9.0 || (b - middle.1).abs() > NAME_APART)
    };
    for up in 0..8 {
        let line = y - f64::from(up) * NAME_APART;
        let (left, right) = ((x - 11.0 - width / 2.0, line), (x + 11.0 + width / 2.0, line));
        if free(left) {
            return (left, Anchor::End, (x - 11.0, line + 4.5));
        }
        if free(right) {
            return (right, Anchor::Start, (x + 11.0, line + 4.5));
        }
    }
    ((x, y), Anchor::Middle, (x, y - NAME_APART))
}

/// A place for a crew; of a range its middle.
fn shown(crew: &CrewCompared) -> Option<f64> {
    match crew.ratio {
        Shown::Number { value, .. } => Some(value),
        Shown::Range { low, high } => Some((low + high) / 2.0),
        Shown::NoData { .. } => None,
    }
}
