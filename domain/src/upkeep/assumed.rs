//! Which numbers of the handbook an answer rests on.

use super::answer::{Assumption, AssumptionBasis};
use crate::handbook::Factor;
use std::borrow::Cow;

/// What a number is used for. An answer names the numbers of the topics that it touched.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[repr(u8)]
pub(super) enum Topic {
    Fallout,
    BagTest,
    Events,
    Away,
    Classes,
    Places,
    UsualDriving,
    Sprinkler,
    Coast,
    Corrosivity,
    SaltMonths,
    Rain,
    Wash,
    Spots,
    Front,
    Life,
    /// Every coat; one in a climate that is known; one that late renewal costs more; one tested; one that chemistry wore.
    Coats,
    CoatClimate,
    LateRenewal,
    BeadTest,
    Chemistry,
    /// Every visit; the months where the climate is not known.
    Visits,
    MonthAir,
    /// The first row of the `sources` table, then of the `accruals` table; further rows follow.
    Rows,
}

/// A set of topics.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Topics(u64);

impl Topics {
    pub fn touch(&mut self, topic: Topic) {
        self.0 |= 1 << topic as u8;
    }

    pub fn add(&mut self, topics: Topics) {
        self.0 |= topics.0;
    }

    /// A row noted by [`Assumed::note_row`].
    pub fn touch_row(&mut self, row: u8) {
        self.0 |= 1_u64.checked_shl(u32::from(row)).unwrap_or(0);
    }
}

/// Every number read, by topic.
#[derive(Debug, Default)]
pub(super) struct Assumed {
    known: Vec<(u8, Assumption)>,
    rows: u8,
}

impl Assumed {
    pub fn note_factor(&mut self, topic: Topic, row: &Factor, name: &'static str, unit: &'static str) {
        let basis = AssumptionBasis::of(&row.source);
        let (name, unit) = (Cow::Borrowed(name), Cow::Borrowed(unit));
        self.known.push((topic as u8, Assumption { name, value: row.value, unit, basis }));
    }

    /// Notes the numbers of a row; gives what to touch when they are used.
    pub fn note_row(&mut self, source: &str, numbers: &[(String, f64, String)]) -> u8 {
        let topic = Topic::Rows as u8 + self.rows;
        self.rows = self.rows.saturating_add(1).min(64 - Topic::Rows as u8);
        for (name, value, unit) in numbers {
            let (name, unit) = (Cow::Owned(name.clone()), Cow::Owned(unit.clone()));
            let basis = AssumptionBasis::of(source);
            self.known.push((topic, Assumption { name, value: *value, unit, basis }));
        }
        topic
    }

    pub fn of(&self, topics: Topics) -> Vec<Assumption> {
        let touched = |topic: u8| topics.0 & 1_u64.checked_shl(u32::from(topic)).unwrap_or(0) != 0;
        self.known.iter().filter(|(topic, _)| touched(*topic)).map(|(_, a)| a.clone()).collect()
    }
}
