//! Figures over time: control charts, changes and what else changed then, learning curves, work in progress.

mod charts;
mod learning;
mod progress;
mod weekly;

use super::cells::{CellKey, StepCell};
use super::job::{JobFigures, week_of};
use chrono::{Days, NaiveDate};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use utoipa::ToSchema;

/// What trends are made from: some months of roll-ups; a year is plenty.
#[derive(Debug, Clone, Copy)]
pub struct TrendInput<'a> {
    /// Only weeks that ended before this day are drawn.
    pub as_of: NaiveDate,
    pub jobs: &'a [JobFigures],
    pub cells: &'a [(CellKey, StepCell)],
    /// Steps that each technician did before the first week of `cells`, by technician and step.
    pub experience: &'a BTreeMap<(String, String), i64>,
    pub stays: &'a [JobStay],
}

/// A job's time in the books.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct JobStay {
    pub booked_on: NaiveDate,
    /// Finished, cancelled or not shown up for; absent while it is open.
    pub left_on: Option<NaiveDate>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Trends {
    pub series: Vec<Series>,
    /// By technician, then step.
    pub learning: Vec<LearningCurve>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub in_progress: Option<WorkInProgress>,
}

/// A figure week by week.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Series {
    #[schema(example = "minutes_index")]
    pub name: String,
    pub title: String,
    /// In one sentence.
    pub definition: String,
    pub unit: String,
    pub points: Vec<Point>,
    /// The stretches between changes of level, each with limits of its own; none below 20 points.
    pub phases: Vec<Phase>,
    pub changes: Vec<Change>,
    pub cautions: Vec<String>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Point {
    /// Monday.
    pub week_on: NaiveDate,
    pub value: f64,
    pub jobs: usize,
    /// Jobs enough for a number; the others are drawn hollow and no limit rests on them.
    pub enough: bool,
}

/// Weeks at one level. Limits start anew with each: those of another level would judge nothing.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(as = ChartPhase)]
pub struct Phase {
    /// Mondays of its first and last week with jobs enough.
    pub from: NaiveDate,
    pub to: NaiveDate,
    /// Weeks with jobs enough.
    pub points: usize,
    pub mean: f64,
    /// Individuals and moving ranges; absent below 20 points.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub individuals: Option<Individuals>,
    /// Exponentially weighted moving average; absent below 20 points.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ewma: Option<Ewma>,
}

/// Limits of an individuals and moving range chart (NIST/SEMATECH e-Handbook 6.3.2.2).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Individuals {
    pub center: f64,
    pub lower: f64,
    pub upper: f64,
    pub moving_range: f64,
    pub moving_range_upper: f64,
    /// Mondays of points outside the limits, and of moving ranges above theirs.
    pub outside: Vec<NaiveDate>,
    pub jumps: Vec<NaiveDate>,
}

/// An EWMA chart with its steady-state limits (NIST/SEMATECH e-Handbook 6.3.2.4).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Ewma {
    pub lambda: f64,
    pub target: f64,
    pub lower: f64,
    pub upper: f64,
    /// One for each week of the phase that has jobs enough.
    pub values: Vec<f64>,
    pub outside: Vec<NaiveDate>,
}

/// The level of a series changed here.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Change {
    /// Monday of the first week at the new level.
    pub week_on: NaiveDate,
    pub before: f64,
    pub after: f64,
    /// What else changed around then: people, packages, classes, grades, season. No proof of a cause.
    pub also: Vec<String>,
    pub text: String,
}

/// Wright's curve: each doubling of experience takes `rate` of the time.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct LearningCurve {
    pub technician: String,
    pub step: String,
    pub steps: i64,
    /// Time of the first one as a factor on the norm.
    pub first: f64,
    /// 0.8: a doubling of experience saves a fifth of the time.
    pub rate: f64,
    /// 95 % interval of the rate.
    pub rate_low: f64,
    pub rate_high: f64,
    /// Share of the variance between weeks that the curve explains, 0 to 1.
    pub fit: f64,
    pub text: String,
}

/// Little's law on jobs between booking and finish: mean in progress = finished per day x mean days.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct WorkInProgress {
    pub from: NaiveDate,
    pub to: NaiveDate,
    pub booked: usize,
    pub finished: usize,
    /// Counted day by day.
    pub mean_in_progress: f64,
    pub finished_per_day: f64,
    /// From booking to finish, of those finished.
    pub mean_days: f64,
    /// `finished_per_day` x `mean_days`: what a steady flow would have in progress.
    pub by_littles_law: f64,
    pub in_progress_at_end: usize,
    pub text: String,
}

impl Series {
    /// Whether a week is outside the limits of its phase.
    pub fn is_outside(&self, week_on: NaiveDate) -> bool {
        self.phases
            .iter()
            .filter_map(|phase| phase.individuals.as_ref())
            .any(|c| c.outside.contains(&week_on))
    }

    /// Limits of the present phase.
    pub fn present(&self) -> Option<&Individuals> {
        self.phases.last()?.individuals.as_ref()
    }
}

pub fn trends(input: &TrendInput) -> Trends {
    let complete = |on: NaiveDate| week_of(on) + Days::new(7) <= input.as_of;
    let done: Vec<&JobFigures> =
        input.jobs.iter().filter(|job| job.business.finished && complete(job.business.on)).collect();
    let series = weekly::all(&done).into_iter().map(|(series, weeks)| charts::charted(series, weeks, &done));
    Trends {
        series: series.filter(|series| !series.points.is_empty()).collect(),
        learning: learning::curves(input),
        in_progress: progress::in_progress(input),
    }
}
