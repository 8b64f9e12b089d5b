//! Washes between, and what the season asks: closer washes in the insect months, a flush after the salt.

use super::history::History;
use super::needs::{Dates, plus_days};
use super::profile::{Profile, is_on_paint};
use super::{Need, NeedKind, fallout, words};
use crate::figure::Figure;
use crate::vehicle::Vehicle;
use chrono::{Days, NaiveDate};

/// A salting season lasts this long at most (assumption); salting longer ago belongs to last winter.
const SALT_SEASON_DAYS: u64 = 180;
/// Roads stay salty so long after the last salting (rule R69 waits as long, common practice).
const SALTY_DAYS: u64 = 7;

pub(super) fn wash(
    profile: &Profile,
    vehicle: &Vehicle,
    history: &History,
    today: NaiveDate,
    remarks: &mut Vec<String>,
) -> Option<Need> {
    let Some(last) = last_wet_work(profile, vehicle, history) else {
        remarks.push("No wash is on record, so the time since the last one is not judged.".into());
        return None;
    };
    let exposed = profile.exposures.iter().filter(|e| e.share > 0.0);
    let dirtiest =
        exposed.min_by_key(|e| (e.row.wash_max_d.max(0.0) as u64, e.row.wash_min_d.max(0.0) as u64))?;
    let norms = profile.norms;
    let (mut least, mut most) = (dirtiest.row.wash_min_d, dirtiest.row.wash_max_d);
    let insects = profile.is_exposed_to("motorway_high")
        && history.mean_air_c.is_some_and(|air| air > norms.insect_air_c)
        && most > norms.insect_cadence_d;
    let mut advice = Vec::new();
    if insects {
        (least, most) = (least.min(norms.insect_cadence_d), norms.insect_cadence_d);
        advice.push("A visit for the front only, against insects, will do between full washes.".to_owned());
    }
    let dates = Dates {
        remind_on: plus_days(last, whole(least.min(most))),
        due_on: plus_days(last, whole(most)),
        // Late after twice the longest time between washes (assumption).
        overdue_on: Some(plus_days(last, 2 * whole(most))),
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
        early_on: None,
        late_on: None,
        risk_today: None,
        risk_target: None,
        contaminants: vec![],
        urgency: dates.urgency(today),
        remind_on: dates.remind_on,
        due_on: dates.due_on,
        overdue_on: dates.overdue_on,
        package: "P1".into(),
        reason: format!("The last wash of your {} was {days} days ago{why}.", words::word(vehicle.class)),
        advice,
        figures: vec![
            Figure::new("days since the last wash", days as f64, "days"),
            Figure::new("days between washes, at most", most, "days"),
        ],
    })
}

/// Every decontamination and every coat on the paint begins with a wash.
fn last_wet_work(profile: &Profile, vehicle: &Vehicle, history: &History) -> Option<NaiveDate> {
    let washes = history.washes.iter().map(|w| w.on);
    let coats = profile.layers.iter().filter(|l| is_on_paint(l.row)).map(|l| l.applied_on);
    washes.chain(coats).chain(fallout::removals(vehicle, history)).max()
}

fn no_wash_until(profile: &Profile) -> Option<NaiveDate> {
    profile.layers.iter().map(|l| plus_days(l.applied_on, whole(l.row.no_wash_max_d))).max()
}

pub(super) fn salt_flush(
    profile: &Profile,
    vehicle: &Vehicle,
    history: &History,
    today: NaiveDate,
    remarks: &mut Vec<String>,
) -> Option<Need> {
    let norms = profile.norms;
    let salted_on = history.last_salted_on?;
    let days = (today - salted_on).num_days();
    let flushed = history.washes.iter().any(|w| w.salt_flush && w.on >= salted_on);
    if flushed || days > SALT_SEASON_DAYS as i64 {
        return None;
    }
    let Some(air) = history.mean_air_c else {
        remarks.push("The air temperature is unknown, so a salt flush is not offered yet.".into());
        return None;
    };
    if air <= norms.salt_air_c {
        return None;
    }
    let remind_on = plus_days(salted_on, whole(norms.salt_quiet_d));
    let dates =
        Dates { remind_on, due_on: plus_days(remind_on, whole(norms.salt_offer_d)), overdue_on: None };
    Some(Need {
        kind: NeedKind::SaltFlush,
        coat: None,
        since_on: Some(salted_on),
        early_on: None,
        late_on: None,
        risk_today: None,
        risk_target: None,
        contaminants: vec![],
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

/// The days from (inclusive) and to (exclusive) between which roads count as salted, known by the last salting.
pub(super) fn salt_season(last_salted_on: NaiveDate) -> (NaiveDate, NaiveDate) {
    let from = last_salted_on.checked_sub_days(Days::new(SALT_SEASON_DAYS)).unwrap_or(last_salted_on);
    (from, plus_days(last_salted_on, SALTY_DAYS))
}

/// Whole days, rounded up, of a number from the handbook; at most a century.
fn whole(days: f64) -> u64 {
    days.clamp(0.0, 36_525.0).ceil() as u64
}
