//! What follows from steps that rules took out: companions fall away, the other choice steps in.

use crate::plan::draft::{Draft, each};
use crate::vehicle::Zone;

/// Steps that are only there because of others: `(step, what it serves)`.
const COMPANIONS: [(&str, &[&str]); 8] = [
    ("D05", &["D03", "D04", "E01"]),
    ("D12", &["B08", "D01", "D06", "D09", "D10"]),
    ("D14", &["D07", "D11", "E03", "E05"]),
    ("F05", &["G03", "G04"]),
    ("G01", &["G03", "G04"]),
    ("G02", &["G03", "G04"]),
    ("G05", &["G03", "G04", "H01", "H02", "H04"]),
    ("H05", &["H04"]),
];

/// The other step of a choice group in the place of one that a surface or the stock took out.
pub(super) fn second_choices(draft: &mut Draft) {
    let lost: Vec<(String, String)> = draft
        .dropped
        .iter()
        .filter(|(step, _)| !draft.facts.waived(step))
        .filter(|(_, rule)| ["R24", "R52", "R53", "R54", "R60"].contains(&rule.as_str()))
        .map(|(step, rule)| (step.clone(), rule.clone()))
        .collect();
    for (step, rule) in lost {
        let others = draft.facts.choices(&step);
        if others.iter().any(|other| draft.has(other) || draft.facts.done(other)) {
            continue;
        }
        let Some(other) = others.into_iter().find(|other| !draft.dropped.contains_key(*other)) else {
            continue;
        };
        draft.insert(other, &rule, &format!("in place of {step}"));
        let line = each(vec![other.to_string()], &format!("in place of {step}"));
        draft.kept(&rule, format!("{other} in place of {step}"), line);
    }
}

/// Takes out companions whose cause was taken out.
pub(super) fn companions(draft: &mut Draft) {
    for (companion, causes) in COMPANIONS {
        let served = causes.iter().any(|cause| draft.has(cause) || draft.facts.done(cause));
        let Some((cause, rule)) = causes
            .iter()
            .find_map(|cause| Some((cause, draft.dropped.get(*cause)?.clone())))
            .filter(|_| !served && draft.has(companion))
        else {
            continue;
        };
        draft.drop_steps(&rule, &[companion.to_string()]);
        draft.kept(&rule, format!("without {cause}, {companion} falls away too"), vec![]);
    }
}

/// What was dried and gets wet again is dried once more.
pub(super) fn dry_again(draft: &mut Draft) {
    let dried = ["F02", "F03"].iter().any(|step| draft.facts.done(step));
    let wet = draft.work.iter().any(|w| w.step.rinse || w.is(&["D07", "D11", "E02", "E03"]));
    if dried && wet && !draft.has("F02") && !draft.has("F03") {
        draft.work.extend(draft.facts.work("F02"));
        draft.explain("F02", "Q43", "once more: it gets wet again");
    }
}

/// The last rinse takes all that acid, solvent or slurry was put on, glass too.
pub(super) fn rinse_what_was_treated(draft: &mut Draft) {
    let (_, treating) = COMPANIONS[2];
    let by = draft.work.iter().filter(|w| w.is(treating));
    let treated: Vec<Zone> = by.flat_map(|w| w.zones.iter().copied()).collect();
    let Some(rinse) = draft.work.iter_mut().find(|w| w.step.id == "D14") else { return };
    for zone in treated {
        if !rinse.zones.contains(&zone) {
            rinse.zones.push(zone);
        }
    }
}

/// The rinse after special chemistry: where that was used and all below, with soap where water alone would bead.
pub(super) fn rinse_after_chemistry(draft: &mut Draft) {
    let facts = draft.facts;
    let special = |step: &str| ["B08", "D01", "D06", "D09", "D10", "D13"].contains(&step);
    let beads = |product: &str| facts.handbook().product(product).is_some_and(|p| p.surfactant_wash_after);
    let treating = || draft.work.iter().filter(|w| special(&w.step.id));
    let oily = treating().any(|w| w.products.iter().any(|used| beads(&used.product)));
    let treated: Vec<Zone> = treating().flat_map(|w| w.zones.clone()).collect();
    let wetted = |zone: &Zone| {
        let Some(low) = facts.zone(*zone) else { return false };
        treated.contains(zone) || treated.iter().filter_map(|&z| facts.zone(z)).any(|z| z.drips_on(low))
    };
    let Some(rinse) = draft.work.iter_mut().find(|w| w.step.id == "D12") else { return };
    if !oily {
        rinse.products.clear();
    }
    if !treated.is_empty() {
        rinse.zones.retain(wetted);
    }
}
