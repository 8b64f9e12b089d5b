//! How long coats of one class last: a Weibull life in equivalent days, and what is not known of its scale.
//!
//! The rate `λ = scale^-shape` is known up to a gamma distribution, which lives seen update in closed form while the shape
//! stays fixed. A life that has not ended counts with the age it has reached (right censoring).

/// A Weibull life whose rate `λ = scale^-shape` is `Gamma(count, total)`.
///
/// `count` acts as a number of ended lives, `total` as the sum of `age^shape` over all of them.
///
/// ```
/// use domain::upkeep::life::Life;
/// // The trade says: from 8 months, usually 12, up to 18. Worth as much as four lives seen.
/// let prior = Life::from_spread(8.0, 12.0, 18.0, 4.0);
/// assert!((prior.age_at(0.5) - 12.0).abs() < 1e-9);
/// // Three coats of this shop lasted nine months.
/// let learned = prior.updated(3.0, 3.0 * 9f64.powf(prior.shape));
/// assert!(learned.age_at(0.5) < 12.0);
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Life {
    pub shape: f64,
    pub count: f64,
    pub total: f64,
}

/// Shapes outside are taken as the nearest of these: below, a coat would not wear; above, it would end on a day.
const SHAPES: (f64, f64) = (1.01, 20.0);
/// So many lives are as good as certainty.
const CERTAIN: f64 = 1e12;
/// Chances of a life shorter than the least and the typical one of a spread: how "from, usually, up to" of the trade is
/// read (assumption).
const SPREAD: (f64, f64) = (0.1, 0.5);

impl Life {
    /// A Weibull life of which everything is known.
    pub fn known(shape: f64, scale: f64) -> Life {
        Life { shape, count: CERTAIN, total: CERTAIN * scale.powf(shape) }
    }

    /// Half of the lives end before `median`, and eight in ten lie in an interval as wide as from `low` to `high`: its end
    /// is `high / low` times its start. This knowledge is worth `count` lives seen.
    ///
    /// With `w(R) = R^(-1/count) - 1` the age at reliability `R` is `(total w(R))^(1/shape)`. So the shape follows from
    /// `high / low` alone and the total from the median: both in closed form.
    pub fn from_spread(low: f64, median: f64, high: f64, count: f64) -> Life {
        let odds = |reliability: f64| (-reliability.ln() / count).exp_m1();
        let widest = (odds(SPREAD.0) / odds(1.0 - SPREAD.0)).ln();
        let shape = (widest / (high / low).ln().max(f64::MIN_POSITIVE)).clamp(SHAPES.0, SHAPES.1);
        Life { shape, count, total: median.powf(shape) / odds(SPREAD.1) }
    }

    /// After `ended` more lives; `aged` is the sum of `age^shape` over the ended ones and those that go on.
    pub fn updated(self, ended: f64, aged: f64) -> Life {
        Life { count: self.count + ended, total: self.total + aged, ..self }
    }

    /// The chance that a coat lives beyond `age`, the scale averaged out: `(total / (total + age^shape))^count`.
    pub fn reliability(&self, age: f64) -> f64 {
        (-self.count * (age.max(0.0).powf(self.shape) / self.total).ln_1p()).exp()
    }

    /// The age at which the reliability has fallen to this value; for a known life `scale (-ln R)^(1/shape)`.
    pub fn age_at(&self, reliability: f64) -> f64 {
        let odds = (-reliability.clamp(f64::MIN_POSITIVE, 1.0).ln() / self.count).exp_m1();
        (self.total * odds).powf(self.shape.recip())
    }

    /// The scale at the mean rate: the age that 37 % outlive.
    pub fn scale(&self) -> f64 {
        (self.total / self.count).powf(self.shape.recip())
    }

    /// Chance of an end per unit of age at this age.
    fn hazard(&self, age: f64) -> f64 {
        self.count * self.shape * age.powf(self.shape - 1.0) / (self.total + age.powf(self.shape))
    }

