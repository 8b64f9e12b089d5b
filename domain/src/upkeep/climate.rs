//! Weather and season of the shop's area, as far as upkeep cares; the same for all its vehicles.

use super::UpkeepError;
use super::assumed::Topic;
use super::norms::Reader;
use super::year::MONTH_STARTS;
use crate::site::WeatherHour;
use chrono::{Datelike, NaiveDate};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use utoipa::ToSchema;

/// Everything is optional: what is not known is taken from the handbook and said.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Climate {
    /// Of the shop, north positive; south of the equator the seasons are half a year on.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = -90.0, maximum = 90.0)]
    pub latitude_deg: Option<f64>,
    /// Mean air temperature from January to December.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub monthly_air_c: Option<[f64; 12]>,
    /// Ultraviolet from January to December, as a factor on the year's mean.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub monthly_uv: Option<[f64; 12]>,
    /// Rain that fell, day by day, in order.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub rain: Vec<RainDay>,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct RainDay {
    pub on: NaiveDate,
    #[schema(minimum = 0.0, maximum = 2000.0)]
    pub rain_mm: f64,
}

/// The handbook's months from January on, where the climate is not known.
const MONTH_AIR: [&str; 12] = [
    "month_01_air_c",
    "month_02_air_c",
    "month_03_air_c",
    "month_04_air_c",
    "month_05_air_c",
    "month_06_air_c",
    "month_07_air_c",
    "month_08_air_c",
    "month_09_air_c",
    "month_10_air_c",
    "month_11_air_c",
    "month_12_air_c",
];

/// A day counts with at least so many hours, as the warm ones alone would say too much; a month with so many such days
/// (assumptions).
const KNOWN_HOURS: usize = 20;
const KNOWN_DAYS: usize = 20;
/// Most that a month's ultraviolet may be of the year's mean.
const MOST_UV: f64 = 10.0;

impl Climate {
    /// With the months as the shop's own weather of a year has them; what is not known of every month stays as it was.
    ///
    /// Ultraviolet is taken in proportion to the sun's radiation on level ground (assumption: its share of that is the
    /// same all year).
    pub fn with_months(mut self, hours: &[WeatherHour]) -> Climate {
        if let Some(air_c) = monthly(hours, |hour| Some(hour.air_c)) {
            self.monthly_air_c = Some(air_c);
        }
        if let Some(sun) = monthly(hours, |hour| hour.sun_w_m2) {
            let mean = mean_of_year(&sun);
            if mean > 0.0 {
                self.monthly_uv = Some(sun.map(|sun| (sun / mean).min(MOST_UV)));
            }
        }
        self
    }

    /// Mean air temperature from January to December, by the handbook on this side of the equator where it is not known.
    pub(super) fn air_c(&self, read: &mut Reader) -> Result<[f64; 12], UpkeepError> {
        let south = self.latitude_deg.is_some_and(|latitude| latitude < 0.0);
        let mut air_c = [0.0; 12];
        for (m, air_c) in air_c.iter_mut().enumerate() {
            let month = if south { (m + 6) % 12 } else { m };
            let usual_c = read.air_c(Topic::MonthAir, MONTH_AIR[month])?;
            *air_c = self.monthly_air_c.map_or(usual_c, |monthly| monthly[m]);
        }
        Ok(air_c)
    }

    pub(super) fn check(&self) -> Result<(), UpkeepError> {
        let within = |pointer: String, value: f64, least: f64, most: f64| {
            if (least..=most).contains(&value) { Ok(()) } else { Err(UpkeepError::Number { pointer, value }) }
        };
        if let Some(latitude_deg) = self.latitude_deg {
            within("/latitude_deg".into(), latitude_deg, -90.0, 90.0)?;
        }
        for (i, air_c) in self.monthly_air_c.iter().flatten().enumerate() {
            within(format!("/monthly_air_c/{i}"), *air_c, -60.0, 60.0)?;
        }
        for (i, uv) in self.monthly_uv.iter().flatten().enumerate() {
            within(format!("/monthly_uv/{i}"), *uv, 0.0, 10.0)?;
        }
        for (i, day) in self.rain.iter().enumerate() {
            within(format!("/rain/{i}/rain_mm"), day.rain_mm, 0.0, 2000.0)?;
        }
        Ok(())
    }
}

