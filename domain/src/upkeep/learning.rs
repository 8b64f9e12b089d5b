//! Rates that learn per vehicle: counts by gamma-Poisson, amounts by a gamma process with a gamma prior.
//!
//! Both run in handbook time: the amount that the handbook expects, so that seasons, absences and coats are already
//! in it. A [`GammaProcess`] grows by Ga(shape per unit x time, u) with u ~ Ga(a, b) (van Noortwijk 2009, Reliability
//! Engineering & System Safety 94:2-21); the next amount over b is then a beta prime and everything below is closed.

use super::answer::{GammaBelief, Interval};
use statrs::distribution::{ContinuousCDF, Normal};
use statrs::function::beta::{checked_beta_reg, ln_beta};
use statrs::function::gamma::{checked_gamma_lr, ln_gamma};

/// The bounds of an 80 % interval.
pub const LOW: f64 = 0.1;
pub const HIGH: f64 = 0.9;

/// An amount that only grows. `belief` is of u, the inverse of the rate: readings of `amount` in `time` make it
/// Ga(a + shape x time, b + amount).
///
/// ```
/// use domain::upkeep::learning::GammaProcess;
/// let handbook = GammaProcess::trusting(10.0, 100.0);
/// // The handbook's time to the limit is the mean and the median of what is believed.
/// assert!((handbook.time_to(100.0, 0.5) - 100.0).abs() < 1e-6);
/// let vehicle = handbook.after(60.0, 90.0);
/// assert!(vehicle.time_to(100.0, 0.5) < 100.0);
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GammaProcess {
    /// Shape of the growth in a unit of time.
    pub shape_per_time: f64,
    pub belief: GammaBelief,
}

impl GammaProcess {
    /// The handbook's rate of one unit in a unit of time, trusted as much as one growth to `limit` that was read; both
    /// have this shape. The expected time to the limit is then the handbook's, and as likely too long as too short.
    pub fn trusting(shape: f64, limit: f64) -> GammaProcess {
        GammaProcess { shape_per_time: shape / limit, belief: GammaBelief { shape, scale: limit } }
    }

    /// The same rate trusted differently: `prior_shape` readings' worth of it.
    pub fn with_prior_shape(self, prior_shape: f64) -> GammaProcess {
        let scale = prior_shape / self.shape_per_time;
        GammaProcess { belief: GammaBelief { shape: prior_shape, scale }, ..self }
    }

    /// After an amount grew in this time (conjugate update).
    pub fn after(self, time: f64, amount: f64) -> GammaProcess {
        let GammaBelief { shape, scale } = self.belief;
        let belief = GammaBelief { shape: shape + self.shape_per_time * time, scale: scale + amount };
        GammaProcess { belief, ..self }
    }

    /// After a reading that only says that no more than `bound` grew (left-censored): the exact posterior's mean and
    /// variance, as a gamma distribution again.
    pub fn after_at_most(self, time: f64, bound: f64) -> GammaProcess {
        let GammaBelief { shape: a, scale: b } = self.belief;
        let s = self.shape_per_time * time;
        if !(s > 0.0 && bound > 0.0) {
            return self;
        }
        let x = bound / (bound + b);
        let within = beta_within(s, a, x);
        // From I_x(s, a) to I_x(s, a + 1) and I_x(s, a + 2) by the recurrence in a.
        let step = (s * x.ln() + a * (-x).ln_1p() - ln_beta(s, a)).exp() / a;
        if !(within > 1e-12 && step.is_finite()) {
            // Beyond belief: taken as if the bound itself had been read.
            return self.after(time, bound);
        }
        let once = within + step;
        let twice = once + step * (1.0 - x) * (s + a) / (a + 1.0);
        let mean = a / b * once / within;
        let square = a * (a + 1.0) / (b * b) * twice / within;
        let variance = square - mean * mean;
        if variance.is_nan() || variance <= 0.0 {
            return self;
        }
        // Rounding must not make a reading loosen the belief.
        let shape = (mean * mean / variance).max(a);
        GammaProcess { belief: GammaBelief { shape, scale: shape / mean }, ..self }
    }

    /// Probability that no more than `level` grows in this time: I_x(shape x time, a) at x = level / (level + b).
    pub fn within(&self, time: f64, level: f64) -> f64 {
        if level <= 0.0 {
            return if time > 0.0 || level < 0.0 { 0.0 } else { 1.0 };
        }
        beta_within(self.shape_per_time * time, self.belief.shape, level / (level + self.belief.scale))
    }

    /// The time after which more than `level` has grown with probability `risk` (0 to 1, both excluded).
    pub fn time_to(&self, level: f64, risk: f64) -> f64 {
        if level <= 0.0 {
            return 0.0;
        }
        let GammaBelief { shape: a, scale: b } = self.belief;
        let (x, z) = (level / (level + b), normal_quantile(1.0 - risk));
        let first = paulson_shape(a, level / b, z);
        let shape = solve(first, |s| 1.0 - risk - beta_within(s, a, x), |s| paulson_slope(a, level / b, s));
        shape / self.shape_per_time
    }

