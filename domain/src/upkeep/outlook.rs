//! What is to be expected of one coat: its class, its wear and its newest bead test together.
//!
//! A test that beads proves the coat alive but for a misreading, so from then on the life is conditional on the age at the
//! test: with `R` its reliability there, `S(v) = R(v) / (R + (1 - R) · misread)`. A low test is likely on a worn coat and
//! possible on a clogged one: `P(alive) = R · clogged / (R · clogged + (1 - R) · (1 - misread))`. Beside that stand the
//! trade's rules: two of three panels low is due now, high beads on all buy part of a life.

use super::classes::{Class, CoatNorms};
use super::history::{BeadTest, History};
use super::needs::{Dates, plus_days};
use super::profile::Layer;
use crate::handbook::Protection;
use chrono::NaiveDate;

pub(super) struct Outlook<'a> {
    pub finding: Finding<'a>,
    /// Probability that it still protects today.
    pub reliability: f64,
    /// Renewal is due at this risk.
    pub risk_target: f64,
    /// 80 % interval of the day on which it ends.
    pub early_on: Option<NaiveDate>,
    pub late_on: Option<NaiveDate>,
    /// None where it does not fall due within twenty years.
    pub dates: Option<Dates>,
}

/// The newest word on a coat.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Finding<'a> {
    Untested,
    Tested(&'a BeadTest, Beads),
    /// Taken off by this step.
    Stripped(NaiveDate, &'a str),
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Beads {
    /// Two of three panels, or as many in proportion, at or below the grade for renewal.
    Low,
    Between,
    /// Every panel within one grade of a fresh coat (assumption of what "high" means).
    High,
}

/// Tests of a coat of this class since it was laid.
pub(super) fn tests_of<'a>(
    history: &'a History,
    row: &Protection,
    applied_on: NaiveDate,
) -> impl Iterator<Item = &'a BeadTest> {
    let tests = history.bead_tests.iter().filter(move |t| t.on > applied_on && !t.panel_grades.is_empty());
    tests.filter(|t| t.protection == row.id)
}

pub(super) fn judge(row: &Protection, test: &BeadTest) -> Beads {
    let Some(renew) = row.bead_renew else { return Beads::Between };
    let panels = test.panel_grades.len();
    let low = test.panel_grades.iter().filter(|&&g| g <= renew).count();
    let high_from = row.bead_start.unwrap_or(5).saturating_sub(1).max(renew.saturating_add(1));
    if low * 3 >= panels * 2 {
        Beads::Low
    } else if test.panel_grades.iter().all(|&g| g >= high_from) {
        Beads::High
    } else {
        Beads::Between
    }
}

pub(super) fn outlook<'a>(
    norms: &CoatNorms,
    class: &Class,
    layer: &'a Layer,
    today: NaiveDate,
) -> Outlook<'a> {
    let tested = layer.bead_test.map(|test| (test, judge(layer.row, test)));
    let finding = match (layer.wear.stripped, tested) {
        // What beads after a strip was not stripped.
        (Some((on, step)), tested) if tested.is_none_or(|(t, beads)| t.on < on || beads == Beads::Low) => {
            Finding::Stripped(on, step)
        }
        (_, Some((test, beads))) => Finding::Tested(test, beads),
        (_, None) => Finding::Untested,
    };
    let life = Remaining::new(norms, class, layer, finding);
    let now_due = |on| {
        let overdue_on = Some(plus_days(on, norms.low_late_d as u64));
        Some(Dates { remind_on: on, due_on: on, overdue_on })
    };
    let target = class.life.reliability(class.renew_at);
    let dates = match finding {
        Finding::Stripped(on, _) => now_due(on),
        Finding::Tested(test, Beads::Low) => now_due(test.on),
        _ => life.dates(norms, target),
    };
    Outlook {
        finding,
        reliability: life.reliability(today),
        risk_target: 1.0 - target,
        early_on: life.day_at(0.9),
        late_on: life.day_at(0.1),
        dates,
    }
}

/// The life that remains after the newest finding. Ages are parts of the usual life, set back by what beads have bought.
struct Remaining<'a> {
    class: &'a Class,
    layer: &'a Layer<'a>,
    ended: Option<NaiveDate>,
    set_back: f64,
    /// Day and age of the test.
    from: Option<(NaiveDate, f64)>,
    /// The reliability of the class is divided by this: what the finding made of it at that age.
    weight: f64,
}

impl<'a> Remaining<'a> {
    fn new(norms: &CoatNorms, class: &'a Class, layer: &'a Layer<'a>, finding: Finding) -> Remaining<'a> {
        let mut remaining = Remaining { class, layer, ended: None, set_back: 0.0, from: None, weight: 1.0 };
        match finding {
            Finding::Untested => {}
            Finding::Stripped(on, _) => remaining.ended = Some(on),
            Finding::Tested(test, beads) => {
                remaining.set_back = if beads == Beads::High { norms.bead_postpone } else { 0.0 };
                let age = remaining.age(test.on);
                let alive = class.life.reliability(age);
                let worn = 1.0 - alive;
                remaining.weight = match beads {
                    Beads::High | Beads::Between => alive + worn * norms.misread,
                    Beads::Low => {
                        let though = if test.after_test_sequence { norms.misread } else { norms.clogged };
                        alive + worn * (1.0 - norms.misread) / though
                    }
                };
                remaining.from = Some((test.on, age));
            }
        }
        remaining
    }

    fn age(&self, on: NaiveDate) -> f64 {
        (self.layer.wear.on(on) - self.set_back).max(0.0)
    }

    fn reliability(&self, on: NaiveDate) -> f64 {
        if self.ended.is_some() {
            return 0.0;
        }
        (self.class.life.reliability(self.age(on)) / self.weight).min(1.0)
    }

    /// The age at which the reliability has fallen to this value, not before the test.
    fn age_at(&self, reliability: f64) -> f64 {
        let age = self.class.life.age_at(reliability * self.weight);
        self.from.map_or(age, |(_, tested)| age.max(tested))
    }

    fn day_of(&self, age: f64) -> Option<NaiveDate> {
        self.layer.wear.reaches(age + self.set_back)
    }

    fn day_at(&self, reliability: f64) -> Option<NaiveDate> {
        if self.ended.is_some() {
            return self.ended;
        }
        let on = self.day_of(self.age_at(reliability))?;
        Some(self.from.map_or(on, |(tested_on, _)| on.max(tested_on)))
    }

    fn dates(&self, norms: &CoatNorms, target: f64) -> Option<Dates> {
        let due_on = self.day_at(target)?;
        let age = self.age_at(target);
        Some(Dates {
            remind_on: self.day_of(age * norms.remind)?.min(due_on),
            due_on,
            overdue_on: self.day_of(age * norms.overdue).map(|on| on.max(due_on)),
        })
    }
}
