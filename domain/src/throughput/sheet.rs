//! The week's sheet: the shop's figures, then by package, by like jobs, by crew, by step and technician.

use super::cautions;
use super::cells::{CellKey, Histogram, StepCell};
use super::compare::{Comparison, compare_crews};
use super::entries::{Flaw, minutes};
use super::job::JobFigures;
use super::measure::{LEAST_JOBS, Measure, Shown, Span, of_business, of_jobs, rate};
use super::week::WeekFacts;
use crate::inspection::Grade;
use crate::vehicle::VehicleClass;
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use utoipa::ToSchema;

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

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct StepFigures {
    pub step: String,
    /// Absent: of anybody.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub technician: Option<String>,
    pub steps: i64,
    /// Of those, planned and with a sound time.
    pub planned: i64,
    /// Median of actual to planned minutes, to the nearest 2 %.
    pub plan_error: Shown,
    /// The middle 80 %.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub plan_error_span_80: Option<Span>,
    pub first_pass_rate: Shown,
    pub loops_per_step: Shown,
    pub person_minutes: f64,
}

/// What was used up, and how long the rest lasts.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct WearFigure {
    /// `clay`, `towels`, a product's id.
    pub item: String,
    pub unit: String,
    pub used: f64,
    /// Jobs done in the same time.
    pub jobs: usize,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub used_per_job: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub left: Option<f64>,
    /// Jobs until it is gone at this pace.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub jobs_left: Option<f64>,
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
        steps: steps(input.cells),
        wear: wear(&all, input.weeks),
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
        let shop_only = ["reminders_booked", "reminders_stopped", "near_misses"];
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

fn steps(cells: &[(CellKey, StepCell)]) -> Vec<StepFigures> {
    let mut sums: BTreeMap<(&str, Option<&str>), StepCell> = BTreeMap::new();
    for (key, cell) in cells {
        sums.entry((&key.step, None)).or_default().add(cell);
        if !key.technician.is_empty() {
            sums.entry((&key.step, Some(&key.technician))).or_default().add(cell);
        }
    }
    sums.retain(|_, cell| cell.steps > 0);
    sums.iter().map(|((step, technician), cell)| step_figures(step, *technician, cell)).collect()
}

fn step_figures(step: &str, technician: Option<&str>, cell: &StepCell) -> StepFigures {
    let steps = u64::try_from(cell.steps).unwrap_or(0);
    let passes = u64::try_from(cell.first_passes).unwrap_or(0);
    let loops = cell.loops as f64 / cell.steps as f64;
    let (plan_error, plan_error_span_80) = plan_error(&cell.plan_error);
    StepFigures {
        step: step.to_owned(),
        technician: technician.map(str::to_owned),
        steps: cell.steps,
        planned: cell.planned,
        plan_error,
        plan_error_span_80,
        first_pass_rate: rate("first_pass_rate", passes, steps, steps as usize, "no steps").shown,
        loops_per_step: if steps < LEAST_JOBS as u64 {
            Shown::none("fewer than 8 steps")
        } else {
            Shown::Number { value: loops, low: None, high: None }
        },
        person_minutes: minutes(cell.all_ms),
    }
}

fn plan_error(histogram: &Histogram) -> (Shown, Option<Span>) {
    let at = |p| histogram.quantile(p);
    let few = histogram.total() < LEAST_JOBS as i64;
    match (at(0.0), at(0.5), at(1.0)) {
        (Some(low), _, Some(high)) if few => (Shown::Range { low, high }, None),
        (_, Some(value), _) => {
            let span = at(0.1).zip(at(0.9)).map(|(low, high)| Span { low, high });
            (Shown::Number { value, low: None, high: None }, span)
        }
        _ => (Shown::none("no planned step with a sound time"), None),
    }
}

fn wear(jobs: &[&JobFigures], weeks: &[WeekFacts]) -> Vec<WearFigure> {
    let done = jobs.iter().filter(|job| job.business.finished).count();
    /// What was used of an item, and what each crew last had left of it, with the week of that count.
    type Item<'a> = (f64, BTreeMap<&'a str, (NaiveDate, f64)>);
    let mut items: BTreeMap<(&str, &str), Item> = BTreeMap::new();
    for week in weeks {
        for (item, wear) in &week.wear {
            let sum = items.entry((item, &wear.unit)).or_default();
            sum.0 += wear.used;
            if let Some(left) = wear.left {
                let newest = sum.1.entry(&week.crew).or_insert((week.week_on, left));
                if week.week_on >= newest.0 {
                    *newest = (week.week_on, left);
                }
            }
        }
    }
    let figures = items.into_iter().map(|((item, unit), (used, newest))| {
        let left = (!newest.is_empty()).then(|| newest.values().map(|(_, left)| left).sum::<f64>());
        let used_per_job = (done > 0).then(|| used / done as f64);
        WearFigure {
            item: item.to_owned(),
            unit: unit.to_owned(),
            used,
            jobs: done,
            used_per_job,
            left,
            jobs_left: left.zip(used_per_job).filter(|(_, pace)| *pace > 0.0).map(|(left, pace)| left / pace),
        }
    });
    figures.collect()
}
