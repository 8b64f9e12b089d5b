//! What the shop's own minutes say about the planner's norms, shown before it is believed.

use super::cells::{CellKey, StepCell};
use crate::inspection::Grade;
use crate::plan::{Lesson, NormVeto, Norms, StepSum, lessons};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// A norm and what moved it. Factors are on the handbook's norm.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct NormEvidence {
    pub step: String,
    /// Absent: over all grades.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub grade: Option<Grade>,
    /// Absent: of anybody.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub technician: Option<String>,
    /// Finished steps with a sound time and a norm.
    pub steps: i64,
    /// Geometric mean of actual to norm minutes, as measured.
    pub measured: f64,
    /// What would be expected without it: the stage above, of other grades or other technicians, else the handbook.
    pub before: f64,
    /// What the planner expects with this evidence, and the 80 % span of the next step.
    pub learned: f64,
    pub learned_p10: f64,
    pub learned_p90: f64,
    /// Share of the way from what was believed before to what was measured, 0 to 1.
    pub weight: f64,
    pub vetoed: bool,
    pub text: String,
}

/// Everything the cells teach: each step over all grades, at each grade, and of each technician.
pub fn norm_evidence(cells: &[(CellKey, StepCell)], vetoes: &[NormVeto]) -> Vec<NormEvidence> {
    let mut evidence = Vec::new();
    for (step, stages) in lessons(sums(cells)) {
        for ((grade, name), lesson) in stages.into_iter().filter(|(_, lesson)| lesson.seen.count > 0) {
            let technician = (!name.is_empty()).then_some(name);
            let vetoed = vetoes.iter().any(|veto| veto.covers(&step, grade, technician.as_deref()));
            evidence.push(told(&step, grade, technician, &lesson, vetoed));
        }
    }
    evidence
}

/// The norms that the planner uses when it learns from the same cells.
pub fn norms_of_cells(cells: &[(CellKey, StepCell)], vetoes: &[NormVeto]) -> Norms {
    Norms::of_sums(sums(cells)).without(vetoes)
}

fn sums(cells: &[(CellKey, StepCell)]) -> impl Iterator<Item = StepSum<'_>> {
    cells.iter().filter(|(_, cell)| cell.normed > 0).map(|(key, cell)| StepSum {
        step: &key.step,
        grade: key.grade,
        technician: &key.technician,
        seen: cell.ln_norm(),
    })
}

fn told(
    step: &str,
    grade: Option<Grade>,
    technician: Option<String>,
    lesson: &Lesson,
    vetoed: bool,
) -> NormEvidence {
    let count = lesson.seen.count as f64;
    let (measured, before, learned) =
        (lesson.seen.mean().exp(), lesson.before.expected(), lesson.after.expected());
    let who = technician.as_deref().unwrap_or("anybody");
    let at = grade.map_or_else(|| "at all grades".to_owned(), |grade| format!("at grade {}", grade.get()));
    let held = if vetoed { "; vetoed, so it moves nothing" } else { "" };
    let text = format!(
        "{step} {at}, {who}: {count} steps took {measured:.2} of the norm; expected is {learned:.2} instead of \
         {before:.2}{held}."
    );
    NormEvidence {
        step: step.to_owned(),
        grade,
        technician,
        steps: lesson.seen.count,
        measured,
        before,
        learned,
        learned_p10: lesson.after.quantile(0.1),
        learned_p90: lesson.after.quantile(0.9),
        weight: count / (lesson.before.strength + count),
        vetoed,
        text,
    }
}
