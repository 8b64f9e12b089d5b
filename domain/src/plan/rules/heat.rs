//! R01-R08: heat, sun and drying.

use super::super::climate::PanelState;
use super::super::draft::Draft;
use super::super::draft::Work;
use crate::handbook::{Chemistry, Severity};
use crate::inspection::Contaminant;
use crate::vehicle::{Substrate, Zone};

/// R02, before the others: matt and dark paint gets a lower limit, R03: hot wheels wait.
pub(super) fn before_order(draft: &mut Draft) {
    r02_matt_and_dark(draft);
    r03_hot_wheels(draft);
}

/// Rules that look at the panel at the time of the step.
pub(super) fn on_the_clock(draft: &mut Draft) {
    r01_panel_over_limit(draft);
    r04_forecast_over_limit(draft);
    r05_sunny_side(draft);
    r06_sun_and_iron_or_acid(draft);
    r07_dries_before_it_works(draft);
    r08_timer_governs(draft);
}

/// Absorptance from which a matt finish counts as dark: grey and darker (assumption).
const DARK: f64 = 0.75;

/// True when the paint is matt and dark, so that its limit is lowered.
fn matt_and_dark(draft: &Draft) -> bool {
    let vehicle = draft.facts.input.vehicle;
    vehicle.finish == Substrate::MattFinish && vehicle.absorptance() >= DARK
}

/// The hottest panel a step may meet here, C.
pub(crate) fn limit_of(draft: &Draft, work: &Work) -> Option<f64> {
    let lowered_k = if matt_and_dark(draft) { draft.facts.limit("R02", "limit_lower_k") } else { 0.0 };
    work.step.max_panel_c.map(|label_c| label_c - lowered_k)
}

fn r02_matt_and_dark(draft: &mut Draft) {
    if !matt_and_dark(draft) {
        return;
    }
    let less_k = draft.facts.limit("R02", "limit_lower_k");
    let steps = draft.which(|w| w.step.max_panel_c.is_some());
    let text = format!(
        "matt and dark: read its panels apart, cool with water first, limits are {less_k:.0} K lower"
    );
    draft.say("R02", Severity::Adjust, text, steps);
}

fn r03_hot_wheels(draft: &mut Draft) {
    let limit_c = draft.facts.limit("R03", "wheel_c");
    let rest_min = draft.facts.limit("R03", "wait_min");
    let steps = draft.planned(&["B02", "B03", "D04"]);
    if steps.is_empty() {
        return;
    }
    let reading = draft.facts.reading(Zone::WheelFace).or_else(|| draft.facts.reading(Zone::WheelBarrel));
    let why = match (reading, draft.facts.input.inspection.parked_min) {
        (Some(wheel_c), _) if wheel_c > limit_c => {
            format!("wheel reads {wheel_c:.0} C, limit {limit_c:.0} C")
        }
        (Some(_), _) => return,
        (None, Some(parked)) if f64::from(parked) < rest_min => {
            format!("driven {parked} min ago, wheels need {rest_min:.0}")
        }
        (None, Some(_)) => return,
        (None, None) => {
            draft.ask(
                "R03",
                "/inspection/parked_min",
                "How long has the vehicle been standing? Brakes hold heat.",
            );
            return;
        }
    };
    draft.insert(
        "B01",
        "R03",
        "cool the wheels until they are under the limit, at most three times, 5 min apart",
    );
    draft.say("R03", Severity::Adjust, format!("{why}: cool with water and do other work first"), steps);
}

/// R01: no chemistry on a panel hotter than its limit; shade or water first, else another time.
fn r01_panel_over_limit(draft: &mut Draft) {
    let mut hot: Vec<(String, Zone, f64, f64)> = Vec::new();
    let mut weather_missing = false;
    for work in &draft.work {
        let Some(limit_c) = limit_of(draft, work) else { continue };
        for &zone in &work.zones {
            match draft.facts.panel(zone, work.begin_min, work.shaded) {
                Some(PanelState { panel_c, .. }) if panel_c > limit_c => {
                    hot.push((work.step.id.clone(), zone, panel_c, limit_c));
                }
                Some(_) => {}
                None => weather_missing = true,
            }
        }
    }
    if weather_missing {
        draft.ask(
            "R01",
            "/weather/hours",
            "What will air, wind, humidity and sun be at the vehicle? Or read the panels.",
        );
    }
    let Some((step, zone, panel_c, limit_c)) = hot.iter().max_by(|a, b| (a.2 - a.3).total_cmp(&(b.2 - b.3)))
    else {
        return;
    };
    let text = format!("{} on {}: panel {panel_c:.0} C at its time, limit {limit_c:.0} C", step, zone.name());
    let mut steps: Vec<String> = hot.iter().map(|h| h.0.clone()).collect();
    steps.dedup();
    let cooler = draft.facts.cooler_start(draft);
    let unblock = match cooler {
        Some(at) => format!("start at {} or shade and cool with water first", at.format("%H:%M")),
        None => "no start that day is cool enough: another day, or a roof".to_string(),
    };
    draft.block("R01", text, steps, &unblock);
}

