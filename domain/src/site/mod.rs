//! The place and its weather: what sun, wind, water and neighbours do to the work.

pub mod air;
pub mod dwell;
pub mod film;
pub mod light;
pub mod panel;
pub mod sun;
pub mod water;

use chrono::{NaiveDateTime, NaiveTime};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// The customer's address as far as the work cares. An absent value is unknown: the plan asks for it.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Site {
    /// Degrees north.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = -90.0, maximum = 90.0)]
    pub latitude: Option<f64>,
    /// Degrees east.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = -180.0, maximum = 180.0)]
    pub longitude: Option<f64>,
    /// Compass direction the bonnet points to, degrees from north, clockwise.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.0, maximum = 360.0)]
    pub heading_deg: Option<f64>,
    /// Hours in which trees, walls or a roof keep the sun off the whole vehicle.
    pub shade: Vec<HourRange>,
    /// Haze as Linke turbidity, 1 clean to 10 smog, where known: clear skies are then reckoned with it.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1.0, maximum = 10.0)]
    pub turbidity: Option<f64>,
    /// True under a roof: no rain, no open sky.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub covered: Option<bool>,
    /// A customer's tap that may be used.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tap: Option<bool>,
    /// A customer's mains socket that may be used.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mains: Option<bool>,
    /// Water hardness as CaCO3.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.0, maximum = 2000.0)]
    pub hardness_mg_l: Option<f64>,
    /// Analysis of the water there, where somebody has one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub water: Option<water::Water>,
    /// Water restriction in force: 0 none, 1 to 3 rising.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 3)]
    pub water_restriction: Option<u8>,
    /// Where the water runs.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub drain: Option<Drain>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ground: Option<Ground>,
    /// Hours in which machines may run; absent: unknown.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub machine_hours: Option<HourRange>,
    /// False where a generator is forbidden at any hour.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub generator_allowed: Option<bool>,
    /// False where no work is allowed on Saturdays.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub saturday_allowed: Option<bool>,
    /// Distance to the next people downwind.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.0)]
    pub people_downwind_m: Option<f64>,
    /// Distance to the next vehicle.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.0)]
    pub next_vehicle_m: Option<f64>,
    /// Gate, dog, who is at home when. Never sent to partner apps.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 1000)]
    pub access_note: Option<String>,
}

impl Site {
    /// More calcium than hardness, of which it is a part.
    pub fn water_contradicts_itself(&self) -> bool {
        let (water, hardness_mg_l) = (self.water, self.hardness_mg_l);
        water.zip(hardness_mg_l).is_some_and(|(water, hardness_mg_l)| water.calcium_mg_l > hardness_mg_l)
    }
}

/// Local wall-clock hours, from (inclusive) to (exclusive).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct HourRange {
    #[schema(value_type = String, example = "09:00:00")]
    pub from: NaiveTime,
    #[schema(value_type = String, example = "16:00:00")]
    pub to: NaiveTime,
}

impl HourRange {
    pub fn contains(&self, time: NaiveTime) -> bool {
        self.from <= time && time < self.to
    }
}

/// Where used water ends. Local codes decide what may go there.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Drain {
    /// A storm drain is in reach: in many places only rain may enter it.
    Storm,
    /// Sanitary sewer, with permission.
    Sewer,
    /// Lawn or planted ground.
    Vegetated,
    /// Nothing in reach.
    None,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Ground {
    Asphalt,
    Concrete,
    FreshConcrete,
    NaturalStone,
    Gravel,
    Lawn,
}

/// Hourly weather at the site, in local wall-clock time, in order.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Weather {
    pub hours: Vec<WeatherHour>,
}

/// The state of the air over the hour that begins at `at`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct WeatherHour {
    /// Local wall-clock time.
    #[schema(value_type = String, example = "2026-05-04T08:00:00")]
    pub at: NaiveDateTime,
    #[schema(minimum = -60.0, maximum = 60.0)]
    pub air_c: f64,
    /// Relative humidity, 0 to 1.
    #[schema(minimum = 0.0, maximum = 1.0)]
    pub humidity: f64,
    #[schema(minimum = 0.0, maximum = 60.0)]
    pub wind_m_s: f64,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.0, maximum = 100.0)]
    pub gust_m_s: Option<f64>,
    /// Global horizontal irradiance; absent: clear sky is assumed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.0, maximum = 1500.0)]
    pub sun_w_m2: Option<f64>,
    #[serde(default)]
    #[schema(minimum = 0.0, maximum = 500.0)]
    pub rain_mm_h: f64,
    /// Thunder within 10 km.
    #[serde(default)]
    pub thunder: bool,
}

impl Weather {
    /// The hour that contains `at`, or the nearest one within three hours. The hours must be in order.
    pub fn at(&self, at: NaiveDateTime) -> Option<&WeatherHour> {
        let next = self.hours.partition_point(|hour| hour.at <= at);
        let around = self.hours.get(next.saturating_sub(1)..self.hours.len().min(next + 1))?;
        let nearest = around.iter().min_by_key(|hour| {
            let minutes = (at - hour.at).num_minutes();
            if (0..60).contains(&minutes) { 0 } else { minutes.abs().min((minutes - 59).abs()) }
        })?;
        ((at - nearest.at).num_minutes().abs() <= 180).then_some(nearest)
    }
}
