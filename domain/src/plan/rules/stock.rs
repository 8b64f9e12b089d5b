//! R58-R63, R65, R66, R70: quotes, stock, mixes, tools, hazards and records.

use super::super::draft::Draft;
use crate::handbook::{Chemistry, Severity};

pub(super) fn before_order(draft: &mut Draft) {
    r58_range(draft);
    r59_unapproved(draft);
    r63_worn_clay(draft);
    r66_fluoride(draft);
}

pub(super) fn on_the_clock(draft: &mut Draft) {
    r60_short_stock(draft);
    r61_several_fills(draft);
    r62_pour(draft);
    r65_corrosive(draft);
    r70_records(draft);
}

/// R58: nobody has looked yet, so the quote is a range.
fn r58_range(draft: &mut Draft) {
    if draft.facts.inspected() {
        return;
    }
    let Some(booked) = draft.facts.input.booked_grade else {
        draft.ask("R58", "/booked_grade", "How bad is it, 0 to 4? Customers under-grade by about one.");
        return;
    };
    let over = draft.facts.limit("R58", "over_share") * 100.0;
    let text = format!(
        "condition not seen: quote grade {} to {}, grade before touching, over +{over:.0} % ask",
        booked.get(),
        booked.worse().get()
    );
    draft.say("R58", Severity::Adjust, text, vec!["A04".into()]);
}

/// R59: extra work without a yes is not done.
fn r59_unapproved(draft: &mut Draft) {
    let extra = draft.facts.extra_steps(draft);
    if extra.is_empty() {
        return;
    }
    let answer = draft.facts.input.extra_work;
    let wait = draft.facts.limit("R59", "wait_min");
    match answer.approved {
        Some(true) => {}
        Some(false) => {
            draft.drop_steps(&extra);
            draft.say(
                "R59",
                Severity::Adjust,
                format!("not approved, left out: {}", extra.join(" ")),
                vec!["A06".into()],
            );
        }
        None if f64::from(answer.silent_min) >= wait => {
            draft.drop_steps(&extra);
            let text = format!(
                "no answer in {wait:.0} min, booked work only; next visit offered: {}",
                extra.join(" ")
            );
            draft.say("R59", Severity::Adjust, text, vec!["A06".into()]);
        }
        None => {
            let text = format!("Extra work found: {}. Yes or no?", extra.join(" "));
            draft.ask("R59", "/extra_work/approved", &text);
        }
    }
}

/// R60: stock on the van against the plan and a margin; a substitute of the class's family, else without it.
fn r60_short_stock(draft: &mut Draft) {
    let margin = draft.facts.limit("R60", "stock_factor");
    for (product, need_ml) in draft.product_totals() {
        let Some(&have_ml) = draft.facts.input.kit.stock_ml.get(&product) else { continue };
        if have_ml >= need_ml * margin {
            continue;
        }
        let steps = draft.which(|w| w.uses(&product));
        let sum = format!(
            "{}: {have_ml:.0} ml on the van, {need_ml:.0} ml planned x {margin}",
            product.replace('_', " ")
        );
        match draft.facts.substitute(&product, need_ml * margin) {
            Some(other) => {
                draft.exchange(&product, &other);
                let text = format!("{sum}: {} instead, same family", other.replace('_', " "));
                draft.say("R60", Severity::Adjust, text, steps);
            }
            None => draft.block(
                "R60",
                format!("{sum}, nothing of its family on board"),
                steps,
                "restock before the job, or leave the steps out",
            ),
        }
    }
}

fn r61_several_fills(draft: &mut Draft) {
    let steps = draft.which(|w| w.mixes.iter().any(|m| m.fills > 1));
    if !steps.is_empty() {
        let share = draft.facts.limit("R61", "fill_share") * 100.0;
        draft.say(
            "R61",
            Severity::Adjust,
            format!("more than one fill: never over {share:.0} % of the vessel, air drives it"),
            steps,
        );
    }
}

fn r62_pour(draft: &mut Draft) {
    let steps = draft.which(|w| w.mixes.iter().any(|m| m.water_to_product.is_some()));
    if !steps.is_empty() {
        let text =
            "r:1 is r parts of water to one of product: product = volume / (r + 1), rounded up to 5 ml";
        draft.say("R62", Severity::Adjust, text.into(), steps);
    }
}

/// R63: a clay towel past its count.
fn r63_worn_clay(draft: &mut Draft) {
    let clay = draft.planned(&["E01", "E02"]);
    if clay.is_empty() {
        return;
    }
    let limit = draft.facts.limit("R63", "vehicles_min");
    match draft.facts.input.kit.vehicles_served.get("clay_towel") {
        Some(&served) if f64::from(served) >= limit => {
            let text = format!("clay towel has served {served} vehicles, limit {limit:.0}");
            draft.block("R63", text, clay, "a new clay towel, broken in on glass");
        }
        Some(_) => {}
        None => draft.ask(
            "R63",
            "/kit/vehicles_served/clay_towel",
            "How many vehicles has the clay towel served?",
        ),
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
    draft.say("R65", Severity::Adjust, text.into(), steps);
}

fn r66_fluoride(draft: &mut Draft) {
    let aboard: Vec<&String> = draft
        .facts
        .input
        .kit
        .stock_ml
        .iter()
        .filter(|(p, ml)| **ml > 0.0 && draft.facts.banned(p))
        .map(|(p, _)| p)
        .collect();
    if !aboard.is_empty() {
        let text = "fluoride acid on the van: banned in this business, silent deep burns".to_string();
        draft.block("R66", text, vec![], "take it off the van as hazardous waste");
    }
}

fn r70_records(draft: &mut Draft) {
    let steps = draft.which(|w| {
        draft.facts.uses_chemistry(
            w,
            &[Chemistry::Acid, Chemistry::Solvent, Chemistry::Thioglycolate, Chemistry::Cationic],
        )
    });
    if !steps.is_empty() {
        let text = "log product, millilitres, zone, begin and end of dwell and panel temperature";
        draft.say("R70", Severity::Adjust, text.into(), steps);
    }
}
