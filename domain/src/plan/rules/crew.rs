//! R31-R35: hands, heights and watching.

use crate::handbook::{Chemistry, Reach};
use crate::inspection::{Contaminant, Grade};
use crate::plan::draft::{Draft, each};
use crate::plan::facts::names;
use crate::vehicle::VehicleClass;

pub(super) fn on_the_clock(draft: &mut Draft) {
    r31_alone(draft);
    r32_pair_of_hands(draft);
    r33_two_on_one(draft);
    r34_unattended(draft);
    r35_height(draft);
}

/// R31: what a technician alone does not do.
fn r31_alone(draft: &mut Draft) {
    let facts = draft.facts;
    if facts.input.crew.len() != 1 {
        return;
    }
    let trainee = facts.input.crew.iter().all(|member| member.trainee);
    // Mild acids stay above this pH as used; a trainee handles none alone.
    let mild = facts.limit("R31", "acid_ph_use_min");
    let strong = |product: &str| {
        facts.chemistry(product).contains(&Chemistry::Acid)
            && facts.handbook().product(product).is_some_and(|p| p.ph_use_min.is_some_and(|ph| ph < mild))
    };
    let acid = draft.which(|w| {
        w.products.iter().any(|u| strong(&u.product))
            || trainee && facts.uses_chemistry(w, &[Chemistry::Acid])
    });
    if !acid.is_empty() {
        let text = if trainee { "a trainee alone: no acid" } else { "alone: no acid stronger than mild" };
        draft.unmet("R31", text, each(acid, text), "a second technician");
    }
    let high = facts.zones_within(Reach::Platform);
    let on_platform = draft.which(|w| w.minutes > 0.0 && w.zones.iter().any(|z| high.contains(z)));
    if !on_platform.is_empty() {
        let metres = facts.limit("R35", "platform_m");
        let text = format!("alone: no platform, and {} are above {metres} m", names(&high));
        let unblock = "a second technician, or leave these zones out with the customer's consent";
        draft.unmet("R31", text, each(on_platform, "no platform alone"), unblock);
    }
    let check_in = facts.limit("R31", "check_in_min");
    let text = format!("alone: no ladder above the second tread, check in every {check_in:.0} min");
    let line = each(vec!["A01".into()], &format!("alone: check in every {check_in:.0} min"));
    draft.kept("R31", text, line);
}

/// R32: a badly contaminated vehicle outruns the drying clock of one pair of hands.
fn r32_pair_of_hands(draft: &mut Draft) {
    let facts = draft.facts;
    let film = facts.worst_or_booked(Contaminant::Film);
    let large = matches!(facts.input.vehicle.class, VehicleClass::LargeVan | VehicleClass::Motorhome);
    let worst_zones = facts.zones.iter().filter(|z| facts.worst_on(z.zone) == Grade::WORST).count();
    let why = if large && f64::from(film.get()) >= facts.limit("R32", "film_grade") {
        format!("film grade {} on a large vehicle", film.get())
    } else if worst_zones as f64 >= facts.limit("R32", "worst_zones") {
        format!("{worst_zones} zones at grade 4")
    } else {
        return;
    };
    let hands = facts.limit("R32", "hands");
    let line = each(draft.planned(&["C02"]), &format!("{why}: {hands:.0} pairs of hands"));
    if facts.input.crew.len() as f64 >= hands {
        draft.kept("R32", format!("{why}: {hands:.0} pairs of hands, the drying clock outruns one"), line);
    } else {
        let text = format!("{why}: one pair of hands cannot outrun the drying clock");
        draft.unmet("R32", text, line, "a second technician");
    }
}

/// R33: two on one vehicle keep clear of each other.
fn r33_two_on_one(draft: &mut Draft) {
    if draft.facts.input.crew.len() < 2 {
        return;
    }
    let metres = draft.facts.limit("R33", "lock_m");
    let shared = draft.which(|w| w.step.hands_max > 1);
    let text = format!(
        "two on one vehicle: opposite sides, nobody rinses above or within {metres:.0} m of open dry or coated work"
    );
    draft.kept("R33", text, each(shared, "opposite sides"));
}

/// R34: long dwell is filled, in sight of the vehicle.
fn r34_unattended(draft: &mut Draft) {
    let limit_s = draft.facts.limit("R34", "dwell_s");
    let waits = draft.work.iter().filter(|w| f64::from(w.step.dwell_min_s) >= limit_s);
    let lines: Vec<(String, String)> = waits
        .map(|w| (w.step.id.clone(), format!("{} s of dwell to fill, in sight", w.step.dwell_min_s)))
        .collect();
    if !lines.is_empty() {
        draft.kept("R34", "fill long dwell with wheels, jambs or photos, in sight of the vehicle", lines);
    }
}

/// R35: what cannot be reached from the ground.
fn r35_height(draft: &mut Draft) {
    let facts = draft.facts;
    let (tread_m, platform_m) = (facts.limit("R35", "step_m"), facts.limit("R35", "platform_m"));
    let places = [
        (
            Reach::Platform,
            "platform",
            format!("above {platform_m} m: platform and a second person, or a long tool"),
        ),
        (Reach::Step, "step", format!("above {tread_m} m: two-tread step")),
    ];
    for (reach, tool, how) in places {
        let zones = facts.zones_within(reach);
        let steps = draft.which(|w| w.minutes > 0.0 && w.zones.iter().any(|z| zones.contains(z)));
        if steps.is_empty() {
            continue;
        }
        let text = format!("{} {how}", names(&zones));
        if facts.carries(tool) {
            draft.kept("R35", text, each(vec!["A05".into()], &format!("set up the {tool}")));
        } else {
            let lines = each(steps, &format!("{} cannot be reached", names(&zones)));
            let unblock =
                format!("a van with the {tool}, or leave these zones out with the customer's consent");
            draft.unmet("R35", format!("{text}; none on the van"), lines, unblock);
        }
    }
}
