//! R36-R44: the order of chemistry, and what follows from it.

use super::mixing;
use crate::handbook::{Chemistry, Severity};
use crate::inspection::Contaminant;
use crate::plan::draft::{Draft, each};
use crate::plan::waiver;
use crate::vehicle::Zone;

/// R37, R39: what dirt and late finds bring with them.
pub(super) fn insert(draft: &mut Draft) {
    r37_box_tail(draft);
    r39_late_oil(draft);
}

/// R44: how the vehicle is dried.
pub(super) fn exchange(draft: &mut Draft) {
    r44_no_drying_aid(draft);
}

pub(super) fn on_the_clock(draft: &mut Draft) {
    q30_section_by_section(draft);
}

pub(super) fn after_order(draft: &mut Draft) {
    r36_wheels_first_dirt_last(draft);
    r38_oil_before_iron(draft);
    r40_alkali_iron_acid(draft);
    r41_clay_under_iron(draft);
    r42_do_not_chase_smoothness(draft);
    r43_bar_then_polish(draft);
}

/// Oily contaminants that shield iron.
const OILY: [Contaminant; 3] = [Contaminant::Tar, Contaminant::SapFresh, Contaminant::SapCured];

/// R36: splash and grit flow down.
fn r36_wheels_first_dirt_last(draft: &mut Draft) {
    let place = |step: &str| draft.work.iter().position(|w| w.step.id == step);
    let (Some(wheels), Some(wash)) = (place("B02"), place("C02").or(place("C05"))) else { return };
    if wheels > wash {
        return;
    }
    let mut lines = each(vec!["B02".into()], "wheels first");
    lines.extend(each(draft.planned(&["C02", "C05"]), "top down, dirtiest low zones last"));
    draft.kept("R36", "wheels first, then top down, dirtiest low zones last", lines);
}

/// R37: the wake of a box-shaped tail lays road film on it.
fn r37_box_tail(draft: &mut Draft) {
    let facts = draft.facts;
    let worst = facts.limit("R37", "film_susceptibility");
    let box_tail = facts.zones.iter().any(|z| z.zone == Zone::Tail && f64::from(z.row.s_film) >= worst);
    let least = facts.limit("R37", "film_grade");
    let film = [Zone::Tail, Zone::Rocker, Zone::RearBumper, Zone::FrontBumper]
        .map(|zone| facts.grade_or_booked(zone, Contaminant::Film));
    let Some(grade) = film.into_iter().max().filter(|grade| f64::from(grade.get()) >= least) else { return };
    if !box_tail || !draft.has("B09") {
        return;
    }
    let parts = facts.limit("R37", "water_to_product");
    draft.insert(
        "B06",
        "R37",
        &format!("film grade {} behind and below: {parts:.0}:1, rinse twice", grade.get()),
    );
    if draft.has("B06") {
        let text = format!(
            "box-shaped tail: alkaline {parts:.0}:1 on tail, rockers and lower bumpers before the foam, rinsed twice"
        );
        draft.kept("R37", text, each(vec!["B06".into()], "before the foam"));
    }
}

/// R38: known tar and sap are off before the iron step.
fn r38_oil_before_iron(draft: &mut Draft) {
    let facts = draft.facts;
    let known: Vec<&str> =
        OILY.into_iter().filter(|&c| facts.worst(c).get() >= 1).map(|c| c.name()).collect();
    if known.is_empty() || !draft.has("D03") || facts.done("D01") {
        return;
    }
    let known = known.join(" and ");
    if draft.has("D01") {
        let mut lines = each(vec!["D01".into()], &format!("{known} off before the iron remover"));
        lines.extend(each(vec!["D03".into()], &format!("after {known}, which shields iron")));
        draft.kept("R38", format!("{known} known: off before the iron step, oil shields iron"), lines);
    } else {
        let lines = each(vec!["D03".into()], &format!("{known} still on it"));
        let text = format!("{known} known and its removal is not in the plan: it shields the iron below");
        draft.unmet("R38", text, lines, "approve the tar and sap removal, or leave the iron step out");
    }
}

/// R39: found after the decontamination: spots last, then the sides again.
fn r39_late_oil(draft: &mut Draft) {
    if !draft.has("D11") {
        return;
    }
    draft.insert("D14", "R39", "the residue has run down: sides again");
    let mut lines = each(vec!["D11".into()], "spots last, upper surfaces mostly");
    lines.extend(each(vec!["D14".into()], "sides again after the spots"));
    draft.kept(
        "R39",
        "tar or sap found after the iron rinse: spot it last, then rinse the sides again",
        lines,
    );
}

