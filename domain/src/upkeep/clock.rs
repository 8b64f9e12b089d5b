//! Equivalent time: how old a coat of the shop's area is in days of the handbook's climate.
//!
//! `τ = ∫ AF(T) · UV/UVref dt` over the year, month by month: Arrhenius for the air temperature, and the ultraviolet as a
//! share of the year's mean. Where no climate is given, a day is a day.

use super::Climate;
use super::life::arrhenius;
use super::year::MONTH_STARTS;
use chrono::{Datelike, Days, NaiveDate};

const ZERO_C_K: f64 = 273.15;
const YEAR_DAYS: f64 = 365.0;
/// Forecasts end here.
const HORIZON_DAYS: f64 = 20.0 * 365.25;

#[derive(Debug, Clone)]
pub(super) struct Clock {
    /// Equivalent days per day over the year.
    mean: f64,
    /// Per month: equivalent days per day, and how far the months before it run ahead of the mean.
    months: Option<[(f64, f64); 12]>,
}

impl Clock {
    /// The handbook's lives hold at `reference_c`; `activation_ev` as in [`arrhenius`].
    pub fn new(climate: &Climate, activation_ev: f64, reference_c: f64) -> Clock {
        if climate.monthly_air_c.is_none() && climate.monthly_uv.is_none() {
            return Clock { mean: 1.0, months: None };
        }
        let rates: [f64; 12] = std::array::from_fn(|m| {
            let speed = |air_c: f64| arrhenius(activation_ev, reference_c + ZERO_C_K, air_c + ZERO_C_K);
            let warmth = climate.monthly_air_c.map_or(1.0, |air| speed(air[m]));
            // A dark month still has rain, washes and oxygen: time never stands still.
            (warmth * climate.monthly_uv.map_or(1.0, |uv| uv[m])).max(1e-3)
        });
        let length = |m: usize| f64::from(MONTH_STARTS[m + 1] - MONTH_STARTS[m]);
        let mean = (0..12).map(|m| rates[m] * length(m)).sum::<f64>() / YEAR_DAYS;
        let mut ahead = 0.0;
        let months = std::array::from_fn(|m| {
            let before = ahead;
            ahead += (rates[m] - mean) * length(m);
            (rates[m], before)
        });
        Clock { mean, months: Some(months) }
    }

    /// Equivalent days up to the beginning of this day, from a fixed day on.
    pub fn at(&self, on: NaiveDate) -> f64 {
        let day = f64::from(on.num_days_from_ce());
        let Some(months) = &self.months else { return day };
        let (rate, ahead) = months[on.month0() as usize];
        day * self.mean + ahead + (rate - self.mean) * f64::from(on.day0())
    }

    /// The first day at whose beginning the clock shows at least `reading`, not before `from_on`; none beyond twenty years.
    pub fn reaches(&self, reading: f64, from_on: NaiveDate) -> Option<NaiveDate> {
        const SLACK: f64 = 1e-9;
        let plus = |on: NaiveDate, days: f64| {
            let whole = (days - SLACK).ceil().max(0.0);
            (whole <= HORIZON_DAYS).then(|| on.checked_add_days(Days::new(whole as u64)))?
        };
        let mut on = plus(from_on, (reading - self.at(from_on)) / self.mean)?;
        let Some(months) = &self.months else { return Some(on) };
        // The mean rate led near; the rate of each month met leads on, and the last days are stepped.
        for _ in 0..8 {
            let missing = reading - SLACK - self.at(on);
            let rate = months[on.month0() as usize].0;
            let step = (missing / rate).trunc().clamp(-31.0, 31.0) as i64;
            if step == 0 {
                break;
            }
            on = on.checked_add_signed(chrono::TimeDelta::days(step))?.max(from_on);
        }
        while self.at(on) < reading - SLACK {
            on = on.succ_opt()?;
        }
        while on > from_on && on.pred_opt().is_some_and(|day| self.at(day) >= reading - SLACK) {
            on = on.pred_opt()?;
        }
        Some(on)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn day(offset: u64) -> NaiveDate {
        NaiveDate::from_ymd_opt(2030, 1, 1).expect("a day") + Days::new(offset)
    }

    fn clock(air: Option<[f64; 12]>, uv: Option<[f64; 12]>) -> Clock {
        Clock::new(&Climate { monthly_air_c: air, monthly_uv: uv, ..Climate::default() }, 0.4, 10.0)
    }

    #[test]
    fn a_day_is_a_day_without_a_climate_and_at_the_reference() {
        let plain = clock(None, None);
        let reference = clock(Some([10.0; 12]), Some([1.0; 12]));
        for clock in [&plain, &reference] {
            assert!((clock.at(day(900)) - clock.at(day(100)) - 800.0).abs() < 1e-6);
            assert_eq!(clock.reaches(clock.at(day(100)) + 365.2, day(100)), Some(day(466)));
            assert_eq!(clock.reaches(clock.at(day(0)) + 8000.0, day(0)), None);
        }
    }

    /// July at 20 °C with twice the mean ultraviolet: 2 · exp(0.4 / 8.617e-5 · (1/283.15 − 1/293.15)) equivalent days a day.
    #[test]
    fn a_summer_day_counts_for_more() {
        let mut air = [10.0; 12];
        let mut uv = [1.0; 12];
        (air[6], uv[6]) = (20.0, 2.0);
        let clock = clock(Some(air), Some(uv));
        let july = NaiveDate::from_ymd_opt(2030, 7, 1).expect("a day");
        let per_day = 2.0 * (0.4 / 8.617e-5 * (1.0 / 283.15 - 1.0 / 293.15f64)).exp();
        assert!((clock.at(july + Days::new(31)) - clock.at(july) - 31.0 * per_day).abs() < 1e-6);
    }

    proptest! {
        /// Time never runs back, and the day found is the first that shows the reading.
        #[test]
        fn the_day_of_a_reading(
            air in prop::array::uniform12(-30.0..40.0f64), uv in prop::array::uniform12(0.0..4.0f64),
            from in 0..800u64, ahead in 0.0..2500.0f64,
        ) {
            let clock = clock(Some(air), Some(uv));
            let from_on = day(from);
            prop_assert!((0..800).all(|d| clock.at(day(from + d + 1)) >= clock.at(day(from + d)) - 1e-6));
            let reading = clock.at(from_on) + ahead;
            if let Some(on) = clock.reaches(reading, from_on) {
                prop_assert!(on >= from_on && clock.at(on) >= reading - 1e-6);
                prop_assert!(on == from_on || clock.at(on.pred_opt().expect("a day")) < reading);
            }
        }
    }
}
