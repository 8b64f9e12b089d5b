//! R26-R30: neighbours and power.

use crate::handbook::{Chemistry, Phase};
use crate::plan::draft::{Draft, Work, each};
use crate::site::HourRange;
use chrono::{Datelike, TimeDelta, Weekday};

pub(super) fn on_the_clock(draft: &mut Draft) {
    r26_quiet_hours(draft);
    r27_smell(draft);
    r28_near_vehicles(draft);
    r29_energy(draft);
    r30_mains(draft);
}

/// What weather spoils or stops: a roof would keep it off.
const OF_THE_OPEN: [&str; 10] = ["R01", "R09", "R10", "R11", "R13", "R15", "R16", "R17", "R64", "R67"];

/// Weather forbids something, and nobody has said whether the vehicle stands in the open.
pub(super) fn ask_for_a_roof(draft: &mut Draft) {
    if draft.facts.input.site.covered.is_some() {
        return;
    }
    let mut spoiled = draft.notices.iter().filter(|n| n.unblock.is_some()).map(|n| n.rule.clone());
    if let Some(rule) = spoiled.find(|rule| OF_THE_OPEN.contains(&rule.as_str())) {
        draft.ask(
            &rule,
            "/site/covered",
            "Is there a roof over the vehicle? It keeps sun, wind, rain and frost off.",
        );
    }
}

/// R26: machines outside the hours in which they may run, or on a day on which nobody may work.
fn r26_quiet_hours(draft: &mut Draft) {
    let site = &draft.facts.input.site;
    if draft.facts.input.start.weekday() == Weekday::Sat {
        match site.saturday_allowed {
            Some(false) => draft.unmet("R26", "no work allowed there on Saturdays", vec![], "another day"),
            Some(true) => {}
            None => draft.ask("R26", "/site/saturday_allowed", "May one work there on a Saturday?"),
        }
    }
    let noisy = draft.which(|w| draft.facts.noisy(w));
    if noisy.is_empty() {
        return;
    }
    generator(draft, &noisy);
    let Some(hours) = site.machine_hours else {
        draft.ask("R26", "/site/machine_hours", "From when to when may machines run there?");
        return;
    };
    let outside = draft.which(|w| !in_machine_hours(draft, w, TimeDelta::zero()));
    if !outside.is_empty() {
        let span = format!("{} to {}", hours.from.format("%H:%M"), hours.to.format("%H:%M"));
        let text = format!("machines only from {span}: {} fall outside", outside.join(" "));
        let lines = each(outside, &format!("machines only from {span}"));
        draft.unmet("R26", text, lines, "start inside these hours, more hands, or hand work");
    }
}

fn generator(draft: &mut Draft, noisy: &[String]) {
    if !draft.facts.on_generator() {
        return;
    }
    match draft.facts.input.site.generator_allowed {
        Some(false) => {
            let text = "no generator allowed there, and the van has no battery";
            let lines = each(noisy.to_vec(), "no generator allowed");
            draft.unmet("R26", text, lines, "a van with a battery, or the customer's mains");
        }
        Some(true) => {}
        None => draft.ask("R26", "/site/generator_allowed", "May a generator run there?"),
    }
}

/// The step makes no noise, or lies within the hours for it, both ends included, when the job is `shift` later.
pub(crate) fn in_machine_hours(draft: &Draft, work: &Work, shift: TimeDelta) -> bool {
    let Some(HourRange { from, to }) = draft.facts.input.site.machine_hours else { return true };
    let (begin, end) = (draft.facts.at(work.begin_min) + shift, draft.facts.at(work.end_min) + shift);
    !draft.facts.noisy(work) || begin.time() >= from && end.time() <= to && begin.date() == end.date()
}

