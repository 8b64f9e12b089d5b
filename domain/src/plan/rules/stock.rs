//! R58-R62, R65, R66, R70 and the van's outfit: quotes, stock, mixes, tools, hazards and records.

use crate::handbook::Chemistry;
use crate::inspection::Contaminant;
use crate::plan::amounts;
use crate::plan::draft::{Draft, Lines, each};

/// R59: steps nobody agreed to.
pub(super) fn restrict(draft: &mut Draft) {
    r59_unapproved(draft);
}

pub(super) fn on_the_clock(draft: &mut Draft) {
    r58_range(draft);
    r58_more_than_booked(draft);
    r61_several_fills(draft);
    r62_pour(draft);
    r65_corrosive(draft);
    r66_fluoride(draft);
    r70_records(draft);
}

/// R58: nobody has looked yet, so the quote is a range.
fn r58_range(draft: &mut Draft) {
    let facts = draft.facts;
    if facts.inspected() {
        return;
    }
    let Some(booked) = facts.input.booked_grade else {
        draft.ask("R58", "/booked_grade", "How bad is it, 0 to 4? Customers under-grade by about one.");
        return;
    };
    let over = facts.limit("R58", "over_share") * 100.0;
    let (from, to) = (booked.get(), booked.worse_by(facts.handbook().told_worse()).get());
    let text = format!(
        "condition not seen: quote grade {from} to {to}, grade before touching, over +{over:.0} % ask"
    );
    draft.kept("R58", text, each(draft.planned(&["A04"]), &format!("quoted for grade {from} to {to}")));
}

/// R58: what was found takes so much longer than what was booked that the customer is asked.
fn r58_more_than_booked(draft: &mut Draft) {
    let facts = draft.facts;
    let Some(booked) = facts.input.booked_grade.filter(|_| facts.inspected()) else { return };
    let found_min: f64 = draft.work.iter().map(|w| amounts::minutes(facts, w)).sum();
    let booked_min: f64 = draft.work.iter().map(|w| amounts::minutes_at(facts, w, booked)).sum();
    let share = facts.limit("R58", "over_share");
    if found_min <= booked_min * (1.0 + share) || facts.input.extra_work.approved.is_some() {
        return;
    }
    let percent = (found_min / booked_min - 1.0) * 100.0;
    let worst = facts.worst_or_booked(Contaminant::Film).max(facts.worst_found());
    let text = format!(
        "Found up to grade {} and booked {}: {percent:.0} % more work, over +{:.0} % ask. Yes or no?",
        worst.get(),
        booked.get(),
        share * 100.0
    );
    draft.ask("R58", "/extra_work/approved", &text);
}

/// R59: extra work without a yes is not done.
fn r59_unapproved(draft: &mut Draft) {
    let extra = draft.facts.extra_steps(draft);
    if extra.is_empty() {
        return;
    }
    let answer = draft.facts.input.extra_work;
    let wait = draft.facts.limit("R59", "wait_min");
    let why = match answer.approved {
        Some(true) => return,
        Some(false) => "extra work not approved".to_string(),
        None if f64::from(answer.silent_min) >= wait => {
            format!("no answer in {wait:.0} min, booked work only, offer the next visit")
        }
        None => {
            let text = format!("Extra work found: {}. Yes or no?", extra.join(" "));
            return draft.ask("R59", "/extra_work/approved", &text);
        }
    };
    draft.drop_steps("R59", &extra);
    let text = format!("{why}: left out {}", extra.join(" "));
    draft.kept("R59", text, each(draft.planned(&["A06"]), &why));
}

/// R61: pump vessels are filled to three quarters, so large volumes take several fills.
fn r61_several_fills(draft: &mut Draft) {
    let facts = draft.facts;
    let lines: Lines = draft
        .work
        .iter()
        .filter_map(|w| {
            let pumped = |product: &str| {
                w.products.iter().any(|u| u.product == product && !amounts::in_bucket(u.row.dose_ml))
            };
            let mix = w.mixes.iter().find(|m| m.fills > 1 && pumped(&m.product))?;
            let each_ml = mix.made_up_ml / f64::from(mix.fills);
            Some((w.step.id.clone(), format!("{} fills of {each_ml:.0} ml", mix.fills)))
        })
        .collect();
    if !lines.is_empty() {
        let share = facts.limit("R61", "fill_share") * 100.0;
        let text = format!("more than one fill: never over {share:.0} % of a pump vessel, air drives it");
        draft.kept("R61", text, lines);
    }
}

/// R62: how a ratio is meant.
fn r62_pour(draft: &mut Draft) {
    let lines: Lines = draft
        .work
        .iter()
        .filter_map(|w| {
            let mix = w.mixes.iter().find(|m| m.water_to_product.is_some())?;
            let parts = mix.water_to_product?;
            let (volume, product) = (mix.made_up_ml, mix.made_up_ml / (parts + 1.0));
            let text = format!("{parts:.0}:1 in {volume:.0} ml: {product:.0} ml, pour {:.0}", mix.pour_ml);
            Some((w.step.id.clone(), text))
        })
        .collect();
    if !lines.is_empty() {
        let step_ml = draft.facts.limit("R62", "round_up_ml");
        let text = format!(
            "r:1 is r parts of water to one of product: product = volume / (r + 1), rounded up to {step_ml:.0} ml; 4 fl oz in a US gallon is the rounded form of 32:1"
        );
        draft.kept("R62", text, lines);
    }
}

/// R65: products at the ends of the pH scale.
fn r65_corrosive(draft: &mut Draft) {
    let steps = draft.which(|w| w.products.iter().any(|u| draft.facts.corrosive(&u.product)));
    if steps.is_empty() {
        return;
    }
    let text = "corrosive concentrate: goggles, chemical gloves, eye-wash on the van, never lifted above the head alone";
    draft.caution(&steps, text);
    draft.kept("R65", text, each(steps, "corrosive concentrate"));
}

/// R66: no fluoride on the van and none in the plan.
fn r66_fluoride(draft: &mut Draft) {
    let facts = draft.facts;
    let aboard = facts.input.kit.stock_ml.iter().any(|(p, ml)| *ml > 0.0 && facts.banned(p));
    let planned = draft.which(|w| w.products.iter().any(|u| facts.banned(&u.product)));
    if aboard || !planned.is_empty() {
        let text = "fluoride acid: banned in this business, silent deep burns";
        let lines = each(planned, "fluoride is banned");
        draft.unmet("R66", text, lines, "take it off the van as hazardous waste");
    }
}

/// R70: what is written down of acid, solvent, iron and biocide.
fn r70_records(draft: &mut Draft) {
    let groups = [Chemistry::Acid, Chemistry::Solvent, Chemistry::Thioglycolate];
    let steps = draft.which(|w| draft.facts.uses_chemistry(w, &groups) || w.uses("biocide_moss"));
    if !steps.is_empty() {
        let text = "log product, millilitres, zone, begin and end of dwell and panel temperature";
        draft.kept("R70", text, each(steps, "log ml, zone, dwell and panel"));
    }
}
