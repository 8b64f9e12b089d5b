//! How long a film of water or product stays wet on a panel, and what that allows.
//!
//! A thin sheet stores little heat and evaporation cools it, so panel temperature T and film mass m change together:
//!
//! ```text
//! C dT/dt = net(T) - E(T) L(T)        dm/dt = -E(T)
//! ```
//!
//! with net(T) the dry heat balance of [`super::panel`], E the evaporation by the Chilton-Colburn analogy and L the
//! latent heat. Neither right side knows the time or the mass, so both become plain integrals over the temperature
//! between the dry panel and the steady wet one; they are evaluated by Gauss's rule, with no time step to choose.
//! Surfactants, solvents, run-off and freezing are not in the model; such films may be off by some 30 %.

use super::air::{Air, saturation_pressure_short_pa};
use super::panel::{Balance, MAX_NEWTON_STEPS, NEWTON_TOLERANCE_K, Panel, convection_w_m2_k};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// Heat a square metre of body panel stores per kelvin, J/m²K: 0.8 mm of steel, 7850 kg/m³ times 490 J/kgK.
pub const PANEL_HEAT_J_M2_K: f64 = 3077.0;
/// Film of a foamed or sprayed product, µm (assumption; 30 to 100 is seen).
pub const PRODUCT_FILM_UM: f64 = 60.0;
/// Gas constant of water vapour, J/kgK.
const VAPOUR_GAS_CONSTANT: f64 = 461.5;
/// Gas constant of dry air, J/kgK.
const AIR_GAS_CONSTANT: f64 = 287.05;
/// Heat capacity of air, J/kgK.
const AIR_HEAT_J_KG_K: f64 = 1006.0;
/// Lewis number of water vapour in air.
const LEWIS: f64 = 0.86;

#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum FilmError {
    #[error("{what} of {value} is outside {min} to {max}")]
    Range { what: &'static str, value: f64, min: f64, max: f64 },
}

/// The drying of a film put on a panel that had settled at its dry temperature.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Drying {
    /// Temperature of the dry panel, at which the film was put on.
    pub panel_c: f64,
    /// Temperature to which an endless film would cool it.
    pub wet_c: f64,
    /// Absent when the film does not dry, because the panel is at or below the dew point.
    pub times: Option<DryingTimes>,
}

/// `low_s <= dry_s <= high_s`. Hours are extrapolation: the weather will not hold still for them.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct DryingTimes {
    /// Until the film is gone.
    pub dry_s: f64,
    /// Panel temperature at that moment.
    pub end_c: f64,
    /// If the panel stayed as hot as when dry.
    pub low_s: f64,
    /// If the panel were as cool as when wet from the start.
    pub high_s: f64,
}

impl Drying {
    /// Seconds until dry; none when the film stays wet.
    pub fn dry_s(&self) -> Option<f64> {
        self.times.map(|times| times.dry_s)
    }
}

/// Drying of `film_um` (1 to 1000 µm) of water.
///
/// ```
/// use domain::site::{air::{Air, STANDARD_PRESSURE_PA}, film::drying, panel::Panel};
/// let air = Air::new(30.0, 0.4, 2.0, STANDARD_PRESSURE_PA).unwrap();
/// let black_roof = Panel::in_sun(0.95, 900.0, true).unwrap();
/// let times = drying(&black_roof, &air, 50.0)?.times.unwrap();
/// assert_eq!((times.low_s as u32, times.dry_s as u32, times.high_s as u32), (22, 52, 178));
/// # Ok::<(), domain::site::film::FilmError>(())
/// ```
pub fn drying(panel: &Panel, air: &Air, film_um: f64) -> Result<Drying, FilmError> {
    within("film, um,", film_um, 1.0, 1000.0)?;
    let film = Film { balance: Balance::new(panel, air), uptake: Uptake::of(air) };
    // A micrometre of water on a square metre is a gram.
    let mass_kg_m2 = film_um / 1000.0;
    let panel_c = film.balance.dry_c();
    let wet_c = film.wet_c(panel_c);
    let (fastest, slowest) = (film.evaporation(panel_c).kg_m2_s, film.evaporation(wet_c).kg_m2_s);
    let (low_s, high_s) = (mass_kg_m2 / fastest, mass_kg_m2 / slowest);
    // At the dew point rounding may leave a rate that is positive but means never.
    if !(fastest > 0.0 && slowest > 0.0 && high_s.is_finite()) {
        return Ok(Drying { panel_c, wet_c, times: None });
    }
    let (dry_s, end_c) = film.dry_out(panel_c, wet_c, mass_kg_m2);
    let times = DryingTimes { dry_s: dry_s.clamp(low_s, high_s), end_c, low_s, high_s };
    Ok(Drying { panel_c, wet_c, times: Some(times) })
}

