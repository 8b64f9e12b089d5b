//! Iron removal by fallout dose: a dose per day by where the vehicle stands, counted since the last decontamination.

use super::accumulation::Accumulation;
use super::history::{BagTest, History};
use super::needs::Dates;
use super::norms::Norms;
use super::profile::{Layer, Profile, is_on_paint};
use super::{Need, NeedKind, limits, season, words};
use crate::figure::Figure;
use crate::inspection::Grade;
use crate::vehicle::Vehicle;
use chrono::NaiveDate;
use std::collections::BTreeSet;

pub(super) fn need(
    profile: &Profile,
    vehicle: &Vehicle,
    history: &History,
    today: NaiveDate,
    remarks: &mut Vec<String>,
) -> Option<Need> {
    let norms = profile.norms;
    let removals = removals(vehicle, history);
    let last = removals.last().copied();
    let test = newest_test(history).filter(|t| last.is_none_or(|on| t.on > on));
    let (since_on, start) = match (test, last) {
        (Some(test), _) => (test.on, dose_of_grade(norms, test.grade)),
        (None, Some(on)) => (on, dose_left(norms, history, on)),
        (None, None) => return feel_test(vehicle, today, remarks),
    };
    let dose = dose(profile, history, since_on, start);
    let (remind, due) = (dose.reaches(norms.dose_remind)?, dose.reaches(norms.dose_due)?);
    let overdue_on = dose.reaches(norms.dose_overdue);
    let mut advice = Vec::new();
    let mut dates =
        Dates { remind_on: remind.min(due), due_on: due, overdue_on: overdue_on.map(|on| on.max(due)) };
    if let Some(on) = limits::year_limit(profile, &removals).filter(|&on| on > dates.due_on.max(today)) {
        advice.push(format!(
            "Not before {on}: {} iron removals in twelve months are the most the paint should get.",
            limits::most_a_year(profile)
        ));
        dates = dates.not_before(on);
    }
    if let Some(on) = limits::repaint_limit(profile, vehicle).filter(|&on| on > dates.due_on.max(today)) {
        advice.push(format!(
            "Not before {on}: fresh paint takes only shampoo for {:.0} days.",
            norms.repaint_d
        ));
        dates = dates.not_before(on);
    }
    advice.extend(limits::clay_limit(profile, history, &removals, dates.due_on.max(today)));
    remarks.push("Dose per day and its limits are the trade's own scale, not measured.".into());
    Some(Need {
        kind: NeedKind::Decontamination,
        coat: None,
        since_on: Some(since_on),
        early_on: None,
        late_on: None,
        risk_today: None,
        risk_target: None,
        contaminants: vec![],
        urgency: dates.urgency(today),
        remind_on: dates.remind_on,
        due_on: dates.due_on,
        overdue_on: dates.overdue_on,
        package: "P2".into(),
        reason: words::fallout(profile, vehicle, test, since_on, today),
        advice,
        figures: figures(profile, history, &dose, since_on, start, today),
    })
}

/// The days of all decontaminations known, in order.
pub(super) fn removals(vehicle: &Vehicle, history: &History) -> Vec<NaiveDate> {
    let known: BTreeSet<NaiveDate> =
        history.decontaminations.iter().map(|d| d.on).chain(vehicle.decontaminated_on).collect();
    known.into_iter().collect()
}

fn newest_test(history: &History) -> Option<&BagTest> {
    history.bag_tests.iter().max_by_key(|t| (t.on, t.grade))
}

/// A bag test replaces the model (common practice for grades 0 to 3; grade 4 as overdue is an assumption).
fn dose_of_grade(norms: &Norms, grade: Grade) -> f64 {
    norms.bag_dose.get(usize::from(grade.get())).copied().unwrap_or(norms.dose_overdue)
}

/// What a decontamination left: nothing when it passed its check, else what a bag test of that grade says.
fn dose_left(norms: &Norms, history: &History, on: NaiveDate) -> f64 {
    let left = history.decontaminations.iter().filter(|d| d.on == on).filter_map(|d| d.left_grade).max();
    left.map_or(0.0, |grade| if grade <= Grade::LIGHT { 0.0 } else { dose_of_grade(norms, grade) })
}

