//! Reads the roll-ups of a time: the rows that the sheet is made from.

use super::contributions::{BATCH, contributions, entry_of};
use super::over_time::own_jobs;
use super::period::Period;
use super::surroundings;
use crate::day;
use crate::db::kinds::Id;
use crate::db::step_changes::{self, ChangeKind, StepChange};
use crate::db::{Db, job_figures, jobs, step_cells, steps};
use crate::error::ApiError;
use crate::plan_input::zone_of;
use chrono::TimeDelta;
use domain::handbook::Handbook;
use domain::throughput::{
    CancelledWork, CellKey, Flaw, JobFigures, Sheet, SheetInput, StepCell, StepEntry, WeekFacts, Withdrawal,
    screen, sheet, weighted_m2,
};
use std::collections::{BTreeMap, BTreeSet};

/// What a crew is called whose jobs no van was set to.
pub const NO_VAN: &str = "no van";
/// Flawed records, and changed ones, that a sheet names at most.
const MOST_FLAWS: i64 = 500;

/// A job that was cancelled after work had begun is looked for by its window, this near to the work (assumption).
const NEAR_WINDOW: TimeDelta = TimeDelta::days(62);

/// Everything the sheet of a time is made from.
#[derive(Debug, Clone)]
pub struct Reading {
    pub period: Period,
    pub as_of: chrono::NaiveDate,
    pub jobs: Vec<JobFigures>,
    /// By technician, step, grade and heat; weeks and crews are added up.
    pub cells: Vec<(CellKey, StepCell)>,
    pub weeks: Vec<WeekFacts>,
    pub flaws: Vec<Flaw>,
    pub cancelled: CancelledWork,
}

impl Reading {
    /// What one technician worked on.
    pub fn of_technician(&self, technician: &str) -> Reading {
        let mut own = Reading { weeks: Vec::new(), cancelled: CancelledWork::default(), ..self.clone() };
        own.jobs.retain(|job| job.technicians.iter().any(|one| one == technician));
        own.cells.retain(|(key, _)| key.technician == technician);
        own.flaws.retain(|flaw| flaw.technician == technician);
        own
    }

    pub fn sheet(&self) -> Sheet {
        sheet(&SheetInput {
            from: self.period.from,
            to: self.period.to,
            as_of: self.as_of,
            jobs: &self.jobs,
            cells: &self.cells,
            weeks: &self.weeks,
            flaws: &self.flaws,
            cancelled: self.cancelled,
        })
    }
}

/// What is counted in a time; with `of` only that of jobs this person goes with.
pub fn read(
    db: &mut Db<'_>,
    handbook: &Handbook,
    period: Period,
    as_of: chrono::NaiveDate,
    of: Option<Id>,
) -> Result<Reading, ApiError> {
    let mut jobs = figures(db, handbook, period)?;
    let own = match of {
        Some(person) => Some(own_jobs(db, person)?),
        None => None,
    };
    if let Some(own) = &own {
        jobs.retain(|job| own.contains(&job.job));
    }
    let cells = cells(db, handbook, period, &jobs, own.is_some())?;
    let mut weeks = surroundings::of_crews(db, handbook, period, &jobs)?;
    if own.is_none() {
        weeks.extend(surroundings::of_shop(db, period)?);
    }
    let mut flaws = steps::flawed(db, period.from, period.to, MOST_FLAWS)?;
    flaws.extend(withdrawn(db, period)?);
    if let Some(own) = &own {
        flaws.retain(|flaw| own.contains(&flaw.job));
    }
    flaws.sort_by(|a, b| (a.on, &a.entry, a.kind).cmp(&(b.on, &b.entry, b.kind)));
    let cancelled = cancelled(db, period, own.as_ref())?;
    Ok(Reading { period, as_of, jobs, cells, weeks, flaws, cancelled })
}

