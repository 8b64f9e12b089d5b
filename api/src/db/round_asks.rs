//! What rounds are asked for, and what has happened since they were told.

use super::kinds::Id;
use crate::check::{Check, Checker};
use chrono::{NaiveDate, NaiveDateTime};
use domain::dispatch::TravelMatrix;
use domain::dispatch::planning::Weights;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// Longest planning horizon, days.
pub const MOST_DAYS: u32 = 14;
/// Longest time that a search may take, seconds.
const MOST_SECONDS: u32 = 600;
const MOST_ITERATIONS: u32 = 1_000_000;
/// Places of a matrix. These have 8,000,000 numbers: that takes a larger `LUSTRUM_BODY_LIMIT` than the usual one, in which
/// some 300 places have room.
const MOST_PLACES: usize = 2000;
/// A way takes at most so many minutes or kilometres.
const LONGEST_WAY: f64 = 100_000.0;

/// Rounds for some days.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct RoundsAsk {
    /// First day of the shop's calendar.
    pub from_on: NaiveDate,
    /// Days from then on: 1 for a day, 7 for a week.
    #[serde(default = "one_day")]
    #[schema(minimum = 1, maximum = 14, default = 1)]
    pub days: u32,
    /// Chance is drawn from it: the same facts, seed and iterations give the same rounds.
    #[serde(default = "usual_seed")]
    #[schema(minimum = 0, default = 1)]
    pub seed: u32,
    /// Steps of the search, rounded up to sixteen.
    #[serde(default = "usual_iterations")]
    #[schema(minimum = 1, maximum = 1000000, default = 2000)]
    pub iterations: u32,
    /// It ends after so many seconds. Where that is too short for the steps it is hurried, says so, and another run may
    /// find other rounds. How long each visit takes at which hour is looked at first, for half of the time at most.
    #[serde(default = "usual_seconds")]
    #[schema(minimum = 1, maximum = 600, default = 60)]
    pub seconds: u32,
    /// Visits that are assigned keep their van, people and day unless another place is worth the change. With false only
    /// promised windows and frozen visits count.
    #[serde(default = "yes")]
    #[schema(default = true)]
    pub keep_assigned: bool,
    /// What has happened; the answer says what changes because of it.
    #[serde(default)]
    #[schema(max_items = 50)]
    pub happened: Vec<Happening>,
    /// What is weighed against what, in place of the shop's settings.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub weights: Option<Weights>,
    /// Ways that are known better than by coordinates, in place of the shop's matrix.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub matrix: Option<TravelMatrix>,
}

/// What happens on a day.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(tag = "kind", rename_all = "snake_case", deny_unknown_fields)]
pub enum Happening {
    /// The customer or the vehicle is not there: the visit falls away, and publishing takes it out of the rounds wherever it
    /// stood, unless it has begun.
    NoShow { job: Id },
    /// The work takes longer than planned.
    Longer {
        job: Id,
        /// Minutes more.
        #[schema(minimum = 1, maximum = 1440)]
        minutes: u32,
    },
    /// A van cannot go on; from that day on it stays out.
    VanOut { van: Id, on: NaiveDate },
    /// Rain, by the shop's clock; the planner says which work it bars.
    Rain {
        from: NaiveDateTime,
        to: NaiveDateTime,
        #[serde(default = "steady_rain")]
        #[schema(minimum = 0.1, maximum = 500.0, default = 2.0)]
        mm_h: f64,
    },
    /// Nobody works then, by the shop's clock; of one job or of all.
    Barred {
        #[serde(default, skip_serializing_if = "Option::is_none")]
        job: Option<Id>,
        from: NaiveDateTime,
        to: NaiveDateTime,
        /// Why, in a line.
        #[schema(min_length = 1, max_length = 200)]
        why: String,
    },
    /// Nothing is more important than this visit.
    Urgent { job: Id },
}

fn one_day() -> u32 {
    1
}

fn usual_seed() -> u32 {
    1
}

/// Enough for a day of a small shop (assumption).
fn usual_iterations() -> u32 {
    2000
}

fn usual_seconds() -> u32 {
    60
}

fn yes() -> bool {
    true
}

/// Moderate rain, mm/h (common practice).
fn steady_rain() -> f64 {
    2.0
}

