//! R18-R25: water, restrictions, hardness and where it runs.

use super::super::draft::Draft;
use crate::handbook::{Chemistry, Severity};
use crate::inspection::Contaminant;
use crate::site::{Drain, Ground};

pub(super) fn before_order(draft: &mut Draft) {
    r19_restriction(draft);
    r22_iron_rinse(draft);
    r23_storm_drain(draft);
    r24_collect(draft);
    r25_stone(draft);
}

pub(super) fn on_the_clock(draft: &mut Draft) {
    r18_enough_water(draft);
    r20_hose_only(draft);
    r21_hard_water(draft);
}

/// R18: litres against tank and tap, with a reserve, and more while chemistry is open.
fn r18_enough_water(draft: &mut Draft) {
    let need_l: f64 = draft.work.iter().map(|w| w.water_l).sum();
    let open = !draft
        .which(|w| {
            draft.facts.uses_chemistry(w, &[Chemistry::Thioglycolate, Chemistry::Acid, Chemistry::Alkali])
        })
        .is_empty();
    let reserve_l = if open { draft.facts.limit("R18", "open_chemistry_l") } else { 0.0 };
    let usable_l = draft.facts.input.kit.tank_l * (1.0 - draft.facts.limit("R18", "reserve_share"));
    let short_l = need_l + reserve_l - usable_l;
    if short_l <= 0.0 || need_l <= 0.0 {
        return;
    }
    let sum =
        format!("{need_l:.0} l needed and {reserve_l:.0} l held back, {usable_l:.0} l usable in the tank");
    match draft.facts.input.site.tap {
        Some(true) => draft.say(
            "R18",
            Severity::Adjust,
            format!("{sum}: work from the customer's tap through the washer"),
            vec!["A05".into()],
        ),
        Some(false) => {
            let stops =
                if usable_l > reserve_l { (short_l / (usable_l - reserve_l)).ceil() } else { f64::INFINITY };
            let film = draft.facts.worst(Contaminant::Film).get();
            let mut ways = Vec::new();
            if stops.is_finite() {
                ways.push(format!("{stops:.0} refill stop{}", if stops > 1.0 { "s" } else { "" }));
            }
            ways.push("a neighbour's or the customer's tap".to_string());
            if film <= 2 {
                ways.push("the rinseless package".to_string());
            }
            draft.block("R18", format!("{sum}, no tap: {short_l:.0} l short"), vec![], &ways.join(", or "));
        }
        None => draft.ask("R18", "/site/tap", &format!("Is there a tap to use? {sum}.")),
    }
}

/// R19: a washer with trigger and collection, or the rinseless package; never a free hose.
fn r19_restriction(draft: &mut Draft) {
    let Some(level) = draft.facts.input.site.water_restriction else {
        draft.ask("R19", "/site/water_restriction", "Is water use restricted there today?");
        return;
    };
    let wet = draft.planned(&["B05", "B10", "C03"]);
    if f64::from(level) < draft.facts.limit("R19", "blocks_hose_from") || wet.is_empty() {
        return;
    }
    let (washer, collect) = (draft.facts.carries("pressure_washer"), draft.facts.carries("runoff_kit"));
    if washer && collect {
        let text = format!(
            "water restriction level {level}: washer with trigger and collected runoff, no free hose"
        );
        draft.say("R19", Severity::Adjust, text, wet);
    } else {
        let lacks = if washer { "runoff kit" } else { "pressure washer" };
        let text = format!("water restriction level {level} and no {lacks} on the van");
        draft.block("R19", text, wet, "the rinseless package, or a van with washer and runoff kit");
    }
}

/// R20: a garden hose uses three times the water.
fn r20_hose_only(draft: &mut Draft) {
    if draft.facts.by_washer() || draft.planned(&["B05", "B10", "C03"]).is_empty() {
        return;
    }
    let (hose, washer) = (draft.facts.limit("R20", "hose_l_min"), draft.facts.limit("R20", "washer_l_min"));
    let text = format!(
        "garden hose: {hose} against {washer} l/min, litres counted for it; trigger nozzle, shorter passes"
    );
    draft.say("R20", Severity::Adjust, text, vec!["A05".into()]);
}

