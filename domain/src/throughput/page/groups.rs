//! Packages, like jobs, crews, steps, what is used up.

use super::figures::shown;
use super::parts::{items, table};
use crate::markup::escape;
use crate::throughput::measure::LEAST_JOBS;
use crate::throughput::pictures::funnel_svg;
use crate::throughput::sheet::{Group, Sheet};
use std::fmt::Write;

/// Measures of a group that fit beside each other, and their heads.
const COLUMNS: [(&str, &str); 6] = [
    ("person_minutes_per_weighted_m2", "min per weighted m2"),
    ("actual_to_planned", "spent to planned"),
    ("water_per_m2", "water l/m2"),
    ("product_per_m2", "product ml/m2"),
    ("first_pass_rate", "first pass"),
    ("rework_within_14_days", "rework 14 days"),
];

fn name(group: &Group) -> String {
    let class = group.class.and_then(|class| serde_json::to_value(class).ok());
    let class = class.as_ref().and_then(|class| class.as_str()).map(|class| class.replace('_', " "));
    let band = group.grade_band.map(|band| format!("{} grades", band.name()));
    let hot = group.hot.filter(|hot| *hot).map(|_| "hot panels".to_owned());
    let parts = [group.package.clone(), class, band, hot, group.crew.clone()];
    parts.into_iter().flatten().collect::<Vec<_>>().join(", ")
}

pub(super) fn groups(groups: &[Group]) -> String {
    let row = |group: &Group| {
        let mut cells = vec![name(group), group.jobs_done.to_string()];
        for (wanted, _) in COLUMNS {
            let measure = group.measures.iter().find(|measure| measure.name == wanted);
            cells
                .push(measure.map_or_else(|| "-".to_owned(), |measure| shown(&measure.shown, &measure.unit)));
        }
        cells
    };
    let rows: Vec<Vec<String>> = groups.iter().filter(|group| group.jobs_done > 0).map(row).collect();
    if rows.is_empty() {
        return String::new();
    }
    let mut heads = vec!["", "jobs"];
    heads.extend(COLUMNS.map(|(_, head)| head));
    table(&heads, &rows)
}

/// Ranges of a job or two are not worth paper.
pub(super) fn like_jobs(all: &[Group]) -> String {
    let enough = |group: &&Group| group.jobs_done >= LEAST_JOBS;
    let shown: Vec<Group> = all.iter().filter(enough).cloned().collect();
    let few = all.iter().filter(|group| group.jobs_done > 0).count() - shown.len();
    let mut html = groups(&shown);
    if few > 0 {
        let _ = writeln!(html, "<p>{few} other kinds of jobs were done fewer than {LEAST_JOBS} times.</p>");
    }
    html
}

pub(super) fn crews(sheet: &Sheet) -> String {
    let mut html = groups(&sheet.crews);
    for group in sheet.crews.iter().filter(|group| !group.cautions.is_empty()) {
        let _ =
            writeln!(html, "<p><b>{}</b> {}</p>", escape(&name(group)), escape(&group.cautions.join(" ")));
    }
    for comparison in &sheet.comparisons {
        let _ = writeln!(
            html,
            "<h3>{}</h3>\n<p>{}</p>",
            escape(&comparison.title),
            escape(&comparison.definition)
        );
        let _ = writeln!(html, "<figure>\n{}</figure>", funnel_svg(comparison));
        let told: Vec<&str> = comparison.crews.iter().map(|crew| crew.text.as_str()).collect();
        html.push_str(&items(&told));
        html.push_str(&items(&comparison.cautions));
        let _ = writeln!(html, "<p>How it misleads: {}</p>", escape(&comparison.misleads));
    }
    html
}

/// Of anybody: who did them is not for a sheet on the wall.
pub(super) fn steps(sheet: &Sheet) -> String {
    let anybody = sheet.steps.iter().filter(|step| step.technician.is_none());
    let rows: Vec<Vec<String>> = anybody
        .map(|step| {
            let span = step.plan_error_span_80.map(|span| format!("{:.2} to {:.2}", span.low, span.high));
            vec![
                step.step.clone(),
                step.steps.to_string(),
                shown(&step.plan_error, "1"),
                span.unwrap_or_default(),
                shown(&step.first_pass_rate, "1"),
                shown(&step.loops_per_step, "1"),
            ]
        })
        .collect();
    table(&["", "done", "spent to planned", "80 % of steps", "first pass", "loops a step"], &rows)
}

pub(super) fn wear(sheet: &Sheet) -> String {
    let rows: Vec<Vec<String>> = sheet
        .wear
        .iter()
        .map(|wear| {
            let number =
                |value: Option<f64>| value.map(|value| format!("{value:.1}")).unwrap_or_else(|| "-".into());
            vec![
                wear.item.replace('_', " "),
                format!("{:.1} {}", wear.used, wear.unit),
                number(wear.used_per_job),
                number(wear.left),
                number(wear.jobs_left),
            ]
        })
        .collect();
    let mut html = table(&["", "used", "per job", "left", "jobs until it is gone"], &rows);
    if let Some(wear) = sheet.wear.first() {
        let _ = writeln!(html, "<p>{}</p>", escape(&wear.definition));
    }
    html
}
