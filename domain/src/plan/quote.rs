//! What a customer is told before anybody has looked: a range, from the grade they booked to what it may well be.

use super::{JobPlan, PlanError, PlanInput, plan_job};
use crate::handbook::Severity;
use crate::inspection::{Grade, Inspection};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// Windows are offered in quarters of an hour (common practice).
const SLOT_STEP_MIN: f64 = 15.0;

/// The range of a job. Customers under-grade (`booked_grade_unknown_worse`), and the grade found on site is binding
/// (common practice).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Quote {
    pub package: String,
    pub package_name: String,
    /// True when somebody has looked: then both ends are what was found.
    pub seen: bool,
    pub grade_low: Grade,
    pub grade_high: Grade,
    /// Person-minutes of the low end, as likely to be exceeded as not.
    pub minutes_p50: f64,
    /// Person-minutes of the high end, exceeded by one such job in ten.
    pub minutes_p90: f64,
    /// Share that the package adds when a customer is given a window.
    pub buffer_share: f64,
    /// Window to offer, minutes: the low end's time on site with the buffer, in whole quarters of an hour.
    pub slot_minutes: f64,
    pub low: QuoteEnd,
    pub high: QuoteEnd,
}

/// One end of the range.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct QuoteEnd {
    pub grade: Grade,
    /// False when the package is refused at this grade, or something else blocks the plan; minutes and litres
    /// then leave out what is refused.
    pub workable: bool,
    /// The blocks that stand.
    pub blocks: Vec<String>,
    pub person_minutes: f64,
    pub minutes_p50: f64,
    pub minutes_p90: f64,
    pub elapsed_minutes: f64,
    /// Window with the package's buffer, whole quarters of an hour.
    pub slot_minutes: f64,
    pub water_l: f64,
}

/// Plans the job at the booked grade (typical when none was booked) and at the worse one that is to be reckoned with.
///
/// # Errors
/// As [`plan_job`].
pub fn quote(input: &PlanInput) -> Result<Quote, PlanError> {
    let seen = !input.inspection.findings.is_empty();
    let unseen = Inspection { findings: Vec::new(), ..input.inspection.clone() };
    let at = |grade: Grade| {
        let inspection = if seen { input.inspection } else { &unseen };
        plan_job(&PlanInput { booked_grade: Some(grade), inspection, ..input.clone() })
    };
    let told_worse = input.handbook.told_worse();
    let worst = input.inspection.findings.iter().map(|finding| finding.working_grade(told_worse)).max();
    let grade_low = worst.or(input.booked_grade).unwrap_or(Grade::TYPICAL);
    let grade_high = if seen { grade_low } else { grade_low.worse_by(told_worse) };
    let package = input.handbook.package(input.package);
    let buffer_share = package.map_or(0.0, |package| package.buffer_share);
    let plan = at(grade_low)?;
    let low = end(grade_low, &plan, buffer_share);
    let high = if seen { low.clone() } else { end(grade_high, &at(grade_high)?, buffer_share) };
    Ok(Quote {
        package: plan.package,
        package_name: plan.package_name,
        seen,
        grade_low,
        grade_high,
        minutes_p50: low.minutes_p50,
        minutes_p90: high.minutes_p90,
        buffer_share,
        slot_minutes: low.slot_minutes,
        low,
        high,
    })
}

fn end(grade: Grade, plan: &JobPlan, buffer_share: f64) -> QuoteEnd {
    let blocks = plan.notices.iter().filter(|notice| notice.severity == Severity::Block);
    let slot_min = plan.totals.elapsed_minutes * (1.0 + buffer_share);
    QuoteEnd {
        grade,
        workable: plan.workable,
        blocks: blocks.map(|notice| format!("{} {}", notice.rule, notice.text)).collect(),
        person_minutes: plan.totals.person_minutes,
        minutes_p50: plan.totals.minutes_p50,
        minutes_p90: plan.totals.minutes_p90,
        elapsed_minutes: plan.totals.elapsed_minutes,
        slot_minutes: (slot_min / SLOT_STEP_MIN - 1e-9).ceil() * SLOT_STEP_MIN,
        water_l: plan.totals.water_l,
    }
}
