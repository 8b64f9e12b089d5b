//! R46-R51, R68, R69: contaminants and seasons.

use super::heat::hottest_with;
use crate::inspection::Contaminant;
use crate::plan::draft::{Draft, each};
use crate::plan::facts::names;
use crate::site::sun::Face;

/// R46, R51: soaks and flushes that findings call for.
pub(super) fn insert(draft: &mut Draft) {
    r46_soak_first(draft);
    r51_salt(draft);
}

/// R48, R50: how often iron, and where no acid.
pub(super) fn restrict(draft: &mut Draft) {
    r48_two_iron_rounds(draft);
    r50_etched_rings(draft);
}

pub(super) fn on_the_clock(draft: &mut Draft) {
    r47_bird_lime_on_hot_paint(draft);
    r49_wet_cement(draft);
    r68_insect_season(draft);
    r69_winter_salt(draft);
}

/// R46: bird lime and insects are soaked and lifted, never rubbed.
fn r46_soak_first(draft: &mut Draft) {
    let least = draft.facts.limit("R46", "grade");
    for (contaminant, step) in [(Contaminant::Bird, "B08"), (Contaminant::Insect, "B07")] {
        if f64::from(draft.facts.worst(contaminant).get()) < least || draft.facts.done(step) {
            continue;
        }
        let clock = damage_clock(draft, contaminant);
        draft.insert(step, "R46", &format!("soak and lift, never rub; {clock}"));
        let text = format!(
            "{}: soak first and lift, same visit; until then a wet cloth for 10 min, no rubbing; {clock}",
            contaminant.name()
        );
        draft.kept("R46", text, each(draft.planned(&[step]), "soak first"));
    }
}

/// How long the paint stands it, and how long it has.
fn damage_clock(draft: &Draft, contaminant: Contaminant) -> String {
    let facts = draft.facts;
    /// The mean temperature of the first column of the table, where no weather is known.
    const COOL_C: f64 = 20.0;
    let panel_c = hottest_with(draft, contaminant).unwrap_or(COOL_C);
    let Some(stands_h) = facts.damage_h(contaminant, panel_c) else { return "no clock".to_string() };
    let clock = format!("marks in about {stands_h:.0} h at {panel_c:.0} C");
    match facts.age_h(contaminant) {
        Some(age_h) if age_h >= stands_h => format!("{clock}, there for {age_h:.0} h: expect prints"),
        Some(age_h) => format!("{clock}, there for {age_h:.0} h"),
        None => clock,
    }
}

/// R47: fresh bird lime on a hot panel cannot wait.
fn r47_bird_lime_on_hot_paint(draft: &mut Draft) {
    let facts = draft.facts;
    let limit_c = facts.limit("R47", "panel_c");
    let Some(panel_c) = hottest_with(draft, Contaminant::Bird).filter(|&c| c > limit_c) else { return };
    if let Some(pointer) = facts.missing_age(Contaminant::Bird) {
        draft.ask("R47", &pointer, "How old is the bird lime, in hours?");
    }
    let Some(age_h) = facts.age_h(Contaminant::Bird).filter(|&h| h < facts.limit("R47", "age_h")) else {
        return;
    };
    let within_h = facts.limit("R47", "within_h");
    let text = format!(
        "bird lime {age_h:.0} h old on a panel of {panel_c:.0} C, {}",
        damage_clock(draft, Contaminant::Bird)
    );
    let lines = each(draft.planned(&["B08"]), &format!("{age_h:.0} h old at {panel_c:.0} C"));
    draft.unmet("R47", text, lines, format!("a slot within {within_h:.0} h, a wet cloth on it meanwhile"));
}

/// R48: heavy fallout on the horizontals takes two iron rounds, never a third.
fn r48_two_iron_rounds(draft: &mut Draft) {
    let facts = draft.facts;
    let least = facts.limit("R48", "grade");
    let heavy = facts.zones.iter().any(|z| {
        z.faces.contains(&Face::Top)
            && f64::from(facts.grade(z.zone, Contaminant::FalloutIron).get()) >= least
    });
    let rounds = facts.limit("R48", "rounds").clamp(1.0, 9.0);
    let Some(iron) = draft.work.iter_mut().find(|w| w.step.id == "D03" && heavy) else { return };
    iron.rounds = rounds as u32;
    let text =
        format!("heavy fallout on the horizontals: {rounds:.0} iron rounds, then feel; no third, go to clay");
    let line = each(vec!["D03".into()], &format!("{rounds:.0} rounds, then feel"));
    draft.kept("R48", text, line);
}

/// R49: cement and road paint set within hours.
fn r49_wet_cement(draft: &mut Draft) {
    let facts = draft.facts;
    let limit_h = facts.limit("R49", "within_h");
    for (contaminant, step) in [(Contaminant::Cement, "D09"), (Contaminant::RoadPaint, "D10")] {
        if let Some(pointer) = facts.missing_age(contaminant) {
            draft.ask("R49", &pointer, &format!("How old is the {}, in hours?", contaminant.name()));
        }
        let Some(age_h) = facts.age_h(contaminant).filter(|&h| h < limit_h) else { continue };
        let text = format!("{} {age_h:.0} h old: {}", contaminant.name(), damage_clock(draft, contaminant));
        let lines = each(draft.planned(&[step]), &format!("{age_h:.0} h old, sets within hours"));
        draft.unmet("R49", text, lines, "first aid the same day");
    }
}

