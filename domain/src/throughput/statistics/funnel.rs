//! How far chance alone takes a group of a given size from the whole, and how unlike groups are beyond that
//! (Spiegelhalter 2005, Statistics in Medicine 24:1185; over-dispersion: Spiegelhalter 2005, Quality and Safety in
//! Health Care 14:347).

use super::intervals::quantile;
use statrs::distribution::{ContinuousCDF, Gamma, Normal};
use statrs::function::beta::checked_beta_reg;

/// Share of z-scores at either end that is drawn in before their spread is judged, so that one group far out does not
/// widen the limits it is judged by (Spiegelhalter 2005: 10 %).
pub const DRAWN_IN: f64 = 0.1;
/// Less variance between groups than this is none: no limit moves by as much as one can see.
const LEAST_BETWEEN: f64 = 1e-6;

/// Variance between groups beyond chance: the additive random effect of a funnel, by the method of moments
/// (DerSimonian and Laird 1986, Controlled Clinical Trials 7:177). Each group has its deviation from the whole and the
/// variance that chance gives it. 0 where chance explains the deviations, and of fewer than two groups.
///
/// ```
/// use domain::throughput::statistics::variance_between;
/// let alike = [(0.1, 0.04), (-0.2, 0.04), (0.1, 0.04)];
/// assert_eq!(variance_between(&alike, 0.0), 0.0);
/// let unlike = [(1.0, 0.04), (-2.0, 0.04), (1.0, 0.04)];
/// assert!((variance_between(&unlike, 0.0) - 2.96).abs() < 1e-9);
/// ```
pub fn variance_between(groups: &[(f64, f64)], drawn_in: f64) -> f64 {
    let mut scores: Vec<f64> = groups.iter().map(|(off, variance)| off / variance.sqrt()).collect();
    scores.sort_by(f64::total_cmp);
    let Some((low, high)) = quantile(&scores, drawn_in).zip(quantile(&scores, 1.0 - drawn_in)) else {
        return 0.0;
    };
    let weights = groups.iter().map(|(_, variance)| 1.0 / variance);
    let (sum, squares) = weights.fold((0.0, 0.0), |(sum, squares), w| (sum + w, squares + w * w));
    let seen: f64 = scores.iter().map(|score| score.clamp(low, high).powi(2)).sum();
    let beyond = (seen - (groups.len() as f64 - 1.0)) / (sum - squares / sum);
    if beyond.is_finite() { beyond.max(0.0) } else { 0.0 }
}

/// Limits of observed over expected events when `expected` are expected and the groups' true ratios lie around 1 with
/// variance `between`: outside `(low, high)` a share of `outside` is left. Continuous in `expected`, so that a curve
/// can be drawn: the Poisson tail as a gamma distribution, with a variance between groups the tail of the negative
/// binomial distribution as a beta distribution.
pub fn count_limits(expected: f64, between: f64, outside: f64) -> Option<(f64, f64)> {
    if !(expected > 0.0 && between >= 0.0 && outside > 0.0 && outside < 1.0) {
        return None;
    }
    let side = outside / 2.0;
    let most = expected + 12.0 * (expected + between * expected * expected).sqrt() + 40.0;
    // P(N <= events) grows with events: bisect between none and far beyond the mean.
    let solve = |wanted: f64| {
        let (mut low, mut high) = (-1.0, most);
        for _ in 0..80 {
            let middle = (low + high) / 2.0;
            let is_below = middle <= -1.0 + 1e-12 || at_most(middle, expected, between)? < wanted;
            if is_below { low = middle } else { high = middle }
        }
        Some(((low + high) / 2.0).max(0.0) / expected)
    };
    Some((solve(side)?, solve(1.0 - side)?))
}

/// P(N <= events), between whole numbers too.
fn at_most(events: f64, expected: f64, between: f64) -> Option<f64> {
    if between < LEAST_BETWEEN {
        return Some(1.0 - Gamma::new(events + 1.0, 1.0).ok()?.cdf(expected));
    }
    let shape = 1.0 / between;
    checked_beta_reg(shape, events + 1.0, shape / (shape + expected)).ok()
}

/// Limits of a ratio of geometric means over `count` values whose logarithms have standard deviation `sigma_ln`, when
/// the logarithms of the groups' true ratios have variance `between`.
pub fn ratio_limits(count: f64, sigma_ln: f64, between: f64, outside: f64) -> Option<(f64, f64)> {
    if !(count > 0.0 && sigma_ln >= 0.0 && between >= 0.0 && outside > 0.0 && outside < 1.0) {
        return None;
    }
    let z = Normal::new(0.0, 1.0).ok()?.inverse_cdf(1.0 - outside / 2.0);
    let half = z * (sigma_ln * sigma_ln / count + between).sqrt();
    Some(((-half).exp(), half.exp()))
}
