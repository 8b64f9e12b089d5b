//! Loose dirt between rains, in the two published forms for soiled panels: fixed deposition velocity (Coello & Boyle
//! 2019, IEEE Journal of Photovoltaics 9:1382) and fixed daily loss (Kimber et al. 2006). Rain takes all of the loose
//! part; what has bonded to paint stays, and is counted elsewhere.

use super::deposition::{PM10_VELOCITY_M_S, tilt_share};
use statrs::function::erf::erf;

/// Deposition velocity of PM2.5, m/s (same source).
const PM25_VELOCITY_M_S: f64 = 0.0009;

/// One step of a record of weather and air.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AirStep {
    pub rain_mm: f64,
    pub pm25_g_m3: f64,
    pub pm10_g_m3: f64,
}

/// Loose dirt at the end of each step, g/m²: it settles, and rain in the step of at least `reset_mm` takes it off.
pub fn loose_dirt_g_m2(steps: &[AirStep], step_s: f64, tilt_deg: f64, reset_mm: f64) -> Vec<f64> {
    let tilt = tilt_share(tilt_deg);
    let settled = steps.iter().map(|step| {
        let coarse = (step.pm10_g_m3 - step.pm25_g_m3).max(0.0);
        let gained = (step.pm25_g_m3 * PM25_VELOCITY_M_S + coarse * PM10_VELOCITY_M_S) * step_s * tilt;
        (gained, step.rain_mm >= reset_mm)
    });
    settled.scan(0.0, |load, (gained, reset)| Some(settle(load, gained, reset))).collect()
}

/// The rule of both forms: add, and start again from nothing when it rained enough.
pub fn settle(load: &mut f64, gained: f64, reset: bool) -> f64 {
    *load = if reset { 0.0 } else { *load + gained };
    *load
}

/// Share of the light that still passes through loose dirt of this mass, g/m².
pub fn light_share(dirt_g_m2: f64) -> f64 {
    1.0 - 0.3437 * erf(0.17 * dirt_g_m2.powf(0.8473))
}

/// Kimber's parameters, per day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Kimber {
    pub loss_per_day: f64,
    pub reset_mm: f64,
    /// Days after a cleaning rain in which the ground is too damp for dust.
    pub grace_days: usize,
    pub most: f64,
}

impl Kimber {
    /// Share of light lost at each step of `step_days`, from the rain that fell in each. Rain is summed over the last
    /// `period_steps`.
    pub fn losses(&self, rain_mm: &[f64], step_days: f64, period_steps: usize) -> Vec<f64> {
        let period = period_steps.max(1);
        let summed: Vec<f64> = (0..rain_mm.len())
            .map(|i| rain_mm.iter().take(i + 1).skip((i + 1).saturating_sub(period)).sum())
            .collect();
        let grace = (self.grace_days as f64 / step_days).round() as usize;
        let mut since_rain = None;
        let mut loss = 0.0;
        let mut losses = Vec::with_capacity(rain_mm.len());
        for (i, &sum) in summed.iter().enumerate() {
            since_rain = if sum > self.reset_mm { Some(0) } else { since_rain.map(|steps: usize| steps + 1) };
            let damp = since_rain.is_some_and(|steps| steps < grace.max(1));
            let gained = if i == 0 { 0.0 } else { self.loss_per_day * step_days };
            losses.push(settle(&mut loss, gained, damp).min(self.most));
        }
        losses
    }
}
