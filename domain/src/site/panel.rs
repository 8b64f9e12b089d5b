//! How hot a panel is: the heat balance of a dry painted sheet in sun and wind, hour by hour.
//!
//! The balance (absorbed sun against long-wave loss and convection) is what plans use; simpler published and customary
//! forms are held against it in the tests. A reading by infrared thermometer outranks it.

use super::Weather;
use super::air::{Air, AirError};
use super::sun::{Face, Stand, Sun, SunError};
use chrono::{Duration, NaiveDateTime};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// Stefan-Boltzmann constant, W/m²K⁴ (CODATA 2018).
const STEFAN_BOLTZMANN: f64 = 5.670374419e-8;
/// Long-wave emissivity of paint (usual textbook value).
const PAINT_EMISSIVITY: f64 = 0.9;

/// Newton's method stops at a step this small, K: far below any thermometer, so results do not depend on it.
pub(super) const NEWTON_TOLERANCE_K: f64 = 1e-9;
pub(super) const MAX_NEWTON_STEPS: u32 = 50;

#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum PanelError {
    #[error("{what} of {value} is outside {min} to {max}")]
    Range { what: &'static str, value: f64, min: f64, max: f64 },
    #[error(transparent)]
    Sun(#[from] SunError),
    #[error(transparent)]
    Air(#[from] AirError),
    /// No weather hour within three hours of this time.
    #[error("no weather is known for {0}")]
    Weather(NaiveDateTime),
}

/// What heats a panel and whether it sees the sky; every value was checked when it was made.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Panel {
    absorbed_w_m2: f64,
    open_sky: bool,
}

impl Panel {
    /// A panel of `absorptance` 0 to 1 under `sun_w_m2` 0 to 2500 on its face. `open_sky` for faces that look up
    /// into it; upright faces and covered vehicles exchange heat with surroundings as warm as the air.
    pub fn in_sun(absorptance: f64, sun_w_m2: f64, open_sky: bool) -> Result<Panel, PanelError> {
        within("absorptance", absorptance, 0.0, 1.0)?;
        within("sun, W/m2,", sun_w_m2, 0.0, 2500.0)?;
        Ok(Panel { absorbed_w_m2: absorptance * sun_w_m2, open_sky })
    }

    /// A panel whose temperature was read, -40 to 120 C: it absorbs whatever holds it there in this air.
    ///
    /// A wet or freshly moved panel may read colder than any balance allows; it then absorbs less than nothing.
    pub fn measured(panel_c: f64, air: &Air, open_sky: bool) -> Result<Panel, PanelError> {
        within("panel temperature, C,", panel_c, -40.0, 120.0)?;
        let idle = Balance::new(&Panel { absorbed_w_m2: 0.0, open_sky }, air);
        Ok(Panel { absorbed_w_m2: -idle.net_w_m2(panel_c), open_sky })
    }

    /// Temperature at which the dry panel settles, C.
    ///
    /// ```
    /// use domain::site::{air::{Air, STANDARD_PRESSURE_PA}, panel::Panel};
    /// let air = Air::new(30.0, 0.4, 2.0, STANDARD_PRESSURE_PA)?;
    /// assert_eq!(format!("{:.1}", Panel::in_sun(0.95, 900.0, true)?.dry_c(&air)), "79.4");
    /// # Ok::<(), domain::site::panel::PanelError>(())
    /// ```
    pub fn dry_c(&self, air: &Air) -> f64 {
        Balance::new(self, air).dry_c()
    }
}

/// Heat flows of a panel in given air, prepared for being asked many times.
#[derive(Debug, Clone, Copy)]
pub(super) struct Balance {
    absorbed_w_m2: f64,
    air_c: f64,
    /// Fourth power of the temperature the panel radiates to.
    surroundings_k4: f64,
    convection_w_m2_k: f64,
}

impl Balance {
    pub(super) fn new(panel: &Panel, air: &Air) -> Balance {
        let air_k = air.air_c() + 273.15;
        // Clear-sky temperature by Swinbank 1963.
        let surroundings_k = if panel.open_sky { 0.0552 * air_k.powf(1.5) } else { air_k };
        Balance {
            absorbed_w_m2: panel.absorbed_w_m2,
            air_c: air.air_c(),
            surroundings_k4: surroundings_k.powi(4),
            convection_w_m2_k: convection_w_m2_k(air),
        }
    }

    /// What a dry panel at `c` gains, W/m²; falls as it warms.
    pub(super) fn net_w_m2(&self, c: f64) -> f64 {
        let k = c + 273.15;
        let k2 = k * k;
        self.absorbed_w_m2
            - PAINT_EMISSIVITY * STEFAN_BOLTZMANN * (k2 * k2 - self.surroundings_k4)
            - self.convection_w_m2_k * (c - self.air_c)
    }

    /// Newton's method: the balance is falling and concave, so it converges from any start.
    pub(super) fn dry_c(&self) -> f64 {
        let mut c = self.air_c;
        for _ in 0..MAX_NEWTON_STEPS {
            let step = self.net_w_m2(c) / self.loss_w_m2_k(c);
            c += step;
            if step.abs() < NEWTON_TOLERANCE_K {
                break;
            }
        }
        c
    }

    /// How fast the net gain falls as the panel warms, W/m²K.
    pub(super) fn loss_w_m2_k(&self, c: f64) -> f64 {
        4.0 * PAINT_EMISSIVITY * STEFAN_BOLTZMANN * (c + 273.15).powi(3) + self.convection_w_m2_k
    }
}

/// Convection of a flat plate in wind, 2.8 + 3.0 V (Watmuff et al. 1977), W/m²K.
pub(super) fn convection_w_m2_k(air: &Air) -> f64 {
    2.8 + 3.0 * air.wind_m_s()
}

/// One moment of a face's day.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct PanelMoment {
    pub at: NaiveDateTime,
    pub air_c: f64,
    /// Sunlight on the face, W/m².
    pub sun_w_m2: f64,
    /// Temperature of the dry panel.
    pub panel_c: f64,
}

