//! An amount that grows by a rate that changes on known days and by steps: a fallout dose, or the used part of a life.

use super::needs::day_after;
use chrono::NaiveDate;

pub(super) struct Accumulation {
    start_on: NaiveDate,
    start: f64,
    /// In order of days; the last one has no end.
    pieces: Vec<Piece>,
}

struct Piece {
    from_on: NaiveDate,
    /// Added at once on that day.
    step: f64,
    per_day: f64,
}

impl Accumulation {
    /// `changes`: the days on which the rate may change. `steps` on the first day or later are added on their day.
    pub fn new(
        start_on: NaiveDate,
        start: f64,
        changes: impl IntoIterator<Item = NaiveDate>,
        steps: &[(NaiveDate, f64)],
        per_day: impl Fn(NaiveDate) -> f64,
    ) -> Accumulation {
        let mut days: Vec<NaiveDate> = changes.into_iter().chain(steps.iter().map(|s| s.0)).collect();
        days.retain(|&d| d > start_on);
        days.push(start_on);
        days.sort();
        days.dedup();
        let step = |on| steps.iter().filter(|s| s.0 == on).map(|s| s.1).sum::<f64>();
        let piece = |from_on| Piece { from_on, step: step(from_on), per_day: per_day(from_on).max(0.0) };
        Accumulation { start_on, start, pieces: days.into_iter().map(piece).collect() }
    }

    /// The amount at the beginning of `on`, after the steps of that day.
    pub fn on(&self, on: NaiveDate) -> f64 {
        let mut amount = self.start;
        for (i, piece) in self.pieces.iter().enumerate().take_while(|(_, p)| p.from_on <= on) {
            let end = self.pieces.get(i + 1).map_or(on, |next| next.from_on.min(on));
            amount += piece.step + piece.per_day * (end - piece.from_on).num_days() as f64;
        }
        amount
    }

    /// The first day on which the amount is at least `level`.
    pub fn reaches(&self, level: f64) -> Option<NaiveDate> {
        let mut amount = self.start;
        if amount >= level {
            return Some(self.start_on);
        }
        for (i, piece) in self.pieces.iter().enumerate() {
            amount += piece.step;
            if amount >= level {
                return Some(piece.from_on);
            }
            let on = day_after(piece.from_on, (level - amount) / piece.per_day);
            let Some(next) = self.pieces.get(i + 1) else { return on };
            if let Some(on) = on.filter(|&on| on < next.from_on) {
                return Some(on);
            }
            amount += piece.per_day * (next.from_on - piece.from_on).num_days() as f64;
        }
        None
    }
}
