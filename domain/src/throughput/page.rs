//! The week's sheet for paper: black and white, A4, plain HTML without scripts, pictures in it; every text is escaped.

use super::ahead::Ahead;
use super::closing::SinceClosing;
use super::evidence::NormEvidence;
use super::measure::{LEAST_JOBS, Measure, Shown};
use super::pictures::{ewma_svg, funnel_svg, individuals_svg, load_svg};
use super::sheet::{Group, Sheet};
use super::trends::{Series, Trends};
use crate::markup::escape;
use std::fmt::Write;

/// Norms that moved by less are not worth paper (assumption).
const MOVED: f64 = 0.05;
/// Measures of a group that fit beside each other, and their heads.
const COLUMNS: [(&str, &str); 6] = [
    ("person_minutes_per_weighted_m2", "min per weighted m2"),
    ("actual_to_planned", "spent to planned"),
    ("water_per_m2", "water l/m2"),
    ("product_per_m2", "product ml/m2"),
    ("first_pass_rate", "first pass"),
    ("rework_within_14_days", "rework 14 days"),
];

/// What stands on the page; parts that are absent are left out.
#[derive(Debug, Clone, Copy)]
pub struct PageInput<'a> {
    pub shop: &'a str,
    /// Instead of the days, for instance `week 13 of 2031`.
    pub heading: &'a str,
    pub sheet: &'a Sheet,
    pub trends: Option<&'a Trends>,
    pub ahead: Option<&'a Ahead>,
    pub norms: &'a [NormEvidence],
    pub since_closing: Option<&'a SinceClosing>,
}

/// The whole page as one HTML document.
pub fn sheet_page(input: &PageInput) -> String {
    let sheet = input.sheet;
    let mut html = String::new();
    let _ = write!(
        html,
        "<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width\">\n<title>{} {}</title>\n<style>\n{STYLE}</style>\n\
         </head>\n<body>\n<header>\n<h1>{}: {}</h1>\n<p>{} to {}, read on {}</p>\n</header>\n<main>\n",
        escape(input.shop),
        escape(input.heading),
        escape(input.shop),
        escape(input.heading),
        sheet.from,
        sheet.to,
        sheet.as_of
    );
    section(&mut html, "caution", "Where these figures may mislead", &items(&sheet.cautions));
    if let Some(since) = input.since_closing {
        section(&mut html, "since", "Changed since the week was closed", &since_closing(since));
    }
    section(&mut html, "figures", "The figures", &measures(&sheet.measures));
    section(&mut html, "packages", "By package", &groups(&sheet.packages));
    section(&mut html, "like", "Jobs alike", &like_jobs(&sheet.like_jobs));
    section(&mut html, "crews", "Crews, by name", &crews(sheet));
    section(&mut html, "steps", "Steps", &steps(sheet));
    section(&mut html, "wear", "Clay, towels, stock", &wear(sheet));
    if let Some(ahead) = input.ahead {
        section(&mut html, "ahead", "The week ahead", &look(ahead));
    }
    if let Some(trends) = input.trends {
        section(&mut html, "trends", "Week by week", &over_time(trends));
    }
    section(&mut html, "norms", "What the minutes taught the planner", &norms(input.norms));
    let flaws: Vec<String> = sheet
        .flaws
        .iter()
        .map(|flaw| {
            format!("{} {}, {} of job {}: {}.", flaw.on, flaw.technician, flaw.step, flaw.job, flaw.text)
        })
        .collect();
    section(&mut html, "flaws", "Entries that do not count in full", &items(&flaws));
    section(&mut html, "reading", "How to read this", &items(&sheet.reading));
    html.push_str("</main>\n</body>\n</html>\n");
    html
}

const STYLE: &str = "@page { size: A4; margin: 12mm; }\n\
    html { font: 10pt/1.3 sans-serif; color: #000; background: #fff; }\n\
    body { margin: 0; }\n\
    h1 { font-size: 1.5em; margin: 0; }\n\
    h2 { font-size: 1.1em; margin: 5mm 0 1mm; border-top: 0.4mm solid #000; break-after: avoid; }\n\
    h3 { font-size: 1em; margin: 3mm 0 1mm; break-after: avoid; }\n\
    p, ul { margin: 0 0 1mm; }\n\
    ul { padding-left: 4mm; }\n\
    table { border-collapse: collapse; width: 100%; }\n\
    th, td { text-align: left; vertical-align: top; padding: 0.4mm 2mm 0.4mm 0; border-bottom: 0.1mm solid #000; }\n\
    thead { display: table-header-group; }\n\
    tr, figure { break-inside: avoid; }\n\
    td.n { white-space: nowrap; }\n\
    th p { font: 0.8em/1.2 sans-serif; }\n\
    small { font-size: 0.85em; }\n\
    figure { margin: 2mm 0; }\n\
    svg { width: 100%; max-width: 180mm; height: auto; }\n\
    @media screen { body { max-width: 186mm; margin: 5mm auto; padding: 0 5mm; } }\n";

