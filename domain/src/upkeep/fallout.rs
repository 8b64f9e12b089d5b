//! Iron removal by fallout dose: a dose per day by where the vehicle stands, counted since the last decontamination,
//! learning from what was felt in between.

use super::accumulation::Accumulation;
use super::answer::Rate;
use super::assumed::{Topic, Topics};
use super::growth::{Count, Event, Prior, Reading, follow};
use super::history::{Found, History};
use super::needs::Dates;
use super::norms::Norms;
use super::profile::{Layer, Profile, is_on_paint};
use super::{Need, NeedKind, limits, season, words};
use crate::figure::Figure;
use crate::inspection::{Contaminant, Grade};
use crate::vehicle::Vehicle;
use chrono::NaiveDate;
use std::borrow::Cow;
use std::collections::BTreeSet;

/// Amount of the worst grade's upper bound over the dose that is overdue (assumption).
const WORST: f64 = 1.5;

pub(super) fn need(
    profile: &Profile,
    vehicle: &Vehicle,
    history: &History,
    today: NaiveDate,
    (remarks, topics): (&mut Vec<String>, &mut Topics),
) -> (Option<Need>, Option<Rate>) {
    let (model, norms) = (profile.model, &profile.model.norms);
    let prior = if profile.falling.by_places { &model.fallout_places } else { &model.fallout };
    topics.touch(Topic::Fallout);
    let removals = removals(vehicle, history);
    let mut events = events(norms, history, &removals, topics);
    let Some(first) = events.iter().map(|event| event.0).min() else {
        let rate = profile.told(|| Some(rate(profile, history, prior, None, today)));
        return (Some(feel_test(vehicle, today, remarks)), rate);
    };
    let clock = clock(profile, history, first, today, topics);
    let sudden = |after, until| sudden(norms, history, after, until);
    let Some(count) = follow(prior, &mut events, &clock, sudden) else {
        let rate = profile.told(|| Some(rate(profile, history, prior, None, today)));
        return (Some(feel_test(vehicle, today, remarks)), rate);
    };
    if history.events.iter().any(|event| event.on > count.since_on) {
        topics.touch(Topic::Events);
    }
    let base = count.start + sudden(count.since_on, today);
    let begun = clock.on(count.since_on);
    let passed = clock.on(today) - begun;
    let load = base + passed * count.growth.expected_factor();
    let rate = profile.told(|| Some(rate(profile, history, prior, Some((&count, load)), today)));
    remarks.push("Dose per day and its limits are the trade's own scale, not measured.".into());

    let level = norms.dose_due - base;
    let crossing = prior.around(&count.growth, level, prior.due(&count.growth, level));
    let day = |time: f64| clock.reaches(begun + time).map(|on| on.max(count.since_on));
    // To remind earlier and to call it late count from the due day at the expected rate.
    let shifted = |dose: f64| crossing.due + (dose - norms.dose_due) / count.growth.expected_factor();
    let Some(due_on) = day(crossing.due) else { return (None, rate) };
    let mut dates = Dates {
        remind_on: day(shifted(norms.dose_remind).clamp(0.0, crossing.due)).unwrap_or(due_on).min(due_on),
        due_on,
        overdue_on: day(shifted(norms.dose_overdue) + level.min(0.0) / count.growth.expected_factor())
            .map(|on| on.max(due_on)),
    };
    let advice = hold_back(profile, (vehicle, history), &removals, &mut dates, today);
    let read_on = count.from_reading.then_some(count.since_on);
    let need = Need {
        kind: NeedKind::Decontamination,
        coat: None,
        since_on: Some(count.since_on),
        early_on: day(crossing.early),
        late_on: day(crossing.late),
        risk_today: profile.told(|| Some(count.growth.risk(passed, level))),
        risk_target: Some(prior.target),
        contaminants: vec![],
        urgency: dates.urgency(today),
        remind_on: dates.remind_on,
        due_on: dates.due_on,
        overdue_on: dates.overdue_on,
        package: "P2".into(),
        reason: profile.told(|| words::fallout(profile, vehicle, history, read_on, count.since_on, today)),
        advice,
        figures: profile.told(|| figures(profile, history, &count, load, today)),
    };
    (Some(need), rate)
}