/// R04: the booked window will be too hot for some panel; say until when and from when it is not.
fn r04_forecast_over_limit(draft: &mut Draft) {
    let Some(heat) = draft.facts.heat_of_day(draft) else { return };
    let text = match (heat.until, heat.from) {
        (Some(until), Some(from)) => format!(
            "start the horizontals before {}; no chemistry on them until {}",
            until.format("%H:%M"),
            from.format("%H:%M")
        ),
        (Some(until), None) => format!("start the horizontals before {}", until.format("%H:%M")),
        (None, Some(from)) => format!("no chemistry on the horizontals before {}", from.format("%H:%M")),
        (None, None) => "the horizontals are over the limit all day".to_string(),
    };
    let text = format!(
        "up to {:.0} C on the {} in the booked window, limit {:.0} C: {text}",
        heat.worst_c,
        heat.zone.name(),
        heat.limit_c
    );
    draft.say("R04", Severity::Warn, text, vec![]);
}

/// R05: shady side first, sunny side last and quickly.
fn r05_sunny_side(draft: &mut Draft) {
    let steps = draft.planned(&["B05", "B09", "B10", "C01", "C02", "C03", "D03", "D07", "F02", "F03"]);
    if steps.is_empty() || !draft.facts.sun_is_up(draft) {
        return;
    }
    if draft.facts.input.site.heading_deg.is_none() {
        draft.ask("R05", "/site/heading_deg", "Which way does the bonnet point? It decides the shady side.");
        return;
    }
    let Some(text) = draft.facts.shady_side_text(draft) else { return };
    for work in draft.work.iter_mut().filter(|w| steps.contains(&w.step.id)) {
        work.zone_order = format!("{}; {text}", work.zone_order);
    }
    draft.say("R05", Severity::Adjust, text, steps);
}

/// R06: iron remover or acid in the sun goes on in sections of one or two panels.
fn r06_sun_and_iron_or_acid(draft: &mut Draft) {
    let sunny: Vec<String> = draft
        .work
        .iter()
        .filter(|w| draft.facts.uses_chemistry(w, &[Chemistry::Thioglycolate, Chemistry::Acid]))
        .filter(|w| w.zones.iter().any(|&z| draft.facts.in_sun(z, w.begin_min, w.shaded)))
        .map(|w| w.step.id.clone())
        .collect();
    if sunny.is_empty() {
        return;
    }
    let text = "in the sun: one or two panels at a time, each rinsed before the next".to_string();
    draft.say("R06", Severity::Adjust, text, sunny);
}

/// R07: the film dries before the product has worked.
fn r07_dries_before_it_works(draft: &mut Draft) {
    let short: Vec<(String, f64, u32)> = draft
        .work
        .iter()
        .filter_map(|w| {
            let dwell = w.dwell.as_ref()?;
            let dry_s = dwell.dry_s?;
            (dry_s < f64::from(dwell.min_s)).then(|| (w.step.id.clone(), dry_s, dwell.min_s))
        })
        .collect();
    let hopeless_share = draft.facts.limit("R07", "block_share_of_dwell_min");
    let (hopeless, helped): (Vec<_>, Vec<_>) =
        short.into_iter().partition(|(_, dry_s, min_s)| *dry_s < hopeless_share * f64::from(*min_s));
    if let Some((step, dry_s, min_s)) = hopeless.first() {
        let text = format!("{step}: film dries in {dry_s:.0} s, the product needs {min_s} s");
        let steps = hopeless.iter().map(|h| h.0.clone()).collect();
        draft.block("R07", text, steps, "shade, cool with water, or a cooler hour");
    }
    for (step, dry_s, min_s) in helped {
        let text = format!(
            "{step}: film dries in {dry_s:.0} s, the product needs {min_s} s: re-mist with water, at most twice, thicker foam, smaller sections"
        );
        draft.say("R07", Severity::Adjust, text, vec![step]);
    }
}

/// R08: nothing dries, so the label's maximum and a timer govern.
fn r08_timer_governs(draft: &mut Draft) {
    let steps = draft.which(|w| {
        w.dwell
            .as_ref()
            .is_some_and(|d| d.label_max_s > 0 && d.dry_s.is_some_and(|dry| dry >= f64::from(d.label_max_s)))
    });
    if !steps.is_empty() {
        draft.say(
            "R08",
            Severity::Adjust,
            "the label's longest dwell comes before drying: set the timer".into(),
            steps,
        );
    }
}

/// R47 needs it too: the hottest panel of the zones that carry a contaminant, where weather is known.
pub(super) fn hottest_with(draft: &Draft, contaminant: Contaminant) -> Option<f64> {
    draft
        .facts
        .zones
        .iter()
        .filter(|z| draft.facts.grade(z.zone, contaminant).get() >= 1)
        .filter_map(|z| draft.facts.panel(z.zone, 0.0, false))
        .map(|state| state.panel_c)
        .max_by(f64::total_cmp)
}
