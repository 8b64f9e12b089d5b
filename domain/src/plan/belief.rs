//! What is believed of a ratio of minutes whose logarithm is normal, and how more logarithms change it.

use super::norms::Factors;
use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF, StudentsT};
use statrs::function::gamma::ln_gamma;

/// Finished steps that the stage above counts for (assumption: a handful of own steps outweighs a table).
pub const PRIOR_STEPS: f64 = 4.0;
/// Shape and scale of the handbook's spread: one step in ten takes more than about one and a half times its
/// norm (assumption, until the shop's own steps say otherwise).
const PRIOR_SHAPE: f64 = 3.0;
const PRIOR_SCALE: f64 = 0.3;
/// What is believed of the logarithm of actual to norm minutes: a normal-inverse-gamma distribution.
///
/// ```
/// use domain::plan::Belief;
/// let shop = Belief::HANDBOOK.after(&[0.2, 0.4, 0.3]);
/// assert!(shop.expected() > Belief::HANDBOOK.expected());
/// assert!(shop.quantile(0.5) < shop.quantile(0.9));
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Belief {
    pub mean_ln: f64,
    /// Steps the mean counts for.
    pub strength: f64,
    pub shape: f64,
    pub scale: f64,
}

/// Logarithms summed up. Sums of different steps add up to the sum of all.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct LnSum {
    pub count: i64,
    pub sum: f64,
    /// Sum of squares.
    pub squares: f64,
}

impl LnSum {
    pub fn of(lns: impl IntoIterator<Item = f64>) -> LnSum {
        let mut sum = LnSum::default();
        lns.into_iter().for_each(|ln| sum.put(ln));
        sum
    }

    pub fn put(&mut self, ln: f64) {
        self.add(&LnSum { count: 1, sum: ln, squares: ln * ln });
    }

    pub fn add(&mut self, other: &LnSum) {
        self.count += other.count;
        self.sum += other.sum;
        self.squares += other.squares;
    }

    /// 0 of none.
    pub fn mean(&self) -> f64 {
        self.sum / self.count.max(1) as f64
    }

    /// Sum of squared deviations from the mean.
    pub fn deviations(&self) -> f64 {
        (self.squares - self.sum * self.mean()).max(0.0)
    }
}

impl Belief {
    /// The handbook's norm is the expected time, so its median lies a little below.
    pub const HANDBOOK: Belief = Belief {
        // Minus half the variance of the next logarithm: 0.3 x 5 / (4 x 2) / 2.
        mean_ln: -0.09375,
        strength: PRIOR_STEPS,
        shape: PRIOR_SHAPE,
        scale: PRIOR_SCALE,
    };

    /// The belief after more logarithms were seen (conjugate update).
    pub fn after(&self, seen: &[f64]) -> Belief {
        self.after_sum(&LnSum::of(seen.iter().copied()))
    }

    /// The same of logarithms summed up.
    pub fn after_sum(&self, seen: &LnSum) -> Belief {
        if seen.count <= 0 {
            return *self;
        }
        let (count, mean) = (seen.count as f64, seen.mean());
        let strength = self.strength + count;
        let off = mean - self.mean_ln;
        Belief {
            mean_ln: (self.strength * self.mean_ln + count * mean) / strength,
            strength,
            shape: self.shape + count / 2.0,
            scale: self.scale
                + seen.deviations() / 2.0
                + self.strength * count * off * off / (2.0 * strength),
        }
    }

    /// Of a ratio that is 1 for want of better knowledge, its logarithm having about this standard deviation.
    pub fn around_one(sigma_ln: f64) -> Belief {
        let scale = (sigma_ln * sigma_ln * (PRIOR_SHAPE - 1.0)).max(f64::MIN_POSITIVE);
        Belief { mean_ln: 0.0, strength: PRIOR_STEPS, shape: PRIOR_SHAPE, scale }
    }

    /// Logarithm of the probability density of these logarithms under the belief.
    pub fn ln_evidence(&self, seen: &[f64]) -> f64 {
        let then = self.after(seen);
        ln_gamma(then.shape) - ln_gamma(self.shape) + self.shape * self.scale.ln()
            - then.shape * then.scale.ln()
            + 0.5 * (self.strength / then.strength).ln()
            - 0.5 * seen.len() as f64 * std::f64::consts::TAU.ln()
    }

    /// The factor that the next step stays under with probability `p` (0 to 1, both excluded): Student t.
    pub fn quantile(&self, p: f64) -> f64 {
        self.student(p, self.scale * (self.strength + 1.0) / (self.shape * self.strength))
    }

    /// The factor that the mean logarithm's own stays under with probability `p`: what is known of the level, without
    /// the spread of single steps.
    pub fn mean_quantile(&self, p: f64) -> f64 {
        self.student(p, self.scale / (self.shape * self.strength))
    }

    fn student(&self, p: f64, variance: f64) -> f64 {
        let width = variance.sqrt();
        match StudentsT::new(0.0, 1.0, 2.0 * self.shape) {
            Ok(student) if p > 0.0 && p < 1.0 => (self.mean_ln + width * student.inverse_cdf(p)).exp(),
            _ => self.mean_ln.exp(),
        }
    }

    /// The expected factor, of the lognormal with the same variance: a Student t's own has no mean.
    pub fn expected(&self) -> f64 {
        (self.mean_ln + self.ln_variance() / 2.0).exp()
    }

    /// Variance of the next logarithm.
    fn ln_variance(&self) -> f64 {
        self.scale * (self.strength + 1.0) / (self.strength * (self.shape - 1.0))
    }

    /// What others' steps make of this belief, at the strength of a stage above; without any it stays as it is.
    pub(super) fn stage(&self, others: &LnSum) -> Belief {
        if others.count <= 0 {
            return *self;
        }
        let seen = self.after_sum(others);
        let variance = seen.scale / (seen.shape - 1.0);
        Belief {
            mean_ln: seen.mean_ln,
            strength: PRIOR_STEPS,
            shape: PRIOR_SHAPE,
            scale: variance * (PRIOR_SHAPE - 1.0),
        }
    }

    pub(super) fn factors(&self) -> Factors {
        Factors { expected: self.expected(), p50: self.quantile(0.5), p90: self.quantile(0.9) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PRIOR: Belief = Belief { mean_ln: 2.995732273553991, strength: 4.0, shape: 3.0, scale: 0.3 };

    fn minutes() -> Vec<f64> {
        [18.0_f64, 22.0, 25.0, 19.0, 30.0].map(f64::ln).to_vec()
    }

    fn close(is: f64, wanted: f64, within: f64) {
        assert!((is - wanted).abs() <= within, "{is} against {wanted}");
    }

    /// QUA-16: closed form and scipy's Student t, m0 = ln 20, k0 = 4, a0 = 3, b0 = 0.3, y = ln(18, 22, 25, 19, 30).
    #[test]
    fn qua_16_the_update_and_the_predictive_quantiles() {
        let belief = PRIOR.after(&minutes());
        close(belief.mean_ln, 3.0587617, 1e-5);
        assert_eq!((belief.strength, belief.shape), (9.0, 5.5));
        close(belief.scale, 0.40062823, 1e-5);
        close(belief.quantile(0.5), 21.30116, 1e-5);
        close(belief.quantile(0.9), 31.39489, 1e-5);
        close(belief.quantile(0.95), 35.50503, 1e-5);
    }

    /// QUA-17: log marginal likelihood of the same, closed form with scipy's gammaln.
    #[test]
    fn qua_17_the_log_marginal_likelihood() {
        close(PRIOR.ln_evidence(&minutes()), -0.3164418, 1e-6);
    }
}
