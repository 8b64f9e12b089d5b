//! R12: air or panels too cold for a product.
//!
//! Iron remover, acid and solvent wait for the rule's limits, and every product for the least air that its class
//! takes. The wash itself goes on, with water and brush where a product is too cold; a protection is exchanged for one
//! that takes the cold; the rest is left out. A coating was sold as such: it stays, and is refused on the clock.

use crate::handbook::{Chemistry, Phase, ProductClass};
use crate::plan::draft::{Draft, Lines, Work};
use crate::plan::facts::Facts;
use chrono::NaiveDateTime;

/// By the hours in which the steps are to be expected.
pub(super) fn exchange(draft: &mut Draft) {
    let cold = too_cold(draft);
    let of = |way: Way| -> Vec<&Cold> { cold.iter().filter(|c| c.way == way).collect() };
    plain_water(draft, &of(Way::PlainWater));
    spray_instead(draft, &of(Way::Spray));
    leave_out(draft, &of(Way::LeaveOut));
    warn(draft, &of(Way::Warn));
}

/// A step in air or on a panel that is too cold for its product.
struct Cold {
    step: String,
    why: String,
    limit_c: f64,
    way: Way,
}

/// What becomes of it.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Way {
    /// Water and brush without the product.
    PlainWater,
    /// Silica spray, which takes more cold, in its place.
    Spray,
    LeaveOut,
    /// No wash without it.
    Warn,
}

/// What the products of a step ask for.
struct Limits<'a> {
    /// The one that asks for most.
    product: &'a str,
    air_c: f64,
    /// Of iron remover, acid and solvent only.
    panel_c: Option<f64>,
}

