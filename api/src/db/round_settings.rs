//! How a shop plans its rounds: a part of its settings.

use crate::check::{Check, Checker};
use chrono::NaiveTime;
use domain::dispatch::Travel;
use domain::dispatch::planning::{Rest, Weights};
use domain::site::HourRange;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// How the shop plans its rounds. Absent values are the defaults.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields, default)]
pub struct RoundSettings {
    /// How a straight distance becomes a drive.
    pub travel: Travel,
    /// The break of every technician; of 0 minutes: none is planned.
    pub rest: Rest,
    /// What is weighed against what.
    pub weights: Weights,
    /// The windows of a day that are offered to customers, local time.
    #[schema(min_items = 1, max_items = 12)]
    pub windows: Vec<HourRange>,
    /// How far from its planned start a visit may begin once the rounds are published, minutes either way.
    #[schema(minimum = 0, maximum = 720)]
    pub promise_min: u32,
    /// Where vans can fill their tanks beside the base, such as a tap that the shop may use.
    #[schema(max_items = 20)]
    pub refill_places: Vec<RefillPlace>,
}

/// Where a tank can be filled.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct RefillPlace {
    /// Degrees north.
    #[schema(minimum = -90.0, maximum = 90.0)]
    pub latitude: f64,
    /// Degrees east.
    #[schema(minimum = -180.0, maximum = 180.0)]
    pub longitude: f64,
    /// How long a filling takes there; absent: as long as a hose needs for the van's tank.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.0, maximum = 600.0)]
    pub minutes: Option<f64>,
}

impl Default for RoundSettings {
    /// Windows and promise are assumptions.
    fn default() -> RoundSettings {
        let window = |from, to| {
            let hour = |hour| NaiveTime::from_hms_opt(hour, 0, 0).unwrap_or(NaiveTime::MIN);
            HourRange { from: hour(from), to: hour(to) }
        };
        RoundSettings {
            travel: Travel::default(),
            rest: Rest::usual().unwrap_or(Rest { begins: window(11, 14), minutes: 0 }),
            weights: Weights::default(),
            windows: vec![window(8, 11), window(11, 14), window(13, 17)],
            promise_min: 60,
            refill_places: Vec::new(),
        }
    }
}

impl RoundSettings {
    pub(super) fn is_usual(&self) -> bool {
        *self == RoundSettings::default()
    }
}

impl Check for RoundSettings {
    fn check(&self, found: &mut Checker) {
        found.within("travel", |found| self.travel.check(found));
        found.within("weights", |found| self.weights.check(found));
        found.within("rest", |found| self.rest.check(found));
        found.at_most("windows", &self.windows, 12);
        if self.windows.is_empty() {
            found.refuse("windows", "too_few", "name at least one window");
        }
        for (i, window) in self.windows.iter().enumerate() {
            found.within(format!("windows/{i}"), |found| forwards(found, window));
        }
        found.range("promise_min", self.promise_min, 0, 720);
        found.at_most("refill_places", &self.refill_places, 20);
        for (i, place) in self.refill_places.iter().enumerate() {
            found.within(format!("refill_places/{i}"), |found| place.check(found));
        }
    }
}

impl Check for RefillPlace {
    fn check(&self, found: &mut Checker) {
        found.range("latitude", self.latitude, -90.0, 90.0);
        found.range("longitude", self.longitude, -180.0, 180.0);
        found.range_if_given("minutes", self.minutes, 0.0, 600.0);
    }
}

fn forwards(found: &mut Checker, range: &HourRange) {
    if range.to <= range.from {
        found.refuse("to", "ends_before_start", "must be later than from");
    }
}

impl Check for Travel {
    fn check(&self, found: &mut Checker) {
        found.range("road_factor", self.road_factor, 1.0, 5.0);
        found.range("speed_km_h", self.speed_km_h, 1.0, 130.0);
    }
}

impl Check for Rest {
    fn check(&self, found: &mut Checker) {
        found.range("minutes", self.minutes, 0, 240);
        found.within("begins", |found| forwards(found, &self.begins));
    }
}

impl Check for Weights {
    fn check(&self, found: &mut Checker) {
        for (name, value, most) in [
            ("late", self.late, 100.0),
            ("travel", self.travel, 100.0),
            ("overtime", self.overtime, 100.0),
            ("refill", self.refill, 1000.0),
            ("other_technician", self.other_technician, 10_000.0),
            ("other_shift", self.other_shift, 10_000.0),
            ("parted", self.parted, 10_000.0),
            ("fairness", self.fairness, 100.0),
            ("overtime_most_min", self.overtime_most_min, 480.0),
        ] {
            found.range(name, value, 0.0, most);
        }
        for (i, value) in self.unserved.iter().enumerate() {
            found.within("unserved", |found| found.range(&i.to_string(), *value, 0.0, 1e6));
        }
    }
}
