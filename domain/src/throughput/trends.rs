//! Figures over time: control charts, changes and what else changed then, learning curves, work in progress.

use super::cells::{CellKey, StepCell};
use super::changes::also_changed;
use super::job::{JobFigures, week_of};
use super::measure::LEAST_JOBS;
use super::sheet::GradeBand;
use super::statistics::{
    D2_OF_2, LEAST_POINTS, Stay, ewma, ewma_limits, flow, individuals, median, shifts, wright_fit,
};
use crate::plan::LnSum;
use chrono::{Days, NaiveDate};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use utoipa::ToSchema;

/// Smoothing of the moving average, as in the handbook's worked example.
const LAMBDA: f64 = 0.3;
/// Little's law is counted over this many weeks (assumption).
const FLOW_WEEKS: u64 = 8;
/// A learning curve needs steps in so many weeks, and experience grown so many times over: less says nothing of a slope
/// (assumption).
const LEARNING_WEEKS: usize = 6;
const LEARNING_GROWTH: f64 = 4.0;

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
    /// Individuals and moving ranges; absent below 20 points.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub individuals: Option<Individuals>,
    /// Exponentially weighted moving average; absent below 20 points.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ewma: Option<Ewma>,
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
    /// One for each point that has jobs enough.
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

pub fn trends(input: &TrendInput) -> Trends {
    let complete = |on: NaiveDate| week_of(on) + Days::new(7) <= input.as_of;
    let done: Vec<&JobFigures> =
        input.jobs.iter().filter(|job| job.business.finished && complete(job.business.on)).collect();
    let series =
        [minutes_index(&done), plan_error(&done), first_passes(&done), water(&done), work_done(&done)];
    let series = series.into_iter().map(|(series, points)| charted(series, points, &done));
    Trends {
        series: series.filter(|series| !series.points.is_empty()).collect(),
        learning: learning(input),
        in_progress: in_progress(input),
    }
}

// ---- series ----

type Week = (NaiveDate, f64, usize);

fn head(name: &str, title: &str, unit: &str, definition: &str) -> Series {
    Series {
        name: name.to_owned(),
        title: title.to_owned(),
        definition: definition.to_owned(),
        unit: unit.to_owned(),
        points: Vec::new(),
        individuals: None,
        ewma: None,
        changes: Vec::new(),
        cautions: Vec::new(),
    }
}

fn by_week<'a>(jobs: impl Iterator<Item = &'a JobFigures>) -> BTreeMap<NaiveDate, Vec<&'a JobFigures>> {
    let mut weeks: BTreeMap<NaiveDate, Vec<&JobFigures>> = BTreeMap::new();
    for job in jobs {
        weeks.entry(week_of(job.business.on)).or_default().push(job);
    }
    weeks
}

/// Person-minutes per weighted m2 against the same jobs of the whole time, so that a week of large vans is no slow week.
fn minutes_index(done: &[&JobFigures]) -> (Series, Vec<Week>) {
    let sound =
        || done.iter().copied().filter(|j| j.has_sound_minutes() && !j.is_hot() && j.weighted_m2 > 0.0);
    let stratum = |job: &JobFigures| (job.package.clone(), job.class, GradeBand::of(job.grade));
    let ln = |job: &JobFigures| (job.minutes / job.weighted_m2).ln();
    let mut strata: BTreeMap<_, LnSum> = BTreeMap::new();
    sound().for_each(|job| strata.entry(stratum(job)).or_default().put(ln(job)));
    let off = |job: &JobFigures| {
        strata.get(&stratum(job)).filter(|sum| sum.count > 1).map(|sum| ln(job) - sum.mean())
    };
    let weeks = by_week(sound()).into_iter().filter_map(|(week, jobs)| {
        let sum = LnSum::of(jobs.iter().filter_map(|job| off(job)));
        (sum.count > 0).then(|| (week, sum.mean().exp(), sum.count as usize))
    });
    let definition = "Person-minutes per weighted m2 of the week's jobs divided by the mean of all jobs of the same \
                      package, class and grade band in the time shown (geometric mean; hot jobs apart).";
    (head("minutes_index", "Time for the same jobs", "1", definition), weeks.collect())
}

fn plan_error(done: &[&JobFigures]) -> (Series, Vec<Week>) {
    let sound =
        done.iter().copied().filter(|j| j.has_sound_minutes() && !j.is_hot() && j.planned_minutes > 0.0);
    let weeks = by_week(sound).into_iter().filter_map(|(week, jobs)| {
        let mut each: Vec<f64> = jobs.iter().map(|job| job.actual_minutes / job.planned_minutes).collect();
        each.sort_by(f64::total_cmp);
        Some((week, median(&each)?, each.len()))
    });
    let definition =
        "Median over the week's jobs of minutes spent divided by minutes planned (hot jobs apart).";
    (head("actual_to_planned", "Minutes spent to minutes planned", "1", definition), weeks.collect())
}