    /// The age at which renewing costs least in the long run, where a renewal after the end costs `ratio` times one
    /// before it (age replacement, Barlow & Proschan 1965). None: waiting for the end is as good.
    pub fn cheapest_renewal(&self, ratio: f64) -> Option<f64> {
        let worth_it = |age: f64| {
            (ratio - 1.0) * (self.hazard(age) * self.mean_until(age) - (1.0 - self.reliability(age))) - 1.0
        };
        let (mut early, mut late) = (0.0, self.age_at(1.0 - SPREAD.0));
        let last = self.age_at(0.01);
        // The cost falls up to the first age at which the condition turns; beyond it waiting only adds risk.
        while worth_it(late) < 0.0 {
            (early, late) = (late, late * 1.25);
            if late > last {
                return None;
            }
        }
        for _ in 0..48 {
            let middle = f64::midpoint(early, late);
            if worth_it(middle) < 0.0 { early = middle } else { late = middle }
        }
        Some(late)
    }

    /// The same where an end is mended at `ratio` times the cost of a renewal and the coat is no younger after it
    /// (minimal repair, Barlow & Hunter 1960): `scale (1 / (ratio (shape - 1)))^(1/shape)`.
    pub fn cheapest_renewal_when_mended(&self, ratio: f64) -> f64 {
        self.scale() * (ratio * (self.shape - 1.0)).recip().powf(self.shape.recip())
    }

    /// Mean of the life up to `age`: the integral of the reliability from 0, by Simpson's rule.
    fn mean_until(&self, age: f64) -> f64 {
        const HALVES: u32 = 64;
        let step = age / f64::from(2 * HALVES);
        let at = |i: u32| self.reliability(step * f64::from(i));
        let inner: f64 = (1..2 * HALVES).map(|i| if i % 2 == 1 { 4.0 * at(i) } else { 2.0 * at(i) }).sum();
        (1.0 + inner + at(2 * HALVES)) * step / 3.0
    }
}

/// Boltzmann's constant in eV/K, rounded as in the NIST/SEMATECH e-Handbook, 8.1.5.1.
const BOLTZMANN_EV_K: f64 = 8.617e-5;

