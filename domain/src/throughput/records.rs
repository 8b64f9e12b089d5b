//! The sheet straight from step records, without roll-ups: by package and crew.

use super::job::{JobBusiness, JobFigures};
use super::measure::{Measure, of_jobs};
use super::{cautions, weighted_m2};
use crate::handbook::Handbook;
use crate::inspection::Grade;
use crate::vehicle::VehicleClass;
use chrono::NaiveDate;
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
    pub groups: Vec<PackageCrew>,
    /// Records that could not be counted.
    pub left_out: Vec<LeftOut>,
    /// How to read the sheet.
    pub reading: Vec<String>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct PackageCrew {
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

/// The figures of the records given; the caller chooses the week.
pub fn throughput(handbook: &Handbook, records: &[StepRecord]) -> Throughput {
    let mut left_out = Vec::new();
    let mut jobs: BTreeMap<(&str, &str), Vec<&StepRecord>> = BTreeMap::new();
    for record in records {
        match unusable(record) {
            Some(reason) => {
                left_out.push(LeftOut { job: record.job.clone(), step: record.step.clone(), reason })
            }
            None => jobs.entry((&record.package, &record.job)).or_default().push(record),
        }
    }
    let mut groups: BTreeMap<(String, String), Vec<JobFigures>> = BTreeMap::new();
    for records in jobs.into_values() {
        let job = job(handbook, &records);
        groups.entry((job.package.clone(), job.crew.clone())).or_default().push(job);
    }
    let groups = groups.into_iter().map(|((package, crew), jobs)| group(package, crew, &jobs)).collect();
    Throughput { groups, left_out, reading: cautions::reading() }
}

fn group(package: String, crew: String, jobs: &[JobFigures]) -> PackageCrew {
    let all: Vec<&JobFigures> = jobs.iter().collect();
    let mut measures = of_jobs(&all, NaiveDate::default());
    // Records alone do not tell which job came back.
    measures.retain(|measure| measure.name != "rework_within_14_days");
    PackageCrew {
        package,
        crew,
        jobs_done: jobs.len(),
        person_minutes: jobs.iter().map(|job| job.minutes).sum(),
        weighted_m2: jobs.iter().map(|job| job.weighted_m2).sum(),
        measures,
        cautions: cautions::of_jobs(&all),
    }
}

/// The records of one job.
fn job(handbook: &Handbook, records: &[&StepRecord]) -> JobFigures {
    let first = records[0];
    let set = |name: fn(&StepRecord) -> &str| records.iter().map(|r| name(r)).collect::<BTreeSet<&str>>();
    let grade = records.iter().map(|r| r.grade).max().unwrap_or(first.grade);
    let area_m2 = records.iter().map(|r| r.area_m2).fold(0.0, f64::max);
    let planned = || records.iter().filter_map(|r| Some((r.minutes, r.planned_minutes?)));
    let known = |value: fn(&StepRecord) -> Option<f64>| {
        let known: Vec<f64> = records.iter().filter_map(|r| value(r)).collect();
        (!known.is_empty()).then(|| known.iter().sum())
    };
    JobFigures {
        job: first.job.clone(),
        package: first.package.clone(),
        class: first.class,
        grade,
        crew: set(|r| &r.crew).into_iter().collect::<Vec<_>>().join(" + "),
        technicians: set(|r| &r.technician).into_iter().map(str::to_owned).collect(),
        area_m2,
        weighted_m2: weighted_m2(handbook, grade, area_m2),
        minutes: records.iter().map(|r| r.minutes).sum(),
        actual_minutes: planned().map(|(minutes, _)| minutes).sum(),
        planned_minutes: planned().map(|(_, planned)| planned).sum(),
        water_l: known(|r| r.water_l),
        product_ml: known(|r| r.product_ml),
        planned_water_l: None,
        planned_product_ml: None,
        steps: records.len() as u32,
        unplanned_steps: (records.len() - planned().count()) as u32,
        first_passes: records.iter().filter(|r| r.passed && r.loops == 0).count() as u32,
        loops: records.iter().map(|r| r.loops).sum(),
        unsound_entries: 0,
        hottest_panel_c: records
            .iter()
            .filter_map(|r| r.panel_c)
            .filter(|c| c.is_finite())
            .max_by(f64::total_cmp),
        business: JobBusiness { finished: true, ..JobBusiness::default() },
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
