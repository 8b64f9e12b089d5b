//! Which steps: the package's own, the options the customer wants, and what the findings call for.

use super::PlanInput;
use super::draft::{Draft, each};
use super::facts::Facts;
use super::waiver;
use crate::handbook::{PackageRole, PairKind, Phase, Severity, Trigger, TriggerWhen};
use crate::inspection::Contaminant;
use std::collections::BTreeMap;

/// A draft with every step that package, options and findings ask for.
pub(super) fn choose<'a>(facts: &'a Facts<'a>) -> Draft<'a> {
    let mut draft = Draft {
        facts,
        work: Vec::new(),
        notices: Vec::new(),
        questions: Vec::new(),
        wet_protection: false,
        crew_bound: None,
        dropped: BTreeMap::new(),
    };
    of_package(&mut draft);
    by_findings(&mut draft);
    by_planned_steps(&mut draft);
    waiver::apply(&mut draft);
    package_limits(&mut draft);
    extra_work(&mut draft);
    draft
}

fn of_package(draft: &mut Draft) {
    let PlanInput { options, .. } = draft.facts.input;
    let package = draft.facts.package;
    let chosen = |step: &str| options.iter().any(|o| o == step);
    for entry in &draft.facts.entries {
        let replaced = !entry.choice.is_empty()
            && draft.facts.entries.iter().any(|other| {
                other.choice == entry.choice && other.role == PackageRole::Alternative && chosen(&other.step)
            });
        let (wanted, why) = match entry.role {
            PackageRole::Required => (!replaced, format!("part of {}", package.name)),
            PackageRole::Optional | PackageRole::Alternative => {
                (chosen(&entry.step), format!("chosen with {}", package.name))
            }
        };
        if wanted && !past_its_place(draft.facts, &entry.step) {
            draft.insert(&entry.step, &package.id, &why);
        }
    }
}

/// Pre-wash that had to come before something that is finished: a package taken up later goes on without it.
fn past_its_place(facts: &Facts, step: &str) -> bool {
    let early = facts.handbook().step(step).is_some_and(|s| matches!(s.phase, Phase::Prewash | Phase::Wash));
    let mut pairs = facts.handbook().precedence.iter();
    early && pairs.any(|p| p.kind == PairKind::Hard && p.before == step && facts.done(&p.after))
}

/// What the findings call for. What the package leaves out is offered and not planned.
fn by_findings(draft: &mut Draft) {
    let mut beyond: Vec<(&str, Vec<String>)> = Vec::new();
    for trigger in &draft.facts.input.handbook.triggers {
        if !called_for(draft, trigger) {
            continue;
        }
        let needs_yes = trigger.needs_approval && draft.facts.input.extra_work.approved != Some(true);
        let left_out: Vec<String> =
            trigger.inserts.iter().filter(|s| draft.facts.package.excludes.contains(s)).cloned().collect();
        if needs_yes || !left_out.is_empty() {
            beyond.push((&trigger.text, trigger.inserts.clone()));
            continue;
        }
        if trigger.second_visit {
            // Not today: a rule that no other one may undo.
            draft.drop_steps("Q66", &trigger.inserts);
            let text = format!("{}: {}", trigger.text, trigger.inserts.join(" "));
            let first = trigger.after_step.iter().cloned().collect();
            draft.tell("Q66", Severity::Adjust, text, each(first, "24 h dry before the second visit"));
            continue;
        }
        for step in inserts(draft, trigger) {
            draft.insert(step, &trigger.id, &trigger.text);
        }
        if trigger.inserts.iter().any(|step| draft.has(step)) {
            for step in &trigger.repeats {
                again(draft, step, &trigger.id, "once more: the late spots run over it");
            }
        }
    }
    for (why, steps) in beyond {
        let text =
            format!("{why}: not in {}, offer {} as extra work", draft.facts.package.name, steps.join(" "));
        draft.tell("R58", Severity::Advise, text, vec![]);
    }
}

/// What the trigger puts in: a clay bar comes without its polishing when the customer accepts the marks.
fn inserts<'a>(draft: &Draft<'a>, trigger: &'a Trigger) -> impl Iterator<Item = &'a String> + use<'a> {
    let bar =
        trigger.after_step.as_deref() == Some("E03") || trigger.inserts.iter().any(|step| step == "E03");
    let marks_stay = bar && draft.facts.accepted("R43", &[]).is_some();
    trigger.inserts.iter().filter(move |step| !marks_stay || *step == "E03")
}