/// R50: a ring that acid does not take is a crater.
fn r50_etched_rings(draft: &mut Draft) {
    let facts = draft.facts;
    let rings = facts.zones_with(Contaminant::HardwaterDeposit, 1);
    if rings.is_empty() || !draft.has("D07") {
        return;
    }
    match facts.input.inspection.ring_stays_after_acid {
        Some(true) => no_acid_on(draft, &rings),
        Some(false) => {}
        None => draft.ask(
            "R50",
            "/inspection/ring_stays_after_acid",
            "Does a drop of mild acid take the ring in 60 s on a test spot?",
        ),
    }
}

fn no_acid_on(draft: &mut Draft, rings: &[crate::vehicle::Zone]) {
    if let Some(acid) = draft.work.iter_mut().find(|w| w.step.id == "D07") {
        acid.zones.retain(|z| !rings.contains(z));
        if acid.zones.is_empty() {
            draft.drop_steps("R50", &["D07".to_string()]);
        }
    }
    let place = names(rings);
    let text = format!("{place}: rings stay after the acid drop, etched; no D07 there, quote polishing");
    draft.kept("R50", text, each(draft.planned(&["D07"]), &format!("{place} left out: etched")));
}

/// R51: brine is flushed before the foam.
fn r51_salt(draft: &mut Draft) {
    let facts = draft.facts;
    let grade = facts.worst(Contaminant::Salt);
    if f64::from(grade.get()) < facts.limit("R51", "grade") || facts.done("B11") {
        return;
    }
    let water_c = facts.limit("R51", "water_c");
    if facts.rinseless() {
        draft.drop_steps("R51", &["B11".to_string()]);
        let text = format!("salt of grade {} and a rinseless wash without B11: brine scratches", grade.get());
        return draft.unmet("R51", text, vec![], "a package that rinses");
    }
    draft.insert(
        "B11",
        "R51",
        &format!("salt grade {}: flush low zones, water under {water_c:.0} C", grade.get()),
    );
    let text = format!("salt: flush the low zones before the foam, water never above {water_c:.0} C");
    draft.kept("R51", text, each(draft.planned(&["B11"]), "before the foam"));
}

/// 30,000 km a year, as the exposure `motorway_high` has it (common practice).
const LONG_WAYS_KM_PER_WEEK: f64 = 577.0;

/// R68: insects come oftener when it is warm.
fn r68_insect_season(draft: &mut Draft) {
    let facts = draft.facts;
    let hours = &facts.input.weather.hours;
    let mean_c = hours.iter().map(|h| h.air_c).sum::<f64>() / hours.len() as f64;
    if hours.is_empty() || mean_c <= facts.limit("R68", "air_c") {
        return;
    }
    match exposed(draft, "motorway_high") {
        Some(true) => {}
        Some(false) => return,
        None => return ask_for_exposures(draft, "R68"),
    }
    let days = facts.limit("R68", "cadence_d");
    let text = format!(
        "mean air {mean_c:.1} C and motorway use: wash at most {days:.0} days apart, or a visit for the front only"
    );
    let line = each(draft.planned(&["I04"]), &format!("offer the next wash within {days:.0} days"));
    draft.kept("R68", text, line);
}

/// R69: the salted season is over, and salt left in the seams works on.
fn r69_winter_salt(draft: &mut Draft) {
    let facts = draft.facts;
    let coolest = facts.hours_on_the_clock(draft).map(|h| h.air_c).min_by(f64::total_cmp);
    let flushed = draft.has("B11") || facts.done("B11");
    if flushed || coolest.is_none_or(|c| c <= facts.limit("R69", "air_c")) {
        return;
    }
    let quiet_d = facts.input.last_salted_on.map(|on| (facts.input.start.date() - on).num_days());
    let (dry_d, season_d) = (facts.limit("R69", "dry_days"), facts.limit("R69", "season_d"));
    if quiet_d.is_some_and(|days| (days as f64) < dry_d || days as f64 > season_d) {
        return;
    }
    let Some(days) = quiet_d else {
        if exposed(draft, "winter_salt") == Some(true) {
            draft.ask("R69", "/last_salted_on", "On which day were the roads around last salted?");
        }
        return;
    };
    match exposed(draft, "winter_salt") {
        Some(true) => {}
        Some(false) => return,
        None => return ask_for_exposures(draft, "R69"),
    }
    let offer_d = facts.limit("R69", "offer_within_d");
    let text = format!(
        "roads last salted {days} days ago: offer the winter's end flush within {offer_d:.0} days, before any coating or polish"
    );
    let lines = each(draft.planned(&["I04", "G03", "G04", "H04"]), "winter's end flush first");
    draft.kept("R69", text, lines);
}

/// Whether the vehicle lives like that; unknown when nothing is said of where it stands and drives.
fn exposed(draft: &Draft, kind: &str) -> Option<bool> {
    let vehicle = draft.facts.input.vehicle;
    let named = vehicle.exposures.iter().any(|e| e.kind == kind && e.share > 0.0);
    let driven = vehicle.driving.as_ref().is_some_and(|d| match kind {
        "winter_salt" => d.on_salted_roads,
        "motorway_high" => d.km_per_week * d.motorway_share >= LONG_WAYS_KM_PER_WEEK,
        _ => false,
    });
    let told = !vehicle.exposures.is_empty() || vehicle.driving.is_some() || !vehicle.parking.is_empty();
    told.then_some(named || driven)
}

fn ask_for_exposures(draft: &mut Draft, rule: &str) {
    draft.ask(
        rule,
        "/vehicle/exposures",
        "Where does it stand and drive: garage, street, motorway, salted roads?",
    );
}
