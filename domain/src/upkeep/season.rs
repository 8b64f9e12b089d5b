//! Washes between, and what the season asks: closer washes in the insect months, a flush after the salt.

use super::history::History;
use super::needs::{Dates, plus_days};
use super::profile::Profile;
use super::{Need, NeedKind, fallout, words};
use crate::figure::Figure;
use crate::vehicle::Vehicle;
use chrono::NaiveDate;

/// Rule R68 (common practice): above this mean air temperature insects ask for a wash at least every 7 days.
const INSECT_AIR_C: f64 = 15.0;
const INSECT_CADENCE_DAYS: u32 = 7;
/// Rule R69 (common practice): so long without salting and warmer than this, then flush within two weeks.
const SALT_QUIET_DAYS: u64 = 7;
const SALT_AIR_C: f64 = 5.0;
const SALT_OFFER_DAYS: u64 = 14;
/// Salting longer ago belongs to last winter (assumption).
const SALT_SEASON_DAYS: i64 = 180;

pub(super) fn wash(
    profile: &Profile,
    vehicle: &Vehicle,
    history: &History,
    today: NaiveDate,
    assumptions: &mut Vec<String>,
) -> Option<Need> {
    let Some(last) = last_wet_work(profile, vehicle, history) else {
        assumptions.push("No wash is on record, so the time since the last one is not judged.".into());
        return None;
    };
    let exposed = profile.exposures.iter().filter(|e| e.share > 0.0);
    let dirtiest = exposed.min_by_key(|e| e.row.wash_cadence_days.1)?;
    let (mut least, mut most) = dirtiest.row.wash_cadence_days;
    let insects = profile.is_exposed_to("motorway_high")
        && history.mean_air_c.is_some_and(|air| air > INSECT_AIR_C)
        && most > INSECT_CADENCE_DAYS;
    let mut advice = Vec::new();
    if insects {
        (least, most) = (least.min(INSECT_CADENCE_DAYS), INSECT_CADENCE_DAYS);
        advice.push("A visit for the front only, against insects, will do between full washes.".to_owned());
    }
    let dates = Dates {
        remind_on: plus_days(last, least.min(most).into()),
        due_on: plus_days(last, most.into()),
        // Late after twice the longest time between washes (assumption).
        overdue_on: Some(plus_days(last, 2 * u64::from(most))),
    };
    let dates = match no_wash_until(profile) {
        Some(on) if on > dates.remind_on => {
            advice.push(format!("No wash before {on}: the coat is still curing."));
            dates.not_before(on)
        }
        _ => dates,
    };
    let days = (today - last).num_days();
    let why = if insects { ", and warm weather brings insects that etch within hours" } else { "" };
    Some(Need {
        kind: NeedKind::Wash,
        coat: None,
        since_on: Some(last),
        urgency: dates.urgency(today),
        remind_on: dates.remind_on,
        due_on: dates.due_on,
        overdue_on: dates.overdue_on,
        package: "P1".into(),
        reason: format!("The last wash of your {} was {days} days ago{why}.", words::word(vehicle.class)),
        advice,
        figures: vec![
            Figure::new("days since the last wash", days as f64, "days"),
            Figure::new("days between washes, at most", f64::from(most), "days"),
        ],
    })
}

/// Every decontamination and every coat on the paint begins with a wash.
fn last_wet_work(profile: &Profile, vehicle: &Vehicle, history: &History) -> Option<NaiveDate> {
    let washes = history.washes.iter().map(|w| w.on);
    let coats = profile.layers.iter().filter(|l| l.row.is_on_paint()).map(|l| l.applied_on);
    washes.chain(coats).chain(fallout::removals(vehicle, history)).max()
}

fn no_wash_until(profile: &Profile) -> Option<NaiveDate> {
    profile.layers.iter().map(|l| plus_days(l.applied_on, l.row.no_wash_d.into())).max()
}

pub(super) fn salt_flush(
    vehicle: &Vehicle,
    history: &History,
    today: NaiveDate,
    assumptions: &mut Vec<String>,
) -> Option<Need> {
    let salted_on = history.last_salted_on?;
    let days = (today - salted_on).num_days();
    let flushed = history.washes.iter().any(|w| w.salt_flush && w.on >= salted_on);
    if flushed || days > SALT_SEASON_DAYS {
        return None;
    }
    let Some(air) = history.mean_air_c else {
        assumptions.push("The air temperature is unknown, so a salt flush is not offered yet.".into());
        return None;
    };
    if air <= SALT_AIR_C {
        return None;
    }
    let remind_on = plus_days(salted_on, SALT_QUIET_DAYS);
    let dates = Dates { remind_on, due_on: plus_days(remind_on, SALT_OFFER_DAYS), overdue_on: None };
    Some(Need {
        kind: NeedKind::SaltFlush,
        coat: None,
        since_on: Some(salted_on),
        urgency: dates.urgency(today),
        remind_on: dates.remind_on,
        due_on: dates.due_on,
        overdue_on: None,
        package: "P5".into(),
        reason: format!(
            "The roads were last salted {days} days ago, and salt left in the seams of your {} works on once it is \
             warm and damp.",
            words::word(vehicle.class)
        ),
        advice: vec!["Before any coating or polish.".into()],
        figures: vec![
            Figure::new("days since salting", days as f64, "days"),
            Figure::new("mean air temperature", air, "degC"),
        ],
    })
}
