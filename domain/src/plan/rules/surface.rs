//! R52-R54: products and steps held against the materials of their zones.
//!
//! What is forbidden only under a condition becomes a caution or a weaker mix. What is forbidden as such is done
//! with the step's other product where the handbook has one, else the zone is left out.

use crate::handbook::{Chemistry, Phase};
use crate::plan::draft::{Draft, Lines, Use, Work, each};
use crate::plan::facts::{Facts, Fit, names};
use crate::plan::waiver::may_be_left_out;
use crate::vehicle::{Substrate, Zone};

/// What leaves a bloom on aluminium.
pub(super) const HARSH: [Chemistry; 2] = [Chemistry::Alkali, Chemistry::Acid];

/// Shampoo, foam, lubricants and soaks, which every paint tolerates.
pub(super) fn gentle(facts: &Facts, product: &str) -> bool {
    let mild = |c: &Chemistry| matches!(c, Chemistry::Anionic | Chemistry::Neutral);
    facts.chemistry(product).iter().all(mild)
}

/// Fits every step that was not fitted yet.
pub(super) fn fit(draft: &mut Draft) {
    let facts = draft.facts;
    let mut verdicts: Vec<Verdict> = Vec::new();
    for work in draft.work.iter_mut().filter(|w| !w.fitted) {
        work.fitted = true;
        verdicts.push(fit_work(facts, work));
    }
    for verdict in verdicts {
        verdict.tell(draft);
    }
}

/// What became of one step.
#[derive(Default)]
struct Verdict {
    step: String,
    /// Zones left out, with the rule and the material.
    left_out: Vec<(&'static str, Zone, String)>,
    swapped: Option<(&'static str, String)>,
    weakened: Option<String>,
    care: Vec<String>,
    ask: Option<String>,
    /// Nothing worth doing is left of the step.
    emptied: bool,
}

fn fit_work<'a>(facts: &Facts<'a>, work: &mut Work<'a>) -> Verdict {
    let mut verdict = Verdict { step: work.step.id.clone(), ..Verdict::default() };
    let had_zones = !work.zones.is_empty();
    for index in 0..work.products.len() {
        swap_if_banned(facts, work, index, &mut verdict);
    }
    for zone in work.zones.clone() {
        let fit = zone_fit(facts, work, zone);
        if fit.never || fit.approval {
            let Some(here) = facts.zone(zone) else { continue };
            let rule = rule_for(facts, work, zone);
            verdict.left_out.push((rule, zone, facts.material(here.substrate).to_string()));
            if fit.approval && !fit.never && facts.input.extra_work.approved.is_none() {
                verdict.ask = Some(format!(
                    "{} on {}: with the customer's yes only. Yes or no?",
                    work.step.name,
                    zone.name()
                ));
            }
            work.zones.retain(|z| *z != zone);
            continue;
        }
        if let Some(parts) = fit.weakest {
            verdict.weakened = Some(format!("{parts:.0}:1 at the strongest on {}", zone.name()));
            for used in &mut work.products {
                let own = product_fit(facts, used, zone).weakest;
                used.weakest = used.weakest.into_iter().chain(own).reduce(f64::max);
            }
        }
        verdict.care.extend(fit.care);
    }
    verdict.care.extend(inclusions(facts, work));
    verdict.care.sort();
    verdict.care.dedup();
    // What is left out of drying would stay wet: the other way of drying takes all of it.
    let patchy = work.step.phase == Phase::Dry && !verdict.left_out.is_empty();
    verdict.emptied = had_zones && work.zones.is_empty() || patchy;
    verdict
}

/// Uses the step's other product when the planned one may not touch some zone and the other one may touch all.
fn swap_if_banned<'a>(facts: &Facts<'a>, work: &mut Work<'a>, index: usize, verdict: &mut Verdict) {
    let banned = |used: &Use| {
        work.zones.iter().any(|&z| concerns(facts, used, z) && product_fit(facts, used, z).never)
    };
    if !banned(&work.products[index]) {
        return;
    }
    let other = facts.stand_ins(work.products[index].row).map(Use::of).find(|other| {
        !banned(other) && (!facts.must_be_collected(&other.product) || facts.collects_runoff())
    });
    if let Some(other) = other {
        let name = other.product.replace('_', " ");
        let rule = rule_for(facts, work, work.zones.first().copied().unwrap_or(Zone::Doors));
        verdict.swapped = Some((rule, name));
        work.products[index] = other;
    }
}

/// The product is used on this zone: it is not against something that was found elsewhere.
fn concerns(facts: &Facts, used: &Use, zone: Zone) -> bool {
    let against = &used.row.against;
    against.is_empty()
        || against.iter().any(|&c| facts.grade(zone, c).get() > 0)
        || against.iter().all(|&c| facts.worst(c).get() == 0)
}

fn zone_fit(facts: &Facts, work: &Work, zone: Zone) -> Fit {
    let Some(here) = facts.zone(zone) else { return Fit::default() };
    let products = work.products.iter().filter(|used| concerns(facts, used, zone));
    let of_step = facts.step_fit(work, here.substrate);
    products.fold(of_step, |fit, used| fit.and(product_fit(facts, used, zone)))
}

