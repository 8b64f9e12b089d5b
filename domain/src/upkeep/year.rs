//! The year as factors by month, on the shop's side of the equator.

use super::UpkeepError;
use super::climate::Climate;
use crate::handbook::Accrual;
use chrono::{Datelike, Months, NaiveDate};

const MONTHS: [&str; 12] =
    ["jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"];
/// Between the tropics there is no such year (assumption: no months stand out there).
const TROPIC_DEG: f64 = 23.44;

/// Factors on a rate from January to December.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Year([f64; 12]);

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
        Ok(Year(factors))
    }

    pub fn on(&self, on: NaiveDate) -> f64 {
        self.0.get(on.month0() as usize).copied().unwrap_or(1.0)
    }

    pub fn is_level(&self) -> bool {
        self.0.iter().all(|&factor| factor == self.0[0])
    }
}

/// The first days of the months after `from`, so many of them.
pub(super) fn month_starts(from: NaiveDate, months: u32) -> impl Iterator<Item = NaiveDate> {
    let first = from.with_day(1).unwrap_or(from);
    (1..=months).filter_map(move |n| first.checked_add_months(Months::new(n)))
}