/// R40: alkali, iron remover and acid each rinsed off before the next.
fn r40_alkali_iron_acid(draft: &mut Draft) {
    let facts = draft.facts;
    let of = |group| draft.which(|w| facts.uses_chemistry(w, &[group]) && facts.on_body(w));
    let alkali = of(Chemistry::Alkali);
    let iron = of(Chemistry::Thioglycolate);
    let acid = of(Chemistry::Acid);
    mixing::check(draft);
    if [&alkali, &iron, &acid].iter().any(|kind| kind.is_empty()) {
        return;
    }
    let (low, high) = (facts.limit("R40", "ph_min"), facts.limit("R40", "ph_max"));
    let text = format!(
        "alkali, rinse, iron, rinse until no suds, acid, rinse; pH strip {low:.0} to {high:.0} between"
    );
    let mut lines = each(alkali, "alkali: rinsed off before iron");
    lines.extend(each(iron, "iron: rinsed off before acid"));
    lines.extend(each(acid, &format!("acid last, pH strip {low:.0} to {high:.0} before")));
    draft.kept("R40", text, lines);
}

/// Q30: alone, the iron remover of the whole vehicle would dry before its rinse.
fn q30_section_by_section(draft: &mut Draft) {
    let (Some(iron), Some(rinse)) = (draft.find("D03"), draft.find("D05")) else { return };
    let open_min = rinse.begin_min - iron.begin_min;
    if draft.facts.input.crew.len() > 1 || open_min * 60.0 <= f64::from(iron.step.dwell_max_s) {
        return;
    }
    let together = draft.planned(&["D03", "E01", "D05"]);
    let text = format!(
        "{}: one section at a time, rinsed before the next; over the whole vehicle the iron remover would stay {open_min:.0} min",
        together.join(" ")
    );
    let section = format!("one section at a time: {}, then the next section", together.join(", "));
    draft.caution(&["D03".to_string()], &section);
    draft.tell("Q30", Severity::Adjust, text, each(together, &section));
}

/// R41: clay while the iron remover is wet, else after it.
fn r41_clay_under_iron(draft: &mut Draft) {
    if !draft.has("D03") {
        return;
    }
    if draft.has("E01") {
        let line = each(vec!["E01".into()], "iron remover still wet: it lubricates");
        draft.kept("R41", "clay while the iron remover is wet: it lubricates and saves a rinse", line);
    } else if draft.has("E02") {
        let line = each(vec!["E02".into()], "after the iron rinse");
        draft.kept("R41", "clay after the iron rinse; under wet iron remover it would save one", line);
    }
}

/// R42: what clay leaves, the chemistry after it takes.
fn r42_do_not_chase_smoothness(draft: &mut Draft) {
    let facts = draft.facts;
    let groups = [Chemistry::Thioglycolate, Chemistry::Acid, Chemistry::Solvent];
    let Some(clay_at) = draft.work.iter().position(|w| w.is(&["E01", "E02"])) else { return };
    let after = draft.work[clay_at + 1..]
        .iter()
        .any(|w| facts.uses_chemistry(w, &groups) && !w.is(&["E01", "G05"]) && !w.is_dry_on());
    if after {
        let target = facts.limit("R42", "target_grade");
        let lines = each(draft.planned(&["E01", "E02"]), &format!("stop at bag grade {target:.0}"));
        let text =
            format!("chemistry follows the clay: stop at bag grade {target:.0}, do not chase smoothness");
        draft.kept("R42", text, lines);
    }
}

/// R43: a clay bar mars.
fn r43_bar_then_polish(draft: &mut Draft) {
    if !draft.has("E03") {
        return;
    }
    if draft.has("G03") {
        let mut lines = each(vec!["E03".into()], "the bar mars: polishing follows");
        lines.extend(each(vec!["G03".into()], "takes the marks of the bar"));
        return draft.kept("R43", "the bar mars: polishing follows", lines);
    }
    let zones = draft.find("E03").map_or(Vec::new(), |w| w.zones.clone());
    if !waiver::accept(draft, "R43", &zones, &["E03".to_string()]) {
        let lines = each(vec!["E03".into()], "marks stay: no polishing follows");
        let unblock = "add the refining polish, or the customer's consent in writing";
        draft.unmet("R43", "clay bar without polishing leaves marring", lines, unblock);
    }
}

/// R44: no drying aid before polish or coating.
fn r44_no_drying_aid(draft: &mut Draft) {
    let after = draft.planned(&["G03", "G04", "H01", "H02", "H04"]);
    if !draft.has("F03") || after.is_empty() {
        return;
    }
    draft.drop_steps("R44", &["F03".to_string()]);
    draft.insert("F02", "R44", "dried without aid");
    let text =
        format!("{} follows: dry with F02, not F03, aid clogs pads and blocks the bond", after.join(" "));
    draft.kept("R44", text, each(vec!["F02".into()], "no aid before polish or coating"));
}