/// Nothing at all for an empty one.
fn section(html: &mut String, id: &str, title: &str, inner: &str) {
    if !inner.is_empty() {
        let _ = write!(
            html,
            "<section aria-labelledby=\"{id}\">\n<h2 id=\"{id}\">{}</h2>\n{inner}</section>\n",
            escape(title)
        );
    }
}

fn items<T: AsRef<str>>(texts: &[T]) -> String {
    if texts.is_empty() {
        return String::new();
    }
    let mut list = String::from("<ul>\n");
    for text in texts {
        let _ = writeln!(list, "<li>{}</li>", escape(text.as_ref()));
    }
    list.push_str("</ul>\n");
    list
}

/// A table; cells are escaped here. Of each row the first cell is its head.
fn table(heads: &[&str], rows: &[Vec<String>]) -> String {
    if rows.is_empty() {
        return String::new();
    }
    let mut html = String::from("<table>\n<thead><tr>");
    for head in heads {
        let _ = write!(html, "<th scope=\"col\">{}</th>", escape(head));
    }
    html.push_str("</tr></thead>\n<tbody>\n");
    for row in rows {
        html.push_str("<tr>");
        for (at, cell) in row.iter().enumerate() {
            let _ = match at {
                0 => write!(html, "<th scope=\"row\">{}</th>", escape(cell)),
                _ if cell.len() < 24 => write!(html, "<td class=\"n\">{}</td>", escape(cell)),
                _ => write!(html, "<td><small>{}</small></td>", escape(cell)),
            };
        }
        html.push_str("</tr>\n");
    }
    html.push_str("</tbody>\n</table>\n");
    html
}

// ---- values ----

/// A share as a percentage, anything else with two places.
fn value(number: f64, unit: &str) -> String {
    match unit {
        "1" => format!("{number:.2}"),
        _ if number.abs() >= 100.0 => format!("{number:.0}"),
        _ => format!("{number:.2}"),
    }
}

fn shown(shown: &Shown, unit: &str) -> String {
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
    if let Some(span) = measure.span_80 {
        let _ = write!(said, "; 80 % of jobs {} to {}", value(span.low, unit), value(span.high, unit));
    }
    said
}

fn measures(measures: &[Measure]) -> String {
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

// ---- groups ----

fn name(group: &Group) -> String {
    let class = group.class.and_then(|class| serde_json::to_value(class).ok());
    let class = class.as_ref().and_then(|class| class.as_str()).map(|class| class.replace('_', " "));
    let band = group.grade_band.map(|band| format!("{} grades", band.name()));
    let hot = group.hot.filter(|hot| *hot).map(|_| "hot panels".to_owned());
    let parts = [group.package.clone(), class, band, hot, group.crew.clone()];
    parts.into_iter().flatten().collect::<Vec<_>>().join(", ")
}

fn groups(groups: &[Group]) -> String {
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
fn like_jobs(all: &[Group]) -> String {
    let enough = |group: &&Group| group.jobs_done >= LEAST_JOBS;
    let shown: Vec<Group> = all.iter().filter(enough).cloned().collect();
    let few = all.iter().filter(|group| group.jobs_done > 0).count() - shown.len();
    let mut html = groups(&shown);
    if few > 0 {
        let _ = writeln!(html, "<p>{few} other kinds of jobs were done fewer than {LEAST_JOBS} times.</p>");
    }
    html
}

fn crews(sheet: &Sheet) -> String {
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
fn steps(sheet: &Sheet) -> String {
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

fn wear(sheet: &Sheet) -> String {
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
    table(&["", "used", "per job", "left", "jobs until it is gone"], &rows)
}

// ---- time ----

/// The first series as pictures, of the others those with something to see; the rest in a sentence.
fn over_time(trends: &Trends) -> String {
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
        || series.individuals.as_ref().is_some_and(|chart| !chart.outside.is_empty())
        || series.ewma.as_ref().is_some_and(|chart| !chart.outside.is_empty())
}

fn latest(series: &Series) -> String {
    let last = series.points.last().map(|point| value(point.value, &series.unit)).unwrap_or_default();
    match &series.individuals {
        Some(chart) => format!(
            "{last} last week, within {} to {}.",
            value(chart.lower, &series.unit),
            value(chart.upper, &series.unit)
        ),
        None => format!("{last} last week; too few weeks for limits."),
    }
}

fn look(ahead: &Ahead) -> String {
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

fn norms(evidence: &[NormEvidence]) -> String {
    let moved = evidence.iter().filter(|one| {
        one.technician.is_none() && (one.vetoed || (one.learned / one.before - 1.0).abs() >= MOVED)
    });
    let texts: Vec<&str> = moved.map(|one| one.text.as_str()).collect();
    items(&texts)
}

fn since_closing(since: &SinceClosing) -> String {
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