/// How many times faster something ages at one absolute temperature than at another (Arrhenius).
pub fn arrhenius(activation_ev: f64, reference_k: f64, at_k: f64) -> f64 {
    (activation_ev / BOLTZMANN_EV_K * (reference_k.recip() - at_k.recip())).exp()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// The scale that the lives themselves say, at a given shape: nothing known before, all lives right censored or not.
    fn scale_of(shape: f64, ended: &[f64], going: &[f64]) -> f64 {
        let aged = ended.iter().chain(going).map(|age| age.powf(shape)).sum();
        Life { shape, count: 0.0, total: 0.0 }.updated(ended.len() as f64, aged).scale()
    }

    fn near(value: f64, expected: f64, within: f64) {
        assert!((value - expected).abs() <= within, "{value} instead of {expected}");
    }

    const NIST: [f64; 10] = [54.0, 187.0, 216.0, 240.0, 244.0, 335.0, 361.0, 373.0, 375.0, 386.0];

    /// LIF-01 NIST/SEMATECH e-Handbook 8.4.1.3; LIF-02 J. Quality Technology 29 (1997), doi
    /// 10.1080/00224065.1997.11979730; LIF-03 Abernethy, New Weibull Handbook, C.5: the scale at the published shape.
    #[test]
    fn censored_lives_give_the_published_scale() {
        near(scale_of(1.7207, &NIST, &[500.0; 10]), 606.528, 0.02);
        let (ended, going) = (
            [45.0, 46.0, 34.0, 45.0, 32.0, 24.0, 58.0, 79.0, 56.0, 63.0, 34.0, 50.0],
            [23.0, 24.0, 57.0, 78.0, 76.0, 85.0, 51.0, 59.0],
        );
        near(scale_of(2.7540, &ended, &going), 67.9188, 0.002);
        near(scale_of(2.257, &[1500.0, 2250.0, 4000.0, 4300.0, 7000.0], &[1750.0, 5000.0]), 4900.1, 4.9);
    }

    /// LIF-04 closed form; LIF-05 closed form.
    #[test]
    fn renewal_at_a_reliability() {
        near(Life::known(1.7207, 606.528).age_at(0.9), 164.0104, 0.01);
        near(Life::known(2.0, 12.0).age_at(0.9), 3.895114, 1e-6);
    }

    /// LIF-06 NIST/SEMATECH e-Handbook 8.1.5.1, which counts 273.16 K at 0 °C.
    #[test]
    fn warmth_speeds_ageing() {
        near(arrhenius(0.5, 298.16, 398.16), 133.0, 1.0);
        near(arrhenius(1.0, 298.16, 398.16), 17597.0, 1.0);
        near(arrhenius(0.4, 283.15, 283.15), 1.0, 1e-15);
    }

    /// LIF-07 age replacement, Barlow & Proschan 1965, by direct minimisation; LIF-08 minimal repair, Barlow & Hunter 1960.
    #[test]
    fn the_cheapest_age_to_renew() {
        let life = Life::known(2.5, 1000.0);
        let age = life.cheapest_renewal(5.0).expect("an age");
        near(age, 493.047, 0.01);
        let alive = life.reliability(age);
        near((alive + 5.0 * (1.0 - alive)) / life.mean_until(age), 0.003462042738, 1e-10);
        near(life.cheapest_renewal_when_mended(5.0), 446.658388, 1e-5);
        assert_eq!(life.cheapest_renewal(1.0), None, "a late renewal that costs no more can wait");
    }

    /// LIF-12 conjugate update, checked by quadrature.
    #[test]
    fn lives_seen_update_the_rate() {
        let prior = Life { shape: 1.7207, count: 2.0, total: 1e5 };
        let aged = NIST.iter().chain(&[500.0; 10]).map(|age| age.powf(1.7207)).sum();
        let posterior = prior.updated(10.0, aged);
        near(posterior.count, 12.0, 0.0);
        near(posterior.total, 714418.6326, 1e-3);
        near(posterior.reliability(200.0), 0.858984169, 1e-9);
        near(posterior.age_at(0.9), 161.447040, 1e-6);
    }

    proptest! {
        /// The spread comes back as it was said, whatever it is worth.
        #[test]
        fn a_spread_is_kept(low in 0.1..50.0f64, more in 1.25..3.0f64, wide in 1.25..3.0f64, count in 0.5..50.0f64) {
            let life = Life::from_spread(low, low * more, low * more * wide, count);
            prop_assert!((life.age_at(0.5) / (low * more) - 1.0).abs() < 1e-9);
            if SHAPES.0 < life.shape && life.shape < SHAPES.1 {
                let ratio = life.age_at(0.1) / life.age_at(0.9);
                prop_assert!((ratio / (more * wide) - 1.0).abs() < 1e-9, "{ratio}");
            }
        }

        /// Age and reliability are inverse; a longer life seen never shortens the forecast.
        #[test]
        fn reliability_falls_with_age(shape in 1.1..8.0f64, count in 0.5..100.0f64, r in 0.001..0.999f64, age in 1.0..2000.0f64) {
            let life = Life { shape, count, total: count * 365f64.powf(shape) };
            prop_assert!((life.reliability(life.age_at(r)) - r).abs() < 1e-9);
            prop_assert!(life.reliability(age) >= life.reliability(age * 1.01));
            let longer = life.updated(1.0, (age * 1.5).powf(shape));
            prop_assert!(longer.age_at(r) >= life.updated(1.0, age.powf(shape)).age_at(r));
        }
    }
}