/// Plans a step that is finished once more.
pub(super) fn again(draft: &mut Draft, step: &str, id: &str, text: &str) {
    if draft.facts.done(step) && !draft.has(step) {
        draft.work.extend(draft.facts.work(step));
    }
    draft.explain(step, id, text);
}

/// What a panel over its limit calls for; what was done before it is done once more after it.
pub(super) fn when_over_limit(draft: &mut Draft, why: &str) {
    let triggers = &draft.facts.handbook().triggers;
    for trigger in triggers.iter().filter(|t| t.when == TriggerWhen::PanelOverLimit) {
        for step in &trigger.inserts {
            draft.insert(step, &trigger.id, why);
        }
        for step in &trigger.repeats {
            draft.work.iter_mut().filter(|w| w.step.id == *step).for_each(|w| w.rounds += 1);
            again(draft, step, &trigger.id, "once more, in the shade");
        }
    }
}

fn called_for(draft: &Draft, trigger: &Trigger) -> bool {
    let facts = draft.facts;
    let found = || match (trigger.contaminant, trigger.min_grade) {
        (Some(contaminant), Some(least)) => {
            facts.worst_in(contaminant, trigger.zone_set.as_deref()).get() >= least
        }
        _ => false,
    };
    let past = |step: &Option<String>| step.as_deref().is_some_and(|s| facts.done(s));
    match trigger.when {
        TriggerWhen::Found => found() && !facts.done("D05"),
        TriggerWhen::FoundLate => past(&trigger.after_step) && found(),
        TriggerWhen::StillRough => past(&trigger.after_step) && found(),
        TriggerWhen::EtchedOrScratched => (found() || facts.is_scratched()) && draft.has("G03"),
        TriggerWhen::RepellentSold => facts.input.options.iter().any(|o| o == "H07"),
        // On the second visit the top has been cleaned.
        TriggerWhen::SoftTopGuardSold => {
            facts.input.options.iter().any(|o| o == "H10") && !past(&trigger.after_step)
        }
        // These depend on what the plan holds or on the clock and are looked at there.
        TriggerWhen::StepPlanned | TriggerWhen::ExtraWork | TriggerWhen::PanelOverLimit => false,
    }
}

/// Steps that another planned step brings with it.
fn by_planned_steps(draft: &mut Draft) {
    for trigger in draft.facts.input.handbook.triggers.iter().filter(|t| t.when == TriggerWhen::StepPlanned) {
        let planned = trigger.after_step.as_deref().is_some_and(|s| draft.has(s));
        let allowed = !trigger.needs_approval || draft.facts.input.extra_work.approved == Some(true);
        if planned && allowed {
            for step in inserts(draft, trigger) {
                draft.insert(step, &trigger.id, &trigger.text);
            }
        }
    }
}

/// What the package itself refuses.
fn package_limits(draft: &mut Draft) {
    let package = draft.facts.package;
    let film = draft.facts.worst_or_booked(Contaminant::Film);
    if let Some(most) = package.max_film.filter(|&most| film.get() > most) {
        let text = format!("film grade {} on a package for at most {}: it would scratch", film.get(), most);
        let steps = draft.planned(&["C05"]);
        draft.block(&package.id, text, steps, "a package with foam and contact wash");
    }
    if let Some(fits) = package.fits_film.filter(|&fits| film.get() > fits && package.max_film.is_none()) {
        let text = format!("film grade {} where the package is meant for {}: expect loops", film.get(), fits);
        draft.tell(&package.id, Severity::Advise, text, vec![]);
    }
}

/// The customer is asked about steps that the findings added, and about grades above the booked one.
fn extra_work(draft: &mut Draft) {
    let extra = draft.facts.extra_steps(draft);
    let found = draft.facts.worst_found();
    let worse = draft.facts.input.booked_grade.filter(|&booked| draft.facts.inspected() && found > booked);
    // Who has answered is not asked again.
    if extra.is_empty() && worse.is_none() || draft.facts.input.extra_work.approved.is_some() {
        return;
    }
    let text = match worse {
        Some(booked) => {
            format!("found grade {} against booked {}: price and time need a yes", found.get(), booked.get())
        }
        None => format!("{} go beyond what was booked", extra.join(" ")),
    };
    draft.insert("A06", "R58", &text);
}
