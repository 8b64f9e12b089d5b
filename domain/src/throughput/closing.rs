//! What changed in a week after it was closed: late arrivals, corrections, voided entries, jobs that came back.

use super::job::JobFigures;
use super::measure::Shown;
use super::sheet::Sheet;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};
use utoipa::ToSchema;

/// What a closed week would say now. Nothing is added to what was closed: the week's own sheet stays as it was.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct SinceClosing {
    pub jobs: Vec<ChangedJob>,
    pub measures: Vec<ChangedMeasure>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ChangedJob {
    pub job: String,
    pub crew: String,
    pub technicians: Vec<String>,
    pub kind: JobChange,
    /// What is different, in words.
    pub text: String,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum JobChange {
    Added,
    Removed,
    Changed,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ChangedMeasure {
    pub name: String,
    pub title: String,
    pub closed: Shown,
    pub now: Shown,
}

/// Compares the rows and the sheet stored at closing with those of today.
pub fn since_closing(
    (closed_jobs, closed): (&[JobFigures], &Sheet),
    (jobs, now): (&[JobFigures], &Sheet),
) -> SinceClosing {
    let by_id = |jobs: &'_ [JobFigures]| -> BTreeMap<String, JobFigures> {
        jobs.iter().map(|job| (job.job.clone(), job.clone())).collect()
    };
    let (then, today) = (by_id(closed_jobs), by_id(jobs));
    let ids: BTreeSet<&String> = then.keys().chain(today.keys()).collect();
    let measures = closed.measures.iter().filter_map(|before| {
        let after = now.measures.iter().find(|after| after.name == before.name)?;
        (after.shown != before.shown).then(|| ChangedMeasure {
            name: before.name.clone(),
            title: before.title.clone(),
            closed: before.shown.clone(),
            now: after.shown.clone(),
        })
    });
    SinceClosing {
        jobs: ids.into_iter().filter_map(|id| changed(then.get(id), today.get(id))).collect(),
        measures: measures.collect(),
    }
}

fn changed(then: Option<&JobFigures>, now: Option<&JobFigures>) -> Option<ChangedJob> {
    let (kind, job, text) = match (then, now) {
        (None, Some(now)) => {
            let text =
                format!("not in the closed week; {} steps, {:.0} person-minutes", now.steps, now.minutes);
            (JobChange::Added, now, text)
        }
        (Some(then), None) => (JobChange::Removed, then, "no longer counted in this week".to_owned()),
        (Some(then), Some(now)) if then != now => (JobChange::Changed, now, differences(then, now)),
        _ => return None,
    };
    Some(ChangedJob {
        job: job.job.clone(),
        crew: job.crew.clone(),
        technicians: job.technicians.clone(),
        kind,
        text,
    })
}

fn differences(then: &JobFigures, now: &JobFigures) -> String {
    let mut said = Vec::new();
    let mut number = |what: &str, before: Option<f64>, after: Option<f64>| {
        let word = |value: Option<f64>| value.map_or_else(|| "nothing".to_owned(), |v| format!("{v:.1}"));
        if before != after {
            said.push(format!("{what} {} instead of {}", word(after), word(before)));
        }
    };
    number("steps", Some(then.steps.into()), Some(now.steps.into()));
    number("person-minutes", Some(then.minutes), Some(now.minutes));
    number("planned minutes", Some(then.planned_minutes), Some(now.planned_minutes));
    number("loops", Some(then.loops.into()), Some(now.loops.into()));
    number("first passes", Some(then.first_passes.into()), Some(now.first_passes.into()));
    number("litres of water", then.water_l, now.water_l);
    number("millilitres of product", then.product_ml, now.product_ml);
    number("contradicting times", Some(then.unsound_entries.into()), Some(now.unsound_entries.into()));
    number(
        "days until rework",
        then.business.reworked_after_days.map(f64::from),
        now.business.reworked_after_days.map(f64::from),
    );
    if then.technicians != now.technicians {
        said.push(format!(
            "done by {} instead of {}",
            now.technicians.join(", "),
            then.technicians.join(", ")
        ));
    }
    if said.is_empty() {
        said.push("what is known of the job beside its steps".to_owned());
    }
    said.join("; ")
}
