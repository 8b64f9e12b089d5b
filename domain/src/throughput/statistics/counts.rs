//! Rare events per unit of work: a rate believed as a gamma distribution, and the exact interval of a count.

use statrs::distribution::{ChiSquared, ContinuousCDF, Gamma};

/// What is believed of a rate of events: gamma with `shape` events in `rate` units of exposure (conjugate to Poisson:
/// Gelman et al., Bayesian Data Analysis, 2.6).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CountBelief {
    pub shape: f64,
    pub rate: f64,
}

impl CountBelief {
    /// After `events` more in `exposure` more.
    pub fn after(self, events: f64, exposure: f64) -> CountBelief {
        CountBelief { shape: self.shape + events, rate: self.rate + exposure }
    }

    pub fn mean(self) -> f64 {
        self.shape / self.rate
    }

    /// The rate is below this with probability `p`; none for a belief that is no distribution.
    pub fn quantile(self, p: f64) -> Option<f64> {
        if !(self.shape > 0.0 && self.rate > 0.0 && p > 0.0 && p < 1.0) {
            return None;
        }
        // Statrs refines a quantile to an absolute error: ask for the unit gamma, then scale.
        Some(Gamma::new(self.shape, 1.0).ok()?.inverse_cdf(p) / self.rate)
    }

    /// How alike the groups are, learned from themselves: ratios of observed to expected events around a mean of 1, by
    /// the method of moments (Clayton and Kaldor 1987, Biometrics 43:671, first step). Groups that differ by no more
    /// than chance make a belief as narrow as all expected events together.
    pub fn of_ratios(groups: &[(f64, f64)]) -> Option<CountBelief> {
        let (events, expected) = groups.iter().fold((0.0, 0.0), |(o, e), group| (o + group.0, e + group.1));
        if !(expected > 0.0 && events > 0.0) || groups.len() < 2 {
            return None;
        }
        let mean = events / expected;
        // Weighted variance of the ratios, less what Poisson alone gives.
        let weighted: f64 =
            groups.iter().filter(|g| g.1 > 0.0).map(|g| g.1 * (g.0 / g.1 - mean).powi(2)).sum();
        let squares: f64 = groups.iter().map(|group| group.1 * group.1).sum();
        let effective = expected - squares / expected;
        let variance = (weighted - (groups.len() as f64 - 1.0) * mean) / effective;
        let least = mean / expected;
        let rate = mean / variance.max(least);
        Some(CountBelief { shape: mean * rate, rate })
    }
}

/// Exact 95 % interval of a Poisson mean from one count (Garwood 1936, Biometrika 28:437).
pub fn poisson_interval(events: u64) -> Option<super::Interval> {
    let chi = |degrees: f64, p: f64| Some(ChiSquared::new(degrees).ok()?.inverse_cdf(p) / 2.0);
    let low = if events == 0 { 0.0 } else { chi(2.0 * events as f64, 0.025)? };
    Some(super::Interval { low, high: chi(2.0 * events as f64 + 2.0, 0.975)? })
}
