//! The year as factors by month, on the shop's side of the equator.

use super::UpkeepError;
use super::climate::Climate;
use crate::handbook::Accrual;
use chrono::{Datelike, Days, Months, NaiveDate};

const MONTHS: [&str; 12] =
    ["jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"];
/// Between the tropics there is no such year (assumption: no months stand out there).
const TROPIC_DEG: f64 = 23.44;

/// First days of the months in a common year, and the year's length.
pub(super) const MONTH_STARTS: [u16; 13] = [0, 31, 59, 90, 120, 151, 181, 212, 243, 273, 304, 334, 365];
/// Years are counted from here, so that sums stay small.
const FIRST_YEAR: i32 = 2000;
/// Nothing is looked for further ahead.
const HORIZON_YEARS: i32 = 20;

/// Factors on a rate from January to December.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Year {
    factors: [f64; 12],
    /// Sum of the factors over the days of a common year before each month, and over all of it.
    before: [f64; 13],
}

impl Year {
    /// The row's months, half a year on in the south and level between the tropics; unknown latitudes count as north.
    pub fn read(row: &Accrual, climate: &Climate) -> Result<Year, UpkeepError> {
        let mut factors = [1.0; 12];
        let latitude = climate.latitude_deg.unwrap_or(90.0);
        let shift = if latitude < 0.0 { 6 } else { 0 };
        for (month, name) in MONTHS.iter().enumerate() {
            let value = row.month_factors.get(*name).copied();
            let value = value.filter(|value| (0.0..=100.0).contains(value)).ok_or_else(|| {
                UpkeepError::Norm { name: format!("accruals {} {name}", row.id.name()), value }
            })?;
            if latitude.abs() > TROPIC_DEG
                && let Some(factor) = factors.get_mut((month + shift) % 12)
            {
                *factor = value;
            }
        }
        Ok(Year::of(factors))
    }

    fn of(factors: [f64; 12]) -> Year {
        let mut before = [0.0; 13];
        for (m, factor) in factors.iter().enumerate() {
            before[m + 1] = before[m] + factor * f64::from(MONTH_STARTS[m + 1] - MONTH_STARTS[m]);
        }
        Year { factors, before }
    }

    pub fn on(&self, on: NaiveDate) -> f64 {
        self.factors.get(on.month0() as usize).copied().unwrap_or(1.0)
    }

    /// Sum of the factors over the days from one (inclusive) to another (exclusive), in mean days where they average 1.
    pub fn between(&self, from_on: NaiveDate, to_on: NaiveDate) -> f64 {
        self.up_to(to_on) - self.up_to(from_on)
    }

    /// The sum up to the beginning of this day, from a fixed day on.
    fn up_to(&self, on: NaiveDate) -> f64 {
        self.up_to_month(on.year(), on.month0() as usize) + self.on(on) * f64::from(on.day0())
    }

    /// The same up to the beginning of a month, January being 0.
    fn up_to_month(&self, year: i32, month: usize) -> f64 {
        let leap_days = |years: i32| years.div_euclid(4) - years.div_euclid(100) + years.div_euclid(400);
        let leaps = leap_days(year - 1) - leap_days(FIRST_YEAR - 1) + i32::from(month > 1 && is_leap(year));
        let years = f64::from(year - FIRST_YEAR) * self.before[12];
        years + self.before.get(month).copied().unwrap_or(0.0) + f64::from(leaps) * self.factors[1]
    }

    /// The first day at whose beginning the sum from `from_on` has come to `sum`; none beyond twenty years.
    pub fn reaches(&self, from_on: NaiveDate, sum: f64) -> Option<NaiveDate> {
        // A sum is not made of rounding errors.
        let wanted = self.up_to(from_on) + sum - 1e-6;
        let (mut year, mut month) = (from_on.year(), from_on.month0() as usize);
        let last = year + HORIZON_YEARS;
        // Whole years first: no year holds more than a leap year's sum.
        let most = self.before[12] + self.factors[1];
        let skipped = if most > 0.0 { (sum / most).floor() } else { f64::from(HORIZON_YEARS) };
        let skipped = skipped.clamp(0.0, f64::from(HORIZON_YEARS)) as i32;
        if skipped > 0 && self.up_to_month(year + skipped, month) < wanted {
            year += skipped;
        }
        while year <= last {
            let (next_year, next_month) = if month == 11 { (year + 1, 0) } else { (year, month + 1) };
            if self.up_to_month(next_year, next_month) >= wanted {
                let missing = wanted - self.up_to_month(year, month);
                let days = (missing / self.factors[month]).ceil().clamp(0.0, 31.0);
                let first = NaiveDate::from_ymd_opt(year, month as u32 + 1, 1)?;
                return Some(first.checked_add_days(Days::new(days as u64))?.max(from_on));
            }
            (year, month) = (next_year, next_month);
        }
        None
    }
}

fn is_leap(year: i32) -> bool {
    year.rem_euclid(4) == 0 && (year.rem_euclid(100) != 0 || year.rem_euclid(400) == 0)
}

/// The first days of the months after `from`, so many of them.
pub(super) fn month_starts(from: NaiveDate, months: u32) -> impl Iterator<Item = NaiveDate> {
    let first = from.with_day(1).unwrap_or(from);
    (1..=months).filter_map(move |n| first.checked_add_months(Months::new(n)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// Against the sum day by day, leap years and months of nothing included.
        #[test]
        fn sums_and_days_are_those_of_the_calendar(
            factors in prop::array::uniform12(prop_oneof![Just(0.0), 0.01..3.0f64]),
            from in 0..2000u64, days in 0..2500u64, share in 0.0..1.2f64,
        ) {
            let year = Year::of(factors);
            let from_on = NaiveDate::from_ymd_opt(2027, 1, 1).expect("a day") + Days::new(from);
            let day = |n: u64| from_on + Days::new(n);
            let mut sums = vec![0.0];
            for n in 0..days {
                sums.push(sums.last().copied().unwrap_or(0.0) + year.on(day(n)));
            }
            let all = sums.last().copied().unwrap_or(0.0);
            prop_assert!((year.between(from_on, day(days)) - all).abs() < 1e-6);
            let wanted = all * share;
            let first = sums.iter().position(|&sum| sum >= wanted - 1e-6);
            match (first, year.reaches(from_on, wanted)) {
                (Some(first), found) => prop_assert_eq!(found, Some(day(first as u64))),
                (None, Some(found)) => prop_assert!(found > day(days)),
                (None, None) => prop_assert!(all == 0.0 || share > 1.0),
            }
        }
    }
}