impl RoundsAsk {
    pub fn days(&self) -> Vec<NaiveDate> {
        self.from_on.iter_days().take(self.days as usize).collect()
    }

    /// Without what was only there to be searched with: places tell where customers live.
    pub fn without_places(self) -> RoundsAsk {
        RoundsAsk { matrix: None, ..self }
    }
}

impl Happening {
    /// The job it is about.
    pub fn job(&self) -> Option<Id> {
        match self {
            Happening::NoShow { job } | Happening::Longer { job, .. } | Happening::Urgent { job } => {
                Some(*job)
            }
            Happening::Barred { job, .. } => *job,
            Happening::VanOut { .. } | Happening::Rain { .. } => None,
        }
    }

    /// The van it is about.
    pub fn van(&self) -> Option<Id> {
        match self {
            Happening::VanOut { van, .. } => Some(*van),
            _ => None,
        }
    }
}

impl Check for RoundsAsk {
    fn check(&self, found: &mut Checker) {
        calendar_day(found, "from_on", self.from_on);
        found.range("days", self.days, 1, MOST_DAYS);
        found.range("iterations", self.iterations, 1, MOST_ITERATIONS);
        found.range("seconds", self.seconds, 1, MOST_SECONDS);
        found.at_most("happened", &self.happened, 50);
        for (i, one) in self.happened.iter().enumerate() {
            found.within(format!("happened/{i}"), |found| one.check(found));
        }
        if let Some(weights) = &self.weights {
            found.within("weights", |found| weights.check(found));
        }
        if let Some(matrix) = &self.matrix {
            found.within("matrix", |found| matrix.check(found));
        }
    }
}

/// Days that rounds can be planned for.
pub fn calendar_day(found: &mut Checker, field: &str, on: NaiveDate) {
    let first = NaiveDate::from_ymd_opt(1970, 1, 2).unwrap_or(NaiveDate::MIN);
    let last = NaiveDate::from_ymd_opt(2199, 12, 1).unwrap_or(NaiveDate::MAX);
    found.range(field, on, first, last);
}

impl Check for Happening {
    fn check(&self, found: &mut Checker) {
        match self {
            Happening::Longer { minutes, .. } => found.range("minutes", *minutes, 1, 1440),
            Happening::Rain { from, to, mm_h } => {
                found.range("mm_h", *mm_h, 0.1, 500.0);
                later(found, *from, *to);
            }
            Happening::Barred { from, to, why, .. } => {
                found.line("why", why, 200);
                later(found, *from, *to);
            }
            Happening::VanOut { on, .. } => calendar_day(found, "on", *on),
            Happening::NoShow { .. } | Happening::Urgent { .. } => {}
        }
    }
}

fn later(found: &mut Checker, from: NaiveDateTime, to: NaiveDateTime) {
    calendar_day(found, "from", from.date());
    calendar_day(found, "to", to.date());
    if to <= from {
        found.refuse("to", "ends_before_start", "must be later than from");
    }
}

impl Check for TravelMatrix {
    fn check(&self, found: &mut Checker) {
        let count = self.places.len();
        found.at_most("places", &self.places, MOST_PLACES);
        for (i, place) in self.places.iter().enumerate().filter(|(_, place)| !place.is_sound()) {
            found.refuse(
                format!("places/{i}"),
                "out_of_range",
                format!("{place:?} is no place on the globe"),
            );
        }
        for (name, rows) in [("minutes", &self.minutes), ("km", &self.km)] {
            if rows.len() != count {
                let text = format!("has {} rows for {count} places: one for each is needed", rows.len());
                found.refuse(name, "not_square", text);
                continue;
            }
            for (i, row) in rows.iter().enumerate() {
                found.within(format!("{name}/{i}"), |found| row_of(found, row, count));
            }
        }
    }
}

fn row_of(found: &mut Checker, row: &[f64], count: usize) {
    if row.len() != count {
        let text = format!("has {} values for {count} places: one for each is needed", row.len());
        found.refuse_here("not_square", text);
    } else if let Some(i) = row.iter().position(|value| !(0.0..=LONGEST_WAY).contains(value)) {
        found.range(&i.to_string(), row[i], 0.0, LONGEST_WAY);
    }
}
