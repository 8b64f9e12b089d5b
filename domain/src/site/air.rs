//! The air: what it holds, when it condenses, and how fast it takes water up.
//!
//! Moist-air figures follow the ASHRAE Handbook Fundamentals (2017, chapter 1); short forms of FAO Irrigation and
//! Drainage Paper 56 (Allen et al. 1998) serve where speed counts.

use super::WeatherHour;

/// Standard pressure at sea level, Pa.
pub const STANDARD_PRESSURE_PA: f64 = 101_325.0;
/// Mass of water vapour to dry air per mole, ASHRAE's ratio.
const MASS_RATIO: f64 = 0.621945;
/// Between ice and water in the saturation formulas: the triple point, C.
const TRIPLE_POINT_C: f64 = 0.01;
/// Lowest temperature of the ASHRAE saturation formula, C; also the dew point reported for bone-dry air.
const COLDEST_C: f64 = -100.0;

#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum AirError {
    #[error("{what} of {value} is outside {min} to {max}")]
    Range { what: &'static str, value: f64, min: f64, max: f64 },
}

/// The state of the air at one moment; every value was checked when it was made.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Air {
    air_c: f64,
    humidity: f64,
    wind_m_s: f64,
    pressure_pa: f64,
}

impl Air {
    /// `air_c` -60 to 60, `humidity` 0 to 1, `wind_m_s` 0 to 60 near the vehicle, `pressure_pa` 30 000 to 110 000.
    ///
    /// ```
    /// use domain::site::air::{Air, STANDARD_PRESSURE_PA};
    /// let air = Air::new(30.0, 0.6, 2.0, STANDARD_PRESSURE_PA)?;
    /// assert_eq!(format!("{:.1}", air.dew_point_c()), "21.4");
    /// # Ok::<(), domain::site::air::AirError>(())
    /// ```
    pub fn new(air_c: f64, humidity: f64, wind_m_s: f64, pressure_pa: f64) -> Result<Air, AirError> {
        within("air temperature, C,", air_c, -60.0, 60.0)?;
        within("relative humidity", humidity, 0.0, 1.0)?;
        within("wind, m/s,", wind_m_s, 0.0, 60.0)?;
        within("pressure, Pa,", pressure_pa, 30_000.0, 110_000.0)?;
        Ok(Air { air_c, humidity, wind_m_s, pressure_pa })
    }

    /// The air of a weather hour at `elevation_m` above the sea, -500 to 9000.
    pub fn of_hour(hour: &WeatherHour, elevation_m: f64) -> Result<Air, AirError> {
        within("elevation, m,", elevation_m, -500.0, 9000.0)?;
        Air::new(hour.air_c, hour.humidity, hour.wind_m_s, pressure_at_pa(elevation_m))
    }

    pub fn air_c(&self) -> f64 {
        self.air_c
    }

    pub fn humidity(&self) -> f64 {
        self.humidity
    }

    pub fn wind_m_s(&self) -> f64 {
        self.wind_m_s
    }

    pub fn pressure_pa(&self) -> f64 {
        self.pressure_pa
    }

    pub fn vapour_pressure_pa(&self) -> f64 {
        self.humidity * saturation_pressure_pa(self.air_c)
    }

    /// Kilograms of vapour per kilogram of dry air.
    pub fn humidity_ratio(&self) -> f64 {
        humidity_ratio(self.vapour_pressure_pa(), self.pressure_pa)
    }

    /// Temperature at which this air would condense (over ice below 0.01 C), at least -100 C.
    pub fn dew_point_c(&self) -> f64 {
        let vapour_pa = self.vapour_pressure_pa();
        falling_root(|c| vapour_pa - saturation_pressure_pa(c), COLDEST_C, self.air_c)
    }

    /// Thermodynamic wet bulb temperature.
    pub fn wet_bulb_c(&self) -> f64 {
        let ratio = self.humidity_ratio();
        let excess = |wet_c| ratio - humidity_ratio_of_wet_bulb(self.air_c, wet_c, self.pressure_pa);
        falling_root(excess, self.dew_point_c(), self.air_c)
    }

    /// How far `panel_c` is above the dew point.
    pub fn dew_margin_k(&self, panel_c: f64) -> f64 {
        panel_c - self.dew_point_c()
    }
}

/// Saturation pressure over ice below the triple point and over water above, Pa; -100 to 200 C
/// (Hyland and Wexler, ASHRAE Fundamentals 2017, chapter 1, equations 5 and 6).
pub fn saturation_pressure_pa(c: f64) -> f64 {
    let k = c + 273.15;
    let ln = if c <= TRIPLE_POINT_C {
        -5.6745359e3 / k + 6.3925247 - 9.677843e-3 * k + 6.2215701e-7 * k.powi(2) + 2.0747825e-9 * k.powi(3)
            - 9.484024e-13 * k.powi(4)
            + 4.1635019 * k.ln()
    } else {
        -5.8002206e3 / k + 1.3914993 - 4.8640239e-2 * k + 4.1764768e-5 * k.powi(2) - 1.4452093e-8 * k.powi(3)
            + 6.5459673 * k.ln()
    };
    ln.exp()
}

