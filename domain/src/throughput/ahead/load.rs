//! Work that may come, summed up as a lognormal against the hours for it.

use super::{BookedJob, DueUpkeep, Load};
use crate::plan::{Uncertain, Z90};
use statrs::distribution::{ContinuousCDF, Normal};

/// Jobs of one week go fast or slow together a little, by weather and season: correlation between any two of them
/// (assumption).
const TOGETHER: f64 = 0.1;

/// A piece of work that may come.
#[derive(Clone, Copy)]
pub(super) struct Part {
    pub chance: f64,
    pub mean: f64,
    pub variance: f64,
}

impl Part {
    fn new(chance: f64, expected: f64, p50: f64, p90: f64) -> Part {
        let (mean, chance) = (usable(expected), chance.clamp(0.0, 1.0));
        let width = if p50 > 0.0 && p90 > p50 { (p90 / p50).ln() / Z90 } else { 0.0 };
        let own = mean * mean * (width * width).exp_m1();
        // A thing that comes or not: the variance of a mixture with nothing.
        Part { chance, mean: chance * mean, variance: chance * own + chance * (1.0 - chance) * mean * mean }
    }

    pub fn of_job(job: &BookedJob) -> Part {
        Part::new(1.0, job.expected_minutes, job.p50_minutes, job.p90_minutes)
    }

    pub fn of_upkeep(due: &DueUpkeep) -> Part {
        Part::new(due.chance, due.expected_minutes, due.p50_minutes, due.p90_minutes)
    }
}

/// The sum of the parts as a lognormal with the same mean and variance.
pub(super) fn load(parts: &[Part], available_minutes: f64) -> Load {
    let mean: f64 = parts.iter().map(|part| part.mean).sum();
    let variances: f64 = parts.iter().map(|part| part.variance).sum();
    let deviations: f64 = parts.iter().map(|part| part.variance.sqrt()).sum();
    let variance = (1.0 - TOGETHER) * variances + TOGETHER * deviations * deviations;
    let sum = Uncertain::of_moments(mean, variance);
    let (chance_over, expected_over_minutes) = over(sum, available_minutes);
    Load {
        jobs: parts.iter().map(|part| part.chance).sum(),
        expected_minutes: mean,
        p50_minutes: sum.p50,
        p90_minutes: sum.p90,
        available_minutes,
        chance_over,
        expected_over_minutes,
    }
}

/// Chance that a lognormal exceeds a limit, and by how much it does on average (the closed form of option pricing:
/// Black 1976, Journal of Financial Economics 3:167).
fn over(load: Uncertain, limit: f64) -> (f64, f64) {
    let width = if load.p50 > 0.0 { (load.p90 / load.p50).ln() / Z90 } else { 0.0 };
    if load.expected <= 0.0 {
        return (0.0, 0.0);
    }
    if limit <= 0.0 {
        return (1.0, load.expected);
    }
    let Some(normal) = Normal::new(0.0, 1.0).ok().filter(|_| width > 1e-9) else {
        let beyond = (load.expected - limit).max(0.0);
        return (if beyond > 0.0 { 1.0 } else { 0.0 }, beyond);
    };
    let near = ((load.p50 / limit).ln()) / width;
    let chance = normal.cdf(near);
    (chance, (load.expected * normal.cdf(near + width) - limit * chance).max(0.0))
}

/// Minutes that can be counted.
pub(super) fn usable(minutes: f64) -> f64 {
    if minutes.is_finite() { minutes.max(0.0) } else { 0.0 }
}
