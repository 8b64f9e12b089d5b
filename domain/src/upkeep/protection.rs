//! Renewal of coats: how reliable each still is, and when it falls to what the shop wants.

use super::answer::CoatLife;
use super::assumed::Topics;
use super::classes::Class;
use super::history::{History, Stripped};
use super::needs::{CoatRef, Dates, plus_days};
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

/// Whether the coat has a date of renewal of its own.
pub(super) fn has_own_date(row: &Protection) -> bool {
    row.life_months >= EVERY_WASH_MONTHS
}

/// The coats' lives, and the needs for renewal that come of them and of coats that are gone.
pub(super) fn judge(
    profile: &Profile,
    (vehicle, history): (&Vehicle, &History),
    today: NaiveDate,
    topics: &mut Topics,
) -> (Vec<CoatLife>, Vec<Need>) {
    let classes = &profile.model.classes;
    let (mut lives, mut needs) = (Vec::new(), Vec::new());
    for layer in &profile.layers {
        let Some(class) = classes.of(layer.row) else { continue };
        classes.touch(layer, topics);
        let outlook = outlook(&classes.norms, class, layer, today);
        lives.extend(profile.told(|| {
            Some(CoatLife {
                coat: layer.coat.clone(),
                used: layer.wear.on(today),
                reliability: outlook.reliability,
                early_on: outlook.early_on,
                late_on: outlook.late_on,
                weibull_shape: class.life.shape,
                learning: Some(class.learning()),
            })
        }));
        if has_own_date(layer.row) {
            needs.extend(need(profile, vehicle, layer, class, &outlook, today));
        }
    }
    needs.extend(gone(profile, history).filter_map(|gone| need_of_gone(profile, vehicle, gone, today)));
    (lives, needs)
}

/// Coats that were taken off, with nothing laid in their place since: their people believe in a protection that is not
/// there. What is still listed is judged as a coat.
fn gone<'a>(
    profile: &'a Profile<'a>,
    history: &'a History,
) -> impl Iterator<Item = (&'a Protection, &'a Stripped)> {
    let all = history.stripped.iter().enumerate();
    let newest = all.filter(|(i, gone)| {
        let same = |other: &Stripped| other.protection == gone.protection && other.zone == gone.zone;
        !history.stripped.iter().enumerate().any(|(k, other)| same(other) && (gone.on, *i) < (other.on, k))
    });
    newest.filter_map(|(_, gone)| {
        let row = profile.model.handbook.protection(&gone.protection).filter(|row| has_own_date(row))?;
        let answers = |layer: &Layer| {
            let whole = layer.coat.zone == gone.zone || layer.coat.zone.is_none();
            let same_place = whole && is_on_paint(layer.row) == is_on_paint(row);
            let listed = layer.row.id == row.id && layer.coat.zone == gone.zone;
            listed || (same_place && layer.applied_on >= gone.on)
        };
        (!profile.layers.iter().any(answers)).then_some((row, gone))
    })
}

fn need_of_gone(
    profile: &Profile,
    vehicle: &Vehicle,
    (row, gone): (&Protection, &Stripped),
    today: NaiveDate,
) -> Option<Need> {
    let classes = &profile.model.classes;
    let class = classes.of(row)?;
    let late_on = plus_days(gone.on, classes.norms.low_late_d as u64);
    let mut dates = Dates { remind_on: gone.on, due_on: gone.on, overdue_on: Some(late_on) };
    let advice = renewal_advice(profile, vehicle, row, &mut dates, today);
    Some(Need {
        kind: NeedKind::Protection,
        coat: Some(CoatRef { protection: row.id.clone(), zone: gone.zone }),
        since_on: Some(gone.on),
        early_on: None,
        late_on: None,
        risk_today: Some(1.0),
        risk_target: Some(1.0 - class.life.reliability(class.renew_at)),
        contaminants: vec![],
        urgency: dates.urgency(today),
        remind_on: dates.remind_on,
        due_on: dates.due_on,
        overdue_on: dates.overdue_on,
        package: package(row).into(),
        reason: profile.told(|| {
            let (car, taken) = (words::word(vehicle.class), taken_off(classes.chemistry.name_of(gone)));
            let ago = words::ago((today - gone.on).num_days());
            format!("The {} that your {car} had {taken} {ago}, and nothing has taken its place.", row.name)
        }),
        advice,
        figures: profile.told(|| {
            vec![Figure::new("days since it was taken off", (today - gone.on).num_days() as f64, "days")]
        }),
    })
}

/// Holds renewal back from fresh paint, and says who can do it.
fn renewal_advice(
    profile: &Profile,
    vehicle: &Vehicle,
    row: &Protection,
    dates: &mut Dates,
    today: NaiveDate,
) -> Vec<String> {
    let mut advice = Vec::new();
    if is_on_paint(row)
        && let Some(on) = limits::repaint_limit(profile, vehicle).filter(|&on| on > dates.due_on.max(today))
    {
        advice.push(format!("Not before {on}: fresh paint takes only shampoo."));
        *dates = dates.not_before(on);
    }
    if !row.mobile {
        advice.push("Renewal is workshop work; on the road it can be washed and looked at.".into());
    } else if row.applied_by.is_none() {
        advice
            .push("No package lays it: at the wash it is looked at, and its renewal is quoted apart.".into());
    }
    advice
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
    advice.extend(renewal_advice(profile, vehicle, layer.row, &mut dates, today));
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
        reason: profile.told(|| reason(layer, vehicle, outlook.finding, today)),
        advice,
        figures: profile.told(|| figures(profile, layer, class, outlook, today)),
    })
}

fn package(row: &Protection) -> &'static str {
    // What no package lays is at least looked at.
    if !row.mobile || row.applied_by.is_none() {
        "P1"
    } else if row.substrates.contains(&Substrate::TextileTop) {
        "P7"
    } else if is_on_paint(row) && is_coating(row) {
        "P4"
    } else {
        "P3"
    }
}

/// Lives from which on a percentage says nothing to a customer (assumption).
const LONG_PAST: f64 = 2.0;

fn reason(layer: &Layer, vehicle: &Vehicle, finding: Finding, today: NaiveDate) -> String {
    let car = words::word(vehicle.class);
    let name = &layer.row.name;
    match finding {
        Finding::Stripped(on, step) => {
            format!("The {name} on your {car} {} {}.", taken_off(step), words::ago((today - on).num_days()))
        }
        Finding::Tested(test, Beads::Low) => {
            let ago = words::ago((today - test.on).num_days());
            format!("Water no longer beads well on your {car}'s {name}, as the test {ago} showed.")
        }
        _ => {
            let days = words::days((today - layer.applied_on).num_days());
            let used = match layer.wear.on(today) {
                lives if lives > LONG_PAST => "has long outlived its usual life".to_string(),
                lives => format!("about {:.0} % of its usual life is used", lives * 100.0),
            };
            let high = matches!(finding, Finding::Tested(_, Beads::High));
            let beads = if high { ", though water still beads well" } else { "" };
            format!("The {name} on your {car} is {days} old and {used}{beads}.")
        }
    }
}

/// `step`: what took it off; empty where nobody knows.
fn taken_off(step: &str) -> String {
    if step.is_empty() { "was taken off".into() } else { format!("was taken off by the {step}") }
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
