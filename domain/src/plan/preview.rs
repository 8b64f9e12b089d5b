//! What if the job began at another time: the same job planned for several starts, best first.

use super::draft::Draft;
use super::facts::Facts;
use super::{PlanError, PlanInput, choose, finish, totals, validate};
use crate::handbook::Severity;
use chrono::{NaiveDateTime, TimeDelta};
use serde::{Deserialize, Serialize};
use std::cmp::Ordering;
use std::num::NonZeroUsize;
use std::panic::resume_unwind;
use std::sync::atomic::{self, AtomicUsize};
use std::thread;
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

/// When a job begins, on the wall clock at the site.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Start {
    pub at: NaiveDateTime,
    /// Minutes that local time is ahead of UTC then.
    pub utc_offset_min: i32,
    /// End of the booked window.
    pub window_end: Option<NaiveDateTime>,
}

impl Start {
    /// The start that an input has.
    pub fn of(input: &PlanInput) -> Start {
        Start { at: input.start, utc_offset_min: input.utc_offset_min, window_end: input.window_end }
    }
}

/// Plans the job for each start and ranks them: workable first, then fewer blocks, fewer warnings, cooler panels,
/// shorter on site, earlier. Each is what [`super::plan_job`] makes of it, whatever the number of threads; what does
/// not depend on the start is worked out once a thread, and panels and crews that were seen for one start are known
/// for its next. Nothing is stored.
///
/// # Errors
/// As [`super::plan_job`], of the first start in the order given; what is wrong with a start itself points at
/// `/starts/N`.
pub fn preview(
    input: &PlanInput,
    starts: &[Start],
    threads: NonZeroUsize,
) -> Result<Vec<Preview>, PlanError> {
    let next = AtomicUsize::new(0);
    let shares = thread::scope(|scope| {
        let running: Vec<_> =
            (0..threads.get()).map(|_| scope.spawn(|| judged(input, starts, &next))).collect();
        running
            .into_iter()
            .map(|thread| thread.join().unwrap_or_else(|panic| resume_unwind(panic)))
            .collect::<Result<Vec<_>, PlanError>>()
    })?;
    let mut numbered: Vec<_> = shares.into_iter().flatten().collect();
    numbered.sort_by_key(|&(index, _)| index);
    let previews = numbered.into_iter().map(|(_, preview)| preview).collect::<Result<_, _>>()?;
    Ok(rank(previews))
}

/// What one thread made of the starts it took, each with its place in the list.
type Share = Vec<(usize, Result<Preview, PlanError>)>;

/// Takes a few neighbours at a time, which share the most, until none is left: hot hours cost more than nights.
fn judged(input: &PlanInput, starts: &[Start], next: &AtomicUsize) -> Result<Share, PlanError> {
    const AT_A_TIME: usize = 16;
    validate::check_job(input)?;
    let facts = Facts::new(input)?;
    let chosen = choose::choose(&facts);
    let mut share = Vec::new();
    loop {
        let from = next.fetch_add(AT_A_TIME, atomic::Ordering::Relaxed);
        let taken = starts.iter().enumerate().skip(from).take(AT_A_TIME);
        if taken.len() == 0 {
            return Ok(share);
        }
        share.extend(taken.map(|(index, &start)| (index, judge(&facts, &chosen, index, start))));
    }
}

fn judge(facts: &Facts, chosen: &Draft, index: usize, start: Start) -> Result<Preview, PlanError> {
    let Start { at, utc_offset_min, window_end } = start;
    let input = PlanInput { start: at, utc_offset_min, window_end, ..facts.input.clone() };
    validate::check_start(&input).map_err(|error| of_start(error, index))?;
    let facts = facts.at_start(&input);
    let mut draft = chosen.clone().on(&facts);
    finish(&mut draft)?;
    Ok(told(&draft))
}

/// A fault of the input's own start is one of the list.
fn of_start(error: PlanError, index: usize) -> PlanError {
    let own = ["/start", "/utc_offset_min", "/window_end"].contains(&error.pointer.as_str());
    if own { PlanError::new(&format!("/starts/{index}"), error.detail) } else { error }
}

/// In order, each saying what put it behind the one before.
fn rank(mut previews: Vec<Preview>) -> Vec<Preview> {
    previews.sort_by(|a, b| compare(a, b).0);
    let reasons: Vec<String> = previews.windows(2).map(|pair| compare(&pair[0], &pair[1]).1).collect();
    for (index, preview) in previews.iter_mut().enumerate() {
        preview.rank = index as u32 + 1;
        if let Some(better) = index.checked_sub(1).and_then(|before| reasons.get(before)) {
            preview.why.insert(0, format!("after rank {index}: {better}"));
        }
    }
    previews
}

fn told(draft: &Draft) -> Preview {
    let (start, totals) = (draft.facts.input.start, totals(draft));
    let count = |severity| draft.notices.iter().filter(|notice| notice.severity == severity).count() as u32;
    let panels = draft.work.iter().filter_map(|work| work.dwell.as_ref()?.panel_c);
    let serious = draft.notices.iter().filter(|notice| notice.severity >= Severity::Warn);
    let word = |severity| if severity == Severity::Block { "block" } else { "warning" };
    let elapsed_s = (totals.elapsed_minutes * 60.0) as i64;
    Preview {
        rank: 0,
        start,
        end: start.checked_add_signed(TimeDelta::seconds(elapsed_s)).unwrap_or(start),
        workable: draft.workable(),
        blocks: count(Severity::Block),
        warnings: count(Severity::Warn),
        hottest_panel_c: panels.max_by(f64::total_cmp),
        elapsed_minutes: totals.elapsed_minutes,
        person_minutes: totals.person_minutes,
        water_l: totals.water_l,
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
