//! How worn a coat is: equivalent time since it was laid, and what washes and chemistry of the job's ledger took off it.

use super::clock::Clock;
use super::coats::{TRIALS, covers, laid, products_of, touches};
use super::history::{History, Stripped, WearStep};
use crate::handbook::{Handbook, Protection, Step};
use crate::vehicle::{Coat, Zone};
use chrono::NaiveDate;
use std::collections::HashMap;

/// Mean Gregorian month: 365.2425 / 12 days.
pub(super) const MONTH_DAYS: f64 = 30.436875;
/// Products of this degree take off at once what their class names; milder ones only shorten its life
/// (common practice: 0 leaves it alone, 3 strips).
pub(super) const STRIPS: u8 = 3;

/// Part of the usual life used over time: 0 fresh, 1 where half of the coats of its class have ended.
pub(super) struct Wear<'a> {
    clock: &'a Clock,
    applied_on: NaiveDate,
    /// Part of the life used per equivalent day.
    per_day: f64,
    /// Parts taken at once, in order of days.
    losses: Vec<(NaiveDate, f64)>,
    /// The first step that took the coat off.
    pub stripped: Option<(NaiveDate, &'a str)>,
}

impl Wear<'_> {
    pub fn on(&self, on: NaiveDate) -> f64 {
        let lost: f64 = self.losses.iter().take_while(|loss| loss.0 <= on).map(|loss| loss.1).sum();
        (self.clock.at(on) - self.clock.at(self.applied_on)) * self.per_day + lost
    }

    /// The first day on which this part is used.
    pub fn reaches(&self, part: f64) -> Option<NaiveDate> {
        let start = self.clock.at(self.applied_on);
        let (mut lost, mut from_on) = (0.0, self.applied_on);
        for &(on, loss) in &self.losses {
            if let Some(day) = self.clock.reaches(start + (part - lost) / self.per_day, from_on)
                && day < on
            {
                return Some(day);
            }
            lost += loss;
            from_on = on;
        }
        self.clock.reaches(start + (part - lost) / self.per_day, from_on)
    }

    /// Whether washes or chemistry took something off it.
    pub fn is_touched(&self) -> bool {
        self.stripped.is_some() || !self.losses.is_empty()
    }

    /// The first day from which it no longer counts: worn beyond the usual life, or stripped.
    pub fn ends(&self) -> Option<NaiveDate> {
        let worn = self.reaches(1.0);
        self.stripped.map_or(worn, |(on, _)| Some(worn.map_or(on, |worn| worn.min(on))))
    }
}

/// How the steps of jobs wear coats; the same for all vehicles of a shop.
pub(super) struct Chemistry<'a> {
    handbook: &'a Handbook,
    clock: Clock,
    /// Alkaline washes that a step with a product of degree 0 to 3 wears like.
    washes_of_degree: [f64; 4],
    steps: HashMap<&'a str, UsualStep<'a>>,
}

/// A step with the products it uses as a rule.
struct UsualStep<'a> {
    step: &'a Step,
    products: Vec<&'a str>,
    /// The strongest of them.
    degree: u8,
}