fn first_passes(done: &[&JobFigures]) -> (Series, Vec<Week>) {
    let weeks = sum_over_sum(done, |job| Some((f64::from(job.first_passes), f64::from(job.steps))));
    let definition =
        "Steps of the week that passed their check at once divided by all steps (hot jobs apart).";
    (head("first_pass_rate", "First-pass rate", "1", definition), weeks)
}

fn water(done: &[&JobFigures]) -> (Series, Vec<Week>) {
    let weeks = sum_over_sum(done, |job| Some((job.water_l?, job.area_m2)));
    let definition = "Litres of water recorded divided by the area of those jobs (hot jobs apart).";
    (head("water_per_m2", "Water per m2", "l/m2", definition), weeks)
}

fn sum_over_sum(done: &[&JobFigures], of: fn(&JobFigures) -> Option<(f64, f64)>) -> Vec<Week> {
    let weeks = by_week(done.iter().copied().filter(|job| !job.is_hot())).into_iter();
    let each = weeks.filter_map(|(week, jobs)| {
        let known: Vec<_> = jobs.iter().filter_map(|job| of(job)).collect();
        let (above, below) = known.iter().fold((0.0, 0.0), |(a, b), pair| (a + pair.0, b + pair.1));
        (below > 0.0).then(|| (week, above / below, known.len()))
    });
    each.collect()
}

/// A total, so every week counts, those without a job too.
fn work_done(done: &[&JobFigures]) -> (Series, Vec<Week>) {
    let weeks = by_week(done.iter().copied());
    let mut points = Vec::new();
    if let Some((first, last)) = weeks.keys().next().zip(weeks.keys().last()) {
        for week in first.iter_weeks().take_while(|week| week <= last) {
            let jobs = weeks.get(&week).map_or(&[][..], Vec::as_slice);
            points.push((week, jobs.iter().map(|job| job.weighted_m2).sum(), jobs.len()));
        }
    }
    let definition = "Area times severity weight of all jobs finished in the week.";
    (head("weighted_m2_done", "Weighted m2 done", "m2", definition), points)
}

/// Limits and changes where there are points enough.
fn charted(series: Series, weeks: Vec<Week>, done: &[&JobFigures]) -> Series {
    let total = series.name == "weighted_m2_done";
    let points: Vec<Point> = weeks
        .into_iter()
        .map(|(week_on, value, jobs)| Point { week_on, value, jobs, enough: total || jobs >= LEAST_JOBS })
        .collect();
    let solid: Vec<&Point> = points.iter().filter(|point| point.enough).collect();
    let few = points.len() - solid.len();
    let mut cautions = Vec::new();
    if few > 0 {
        cautions.push(format!(
            "{few} weeks have fewer than {LEAST_JOBS} jobs; they are drawn hollow and carry no limit."
        ));
    }
    if solid.len() < LEAST_POINTS {
        cautions.push(format!(
            "{} weeks with jobs enough: limits are shown from {LEAST_POINTS} on.",
            solid.len()
        ));
        return Series { points, cautions, ..series };
    }
    let values: Vec<f64> = solid.iter().map(|point| point.value).collect();
    let chart = limits(&values, &solid);
    let moving = smoothed(&values, &solid);
    let changes = changes(&values, &solid, done);
    if !changes.is_empty() {
        cautions.push(
            "The level changed: limits over the whole time are wider than those of either level.".into(),
        );
    }
    Series { individuals: chart, ewma: moving, changes, cautions, points, ..series }
}

fn limits(values: &[f64], points: &[&Point]) -> Option<Individuals> {
    let chart = individuals(values)?;
    let outside = points.iter().filter(|point| point.value < chart.lower || point.value > chart.upper);
    let jumps =
        points.windows(2).filter(|pair| (pair[1].value - pair[0].value).abs() > chart.moving_range_upper);
    Some(Individuals {
        center: chart.center,
        lower: chart.lower,
        upper: chart.upper,
        moving_range: chart.moving_range,
        moving_range_upper: chart.moving_range_upper,
        outside: outside.map(|point| point.week_on).collect(),
        jumps: jumps.map(|pair| pair[1].week_on).collect(),
    })
}

fn smoothed(values: &[f64], points: &[&Point]) -> Option<Ewma> {
    let chart = individuals(values)?;
    let limits = ewma_limits(chart.center, chart.moving_range / D2_OF_2, LAMBDA);
    let smooth = ewma(values, LAMBDA, chart.center);
    let outside =
        points.iter().zip(&smooth).filter(|(_, value)| **value < limits.lower || **value > limits.upper);
    Some(Ewma {
        lambda: LAMBDA,
        target: chart.center,
        lower: limits.lower,
        upper: limits.upper,
        outside: outside.map(|(point, _)| point.week_on).collect(),
        values: smooth,
    })
}

