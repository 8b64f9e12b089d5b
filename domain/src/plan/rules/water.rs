//! R19, R20, R22-R25: restrictions, the hose, and where the water runs. R18 is in [`super::tank`], R21 in
//! [`super::spots`].

use crate::handbook::Chemistry;
use crate::plan::draft::{Draft, Lines, each};
use crate::site::{Drain, Ground};

/// R22: what iron remover brings with it.
pub(super) fn insert(draft: &mut Draft) {
    r22_iron_rinse(draft);
}

/// R24: what may not run off is left out.
pub(super) fn restrict(draft: &mut Draft) {
    r24_collect(draft);
}

pub(super) fn on_the_clock(draft: &mut Draft) {
    r19_restriction(draft);
    r20_hose_only(draft);
    r23_storm_drain(draft);
    r25_stone(draft);
}

/// Steps that rinse, of a package that is not rinseless.
pub(super) fn rinses(draft: &Draft) -> Vec<String> {
    if draft.facts.rinseless() { Vec::new() } else { draft.which(|w| w.step.rinse) }
}

/// R19: a washer with trigger and collection, or the rinseless package; never a free hose, and nothing that was
/// collected goes back on paint.
fn r19_restriction(draft: &mut Draft) {
    let facts = draft.facts;
    let wet = rinses(draft);
    if wet.is_empty() {
        return;
    }
    let Some(level) = facts.input.site.water_restriction else {
        draft.ask("R19", "/site/water_restriction", "Is water use restricted there today, 0 to 3?");
        return;
    };
    if f64::from(level) < facts.limit("R19", "blocks_hose_from") {
        return;
    }
    let why = format!("water restriction level {level}");
    if f64::from(level) >= facts.limit("R19", "only_rinseless_from") {
        let lines = each(wet, &format!("{why}: no rinsing"));
        draft.unmet("R19", format!("{why}: rinseless only"), lines, "the rinseless package");
    } else if !facts.by_washer() || !facts.carries("runoff_kit") {
        let lacks = if facts.by_washer() { "runoff kit" } else { "pressure washer" };
        let lines = each(wet, &format!("{why}: no free hose"));
        let unblock = "the rinseless package, or a van with washer and runoff kit";
        draft.unmet("R19", format!("{why} and no {lacks} on the van"), lines, unblock);
    } else {
        let text = format!(
            "{why}: washer with trigger and collected runoff, no free hose; recycled water never on paint"
        );
        let line = |step: String| {
            let paint = draft.find(&step).is_some_and(|w| facts.on_paint(w));
            let fresh = if paint { ", fresh water only" } else { "" };
            (step, format!("{why}: washer with trigger, collect{fresh}"))
        };
        let lines = wet.into_iter().map(line).collect();
        draft.kept("R19", text, lines);
    }
}

/// R20: a garden hose uses three times the water. Its litres are the norm's minutes of rinsing at its flow, so each
/// pass gets the minutes that the hose may be open: longer would be water nobody counted.
fn r20_hose_only(draft: &mut Draft) {
    let facts = draft.facts;
    let wet = rinses(draft);
    if facts.by_washer() || wet.is_empty() {
        return;
    }
    let (hose, washer) = (facts.limit("R20", "hose_l_min"), facts.limit("R20", "washer_l_min"));
    let text = format!(
        "garden hose: {hose} against {washer} l/min, litres counted for it; trigger nozzle, shorter passes"
    );
    let open = |step: String| {
        let open_min = draft.find(&step)?.water_l / hose;
        let pass = format!("hose open {open_min:.1} min at most: short passes, let go between them");
        (open_min > 0.0 && open_min.is_finite()).then_some((step, pass))
    };
    let mut lines: Lines = wet.into_iter().filter_map(open).collect();
    lines.extend(each(vec!["A05".into()], "hose with trigger nozzle, litres counted for it"));
    draft.kept("R20", text, lines);
}