/// Evaporation from a wet surface at `surface_c`, kg/m²h, by the Chilton-Colburn analogy; negative when it condenses.
pub fn evaporation_kg_m2_h(surface_c: f64, air: &Air) -> Result<f64, FilmError> {
    within("surface temperature, C,", surface_c, -40.0, 120.0)?;
    Ok(Uptake::of(air).evaporation(surface_c).kg_m2_s * 3600.0)
}

/// A wet panel in given air, prepared for being asked many times.
struct Film {
    balance: Balance,
    uptake: Uptake,
}

/// How readily the air takes vapour up.
struct Uptake {
    /// Mass transfer coefficient, m/s.
    transfer_m_s: f64,
    /// Density of the vapour in the air, kg/m³.
    vapour_kg_m3: f64,
}

/// What evaporates at one temperature.
struct Evaporation {
    kg_m2_s: f64,
    /// Its change per kelvin.
    kg_m2_s_k: f64,
    /// Heat it takes, J/kg.
    latent_j_kg: f64,
}

/// The latent heat falls by this much per kelvin, J/kgK.
const LATENT_SLOPE: f64 = 2361.0;
/// In units of the exponential approach to the wet temperature: width of one piece, and where the rest is constant.
const PIECE: f64 = 0.5;
const PIECES: u32 = 24;
/// Closer than this the dry and the wet panel are one and the rate is constant, K.
const SAME_K: f64 = 1e-3;

impl Uptake {
    fn of(air: &Air) -> Uptake {
        let air_kg_m3 = air.pressure_pa() / (AIR_GAS_CONSTANT * (air.air_c() + 273.15));
        Uptake {
            transfer_m_s: convection_w_m2_k(air) / (air_kg_m3 * AIR_HEAT_J_KG_K * LEWIS.powf(2.0 / 3.0)),
            vapour_kg_m3: air.humidity() * vapour_density_kg_m3(air.air_c()),
        }
    }

    fn evaporation(&self, c: f64) -> Evaporation {
        let saturated = vapour_density_kg_m3(c);
        // Slope of the short form, less the thinning of the vapour with temperature.
        let steepness = 17.27 * 237.3 / ((c + 237.3) * (c + 237.3)) - 1.0 / (c + 273.15);
        Evaporation {
            kg_m2_s: self.transfer_m_s * (saturated - self.vapour_kg_m3),
            kg_m2_s_k: self.transfer_m_s * saturated * steepness,
            latent_j_kg: 2.501e6 - LATENT_SLOPE * c,
        }
    }
}

impl Film {
    fn evaporation(&self, c: f64) -> Evaporation {
        self.uptake.evaporation(c)
    }

    /// Steady temperature of a panel kept wet. Newton from the dry temperature; the balance is falling and concave.
    fn wet_c(&self, dry_c: f64) -> f64 {
        let mut c = dry_c;
        for _ in 0..MAX_NEWTON_STEPS {
            let water = self.evaporation(c);
            let gain = self.balance.net_w_m2(c) - water.kg_m2_s * water.latent_j_kg;
            let loss = self.balance.loss_w_m2_k(c) + water.kg_m2_s_k * water.latent_j_kg
                - water.kg_m2_s * LATENT_SLOPE;
            let step = gain / loss;
            c += step;
            if step.abs() < NEWTON_TOLERANCE_K {
                break;
            }
        }
        c
    }

