//! Figures by step: of anybody, then of each technician.

use crate::throughput::cells::{CellKey, Histogram, StepCell};
use crate::throughput::entries::minutes;
use crate::throughput::measure::{LEAST_JOBS, Shown, Span, rate};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use utoipa::ToSchema;

/// `step_actual_to_planned` of the catalogue, and how checks went.
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

pub(super) fn figures(cells: &[(CellKey, StepCell)]) -> Vec<StepFigures> {
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
