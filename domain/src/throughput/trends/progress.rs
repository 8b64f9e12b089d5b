//! Work in the books by Little's law.

use super::{TrendInput, WorkInProgress};
use crate::throughput::statistics::{Stay, flow};
use chrono::{Days, NaiveDate};

/// Little's law is counted over this many weeks (assumption).
const FLOW_WEEKS: u64 = 8;

pub(super) fn in_progress(input: &TrendInput) -> Option<WorkInProgress> {
    let from = input.as_of.checked_sub_days(Days::new(7 * FLOW_WEEKS))?;
    let day = |on: NaiveDate| (on - from).num_days() as f64;
    let stays: Vec<Stay> =
        input.stays.iter().map(|s| Stay { entered: day(s.booked_on), left: s.left_on.map(day) }).collect();
    let seen = flow(&stays, 0.0, day(input.as_of)).filter(|seen| seen.left > 0)?;
    let law = seen.by_littles_law();
    let drift = if seen.mean_in_progress > 1.2 * law {
        "more is in the books than the pace explains: some jobs lie long, or the backlog grows"
    } else if law > 1.2 * seen.mean_in_progress {
        "old jobs were finished: the backlog shrinks"
    } else {
        "the flow is steady"
    };
    let text = format!(
        "{:.1} jobs in the books on average, {:.2} finished a day, {:.1} days from booking to finish (Little's law: \
         {law:.1}); {drift}.",
        seen.mean_in_progress, seen.rate, seen.mean_stay
    );
    Some(WorkInProgress {
        from,
        to: input.as_of.pred_opt().unwrap_or(input.as_of),
        booked: seen.entered,
        finished: seen.left,
        mean_in_progress: seen.mean_in_progress,
        finished_per_day: seen.rate,
        mean_days: seen.mean_stay,
        by_littles_law: law,
        in_progress_at_end: seen.in_progress_at_end,
        text,
    })
}
