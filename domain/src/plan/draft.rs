//! A plan in the making: the steps chosen so far, and what the rules said about them.

use super::facts::Facts;
use super::{CrewBound, Dwell, Leaves, Mix, Notice, Question, Reason, Turn};
use crate::handbook::{Phase, SHAMPOO, Severity, Step, StepProduct, ZoneChoice};
use crate::inspection::Grade;
use crate::vehicle::Zone;
use std::collections::BTreeMap;

/// Steps that end with their own rinse: their pass check looks at the water running clear (common practice).
const RINSED_WITHIN: [&str; 9] = ["B02", "B03", "B04", "B06", "B11", "B12", "C04", "C06", "D13"];

/// A step that was chosen, with what is known of it so far.
#[derive(Debug, Clone)]
pub(crate) struct Work<'a> {
    pub step: &'a Step,
    pub products: Vec<Use<'a>>,
    pub zones: Vec<Zone>,
    pub zone_order: String,
    /// The worst grade it is counted by.
    pub grade: Grade,
    pub quantity: f64,
    /// By the handbook alone.
    pub norm_minutes: f64,
    pub minutes: f64,
    pub minutes_p50: f64,
    pub minutes_p90: f64,
    /// Litres that the package fixes for the whole vehicle.
    pub fixed_water_l: Option<f64>,
    pub water_l: f64,
    pub mixes: Vec<Mix>,
    pub dwell: Option<Dwell>,
    /// Times it is done: product and dwell anew (R48), or a reading again in the shade.
    pub rounds: u32,
    /// Treated in the shade of the awning.
    pub shaded: bool,
    /// Products and zones were already held against the surfaces (R52-R54).
    pub fitted: bool,
    pub begin_min: f64,
    pub end_min: f64,
    pub turns: Vec<Turn>,
    pub cautions: Vec<String>,
    pub reasons: Vec<Reason>,
}

/// A product in a step: the row says how much, `product` which, when stock made it another one of its family.
#[derive(Debug, Clone)]
pub(crate) struct Use<'a> {
    pub row: &'a StepProduct,
    pub product: String,
    /// Least parts of water to one of product, where a surface asks for it to be weaker than the row.
    pub weakest: Option<f64>,
}

/// A short reason for each line that a rule touches: step id and text.
pub(crate) type Lines = Vec<(String, String)>;

/// The same short reason for several lines.
pub(crate) fn each(steps: Vec<String>, text: &str) -> Lines {
    steps.into_iter().map(|step| (step, text.to_string())).collect()
}

impl<'a> Use<'a> {
    pub fn of(row: &'a StepProduct) -> Use<'a> {
        Use { row, product: row.product.clone(), weakest: None }
    }

    /// Parts of water to one part of product; none when it is used as it comes.
    pub fn water_to_product(&self, heavy: bool) -> Option<f64> {
        let of_row = self.row.water_to_product_heavy.filter(|_| heavy).or(self.row.water_to_product);
        let parts = of_row.into_iter().chain(self.weakest).reduce(f64::max);
        parts.filter(|&parts| parts > 0.0)
    }
}

impl<'a> Work<'a> {
    pub fn new(
        step: &'a Step,
        zones: Vec<Zone>,
        uses: Vec<&'a StepProduct>,
        fixed_water_l: Option<f64>,
    ) -> Work<'a> {
        Work {
            step,
            products: uses.into_iter().map(Use::of).collect(),
            zones,
            zone_order: step.zone_order.clone(),
            grade: Grade::LIGHT,
            quantity: 0.0,
            norm_minutes: 0.0,
            minutes: 0.0,
            minutes_p50: 0.0,
            minutes_p90: 0.0,
            fixed_water_l,
            water_l: 0.0,
            mixes: Vec::new(),
            dwell: None,
            rounds: 1,
            shaded: false,
            fitted: false,
            begin_min: 0.0,
            end_min: 0.0,
            turns: Vec::new(),
            cautions: Vec::new(),
            reasons: Vec::new(),
        }
    }

    pub fn is(&self, steps: &[&str]) -> bool {
        steps.contains(&self.step.id.as_str())
    }

    pub fn rinses_itself(&self) -> bool {
        self.is(&RINSED_WITHIN)
    }

    pub fn uses(&self, product: &str) -> bool {
        self.products.iter().any(|used| used.product == product)
    }

    pub fn treats_zones(&self) -> bool {
        self.step.zone_choice != ZoneChoice::None
    }

    /// Whether it puts water or wet product on its zones, or takes it off them.
    pub fn leaves(&self) -> Leaves {
        let wet = matches!(self.step.phase, Phase::Prewash | Phase::Wash | Phase::Decon | Phase::Mech);
        if self.step.equipment.iter().any(|id| id == "towel_dry") {
            Leaves::Dry
        } else if wet && self.treats_zones() && (self.water_l > 0.0 || !self.products.is_empty()) {
            Leaves::Wet
        } else {
            Leaves::AsItWas
        }
    }

    /// Dry work that dusk and dew would spoil.
    pub fn is_dry_on(&self) -> bool {
        matches!(self.step.phase, Phase::Correct | Phase::Protect) && self.minutes > 0.0
    }
}

/// The plan in the making. Rules read `facts` and change the rest through the verbs below.
#[derive(Debug, Clone)]
pub(crate) struct Draft<'a> {
    pub facts: &'a Facts<'a>,
    pub work: Vec<Work<'a>>,
    pub notices: Vec<Notice>,
    pub questions: Vec<Question>,
    /// Spray protection of the kind that is rinsed off wet.
    pub wet_protection: bool,
    /// How good the split among the crew is.
    pub crew_bound: Option<CrewBound>,
    /// Steps that a rule took out, and which rule: they stay out.
    pub dropped: BTreeMap<String, String>,
}

