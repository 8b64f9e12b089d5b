//! Minutes that learn: the handbook's norm, and what the shop's own finished steps say about it.
//!
//! The logarithm of actual to norm minutes is taken as normal with unknown mean and variance (normal-inverse-gamma,
//! so the next step follows a Student t). What was seen is shrunk in three stages: a step towards the handbook, the
//! step at one grade towards the step, one technician at it towards the crew. Few finished steps move little.

use super::belief::{Belief, LnSum};
use crate::inspection::Grade;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use utoipa::ToSchema;

/// A timer that ran over night or was never started says nothing: ratios are held within this and its inverse
/// (assumption).
const MOST_OFF: f64 = 10.0;
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

/// The owner's veto: what was measured here does not move the norm. The stage above holds instead.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NormVeto {
    /// Id in the handbook's `steps` table.
    pub step: String,
    /// Absent: at every grade.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub grade: Option<Grade>,
    /// Absent: of everybody.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub technician: Option<String>,
}

impl NormVeto {
    /// Whether it forbids what was learned at a grade (none: at all grades) of a technician (none: of anybody).
    pub fn covers(&self, step: &str, grade: Option<Grade>, technician: Option<&str>) -> bool {
        self.step == step
            && (self.grade.is_none() || self.grade == grade)
            && (self.technician.is_none() || self.technician.as_deref() == technician)
    }
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

/// Sums of logarithms of one step, by grade and technician.
type Seen<'a> = BTreeMap<Grade, BTreeMap<&'a str, LnSum>>;

/// Sums of one step, grade and technician; nobody in particular is the empty name.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct StepSum<'a> {
    pub step: &'a str,
    pub grade: Grade,
    pub technician: &'a str,
    /// Logarithms of actual to norm minutes.
    pub seen: LnSum,
}

impl Default for Norms {
    fn default() -> Norms {
        Norms { handbook: Belief::HANDBOOK.factors(), learned: BTreeMap::new() }
    }
}

impl Norms {
    /// Learns from finished steps, in any order. A step without a norm or without minutes is passed over.
    pub fn learn(finished: &[FinishedStep]) -> Norms {
        let sums = finished.iter().filter_map(|one| {
            let ratio = one.minutes / one.norm_minutes;
            let usable = one.norm_minutes > 0.0 && one.minutes > 0.0 && ratio.is_finite();
            let seen = usable.then(|| LnSum::of([ratio.clamp(1.0 / MOST_OFF, MOST_OFF).ln()]))?;
            Some(StepSum { step: &one.step, grade: one.grade, technician: &one.technician, seen })
        });
        Norms::of_sums(sums)
    }

    /// Learns from sums of finished steps.
    pub(crate) fn of_sums<'a>(sums: impl Iterator<Item = StepSum<'a>>) -> Norms {
        let factors = |stages: BTreeMap<_, Lesson>| {
            stages.into_iter().map(|(key, lesson)| (key, lesson.after.factors())).collect()
        };
        Norms {
            learned: lessons(sums).into_iter().map(|(step, stages)| (step, factors(stages))).collect(),
            ..Norms::default()
        }
    }

    /// The same without what the owner vetoed.
    pub fn without(mut self, vetoes: &[NormVeto]) -> Norms {
        for (step, stages) in &mut self.learned {
            stages.retain(|(grade, name), _| {
                let technician = (!name.is_empty()).then_some(name.as_str());
                !vetoes.iter().any(|veto| veto.covers(step, *grade, technician))
            });
        }
        self
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

/// What sums teach, by step, then grade and technician; nobody in particular is the empty name.
pub(crate) fn lessons<'a>(
    sums: impl Iterator<Item = StepSum<'a>>,
) -> BTreeMap<String, BTreeMap<(Option<Grade>, String), Lesson>> {
    let mut steps: BTreeMap<&str, Seen> = BTreeMap::new();
    for sum in sums {
        let grades = steps.entry(sum.step).or_default();
        grades.entry(sum.grade).or_default().entry(sum.technician).or_default().add(&sum.seen);
    }
    steps.into_iter().map(|(step, seen)| (step.to_string(), stages(&seen))).collect()
}

/// What finished steps taught of a step: before them, themselves, after them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lesson {
    pub before: Belief,
    pub seen: LnSum,
    pub after: Belief,
}

impl Lesson {
    fn new(before: Belief, seen: LnSum) -> Lesson {
        Lesson { before, seen, after: before.after_sum(&seen) }
    }
}

/// Each stage is shrunk to what the others say, so that no step is counted twice.
fn stages(seen: &Seen) -> BTreeMap<(Option<Grade>, String), Lesson> {
    let mut lessons = BTreeMap::new();
    let all = total(seen.values().flat_map(BTreeMap::values));
    lessons.insert((None, String::new()), Lesson::new(Belief::HANDBOOK, all));
    for (grade, technicians) in seen {
        let others = seen.iter().filter(|(other, _)| *other != grade);
        let prior = Belief::HANDBOOK.stage(&total(others.flat_map(|(_, by)| by.values())));
        let own = total(technicians.values());
        lessons.insert((Some(*grade), String::new()), Lesson::new(prior, own));
        for (name, own) in technicians.iter().filter(|(name, _)| !name.is_empty()) {
            let others = technicians.iter().filter(|(other, _)| *other != name);
            let prior = prior.stage(&total(others.map(|(_, seen)| seen)));
            lessons.insert((Some(*grade), name.to_string()), Lesson::new(prior, *own));
        }
    }
    lessons
}

fn total<'a>(sums: impl Iterator<Item = &'a LnSum>) -> LnSum {
    sums.fold(LnSum::default(), |mut total, sum| {
        total.add(sum);
        total
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(is: f64, wanted: f64, within: f64) {
        assert!((is - wanted).abs() <= within, "{is} against {wanted}");
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

    #[test]
    fn a_veto_lets_the_stage_above_hold() {
        let mut steps = vec![finished("Ada", Grade::TYPICAL, 8.0); 30];
        steps.extend(vec![finished("Ben", Grade::TYPICAL, 16.0); 30]);
        let learned = Norms::learn(&steps);
        let veto = |grade, technician: Option<&str>| {
            let veto = NormVeto { step: "C02".into(), grade, technician: technician.map(str::to_owned) };
            learned.clone().without(&[veto])
        };
        let p50 = |norms: &Norms, who| norms.of("C02", Grade::TYPICAL, who).p50;
        let ben = veto(None, Some("Ben"));
        assert_eq!(p50(&ben, Some("Ben")), p50(&learned, None));
        assert_eq!(p50(&ben, Some("Ada")), p50(&learned, Some("Ada")));
        let grade = veto(Some(Grade::TYPICAL), None);
        assert_eq!(p50(&grade, Some("Ada")), learned.of("C02", Grade::WORST, None).p50);
        assert_eq!(veto(None, None).of("C02", Grade::TYPICAL, Some("Ada")), Norms::default().handbook);
        assert_eq!(learned.clone().without(&[]), learned);
    }
}
