//! Renewal of coats by wear: the part of a typical life used by time and alkaline washes, corrected by bead tests.

use super::history::BeadTest;
use super::needs::{Dates, plus_days};
use super::norms::Norms;
use super::profile::{Layer, Profile, is_coating, is_on_paint};
use super::{Need, NeedKind, limits, words};
use crate::figure::Figure;
use crate::handbook::Protection;
use crate::vehicle::{Substrate, Vehicle};
use chrono::NaiveDate;

/// Renewal is late from this many times the life at which it is due (assumption).
const OVERDUE_AT: f64 = 1.25;
/// Days after a low bead test from which renewal is late (assumption).
const LOW_BEAD_LATE_DAYS: u64 = 28;
/// Coats with a shorter typical life are laid on at every wash and have no date of their own (assumption; packages
/// with a wash carry wheel spray and tyre dressing).
const EVERY_WASH_MONTHS: f64 = 2.0;

pub(super) fn needs(
    profile: &Profile,
    vehicle: &Vehicle,
    today: NaiveDate,
    remarks: &mut Vec<String>,
) -> Vec<Need> {
    let own = profile.layers.iter().filter(|l| l.row.life_months >= EVERY_WASH_MONTHS);
    let needs: Vec<Need> = own.filter_map(|layer| need(profile, vehicle, layer, today)).collect();
    if !needs.is_empty() {
        remarks.push("Typical lives of coats are common practice; the shop's own may differ.".into());
    }
    needs
}

fn need(profile: &Profile, vehicle: &Vehicle, layer: &Layer, today: NaiveDate) -> Option<Need> {
    let bead = layer.bead_test.map(|test| (test, judge(layer.row, test)));
    let mut dates = dates(profile.norms, layer, bead)?;
    let mut advice = Vec::new();
    if let Some((test, Bead::Low)) = bead
        && !test.after_test_sequence
    {
        advice.push(
            "First a wash that does not strip and a mild acid step, then test again: a coat that no longer \
                 beads may be clogged with film or hard water and not worn."
                .into(),
        );
    }
    if is_on_paint(layer.row)
        && let Some(on) = limits::repaint_limit(profile, vehicle).filter(|&on| on > dates.due_on.max(today))
    {
        advice.push(format!("Not before {on}: fresh paint takes only shampoo."));
        dates = dates.not_before(on);
    }
    if !layer.row.mobile {
        advice.push("Renewal is workshop work; on the road it can be washed and looked at.".into());
    }
    Some(Need {
        kind: NeedKind::Protection,
        coat: Some(layer.coat.clone()),
        since_on: Some(layer.applied_on),
        early_on: None,
        late_on: None,
        risk_today: None,
        risk_target: None,
        contaminants: vec![],
        urgency: dates.urgency(today),
        remind_on: dates.remind_on,
        due_on: dates.due_on,
        overdue_on: dates.overdue_on,
        package: package(layer.row).into(),
        reason: reason(layer, vehicle, bead, today),
        advice,
        figures: figures(profile, layer, today),
    })
}

#[derive(Clone, Copy, PartialEq)]
enum Bead {
    /// Two of three panels, or as many in proportion, at or below the grade for renewal.
    Low,
    Between,
    /// Every panel within one grade of a fresh coat (assumption of what "high" means).
    High,
}

fn judge(row: &Protection, test: &BeadTest) -> Bead {
    let Some(renew) = row.bead_renew else { return Bead::Between };
    let panels = test.panel_grades.len();
    let low = test.panel_grades.iter().filter(|&&g| g <= renew).count();
    let high_from = row.bead_start.unwrap_or(5).saturating_sub(1).max(renew.saturating_add(1));
    if low * 3 >= panels * 2 {
        Bead::Low
    } else if test.panel_grades.iter().all(|&g| g >= high_from) {
        Bead::High
    } else {
        Bead::Between
    }
}

fn dates(norms: &Norms, layer: &Layer, bead: Option<(&BeadTest, Bead)>) -> Option<Dates> {
    if let Some((test, Bead::Low)) = bead {
        let overdue_on = Some(plus_days(test.on, LOW_BEAD_LATE_DAYS));
        return Some(Dates { remind_on: test.on, due_on: test.on, overdue_on });
    }
    let later = if matches!(bead, Some((_, Bead::High))) { norms.bead_postpone } else { 0.0 };
    let due_on = layer.wear.reaches(norms.life_due + later)?;
    Some(Dates {
        remind_on: layer.wear.reaches(norms.life_remind + later)?.min(due_on),
        due_on,
        overdue_on: layer.wear.reaches(norms.life_due * OVERDUE_AT + later),
    })
}

fn package(row: &Protection) -> &'static str {
    if !row.mobile {
        "P1"
    } else if row.substrates.contains(&Substrate::TextileTop) {
        "P7"
    } else if is_on_paint(row) && is_coating(row) {
        "P4"
    } else {
        "P3"
    }
}

fn reason(layer: &Layer, vehicle: &Vehicle, bead: Option<(&BeadTest, Bead)>, today: NaiveDate) -> String {
    let car = words::word(vehicle.class);
    let name = &layer.row.name;
    match bead {
        Some((test, Bead::Low)) => {
            let days = (today - test.on).num_days();
            format!("Water no longer beads well on your {car}'s {name}, as the test {days} days ago showed.")
        }
        _ => {
            let days = (today - layer.applied_on).num_days();
            let used = layer.wear.on(today) * 100.0;
            let beads =
                if matches!(bead, Some((_, Bead::High))) { ", though water still beads well" } else { "" };
            format!(
                "The {name} on your {car} is {days} days old and about {used:.0} % of its usual life is used{beads}."
            )
        }
    }
}

fn figures(profile: &Profile, layer: &Layer, today: NaiveDate) -> Vec<Figure> {
    vec![
        Figure::new("part of life used", layer.wear.on(today), "1"),
        Figure::new("days since application", (today - layer.applied_on).num_days() as f64, "days"),
        Figure::new("typical life", layer.row.life_months, "months"),
        Figure::new("life factor of the exposures", profile.life_factor(), "1"),
        Figure::new("life expected", layer.life_days, "days"),
    ]
}
