//! Spots and minerals: counted since they were last taken off, by month, place and driving.

use super::accumulation::Accumulation;
use super::answer::Rate;
use super::assumed::{Topic, Topics};
use super::growth::{Count, Event, Reading, follow};
use super::history::{Found, History};
use super::model::{Gathering, Model};
use super::needs::Dates;
use super::profile::Profile;
use super::{Need, NeedKind, UpkeepError, words};
use crate::figure::Figure;
use crate::handbook::{Accrual, AccrualForm, AccrualNeed};
use crate::inspection::{Contaminant, Grade};
use crate::vehicle::Vehicle;
use chrono::{Days, NaiveDate};
use std::borrow::Cow;

/// Amount of the worst grade over that of grade 3 (assumption).
const WORST: f64 = 1.5;
/// Share of the limit from which work is late (assumption).
const OVERDUE_AT: f64 = 1.5;
/// Share of the limit at which to remind (common practice for all counts).
const REMIND_AT: f64 = 0.8;

/// A contaminant that gathers, and when it reaches its limit.
pub(super) struct Spots<'m> {
    gathering: &'m Gathering<'m>,
    count: Count,
    clock: Accumulation<'m>,
    /// Handbook time from the beginning of the count to today, and to the day it is due.
    passed: f64,
    due: f64,
    due_on: Option<NaiveDate>,
}

impl Spots<'_> {
    /// Amount that may still gather.
    fn level(&self) -> f64 {
        self.gathering.prior.limit - self.count.start
    }

    /// The day on which so much handbook time has passed since the count began.
    fn day(&self, time: f64) -> Option<NaiveDate> {
        day_of(&self.clock, &self.count, time)
    }

    /// The day on which this share of the limit more than that of the due day has gathered.
    fn day_after_due(&self, share: f64) -> Option<NaiveDate> {
        let limit = self.gathering.prior.limit;
        self.day((self.due + share * limit / self.count.growth.expected_factor()).max(0.0))
    }

    fn load(&self) -> f64 {
        self.count.start + self.passed * self.count.growth.expected_factor()
    }
}

fn day_of(clock: &Accumulation, count: &Count, time: f64) -> Option<NaiveDate> {
    clock.reaches(clock.on(count.since_on) + time).map(|on| on.max(count.since_on))
}

/// Rates of all that gathers, and the counts of what has a beginning.
pub(super) fn read<'m>(
    profile: &Profile<'m>,
    (vehicle, history): (&Vehicle, &History),
    today: NaiveDate,
    topics: &mut Topics,
) -> (Vec<Rate>, Vec<Spots<'m>>) {
    let (mut rates, mut counted) = (Vec::new(), Vec::new());
    for (i, gathering) in profile.model.gathering.iter().enumerate() {
        let falls = profile.falling.gathering.iter().find(|(row, _)| *row == i);
        let per_day = falls.map_or(0.0, |(_, per_day)| *per_day);
        // What was found counts, though nobody knows where it came from.
        if per_day <= 0.0 && !was_found(gathering.row, history) {
            continue;
        }
        topics.touch_row(gathering.topic);
        topics.touch(match gathering.row.need {
            AccrualNeed::FrontWash => Topic::Front,
            AccrualNeed::SpotRemoval | AccrualNeed::None => Topic::Spots,
        });
        let spots = count(gathering, per_day, vehicle, history, today);
        if per_day > 0.0 {
            rates.extend(profile.told(|| Some(rate(gathering, per_day, spots.as_ref(), today))));
        }
        counted.extend(spots);
    }
    (rates, counted)
}

fn was_found(row: &Accrual, history: &History) -> bool {
    history.readings.iter().any(|reading| reading.contaminant == row.id)
        || history.cleared.iter().any(|done| done.contaminant == row.id && done.left_grade.is_some())
}

fn count<'m>(
    gathering: &'m Gathering<'m>,
    per_day: f64,
    vehicle: &Vehicle,
    history: &History,
    today: NaiveDate,
) -> Option<Spots<'m>> {
    let mut events = events(gathering.row, vehicle, history);
    let first = events.iter().map(|event| event.0).min()?;
    let clock = clock(gathering, per_day, history, first);
    let prior = &gathering.prior;
    let count = follow(prior, &mut events, &clock, |_, _| 0.0)?;
    let due = prior.due(&count.growth, prior.limit - count.start);
    let passed = clock.on(today) - clock.on(count.since_on);
    Some(Spots { gathering, passed, due, due_on: day_of(&clock, &count, due), count, clock })
}