impl<'a> Draft<'a> {
    /// The same draft on the facts of another start of the job.
    pub fn on<'s>(self, facts: &'s Facts<'s>) -> Draft<'s>
    where
        'a: 's,
    {
        let moved: Draft<'s> = self;
        Draft { facts, ..moved }
    }

    pub fn has(&self, step: &str) -> bool {
        self.work.iter().any(|w| w.step.id == step)
    }

    pub fn find(&self, step: &str) -> Option<&Work<'a>> {
        self.work.iter().find(|w| w.step.id == step)
    }

    /// Ids of the planned steps among `steps`, in the order of work.
    pub fn planned(&self, steps: &[&str]) -> Vec<String> {
        self.which(|w| w.is(steps))
    }

    /// Ids of the planned steps for which `test` holds.
    pub fn which(&self, test: impl Fn(&Work<'a>) -> bool) -> Vec<String> {
        self.work.iter().filter(|w| test(w)).map(|w| w.step.id.clone()).collect()
    }

    /// Gives the reason to the line of `step`, once.
    pub fn explain(&mut self, step: &str, id: &str, text: &str) {
        for work in self.work.iter_mut().filter(|w| w.step.id == step) {
            if !work.reasons.iter().any(|r| r.id == id) {
                work.reasons.push(Reason { id: id.into(), text: text.into() });
            }
        }
    }

    /// Adds a caution to the lines of the steps.
    pub fn caution(&mut self, steps: &[String], text: &str) {
        for work in self.work.iter_mut().filter(|w| steps.contains(&w.step.id)) {
            work.cautions.push(text.to_string());
        }
    }

    /// Takes the steps out of the plan for good: no other rule can put them back.
    pub fn drop_steps(&mut self, rule: &str, steps: &[String]) {
        for step in steps {
            self.dropped.entry(step.clone()).or_insert_with(|| rule.to_string());
        }
        self.work.retain(|w| !steps.contains(&w.step.id));
    }

    /// Puts a step in unless it is there, done or was taken out; `order` finds its place.
    pub fn insert(&mut self, step: &str, id: &str, text: &str) {
        if !self.has(step) && !self.facts.done(step) && !self.dropped.contains_key(step) {
            self.work.extend(self.facts.work(step));
        }
        self.explain(step, id, text);
    }

    /// States that a rule was kept by changing the plan: `adjust`, or `advise` where the table only advises.
    pub fn kept(&mut self, rule: &str, text: impl Into<String>, lines: Lines) {
        let severity = self.facts.severity(rule).min(Severity::Adjust);
        self.tell(rule, severity, text.into(), lines);
    }

    /// States that a rule cannot be kept, with what would lift it: the table's severity, and `warn` where the
    /// table expected the plan to be changed.
    pub fn unmet(&mut self, rule: &str, text: impl Into<String>, lines: Lines, unblock: impl Into<String>) {
        let severity = match self.facts.severity(rule) {
            Severity::Adjust => Severity::Warn,
            other => other,
        };
        self.tell(rule, severity, text.into(), lines);
        if let Some(notice) = self.notices.last_mut() {
            notice.unblock = Some(unblock.into());
        }
    }

    /// States that a rule fired; every line named gets its own short reason.
    pub fn tell(&mut self, rule: &str, severity: Severity, text: String, lines: Lines) {
        let mut steps: Vec<String> = Vec::new();
        for (step, reason) in lines {
            self.explain(&step, rule, &reason);
            if !steps.contains(&step) {
                steps.push(step);
            }
        }
        self.notices.push(Notice { rule: rule.into(), severity, text, steps, unblock: None });
    }

    /// States what no rule of the table may soften, with what would lift it.
    pub fn forbid(&mut self, id: &str, text: String, lines: Lines, unblock: &str) {
        self.tell(id, Severity::Block, text, lines);
        if let Some(notice) = self.notices.last_mut() {
            notice.unblock = Some(unblock.to_string());
        }
    }

    /// States a block, with what would lift it; the lines named carry its text.
    pub fn block(&mut self, rule: &str, text: String, steps: Vec<String>, unblock: &str) {
        let lines = each(steps, &text);
        self.forbid(rule, text, lines, unblock);
    }

    /// What was taken out since is not named by any notice.
    pub fn name_planned_steps(&mut self) {
        let work = &self.work;
        for notice in &mut self.notices {
            notice.steps.retain(|step| work.iter().any(|w| w.step.id == *step));
        }
    }

    /// Asks for a fact that a rule needs.
    pub fn ask(&mut self, rule: &str, pointer: &str, text: &str) {
        if !self.questions.iter().any(|q| q.pointer == pointer) {
            self.questions.push(Question { rule: rule.into(), pointer: pointer.into(), text: text.into() });
        }
    }

    /// Nothing blocks it.
    pub fn workable(&self) -> bool {
        self.notices.iter().all(|notice| notice.severity != Severity::Block)
    }

    pub fn end_min(&self) -> f64 {
        self.work.iter().map(|w| w.end_min).fold(0.0, f64::max)
    }

    /// Concentrate to take along by class id, ml.
    pub fn product_totals(&self) -> BTreeMap<String, f64> {
        let mut totals = BTreeMap::new();
        for mix in self.work.iter().flat_map(|w| &w.mixes) {
            *totals.entry(mix.product.clone()).or_insert(0.0) += mix.pour_ml;
            if mix.shampoo_ml > 0.0 {
                *totals.entry(SHAMPOO.to_string()).or_insert(0.0) += mix.shampoo_ml;
            }
        }
        totals
    }

    /// Energy of the machines over their steps, kWh.
    pub fn machine_kwh(&self) -> f64 {
        self.work.iter().map(|w| super::amounts::machine_kwh(self.facts, w)).sum()
    }
}