/// Holds the days within the limits against too much, and says so.
fn hold_back(
    profile: &Profile,
    (vehicle, history): (&Vehicle, &History),
    removals: &[NaiveDate],
    dates: &mut Dates,
    today: NaiveDate,
) -> Vec<String> {
    let mut advice = Vec::new();
    if let Some(on) = limits::year_limit(profile, removals).filter(|&on| on > dates.due_on.max(today)) {
        advice.push(format!(
            "Not before {on}: {} iron removals in twelve months are the most the paint should get.",
            limits::most_a_year(profile)
        ));
        *dates = dates.not_before(on);
    }
    if let Some(on) = limits::repaint_limit(profile, vehicle).filter(|&on| on > dates.due_on.max(today)) {
        advice.push(format!(
            "Not before {on}: fresh paint takes only shampoo for {:.0} days.",
            profile.model.norms.repaint_d
        ));
        *dates = dates.not_before(on);
    }
    advice.extend(profile.told(|| limits::clay_limit(profile, history, removals, dates.due_on.max(today))));
    advice
}

/// The days of all decontaminations known, in order.
pub(super) fn removals(vehicle: &Vehicle, history: &History) -> Vec<NaiveDate> {
    let known: BTreeSet<NaiveDate> =
        history.decontaminations.iter().map(|d| d.on).chain(vehicle.decontaminated_on).collect();
    known.into_iter().collect()
}

/// What was removed and what was felt or measured, on the trade's dose scale.
fn events(
    norms: &Norms,
    history: &History,
    removals: &[NaiveDate],
    topics: &mut Topics,
) -> Vec<(NaiveDate, Event)> {
    let mut events: Vec<(NaiveDate, Event)> =
        removals.iter().map(|&on| (on, Event::Cleared(dose_left(norms, history, on)))).collect();
    events.extend(history.bag_tests.iter().map(|test| (test.on, Event::Read(felt(norms, test.grade)))));
    for reading in history.readings.iter().filter(|r| r.contaminant == Contaminant::FalloutIron) {
        let read = match reading.found {
            Found::Grade(grade) => felt(norms, grade),
            Found::AmountMgM2(amount) => measured(norms, amount),
            // Refused before: spots say nothing on the dose scale.
            Found::Spots { .. } => continue,
        };
        events.push((reading.on, Event::Read(read)));
    }
    if events.len() > removals.len() {
        topics.touch(Topic::BagTest);
    }
    events
}

/// The dose that something found stands for; spots say nothing on that scale.
pub(super) fn dose_of(norms: &Norms, found: Found) -> Option<f64> {
    match found {
        Found::Grade(grade) => Some(felt(norms, grade).amount),
        Found::AmountMgM2(amount) => Some(measured(norms, amount).amount),
        Found::Spots { .. } => None,
    }
}

/// A bag test replaces the model (common practice for grades 0 to 3; grade 4 as overdue is an assumption). For the rate
/// grades 0 and 1 only say that the dose has not come half-way to grade 2.
fn felt(norms: &Norms, grade: Grade) -> Reading {
    let (amount, worse) = (dose_of_grade(norms, grade), dose_of_grade(norms, grade.worse()));
    let worse = if grade == Grade::WORST { amount * WORST } else { worse };
    let bound = if grade <= Grade::LIGHT {
        f64::midpoint(dose_of_grade(norms, Grade::LIGHT), dose_of_grade(norms, Grade::TYPICAL))
    } else {
        f64::midpoint(amount, worse)
    };
    Reading { amount, at_most: grade <= Grade::LIGHT, bound, area_m2: 1.0 }
}

/// Bonded iron, mg/m², as a dose. Nothing measured is less than half of what grade 1 stands for.
fn measured(norms: &Norms, amount_mg_m2: f64) -> Reading {
    let amount = amount_mg_m2 / norms.places.iron_reference_mg_m2_d * norms.places.street_dose;
    let bound = dose_of_grade(norms, Grade::LIGHT) / 2.0;
    Reading { amount, at_most: amount <= 0.0, bound, area_m2: 1.0 }
}

fn dose_of_grade(norms: &Norms, grade: Grade) -> f64 {
    norms.bag_dose.get(usize::from(grade.get())).copied().unwrap_or(norms.dose_overdue)
}

/// What a decontamination left: nothing when it passed its check, else what a bag test of that grade says.
fn dose_left(norms: &Norms, history: &History, on: NaiveDate) -> f64 {
    let left = history.decontaminations.iter().filter(|d| d.on == on).filter_map(|d| d.left_grade).max();
    left.map_or(0.0, |grade| if grade <= Grade::LIGHT { 0.0 } else { dose_of_grade(norms, grade) })
}