    /// Amount in a unit of time. The expected one reaches a limit in the expected time.
    pub fn rate(&self) -> Interval {
        let GammaBelief { shape, scale } = self.belief;
        let of_quantile = |p| self.shape_per_time * scale / gamma_quantile(shape, p);
        Interval {
            low: of_quantile(HIGH),
            expected: self.shape_per_time * scale / shape,
            high: of_quantile(LOW),
        }
    }
}

/// Spots that fall at random. `belief` is of the factor on the handbook's rate; counts of `spots` where the handbook
/// expected `expected` make it Ga(a + spots, b + expected).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GammaPoisson {
    pub belief: GammaBelief,
}

impl GammaPoisson {
    /// The handbook's rate, trusted as much as `shape` spots counted at it.
    pub fn trusting(shape: f64) -> GammaPoisson {
        GammaPoisson { belief: GammaBelief { shape, scale: shape } }
    }

    /// After a count, which may be zero (conjugate update).
    pub fn after(self, expected: f64, spots: f64) -> GammaPoisson {
        let GammaBelief { shape, scale } = self.belief;
        GammaPoisson { belief: GammaBelief { shape: shape + spots, scale: scale + expected } }
    }

    /// Probability of exactly so many spots where the handbook expects `expected`: negative binomial.
    pub fn probability_of(&self, expected: f64, spots: u32) -> f64 {
        let GammaBelief { shape, scale } = self.belief;
        let n = f64::from(spots);
        let p = scale / (scale + expected);
        (ln_gamma(shape + n) - ln_gamma(shape) - ln_gamma(n + 1.0)
            + shape * p.ln()
            + n * (expected / (scale + expected)).ln())
        .exp()
    }

    /// Probability of fewer than `level` spots where the handbook expects `expected`.
    pub fn below(&self, expected: f64, level: f64) -> f64 {
        if level <= 0.0 {
            return 0.0;
        }
        let GammaBelief { shape, scale } = self.belief;
        1.0 - beta_within(level, shape, expected / (expected + scale))
    }

    /// What the handbook has to expect for `level` spots to be there with probability `risk`.
    pub fn expected_at(&self, level: f64, risk: f64) -> f64 {
        if level <= 0.0 {
            return 0.0;
        }
        let GammaBelief { shape, scale } = self.belief;
        let x = beta_quantile(level, shape, risk);
        scale * x / (1.0 - x).max(1e-300)
    }

    /// Factor on the handbook's rate.
    pub fn rate(&self) -> Interval {
        let GammaBelief { shape, scale } = self.belief;
        let quantile = |p| gamma_quantile(shape, p) / scale;
        Interval { low: quantile(LOW), expected: shape / scale, high: quantile(HIGH) }
    }
}

/// Probability that no more than `level` grows when shape and rate (inverse scale) of the growth are known.
pub fn growth_within(shape: f64, rate: f64, level: f64) -> f64 {
    if level <= 0.0 {
        return 0.0;
    }
    checked_gamma_lr(shape.max(f64::MIN_POSITIVE), rate * level).unwrap_or(f64::NAN)
}

/// The shape at which more than `level` has grown with probability `risk`, when the rate is known.
pub fn growth_shape_to(rate: f64, level: f64, risk: f64) -> f64 {
    // A belief this firm is knowledge: b / a = 1 / rate.
    let a = 1e7;
    let first = paulson_shape(a, level * rate / a, normal_quantile(1.0 - risk));
    solve(first, |s| 1.0 - risk - growth_within(s, rate, level), |s| paulson_slope(a, level * rate / a, s))
}

/// The value below which a gamma distribution of scale 1 lies with probability `p` (0 to 1, both excluded).
pub fn gamma_quantile(shape: f64, p: f64) -> f64 {
    // Wilson & Hilferty 1931, then Newton steps on the logarithm.
    let c = 1.0 / (9.0 * shape);
    let cube = 1.0 - c + normal_quantile(p) * c.sqrt();
    let small = (ln_gamma(shape + 1.0) + p.ln()) / shape;
    let mut ln_x = if cube > 0.1 { shape.ln() + 3.0 * cube.ln() } else { small };
    for _ in 0..40 {
        let x = ln_x.exp();
        let off = growth_within(shape, 1.0, x) - p;
        let slope = (shape * ln_x - x - ln_gamma(shape)).exp();
        let step = (off / slope.max(1e-300)).clamp(-1.0, 1.0);
        ln_x -= step;
        if step.abs() < 1e-12 {
            break;
        }
    }
    ln_x.exp()
}