/// The amount that the handbook expects since a day, by month; nothing falls while the vehicle stands away.
fn clock<'m>(
    gathering: &'m Gathering,
    per_day: f64,
    history: &History,
    first: NaiveDate,
) -> Accumulation<'m> {
    let is_away = |on| history.away.iter().any(|a| a.from_on <= on && on < a.to_on);
    let away = history.away.iter().flat_map(|a| [a.from_on, a.to_on]);
    let rate = |on| if is_away(on) { 0.0 } else { per_day };
    Accumulation::new(first, Some(&gathering.year), away, rate)
}

/// When it was taken off and read. A full decontamination takes all spots off, a wash what the front caught.
fn events(row: &Accrual, vehicle: &Vehicle, history: &History) -> Vec<(NaiveDate, Event)> {
    let mut events: Vec<(NaiveDate, Event)> = Vec::new();
    let mut cleared = |on, left| events.push((on, Event::Cleared(left)));
    for done in history.cleared.iter().filter(|done| done.contaminant == row.id) {
        cleared(done.on, done.left_grade.map_or(0.0, |grade| amount_of(row, grade)));
    }
    for step in history.wear_steps.iter().filter(|step| row.cleared_by.contains(&step.step)) {
        cleared(step.on, 0.0);
    }
    for on in history.decontaminations.iter().map(|d| d.on).chain(vehicle.decontaminated_on) {
        cleared(on, 0.0);
    }
    if row.need == AccrualNeed::FrontWash {
        history.washes.iter().for_each(|wash| cleared(wash.on, 0.0));
    }
    for reading in history.readings.iter().filter(|reading| reading.contaminant == row.id) {
        events.push((reading.on, Event::Read(read_of(row, reading.found))));
    }
    events
}

fn amount_of(row: &Accrual, grade: Grade) -> f64 {
    match grade.get() {
        0 => 0.0,
        1 => row.amount_1,
        2 => row.amount_2,
        3 => row.amount_3,
        _ => row.amount_3 * WORST,
    }
}

/// The amount that something found stands for, in the row's unit.
pub(super) fn amount_read(row: &Accrual, found: Found) -> f64 {
    read_of(row, found).amount
}

fn read_of(row: &Accrual, found: Found) -> Reading {
    match found {
        Found::Spots { spots, area_m2 } => {
            let amount = f64::from(spots) / area_m2;
            Reading { amount, at_most: spots == 0, bound: amount, area_m2 }
        }
        Found::AmountMgM2(amount) => {
            // Nothing measured is less than half of what grade 1 stands for.
            Reading { amount, at_most: amount <= 0.0, bound: row.amount_1 / 2.0, area_m2: 1.0 }
        }
        Found::Grade(grade) => {
            let worse =
                if grade == Grade::WORST { row.amount_3 * WORST } else { amount_of(row, grade.worse()) };
            let amount = amount_of(row, grade);
            let bound = f64::midpoint(amount, worse);
            Reading { amount, at_most: grade == Grade::NONE, bound, area_m2: 1.0 }
        }
    }
}

/// Readings are in a unit that their contaminant is counted in.
pub(super) fn check(model: &Model, history: &History) -> Result<(), UpkeepError> {
    for (i, reading) in history.readings.iter().enumerate() {
        let form = model.gathering.iter().find(|g| g.row.id == reading.contaminant).map(|g| g.row.form);
        let fits = match (reading.found, form) {
            (Found::Grade(_), _) => true,
            (Found::Spots { .. }, form) => form == Some(AccrualForm::Counts),
            (Found::AmountMgM2(_), form) => {
                form == Some(AccrualForm::Amounts) || reading.contaminant == Contaminant::FalloutIron
            }
        };
        if !fits {
            let pointer = format!("/readings/{i}/found");
            return Err(UpkeepError::ReadingUnit { pointer, contaminant: reading.contaminant.name() });
        }
    }
    Ok(())
}

