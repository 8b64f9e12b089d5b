//! What trends are made from: the weeks of the past, and how long jobs stood in the books.

use super::period::Period;
use super::reading::{figures, week_cells};
use crate::day;
use crate::db::jobs::{self, JobStatus};
use crate::db::kinds::Id;
use crate::db::{Db, step_cells};
use crate::error::ApiError;
use crate::plan_input::zone_of;
use chrono::NaiveDate;
use domain::handbook::Handbook;
use domain::throughput::{CellKey, JobFigures, JobStay, StepCell, TrendInput, Trends, trends};
use std::collections::{BTreeMap, BTreeSet};

/// Everything that trends are made from.
#[derive(Debug, Clone)]
pub struct Past {
    as_of: NaiveDate,
    jobs: Vec<JobFigures>,
    cells: Vec<(CellKey, StepCell)>,
    experience: BTreeMap<(String, String), i64>,
    stays: Vec<JobStay>,
}

impl Past {
    pub fn trends(&self) -> Trends {
        trends(&TrendInput {
            as_of: self.as_of,
            jobs: &self.jobs,
            cells: &self.cells,
            experience: &self.experience,
            stays: &self.stays,
        })
    }
}

/// Reads whole weeks; with `own` only these jobs.
pub fn read(
    db: &mut Db<'_>,
    handbook: &Handbook,
    weeks: Period,
    as_of: NaiveDate,
    own: Option<&BTreeSet<String>>,
) -> Result<Past, ApiError> {
    let mut jobs = figures(db, handbook, weeks)?;
    if let Some(own) = own {
        jobs.retain(|job| own.contains(&job.job));
    }
    let cells = match own {
        None => step_cells::between(db, weeks.from, weeks.to, None)?,
        Some(_) => week_cells(db, handbook, &jobs)?,
    };
    let experience = if own.is_none() { experience(db, weeks.from)? } else { BTreeMap::new() };
    let stays = if own.is_none() { stays(db, weeks.from)? } else { Vec::new() };
    Ok(Past { as_of, jobs, cells, experience, stays })
}

/// Steps that each technician did before a week, by technician and step.
fn experience(db: &mut Db<'_>, before: NaiveDate) -> Result<BTreeMap<(String, String), i64>, ApiError> {
    let Some(last) = before.pred_opt() else { return Ok(BTreeMap::new()) };
    let mut steps: BTreeMap<(String, String), i64> = BTreeMap::new();
    for (technician, step, count) in step_cells::counts_until(db, last)? {
        *steps.entry((technician, step)).or_default() += count;
    }
    Ok(steps)
}

/// A cancelled job leaves the books on the day it was planned for: nobody notes when it was cancelled.
fn stays(db: &mut Db<'_>, from: NaiveDate) -> Result<Vec<JobStay>, ApiError> {
    let zone = zone_of(db, None)?;
    let (begin, _) = day::span(from, from, zone);
    let on = |at: crate::db::kinds::Instant| at.local(zone).date();
    let rows = jobs::stays(db, begin)?;
    let stay =
        |(booked_at, finished_at, status, planned_at): (_, Option<_>, crate::db::kinds::Word<_>, _)| {
            JobStay {
                booked_on: on(booked_at),
                left_on: match status.0 {
                    JobStatus::Finished => finished_at.map(on),
                    JobStatus::Cancelled => Some(on(planned_at)),
                    _ => None,
                },
            }
        };
    Ok(rows.into_iter().map(stay).collect())
}

/// The jobs that a person goes with, as figures name them.
pub fn own_jobs(db: &mut Db<'_>, person: Id) -> Result<BTreeSet<String>, ApiError> {
    Ok(jobs::of_technician(db, person)?.iter().map(Id::to_string).collect())
}