/// The value below which a beta distribution lies with probability `p` (0 to 1, both excluded).
fn beta_quantile(a: f64, b: f64, p: f64) -> f64 {
    let odds = |ln_odds: f64| 1.0 / (1.0 + (-ln_odds).exp());
    let ln_beta = ln_beta(a, b);
    let mut ln_odds = paulson_ln_odds(a, b, normal_quantile(p));
    for _ in 0..40 {
        let x = odds(ln_odds);
        let off = beta_within(a, b, x) - p;
        let slope = (a * x.ln() + b * (1.0 - x).ln() - ln_beta).exp();
        let step = (off / slope.max(1e-300)).clamp(-1.0, 1.0);
        ln_odds -= step;
        if step.abs() < 1e-12 {
            break;
        }
    }
    odds(ln_odds)
}

/// I_x(a, b), and what it tends to where `a` vanishes.
fn beta_within(a: f64, b: f64, x: f64) -> f64 {
    if a <= 0.0 {
        return 1.0;
    }
    checked_beta_reg(a, b, x.clamp(0.0, 1.0)).unwrap_or(f64::NAN)
}

fn normal_quantile(p: f64) -> f64 {
    Normal::standard().inverse_cdf(p)
}

/// Where `off` (rising in s) is zero: the first step along an approximate slope in ln s, the next ones along the secant.
fn solve(first: f64, off: impl Fn(f64) -> f64, slope: impl Fn(f64) -> f64) -> f64 {
    let (mut low, mut high) = (0.0_f64, f64::INFINITY);
    let mut s = first.clamp(1e-9, 1e12);
    let mut before: Option<(f64, f64)> = None;
    for _ in 0..100 {
        let error = off(s);
        // Before the bracket closes on s: a step of nothing would leave it and start from its middle.
        if error.is_nan() || error.abs() < 1e-13 {
            break;
        }
        if error > 0.0 {
            high = s
        } else {
            low = s
        }
        let secant = before.map(|(s_before, error_before)| (error - error_before) / (s / s_before).ln());
        let rise =
            secant.filter(|rise| *rise > 1e-12 && rise.is_finite()).unwrap_or_else(|| slope(s).max(1e-12));
        before = Some((s, error));
        let step = (error / rise).clamp(-1.5, 1.5);
        if step.abs() <= 1e-13 {
            break;
        }
        let mut next = s * (-step).exp();
        if !(next > low && next < high) {
            next = if high.is_finite() { (low * high).sqrt().max(0.5 * low).max(1e-12) } else { 2.0 * s };
        }
        if (next - s).abs() <= 1e-11 * s {
            return next;
        }
        s = next;
    }
    s
}

/// Paulson's normal score that Ga(s) / Ga(a) stays below `ratio` (Paulson 1942, Annals of Mathematical Statistics
/// 13:233; exact enough to start from).
fn paulson(s: f64, a: f64, ratio: f64) -> f64 {
    let root = (ratio * a / s).cbrt();
    let (c, d) = (1.0 / (9.0 * a), 1.0 / (9.0 * s));
    ((1.0 - c) * root - (1.0 - d)) / (c * root * root + d).sqrt()
}

/// The s at which Paulson's score is `z`, which falls with s: Newton steps in ln s.
fn paulson_shape(a: f64, ratio: f64, z: f64) -> f64 {
    let mut ln_s = (ratio * a).max(1e-6).ln();
    for _ in 0..12 {
        let s = ln_s.exp();
        let off = paulson(s, a, ratio) - z;
        let slope = (paulson(s * 1.001, a, ratio) - paulson(s, a, ratio)) / 0.001_f64.ln_1p();
        let step = (off / slope.min(-1e-6)).clamp(-1.0, 1.0);
        ln_s -= step;
        if step.abs() < 1e-5 {
            break;
        }
    }
    ln_s.exp()
}

/// How fast 1 - I_x(s, a) rises with ln s, by Paulson's score.
fn paulson_slope(a: f64, ratio: f64, s: f64) -> f64 {
    let z = paulson(s, a, ratio);
    let rise = (z - paulson(s * 1.001, a, ratio)) / 0.001_f64.ln_1p();
    (-0.5 * z * z).exp() / std::f64::consts::TAU.sqrt() * rise
}

/// ln(x / (1 - x)) at which Paulson's score of a beta distribution is `z`.
fn paulson_ln_odds(a: f64, b: f64, z: f64) -> f64 {
    let mut ln_odds = (a / b).ln();
    for _ in 0..12 {
        let off = paulson(a, b, ln_odds.exp()) - z;
        let slope = (paulson(a, b, (ln_odds + 0.001).exp()) - paulson(a, b, ln_odds.exp())) / 0.001;
        let step = (off / slope.max(1e-6)).clamp(-1.0, 1.0);
        ln_odds -= step;
        if step.abs() < 1e-5 {
            break;
        }
    }
    ln_odds
}
