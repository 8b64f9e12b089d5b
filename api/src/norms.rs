//! What the shop's own finished steps teach about minutes, and what each step leaves behind for that.

use crate::db::kinds::Id;
use crate::db::steps::{self, StepNorm};
use crate::db::{Db, norm_vetoes, plans, step_cells};
use crate::error::ApiError;
use crate::throughput::names;
use crate::throughput::period::Period;
use crate::upkeep;
use chrono::{Days, NaiveDate};
use domain::inspection::Grade;
use domain::plan::{NormVeto, Norms};
use domain::throughput::{CellKey, NormEvidence, StepCell, norm_evidence, norms_of_cells};
use std::sync::Arc;

/// Weeks that norms are learned from: a quarter of a year, so that they follow the crew (assumption).
const WEEKS: u64 = 13;

/// What the steps of the last weeks taught, without what the owner vetoed; the handbook's norms while there are none.
///
/// Plans know technicians by name.
pub fn learned(db: &mut Db<'_>) -> Result<Arc<Norms>, ApiError> {
    let (mut cells, _) = cells(db)?;
    if cells.is_empty() {
        return Ok(Arc::default());
    }
    let mut vetoes = vetoes(db)?;
    let names = names::read(db)?;
    let called = cells.iter_mut().map(|(key, _)| &mut key.technician);
    for technician in called.chain(vetoes.iter_mut().filter_map(|veto| veto.technician.as_mut())) {
        if let Some(name) = names.get(technician.as_str()) {
            technician.clone_from(name);
        }
    }
    Ok(Arc::new(norms_of_cells(&cells, &vetoes)))
}

/// The same with what stands behind it, and since when; technicians by id.
pub fn evidence(db: &mut Db<'_>) -> Result<(Vec<NormEvidence>, NaiveDate), ApiError> {
    let (cells, since_on) = cells(db)?;
    Ok((norm_evidence(&cells, &vetoes(db)?), since_on))
}

fn cells(db: &mut Db<'_>) -> Result<(Vec<(CellKey, StepCell)>, NaiveDate), ApiError> {
    let week = Period::week(upkeep::today(db)?);
    let since_on = week.from.checked_sub_days(Days::new(7 * (WEEKS - 1))).unwrap_or(week.from);
    Ok((step_cells::between(db, since_on, week.to, None)?, since_on))
}

fn vetoes(db: &mut Db<'_>) -> Result<Vec<NormVeto>, ApiError> {
    let vetoes = norm_vetoes::in_force(db)?.into_iter().map(|veto| NormVeto {
        step: veto.fields.step,
        grade: veto.fields.grade.and_then(|grade| u8::try_from(grade).ok()).and_then(Grade::new),
        technician: veto.fields.technician.map(|id| id.to_string()),
    });
    Ok(vetoes.collect())
}

/// The norm that a step now recorded is measured against: that of its earlier records, else of the plan in force.
/// A step that was never planned has none.
pub fn norm_of(db: &mut Db<'_>, job: Id, step: &str) -> Result<Option<StepNorm>, ApiError> {
    if let Some(norm) = steps::norm(db, job, step)? {
        return Ok(Some(norm));
    }
    let Some(plan) = plans::find(db, job, None)? else { return Ok(None) };
    let lines: Vec<_> = plan.document.0.lines.iter().filter(|line| line.step == step).collect();
    let minutes: f64 = lines.iter().map(|line| line.norm_minutes).sum();
    let planned_minutes: f64 = lines.iter().map(|line| line.minutes).sum();
    let longest = lines.iter().max_by(|a, b| a.norm_minutes.total_cmp(&b.norm_minutes));
    Ok(longest
        .filter(|_| minutes.is_finite() && minutes > 0.0 && planned_minutes >= 0.0)
        .map(|line| StepNorm { minutes, grade: i32::from(line.grade.get()), planned_minutes }))
}