fn changes(values: &[f64], points: &[&Point], done: &[&JobFigures]) -> Vec<Change> {
    let starts = shifts(values);
    let ends: Vec<usize> =
        std::iter::once(0).chain(starts.iter().copied()).chain(std::iter::once(values.len())).collect();
    let mean = |from: usize, to: usize| values[from..to].iter().sum::<f64>() / (to - from) as f64;
    let each = ends.windows(3).filter_map(|part| {
        let week_on = points.get(part[1])?.week_on;
        let (before, after) = (mean(part[0], part[1]), mean(part[1], part[2]));
        let also = also_changed(done, week_on);
        let said =
            if also.is_empty() { "nothing else in the records changed then".to_owned() } else { also.join("; ") };
        let text = format!(
            "From the week of {week_on} it is {after:.2} instead of {before:.2}. Around then: {said}. That is no \
             proof of a cause."
        );
        Some(Change { week_on, before, after, also, text })
    });
    each.collect()
}

// ---- learning ----

fn learning(input: &TrendInput) -> Vec<LearningCurve> {
    let mut weeks: BTreeMap<(&str, &str), BTreeMap<NaiveDate, LnSum>> = BTreeMap::new();
    for (key, cell) in input.cells.iter().filter(|(key, _)| !key.technician.is_empty() && !key.hot) {
        let own = weeks.entry((&key.technician, &key.step)).or_default();
        own.entry(key.week_on).or_default().add(&cell.ln_norm());
    }
    weeks.iter().filter_map(|((technician, step), weeks)| curve(technician, step, weeks, input)).collect()
}

fn curve(
    technician: &str,
    step: &str,
    weeks: &BTreeMap<NaiveDate, LnSum>,
    input: &TrendInput,
) -> Option<LearningCurve> {
    let key = (technician.to_owned(), step.to_owned());
    let mut done = input.experience.get(&key).copied().unwrap_or(0) as f64;
    let before = done;
    let mut points = Vec::new();
    for sum in weeks.values().filter(|sum| sum.count > 0) {
        let count = sum.count as f64;
        // The week's middle unit stands for all of them.
        points.push((done + (count + 1.0) / 2.0, sum.mean(), count));
        done += count;
    }
    let growth = points.last()?.0 / points.first()?.0;
    if points.len() < LEARNING_WEEKS || done - before < LEAST_POINTS as f64 || growth < LEARNING_GROWTH {
        return None;
    }
    let fit = wright_fit(&points)?;
    let said = if fit.rate_low <= 1.0 && fit.rate_high >= 1.0 {
        "no learning that could be told from chance".to_owned()
    } else {
        format!("each doubling of experience takes {:.0} % of the time", fit.rate * 100.0)
    };
    let text = format!(
        "{technician} on {step}, {} steps: {said} ({:.2} to {:.2}; the curve explains {:.0} % of what differs between \
         weeks).",
        done - before,
        fit.rate_low,
        fit.rate_high,
        fit.r2 * 100.0
    );
    Some(LearningCurve {
        technician: technician.to_owned(),
        step: step.to_owned(),
        steps: (done - before) as i64,
        first: fit.first,
        rate: fit.rate,
        rate_low: fit.rate_low,
        rate_high: fit.rate_high,
        fit: fit.r2,
        text,
    })
}

// ---- work in progress ----

fn in_progress(input: &TrendInput) -> Option<WorkInProgress> {
    let from = input.as_of.checked_sub_days(Days::new(7 * FLOW_WEEKS))?;
    let day = |on: NaiveDate| (on - from).num_days() as f64;
    let stays: Vec<Stay> =
        input.stays.iter().map(|s| Stay { entered: day(s.booked_on), left: s.left_on.map(day) }).collect();
    let seen = flow(&stays, 0.0, day(input.as_of)).filter(|seen| seen.left > 0)?;
    let law = seen.by_littles_law();
    let drift = if seen.mean_in_progress > 1.2 * law {
        "more is in the books than the pace explains: some jobs lie long, or the backlog grows"
    } else if law > 1.2 * seen.mean_in_progress {
        "old jobs were finished: the backlog shrinks"
    } else {
        "the flow is steady"
    };
    let text = format!(
        "{:.1} jobs in the books on average, {:.2} finished a day, {:.1} days from booking to finish (Little's law: \
         {law:.1}); {drift}.",
        seen.mean_in_progress, seen.rate, seen.mean_stay
    );
    Some(WorkInProgress {
        from,
        to: input.as_of.pred_opt().unwrap_or(input.as_of),
        booked: seen.entered,
        finished: seen.left,
        mean_in_progress: seen.mean_in_progress,
        finished_per_day: seen.rate,
        mean_days: seen.mean_stay,
        by_littles_law: law,
        in_progress_at_end: seen.in_progress_at_end,
        text,
    })
}
