//! R36-R45: the order of chemistry, and what follows from it.

use super::super::draft::Draft;
use crate::handbook::{Chemistry, Severity};
use crate::inspection::Contaminant;
use crate::vehicle::Zone;

pub(super) fn before_order(draft: &mut Draft) {
    r37_box_tail(draft);
    r38_oil_before_iron(draft);
    r39_late_oil(draft);
    r41_clay_under_iron(draft);
    r42_do_not_chase_smoothness(draft);
    r43_bar_then_polish(draft);
    r44_no_drying_aid(draft);
    r45_stripped(draft);
}

pub(super) fn after_order(draft: &mut Draft) {
    r36_wheels_first_dirt_last(draft);
    r40_alkali_iron_acid(draft);
}

fn r36_wheels_first_dirt_last(draft: &mut Draft) {
    let wheels = draft.planned(&["B02"]);
    let wash = draft.planned(&["B05", "B09", "C02"]);
    if wheels.is_empty() || wash.is_empty() {
        return;
    }
    let text = "wheels first, then top down, dirtiest low zones last";
    draft.say("R36", Severity::Adjust, text.into(), [wheels, wash].concat());
}

/// R37: the wake of a box-shaped tail lays road film on it.
fn r37_box_tail(draft: &mut Draft) {
    let worst = draft.facts.limit("R37", "film_susceptibility");
    let box_tail = draft.facts.zones.iter().any(|z| z.zone == Zone::Tail && f64::from(z.row.s_film) >= worst);
    let dirty = [Zone::Tail, Zone::Rocker, Zone::RearBumper, Zone::FrontBumper];
    let graded = dirty.iter().any(|&z| {
        f64::from(draft.facts.grade(z, Contaminant::Film).get()) >= draft.facts.limit("R37", "film_grade")
    });
    if !box_tail || !graded || draft.planned(&["B09"]).is_empty() || draft.facts.forbids_strong_alkali() {
        return;
    }
    draft.insert(
        "B06",
        "R37",
        "tail, rockers and lower bumpers get alkaline 15:1 before the foam; rinse twice",
    );
    let text =
        "box-shaped tail: alkaline 15:1 on tail, rockers and lower bumpers before the foam, rinsed twice";
    draft.say("R37", Severity::Adjust, text.into(), vec!["B06".into()]);
}

fn r38_oil_before_iron(draft: &mut Draft) {
    let oily = [Contaminant::Tar, Contaminant::SapFresh, Contaminant::SapCured];
    let known = oily.iter().any(|&c| draft.facts.worst(c).get() >= 1);
    if known && draft.has("D03") && !draft.facts.done("D03") && draft.has("D01") {
        let text = "tar or sap known: off before the iron step, oil shields iron";
        draft.say("R38", Severity::Adjust, text.into(), vec!["D01".into(), "D12".into(), "D03".into()]);
    } else if known && draft.has("D03") && !draft.facts.done("D03") && !draft.has("D11") {
        let text = "tar or sap is known but its removal is not in the plan; iron remover would not reach the iron below";
        draft.block("R38", text.into(), vec!["D03".into()], "approve the tar and sap removal as extra work");
    }
}

/// R39: found after the decontamination: spots last, then the sides again.
fn r39_late_oil(draft: &mut Draft) {
    if !draft.has("D11") {
        return;
    }
    draft.insert("D14", "R39", "the residue has run down: rinse the sides again");
    let text = "tar or sap found after the iron rinse: spot it last, upper surfaces mostly, then rinse the sides again";
    draft.say("R39", Severity::Adjust, text.into(), vec!["D11".into(), "D14".into()]);
}

fn r40_alkali_iron_acid(draft: &mut Draft) {
    let alkali =
        draft.which(|w| draft.facts.uses_chemistry(w, &[Chemistry::Alkali]) && draft.facts.on_paint(w));
    let iron = draft.planned(&["D03", "E01"]);
    let acid = draft.which(|w| draft.facts.uses_chemistry(w, &[Chemistry::Acid]));
    let kinds = [&alkali, &iron, &acid].iter().filter(|k| !k.is_empty()).count();
    if kinds < 2 {
        return;
    }
    let text = "alkali, rinse, iron, rinse until no suds, acid, rinse; pH strip 6 to 8 between";
    let before_acid_rinsed =
        acid.is_empty() || iron.is_empty() || draft.has("D05") || draft.facts.done("D05");
    if before_acid_rinsed {
        draft.say("R40", Severity::Adjust, text.into(), [alkali, iron, acid].concat());
    } else {
        draft.block(
            "R40",
            text.into(),
            [alkali, iron, acid].concat(),
            "put the long rinse between iron remover and acid",
        );
    }
}

fn r41_clay_under_iron(draft: &mut Draft) {
    if draft.has("D03") && draft.has("E01") {
        let text = "clay while the iron remover is wet: it lubricates and saves a rinse";
        draft.say("R41", Severity::Advise, text.into(), vec!["E01".into()]);
    }
}

fn r42_do_not_chase_smoothness(draft: &mut Draft) {
    let clay = draft.planned(&["E01", "E02"]);
    if !clay.is_empty() && draft.has("D07") {
        let text = "chemistry follows: stop at bag grade 1, clay mars what it cannot take in two passes";
        draft.say("R42", Severity::Advise, text.into(), clay);
    }
}

fn r43_bar_then_polish(draft: &mut Draft) {
    if !draft.has("E03") {
        return;
    }
    if draft.has("G03") {
        draft.say(
            "R43",
            Severity::Adjust,
            "the bar mars: polishing follows".into(),
            vec!["E03".into(), "G03".into()],
        );
    } else {
        let text = "clay bar without polishing leaves marring".to_string();
        draft.block(
            "R43",
            text,
            vec!["E03".into()],
            "add the refining polish, or the customer's consent in writing",
        );
    }
}

fn r44_no_drying_aid(draft: &mut Draft) {
    let after = draft.planned(&["G03", "G04", "H02", "H04"]);
    if !draft.has("F03") || after.is_empty() {
        return;
    }
    draft.drop_steps(&["F03".to_string()]);
    draft.insert("F02", "R44", "dried without aid");
    let text = format!("{} follows: dry without aid, it clogs pads and blocks the bond", after.join(" "));
    draft.say("R44", Severity::Adjust, text, vec!["F02".into()]);
}

/// R45: steps that strip a protection the vehicle has.
fn r45_stripped(draft: &mut Draft) {
    let strips: u32 = draft.work.iter().map(|w| u32::from(draft.facts.strips(w))).sum();
    let renewed = !draft.planned(&["H01", "H02", "H03", "H04"]).is_empty();
    if draft.facts.input.vehicle.coats.is_empty()
        || f64::from(strips) < draft.facts.limit("R45", "strips_sum")
    {
        return;
    }
    let by = draft.which(|w| draft.facts.strips(w) > 0);
    if renewed {
        draft.say(
            "R45",
            Severity::Adjust,
            format!("{} strip the protection; it is renewed after", by.join(" ")),
            by,
        );
    } else {
        let text = format!("{} strip the protection and nothing renews it", by.join(" "));
        draft.block("R45", text, by, "add a protection step, or the customer's consent to a bare surface");
    }
}
