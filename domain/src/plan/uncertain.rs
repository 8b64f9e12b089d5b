//! Minutes that may be more or fewer, and sums of them.

/// The normal distribution's 90th percentile.
pub(crate) const Z90: f64 = 1.2815515655446004;
/// Steps of one job go fast or slow together, being one vehicle on one day: correlation between any two of them
/// (assumption).
const TOGETHER: f64 = 0.25;

/// Minutes that may be more or fewer.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(crate) struct Uncertain {
    pub expected: f64,
    pub p50: f64,
    pub p90: f64,
}

impl Uncertain {
    /// The sum of the steps of one job: a lognormal with the mean and the variance of the sum (moment matching),
    /// each step taken as the lognormal through its p50 and p90.
    pub fn sum(steps: impl Iterator<Item = Uncertain>) -> Uncertain {
        let (mut mean, mut variances, mut deviations) = (0.0, 0.0, 0.0);
        for step in steps.filter(|step| step.p50 > 0.0) {
            let width = (step.p90 / step.p50).ln() / Z90;
            let variance = step.expected * step.expected * (width * width).exp_m1();
            mean += step.expected;
            variances += variance;
            deviations += variance.sqrt();
        }
        Uncertain::of_moments(mean, (1.0 - TOGETHER) * variances + TOGETHER * deviations * deviations)
    }

    /// The lognormal with this mean and variance; nothing when there is no mean.
    pub fn of_moments(mean: f64, variance: f64) -> Uncertain {
        if mean <= 0.0 {
            return Uncertain::default();
        }
        let width2 = (variance / (mean * mean)).ln_1p();
        let p50 = mean * (-width2 / 2.0).exp();
        Uncertain { expected: mean, p50, p90: p50 * (Z90 * width2.sqrt()).exp() }
    }

    pub fn times(self, factor: f64) -> Uncertain {
        Uncertain { expected: self.expected * factor, p50: self.p50 * factor, p90: self.p90 * factor }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(is: f64, wanted: f64, within: f64) {
        assert!((is - wanted).abs() <= within, "{is} against {wanted}");
    }

    /// Fenton 1960: one lognormal for a sum of them, by mean and variance; a single one must come back unchanged,
    /// and without common cause the sum of many is relatively narrower than its parts.
    #[test]
    fn the_sum_has_the_mean_of_its_parts_and_a_smaller_relative_spread() {
        let one = Uncertain { expected: 10.0, p50: 10.0 * (-0.08_f64).exp(), p90: 0.0 };
        let one = Uncertain { p90: one.p50 * (Z90 * 0.4).exp(), ..one };
        let alone = Uncertain::sum([one].into_iter());
        close(alone.p50, one.p50, 1e-9);
        close(alone.p90, one.p90, 1e-9);
        let many = Uncertain::sum([one; 30].into_iter());
        close(many.expected, 300.0, 1e-9);
        assert!(many.p90 / many.p50 < one.p90 / one.p50);
        // Wholly common cause would give 1.67 times, none 1.10 times; a quarter in common lies between.
        assert!(many.p90 / many.expected > 1.15 && many.p90 / many.expected < 1.40, "{many:?}");
        assert_eq!(Uncertain::sum(std::iter::empty()), Uncertain::default());
    }
}
