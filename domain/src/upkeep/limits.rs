//! Too much is harm too: limits on iron removal, clay and work on fresh paint.

use super::fallout::removals;
use super::history::History;
use super::needs::{Need, NeedKind, plus_days};
use super::profile::Profile;
use crate::vehicle::Vehicle;
use chrono::{Days, NaiveDate};
use std::collections::BTreeSet;

const YEAR_DAYS: u64 = 365;

pub(super) fn most_a_year(profile: &Profile) -> usize {
    if profile.is_exposed_to("foundry") {
        profile.norms.iron_per_year_foundry
    } else {
        profile.norms.decon_per_year
    }
}

/// The day from which one more decontamination stays within the year's limit.
pub(super) fn year_limit(profile: &Profile, removals: &[NaiveDate]) -> Option<NaiveDate> {
    let nth_last = removals.len().checked_sub(most_a_year(profile).max(1))?;
    removals.get(nth_last).map(|&on| plus_days(on, YEAR_DAYS))
}

/// The day before which the need is not to be met, however well that would suit a visit.
pub(super) fn not_before(
    profile: &Profile,
    vehicle: &Vehicle,
    history: &History,
    need: &Need,
) -> Option<NaiveDate> {
    match need.kind {
        NeedKind::Decontamination => {
            let year = year_limit(profile, &removals(vehicle, history));
            year.max(repaint_limit(profile, vehicle))
        }
        NeedKind::Protection => repaint_limit(profile, vehicle),
        _ => None,
    }
}

/// The day from which more than shampoo may touch a repaint (rule R54).
pub(super) fn repaint_limit(profile: &Profile, vehicle: &Vehicle) -> Option<NaiveDate> {
    vehicle.repainted_on.map(|on| plus_days(on, profile.norms.repaint_d as u64))
}

/// How clay or the number of decontaminations limits the next one.
pub(super) fn clay_limit(
    profile: &Profile,
    history: &History,
    removals: &[NaiveDate],
    due_on: NaiveDate,
) -> Option<String> {
    let from = due_on.checked_sub_days(Days::new(YEAR_DAYS)).unwrap_or(NaiveDate::MIN);
    let in_year = |on: NaiveDate| on > from && on <= due_on;
    let clayed: BTreeSet<NaiveDate> =
        history.decontaminations.iter().filter(|d| d.clayed && in_year(d.on)).map(|d| d.on).collect();
    let all = removals.iter().filter(|&&on| in_year(on)).count();
    if clayed.len() >= profile.norms.clay_per_year {
        Some(format!("No clay: the paint was clayed {} times in the twelve months before.", clayed.len()))
    } else if all >= profile.norms.decon_per_year {
        Some(format!("Iron remover only, no clay: {all} decontaminations in twelve months are the limit."))
    } else {
        None
    }
}
