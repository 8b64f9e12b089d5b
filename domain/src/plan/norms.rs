//! Minutes that learn: the handbook's norm, and what the shop's own finished steps say about it.
//!
//! The logarithm of actual to norm minutes is taken as normal with unknown mean and variance (normal-inverse-gamma,
//! so the next step follows a Student t). What was seen is shrunk in three stages: a step towards the handbook, the
//! step at one grade towards the step, one technician at it towards the crew. Few finished steps move little.

use crate::inspection::Grade;
use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF, StudentsT};
use statrs::function::gamma::ln_gamma;
use std::collections::BTreeMap;
use utoipa::ToSchema;

/// Finished steps that the stage above counts for (assumption: a handful of own steps outweighs a table).
pub const PRIOR_STEPS: f64 = 4.0;
/// Shape and scale of the handbook's spread: one step in ten takes more than about one and a half times its
/// norm (assumption, until the shop's own steps say otherwise).
const PRIOR_SHAPE: f64 = 3.0;
const PRIOR_SCALE: f64 = 0.3;
/// A timer that ran over night or was never started says nothing: ratios are held within this and its inverse
/// (assumption).
const MOST_OFF: f64 = 10.0;
/// Steps of one job go fast or slow together, being one vehicle on one day: correlation between any two of them
/// (assumption).
const TOGETHER: f64 = 0.25;
/// The normal distribution's 90th percentile.
const Z90: f64 = 1.2815515655446004;

/// A finished step to learn from.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct FinishedStep {
    /// Id in the handbook's `steps` table.
    pub step: String,
    /// The grade it was counted by.
    pub grade: Grade,
    pub technician: String,
    /// `norm_minutes` of the plan's line: the handbook's, never the learned ones.
    #[schema(minimum = 0.0)]
    pub norm_minutes: f64,
    /// Person-minutes it took.
    #[schema(minimum = 0.0)]
    pub minutes: f64,
}

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

/// Factors on the norm.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Factors {
    pub expected: f64,
    pub p50: f64,
    pub p90: f64,
}

/// What a shop has learned; the default is the handbook alone.
#[derive(Debug, Clone, PartialEq)]
pub struct Norms {
    handbook: Factors,
    /// By step, then grade and technician; nobody in particular is the empty name.
    learned: BTreeMap<String, BTreeMap<(Option<Grade>, String), Factors>>,
}

/// The factors of one step, at a grade or at any, of one technician or of anybody (the empty name).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LearnedNorm {
    pub step: String,
    pub grade: Option<Grade>,
    pub technician: String,
    pub factors: Factors,
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
        if seen.is_empty() {
            return *self;
        }
        let count = seen.len() as f64;
        let mean = seen.iter().sum::<f64>() / count;
        let squares: f64 = seen.iter().map(|ln| (ln - mean) * (ln - mean)).sum();
        let strength = self.strength + count;
        let off = mean - self.mean_ln;
        Belief {
            mean_ln: (self.strength * self.mean_ln + count * mean) / strength,
            strength,
            shape: self.shape + count / 2.0,
            scale: self.scale + squares / 2.0 + self.strength * count * off * off / (2.0 * strength),
        }
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
        let width = (self.scale * (self.strength + 1.0) / (self.shape * self.strength)).sqrt();
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
    fn stage(&self, others: &[f64]) -> Belief {
        if others.is_empty() {
            return *self;
        }
        let seen = self.after(others);
        let variance = seen.scale / (seen.shape - 1.0);
        Belief {
            mean_ln: seen.mean_ln,
            strength: PRIOR_STEPS,
            shape: PRIOR_SHAPE,
            scale: variance * (PRIOR_SHAPE - 1.0),
        }
    }

    fn factors(&self) -> Factors {
        Factors { expected: self.expected(), p50: self.quantile(0.5), p90: self.quantile(0.9) }
    }
}

impl Default for Norms {
    fn default() -> Norms {
        Norms { handbook: Belief::HANDBOOK.factors(), learned: BTreeMap::new() }
    }
}

/// Logarithms of one step, by grade and technician.
type Seen<'a> = BTreeMap<Grade, BTreeMap<&'a str, Vec<f64>>>;

impl Norms {
    /// Learns from finished steps, in any order. A step without a norm or without minutes is passed over.
    pub fn learn(finished: &[FinishedStep]) -> Norms {
        let mut steps: BTreeMap<&str, Seen> = BTreeMap::new();
        for one in finished {
            let ratio = one.minutes / one.norm_minutes;
            if one.norm_minutes > 0.0 && one.minutes > 0.0 && ratio.is_finite() {
                let ln = ratio.clamp(1.0 / MOST_OFF, MOST_OFF).ln();
                let grades = steps.entry(&one.step).or_default();
                grades.entry(one.grade).or_default().entry(&one.technician).or_default().push(ln);
            }
        }
        let learned = steps.into_iter().map(|(step, seen)| (step.to_string(), stages(seen))).collect();
        Norms { learned, ..Norms::default() }
    }

    /// The same without what is known of single technicians.
    pub fn without_names(mut self) -> Norms {
        self.learned.values_mut().for_each(|seen| seen.retain(|(_, technician), _| technician.is_empty()));
        self
    }

    /// What was learned of a crew and of the shop as a whole, to be kept.
    pub fn list(&self, crew: &[&str]) -> Vec<LearnedNorm> {
        let wanted = |name: &str| name.is_empty() || crew.contains(&name);
        let all = self.learned.iter().flat_map(|(step, learned)| {
            learned.iter().map(move |((grade, technician), factors)| LearnedNorm {
                step: step.clone(),
                grade: *grade,
                technician: technician.clone(),
                factors: *factors,
            })
        });
        all.filter(|norm| wanted(&norm.technician)).collect()
    }