impl<'a> Limits<'a> {
    fn of(facts: &Facts<'a>, work: &Work) -> Option<Limits<'a>> {
        let products = || work.products.iter().filter_map(|used| facts.handbook().product(&used.product));
        let least_c = |product: &ProductClass| {
            let rule_c = if chemical(product) { facts.limit("R12", "air_c") } else { product.min_air_c };
            product.min_air_c.max(rule_c)
        };
        let strictest = products().max_by(|a, b| least_c(a).total_cmp(&least_c(b)))?;
        let panel_c = products().any(chemical).then(|| facts.limit("R12", "panel_c"));
        Some(Limits { product: &strictest.name, air_c: least_c(strictest), panel_c })
    }

    /// Why air of a moment is too cold.
    fn air(&self, air_c: f64, at: NaiveDateTime) -> Option<String> {
        let (product, limit_c) = (self.product, self.air_c);
        let clock = at.format("%H:%M");
        (air_c < limit_c).then(|| format!("air {air_c:.1} C at {clock}, {product} takes {limit_c} C or more"))
    }
}

fn chemical(product: &ProductClass) -> bool {
    let groups = [Chemistry::Acid, Chemistry::Solvent];
    product.id == "iron_remover" || groups.iter().any(|group| product.chemistry.contains(group))
}

/// Every planned step that the cold spoils, in the order of the handbook.
fn too_cold(draft: &Draft) -> Vec<Cold> {
    let facts = draft.facts;
    let steps = draft.work.iter().zip(facts.expected_spans(draft)).filter(|(w, _)| w.step.id != "H04");
    steps
        .filter_map(|(work, (from, to))| {
            let limits = Limits::of(facts, work)?;
            let air_c = lowest_air_c(facts, from, to)?;
            let why = limits.air(air_c, from).or_else(|| cold_panel(facts, work, &limits, from, air_c))?;
            let (step, limit_c) = (work.step.id.clone(), limits.air_c);
            Some(Cold { step, why, limit_c, way: way(facts, work, air_c) })
        })
        .collect()
}

fn lowest_air_c(facts: &Facts, from: NaiveDateTime, to: NaiveDateTime) -> Option<f64> {
    facts.hours_between(from, to).map(|h| h.air_c).min_by(f64::total_cmp)
}

fn cold_panel(facts: &Facts, work: &Work, limits: &Limits, at: NaiveDateTime, air_c: f64) -> Option<String> {
    let limit_c = limits.panel_c?;
    let panels = work.zones.iter().filter_map(|&z| facts.panel_at(z, at, false));
    let panel_c = panels.map(|p| p.panel_c).min_by(f64::total_cmp).unwrap_or(air_c);
    (panel_c < limit_c).then(|| format!("panel {panel_c:.1} C at {}, limit {limit_c} C", at.format("%H:%M")))
}

fn way(facts: &Facts, work: &Work, air_c: f64) -> Way {
    let wash = matches!(work.step.phase, Phase::Prewash | Phase::Wash);
    let lubricant = |c: &Chemistry| matches!(c, Chemistry::Anionic | Chemistry::Neutral);
    let lubricates = work.products.iter().all(|u| facts.chemistry(&u.product).iter().all(lubricant));
    match (wash, lubricates) {
        (true, true) => Way::Warn,
        (true, false) => Way::PlainWater,
        (false, _) if work.is(&["H01", "H02"]) && spray_takes(facts, air_c) => Way::Spray,
        (false, _) => Way::LeaveOut,
    }
}

fn spray_takes(facts: &Facts, air_c: f64) -> bool {
    let spray = facts.work("H03");
    spray.and_then(|spray| Limits::of(facts, &spray)).is_some_and(|limits| air_c >= limits.air_c)
}

/// Why a protection is too cold to be laid between two moments.
pub(super) fn at_work(facts: &Facts, work: &Work, from: NaiveDateTime, to: NaiveDateTime) -> Option<String> {
    Limits::of(facts, work)?.air(lowest_air_c(facts, from, to)?, from)
}

// ---- what is done about it ----

fn plain_water(draft: &mut Draft, cold: &[&Cold]) {
    let Some(first) = cold.first() else { return };
    for work in draft.work.iter_mut().filter(|w| cold.iter().any(|c| c.step == w.step.id)) {
        work.products.clear();
    }
    let lines: Lines =
        cold.iter().map(|c| (c.step.clone(), "too cold for its product: water and brush".into())).collect();
    let steps: Vec<&str> = cold.iter().map(|c| c.step.as_str()).collect();
    draft.kept("R12", format!("{}: water and brush only at {}", first.why, steps.join(" ")), lines);
}

fn spray_instead(draft: &mut Draft, cold: &[&Cold]) {
    for Cold { step, why, .. } in cold {
        draft.insert("H03", "R12", &format!("in place of {step}: {why}"));
        if !draft.has("H03") {
            continue;
        }
        draft.drop_steps("R12", std::slice::from_ref(step));
        let line = (String::from("H03"), format!("{why}: in place of {step}"));
        draft.kept("R12", format!("{why}: silica spray in place of {step}"), vec![line]);
    }
}

fn leave_out(draft: &mut Draft, cold: &[&Cold]) {
    let Some(first) = cold.first() else { return };
    let steps: Vec<String> = cold.iter().map(|c| c.step.clone()).collect();
    let chemistry = draft
        .work
        .iter()
        .any(|w| steps.contains(&w.step.id) && matches!(w.step.phase, Phase::Decon | Phase::Mech));
    draft.drop_steps("R12", &steps);
    if steps.iter().any(|step| step == "F03") {
        draft.insert("F02", "R12", "too cold for the drying aid");
    }
    let only = if chemistry { "wash only, " } else { "" };
    let text = format!("{}: {only}left out {}", first.why, steps.join(" "));
    draft.unmet("R12", text, vec![], warmer(cold));
}

fn warn(draft: &mut Draft, cold: &[&Cold]) {
    let Some(first) = cold.first() else { return };
    let lines: Lines = cold.iter().map(|c| (c.step.clone(), c.why.clone())).collect();
    draft.unmet("R12", format!("{}: it foams and lubricates little", first.why), lines, warmer(cold));
}

/// The way out.
fn warmer(cold: &[&Cold]) -> String {
    let limit_c = cold.iter().map(|c| c.limit_c).fold(f64::NEG_INFINITY, f64::max);
    format!("hours of {limit_c} C or more, or a heated place")
}
