//! Figures with their counts, and what changed in them since a week was closed.

use super::parts::items;
use crate::markup::escape;
use crate::throughput::closing::SinceClosing;
use crate::throughput::measure::{Measure, Shown};
use std::fmt::Write;

/// A share as a percentage, anything else with two places.
pub(super) fn value(number: f64, unit: &str) -> String {
    match unit {
        "1" => format!("{number:.2}"),
        _ if number.abs() >= 100.0 => format!("{number:.0}"),
        _ => format!("{number:.2}"),
    }
}

pub(super) fn shown(shown: &Shown, unit: &str) -> String {
    match shown {
        Shown::Number { value: number, .. } => value(*number, unit),
        Shown::Range { low, high } => format!("{} to {}", value(*low, unit), value(*high, unit)),
        Shown::NoData { .. } => "-".to_owned(),
    }
}

/// The interval, or why there is no number.
fn how_sure(measure: &Measure) -> String {
    let unit = measure.unit.as_str();
    let mut said = match &measure.shown {
        Shown::Number { low: Some(low), high: Some(high), .. } => {
            format!("{} to {}", value(*low, unit), value(*high, unit))
        }
        Shown::Number { .. } => String::new(),
        Shown::Range { .. } => "range only".to_owned(),
        Shown::NoData { reason } => reason.clone(),
    };
    if let Some(median) = measure.median.filter(|_| measure.name != "actual_to_planned") {
        let _ = write!(said, "; half of the jobs below {}", value(median, unit));
    }
    if let Some(span) = measure.span_80 {
        let _ = write!(said, "; 80 % of jobs {} to {}", value(span.low, unit), value(span.high, unit));
    }
    said
}

pub(super) fn measures(measures: &[Measure]) -> String {
    let mut html = String::from("<table>\n<thead><tr>");
    for head in ["", "value", "95 % interval", "from; divided by"] {
        let _ = write!(html, "<th scope=\"col\">{head}</th>");
    }
    html.push_str("</tr></thead>\n<tbody>\n");
    for measure in measures {
        let unit = if measure.unit == "1" { String::new() } else { format!(" {}", measure.unit) };
        let norm =
            measure.norm.map(|norm| format!("; plan {}", value(norm, &measure.unit))).unwrap_or_default();
        let _ = writeln!(
            html,
            "<tr><th scope=\"row\">{}<p>{} {}</p></th><td>{}{}{}</td><td>{}</td><td>{} {}; {} {}</td></tr>",
            escape(&measure.title),
            escape(&measure.definition),
            escape(&measure.misleads),
            escape(&shown(&measure.shown, &measure.unit)),
            escape(&unit),
            norm,
            escape(&how_sure(measure)),
            measure.count,
            escape(&measure.counted),
            amount(measure.denominator),
            escape(&measure.denominator_unit)
        );
    }
    html.push_str("</tbody>\n</table>\n");
    html
}

/// Whole things without places.
fn amount(number: f64) -> String {
    if number.fract() == 0.0 { format!("{number:.0}") } else { value(number, "") }
}

pub(super) fn since_closing(since: &SinceClosing) -> String {
    let jobs: Vec<String> =
        since.jobs.iter().map(|job| format!("Job {} ({}): {}.", job.job, job.crew, job.text)).collect();
    let measures: Vec<String> = since
        .measures
        .iter()
        .map(|one| format!("{}: {} instead of {}.", one.title, shown(&one.now, "1"), shown(&one.closed, "1")))
        .collect();
    if jobs.is_empty() && measures.is_empty() {
        return "<p>Nothing.</p>\n".to_owned();
    }
    format!("{}{}", items(&jobs), items(&measures))
}
