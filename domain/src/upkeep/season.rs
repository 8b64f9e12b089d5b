//! Washes between, and what the season asks: closer washes in the insect months, a flush after the salt.

use super::answer::Rate;
use super::assumed::{Topic, Topics};
use super::growth::Prior;
use super::history::History;
use super::needs::{Dates, day_after, plus_days};
use super::profile::{Profile, is_on_paint};
use super::year::month_starts;
use super::{Need, NeedKind, fallout, words};
use crate::figure::Figure;
use crate::inspection::Contaminant;
use crate::vehicle::Vehicle;
use chrono::{Days, NaiveDate};
use std::borrow::Cow;

/// A salting season lasts this long at most (assumption); salting longer ago belongs to last winter.
const SALT_SEASON_DAYS: u64 = 180;
/// Roads stay salty so long after the last salting (rule R69 waits as long, common practice).
const SALTY_DAYS: u64 = 7;
/// Days between washes on the open street (common practice): the reference of equivalent days.
const STREET_WASH_DAYS: f64 = 14.0;

/// Months ahead for which salted months are told apart.
const SALT_AHEAD_MONTHS: u32 = 24;

/// The next wash, and how fast dirt gathers.
pub(super) fn wash(
    profile: &Profile,
    vehicle: &Vehicle,
    history: &History,
    today: NaiveDate,
    (remarks, topics): (&mut Vec<String>, &mut Topics),
) -> Option<(Need, Option<Rate>)> {
    let Some(last) = last_wet_work(profile, vehicle, history) else {
        remarks.push("No wash is on record, so the time since the last one is not judged.".into());
        return None;
    };
    let (least, most, insects) = cadence(profile, history)?;
    let mut advice = Vec::new();
    if insects {
        advice.push("A visit for the front only, against insects, will do between full washes.".to_owned());
    }
    let prior = &profile.model.wash;
    let crossing = prior.around(&prior.growth, prior.limit, prior.due(&prior.growth, prior.limit));
    // What rain took off does not count, so everything is later by the days that it took.
    let rained_d = rained_off(profile, last, today, topics);
    let day = |time: f64| day_after(last, time * most.max(1.0) + rained_d);
    let dates = Dates {
        remind_on: day(least / most.max(1.0)).unwrap_or(last),
        due_on: day(crossing.due)?,
        // Late after twice the longest time between washes (assumption).
        overdue_on: day(2.0 * crossing.due),
    };
    let dates = match no_wash_until(profile) {
        Some(on) if on > dates.remind_on => {
            advice.push(format!("No wash before {on}: the coat is still curing."));
            dates.not_before(on)
        }
        _ => dates,
    };
    topics.touch(Topic::Wash);
    let days = (today - last).num_days();
    let dirt = ((days as f64 - rained_d) / most.max(1.0)).max(0.0);
    let need = Need {
        kind: NeedKind::Wash,
        coat: None,
        since_on: Some(last),
        early_on: day(crossing.early),
        late_on: day(crossing.late),
        risk_today: profile.told(|| Some(prior.growth.risk(dirt, prior.limit))),
        risk_target: Some(prior.target),
        contaminants: vec![],
        urgency: dates.urgency(today),
        remind_on: dates.remind_on,
        due_on: dates.due_on,
        overdue_on: dates.overdue_on,
        package: "P1".into(),
        reason: profile.told(|| words::wash(vehicle, days, (least, most), insects)),
        advice,
        figures: profile.told(|| {
            vec![
                Figure::new("days since the last wash", days as f64, "days"),
                Figure::new("days between washes, at most", most, "days"),
                Figure::new("days that rain took off", rained_d, "days"),
            ]
        }),
    };
    Some((need, profile.told(|| Some(rate(prior, most, dirt)))))
}

/// How fast dirt gathers: one wash's worth in the longest time between washes.
fn rate(prior: &Prior, most_d: f64, dirt: f64) -> Rate {
    let factor = prior.factor(&prior.growth);
    Rate {
        contaminant: Contaminant::Film,
        per_day: factor.times(1.0 / most_d.max(1.0)),
        unit: Cow::Borrowed("wash"),
        equivalent_days: factor.times(STREET_WASH_DAYS / most_d.max(1.0)),
        steep_per_day: None,
        deposition_mg_m2_d: None,
        corrosivity: vec![],
        load: Some(dirt),
        limit: prior.limit,
        learning: None,
    }
}

/// Shortest and longest time between washes, days, and whether insects shorten it.
fn cadence(profile: &Profile, history: &History) -> Option<(f64, f64, bool)> {
    let exposed = profile.exposures.iter().filter(|e| e.share > 0.0);
    let dirtiest =
        exposed.min_by_key(|e| (e.row.wash_max_d.max(0.0) as u64, e.row.wash_min_d.max(0.0) as u64))?;
    let norms = profile.norms;
    let (least, most) = (dirtiest.row.wash_min_d, dirtiest.row.wash_max_d);
    let insects = profile.is_exposed_to("motorway_high")
        && history.mean_air_c.is_some_and(|air| air > norms.insect_air_c)
        && most > norms.insect_cadence_d;
    let held = |days: f64| if insects { days.min(norms.insect_cadence_d) } else { days }.clamp(0.0, 36_525.0);
    Some((held(least.min(most)), held(most), insects))
}

/// Days of dirt that rain took off again: the loose share of what gathered from the last wash to the last rain that
/// was enough, in the form of the fixed-velocity soiling model (`soiling::settle`).
fn rained_off(profile: &Profile, last: NaiveDate, today: NaiveDate, topics: &mut Topics) -> f64 {
    let norms = profile.norms;
    let rain = &profile.model.climate.rain;
    if !rain.is_empty() {
        topics.touch(Topic::Rain);
    }
    // In order of days: from the end, and no further back than the last wash.
    let since = rain.iter().rev().skip_while(|day| day.on > today).take_while(|day| day.on > last);
    let reset = since.filter(|day| day.rain_mm >= norms.rain_reset_mm).map(|day| day.on).max();
    reset.map_or(0.0, |on| norms.loose_dirt_share * (on - last).num_days() as f64)
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
            "The roads were last salted {}, and salt left in the seams of your {} works on once it is \
             warm and damp.",
            words::ago(days),
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
fn salt_season(last_salted_on: NaiveDate) -> (NaiveDate, NaiveDate) {
    let from = last_salted_on.checked_sub_days(Days::new(SALT_SEASON_DAYS)).unwrap_or(last_salted_on);
    (from, plus_days(last_salted_on, SALTY_DAYS))
}

/// By the last salting where it is known, else by the month.
pub(super) fn is_salted(profile: &Profile, history: &History, on: NaiveDate) -> bool {
    match history.last_salted_on.map(salt_season) {
        Some((from, to)) => from <= on && on < to,
        None => profile.model.salt.on(on) > profile.norms.salt_month_from,
    }
}

/// The days on which that may change.
pub(super) fn salt_changes(
    profile: &Profile,
    history: &History,
    first: NaiveDate,
    today: NaiveDate,
) -> Vec<NaiveDate> {
    if profile.falling.dose_salted <= 0.0 {
        return vec![];
    }
    match history.last_salted_on.map(salt_season) {
        Some((from, to)) => vec![from, to],
        None => {
            let past = (today - first).num_days().max(0) / 28;
            month_starts(first, u32::try_from(past).unwrap_or(0) + SALT_AHEAD_MONTHS).collect()
        }
    }
}

/// Whole days, rounded up, of a number from the handbook; at most a century.
fn whole(days: f64) -> u64 {
    days.clamp(0.0, 36_525.0).ceil() as u64
}
