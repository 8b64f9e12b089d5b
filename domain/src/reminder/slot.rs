//! Whether the weather speaks against the hours of an appointment, before a plan says so.

use crate::handbook::Handbook;
use crate::site::WeatherHour;
use chrono::{NaiveDateTime, TimeDelta};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// Air at which paint in the sun is too hot for most chemistry, whatever its colour (assumption: the plan reckons with
/// the panel itself; this only asks early).
const HOT_AIR_C: f64 = 32.0;
/// Where moderate rain begins, mm an hour (glossary of the American Meteorological Society, from memory).
const WET_MM_H: f64 = 2.5;

/// What is wrong with the weather of an appointment: the worst of its hours.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(tag = "kind", rename_all = "snake_case", deny_unknown_fields)]
pub enum BadWeather {
    TooHot {
        air_c: f64,
    },
    TooCold {
        air_c: f64,
    },
    TooWet {
        #[schema(minimum = 0.0)]
        rain_mm_h: f64,
    },
}

/// What speaks against at least half of the hours from `from` to `to`, by the clock of `hours`; nothing where none of
/// them is forecast. Frost by the limit of rule R13.
pub fn bad_weather(
    handbook: &Handbook,
    hours: &[WeatherHour],
    from: NaiveDateTime,
    to: NaiveDateTime,
) -> Option<BadWeather> {
    let begun = |hour: &&WeatherHour| hour.at < to && hour.at + TimeDelta::hours(1) > from;
    let known: Vec<&WeatherHour> = hours.iter().filter(begun).collect();
    let standard = || Handbook::standard().parameter("R13", "air_c");
    let frost_c = handbook.parameter("R13", "air_c").or_else(standard).unwrap_or(f64::NAN);
    let half = |is_bad: &dyn Fn(&WeatherHour) -> bool| {
        let bad = known.iter().filter(|hour| is_bad(hour)).count();
        bad > 0 && 2 * bad >= known.len()
    };
    let least =
        |value: fn(&WeatherHour) -> f64| known.iter().map(|hour| value(hour)).fold(f64::INFINITY, f64::min);
    let most = |value: fn(&WeatherHour) -> f64| known.iter().map(|hour| value(hour)).fold(0.0, f64::max);
    if half(&|hour| hour.rain_mm_h >= WET_MM_H) {
        Some(BadWeather::TooWet { rain_mm_h: most(|hour| hour.rain_mm_h) })
    } else if half(&|hour| hour.air_c <= frost_c) {
        Some(BadWeather::TooCold { air_c: least(|hour| hour.air_c) })
    } else if half(&|hour| hour.air_c >= HOT_AIR_C) {
        Some(BadWeather::TooHot { air_c: most(|hour| hour.air_c) })
    } else {
        None
    }
}
