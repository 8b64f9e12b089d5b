//! Finished steps summed up: the row that figures over steps are made from.
//!
//! Sums are whole numbers of small units, so cells form a commutative group: adding and taking away in any order
//! gives the same to the last digit.

use super::entries::ms;
use super::job::PlannedStep;
use crate::inspection::Grade;
use crate::plan::LnSum;
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Where a finished step is counted.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct CellKey {
    /// Monday of the week the job is counted in.
    pub week_on: NaiveDate,
    pub crew: String,
    /// Empty where several worked on the step.
    pub technician: String,
    /// Id in the handbook's `steps` table.
    pub step: String,
    /// The grade its norm was taken from, else the job's.
    pub grade: Grade,
    /// A panel of the job was above 30 °C.
    pub hot: bool,
}

/// Sums over finished steps. All may be negative in a difference.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct StepCell {
    /// Finished steps.
    pub steps: i64,
    /// Of those, with a check that held at once.
    pub first_passes: i64,
    /// Of those, left although the check did not hold.
    pub left: i64,
    pub loops: i64,
    /// Person-milliseconds of all.
    pub all_ms: i64,
    pub water_ml: i64,
    /// Concentrate, thousandths of a millilitre.
    pub product_ul: i64,
    /// Steps that were planned and whose time is sound, and what they took and were planned for.
    pub planned: i64,
    pub actual_ms: i64,
    pub planned_ms: i64,
    /// Steps that passed, have a norm of the handbook and a sound time: count, sum and sum of squares of the
    /// logarithm of actual to norm minutes, in millionths.
    pub normed: i64,
    pub ln_norm_millionths: i64,
    pub ln2_norm_millionths: i64,
    /// Of the `planned` steps: how many had which ratio of actual to planned minutes.
    pub plan_error: Histogram,
}

/// Counts by ratio, in bins of 2 % (0.02 in the logarithm): a quantile read from it is off by at most 1 %.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Histogram {
    bins: BTreeMap<i16, i64>,
}

/// Ratios beyond this and its inverse are a clock left running or never started, and held there (assumption).
const MOST_OFF: f64 = 10.0;
const BIN: f64 = 0.02;
const MILLIONTHS: f64 = 1e6;

impl StepCell {
    pub fn add(&mut self, other: &StepCell) {
        self.combine(other, 1);
    }

    pub fn remove(&mut self, other: &StepCell) {
        self.combine(other, -1);
    }

    pub fn is_empty(&self) -> bool {
        *self == StepCell::default()
    }

    fn combine(&mut self, other: &StepCell, sign: i64) {
        self.steps += sign * other.steps;
        self.first_passes += sign * other.first_passes;
        self.left += sign * other.left;
        self.loops += sign * other.loops;
        self.all_ms += sign * other.all_ms;
        self.water_ml += sign * other.water_ml;
        self.product_ul += sign * other.product_ul;
        self.planned += sign * other.planned;
        self.actual_ms += sign * other.actual_ms;
        self.planned_ms += sign * other.planned_ms;
        self.normed += sign * other.normed;
        self.ln_norm_millionths += sign * other.ln_norm_millionths;
        self.ln2_norm_millionths += sign * other.ln2_norm_millionths;
        self.plan_error.combine(&other.plan_error, sign);
    }

    /// A step with a sound time against its plan and, when it passed, against its norm.
    pub(super) fn measure(&mut self, minutes: f64, planned: &PlannedStep, passed: bool) {
        if let Some(ln) = ln_ratio(minutes, planned.minutes) {
            self.planned += 1;
            self.actual_ms += ms(minutes);
            self.planned_ms += ms(planned.minutes);
            self.plan_error.count(ln);
        }
        if let Some(ln) = ln_ratio(minutes, planned.norm_minutes).filter(|_| passed) {
            self.normed += 1;
            self.ln_norm_millionths += (ln * MILLIONTHS).round() as i64;
            self.ln2_norm_millionths += (ln * ln * MILLIONTHS).round() as i64;
        }
    }

    /// Count, mean and sum of squared deviations of the logarithm of actual to norm minutes.
    pub fn ln_norm(&self) -> LnSum {
        LnSum {
            count: self.normed,
            sum: self.ln_norm_millionths as f64 / MILLIONTHS,
            squares: self.ln2_norm_millionths as f64 / MILLIONTHS,
        }
    }
}

impl Histogram {
    pub fn count(&mut self, ln_ratio: f64) {
        self.put((ln_ratio / BIN).floor() as i16, 1);
    }

    pub fn total(&self) -> i64 {
        self.bins.values().sum()
    }

    /// The ratio that a share of `p` (0 to 1) stays under: the middle of the bin that holds the quantile.
    pub fn quantile(&self, p: f64) -> Option<f64> {
        let rank = (p.clamp(0.0, 1.0) * self.total() as f64).ceil().max(1.0) as i64;
        let mut below = 0;
        let bin = self.bins.iter().find(|(_, count)| {
            below += **count;
            below >= rank
        });
        bin.map(|(bin, _)| ((f64::from(*bin) + 0.5) * BIN).exp())
    }

    /// Bins that are not empty and their counts.
    pub fn bins(&self) -> impl Iterator<Item = (i16, i64)> + '_ {
        self.bins.iter().map(|(bin, count)| (*bin, *count))
    }

    fn put(&mut self, bin: i16, count: i64) {
        let here = self.bins.entry(bin).or_default();
        *here += count;
        if *here == 0 {
            self.bins.remove(&bin);
        }
    }

    fn combine(&mut self, other: &Histogram, sign: i64) {
        for (bin, count) in &other.bins {
            self.put(*bin, sign * count);
        }
    }
}

impl FromIterator<(i16, i64)> for Histogram {
    fn from_iter<T: IntoIterator<Item = (i16, i64)>>(bins: T) -> Histogram {
        let mut histogram = Histogram::default();
        bins.into_iter().for_each(|(bin, count)| histogram.put(bin, count));
        histogram
    }
}

/// None without a number on both sides.
fn ln_ratio(minutes: f64, of: f64) -> Option<f64> {
    let ratio = minutes / of;
    (minutes > 0.0 && of > 0.0 && ratio.is_finite()).then(|| ratio.clamp(1.0 / MOST_OFF, MOST_OFF).ln())
}