/// The mean of a value from January to December, of the days that are known; none unless every month is.
fn monthly(hours: &[WeatherHour], value: impl Fn(&WeatherHour) -> Option<f64>) -> Option<[f64; 12]> {
    let mut days: BTreeMap<NaiveDate, (f64, usize)> = BTreeMap::new();
    for (on, value) in hours.iter().filter_map(|hour| Some((hour.at.date(), value(hour)?))) {
        let (sum, count) = days.entry(on).or_default();
        (*sum, *count) = (*sum + value, *count + 1);
    }
    let mut months = [(0.0, 0_usize); 12];
    for (on, (sum, count)) in days.into_iter().filter(|(_, (_, count))| *count >= KNOWN_HOURS) {
        if let Some((total, known)) = months.get_mut(on.month0() as usize) {
            (*total, *known) = (*total + sum / count as f64, *known + 1);
        }
    }
    let all_known = months.iter().all(|(_, known)| *known >= KNOWN_DAYS);
    all_known.then(|| months.map(|(total, known)| total / known as f64))
}

fn mean_of_year(months: &[f64; 12]) -> f64 {
    let days = |m: usize| f64::from(MONTH_STARTS[m + 1] - MONTH_STARTS[m]);
    months.iter().enumerate().map(|(m, value)| value * days(m)).sum::<f64>() / f64::from(MONTH_STARTS[12])
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::Days;

    /// A day of so many hours with one temperature, and the sun where it was measured.
    fn day(on: NaiveDate, hours: u32, air_c: f64, sun_w_m2: Option<f64>) -> Vec<WeatherHour> {
        let hour = |h| WeatherHour {
            at: on.and_hms_opt(h, 0, 0).expect("an hour"),
            air_c,
            humidity: 0.6,
            wind_m_s: 1.0,
            gust_m_s: None,
            sun_w_m2,
            rain_mm_h: 0.0,
            thunder: false,
        };
        (0..hours).map(hour).collect()
    }

    fn year(of_day: impl Fn(NaiveDate) -> Vec<WeatherHour>) -> Vec<WeatherHour> {
        let first = NaiveDate::from_ymd_opt(2026, 1, 1).expect("a day");
        (0..365).flat_map(|n| of_day(first + Days::new(n))).collect()
    }

    #[test]
    fn the_months_are_those_of_the_weather() {
        let sun = |on: NaiveDate| if on.month() == 7 { 300.0 } else { 100.0 };
        let hours = year(|on| day(on, 24, f64::from(on.month()), Some(sun(on))));
        let climate = Climate::default().with_months(&hours);
        assert_eq!(climate.monthly_air_c.expect("known"), std::array::from_fn(|m| m as f64 + 1.0));
        // 31 of 365 days have three times the others' sun.
        let (uv, mean) = (climate.monthly_uv.expect("known"), (334.0 + 31.0 * 3.0) / 365.0);
        assert!((uv[6] - 3.0 / mean).abs() < 1e-12 && (uv[0] - 1.0 / mean).abs() < 1e-12, "{uv:?}");
        assert!((mean_of_year(&uv) - 1.0).abs() < 1e-12);
        assert_eq!(climate.check(), Ok(()));
    }

    /// Working hours alone, a month half known, or a sun that nobody measured say nothing, and what was known stays.
    #[test]
    fn half_a_knowledge_is_none() {
        let known = Climate { monthly_air_c: Some([9.0; 12]), ..Climate::default() };
        let short = year(|on| day(on, 19, 20.0, Some(100.0)));
        assert_eq!(known.clone().with_months(&short), known);
        let patchy = |on: NaiveDate| if on.month() == 2 && on.day() > 19 { 0 } else { 24 };
        assert_eq!(known.clone().with_months(&year(|on| day(on, patchy(on), 20.0, None))), known);
        let unsunned = known.with_months(&year(|on| day(on, 24, 20.0, None)));
        assert_eq!((unsunned.monthly_air_c, unsunned.monthly_uv), (Some([20.0; 12]), None));
    }
}
