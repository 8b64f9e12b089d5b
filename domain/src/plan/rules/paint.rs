//! R52-R57: what a surface does not tolerate.

use super::super::draft::{Draft, Work};
use crate::handbook::{Chemistry, Severity};
use crate::vehicle::{Substrate, Zone};
use chrono::Datelike;

pub(super) fn before_order(draft: &mut Draft) {
    r54_fresh_paint(draft);
    r52_forbidden(draft);
    r53_aluminium(draft);
    r55_film_edges(draft);
    r56_thin_paint(draft);
    r57_single_stage(draft);
}

/// R52: exchange the product, take the zone out, or drop the step.
fn r52_forbidden(draft: &mut Draft) {
    let mut said: Vec<(String, String)> = Vec::new();
    let facts = draft.facts;
    for work in &mut draft.work {
        let mut taken_out: Vec<Zone> = Vec::new();
        for &zone in &work.zones {
            let Some(here) = facts.zone(zone) else { continue };
            if facts.step_forbidden(work.step, here.substrate)
                || work.products.iter().any(|u| facts.product_forbidden(&u.product, here.substrate))
            {
                taken_out.push(zone);
            }
        }
        if let Some(zone) = taken_out.first() {
            let material = facts
                .zone(*zone)
                .map_or("", |z| facts.handbook().substrate(z.substrate).map_or("", |row| &row.name));
            let names: Vec<&str> = taken_out.iter().map(|z| z.name()).collect();
            said.push((
                work.step.id.clone(),
                format!("not on {material}: {} left out or masked", names.join(", ")),
            ));
            work.zones.retain(|z| !taken_out.contains(z));
        }
    }
    let emptied = draft.which(|w| w.zones.is_empty() && w.treats_zones());
    draft.drop_steps(&emptied);
    for (step, text) in said {
        let text = if emptied.contains(&step) {
            format!("{step} {text}; nothing is left, step dropped")
        } else {
            format!("{step} {text}")
        };
        draft.say("R52", Severity::Adjust, text, vec![step]);
    }
}

/// R53: bare or anodised metal set into a zone that gets alkali or acid.
fn r53_aluminium(draft: &mut Draft) {
    let metal = |s: &Substrate| matches!(s, Substrate::BareAluminium | Substrate::Anodised);
    let at_risk: Vec<String> = draft
        .work
        .iter()
        .filter(|w| draft.facts.uses_chemistry(w, &[Chemistry::Alkali, Chemistry::Acid]))
        .filter(|w| {
            w.zones.iter().any(|&z| draft.facts.zone(z).is_some_and(|f| f.inclusions.iter().any(metal)))
        })
        .map(|w| w.step.id.clone())
        .collect();
    if at_risk.is_empty() {
        return;
    }
    let text = "bare or anodised aluminium in these zones: mask it or keep it flooded, a bloom is for ever";
    draft.caution(&at_risk, text);
    draft.say("R53", Severity::Adjust, text.into(), at_risk);
}

/// R54: solvents are still leaving a repaint.
fn r54_fresh_paint(draft: &mut Draft) {
    let limit = draft.facts.limit("R54", "age_d");
    let Some(repainted_on) = draft.facts.input.vehicle.repainted_on else { return };
    let age = (draft.facts.input.start.date() - repainted_on).num_days();
    if age as f64 >= limit {
        return;
    }
    let facts = draft.facts;
    let fresh = &facts.input.vehicle.repainted_zones;
    let mut touched = Vec::new();
    for work in draft.work.iter_mut().filter(|w| !is_wash(w) && !w.products.is_empty()) {
        let before = work.zones.len();
        work.zones.retain(|z| {
            !(fresh.is_empty() && facts.zone(*z).is_some_and(|f| f.substrate.is_paint()) || fresh.contains(z))
        });
        if work.zones.len() < before {
            touched.push(work.step.id.clone());
        }
    }
    let emptied = draft.which(|w| w.zones.is_empty() && w.treats_zones());
    draft.drop_steps(&emptied);
    let text = format!(
        "repaint of {} {} is {age} days old: shampoo only there for {limit:.0} days",
        repainted_on.day(),
        repainted_on.format("%b %Y")
    );
    draft.say("R54", Severity::Adjust, text, touched);
}

fn r55_film_edges(draft: &mut Draft) {
    let filmed = draft
        .facts
        .zones
        .iter()
        .any(|z| matches!(z.substrate, Substrate::FilmWrap | Substrate::ProtectionFilm));
    let lance = draft.planned(&["B05", "B10", "C03", "D05", "D12", "D14"]);
    if !filmed || lance.is_empty() {
        return;
    }
    let (bar, metres) = (draft.facts.limit("R55", "lance_bar"), draft.facts.limit("R55", "lance_m"));
    let text =
        format!("film edges: lance at most {bar:.0} bar, at least {metres} m away, 45 degrees off the edge");
    draft.caution(&lance, &text);
    draft.say("R55", Severity::Adjust, text, lance);
}

/// R56: clear coat is finite.
fn r56_thin_paint(draft: &mut Draft) {
    let cut = draft.planned(&["G04"]);
    if cut.is_empty() {
        return;
    }
    let vehicle = draft.facts.input.vehicle;
    let (thin, rough) = (draft.facts.limit("R56", "total_um"), draft.facts.limit("R56", "scatter_um"));
    let Some(total_um) = vehicle.paint_thickness_um else {
        draft.ask(
            "R56",
            "/vehicle/paint_thickness_um",
            "How thick is the paint at its thinnest? No cut without a reading.",
        );
        return;
    };
    let scatter_um = vehicle.paint_scatter_um.unwrap_or(0.0);
    if total_um < thin || scatter_um > rough {
        draft.drop_steps(&cut);
        let text = format!(
            "paint {total_um:.0} um with {scatter_um:.0} um scatter: no cut, refine only by approval"
        );
        draft.block("R56", text, vec![], "drop the cut from the order, or a paint shop");
    }
}

fn r57_single_stage(draft: &mut Draft) {
    let vehicle = draft.facts.input.vehicle;
    let single = vehicle.finish == Substrate::SingleStage;
    let bleeds = draft.facts.input.inspection.colour_on_cloth == Some(true);
    if !single && !bleeds {
        return;
    }
    let steps = draft.which(|w| !w.products.is_empty() && draft.facts.on_paint(w) && !is_wash(w));
    let text = "single-stage paint gives colour: test every chemistry on a spot and tell the customer of colour on the pad";
    draft.say("R57", Severity::Warn, text.into(), steps);
}

/// Foam, shampoo and drying, which every paint tolerates.
fn is_wash(work: &Work) -> bool {
    work.is(&["B09", "C01", "C02", "C05", "F02", "F03", "I01"])
}
