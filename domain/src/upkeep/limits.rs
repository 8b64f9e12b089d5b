//! Too much is harm too: limits on iron removal, clay and work on fresh paint.

use super::history::History;
use super::needs::plus_days;
use super::profile::Profile;
use crate::vehicle::Vehicle;
use chrono::{Days, NaiveDate};
use std::collections::BTreeSet;

/// Full decontaminations in a year, and at a foundry, where those above four are iron only (common practice).
const MOST_A_YEAR: usize = 4;
const MOST_A_YEAR_FOUNDRY: usize = 6;
/// Times clay touches one surface in a year without an assessment for polishing (common practice).
const MOST_CLAY_A_YEAR: usize = 2;
const YEAR_DAYS: u64 = 365;
/// Days after a repaint in which only shampoo may touch it (rule R54, common practice).
pub(super) const REPAINT_DAYS: u64 = 60;

pub(super) fn most_a_year(profile: &Profile) -> usize {
    if profile.is_exposed_to("foundry") { MOST_A_YEAR_FOUNDRY } else { MOST_A_YEAR }
}

/// The day from which one more decontamination stays within the year's limit.
pub(super) fn year_limit(profile: &Profile, removals: &[NaiveDate]) -> Option<NaiveDate> {
    let nth_last = removals.len().checked_sub(most_a_year(profile))?;
    removals.get(nth_last).map(|&on| plus_days(on, YEAR_DAYS))
}

pub(super) fn repaint_limit(vehicle: &Vehicle) -> Option<NaiveDate> {
    vehicle.repainted_on.map(|on| plus_days(on, REPAINT_DAYS))
}

pub(super) fn clay_limit(history: &History, removals: &[NaiveDate], due_on: NaiveDate) -> Option<String> {
    let from = due_on.checked_sub_days(Days::new(YEAR_DAYS)).unwrap_or(NaiveDate::MIN);
    let in_year = |on: NaiveDate| on > from && on <= due_on;
    let clayed: BTreeSet<NaiveDate> =
        history.decontaminations.iter().filter(|d| d.clayed && in_year(d.on)).map(|d| d.on).collect();
    let all = removals.iter().filter(|&&on| in_year(on)).count();
    if clayed.len() >= MOST_CLAY_A_YEAR {
        Some(format!("No clay: the paint was clayed {} times in the twelve months before.", clayed.len()))
    } else if all >= MOST_A_YEAR {
        Some("Iron remover only, no clay: four full decontaminations a year are the limit.".into())
    } else {
        None
    }
}
