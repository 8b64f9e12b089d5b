//! Weather and season of the shop's area, as far as upkeep cares; the same for all its vehicles.

use super::UpkeepError;
use super::assumed::Topic;
use super::norms::Reader;
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
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

impl Climate {
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
