//! What else changed when a figure did: people, packages, classes, grades, heat, season.

use super::job::{JobFigures, week_of};
use super::sheet::GradeBand;
use chrono::{Datelike, Days, NaiveDate};
use std::collections::{BTreeMap, BTreeSet};

/// Weeks looked at on either side of a change (assumption).
const WEEKS: u64 = 8;
/// A share that moved by this is said (assumption).
const MOVED: f64 = 0.2;

/// From the jobs of the weeks before and after `week_on`, in words; empty where nothing stands out.
pub(super) fn also_changed(done: &[&JobFigures], week_on: NaiveDate) -> Vec<String> {
    let span = Days::new(7 * WEEKS);
    let (from, to) = (week_on - span, week_on + span);
    let within = |from: NaiveDate, to: NaiveDate| {
        let inside = move |job: &&&JobFigures| (from..to).contains(&week_of(job.business.on));
        done.iter().filter(inside).copied().collect::<Vec<&JobFigures>>()
    };
    let (before, after) = (within(from, week_on), within(week_on, to));
    if before.is_empty() || after.is_empty() {
        return Vec::new();
    }
    let mut said = people(&before, &after);
    said.extend(moved(&before, &after, |job| format!("package {}", job.package)));
    said.extend(moved(&before, &after, |job| format!("class {}", class_name(job))));
    said.extend(moved(&before, &after, |job| format!("{} grades", GradeBand::of(job.grade).name())));
    said.extend(moved(&before, &after, |job| if job.is_hot() { "hot panels" } else { "" }.to_owned()));
    let (then, now) = (season(&before), season(&after));
    if then != now {
        said.push(format!("the season went from months {then} to {now}"));
    }
    said
}

fn people(before: &[&JobFigures], after: &[&JobFigures]) -> Vec<String> {
    let names = |jobs: &[&JobFigures]| -> BTreeSet<String> {
        jobs.iter().flat_map(|job| job.technicians.iter().cloned()).collect()
    };
    let (then, now) = (names(before), names(after));
    let began = now.difference(&then).map(|name| format!("{name} began"));
    let stopped = then.difference(&now).map(|name| format!("{name} stopped"));
    began.chain(stopped).collect()
}

/// Shares of jobs by a label that moved; the empty label is not spoken of.
fn moved(
    before: &[&JobFigures],
    after: &[&JobFigures],
    label: impl Fn(&JobFigures) -> String,
) -> Vec<String> {
    let mut shares: BTreeMap<String, (f64, f64)> = BTreeMap::new();
    for job in before {
        shares.entry(label(job)).or_default().0 += 1.0 / before.len() as f64;
    }
    for job in after {
        shares.entry(label(job)).or_default().1 += 1.0 / after.len() as f64;
    }
    let said =
        shares.into_iter().filter(|(label, (then, now))| !label.is_empty() && (now - then).abs() >= MOVED);
    said.map(|(label, (then, now))| {
        format!("{label} went from {:.0} % to {:.0} % of jobs", then * 100.0, now * 100.0)
    })
    .collect()
}

/// The three months (as 12-2, 3-5, 6-8, 9-11) that most jobs are in.
fn season(jobs: &[&JobFigures]) -> &'static str {
    let mut counts = [0_usize; 4];
    for job in jobs {
        counts[(job.business.on.month() % 12 / 3) as usize] += 1;
    }
    let most = counts.iter().copied().max().unwrap_or(0);
    let names = ["12 to 2", "3 to 5", "6 to 8", "9 to 11"];
    counts.iter().position(|count| *count == most).map_or("", |at| names[at])
}

fn class_name(job: &JobFigures) -> String {
    serde_json::to_value(job.class)
        .ok()
        .and_then(|name| Some(name.as_str()?.replace('_', " ")))
        .unwrap_or_default()
}