fn humidity_ratio(vapour_pa: f64, pressure_pa: f64) -> f64 {
    MASS_RATIO * vapour_pa / (pressure_pa - vapour_pa)
}

/// ASHRAE Fundamentals 2017, chapter 1, equations 33 and 35.
fn humidity_ratio_of_wet_bulb(dry_c: f64, wet_c: f64, pressure_pa: f64) -> f64 {
    let saturated = humidity_ratio(saturation_pressure_pa(wet_c), pressure_pa);
    if wet_c >= 0.0 {
        ((2501.0 - 2.326 * wet_c) * saturated - 1.006 * (dry_c - wet_c))
            / (2501.0 + 1.86 * dry_c - 4.186 * wet_c)
    } else {
        ((2830.0 - 0.24 * wet_c) * saturated - 1.006 * (dry_c - wet_c))
            / (2830.0 + 1.86 * dry_c - 2.1 * wet_c)
    }
}

/// Mean pressure at a height above the sea, Pa (FAO-56 equation 7).
pub fn pressure_at_pa(elevation_m: f64) -> f64 {
    101_300.0 * ((293.0 - 0.0065 * elevation_m) / 293.0).powf(5.26)
}

/// Saturation pressure, short form, Pa (FAO-56 equation 11); -40 to 110 C, over water throughout.
pub fn saturation_pressure_short_pa(c: f64) -> f64 {
    610.8 * (17.27 * c / (c + 237.3)).exp()
}

/// Root of a function that is at or above zero at `low`, at or below zero at `high` and falls between them
/// (regula falsi with the Illinois correction). Ends that do not enclose a root give the nearer end.
pub(super) fn falling_root(f: impl Fn(f64) -> f64, low: f64, high: f64) -> f64 {
    const STEPS: u32 = 60;
    let (mut low, mut high) = (low, high);
    let (mut at_low, mut at_high) = (f(low), f(high));
    if at_low <= 0.0 {
        return low;
    }
    if at_high >= 0.0 {
        return high;
    }
    let mut last_side = 0;
    for _ in 0..STEPS {
        let middle = (low * at_high - high * at_low) / (at_high - at_low);
        let value = f(middle);
        if value.abs() < 1e-11 || (high - low).abs() < 1e-10 {
            return middle;
        }
        if value > 0.0 {
            (low, at_low) = (middle, value);
            at_high *= if last_side == 1 { 0.5 } else { 1.0 };
            last_side = 1;
        } else {
            (high, at_high) = (middle, value);
            at_low *= if last_side == -1 { 0.5 } else { 1.0 };
            last_side = -1;
        }
    }
    0.5 * (low + high)
}

fn within(what: &'static str, value: f64, min: f64, max: f64) -> Result<(), AirError> {
    if value >= min && value <= max { Ok(()) } else { Err(AirError::Range { what, value, min, max }) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn dew_point_below_wet_bulb_below_air(air_c in -40.0..55.0f64, humidity in 0.0..=1.0f64,
            elevation_m in -100.0..3000.0f64) {
            let air = Air::new(air_c, humidity, 1.0, pressure_at_pa(elevation_m)).unwrap();
            let (dew_c, wet_c) = (air.dew_point_c(), air.wet_bulb_c());
            prop_assert!(dew_c <= wet_c + 1e-6 && wet_c <= air_c + 1e-6, "{dew_c} {wet_c} {air_c}");
            // Back through the psychrometer. ASHRAE's wet-bulb formulas for ice and water do not meet at 0 C.
            if humidity > 0.02 && wet_c.abs() > 0.1 {
                let ratio = humidity_ratio_of_wet_bulb(air_c, wet_c, air.pressure_pa());
                prop_assert!((ratio / air.humidity_ratio() - 1.0).abs() < 1e-4, "{ratio} {air:?}");
            }
        }

        #[test]
        fn any_numbers_make_air_or_an_error(a in any::<f64>(), b in any::<f64>(), c in any::<f64>(), d in any::<f64>()) {
            for (air_c, humidity, wind_m_s, pressure_pa) in [(a, b, c, d), (a % 70.0, b % 1.0, c % 60.0, 9e4)] {
                if let Ok(air) = Air::new(air_c, humidity, wind_m_s, pressure_pa) {
                    prop_assert!(air.dew_point_c().is_finite() && air.wet_bulb_c().is_finite());
                }
            }
        }
    }
}
