//! What if the job began at another time: the same job planned for several starts, best first.

use super::{JobPlan, PlanError, PlanInput, plan_job};
use crate::handbook::Severity;
use chrono::NaiveDateTime;
use serde::{Deserialize, Serialize};
use std::cmp::Ordering;
use utoipa::ToSchema;

/// Panels that differ by less than this are equally hot, K: thermometer and weather are no better (assumption).
const SAME_HEAT_K: f64 = 1.0;

/// One start, judged.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Preview {
    /// 1 is the best.
    pub rank: u32,
    /// Wall-clock time at the site.
    #[schema(value_type = String, example = "2026-05-04T08:00:00")]
    pub start: NaiveDateTime,
    #[schema(value_type = String, example = "2026-05-04T10:15:00")]
    pub end: NaiveDateTime,
    pub workable: bool,
    pub blocks: u32,
    pub warnings: u32,
    /// Warmest panel that any product meets, where the weather is known.
    pub hottest_panel_c: Option<f64>,
    pub elapsed_minutes: f64,
    pub person_minutes: f64,
    pub water_l: f64,
    /// What set its rank against the next better start, and the blocks and warnings by rule.
    pub why: Vec<String>,
}

/// Plans the job for each start and ranks them: workable first, then fewer blocks, fewer warnings, cooler panels,
/// shorter on site, earlier. The booked window moves with the start. Nothing is stored.
///
/// The offset from UTC is taken as given for all of them: a start beyond a change of clocks is up to an hour off
/// in the sun's position.
///
/// # Errors
/// As [`plan_job`], of the first start in the order given.
pub fn preview(input: &PlanInput, starts: &[NaiveDateTime]) -> Result<Vec<Preview>, PlanError> {
    let mut plans = Vec::with_capacity(starts.len());
    for &start in starts {
        let moved = start.signed_duration_since(input.start);
        let window_end = input.window_end.and_then(|end| end.checked_add_signed(moved));
        plans.push(plan_job(&PlanInput { start, window_end, ..input.clone() })?);
    }
    Ok(rank(plans).into_iter().map(|(preview, _)| preview).collect())
}

/// Judges plans of one job for several starts, and puts them in order as [`preview`] does.
pub fn rank(plans: Vec<JobPlan>) -> Vec<(Preview, JobPlan)> {
    let mut ranked: Vec<(Preview, JobPlan)> = plans.into_iter().map(|plan| (judge(&plan), plan)).collect();
    ranked.sort_by(|a, b| compare(&a.0, &b.0).0);
    let reasons: Vec<String> = ranked.windows(2).map(|pair| compare(&pair[0].0, &pair[1].0).1).collect();
    for (index, (preview, _)) in ranked.iter_mut().enumerate() {
        preview.rank = index as u32 + 1;
        if let Some(better) = index.checked_sub(1).and_then(|before| reasons.get(before)) {
            preview.why.insert(0, format!("after rank {index}: {better}"));
        }
    }
    ranked
}

fn judge(plan: &JobPlan) -> Preview {
    let count = |severity| plan.notices.iter().filter(|notice| notice.severity == severity).count() as u32;
    let panels = plan.lines.iter().filter_map(|line| line.dwell.as_ref()?.panel_c);
    let serious = plan.notices.iter().filter(|notice| notice.severity >= Severity::Warn);
    let word = |severity| if severity == Severity::Block { "block" } else { "warning" };
    let elapsed_s = (plan.totals.elapsed_minutes * 60.0) as i64;
    Preview {
        rank: 0,
        start: plan.start,
        end: plan.start.checked_add_signed(chrono::TimeDelta::seconds(elapsed_s)).unwrap_or(plan.start),
        workable: plan.workable,
        blocks: count(Severity::Block),
        warnings: count(Severity::Warn),
        hottest_panel_c: panels.max_by(f64::total_cmp),
        elapsed_minutes: plan.totals.elapsed_minutes,
        person_minutes: plan.totals.person_minutes,
        water_l: plan.totals.water_l,
        why: serious
            .map(|notice| format!("{} {}: {}", word(notice.severity), notice.rule, notice.text))
            .collect(),
    }
}

/// Which of two is better, and by what.
fn compare(a: &Preview, b: &Preview) -> (Ordering, String) {
    let heat = |p: &Preview| (p.hottest_panel_c.unwrap_or(f64::MAX) / SAME_HEAT_K).round();
    let shown = |p: &Preview| p.hottest_panel_c.map_or("unknown".to_string(), |c| format!("{c:.0} C"));
    let more = |what: &str, one: String, other: String| format!("{what} {other} against {one}");
    let counted = |what: &str, one: u32, other: u32| more(what, one.to_string(), other.to_string());
    let minutes = |p: &Preview| p.elapsed_minutes.round();
    let by = [
        (b.workable.cmp(&a.workable), "not workable".to_string()),
        (a.blocks.cmp(&b.blocks), counted("blocks", a.blocks, b.blocks)),
        (a.warnings.cmp(&b.warnings), counted("warnings", a.warnings, b.warnings)),
        (heat(a).total_cmp(&heat(b)), more("hottest panel", shown(a), shown(b))),
        (
            minutes(a).total_cmp(&minutes(b)),
            more("minutes on site", minutes(a).to_string(), minutes(b).to_string()),
        ),
        (a.start.cmp(&b.start), "as good, but later".to_string()),
    ];
    by.into_iter().find(|(order, _)| order.is_ne()).unwrap_or((Ordering::Equal, "the same start".into()))
}