/// R27: the smell of thioglycolate is taken for a gas leak.
fn r27_smell(draft: &mut Draft) {
    let iron = draft.which(|w| draft.facts.uses_chemistry(w, &[Chemistry::Thioglycolate]));
    if iron.is_empty() {
        return;
    }
    let limit = draft.facts.limit("R27", "people_m");
    match draft.facts.input.site.people_downwind_m {
        Some(metres) if metres < limit => {
            let text = format!(
                "people {metres:.1} m downwind, limit {limit:.0} m: tell them of the smell before, small sections"
            );
            draft.kept("R27", text, each(iron, "tell the neighbours of the smell"));
        }
        Some(_) => {}
        None => draft.ask(
            "R27",
            "/site/people_downwind_m",
            "How far are the next people downwind? Iron remover smells.",
        ),
    }
}

/// Chemistry or protection sprayed onto the body, which drifts onto what stands beside it.
fn drifts(draft: &Draft, work: &Work) -> bool {
    let sprayed = |product: &str| {
        draft.facts.handbook().product(product).is_some_and(|p| p.application.contains("spray"))
    };
    let harmful = |product: &str| {
        draft.facts.chemistry(product).iter().any(|c| {
            matches!(
                c,
                Chemistry::Alkali
                    | Chemistry::Acid
                    | Chemistry::Thioglycolate
                    | Chemistry::Solvent
                    | Chemistry::Protection
            )
        })
    };
    matches!(work.step.phase, Phase::Decon | Phase::Protect)
        && draft.facts.on_body(work)
        && work.products.iter().any(|u| sprayed(&u.product) && harmful(&u.product))
}

/// R28: another vehicle stands too near for anything that is sprayed.
fn r28_near_vehicles(draft: &mut Draft) {
    let drifting = draft.which(|w| drifts(draft, w));
    if drifting.is_empty() {
        return;
    }
    let limit = draft.facts.limit("R28", "vehicle_m");
    match draft.facts.input.site.next_vehicle_m {
        Some(metres) if metres < limit => {
            let text = format!("another vehicle {metres:.1} m away, limit {limit:.0} m: nothing that drifts");
            let lines = each(drifting, "drifts onto the next vehicle");
            draft.unmet("R28", text, lines, "move one of the vehicles, or mask the other one");
        }
        Some(_) => {}
        None => draft.ask("R28", "/site/next_vehicle_m", "How far is the next vehicle?"),
    }
}

/// R29: energy of the machines against battery, generator and mains.
fn r29_energy(draft: &mut Draft) {
    let need_kwh = draft.machine_kwh();
    let have_kwh = draft.facts.input.kit.battery_kwh;
    let mains = draft.facts.input.site.mains;
    if need_kwh <= have_kwh || mains == Some(true) || draft.facts.has_generator() {
        return;
    }
    let sum = format!("machines need {need_kwh:.2} kWh, battery holds {have_kwh:.2}");
    if mains.is_none() {
        return draft.ask("R29", "/site/mains", &format!("Is there a socket to use? {sum}."));
    }
    let steps = draft.which(|w| crate::plan::amounts::machine_kwh(draft.facts, w) > 0.0);
    let lines = each(steps, "battery short, no mains");
    draft.unmet("R29", format!("{sum}, no mains"), lines, "a van with more energy, mains, or hand work");
}

/// R30: mains outdoors only behind a tested residual-current device.
fn r30_mains(draft: &mut Draft) {
    let machines = draft.which(|w| draft.facts.noisy(w));
    if machines.is_empty() || draft.facts.input.site.mains != Some(true) {
        return;
    }
    let rcd_ma = draft.facts.limit("R30", "rcd_ma");
    if draft.facts.carries("rcd") {
        let text = format!(
            "mains outdoors: test the {rcd_ma:.0} mA residual-current device before use, connections dry and off the ground"
        );
        draft.kept("R30", text, each(vec!["A05".into()], "test the residual-current device"));
    } else if draft.facts.has_generator() || draft.machine_kwh() <= draft.facts.input.kit.battery_kwh {
        let text = "no residual-current device on the van: no mains, work from battery or generator";
        draft.kept("R30", text, each(vec!["A05".into()], "no mains: battery or generator"));
    } else {
        let lines = each(machines, "no mains without a residual-current device");
        let unblock = "take a tested residual-current device, or more battery";
        draft.unmet("R30", "mains outdoors and no residual-current device on the van", lines, unblock);
    }
}
