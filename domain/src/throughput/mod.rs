//! Finished steps to figures for the owner: per package and crew, each with its count, its denominator and its caution.
//!
//! No ranking, no figure without its count, and a range instead of a number below eight jobs.

mod cautions;
mod measure;

pub(crate) use measure::wilson;
pub use measure::{Measure, Shown};

use crate::handbook::Handbook;
use crate::inspection::Grade;
use crate::vehicle::VehicleClass;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};
use utoipa::ToSchema;

/// One finished step of a job, as the phone recorded it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct StepRecord {
    pub job: String,
    /// Id in the handbook's `steps` table.
    pub step: String,
    pub package: String,
    pub class: VehicleClass,
    /// The job's grade band: the worst grade found on the vehicle.
    pub grade: Grade,
    /// The crew as the shop compares it, for instance its van.
    pub crew: String,
    pub technician: String,
    /// Person-minutes spent.
    #[schema(minimum = 0.0)]
    pub minutes: f64,
    /// Person-minutes the plan expected; absent for a step that was not planned.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.0)]
    pub planned_minutes: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.0)]
    pub water_l: Option<f64>,
    /// Concentrate, all products together.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.0)]
    pub product_ml: Option<f64>,
    /// Rounds repeated because the check failed; 0 when it passed at once.
    #[serde(default)]
    pub loops: u32,
    /// The pass check in the end.
    pub passed: bool,
    /// Area the job treats, m², the same on every step of the job.
    #[schema(minimum = 0.0)]
    pub area_m2: f64,
    /// Warmest panel read during the step.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub panel_c: Option<f64>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Throughput {
    /// By package, then crew.
    pub groups: Vec<Group>,
    /// Records that could not be counted.
    pub left_out: Vec<LeftOut>,
    /// How to read the sheet.
    pub reading: Vec<String>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Group {
    pub package: String,
    /// Several crews on one job are one group, joined by ` + `.
    pub crew: String,
    pub jobs_done: usize,
    pub person_minutes: f64,
    /// Area times severity weight.
    pub weighted_m2: f64,
    pub measures: Vec<Measure>,
    /// Where these figures may mislead.
    pub cautions: Vec<String>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct LeftOut {
    pub job: String,
    pub step: String,
    pub reason: String,
}

/// A job as its steps add up.
struct JobSum {
    pub classes: BTreeSet<VehicleClass>,
    pub grade: Grade,
    pub crews: BTreeSet<String>,
    pub technicians: BTreeSet<String>,
    pub area_m2: f64,
    /// Area times severity weight.
    pub weighted_m2: f64,
    pub minutes: f64,
    /// Spent and planned minutes of the steps that were planned.
    pub planned: (f64, f64),
    pub steps: usize,
    pub unplanned_steps: usize,
    pub first_pass: usize,
    pub water_l: Option<f64>,
    pub product_ml: Option<f64>,
    pub hottest_panel_c: Option<f64>,
}

/// What a square metre counts for by grade.
struct Weights([f64; 4]);

impl Weights {
    /// From the handbook's factors `severity_weight_1` to `_4`; where one is missing or not positive, the trade's own
    /// scale 1, 1.3, 1.7, 2.4 (assumption).
    fn read(handbook: &Handbook) -> Weights {
        let standard = [("1", 1.0), ("2", 1.3), ("3", 1.7), ("4", 2.4)];
        Weights(standard.map(|(grade, weight)| {
            let read = handbook.factor(&format!("severity_weight_{grade}"));
            read.filter(|w| w.is_finite() && *w > 0.0).unwrap_or(weight)
        }))
    }

    fn of(&self, grade: Grade) -> f64 {
        self.0[usize::from(grade.get().clamp(1, 4)) - 1]
    }
}

/// The figures of the records given; the caller chooses the week.
pub fn throughput(handbook: &Handbook, records: &[StepRecord]) -> Throughput {
    let weights = Weights::read(handbook);
    let mut left_out = Vec::new();
    let mut jobs: BTreeMap<(&str, &str), JobSum> = BTreeMap::new();
    for record in records {
        match unusable(record) {
            Some(reason) => {
                left_out.push(LeftOut { job: record.job.clone(), step: record.step.clone(), reason })
            }
            None => add(jobs.entry((&record.package, &record.job)).or_insert_with(|| empty(record)), record),
        }
    }
    let mut groups: BTreeMap<(String, String), Vec<JobSum>> = BTreeMap::new();
    for ((package, _), mut job) in jobs {
        job.weighted_m2 = job.area_m2 * weights.of(job.grade);
        let crew = job.crews.iter().map(String::as_str).collect::<Vec<_>>().join(" + ");
        groups.entry((package.to_owned(), crew)).or_default().push(job);
    }
    let groups = groups.into_iter().map(|((package, crew), jobs)| group(package, crew, &jobs)).collect();
    Throughput { groups, left_out, reading: cautions::reading() }
}

fn group(package: String, crew: String, jobs: &[JobSum]) -> Group {
    Group {
        package,
        crew,
        jobs_done: jobs.len(),
        person_minutes: jobs.iter().map(|j| j.minutes).sum(),
        weighted_m2: jobs.iter().map(|j| j.weighted_m2).sum(),
        measures: measure::all(jobs),
        cautions: cautions::of(jobs),
    }
}

/// A record with a number that cannot be: which one and why.
fn unusable(record: &StepRecord) -> Option<String> {
    /// More than a day for one step is a clock left running (assumption).
    const LONGEST_MIN: f64 = 1440.0;
    let numbers = [
        ("minutes", Some(record.minutes), LONGEST_MIN),
        ("planned_minutes", record.planned_minutes, LONGEST_MIN),
        ("water_l", record.water_l, 1e5),
        ("product_ml", record.product_ml, 1e6),
        ("area_m2", Some(record.area_m2), 1e4),
    ];
    let bad = numbers.into_iter().find(|(_, value, most)| value.is_some_and(|v| !(0.0..=*most).contains(&v)));
    if let Some((name, Some(value), most)) = bad {
        return Some(format!("{name} is {value}, outside 0 to {most}"));
    }
    (record.area_m2 <= 0.0).then(|| "area_m2 is 0, so nothing was treated".to_owned())
}

fn empty(record: &StepRecord) -> JobSum {
    JobSum {
        classes: BTreeSet::new(),
        grade: record.grade,
        crews: BTreeSet::new(),
        technicians: BTreeSet::new(),
        area_m2: 0.0,
        weighted_m2: 0.0,
        minutes: 0.0,
        planned: (0.0, 0.0),
        steps: 0,
        unplanned_steps: 0,
        first_pass: 0,
        water_l: None,
        product_ml: None,
        hottest_panel_c: None,
    }
}

fn add(job: &mut JobSum, record: &StepRecord) {
    job.classes.insert(record.class);
    job.grade = job.grade.max(record.grade);
    job.crews.insert(record.crew.clone());
    job.technicians.insert(record.technician.clone());
    job.area_m2 = job.area_m2.max(record.area_m2);
    job.minutes += record.minutes;
    job.steps += 1;
    match record.planned_minutes {
        Some(planned) => job.planned = (job.planned.0 + record.minutes, job.planned.1 + planned),
        None => job.unplanned_steps += 1,
    }
    job.first_pass += usize::from(record.passed && record.loops == 0);
    add_known(&mut job.water_l, record.water_l);
    add_known(&mut job.product_ml, record.product_ml);
    if let Some(panel_c) = record.panel_c.filter(|c| c.is_finite()) {
        job.hottest_panel_c = Some(job.hottest_panel_c.map_or(panel_c, |c| c.max(panel_c)));
    }
}

fn add_known(sum: &mut Option<f64>, value: Option<f64>) {
    if let Some(value) = value {
        *sum = Some(sum.unwrap_or(0.0) + value);
    }
}

#[cfg(test)]
mod checks;
