//! How far and how long from one place to the next.

use super::problem::usable;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// A point on the globe, or on a shop's own plane in kilometres.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(tag = "kind", rename_all = "snake_case", deny_unknown_fields)]
pub enum Place {
    Globe { latitude: f64, longitude: f64 },
    Plane { x_km: f64, y_km: f64 },
}

/// How a straight distance becomes a drive.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Travel {
    /// Road length over straight length. Default 1.3 (assumption).
    #[schema(minimum = 1.0, maximum = 5.0)]
    pub road_factor: f64,
    /// Mean speed with stops. Default 30 km/h (assumption).
    #[schema(minimum = 1.0, maximum = 130.0)]
    pub speed_km_h: f64,
}

impl Default for Travel {
    fn default() -> Travel {
        Travel { road_factor: 1.3, speed_km_h: 30.0 }
    }
}

impl Travel {
    /// Kilometres by road. Zero between places that cannot be compared; they are reported as bad numbers.
    pub fn km(&self, from: &Place, to: &Place) -> f64 {
        usable(straight_km(from, to)) * usable(self.road_factor)
    }

    /// Minutes for a distance by road; at most a day, so that bad numbers cannot run away.
    pub fn minutes(&self, km: f64) -> f64 {
        const DAY_MIN: f64 = 1440.0;
        if self.speed_km_h > 0.0 { usable(km / self.speed_km_h * 60.0).min(DAY_MIN) } else { DAY_MIN }
    }
}

impl Place {
    /// Whether both are the same place, within a metre or so: places come as text from several hands.
    pub fn is_same(&self, other: &Place) -> bool {
        const DEGREES: f64 = 1e-5;
        const KM: f64 = 1e-3;
        match (*self, *other) {
            (Place::Globe { latitude, longitude }, Place::Globe { latitude: lat, longitude: lon }) => {
                (latitude - lat).abs() <= DEGREES && (longitude - lon).abs() <= DEGREES
            }
            (Place::Plane { x_km, y_km }, Place::Plane { x_km: x, y_km: y }) => {
                (x_km - x).abs() <= KM && (y_km - y).abs() <= KM
            }
            _ => false,
        }
    }

    /// Whether it lies on the globe, or within a distance of the plane's middle that rounds could mean.
    pub fn is_sound(&self) -> bool {
        match *self {
            Place::Globe { latitude, longitude } => latitude.abs() <= 90.0 && longitude.abs() <= 180.0,
            Place::Plane { x_km, y_km } => x_km.abs() <= 20_000.0 && y_km.abs() <= 20_000.0,
        }
    }
}

fn straight_km(from: &Place, to: &Place) -> f64 {
    match (*from, *to) {
        (Place::Plane { x_km: ax, y_km: ay }, Place::Plane { x_km: bx, y_km: by }) => {
            (bx - ax).hypot(by - ay)
        }
        (
            Place::Globe { latitude: a_lat, longitude: a_lon },
            Place::Globe { latitude: b_lat, longitude: b_lon },
        ) => great_circle_km(a_lat, a_lon, b_lat, b_lon),
        _ => f64::NAN,
    }
}

/// Haversine on a sphere of the Earth's mean radius, 6371.0088 km (IUGG, GRS 80).
fn great_circle_km(a_lat: f64, a_lon: f64, b_lat: f64, b_lon: f64) -> f64 {
    let (phi_a, phi_b) = (a_lat.to_radians(), b_lat.to_radians());
    let half_lat = ((b_lat - a_lat).to_radians() / 2.0).sin();
    let half_lon = ((b_lon - a_lon).to_radians() / 2.0).sin();
    let h = half_lat * half_lat + phi_a.cos() * phi_b.cos() * half_lon * half_lon;
    2.0 * 6371.0088 * h.clamp(0.0, 1.0).sqrt().asin()
}
