//! R26-R35: neighbours, power, hands and heights.

use super::super::draft::Draft;
use crate::handbook::{Chemistry, Reach, Severity};
use crate::inspection::{Contaminant, Grade};
use crate::vehicle::{VehicleClass, Zone};

pub(super) fn before_order(draft: &mut Draft) {
    r27_smell(draft);
    r28_near_vehicles(draft);
    r30_mains(draft);
    r31_alone(draft);
    r32_pair_of_hands(draft);
    r35_height(draft);
}

pub(super) fn on_the_clock(draft: &mut Draft) {
    r26_quiet_hours(draft);
    r29_energy(draft);
    r33_two_on_one(draft);
    r34_unattended(draft);
}

/// R26: machines outside the hours in which they may run.
fn r26_quiet_hours(draft: &mut Draft) {
    let noisy = draft.which(|w| draft.facts.noisy(w));
    if noisy.is_empty() {
        return;
    }
    let site = &draft.facts.input.site;
    if site.generator_allowed == Some(false) && draft.facts.on_generator() {
        let text = "no generator allowed there and the van has no battery".to_string();
        draft.block("R26", text, noisy.clone(), "a van with a battery, or the customer's mains");
    }
    let Some(hours) = site.machine_hours else {
        draft.ask("R26", "/site/machine_hours", "From when to when may machines run there?");
        return;
    };
    let outside = draft.which(|w| {
        let (begin, end) = (draft.facts.at(w.begin_min), draft.facts.at(w.end_min));
        draft.facts.noisy(w)
            && (!hours.contains(begin.time()) || end.time() > hours.to || end.date() != begin.date())
    });
    if !outside.is_empty() {
        let span = format!("{} to {}", hours.from.format("%H:%M"), hours.to.format("%H:%M"));
        let text = format!("machines only from {span}: {} fall outside", outside.join(" "));
        draft.block("R26", text, outside, "start inside these hours, more hands, or hand work");
    }
}

fn r27_smell(draft: &mut Draft) {
    let iron = draft.which(|w| draft.facts.uses_chemistry(w, &[Chemistry::Thioglycolate]));
    if iron.is_empty() {
        return;
    }
    match draft.facts.input.site.people_downwind_m {
        Some(metres) if metres < draft.facts.limit("R27", "people_m") => {
            let text = format!(
                "people {metres:.0} m downwind: tell them of the smell before, iron last, small sections"
            );
            draft.say("R27", Severity::Advise, text, iron);
        }
        Some(_) => {}
        None => draft.ask(
            "R27",
            "/site/people_downwind_m",
            "How far are the next people downwind? Iron remover smells.",
        ),
    }
}

fn r28_near_vehicles(draft: &mut Draft) {
    let drifting = draft.planned(&["H04", "H10", "D01", "D10", "H07"]);
    if drifting.is_empty() {
        return;
    }
    match draft.facts.input.site.next_vehicle_m {
        Some(metres) if metres < draft.facts.limit("R28", "vehicle_m") => {
            let text = format!("another vehicle {metres:.1} m away: nothing that drifts");
            draft.block("R28", text, drifting, "move one of the vehicles, or mask the other one");
        }
        Some(_) => {}
        None => draft.ask("R28", "/site/next_vehicle_m", "How far is the next vehicle?"),
    }
}

/// R29: energy of the machines against battery, generator and mains.
fn r29_energy(draft: &mut Draft) {
    let need_kwh = draft.machine_kwh();
    let site = &draft.facts.input.site;
    if need_kwh <= 0.0 || site.mains == Some(true) || draft.facts.has_generator() {
        return;
    }
    let have_kwh = draft.facts.input.kit.battery_kwh;
    if need_kwh <= have_kwh {
        return;
    }
    let sum = format!("machines need {need_kwh:.1} kWh, battery holds {have_kwh:.1}");
    if site.mains.is_none() {
        draft.ask("R29", "/site/mains", &format!("Is there a socket to use? {sum}."));
        return;
    }
    let steps = draft.which(|w| w.step.power);
    draft.block("R29", format!("{sum}, no mains"), steps, "a van with more energy, mains, or hand work");
}

