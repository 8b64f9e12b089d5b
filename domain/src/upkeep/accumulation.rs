//! An amount that grows by a rate that changes on known days, and with the months of a year: a fallout dose, or spots.

use super::needs::day_after;
use super::year::Year;
use chrono::NaiveDate;

pub(super) struct Accumulation<'y> {
    start_on: NaiveDate,
    /// Factors on the rate by month; none: every day is the same.
    year: Option<&'y Year>,
    /// In order of days; the last one has no end.
    pieces: Vec<Piece>,
}

struct Piece {
    from_on: NaiveDate,
    per_day: f64,
}

impl<'y> Accumulation<'y> {
    /// From nothing on the first day. `changes`: the days on which the rate may change beside the months of the year.
    pub fn new(
        start_on: NaiveDate,
        year: Option<&'y Year>,
        changes: impl IntoIterator<Item = NaiveDate>,
        per_day: impl Fn(NaiveDate) -> f64,
    ) -> Accumulation<'y> {
        let mut days: Vec<NaiveDate> = changes.into_iter().filter(|&on| on > start_on).collect();
        days.push(start_on);
        days.sort_unstable();
        days.dedup();
        let piece = |from_on| Piece { from_on, per_day: per_day(from_on).max(0.0) };
        Accumulation { start_on, year, pieces: days.into_iter().map(piece).collect() }
    }

    /// The amount at the beginning of `on`.
    pub fn on(&self, on: NaiveDate) -> f64 {
        let mut amount = 0.0;
        for (i, piece) in self.pieces.iter().enumerate().take_while(|(_, p)| p.from_on <= on) {
            let end = self.pieces.get(i + 1).map_or(on, |next| next.from_on.min(on));
            amount += piece.per_day * self.days(piece.from_on, end);
        }
        amount
    }

    /// The first day on which the amount is at least `level`.
    pub fn reaches(&self, level: f64) -> Option<NaiveDate> {
        let mut amount = 0.0;
        if amount >= level {
            return Some(self.start_on);
        }
        for (i, piece) in self.pieces.iter().enumerate() {
            // What is reached within the last day before another piece begins is reached when that begins.
            let days = ((level - amount) / piece.per_day).max(0.0);
            let on = match self.year {
                Some(year) if piece.per_day > 0.0 => year.reaches(piece.from_on, days),
                _ => day_after(piece.from_on, days),
            };
            let Some(next) = self.pieces.get(i + 1) else { return on };
            if let Some(on) = on.filter(|&on| on < next.from_on) {
                return Some(on);
            }
            amount += piece.per_day * self.days(piece.from_on, next.from_on);
        }
        None
    }

    /// Days, each weighted by the factor of its month.
    fn days(&self, from_on: NaiveDate, to_on: NaiveDate) -> f64 {
        match self.year {
            Some(year) => year.between(from_on, to_on),
            None => (to_on - from_on).num_days() as f64,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::Accumulation;
    use chrono::{Days, NaiveDate};

    /// By hand: one a day for ten days, then a tenth of it; nine and a half have come during the tenth day.
    #[test]
    fn what_is_reached_on_the_day_before_the_rate_falls_is_not_lost() {
        let day = |nth| NaiveDate::from_ymd_opt(2030, 1, 1).expect("a day") + Days::new(nth);
        let amount = Accumulation::new(day(0), None, [day(10)], |on| if on < day(10) { 1.0 } else { 0.1 });
        let reached = [9.0, 9.5, 10.0, 10.1].map(|level| amount.reaches(level));
        assert_eq!(reached, [day(9), day(10), day(10), day(11)].map(Some));
    }
}