impl<'a> Chemistry<'a> {
    pub fn new(handbook: &'a Handbook, clock: Clock, washes_of_degree: [f64; 4]) -> Chemistry<'a> {
        let steps = handbook.steps.iter().filter(|step| !TRIALS.contains(&step.id.as_str()));
        let usual = steps.map(|step| {
            let products: Vec<&str> = products_of(handbook, step, &[]).collect();
            let degree = degree(handbook, products.iter().copied());
            (step.id.as_str(), UsualStep { step, products, degree })
        });
        Chemistry { handbook, clock, washes_of_degree, steps: usual.collect() }
    }

    /// The wear of a coat of `row`, laid as `coat` says, where life passes `1 / life_factor` times as fast.
    pub fn wear(&'a self, row: &'a Protection, coat: &Coat, history: &History, life_factor: f64) -> Wear<'a> {
        let mut wear = Wear {
            clock: &self.clock,
            applied_on: coat.applied_on,
            per_day: (row.life_months * MONTH_DAYS * life_factor).recip(),
            losses: Vec::new(),
            stripped: None,
        };
        // What was done on the day of application came before it.
        let later = |on: NaiveDate| on > coat.applied_on;
        for step in history.wear_steps.iter().filter(|s| later(s.on)) {
            match self.effect(row, coat.zone, step) {
                Effect::None => {}
                Effect::Loss(part) => wear.losses.push((step.on, part)),
                Effect::Strips(name) => {
                    let first = wear.stripped.is_none_or(|(on, _)| step.on < on);
                    wear.stripped = if first { Some((step.on, name)) } else { wear.stripped };
                }
            }
        }
        let gone = history.stripped.iter().filter(|s| s.protection == row.id && s.zone == coat.zone);
        if let Some(gone) = gone.filter(|s| later(s.on)).min_by_key(|s| s.on)
            && wear.stripped.is_none_or(|(on, _)| gone.on < on)
        {
            wear.stripped = Some((gone.on, self.name_of(gone)));
        }
        // A wash that is only remembered as alkaline counts where no step of that day is on record.
        let known = |on: NaiveDate| history.wear_steps.iter().any(|s| s.on == on);
        let alkaline = history.washes.iter().filter(|w| w.alkaline && later(w.on) && !known(w.on));
        wear.losses.extend(alkaline.map(|w| (w.on, row.alkaline_wash_loss)));
        wear.losses.sort_by_key(|loss| loss.0);
        wear
    }

    /// What the step is called that took a coat off; nothing where nobody knows it.
    pub fn name_of(&self, gone: &Stripped) -> &'a str {
        let step = gone.step.as_deref().and_then(|step| self.steps.get(step));
        step.map_or("", |usual| usual.step.name.as_str())
    }

    fn effect(&self, row: &Protection, zone: Option<Zone>, done: &WearStep) -> Effect<'a> {
        let Some(usual) = self.steps.get(done.step.as_str()) else { return Effect::None };
        let used = || products_in(usual, done);
        let worst = if done.products.is_empty() { usual.degree } else { degree(self.handbook, used()) };
        if worst == 0 || !touches(self.handbook, usual.step, row, zone) {
            return Effect::None;
        }
        let strips = |id: &str| {
            degree(self.handbook, [id]) >= STRIPS && row.removed_by.iter().any(|removed| removed == id)
        };
        if worst >= STRIPS && covers(self.handbook, usual.step, row, zone) && used().any(strips) {
            return Effect::Strips(&usual.step.name);
        }
        let washes = self.washes_of_degree.get(usize::from(worst)).copied().unwrap_or(0.0);
        Effect::Loss(washes * row.alkaline_wash_loss)
    }

    /// The days on which steps of the ledger laid a coat of this class.
    pub fn laid_on(&self, row: &Protection, history: &History) -> Vec<NaiveDate> {
        let lays = |done: &&WearStep| {
            self.steps.get(done.step.as_str()).is_some_and(|usual| {
                let products: Vec<&str> = products_in(usual, done).collect();
                laid(self.handbook, usual.step, &products).is_some_and(|laid| laid.id == row.id)
            })
        };
        history.wear_steps.iter().filter(lays).map(|done| done.on).collect()
    }
}

fn products_in<'a>(usual: &'a UsualStep, done: &'a WearStep) -> impl Iterator<Item = &'a str> {
    let usual = usual.products.iter().copied().filter(|_| done.products.is_empty());
    done.products.iter().map(String::as_str).chain(usual)
}

/// The strongest degree to which one of these products strips protection.
fn degree<'a>(handbook: &Handbook, products: impl IntoIterator<Item = &'a str>) -> u8 {
    let degrees = products.into_iter().filter_map(|id| handbook.product(id)?.strips_protection);
    degrees.max().unwrap_or(0)
}

enum Effect<'a> {
    None,
    Loss(f64),
    Strips(&'a str),
}