    /// Time and temperature at which `mass_kg_m2` has gone. With T = wet + (dry - wet) exp(-s) both time and mass are
    /// integrals of smooth functions of s, whatever the pace of the cooling.
    fn dry_out(&self, dry_c: f64, wet_c: f64, mass_kg_m2: f64) -> (f64, f64) {
        let drop_k = dry_c - wet_c;
        if drop_k < SAME_K {
            return (mass_kg_m2 / self.evaporation(dry_c).kg_m2_s, dry_c);
        }
        let (mut time_s, mut left_kg_m2) = (0.0, mass_kg_m2);
        for piece in 0..PIECES {
            let start = f64::from(piece) * PIECE;
            let (piece_s, piece_kg_m2) = self.piece(wet_c, drop_k, start, PIECE);
            if piece_kg_m2 >= left_kg_m2 {
                let width = self.last_width(wet_c, drop_k, start, left_kg_m2, left_kg_m2 / piece_kg_m2);
                let (last_s, _) = self.piece(wet_c, drop_k, start, width);
                return (time_s + last_s, wet_c + drop_k * (-start - width).exp());
            }
            time_s += piece_s;
            left_kg_m2 -= piece_kg_m2;
        }
        (time_s + left_kg_m2 / self.evaporation(wet_c).kg_m2_s, wet_c)
    }

    /// Seconds and mass between `start` and `start + width`, by Gauss's rule of three points.
    fn piece(&self, wet_c: f64, drop_k: f64, start: f64, width: f64) -> (f64, f64) {
        const POINTS: [(f64, f64); 3] =
            [(0.112_701_665_379_258_3, 5.0 / 18.0), (0.5, 8.0 / 18.0), (0.887_298_334_620_741_7, 5.0 / 18.0)];
        let mut sum = (0.0, 0.0);
        for (place, weight) in POINTS {
            let (pace_s, rate) = self.pace(wet_c, drop_k, start + place * width);
            sum.0 += weight * width * pace_s;
            sum.1 += weight * width * pace_s * rate;
        }
        sum
    }

    /// Seconds per unit of s, and the rate of evaporation there.
    fn pace(&self, wet_c: f64, drop_k: f64, s: f64) -> (f64, f64) {
        let above_k = drop_k * (-s).exp();
        let c = wet_c + above_k;
        let water = self.evaporation(c);
        let cooling_w_m2 = water.kg_m2_s * water.latent_j_kg - self.balance.net_w_m2(c);
        (PANEL_HEAT_J_M2_K * above_k / cooling_w_m2, water.kg_m2_s)
    }

    /// Width of the last piece, by Newton on the mass; the guess is the share of the whole piece.
    fn last_width(&self, wet_c: f64, drop_k: f64, start: f64, left_kg_m2: f64, share: f64) -> f64 {
        let mut width = share * PIECE;
        for _ in 0..4 {
            let (_, gone_kg_m2) = self.piece(wet_c, drop_k, start, width);
            let (pace_s, rate) = self.pace(wet_c, drop_k, start + width);
            let step = (left_kg_m2 - gone_kg_m2) / (pace_s * rate);
            width = (width + step).clamp(0.0, PIECE);
            if step.abs() < 1e-7 {
                break;
            }
        }
        width
    }
}

/// Density of saturated vapour, kg/m³.
fn vapour_density_kg_m3(c: f64) -> f64 {
    saturation_pressure_short_pa(c) / (VAPOUR_GAS_CONSTANT * (c + 273.15))
}