/// The dose from `since_on`, starting with `start`, as it grows with exposure, coats, absences and events.
fn dose(profile: &Profile, history: &History, since_on: NaiveDate, start: f64) -> Accumulation {
    let norms = profile.norms;
    let is_away = |on| history.away.iter().any(|a| a.from_on <= on && on < a.to_on);
    let per_day = |on| {
        let bare = bare_per_day(profile, history, on);
        if is_away(on) { norms.away_per_day.min(bare) } else { bare * coat_factor(profile, on) }
    };
    let coats = paint_layers(profile).flat_map(|l| [Some(l.applied_on), l.wear.reaches(1.0)]).flatten();
    let away = history.away.iter().flat_map(|a| [a.from_on, a.to_on]);
    let salt = history.last_salted_on.map(season::salt_season);
    let salt = salt.into_iter().flat_map(|(from, to)| [from, to]);
    let events: Vec<(NaiveDate, f64)> =
        history.events.iter().filter(|e| e.on > since_on).map(|e| (e.on, e.kind.dose(norms))).collect();
    Accumulation::new(since_on, start, coats.chain(away).chain(salt), &events, per_day)
}

/// Dose per day on bare paint: each exposure by its share of time, salted roads only in their season where it is known.
fn bare_per_day(profile: &Profile, history: &History, on: NaiveDate) -> f64 {
    let in_season =
        history.last_salted_on.map(season::salt_season).is_none_or(|(from, to)| from <= on && on < to);
    let counts = profile.exposures.iter().filter(|e| in_season || !e.row.salt_season);
    counts.map(|e| e.row.dose_per_day * e.share).sum()
}

/// The best coat on the whole paint that is not worn out on that day.
fn coat_factor(profile: &Profile, on: NaiveDate) -> f64 {
    paint_layers(profile)
        .filter(|l| l.applied_on <= on && l.wear.reaches(1.0).is_none_or(|end| on < end))
        .map(|l| l.row.dose_factor)
        .fold(1.0, f64::min)
}

fn paint_layers<'a>(profile: &'a Profile<'a>) -> impl Iterator<Item = &'a Layer<'a>> {
    profile.layers.iter().filter(|l| l.coat.zone.is_none() && is_on_paint(l.row))
}

fn feel_test(vehicle: &Vehicle, today: NaiveDate, remarks: &mut Vec<String>) -> Option<Need> {
    remarks.push("No iron removal and no feel test is on record, so the dose cannot be counted.".into());
    let dates = Dates { remind_on: today, due_on: today, overdue_on: None };
    Some(Need {
        kind: NeedKind::FeelTest,
        coat: None,
        since_on: None,
        early_on: None,
        late_on: None,
        risk_today: None,
        risk_target: None,
        contaminants: vec![],
        urgency: dates.urgency(today),
        remind_on: today,
        due_on: today,
        overdue_on: None,
        package: "P1".into(),
        reason: format!(
            "We do not know when iron was last removed from your {}; a feel test at the next wash will tell.",
            words::word(vehicle.class)
        ),
        advice: Vec::new(),
        figures: Vec::new(),
    })
}

fn figures(
    profile: &Profile,
    history: &History,
    dose: &Accumulation,
    since_on: NaiveDate,
    start: f64,
    today: NaiveDate,
) -> Vec<Figure> {
    let mut figures = vec![
        Figure::new("dose", dose.on(today), "1"),
        Figure::new("dose due", profile.norms.dose_due, "1"),
        Figure::new("dose at the start of the count", start, "1"),
        Figure::new("days counted", (today - since_on).num_days() as f64, "days"),
        Figure::new("dose per day on bare paint", bare_per_day(profile, history, today), "1/day"),
        Figure::new("coat factor", coat_factor(profile, today), "1"),
    ];
    for e in &profile.exposures {
        figures.push(Figure::new(&format!("share {}", e.row.id), e.share, "1"));
    }
    figures
}