fn rate(gathering: &Gathering, per_day: f64, spots: Option<&Spots>, today: NaiveDate) -> Rate {
    let prior = &gathering.prior;
    let growth = spots.map_or(prior.growth, |spots| spots.count.growth);
    let today_per_day = per_day * gathering.year.on(today);
    let factor = prior.factor(&growth);
    Rate {
        contaminant: gathering.row.id,
        per_day: factor.times(today_per_day),
        unit: Cow::Owned(gathering.row.unit.clone()),
        // A day counts for as many of the year's mean days at the handbook's rate.
        equivalent_days: factor.times(gathering.year.on(today)),
        steep_per_day: None,
        deposition_mg_m2_d: None,
        corrosivity: vec![],
        load: spots.map(Spots::load),
        limit: prior.limit,
        learning: spots.map(|spots| spots.count.learning(prior)),
    }
}

/// At most one need of each kind, about all that is due by its day.
pub(super) fn needs(profile: &Profile, counted: &[Spots], vehicle: &Vehicle, today: NaiveDate) -> Vec<Need> {
    let of = |wanted, kind| need(profile, counted, (wanted, kind), vehicle, today);
    [of(AccrualNeed::SpotRemoval, NeedKind::SpotRemoval), of(AccrualNeed::FrontWash, NeedKind::FrontWash)]
        .into_iter()
        .flatten()
        .collect()
}

fn need(
    profile: &Profile,
    counted: &[Spots],
    (wanted, kind): (AccrualNeed, NeedKind),
    vehicle: &Vehicle,
    today: NaiveDate,
) -> Option<Need> {
    let of_kind = || counted.iter().filter(|spots| spots.gathering.row.need == wanted);
    let first = of_kind().filter(|spots| spots.due_on.is_some()).min_by_key(|spots| spots.due_on)?;
    let due_on = first.due_on?;
    let prior = &first.gathering.prior;
    let crossing = prior.around(&first.count.growth, first.level(), first.due);
    let dates = Dates {
        remind_on: first.day_after_due(REMIND_AT - 1.0).unwrap_or(due_on).min(due_on),
        due_on,
        overdue_on: first.day_after_due(OVERDUE_AT - 1.0).map(|on| on.max(due_on)),
    };
    // What is nearly due then goes with it; the one that sets the day comes first.
    let with_until = due_on.checked_add_days(Days::new(14)).unwrap_or(due_on);
    let with = of_kind().filter(|spots| spots.due_on.is_some_and(|on| on <= with_until));
    let others = with.map(|spots| spots.gathering.row.id).filter(|&id| id != first.gathering.row.id);
    let contaminants: Vec<Contaminant> = [first.gathering.row.id].into_iter().chain(others).collect();
    let days = (today - first.count.since_on).num_days();
    Some(Need {
        kind,
        coat: None,
        since_on: Some(first.count.since_on),
        urgency: dates.urgency(today),
        remind_on: dates.remind_on,
        due_on,
        overdue_on: dates.overdue_on,
        early_on: first.day(crossing.early),
        late_on: first.day(crossing.late),
        risk_today: profile.told(|| Some(first.count.growth.risk(first.passed, first.level()))),
        risk_target: Some(prior.target),
        package: profile.model.visits.packages.against(&contaminants).into(),
        reason: profile.told(|| words::spots(profile, vehicle, kind, &contaminants, days)),
        contaminants,
        advice: profile.told(|| {
            vec![match kind {
                NeedKind::FrontWash => "Until then: a wet cloth for ten minutes, lift, never rub.".into(),
                _ => "A deep clean before that day takes them off, too.".into(),
            }]
        }),
        figures: profile.told(|| {
            vec![
                Figure::new("load", first.load(), &first.gathering.row.unit),
                Figure::new("load due", first.gathering.row.limit, &first.gathering.row.unit),
                Figure::new("days counted", days as f64, "days"),
            ]
        }),
    })
}

/// A need that other work meets before it falls due is not told apart: a wash before it takes the front along, iron
/// removal takes the spots.
pub(super) fn leave_out_covered(needs: &mut Vec<Need>) {
    let remind_on = |kind| needs.iter().filter(|n| n.kind == kind).map(|n| n.remind_on).min();
    let (wash_on, decontamination_on) = (remind_on(NeedKind::Wash), remind_on(NeedKind::Decontamination));
    let is_before = |on: Option<NaiveDate>, due_on| on.is_some_and(|on| on <= due_on);
    needs.retain(|need| match need.kind {
        NeedKind::FrontWash => !is_before(wash_on, need.due_on),
        NeedKind::SpotRemoval => !is_before(decontamination_on, need.due_on),
        _ => true,
    });
}
