//! Week by week, the week ahead, and what the minutes taught.

use super::figures::value;
use super::parts::items;
use crate::markup::escape;
use crate::throughput::ahead::Ahead;
use crate::throughput::evidence::NormEvidence;
use crate::throughput::pictures::{ewma_svg, individuals_svg, load_svg};
use crate::throughput::trends::{Series, Trends};
use std::fmt::Write;

/// Norms that moved by less are not worth paper (assumption).
const MOVED: f64 = 0.05;
/// The first series as pictures, of the others those with something to see; the rest in a sentence.
pub(super) fn trends(trends: &Trends) -> String {
    let (mut html, mut steady) = (String::new(), Vec::new());
    for (at, series) in trends.series.iter().enumerate() {
        if at > 0 && !speaks(series) {
            steady.push(format!("{}: {}", series.title, latest(series)));
            continue;
        }
        let _ = writeln!(html, "<h3>{}</h3>\n<p>{}</p>", escape(&series.title), escape(&series.definition));
        let _ = writeln!(html, "<figure>\n{}</figure>", individuals_svg(series));
        if let Some(moving) = ewma_svg(series) {
            let _ = writeln!(html, "<figure>\n{moving}</figure>");
        }
        let changes: Vec<&str> = series.changes.iter().map(|change| change.text.as_str()).collect();
        html.push_str(&items(&changes));
        html.push_str(&items(&series.cautions));
    }
    if !steady.is_empty() {
        let _ = writeln!(html, "<h3>Nothing to see</h3>\n{}", items(&steady));
    }
    if let Some(flow) = &trends.in_progress {
        let _ = writeln!(html, "<h3>Work in the books</h3>\n<p>{}</p>", escape(&flow.text));
    }
    let learning: Vec<&str> = trends.learning.iter().map(|curve| curve.text.as_str()).collect();
    if !learning.is_empty() {
        let _ = writeln!(html, "<h3>Learning</h3>\n{}", items(&learning));
    }
    html
}

/// A change of level, or a point outside the limits.
fn speaks(series: &Series) -> bool {
    !series.changes.is_empty()
        || series.phases.iter().any(|phase| {
            phase.individuals.as_ref().is_some_and(|chart| !chart.outside.is_empty())
                || phase.ewma.as_ref().is_some_and(|chart| !chart.outside.is_empty())
        })
}

fn latest(series: &Series) -> String {
    let last = series.points.last().map(|point| value(point.value, &series.unit)).unwrap_or_default();
    match series.present() {
        Some(chart) => format!(
            "{last} last week, within {} to {}.",
            value(chart.lower, &series.unit),
            value(chart.upper, &series.unit)
        ),
        None => format!("{last} last week; too few weeks for limits."),
    }
}

pub(super) fn look(ahead: &Ahead) -> String {
    let mut html = format!("<figure>\n{}</figure>\n", load_svg(ahead));
    let gains: Vec<&str> = ahead
        .an_hour_more
        .iter()
        .chain(&ahead.a_second_pair_of_hands)
        .map(|gain| gain.text.as_str())
        .collect();
    html.push_str(&items(&gains));
    html.push_str(&items(&ahead.cautions));
    html
}

pub(super) fn norms(evidence: &[NormEvidence]) -> String {
    let moved = evidence.iter().filter(|one| {
        one.technician.is_none() && (one.vetoed || (one.learned / one.before - 1.0).abs() >= MOVED)
    });
    let texts: Vec<&str> = moved.map(|one| one.text.as_str()).collect();
    items(&texts)
}
