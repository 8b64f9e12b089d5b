//! Keeps the roll-ups in the transaction of whatever changes them, so that a sheet of five years is read as fast as one
//! of a week and is never behind.
//!
//! A job's row is made anew whenever the job changes. What its steps add to the cells of their week is taken away
//! before the change and added again after it; the sums are whole numbers, so that no order of changes leaves a trace.
//! [`recount`] makes the same from nothing.

use super::contributions::{BATCH, contributions, entry};
use crate::db::kinds::{Id, Instant};
use crate::db::step_cells::{self, Cells, RowKey};
use crate::db::steps::{self, Counting};
use crate::db::{Db, job_figures, jobs, people, shops};
use crate::error::ApiError;
use chrono::TimeDelta;
use domain::handbook::Handbook;
use domain::throughput::{CellKey, Contribution, Flaw, StepCell, StepEntry, reach, screen};
use std::collections::{BTreeMap, BTreeSet};

/// How much of a technician's past is judged at once when everything is.
const STRETCH: TimeDelta = TimeDelta::days(28);
/// More people than any shop has.
const ALL: i64 = 10_000;

/// A record that begins then may change what counts of the technician's others.
pub type Moment = (Id, Instant);

/// Makes a change to jobs, and brings the roll-ups along. Jobs are locked, if at all, inside.
pub fn keep<T>(
    db: &mut Db<'_>,
    handbook: &Handbook,
    jobs: &[Id],
    change: impl FnOnce(&mut Db<'_>) -> Result<T, ApiError>,
) -> Result<T, ApiError> {
    shops::lock_roll_ups(db)?;
    let before = contributions(db, handbook, jobs, false)?;
    let done = change(db)?;
    let after = contributions(db, handbook, jobs, false)?;
    store(db, &before, &after)?;
    Ok(done)
}

/// The same where a plan is made: the scope of the job is read from it, if the work has not begun.
pub fn keep_planned<T>(
    db: &mut Db<'_>,
    handbook: &Handbook,
    job: Id,
    change: impl FnOnce(&mut Db<'_>) -> Result<T, ApiError>,
) -> Result<T, ApiError> {
    shops::lock_roll_ups(db)?;
    let before = contributions(db, handbook, &[job], false)?;
    let done = change(db)?;
    let after = contributions(db, handbook, &[job], true)?;
    store(db, &before, &after)?;
    Ok(done)
}

/// The same where records of a job's steps change that begin, or began, at these moments.
pub fn keep_steps<T>(
    db: &mut Db<'_>,
    handbook: &Handbook,
    job: Id,
    moments: &[Moment],
    change: impl FnOnce(&mut Db<'_>) -> Result<T, ApiError>,
) -> Result<T, ApiError> {
    shops::lock_roll_ups(db)?;
    let mut touched = BTreeSet::from([job]);
    for (technician, at) in moments {
        let (from, to) = reach(at.utc()).affected;
        let near = steps::of_technician(db, *technician, Instant::from_utc(from), Instant::from_utc(to))?;
        touched.extend(near.iter().map(|step| step.job));
    }
    let touched: Vec<Id> = touched.into_iter().collect();
    let before = contributions(db, handbook, &touched, false)?;
    let done = change(db)?;
    for (technician, at) in moments {
        let reach = reach(at.utc());
        judge(db, *technician, reach.needed.into(), reach.affected.into())?;
    }
    let after = contributions(db, handbook, &touched, false)?;
    store(db, &before, &after)?;
    Ok(done)
}

/// Makes every roll-up of the shop anew from the rows it rests on.
pub fn recount(db: &mut Db<'_>, handbook: &Handbook) -> Result<(), ApiError> {
    shops::lock_roll_ups(db)?;
    for person in people::list(db, None, ALL)? {
        judge_all(db, person.id)?;
    }
    job_figures::clear(db)?;
    step_cells::clear(db)?;
    let (mut rows, mut after) = (BTreeMap::new(), None);
    loop {
        let ids = jobs::ids(db, after, BATCH as i64)?;
        let Some(last) = ids.last() else { break };
        after = Some(*last);
        for (job, contribution) in contributions(db, handbook, &ids, true)? {
            job_figures::put(db, job, &contribution.figures)?;
            add(&mut rows, contribution.cells);
        }
    }
    for (key, cells) in &rows {
        step_cells::put(db, key, cells)?;
    }
    Ok(())
}

/// The first and the last instant of a stretch of time.
#[derive(Debug, Clone, Copy)]
struct Stretch(Instant, Instant);

impl From<(chrono::NaiveDateTime, chrono::NaiveDateTime)> for Stretch {
    fn from((from, to): (chrono::NaiveDateTime, chrono::NaiveDateTime)) -> Stretch {
        Stretch(Instant::from_utc(from), Instant::from_utc(to))
    }
}

/// Judges how much of a technician's records counts that begin in `affected`; those in `needed` decide it.
fn judge(db: &mut Db<'_>, technician: Id, needed: Stretch, affected: Stretch) -> Result<(), ApiError> {
    let records = steps::of_technician(db, technician, needed.0, needed.1)?;
    let entries: Vec<StepEntry> = records.iter().map(entry).collect();
    let screening = screen(&entries);
    let mut flaws: BTreeMap<&str, Vec<Flaw>> = BTreeMap::new();
    for flaw in &screening.flaws {
        flaws.entry(&flaw.entry).or_default().push(flaw.clone());
    }
    let is_affected = |record: &&Counting| {
        let at = record.fields.started_at;
        affected.0 <= at && at <= affected.1
    };
    for record in records.iter().filter(is_affected) {
        let id = record.id.to_string();
        let Some(counted) = screening.counted.get(&id) else { continue };
        let flaws = flaws.get(id.as_str()).map_or(&[][..], Vec::as_slice);
        let known = record.flaws.as_ref().map_or(&[][..], |flaws| flaws.0.as_slice());
        if (record.counted_ms, record.sound, known) != (counted.ms, counted.sound, flaws) {
            steps::set_counted(db, record, counted.ms, counted.sound, flaws)?;
        }
    }
    Ok(())
}

fn judge_all(db: &mut Db<'_>, technician: Id) -> Result<(), ApiError> {
    let Some((mut from, last)) = steps::span_of_technician(db, technician)? else { return Ok(()) };
    while from <= last {
        let to = from.plus(STRETCH);
        let needed = (reach(from.utc()).needed.0, reach(to.utc()).needed.1);
        judge(db, technician, needed.into(), Stretch(from, to))?;
        from = to;
    }
    Ok(())
}

/// Stores the rows of jobs, and adds to the cells what they add more or less than before.
fn store(
    db: &mut Db<'_>,
    before: &BTreeMap<Id, Contribution>,
    after: &BTreeMap<Id, Contribution>,
) -> Result<(), ApiError> {
    let mut change: BTreeMap<CellKey, StepCell> = BTreeMap::new();
    for (key, cell) in before.values().flat_map(|contribution| &contribution.cells) {
        change.entry(key.clone()).or_default().remove(cell);
    }
    for (key, cell) in after.values().flat_map(|contribution| &contribution.cells) {
        change.entry(key.clone()).or_default().add(cell);
    }
    change.retain(|_, cell| !cell.is_empty());
    let mut rows = BTreeMap::new();
    add(&mut rows, change);
    for (key, change) in rows {
        let mut cells = step_cells::find(db, &key)?;
        for (place, cell) in change {
            cells.entry(place).or_default().add(&cell);
        }
        cells.retain(|_, cell| !cell.is_empty());
        step_cells::put(db, &key, &cells)?;
    }
    for (job, contribution) in after {
        if before.get(job).is_none_or(|before| before.figures != contribution.figures) {
            job_figures::put(db, *job, &contribution.figures)?;
        }
    }
    for job in before.keys().filter(|job| !after.contains_key(job)) {
        job_figures::remove(db, *job)?;
    }
    Ok(())
}

/// Sorts cells into the rows they are stored in.
fn add(rows: &mut BTreeMap<RowKey, Cells>, cells: BTreeMap<CellKey, StepCell>) {
    for (key, cell) in cells {
        let row = rows.entry((key.week_on, key.crew, key.technician)).or_default();
        row.entry((key.step, key.grade, key.hot)).or_default().add(&cell);
    }
}