    /// The same, from what was kept.
    pub fn of_list(list: &[LearnedNorm]) -> Norms {
        let mut norms = Norms::default();
        for norm in list {
            let step = norms.learned.entry(norm.step.clone()).or_default();
            step.insert((norm.grade, norm.technician.clone()), norm.factors);
        }
        norms
    }

    /// The factors for a step at a grade, of one technician or of anybody.
    pub fn of(&self, step: &str, grade: Grade, technician: Option<&str>) -> Factors {
        let Some(step) = self.learned.get(step) else { return self.handbook };
        let own = technician.and_then(|name| step.get(&(Some(grade), name.to_string())));
        let at = || step.get(&(Some(grade), String::new()));
        own.or_else(at).or_else(|| step.get(&(None, String::new()))).copied().unwrap_or(self.handbook)
    }
}

/// Each stage is shrunk to what the others say, so that no step is counted twice.
fn stages(seen: Seen) -> BTreeMap<(Option<Grade>, String), Factors> {
    let mut factors = BTreeMap::new();
    let all: Vec<f64> = seen.values().flat_map(BTreeMap::values).flatten().copied().collect();
    factors.insert((None, String::new()), Belief::HANDBOOK.after(&all).factors());
    for (grade, technicians) in &seen {
        let others = seen.iter().filter(|(other, _)| *other != grade);
        let others: Vec<f64> = others.flat_map(|(_, by)| by.values()).flatten().copied().collect();
        let prior = Belief::HANDBOOK.stage(&others);
        let own: Vec<f64> = technicians.values().flatten().copied().collect();
        factors.insert((Some(*grade), String::new()), prior.after(&own).factors());
        for (name, own) in technicians.iter().filter(|(name, _)| !name.is_empty()) {
            let others = technicians.iter().filter(|(other, _)| *other != name);
            let others: Vec<f64> = others.flat_map(|(_, seen)| seen).copied().collect();
            factors.insert((Some(*grade), name.to_string()), prior.stage(&others).after(own).factors());
        }
    }
    factors
}

/// Minutes that may be more or fewer.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Uncertain {
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
        if mean <= 0.0 {
            return Uncertain::default();
        }
        let variance = (1.0 - TOGETHER) * variances + TOGETHER * deviations * deviations;
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

    #[test]
    fn the_handbook_alone_expects_its_own_norm() {
        let factors = Norms::default().of("C02", Grade::TYPICAL, Some("Ada"));
        close(factors.expected, 1.0, 1e-12);
        assert!(factors.p50 < 1.0 && factors.p90 > 1.4 && factors.p90 < 1.7, "{factors:?}");
    }

    fn finished(technician: &str, grade: Grade, minutes: f64) -> FinishedStep {
        FinishedStep { step: "C02".into(), grade, technician: technician.into(), norm_minutes: 10.0, minutes }
    }

    #[test]
    fn a_few_slow_steps_move_a_little_and_many_move_almost_all_the_way() {
        let after = |count: usize| {
            Norms::learn(&vec![finished("Ada", Grade::TYPICAL, 15.0); count]).of("C02", Grade::TYPICAL, None)
        };
        let (few, many) = (after(2).p50, after(400).p50);
        assert!(few > 1.0 && few < 1.35, "{few}");
        close(many, 1.5, 0.02);
        assert!(after(400).p90 < after(2).p90, "what is known well is known narrowly");
    }

    #[test]
    fn who_is_slow_is_told_from_who_is_not_and_a_stranger_gets_the_crews_norm() {
        let mut steps = vec![finished("Ada", Grade::TYPICAL, 8.0); 30];
        steps.extend(vec![finished("Ben", Grade::TYPICAL, 16.0); 30]);
        let norms = Norms::learn(&steps);
        let p50 = |who| norms.of("C02", Grade::TYPICAL, who).p50;
        assert!(p50(Some("Ada")) < p50(None) && p50(None) < p50(Some("Ben")));
        assert_eq!(p50(Some("Cleo")), p50(None));
        // Grade 3 was never seen: what is known of the step at other grades stands in, weaker.
        assert!(norms.of("C02", Grade::HEAVY, None).p50 > 1.0);
        assert_eq!(norms.of("C03", Grade::HEAVY, None), Norms::default().of("C03", Grade::HEAVY, None));
    }

    #[test]
    fn what_is_kept_of_a_crew_gives_its_factors_again() {
        let mut steps = vec![finished("Ada", Grade::TYPICAL, 8.0); 9];
        steps.extend(vec![finished("Ada", Grade::HEAVY, 8.0); 9]);
        steps.extend(vec![finished("Ben", Grade::HEAVY, 16.0); 9]);
        let norms = Norms::learn(&steps);
        let kept = Norms::of_list(&norms.list(&["Ada"]));
        for grade in [Grade::LIGHT, Grade::TYPICAL, Grade::HEAVY] {
            for who in [None, Some("Ada")] {
                assert_eq!(kept.of("C02", grade, who), norms.of("C02", grade, who));
            }
        }
        let ben = |norms: &Norms| norms.of("C02", Grade::HEAVY, Some("Ben"));
        assert_ne!(ben(&kept), ben(&norms), "who is not on the crew is not kept");
    }

    #[test]
    fn nonsense_is_passed_over_and_a_night_long_timer_is_held() {
        let wild = [0.0, -3.0, f64::NAN, f64::INFINITY].map(|m| finished("Ada", Grade::TYPICAL, m));
        assert_eq!(Norms::learn(&wild), Norms::default());
        let night = Norms::learn(&[finished("Ada", Grade::TYPICAL, 6000.0)]);
        assert!(night.of("C02", Grade::TYPICAL, None).p90 < 10.0);
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