/// R21: spots from hard water or a rinse in the sun.
fn r21_hard_water(draft: &mut Draft) {
    let rinses = draft.planned(&["C03", "D14"]);
    let Some(last) = rinses.last().cloned() else { return };
    let limit = draft.facts.limit("R21", "hardness_mg_l");
    let hard = match draft.facts.input.site.hardness_mg_l {
        Some(hardness) => hardness > limit,
        None => {
            draft.ask("R21", "/site/hardness_mg_l", "How hard is the water there? Dip a strip at the tap.");
            false
        }
    };
    let sunny = draft
        .find(&last)
        .is_some_and(|w| w.zones.iter().any(|&z| draft.facts.in_sun(z, w.begin_min, w.shaded)));
    if !hard && !sunny {
        return;
    }
    let why = match draft.facts.input.site.hardness_mg_l {
        Some(mg) if hard => format!("water {mg:.0} mg/l, very hard over {limit:.0}"),
        _ => "last rinse in the sun".to_string(),
    };
    let how = if draft.facts.carries("spotless_filter") {
        "last rinse through the filter"
    } else {
        "dry each panel at once"
    };
    draft.say("R21", Severity::Adjust, format!("{why}: {how}"), vec![last]);
}

/// R22: iron remover creeps into gaps; the long rinse belongs to it.
fn r22_iron_rinse(draft: &mut Draft) {
    let iron = draft.planned(&["D03", "D04", "E01"]);
    if iron.is_empty() {
        return;
    }
    draft.insert(
        "D05",
        "R22",
        "rinse until no suds come from the gaps 60 s after stopping; two to three times the water",
    );
    draft.say(
        "R22",
        Severity::Adjust,
        "iron remover is used: the long rinse is part of it".into(),
        vec!["D05".into()],
    );
}

/// Steps that put soap or chemistry on the ground.
fn soapy(draft: &Draft) -> Vec<String> {
    draft.which(|w| !w.products.is_empty() && w.step.washer_l > 0.0 && w.step.id != "C05")
}

/// R23: where runoff can reach a storm drain.
fn r23_storm_drain(draft: &mut Draft) {
    let steps = soapy(draft);
    if steps.is_empty() {
        return;
    }
    match draft.facts.input.site.drain {
        None => {
            draft.ask("R23", "/site/drain", "Where does the water run: storm drain, sewer, lawn, nowhere?")
        }
        Some(Drain::Storm) if draft.facts.carries("runoff_kit") => {
            let text = "storm drain in reach: cover it, boom, collect, empty to the sewer with permission";
            draft.say("R23", Severity::Adjust, text.into(), vec!["A05".into(), "I05".into()]);
        }
        Some(Drain::Storm) => {
            let text = "storm drain in reach and no runoff kit on the van; many codes forbid anything but rain in it";
            draft.block(
                "R23",
                text.into(),
                steps,
                "a van with the runoff kit, a place that drains to the sewer, or the rinseless package",
            );
        }
        Some(_) => {}
    }
}

/// R24: toxic or extreme products only with collection, else without them.
fn r24_collect(draft: &mut Draft) {
    let steps = draft.which(|w| draft.facts.must_be_collected(w));
    let collected = draft.facts.carries("runoff_kit") || draft.facts.input.site.drain == Some(Drain::Sewer);
    if steps.is_empty() {
        return;
    }
    if collected {
        draft.say("R24", Severity::Adjust, "collect this runoff".into(), steps);
    } else {
        let text = format!("no way to collect runoff: left out {}", steps.join(" "));
        draft.drop_steps(&steps);
        draft.say("R24", Severity::Adjust, text, vec![]);
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
            let text = "acid etches this ground: wet it first, lay the mat, or leave the acid out";
            draft.say("R25", Severity::Warn, text.into(), steps);
        }
        Some(_) => {}
        None => draft.ask(
            "R25",
            "/site/ground",
            "What does the vehicle stand on? Acid etches stone and fresh concrete.",
        ),
    }
}
