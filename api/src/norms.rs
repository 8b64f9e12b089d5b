//! What the shop's own finished steps teach about minutes, and what each step leaves behind for that.

use crate::db::kinds::Id;
use crate::db::steps::{self, MeasuredStep, Outcome, StepNorm};
use crate::db::{Db, plans};
use crate::error::ApiError;
use domain::inspection::Grade;
use domain::plan::{FinishedStep, Norms};
use std::collections::BTreeMap;
use std::sync::Arc;

/// Step records that norms are learned from, the newest of finished jobs: some months of a small shop, so that
/// norms follow the crew, and read within milliseconds (assumption).
const MOST_STEPS: i64 = 2_000;

/// What the newest finished steps of the shop taught; the handbook's norms while there are none.
pub fn learned(db: &mut Db<'_>) -> Result<Arc<Norms>, ApiError> {
    let mut measured = steps::measured(db, MOST_STEPS)?;
    // The oldest job may be cut in two.
    if measured.len() as i64 >= MOST_STEPS {
        let cut = measured.last().map(|step| step.job);
        measured.retain(|step| Some(step.job) != cut);
    }
    Ok(Arc::new(Norms::learn(&finished(measured))))
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

/// One finished step for all its records: minutes add up, and two technicians are nobody in particular. A step that
/// was left before its check held says nothing about its time.
fn finished(measured: Vec<MeasuredStep>) -> Vec<FinishedStep> {
    let mut steps: BTreeMap<(Id, String), (FinishedStep, bool)> = BTreeMap::new();
    for record in measured {
        let Some(grade) = u8::try_from(record.grade).ok().and_then(Grade::new) else { continue };
        let passed = record.outcome.0 == Outcome::Passed;
        let step = FinishedStep {
            step: record.step.clone(),
            grade,
            technician: record.technician,
            norm_minutes: record.norm_minutes,
            minutes: record.minutes,
        };
        steps
            .entry((record.job, record.step))
            .and_modify(|(whole, all_passed)| {
                whole.minutes += step.minutes;
                *all_passed &= passed;
                if whole.technician != step.technician {
                    whole.technician.clear();
                }
            })
            .or_insert((step, passed));
    }
    steps.into_values().filter(|(_, passed)| *passed).map(|(step, _)| step).collect()
}