/// A span in which a panel stays at or below a limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct CoolSpan {
    pub from: NaiveDateTime,
    pub to: NaiveDateTime,
}

/// A painted face at one moment, under the sun of that moment and in the weather known for it.
pub fn panel_in(
    stand: &Stand,
    sun: &Sun,
    weather: &Weather,
    face: Face,
    absorptance: f64,
    at: NaiveDateTime,
) -> Result<PanelMoment, PanelError> {
    let hour = weather.at(at).ok_or(PanelError::Weather(at))?;
    let air = Air::of_hour(hour, stand.place.elevation_m)?;
    let sun_w_m2 = stand.light_on_face_w_m2(face, sun, at, Some(hour))?;
    let panel = Panel::in_sun(absorptance, sun_w_m2, stand.sees_sky(face))?;
    Ok(PanelMoment { at, air_c: air.air_c(), sun_w_m2, panel_c: panel.dry_c(&air) })
}

/// Every `step_min` (1 to 120) minutes of a span of at most 48 h, both ends included.
pub fn moments(
    (from, to): (NaiveDateTime, NaiveDateTime),
    step_min: u32,
) -> Result<Vec<NaiveDateTime>, PanelError> {
    within("span, h,", (to - from).num_seconds() as f64 / 3600.0, 0.0, 48.0)?;
    within("step, min,", f64::from(step_min), 1.0, 120.0)?;
    let steps = (to - from).num_minutes() / i64::from(step_min);
    let mut moments: Vec<NaiveDateTime> =
        (0..=steps).map(|step| from + Duration::minutes(step * i64::from(step_min))).collect();
    if moments.last() != Some(&to) {
        moments.push(to);
    }
    Ok(moments)
}

/// The spans of a day in which the panel is at or below `limit_c`, by straight lines between the moments: what
/// "start the horizontals before 08:40" and "no chemistry on this roof before 17:20" are read from.
pub fn cool_spans(day: &[PanelMoment], limit_c: f64) -> Vec<CoolSpan> {
    let mut spans: Vec<CoolSpan> = Vec::new();
    let mut open: Option<NaiveDateTime> = None;
    for (index, moment) in day.iter().enumerate() {
        let cool = moment.panel_c <= limit_c;
        let crossing = index.checked_sub(1).map(|before| crossing_at(&day[before], moment, limit_c));
        match (open, cool) {
            (None, true) => open = Some(crossing.unwrap_or(moment.at)),
            (Some(from), false) => {
                spans.push(CoolSpan { from, to: crossing.unwrap_or(moment.at) });
                open = None;
            }
            _ => {}
        }
    }
    if let (Some(from), Some(last)) = (open, day.last()) {
        spans.push(CoolSpan { from, to: last.at });
    }
    spans
}

fn crossing_at(before: &PanelMoment, after: &PanelMoment, limit_c: f64) -> NaiveDateTime {
    let share = ((limit_c - before.panel_c) / (after.panel_c - before.panel_c)).clamp(0.0, 1.0);
    before.at + Duration::seconds(((after.at - before.at).num_seconds() as f64 * share) as i64)
}

fn within(what: &'static str, value: f64, min: f64, max: f64) -> Result<(), PanelError> {
    if value >= min && value <= max { Ok(()) } else { Err(PanelError::Range { what, value, min, max }) }
}
