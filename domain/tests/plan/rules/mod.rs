//! Every rule R01-R70 of the handbook: a case in which it fires and one in which it just does not, and the
//! question it asks where a fact is missing. The limits are common practice unless a case says otherwise.

mod air;
mod crew;
mod dirt;
mod heat;
mod order;
mod paint;
mod place;
mod stock;
mod water;

use crate::promises::accounted_for;
use crate::scene::{Scene, quiet};
use domain::handbook::{Handbook, Severity};
use domain::plan::JobPlan;
use std::collections::BTreeSet;
use std::panic::catch_unwind;

/// One change to the quiet job and what one rule makes of it.
pub struct Case {
    rule: &'static str,
    what: &'static str,
    set: fn(&mut Scene),
    expect: Expect,
    and: Option<fn(&JobPlan)>,
}

enum Expect {
    /// A notice of this severity whose text holds these words.
    Fires(Severity, &'static str),
    Silent,
    /// A question with this pointer.
    Asks(&'static str),
}

const fn fires(
    rule: &'static str,
    severity: Severity,
    words: &'static str,
    what: &'static str,
    set: fn(&mut Scene),
) -> Case {
    Case { rule, what, set, expect: Expect::Fires(severity, words), and: None }
}

const fn silent(rule: &'static str, what: &'static str, set: fn(&mut Scene)) -> Case {
    Case { rule, what, set, expect: Expect::Silent, and: None }
}

const fn asks(rule: &'static str, pointer: &'static str, what: &'static str, set: fn(&mut Scene)) -> Case {
    Case { rule, what, set, expect: Expect::Asks(pointer), and: None }
}

impl Case {
    const fn and(self, check: fn(&JobPlan)) -> Case {
        Case { and: Some(check), ..self }
    }

    fn run(&self) -> Result<(), String> {
        let mut scene = quiet();
        (self.set)(&mut scene);
        let plan = scene.plan();
        let notices: Vec<_> = plan.notices.iter().filter(|n| n.rule == self.rule).collect();
        let said = notices.iter().map(|n| format!("{:?}: {}", n.severity, n.text)).collect::<Vec<_>>();
        let good = match self.expect {
            Expect::Fires(severity, words) => {
                notices.iter().any(|n| n.severity == severity && n.text.contains(words))
            }
            Expect::Silent => notices.is_empty(),
            Expect::Asks(pointer) => {
                plan.questions.iter().any(|q| q.pointer == pointer && !q.text.is_empty())
            }
        };
        if !good {
            let asked: Vec<_> = plan.questions.iter().map(|q| format!("{} {}", q.rule, q.pointer)).collect();
            return Err(format!("{} {}: said {said:?}, asked {asked:?}", self.rule, self.what));
        }
        if let Some(check) = self.and {
            // The other cases are run all the same.
            catch_unwind(|| check(&plan)).map_err(|_| format!("{} {}: see above", self.rule, self.what))?;
        }
        accounted_for(&plan).map_err(|why| format!("{} {}: {why}", self.rule, self.what))
    }
}

fn all() -> impl Iterator<Item = &'static Case> {
    [
        heat::CASES,
        air::CASES,
        water::CASES,
        place::CASES,
        crew::CASES,
        order::CASES,
        dirt::CASES,
        paint::CASES,
        stock::CASES,
    ]
    .into_iter()
    .flatten()
}

#[test]
fn every_case_holds() {
    let failed: Vec<String> = all().filter_map(|case| case.run().err()).collect();
    assert!(failed.is_empty(), "{} of {} cases:\n{}", failed.len(), all().count(), failed.join("\n"));
}

#[test]
fn every_rule_of_the_handbook_fires_in_a_case_and_just_does_not_in_another() {
    let with = |test: fn(&Expect) -> bool| -> BTreeSet<&str> {
        all().filter(|case| test(&case.expect)).map(|case| case.rule).collect()
    };
    let fires = with(|e| matches!(e, Expect::Fires(..)));
    let silent = with(|e| matches!(e, Expect::Silent));
    let handbook: BTreeSet<&str> = Handbook::standard().rules.iter().map(|r| r.id.as_str()).collect();
    assert_eq!(handbook.len(), 70);
    assert_eq!(fires, handbook, "a rule without a case in which it fires, or a case of no rule");
    assert_eq!(silent, handbook, "a rule without a case in which it just does not fire");
}

#[test]
fn the_quiet_job_is_quiet() {
    let plan = quiet().plan();
    let loud: Vec<_> = plan.notices.iter().filter(|n| n.severity > Severity::Adjust).collect();
    assert!(plan.workable && loud.is_empty() && plan.questions.is_empty(), "{loud:?} {:?}", plan.questions);
}