/// What was recorded in a time on jobs that were cancelled; with `own` only on these.
fn cancelled(
    db: &mut Db<'_>,
    period: Period,
    own: Option<&BTreeSet<String>>,
) -> Result<CancelledWork, ApiError> {
    let (begin, end) = day::span(period.from, period.to, zone_of(db, None)?);
    let mut jobs = jobs::cancelled_between(db, begin.plus(-NEAR_WINDOW), end.plus(NEAR_WINDOW))?;
    jobs.retain(|job| own.is_none_or(|own| own.contains(&job.to_string())));
    let (mut worked, mut steps, mut ms) = (BTreeSet::new(), 0, 0);
    for ids in jobs.chunks(BATCH) {
        let records = steps::of_jobs(db, ids)?;
        for record in records.iter().filter(|record| period.has(record.worked_on)) {
            worked.insert(record.job);
            steps += 1;
            ms += record.counted_ms;
        }
    }
    Ok(CancelledWork { jobs: worked.len(), steps, minutes: ms as f64 / 60_000.0 })
}

/// The jobs counted in a time, weighed by the handbook in force.
pub fn figures(db: &mut Db<'_>, handbook: &Handbook, period: Period) -> Result<Vec<JobFigures>, ApiError> {
    let mut jobs = job_figures::between(db, period.from, period.to)?;
    for job in &mut jobs {
        job.weighted_m2 = weighted_m2(handbook, job.grade, job.area_m2);
        if job.crew.is_empty() {
            job.crew = NO_VAN.to_owned();
        }
    }
    Ok(jobs)
}

/// Whole weeks come from the roll-up; the days before and after them, and a crew's own jobs, from the jobs themselves.
fn cells(
    db: &mut Db<'_>,
    handbook: &Handbook,
    period: Period,
    jobs: &[JobFigures],
    own_only: bool,
) -> Result<Vec<(CellKey, StepCell)>, ApiError> {
    let (first, last) = period.whole_weeks();
    let rolled_up = !own_only && first <= last;
    let mut sum: BTreeMap<CellKey, StepCell> = BTreeMap::new();
    let mut add = |mut key: CellKey, cell: &StepCell| {
        key.week_on = period.from;
        key.crew.clear();
        sum.entry(key).or_default().add(cell);
    };
    if rolled_up {
        for (key, cell) in step_cells::between(db, first, last, None)? {
            add(key, &cell);
        }
    }
    let whole = Period { from: first, to: Period::week(last).to };
    let rest = jobs.iter().filter(|job| !(rolled_up && whole.has(job.business.on)));
    for (key, cell) in week_cells(db, handbook, rest)? {
        add(key, &cell);
    }
    Ok(sum.into_iter().collect())
}

/// What the steps of these jobs add to their weeks.
pub fn week_cells<'a>(
    db: &mut Db<'_>,
    handbook: &Handbook,
    jobs: impl IntoIterator<Item = &'a JobFigures>,
) -> Result<Vec<(CellKey, StepCell)>, ApiError> {
    let done = jobs.into_iter().filter(|job| job.business.finished && job.steps > 0);
    let ids: Vec<Id> = done.filter_map(|job| job.job.parse().ok()).collect();
    let found = contributions(db, handbook, &ids, false)?;
    Ok(found.into_values().flat_map(|contribution| contribution.cells).collect())
}

/// Records of these days that were corrected or taken back, each with what it was.
fn withdrawn(db: &mut Db<'_>, period: Period) -> Result<Vec<Flaw>, ApiError> {
    let changes = step_changes::between(db, period.from, period.to, MOST_FLAWS)?;
    Ok(screen(&changes.into_iter().map(as_withdrawn).collect::<Vec<_>>()).flaws)
}

/// The record as it was before the change. Its id is the change's, as the record's own stands for what it is now.
fn as_withdrawn(change: StepChange) -> StepEntry {
    StepEntry {
        water_l: None,
        product_ml: None,
        withdrawn: Some(Withdrawal {
            by: change.by_name,
            at: change.at.utc(),
            reason: change.reason,
            replaced_by: (change.kind.0 == ChangeKind::Corrected).then(|| change.record.to_string()),
        }),
        ..entry_of(change.id, change.job, change.worked_on, &change.before.0)
    }
}