/// The material's word on a product, and R54's: fresh paint takes shampoo only.
fn product_fit(facts: &Facts, used: &Use, zone: Zone) -> Fit {
    let Some(here) = facts.zone(zone) else { return Fit::default() };
    // Either strength may be poured; the stronger one decides.
    let fit =
        facts.product_fit(used, false, here.substrate).and(facts.product_fit(used, true, here.substrate));
    let fresh = facts.fresh_paint(zone) && !gentle(facts, &used.product);
    Fit { never: fit.never || fresh, ..fit }
}

/// R54 for fresh paint, R53 for aluminium and what is alkaline or acid, else R52.
fn rule_for(facts: &Facts, work: &Work, zone: Zone) -> &'static str {
    let metal = facts
        .zone(zone)
        .is_some_and(|z| matches!(z.substrate, Substrate::BareAluminium | Substrate::Anodised));
    if work.zones.iter().any(|&z| facts.fresh_paint(z)) {
        "R54"
    } else if metal && facts.uses_chemistry(work, &HARSH) {
        "R53"
    } else {
        "R52"
    }
}

/// Foreign materials set into a zone are masked where the zone itself may be treated.
fn inclusions(facts: &Facts, work: &Work) -> Vec<String> {
    let mut care = Vec::new();
    for here in work.zones.iter().filter_map(|&z| facts.zone(z)) {
        for &inclusion in here.inclusions {
            let of_step = facts.step_fit(work, inclusion);
            let fit = work
                .products
                .iter()
                .fold(of_step, |fit, used| fit.and(facts.product_fit(used, true, inclusion)));
            if fit.never || fit.approval || fit.weakest.is_some() {
                care.push(format!("mask the {} in the {}", facts.material(inclusion), here.zone.name()));
            }
            care.extend(fit.care);
        }
    }
    care
}

impl Verdict {
    fn tell(self, draft: &mut Draft) {
        let step = self.step.clone();
        for text in &self.care {
            draft.caution(std::slice::from_ref(&step), text);
        }
        if let Some(text) = &self.ask {
            draft.ask("R52", "/extra_work/approved", text);
        }
        if let Some((rule, product)) = &self.swapped {
            let line = each(vec![step.clone()], &format!("{product} instead, milder to the surface"));
            draft.kept(
                rule,
                format!("{step}: {product} instead, the usual product would harm the surface"),
                line,
            );
        }
        if let Some(text) = &self.weakened {
            let line = each(vec![step.clone()], text);
            draft.kept("R52", format!("{step}: {text}"), line);
        }
        if !self.left_out.is_empty() {
            self.tell_left_out(draft);
        }
    }

    fn tell_left_out(&self, draft: &mut Draft) {
        let step = &self.step;
        for rule in ["R52", "R53", "R54"] {
            let of_rule: Vec<_> = self.left_out.iter().filter(|(r, ..)| *r == rule).collect();
            let Some((.., material)) = of_rule.first() else { continue };
            let zones: Vec<Zone> = of_rule.iter().map(|(_, zone, _)| *zone).collect();
            let why = match rule {
                "R54" => draft.facts.fresh_text(),
                _ => format!("not on {material}"),
            };
            let place = names(&zones);
            let line: Lines = each(vec![step.clone()], &format!("{why}: {place} left out"));
            if !self.emptied {
                draft.kept(rule, format!("{step} {why}: {place} left out or masked"), line);
            } else if draft.facts.required(step) && draft.facts.choices(step).is_empty() {
                let text = format!(
                    "{step} {why}: nothing is left of it, and {} is sold with it",
                    draft.facts.package.name
                );
                draft.drop_steps(rule, std::slice::from_ref(step));
                draft.unmet(rule, text, vec![], draft.facts.way_out(rule, step));
            } else {
                draft.drop_steps(rule, std::slice::from_ref(step));
                draft.kept(rule, format!("{step} {why}: nothing is left of it, left out"), vec![]);
            }
        }
    }
}

impl Facts<'_> {
    /// The zone was repainted too lately for anything but shampoo (R54).
    pub(crate) fn fresh_paint(&self, zone: Zone) -> bool {
        let vehicle = self.input.vehicle;
        let Some(age_d) = self.repaint_age_d() else { return false };
        let painted = self.zone(zone).is_some_and(|z| z.substrate.is_paint());
        let named = &vehicle.repainted_zones;
        (age_d as f64) < self.limit("R54", "age_d") && (named.contains(&zone) || named.is_empty() && painted)
    }

    fn repaint_age_d(&self) -> Option<i64> {
        Some((self.input.start.date() - self.input.vehicle.repainted_on?).num_days())
    }

    fn fresh_text(&self) -> String {
        let (age_d, limit_d) = (self.repaint_age_d().unwrap_or(0), self.limit("R54", "age_d"));
        format!("repaint {age_d} days old, shampoo only for {limit_d:.0}")
    }

    /// What would lift the refusal of a step that a surface leaves nothing of.
    fn way_out(&self, rule: &str, step: &str) -> String {
        if rule == "R54" {
            let limit_d = self.limit("R54", "age_d").clamp(0.0, 3650.0);
            let until = self
                .input
                .vehicle
                .repainted_on
                .and_then(|on| on.checked_add_days(chrono::Days::new(limit_d.ceil() as u64)));
            return match until {
                Some(until) => format!("the wash instead, or wait until {until}"),
                None => "the wash instead".to_string(),
            };
        }
        match self.handbook().step(step).is_some_and(may_be_left_out) {
            true => format!("another package, or leave {step} out with the customer's consent"),
            false => "another package".to_string(),
        }
    }
}