fn r30_mains(draft: &mut Draft) {
    let machines = draft.which(|w| w.step.power || draft.facts.noisy(w));
    if machines.is_empty() || draft.facts.input.site.mains != Some(true) {
        return;
    }
    if draft.facts.carries("rcd") {
        let text =
            "mains outdoors: test the residual-current device before use, connections dry and off the ground";
        draft.say("R30", Severity::Adjust, text.into(), vec!["A05".into()]);
    } else {
        let text = "mains outdoors and no residual-current device on the van".to_string();
        draft.block("R30", text, machines, "take a tested residual-current device, or work from battery");
    }
}

/// R31: what a technician alone does not do.
fn r31_alone(draft: &mut Draft) {
    if draft.facts.input.crew.len() != 1 {
        return;
    }
    let check_in = draft.facts.limit("R31", "check_in_min");
    let acid = draft.which(|w| w.uses("wheel_acid_mild"));
    if !acid.is_empty() {
        draft.block("R31", "alone: no acid stronger than mild".into(), acid, "a second technician");
    }
    let high = draft.facts.zones_on_platform();
    if !high.is_empty() {
        let names: Vec<&str> = high.iter().map(|z| z.name()).collect();
        let text = format!("alone: no platform, and {} are above {:.1} m", names.join(", "), 2.4);
        draft.block("R31", text, vec![], "a second technician, or leave these zones out with consent");
    }
    let text = format!("alone: no ladder above the second tread, check in every {check_in:.0} min");
    draft.say("R31", Severity::Adjust, text, vec!["A01".into()]);
}

fn r32_pair_of_hands(draft: &mut Draft) {
    let film = draft.facts.worst(Contaminant::Film);
    let large = matches!(draft.facts.input.vehicle.class, VehicleClass::LargeVan | VehicleClass::Motorhome);
    let worst_zones =
        draft.facts.zones.iter().filter(|z| draft.facts.worst_on(z.zone) == Grade::WORST).count();
    let heavy = large && f64::from(film.get()) >= draft.facts.limit("R32", "film_grade");
    let bad = worst_zones as f64 >= draft.facts.limit("R32", "worst_zones");
    if !heavy && !bad {
        return;
    }
    let why = if heavy {
        format!("film grade {} on a large vehicle", film.get())
    } else {
        format!("{worst_zones} zones at grade 4")
    };
    if draft.facts.input.crew.len() >= 2 {
        draft.say(
            "R32",
            Severity::Adjust,
            format!("{why}: two hands, the drying clock outruns one"),
            vec!["C02".into()],
        );
    } else {
        let text = format!("{why}: one technician cannot outrun the drying clock");
        draft.block("R32", text, vec![], "a second technician");
    }
}

fn r33_two_on_one(draft: &mut Draft) {
    if draft.facts.input.crew.len() < 2 {
        return;
    }
    let text = "two on one vehicle: opposite sides, nobody rinses above or beside open dry or coated work";
    let steps = draft.which(|w| w.step.hands_max > 1);
    draft.say("R33", Severity::Adjust, text.into(), steps);
}

/// R34: long dwell is filled, in sight of the vehicle.
fn r34_unattended(draft: &mut Draft) {
    let limit_s = draft.facts.limit("R34", "dwell_s");
    let steps = draft.which(|w| w.dwell.as_ref().is_some_and(|d| f64::from(d.min_s) >= limit_s));
    if !steps.is_empty() {
        let text = "fill this dwell with wheels, jambs or photos, in sight of the vehicle";
        draft.say("R34", Severity::Adjust, text.into(), steps);
    }
}

fn r35_height(draft: &mut Draft) {
    let on = |reach: Reach| -> Vec<Zone> {
        draft.facts.zones.iter().filter(|z| z.row.reach == reach).map(|z| z.zone).collect()
    };
    let (step, platform) = (on(Reach::Step), on(Reach::Platform));
    let names = |zones: &[Zone]| zones.iter().map(|z| z.name()).collect::<Vec<_>>().join(", ");
    if !platform.is_empty() {
        let text = format!("{} above 2.4 m: platform and a second person, or a long tool", names(&platform));
        if draft.facts.carries("platform") {
            draft.say("R35", Severity::Adjust, text, vec!["A05".into()]);
        } else {
            draft.block("R35", text, vec![], "a van with the platform and two technicians");
        }
    } else if !step.is_empty() {
        draft.say(
            "R35",
            Severity::Adjust,
            format!("{} above 1.85 m: two-tread step", names(&step)),
            vec!["A05".into()],
        );
    }
}