/// R22: iron remover creeps into gaps; the long rinse belongs to it.
fn r22_iron_rinse(draft: &mut Draft) {
    let facts = draft.facts;
    let open = ["D03", "D04", "E01"].iter().any(|s| draft.has(s) || facts.done(s)) && !facts.done("D05");
    if !open {
        return;
    }
    let wait_s = facts.limit("R22", "wait_s");
    draft.insert("D05", "R22", &format!("until no suds from the gaps {wait_s:.0} s after stopping"));
    let (least, most) = (facts.limit("R22", "factor_min"), facts.limit("R22", "factor_max"));
    let text = format!("iron remover: the long rinse is part of it, {least:.0} to {most:.0} times the water");
    draft.kept("R22", text, each(vec!["D05".into()], "long rinse after iron"));
}

/// Steps that put soap or chemistry on the ground.
fn soapy(draft: &Draft) -> Vec<String> {
    if draft.facts.rinseless() {
        return Vec::new();
    }
    draft.which(|w| !w.products.is_empty() && w.water_l > 0.0)
}

/// R23: where runoff can reach a storm drain.
fn r23_storm_drain(draft: &mut Draft) {
    let steps = soapy(draft);
    if steps.is_empty() {
        return;
    }
    match draft.facts.input.site.drain {
        None => draft.ask(
            "R23",
            "/site/drain",
            "Where does the water run: storm drain, sewer, planted ground, nowhere?",
        ),
        Some(Drain::Storm) if draft.facts.carries("runoff_kit") => {
            let text = "storm drain in reach: cover it, boom, collect, empty to the sewer with permission";
            let mut lines = each(vec!["A05".into()], "cover the storm drain, lay the boom");
            lines.extend(each(vec!["I05".into()], "empty to the sewer with permission"));
            draft.kept("R23", text, lines);
        }
        Some(Drain::Storm) => {
            let text = "storm drain in reach and no runoff kit on the van; many codes forbid anything but rain in it";
            let unblock =
                "a van with the runoff kit, a place that drains to the sewer, or the rinseless package";
            draft.unmet("R23", text, each(steps, "would run into the storm drain"), unblock);
        }
        Some(_) => {}
    }
}

/// R24: toxic or extreme products only with collection, else without them.
fn r24_collect(draft: &mut Draft) {
    let facts = draft.facts;
    let bad = |product: &str| facts.must_be_collected(product);
    let steps = draft.which(|w| w.products.iter().any(|u| bad(&u.product)));
    if steps.is_empty() {
        return;
    }
    if facts.collects_runoff() {
        return draft.kept(
            "R24",
            "toxic or extreme pH: collect this runoff",
            each(steps, "collect the runoff"),
        );
    }
    if facts.input.site.drain.is_none() {
        let text = "Where does the water run? Acid and strong alkali have to be collected.";
        return draft.ask("R24", "/site/drain", text);
    }
    let mut left_out = steps;
    if let Some(flush) = draft.work.iter_mut().find(|w| w.step.id == "B11" && left_out.contains(&w.step.id)) {
        flush.products.clear();
        draft.explain("B11", "R24", "runoff cannot be collected: plain water");
        left_out.retain(|step| step != "B11");
    }
    if draft.has("H04") && left_out.iter().any(|step| step == "D13") {
        left_out.retain(|step| step != "D13");
        let line = each(vec!["D13".into()], "runoff cannot be collected");
        let text = "strip wash before the coating and no way to collect its runoff";
        draft.unmet("R24", text, line, "a van with the runoff kit, or a place that drains to the sewer");
    }
    if !left_out.is_empty() {
        draft.drop_steps("R24", &left_out);
        let text = format!("no way to collect runoff: left out {}", left_out.join(" "));
        draft.kept("R24", text, vec![]);
    }
}

/// R25: acid on limestone or fresh concrete.
fn r25_stone(draft: &mut Draft) {
    let steps = draft.which(|w| draft.facts.uses_chemistry(w, &[Chemistry::Acid]));
    if steps.is_empty() {
        return;
    }
    match draft.facts.input.site.ground {
        Some(Ground::NaturalStone | Ground::FreshConcrete) => {
            let text = "acid etches this ground";
            let unblock = "wet the ground first and lay the mat, or leave the acid out";
            draft.unmet("R25", text, each(steps, "wet the ground first, lay the mat"), unblock);
        }
        Some(_) => {}
        None => draft.ask(
            "R25",
            "/site/ground",
            "What does the vehicle stand on? Acid etches stone and fresh concrete.",
        ),
    }
}
