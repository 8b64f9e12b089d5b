//! Wright's curve of each technician on each step.

use super::{LearningCurve, TrendInput};
use crate::plan::LnSum;
use crate::throughput::statistics::{LEAST_POINTS, wright_fit};
use chrono::NaiveDate;
use std::collections::BTreeMap;

/// A learning curve needs steps in so many weeks, and experience grown so many times over: less says nothing of a slope
/// (assumption).
const LEARNING_WEEKS: usize = 6;
const LEARNING_GROWTH: f64 = 4.0;

pub(super) fn curves(input: &TrendInput) -> Vec<LearningCurve> {
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
