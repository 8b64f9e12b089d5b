//! R46-R51, R68, R69: contaminants and seasons.

use super::super::draft::Draft;
use super::heat::hottest_with;
use crate::handbook::Severity;
use crate::inspection::Contaminant;
use crate::vehicle::Zone;

pub(super) fn before_order(draft: &mut Draft) {
    r46_soak_first(draft);
    r47_bird_lime_on_hot_paint(draft);
    r48_two_iron_rounds(draft);
    r49_wet_cement(draft);
    r50_etched_rings(draft);
    r51_salt(draft);
    r68_insect_season(draft);
    r69_winter_salt(draft);
}

fn r46_soak_first(draft: &mut Draft) {
    let text = "soak first and lift, same visit; never rub dry";
    for (contaminant, step) in [(Contaminant::Bird, "B08"), (Contaminant::Insect, "B07")] {
        if draft.facts.worst(contaminant).get() >= 1 {
            draft.insert(step, "R46", text);
            draft.say(
                "R46",
                Severity::Adjust,
                format!("{}: {text}", contaminant.name()),
                vec![step.to_string()],
            );
        }
    }
}

fn r47_bird_lime_on_hot_paint(draft: &mut Draft) {
    if draft.facts.worst(Contaminant::Bird).get() < 1 {
        return;
    }
    let age = draft.facts.age_h(Contaminant::Bird);
    let Some(panel_c) = hottest_with(draft, Contaminant::Bird) else { return };
    if panel_c <= draft.facts.limit("R47", "panel_c") {
        return;
    }
    match age {
        None => draft.ask("R47", "/inspection/findings", "How old is the bird lime, in hours?"),
        Some(age_h) if age_h < draft.facts.limit("R47", "age_h") => {
            let text = format!(
                "bird lime {age_h:.0} h old on a panel of {panel_c:.0} C: a slot within 24 h, wet cloth meanwhile"
            );
            draft.say("R47", Severity::Warn, text, vec!["B08".into()]);
        }
        Some(_) => {}
    }
}

fn r48_two_iron_rounds(draft: &mut Draft) {
    let limit = draft.facts.limit("R48", "grade");
    let heavy = [Zone::Roof, Zone::Bonnet, Zone::BootDeck]
        .iter()
        .any(|&z| f64::from(draft.facts.grade(z, Contaminant::FalloutIron).get()) >= limit);
    if heavy && draft.has("D03") {
        let text = "heavy fallout on the horizontals: two iron rounds, then feel; no third, go to clay";
        draft.say("R48", Severity::Adjust, text.into(), vec!["D03".into()]);
    }
}

fn r49_wet_cement(draft: &mut Draft) {
    let limit_h = draft.facts.limit("R49", "within_h");
    for contaminant in [Contaminant::Cement, Contaminant::RoadPaint] {
        if draft.facts.worst(contaminant).get() < 1 {
            continue;
        }
        match draft.facts.age_h(contaminant) {
            None => {
                draft.ask("R49", "/inspection/findings", "How old is the cement or road paint, in hours?")
            }
            Some(age_h) if age_h < limit_h => {
                let text =
                    format!("{} {age_h:.0} h old: it sets in hours, first aid today", contaminant.name());
                draft.say("R49", Severity::Warn, text, draft.planned(&["D09", "D10"]));
            }
            Some(_) => {}
        }
    }
}

/// R50: a ring that acid does not take is a crater.
fn r50_etched_rings(draft: &mut Draft) {
    if draft.facts.worst(Contaminant::HardwaterDeposit).get() < 1 {
        return;
    }
    match draft.facts.input.inspection.ring_stays_after_acid {
        Some(true) => {
            let acid = draft.planned(&["D07"]);
            draft.drop_steps(&acid);
            let text = "rings stay after the acid drop: etched, acid cannot fill a crater; quote polishing";
            draft.block("R50", text.into(), vec![], "class the finding as etch and quote polishing");
        }
        Some(false) => {}
        None => draft.ask(
            "R50",
            "/inspection/ring_stays_after_acid",
            "Does a drop of mild acid take the ring in 60 s on a test spot?",
        ),
    }
}

fn r51_salt(draft: &mut Draft) {
    let limit = draft.facts.limit("R51", "grade");
    if f64::from(draft.facts.worst(Contaminant::Salt).get()) < limit || draft.facts.rinseless() {
        return;
    }
    draft.insert("B11", "R51", "salt brine scratches and spreads: flush low zones before the foam");
    draft.say(
        "R51",
        Severity::Adjust,
        "salt: flush the low zones before the foam, water never above 40 C".into(),
        vec!["B11".into()],
    );
}

/// R68: insects come oftener when it is warm.
fn r68_insect_season(draft: &mut Draft) {
    let hours = &draft.facts.input.weather.hours;
    if hours.is_empty() {
        return;
    }
    let mean_c = hours.iter().map(|h| h.air_c).sum::<f64>() / hours.len() as f64;
    let exposed =
        draft.facts.input.vehicle.exposures.iter().any(|e| e.kind == "motorway_high" && e.share > 0.0);
    if mean_c > draft.facts.limit("R68", "air_c") && exposed {
        let days = draft.facts.limit("R68", "cadence_d");
        let text = format!(
            "mean air {mean_c:.0} C and motorway use: wash at most {days:.0} days apart, or a front-only insect visit"
        );
        draft.say("R68", Severity::Advise, text, vec!["I04".into()]);
    }
}

/// R69: the salted season is over.
fn r69_winter_salt(draft: &mut Draft) {
    let salted = draft.facts.input.vehicle.exposures.iter().any(|e| e.kind == "winter_salt" && e.share > 0.0);
    if !salted || draft.facts.input.package == "P5" {
        return;
    }
    let hours = &draft.facts.input.weather.hours;
    let coldest = hours.iter().map(|h| h.air_c).min_by(f64::total_cmp);
    if coldest.is_some_and(|c| c > draft.facts.limit("R69", "air_c")) {
        let coating = draft.planned(&["G03", "G04", "H04"]);
        let text = "roads were salted and it stays above the limit: winter's end flush within 14 days, before polish or coating";
        draft.say("R69", Severity::Advise, text.into(), coating);
    }
}