fn within(what: &'static str, value: f64, min: f64, max: f64) -> Result<(), FilmError> {
    if value >= min && value <= max { Ok(()) } else { Err(FilmError::Range { what, value, min, max }) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::site::air::STANDARD_PRESSURE_PA;
    use proptest::prelude::*;

    fn dried(panel: &Panel, air: &Air, film_um: f64) -> Option<DryingTimes> {
        drying(panel, air, film_um).unwrap().times
    }

    fn air(air_c: f64, humidity: f64, wind_m_s: f64) -> Air {
        Air::new(air_c, humidity, wind_m_s, STANDARD_PRESSURE_PA).unwrap()
    }

    /// Not slower, but for the last digits.
    fn not_slower(faster: Option<DryingTimes>, slower: Option<DryingTimes>) -> bool {
        match (faster, slower) {
            (Some(faster), Some(slower)) => faster.dry_s <= slower.dry_s * (1.0 + 1e-4),
            (faster, slower) => faster.is_some() || slower.is_none(),
        }
    }

    /// The same equations by Runge-Kutta steps of 20 ms: another method must give the same time.
    fn stepped(panel: &Panel, air: &Air, film_um: f64) -> f64 {
        const STEP_S: f64 = 0.02;
        let film = Film { balance: Balance::new(panel, air), uptake: Uptake::of(air) };
        let slope = |c: f64| {
            let water = film.evaporation(c);
            let warming = (film.balance.net_w_m2(c) - water.kg_m2_s * water.latent_j_kg) / PANEL_HEAT_J_M2_K;
            (warming, water.kg_m2_s)
        };
        let (mut c, mut left, mut time_s) = (film.balance.dry_c(), film_um / 1000.0, 0.0);
        loop {
            let (k1, e1) = slope(c);
            let (k2, e2) = slope(c + 0.5 * STEP_S * k1);
            let (k3, e3) = slope(c + 0.5 * STEP_S * k2);
            let (k4, e4) = slope(c + STEP_S * k3);
            let gone = STEP_S * (e1 + 2.0 * e2 + 2.0 * e3 + e4) / 6.0;
            if gone >= left {
                return time_s + STEP_S * left / gone;
            }
            c += STEP_S * (k1 + 2.0 * k2 + 2.0 * k3 + k4) / 6.0;
            left -= gone;
            time_s += STEP_S;
        }
    }

    #[test]
    fn a_panel_below_the_dew_point_stays_wet() {
        let muggy = air(25.0, 0.9, 1.0);
        let cold = Panel::measured(15.0, &muggy, false).unwrap();
        assert_eq!(dried(&cold, &muggy, 50.0), None);
    }

    #[test]
    fn wind_cools_a_dark_panel_in_the_sun_and_may_keep_it_wet_longer() {
        // Not a fault: 900 W/m2 on black at 20 C and 60 %. In the shade wind always dries faster, see below.
        let roof = Panel::in_sun(0.95, 900.0, true).unwrap();
        let calm = dried(&roof, &air(20.0, 0.6, 1.0), 50.0).unwrap();
        let windy = dried(&roof, &air(20.0, 0.6, 6.0), 50.0).unwrap();
        assert!(windy.dry_s > calm.dry_s && windy.high_s < calm.high_s);
    }

    prop_compose! {
        fn weather()(air_c in 1.0..42.0f64, humidity in 0.05..0.98f64, wind_m_s in 0.0..12.0f64) -> (f64, f64, f64) {
            (air_c, humidity, wind_m_s)
        }
    }

    proptest! {
        #[test]
        fn the_time_lies_between_its_bounds_and_agrees_with_small_steps(
            (air_c, humidity, wind_m_s) in weather(), absorptance in 0.05..=1.0f64, sun_w_m2 in 0.0..1100.0f64,
            film_um in 10.0..150.0f64, open_sky: bool,
        ) {
            let air = air(air_c, humidity, wind_m_s);
            let panel = Panel::in_sun(absorptance, sun_w_m2, open_sky).unwrap();
            let whole = drying(&panel, &air, film_um).unwrap();
            if let Some(times) = whole.times {
                prop_assert!(times.low_s <= times.dry_s && times.dry_s <= times.high_s);
                prop_assert!(whole.wet_c - 1e-6 <= times.end_c && times.end_c <= whole.panel_c + 1e-6);
                if times.dry_s < 2000.0 {
                    let stepped_s = stepped(&panel, &air, film_um);
                    prop_assert!((times.dry_s / stepped_s - 1.0).abs() < 1e-4, "{} {stepped_s}", times.dry_s);
                }
            }
        }

        #[test]
        fn hotter_drier_and_thinner_never_dries_slower(
            (air_c, humidity, wind_m_s) in weather(), absorptance in 0.05..0.9f64, sun_w_m2 in 0.0..1000.0f64,
            film_um in 10.0..140.0f64, open_sky: bool,
        ) {
            let base = air(air_c, humidity, wind_m_s);
            let panel = Panel::in_sun(absorptance, sun_w_m2, open_sky).unwrap();
            let now = dried(&panel, &base, film_um);
            let darker = Panel::in_sun(absorptance + 0.1, sun_w_m2, open_sky).unwrap();
            let sunnier = Panel::in_sun(absorptance, sun_w_m2 + 100.0, open_sky).unwrap();
            prop_assert!(not_slower(dried(&darker, &base, film_um), now));
            prop_assert!(not_slower(dried(&sunnier, &base, film_um), now));
            prop_assert!(not_slower(dried(&panel, &air(air_c + 3.0, humidity, wind_m_s), film_um), now));
            prop_assert!(not_slower(dried(&panel, &air(air_c, humidity * 0.9, wind_m_s), film_um), now));
            prop_assert!(not_slower(dried(&panel, &base, film_um * 0.9), now));
        }

        #[test]
        fn windier_never_dries_slower_in_the_shade_or_at_a_panel_temperature_that_was_read(
            (air_c, humidity, wind_m_s) in weather(), above_k in 0.0..50.0f64, film_um in 10.0..150.0f64,
        ) {
            let (calm, windy) = (air(air_c, humidity, wind_m_s), air(air_c, humidity, wind_m_s + 1.0));
            let shade = Panel::in_sun(0.9, 0.0, false).unwrap();
            prop_assert!(not_slower(dried(&shade, &windy, film_um), dried(&shade, &calm, film_um)));
            let read = |air: &Air| Panel::measured(air_c + above_k, air, false).unwrap();
            prop_assert!(not_slower(dried(&read(&windy), &windy, film_um), dried(&read(&calm), &calm, film_um)));
        }

        #[test]
        fn any_numbers_give_finite_times_or_an_error(
            wild in any::<f64>(), place in 0usize..12, tame in prop::array::uniform8(0.0..=1.0f64), open_sky: bool,
        ) {
            // One value at most is wild; the others are spread over their whole allowed range.
            let pick = |i: usize, low: f64, high: f64| if i == place { wild } else { low + tame[i] * (high - low) };
            let Ok(air) = Air::new(pick(0, -60.0, 60.0), pick(1, 0.0, 1.0), pick(2, 0.0, 60.0), pick(3, 3e4, 1.1e5))
                else { return Ok(()) };
            let in_sun = Panel::in_sun(pick(4, 0.0, 1.0), pick(5, 0.0, 2500.0), open_sky);
            let read = Panel::measured(pick(6, -40.0, 120.0), &air, open_sky);
            for panel in in_sun.into_iter().chain(read) {
                if let Ok(drying) = drying(&panel, &air, pick(7, 1.0, 1000.0)) {
                    prop_assert!(drying.panel_c.is_finite() && drying.wet_c.is_finite(), "{drying:?} {air:?} {panel:?}");
                    if let Some(times) = drying.times {
                        prop_assert!(times.low_s <= times.dry_s && times.dry_s <= times.high_s, "{drying:?}");
                        prop_assert!(times.high_s.is_finite() && times.end_c.is_finite(), "{drying:?}");
                    }
                }
            }
        }
    }
}
