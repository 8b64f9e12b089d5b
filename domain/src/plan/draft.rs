//! A plan in the making: the steps chosen so far, and what the rules said about them.

use super::facts::Facts;
use super::{Dwell, Mix, Notice, Question, Reason};
use crate::handbook::{Severity, Step};
use crate::inspection::Grade;
use crate::vehicle::Zone;

/// A step that was chosen, with what is known of it so far.
#[derive(Debug, Clone)]
pub(crate) struct Work<'a> {
    pub step: &'a Step,
    /// Product classes it uses here, with the substitutes already put in.
    pub products: Vec<String>,
    pub zones: Vec<Zone>,
    pub zone_order: String,
    pub grade: Grade,
    pub quantity: f64,
    pub unit: String,
    pub minutes: f64,
    pub hands: u8,
    /// Times the norm's water: dried product, soap that must go, hardness of the dirt.
    pub water_factor: f64,
    pub water_l: f64,
    pub mixes: Vec<Mix>,
    pub dwell: Option<Dwell>,
    /// Treated in the shade of the awning.
    pub shaded: bool,
    pub begin_min: f64,
    pub end_min: f64,
    pub technicians: Vec<String>,
    pub cautions: Vec<String>,
    pub reasons: Vec<Reason>,
}

/// The plan in the making. Rules read `facts` and change the rest through the verbs below.
#[derive(Debug, Clone)]
pub(crate) struct Draft<'a> {
    pub facts: &'a Facts<'a>,
    pub work: Vec<Work<'a>>,
    pub notices: Vec<Notice>,
    pub questions: Vec<Question>,
    pub cautions: Vec<String>,
}

impl<'a> Draft<'a> {
    pub fn has(&self, step: &str) -> bool {
        self.work.iter().any(|w| w.step.id == step)
    }

    pub fn find(&self, step: &str) -> Option<&Work<'a>> {
        self.work.iter().find(|w| w.step.id == step)
    }

    /// Ids of the planned steps among `steps`, in the order of work.
    pub fn planned(&self, steps: &[&str]) -> Vec<String> {
        self.which(|w| steps.contains(&w.step.id.as_str()))
    }

    /// Ids of the planned steps for which `test` holds.
    pub fn which(&self, test: impl Fn(&Work<'a>) -> bool) -> Vec<String> {
        self.work.iter().filter(|w| test(w)).map(|w| w.step.id.clone()).collect()
    }

    /// Gives the reason to the line of `step`, once.
    pub fn explain(&mut self, step: &str, id: &str, text: &str) {
        for work in self.work.iter_mut().filter(|w| w.step.id == step) {
            if !work.reasons.iter().any(|r| r.id == id && r.text == text) {
                work.reasons.push(Reason { id: id.into(), text: text.into() });
            }
        }
    }

    /// Takes the steps out of the plan.
    pub fn drop_steps(&mut self, steps: &[String]) {
        self.work.retain(|w| !steps.contains(&w.step.id));
    }

    /// Puts a step in unless it is there; `order` finds its place.
    pub fn insert(&mut self, step: &str, id: &str, text: &str) {
        if !self.has(step) && !self.facts.done(step) {
            if let Some(work) = self.facts.work(step) {
                self.work.push(work);
            }
        }
        self.explain(step, id, text);
    }

    /// States that a rule fired. The rule's own severity is the worst case; a plan that could be changed so
    /// that the rule is kept says `adjust`.
    pub fn say(&mut self, rule: &str, severity: Severity, text: String, steps: Vec<String>) {
        for step in &steps {
            self.explain(step, rule, &text);
        }
        self.notices.push(Notice { rule: rule.into(), severity, text, steps, unblock: None });
    }

    /// States a block, with what would lift it.
    pub fn block(&mut self, rule: &str, text: String, steps: Vec<String>, unblock: &str) {
        self.say(rule, Severity::Block, text, steps);
        if let Some(notice) = self.notices.last_mut() {
            notice.unblock = Some(unblock.to_string());
        }
    }

    /// Asks for a fact that a rule needs.
    pub fn ask(&mut self, rule: &str, pointer: &str, text: &str) {
        if !self.questions.iter().any(|q| q.pointer == pointer) {
            self.questions.push(Question { rule: rule.into(), pointer: pointer.into(), text: text.into() });
        }
    }
}
