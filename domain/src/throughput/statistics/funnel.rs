//! How far chance alone takes a group of a given size from the whole (Spiegelhalter 2005, Statistics in Medicine
//! 24:1185).

use statrs::distribution::{ContinuousCDF, Gamma, Normal};

/// Limits of observed over expected events when `expected` are expected and the shop's own ratio 1 holds: outside
/// `(low, high)` chance leaves a share of `outside`. Continuous in `expected`, so that a curve can be drawn: the
/// Poisson tail as a gamma distribution.
pub fn poisson_limits(expected: f64, outside: f64) -> Option<(f64, f64)> {
    if !(expected > 0.0 && outside > 0.0 && outside < 1.0) {
        return None;
    }
    let side = outside / 2.0;
    let tail = |events: f64| Some(1.0 - Gamma::new(events + 1.0, 1.0).ok()?.cdf(expected));
    // P(N <= events) grows with events: bisect between none and far beyond the mean.
    let solve = |wanted: f64| {
        let (mut low, mut high) = (-1.0, expected + 12.0 * expected.sqrt() + 40.0);
        for _ in 0..80 {
            let middle = (low + high) / 2.0;
            if middle <= -1.0 + 1e-12 || tail(middle)? < wanted { low = middle } else { high = middle }
        }
        Some((low + high) / 2.0)
    };
    Some((solve(side)?.max(0.0) / expected, (solve(1.0 - side)?).max(0.0) / expected))
}

/// Limits of a ratio of geometric means over `count` values whose logarithms have standard deviation `sigma_ln`.
pub fn ratio_limits(count: f64, sigma_ln: f64, outside: f64) -> Option<(f64, f64)> {
    if !(count > 0.0 && sigma_ln >= 0.0 && outside > 0.0 && outside < 1.0) {
        return None;
    }
    let z = Normal::new(0.0, 1.0).ok()?.inverse_cdf(1.0 - outside / 2.0);
    let half = z * sigma_ln / count.sqrt();
    Some(((-half).exp(), half.exp()))
}
