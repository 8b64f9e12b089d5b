//! The week's sheet: the shop's figures, then by package, by like jobs, by crew, by step and technician.

mod steps;
mod wear;

use super::cautions;
use super::cells::{CellKey, StepCell};
use super::compare::{Comparison, compare_crews};
use super::entries::Flaw;
use super::job::JobFigures;
use super::measure::{Measure, of_business, of_jobs};
use super::week::WeekFacts;
use crate::inspection::Grade;
use crate::vehicle::VehicleClass;
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use utoipa::ToSchema;

pub use steps::StepFigures;
pub use wear::WearFigure;

/// What the sheet is made from: the rows of the time asked for, and of the crew when only one may be seen.
#[derive(Debug, Clone, Copy)]
pub struct SheetInput<'a> {
    pub from: NaiveDate,
    /// The last day.
    pub to: NaiveDate,
    /// The day it is read on: what is not yet known then is not counted.
    pub as_of: NaiveDate,
    /// Jobs counted on days of the time, those not done among them.
    pub jobs: &'a [JobFigures],
    /// Steps of the weeks of the time.
    pub cells: &'a [(CellKey, StepCell)],
    pub weeks: &'a [WeekFacts],
    pub flaws: &'a [Flaw],
    /// Work on jobs that were cancelled after it had begun; it is in no figure.
    pub cancelled: CancelledWork,
}

/// What was recorded on jobs that were cancelled afterwards.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct CancelledWork {
    pub jobs: usize,
    pub steps: usize,
    /// Person-minutes, no minute of a technician counted twice.
    pub minutes: f64,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Sheet {
    pub from: NaiveDate,
    /// The last day.
    pub to: NaiveDate,
    pub as_of: NaiveDate,
    /// All jobs together.
    pub measures: Vec<Measure>,
    pub packages: Vec<Group>,
    /// Jobs alike: package, class, grade band; jobs with a panel above 30 °C apart.
    pub like_jobs: Vec<Group>,
    /// By name.
    pub crews: Vec<Group>,
    /// By step: of anybody, then of each technician.
    pub steps: Vec<StepFigures>,
    pub wear: Vec<WearFigure>,
    pub comparisons: Vec<Comparison>,
    /// Entries that do not count in full, and why.
    pub flaws: Vec<Flaw>,
    /// Where figures of this time may mislead, and why.
    pub cautions: Vec<String>,
    /// How to read the sheet.
    pub reading: Vec<String>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Group {
    /// What the jobs have in common; absent where they differ or may differ.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub package: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub class: Option<VehicleClass>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub grade_band: Option<GradeBand>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub crew: Option<String>,
    /// A panel was above 30 °C.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hot: Option<bool>,
    pub jobs_done: usize,
    pub person_minutes: f64,
    /// Area times severity weight.
    pub weighted_m2: f64,
    pub measures: Vec<Measure>,
    /// Where these figures may mislead.
    pub cautions: Vec<String>,
}

/// Grades near enough to be compared (assumption: what weighs 1, 1.3, and more).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum GradeBand {
    /// Grades 0 and 1.
    Light,
    /// Grade 2.
    Typical,
    /// Grades 3 and 4.
    Heavy,
}

impl GradeBand {
    pub fn of(grade: Grade) -> GradeBand {
        match grade.get() {
            0 | 1 => GradeBand::Light,
            2 => GradeBand::Typical,
            _ => GradeBand::Heavy,
        }
    }

    pub fn name(self) -> &'static str {
        match self {
            GradeBand::Light => "light",
            GradeBand::Typical => "typical",
            GradeBand::Heavy => "heavy",
        }
    }
}

/// The sheet of the rows given.
pub fn sheet(input: &SheetInput) -> Sheet {
    let all: Vec<&JobFigures> = input.jobs.iter().collect();
    let weeks: Vec<&WeekFacts> = input.weeks.iter().collect();
    let mut measures = of_business(&all, &weeks);
    // The work itself stands after jobs and starts.
    measures.splice(2..2, of_jobs(&all, input.as_of));
    let comparisons = compare_crews(input.jobs, input.as_of);
    Sheet {
        from: input.from,
        to: input.to,
        as_of: input.as_of,
        packages: groups(input, |job| Group { package: Some(job.package.clone()), ..Group::none() }),
        like_jobs: groups(input, |job| Group {
            package: Some(job.package.clone()),
            class: Some(job.class),
            grade_band: Some(GradeBand::of(job.grade)),
            hot: Some(job.is_hot()),
            ..Group::none()
        }),
        crews: groups(input, |job| Group { crew: Some(job.crew.clone()), ..Group::none() }),
        steps: steps::figures(input.cells),
        wear: wear::figures(&all, input.weeks),
        cautions: cautions::of_sheet(input, &measures, &comparisons),
        measures,
        comparisons,
        flaws: input.flaws.to_vec(),
        reading: cautions::reading(),
    }
}

impl Group {
    fn none() -> Group {
        Group {
            package: None,
            class: None,
            grade_band: None,
            crew: None,
            hot: None,
            jobs_done: 0,
            person_minutes: 0.0,
            weighted_m2: 0.0,
            measures: Vec::new(),
            cautions: Vec::new(),
        }
    }

    fn key(&self) -> impl Ord + use<> {
        (self.package.clone(), self.class, self.grade_band, self.crew.clone(), self.hot)
    }
}

/// Jobs with the same labels, in the order of those.
fn groups(input: &SheetInput, label: impl Fn(&JobFigures) -> Group) -> Vec<Group> {
    let mut by_label = BTreeMap::new();
    for job in input.jobs {
        let group = label(job);
        by_label.entry(group.key()).or_insert_with(|| (group, Vec::new())).1.push(job);
    }
    by_label.into_values().map(|(group, jobs)| filled(group, &jobs, input)).collect()
}

fn filled(group: Group, jobs: &[&JobFigures], input: &SheetInput) -> Group {
    let done = || jobs.iter().filter(|job| job.business.finished);
    let mut measures = of_jobs(jobs, input.as_of);
    if let Some(crew) = &group.crew {
        let weeks: Vec<&WeekFacts> = input.weeks.iter().filter(|week| week.crew == *crew).collect();
        let shop_only = ["reminders_sent", "reminders_booked", "reminders_stopped", "near_misses"];
        let business = of_business(jobs, &weeks);
        measures.extend(business.into_iter().filter(|m| !shop_only.contains(&m.name.as_str())));
    }
    Group {
        jobs_done: done().count(),
        person_minutes: done().map(|job| job.minutes).sum(),
        weighted_m2: done().map(|job| job.weighted_m2).sum(),
        measures,
        cautions: cautions::of_jobs(jobs),
        ..group
    }
}