/// What single happenings added after one day and up to another.
fn sudden(norms: &Norms, history: &History, after: NaiveDate, until: NaiveDate) -> f64 {
    history.events.iter().filter(|e| after < e.on && e.on <= until).map(|e| e.kind.dose(norms)).sum()
}

/// The dose that the handbook expects since a day, as it changes with season, coats and absences.
fn clock(
    profile: &Profile,
    history: &History,
    first: NaiveDate,
    today: NaiveDate,
    topics: &mut Topics,
) -> Accumulation<'static> {
    let norms = &profile.model.norms;
    let is_away = |on| history.away.iter().any(|a| a.from_on <= on && on < a.to_on);
    let per_day = |on| {
        let bare = bare_per_day(profile, history, on);
        if is_away(on) { norms.away_per_day.min(bare) } else { bare * coat_factor(profile, on) }
    };
    let coats = paint_layers(profile).flat_map(|l| [Some(l.applied_on), l.wear.ends()]).flatten();
    let away = history.away.iter().flat_map(|a| [a.from_on, a.to_on]);
    let salt = season::salt_changes(profile, history, first, today);
    if !history.away.is_empty() {
        topics.touch(Topic::Away);
    }
    if !salt.is_empty() && history.last_salted_on.is_none() {
        topics.touch(Topic::SaltMonths);
    }
    Accumulation::new(first, None, coats.chain(away).chain(salt), per_day)
}

/// Dose per day on bare paint; that of salted roads only in their season.
fn bare_per_day(profile: &Profile, history: &History, on: NaiveDate) -> f64 {
    let salted = profile.falling.dose_salted;
    let salted = if salted > 0.0 && season::is_salted(profile, history, on) { salted } else { 0.0 };
    profile.falling.dose + salted
}

/// The best coat on the whole paint that is not worn out on that day.
fn coat_factor(profile: &Profile, on: NaiveDate) -> f64 {
    paint_layers(profile)
        .filter(|l| l.applied_on <= on && l.wear.ends().is_none_or(|end| on < end))
        .map(|l| l.row.dose_factor)
        .fold(1.0, f64::min)
}

fn paint_layers<'a>(profile: &'a Profile<'a>) -> impl Iterator<Item = &'a Layer<'a>> {
    profile.layers.iter().filter(|l| l.coat.zone.is_none() && is_on_paint(l.row))
}

fn rate(
    profile: &Profile,
    history: &History,
    prior: &Prior,
    counted: Option<(&Count, f64)>,
    today: NaiveDate,
) -> Rate {
    let norms = &profile.model.norms;
    let growth = counted.map_or(prior.growth, |(count, _)| count.growth);
    let factor = prior.factor(&growth);
    let coat = coat_factor(profile, today);
    let dose = bare_per_day(profile, history, today) * coat;
    let per_day = factor.times(dose);
    Rate {
        contaminant: Contaminant::FalloutIron,
        per_day,
        unit: Cow::Borrowed("dose"),
        equivalent_days: factor.times(dose / norms.places.street_dose),
        steep_per_day: Some(per_day.times(norms.places.steep_share)),
        deposition_mg_m2_d: profile.falling.iron_mg_m2_d.map(|iron| factor.times(iron)),
        corrosivity: profile.falling.air.iter().map(|(place, site)| site.told(*place)).collect(),
        load: counted.map(|(_, load)| load),
        limit: norms.dose_due,
        learning: counted.map(|(count, _)| count.learning(prior)),
    }
}

fn feel_test(vehicle: &Vehicle, today: NaiveDate, remarks: &mut Vec<String>) -> Need {
    remarks.push("No iron removal and no feel test is on record, so the dose cannot be counted.".into());
    let dates = Dates { remind_on: today, due_on: today, overdue_on: None };
    Need {
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
    }
}

fn figures(profile: &Profile, history: &History, count: &Count, load: f64, today: NaiveDate) -> Vec<Figure> {
    let mut figures = vec![
        Figure::new("dose", load, "1"),
        Figure::new("dose due", profile.model.norms.dose_due, "1"),
        Figure::new("dose at the start of the count", count.start, "1"),
        Figure::new("days counted", (today - count.since_on).num_days() as f64, "days"),
        Figure::new("dose per day on bare paint", bare_per_day(profile, history, today), "1/day"),
        Figure::new("factor learned from readings", count.growth.expected_factor(), "1"),
        Figure::new("coat factor", coat_factor(profile, today), "1"),
    ];
    for e in &profile.exposures {
        figures.push(Figure::new(&format!("share {}", e.row.id), e.share, "1"));
    }
    figures
}
