//! Renewal of coats: how reliable each still is, and when it falls to what the shop wants.

use super::answer::CoatLife;
use super::assumed::Topics;
use super::classes::Class;
use super::outlook::{Beads, Finding, Outlook, outlook};
use super::profile::{Layer, Profile, is_coating, is_on_paint};
use super::{Need, NeedKind, limits, words};
use crate::figure::Figure;
use crate::handbook::Protection;
use crate::vehicle::{Substrate, Vehicle};
use chrono::NaiveDate;

/// Coats with a shorter typical life are laid on at every wash and have no date of their own (assumption; packages
/// with a wash carry wheel spray and tyre dressing).
const EVERY_WASH_MONTHS: f64 = 2.0;

/// The coats' lives, and the needs for renewal that come of them.
pub(super) fn judge(
    profile: &Profile,
    vehicle: &Vehicle,
    today: NaiveDate,
    topics: &mut Topics,
) -> (Vec<CoatLife>, Vec<Need>) {
    let classes = &profile.model.classes;
    let (mut lives, mut needs) = (Vec::new(), Vec::new());
    for layer in &profile.layers {
        let Some(class) = classes.of(layer.row) else { continue };
        classes.touch(layer, topics);
        let outlook = outlook(&classes.norms, class, layer, today);
        lives.push(CoatLife {
            coat: layer.coat.clone(),
            used: layer.wear.on(today),
            reliability: outlook.reliability,
            early_on: outlook.early_on,
            late_on: outlook.late_on,
            weibull_shape: class.life.shape,
            learning: Some(class.learning()),
        });
        if layer.row.life_months >= EVERY_WASH_MONTHS {
            needs.extend(need(profile, vehicle, layer, class, &outlook, today));
        }
    }
    (lives, needs)
}

fn need(
    profile: &Profile,
    vehicle: &Vehicle,
    layer: &Layer,
    class: &Class,
    outlook: &Outlook,
    today: NaiveDate,
) -> Option<Need> {
    let mut dates = outlook.dates?;
    let mut advice = Vec::new();
    let low = |finding| matches!(finding, Finding::Tested(_, Beads::Low));
    if low(outlook.finding) && !layer.bead_test.is_some_and(|test| test.after_test_sequence) {
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
    // After a low test or a strip the day is a rule and not a matter of chance.
    let by_chance = !low(outlook.finding) && !matches!(outlook.finding, Finding::Stripped(..));
    Some(Need {
        kind: NeedKind::Protection,
        coat: Some(layer.coat.clone()),
        since_on: Some(layer.applied_on),
        early_on: outlook.early_on.filter(|_| by_chance),
        late_on: outlook.late_on.filter(|_| by_chance),
        risk_today: Some(1.0 - outlook.reliability),
        risk_target: Some(outlook.risk_target),
        contaminants: vec![],
        urgency: dates.urgency(today),
        remind_on: dates.remind_on,
        due_on: dates.due_on,
        overdue_on: dates.overdue_on,
        package: package(layer.row).into(),
        reason: reason(layer, vehicle, outlook.finding, today),
        advice,
        figures: figures(profile, layer, class, outlook, today),
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

fn reason(layer: &Layer, vehicle: &Vehicle, finding: Finding, today: NaiveDate) -> String {
    let car = words::word(vehicle.class);
    let name = &layer.row.name;
    match finding {
        Finding::Stripped(on, step) => {
            let days = (today - on).num_days();
            format!("The {name} on your {car} was taken off by the {step} {days} days ago.")
        }
        Finding::Tested(test, Beads::Low) => {
            let days = (today - test.on).num_days();
            format!("Water no longer beads well on your {car}'s {name}, as the test {days} days ago showed.")
        }
        _ => {
            let days = (today - layer.applied_on).num_days();
            let used = layer.wear.on(today) * 100.0;
            let high = matches!(finding, Finding::Tested(_, Beads::High));
            let beads = if high { ", though water still beads well" } else { "" };
            format!(
                "The {name} on your {car} is {days} days old and about {used:.0} % of its usual life is used{beads}."
            )
        }
    }
}

fn figures(
    profile: &Profile,
    layer: &Layer,
    class: &Class,
    outlook: &Outlook,
    today: NaiveDate,
) -> Vec<Figure> {
    let mut figures = vec![
        Figure::new("part of life used", layer.wear.on(today), "1"),
        Figure::new("days since application", (today - layer.applied_on).num_days() as f64, "days"),
        Figure::new("typical life", layer.row.life_months, "months"),
        Figure::new("life factor of the exposures", profile.life_factor(), "1"),
        Figure::new("life expected", layer.life_days * class.life.age_at(0.5), "equivalent days"),
        Figure::new("reliability today", outlook.reliability, "1"),
        Figure::new("part of life at which renewal is due", class.renew_at, "1"),
    ];
    if let Some(age) = class.cheapest {
        figures.push(Figure::new("part of life at which renewal is cheapest", age, "1"));
    }
    figures
}
