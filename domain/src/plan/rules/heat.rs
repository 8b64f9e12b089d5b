//! R01-R04: panels and wheels that are too hot.

use crate::handbook::Phase;
use crate::inspection::Contaminant;
use crate::plan::draft::{Draft, Lines, Work, each};
use crate::vehicle::{Substrate, Zone};
use chrono::NaiveDateTime;

/// R03: hot wheels are cooled before anything else is done to them.
pub(super) fn insert(draft: &mut Draft) {
    r03_hot_wheels(draft);
}

/// Rules that look at the panel at the time of the step.
pub(super) fn on_the_clock(draft: &mut Draft) {
    r01_panel_over_limit(draft);
    r02_matt_and_dark(draft);
    r04_forecast_over_limit(draft);
}

// ---- limits ----

/// True when the paint is matt and dark, so that its limit is lowered.
fn matt_and_dark(draft: &Draft) -> bool {
    let vehicle = draft.facts.input.vehicle;
    vehicle.finish == Substrate::MattFinish
        && vehicle.absorptance() >= draft.facts.limit("R02", "dark_absorptance")
}

/// The hottest panel a step may meet on a zone, C: the stricter of step and products.
pub(crate) fn limit_on(draft: &Draft, work: &Work, zone: Zone) -> Option<f64> {
    let handbook = draft.facts.handbook();
    let labels = work.products.iter().filter_map(|used| handbook.product(&used.product));
    let label_c = labels.map(|product| product.max_panel_c);
    let limit_c = work.step.max_panel_c.into_iter().chain(label_c).reduce(f64::min)?;
    let matt = draft.facts.zone(zone).is_some_and(|z| z.substrate == Substrate::MattFinish);
    let lowered_k =
        if matt && matt_and_dark(draft) { draft.facts.limit("R02", "limit_lower_k") } else { 0.0 };
    Some(limit_c - lowered_k)
}

/// A panel over its limit.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Excess {
    pub zone: Zone,
    pub panel_c: f64,
    pub limit_c: f64,
    /// Rinsed cool and kept wet it is this warm, which is under the limit.
    pub rinsed_c: Option<f64>,
}

impl Excess {
    fn text(&self, draft: &Draft, work: &Work) -> String {
        let at = draft.facts.at(work.begin_min).format("%H:%M");
        let (zone, panel_c, limit_c) = (self.zone.name(), self.panel_c, self.limit_c);
        match self.rinsed_c {
            Some(rinsed_c) => format!(
                "{zone} {panel_c:.0} C at {at}, limit {limit_c:.0} C: rinse it cool first ({rinsed_c:.0} C wet)"
            ),
            None => format!("{zone} {panel_c:.0} C at {at}, limit {limit_c:.0} C"),
        }
    }
}

/// The panel of a zone at a moment, if it is over the limit of the step.
pub(crate) fn excess_at(draft: &Draft, work: &Work, zone: Zone, at: NaiveDateTime) -> Option<Excess> {
    let limit_c = limit_on(draft, work, zone)?;
    let state = draft.facts.panel_at(zone, at, work.shaded)?;
    if state.panel_c <= limit_c {
        return None;
    }
    // Water cools what may be wet; what goes on a dry panel needs shade.
    let wet = matches!(work.step.phase, Phase::Prewash | Phase::Wash | Phase::Decon | Phase::Mech)
        || work.is(&["F02", "F03"]);
    let rinsed_c = state.wet_c().filter(|&rinsed_c| wet && rinsed_c <= limit_c);
    Some(Excess { zone, panel_c: state.panel_c, limit_c, rinsed_c })
}

/// The worst panel of a step that is over its limit: one that water does not help before one that it does.
fn worst_excess(draft: &Draft, work: &Work) -> Option<Excess> {
    let at = draft.facts.at(work.begin_min);
    let over = work.zones.iter().filter_map(|&zone| excess_at(draft, work, zone, at));
    over.max_by(|a, b| {
        let rank = |e: &Excess| (e.rinsed_c.is_none(), e.panel_c - e.limit_c);
        let (a, b) = (rank(a), rank(b));
        a.0.cmp(&b.0).then(a.1.total_cmp(&b.1))
    })
}

/// Some step meets a panel that even water does not bring under its limit.
pub(crate) fn too_hot(draft: &Draft) -> bool {
    draft.work.iter().any(|w| worst_excess(draft, w).is_some_and(|e| e.rinsed_c.is_none()))
}

// ---- rules ----

/// R01: no chemistry on a panel hotter than its limit; water or shade first, else another time.
fn r01_panel_over_limit(draft: &mut Draft) {
    ask_for_panels(draft);
    let (mut rinsed, mut hot): (Lines, Lines) = (Vec::new(), Vec::new());
    let mut worst: Option<(String, Excess)> = None;
    for work in &draft.work {
        let Some(excess) = worst_excess(draft, work) else { continue };
        let line = (work.step.id.clone(), excess.text(draft, work));
        if excess.rinsed_c.is_some() {
            rinsed.push(line);
            continue;
        }
        if worst.as_ref().is_none_or(|(_, w)| excess.panel_c - excess.limit_c > w.panel_c - w.limit_c) {
            worst = Some((line.0.clone(), excess));
        }
        hot.push(line);
    }
    if !rinsed.is_empty() {
        let text = "panels over their limit: rinse them cool right before, small sections, keep them wet";
        draft.kept("R01", text, rinsed);
    }
    if draft.has("A07") {
        let shade = each(vec!["A07".into()], "shade keeps the panels under their limits");
        draft.kept(
            "R01",
            "panels would be over their limit in the sun: awning up, then read them again",
            shade,
        );
    }
    let Some((step, excess)) = worst else { return };
    let text = format!(
        "{step} on {}: panel {:.0} C at its time, limit {:.0} C",
        excess.zone.name(),
        excess.panel_c,
        excess.limit_c
    );
    let unblock = match draft.facts.cooler_start(draft) {
        Some(at) => format!("start at {}, or shade and cool with water first", at.format("%H:%M")),
        None => "no start that day is cool enough: another day, or a roof".to_string(),
    };
    draft.unmet("R01", text, hot, unblock);
}

/// What is missing where a panel cannot be told: the weather, or the place of a sun that was not given.
fn ask_for_panels(draft: &mut Draft) {
    let unknown = draft.work.iter().any(|w| {
        w.zones.iter().any(|&z| {
            limit_on(draft, w, z).is_some() && draft.facts.panel(z, w.begin_min, w.shaded).is_none()
        })
    });
    if !unknown {
        return;
    }
    if draft.facts.hour(draft.facts.input.start).is_some() && !draft.facts.climate.knows_place() {
        draft.ask("R01", "/site/latitude", "Where is the vehicle? It decides how high the sun stands.");
    } else {
        let text = "What will air, wind, humidity and sun be at the vehicle while the job lasts?";
        draft.ask("R01", "/weather/hours", text);
    }
}

/// R02: the limits of matt and dark paint are lower.
fn r02_matt_and_dark(draft: &mut Draft) {
    if !matt_and_dark(draft) {
        return;
    }
    let less_k = draft.facts.limit("R02", "limit_lower_k");
    let matt = |z: &Zone| draft.facts.zone(*z).is_some_and(|f| f.substrate == Substrate::MattFinish);
    let lines: Lines = draft
        .work
        .iter()
        .filter_map(|w| {
            let zone = w.zones.iter().copied().find(matt)?;
            let limit_c = limit_on(draft, w, zone)?;
            Some((w.step.id.clone(), format!("matt and dark: limit {limit_c:.0} C")))
        })
        .collect();
    let text = format!(
        "matt and dark: read its panels apart, cool with water first, limits are {less_k:.0} K lower"
    );
    draft.kept("R02", text, lines);
}

fn r03_hot_wheels(draft: &mut Draft) {
    let limit_c = draft.facts.limit("R03", "wheel_c");
    let rest_min = draft.facts.limit("R03", "wait_min");
    let steps = draft.planned(&["B02", "B03", "D04"]);
    if steps.is_empty() {
        return;
    }
    let readings = [Zone::WheelFace, Zone::WheelBarrel, Zone::Tyre].map(|zone| draft.facts.reading(zone));
    let why = match (readings.into_iter().flatten().reduce(f64::max), draft.facts.input.inspection.parked_min)
    {
        (Some(wheel_c), _) if wheel_c > limit_c => {
            format!("wheel {wheel_c:.0} C, limit {limit_c:.0} C")
        }
        (None, Some(parked)) if f64::from(parked) < rest_min => {
            format!("driven {parked} min ago, wheels rest {rest_min:.0}")
        }
        (None, None) => {
            let text = "How many minutes has the vehicle been standing? Brakes hold heat.";
            return draft.ask("R03", "/inspection/parked_min", text);
        }
        _ => return,
    };
    draft.insert("B01", "R03", &format!("{why}: gentle water, at most three times, 5 min apart"));
    draft.kept("R03", format!("{why}: cool with water, other work first"), each(steps, &why));
}

/// R04: the booked window will be too hot for some panel; say until when and from when it is not.
fn r04_forecast_over_limit(draft: &mut Draft) {
    let Some(heat) = draft.facts.heat_of_day(draft) else { return };
    let first_min = draft.facts.limit("R04", "horizontals_first_min");
    let clock = |at: NaiveDateTime| at.format("%H:%M");
    let when = match (heat.until, heat.from) {
        (Some(until), Some(from)) => {
            format!("horizontals before {}, no chemistry on them until {}", clock(until), clock(from))
        }
        (Some(until), None) => format!("horizontals before {}", clock(until)),
        (None, Some(from)) => format!("no chemistry on the horizontals before {}", clock(from)),
        (None, None) => "the horizontals are over it all day".to_string(),
    };
    let text = format!(
        "{} up to {:.0} C in the booked window, limit {:.0} C: {when}",
        heat.zone.name(),
        heat.worst_c,
        heat.limit_c
    );
    let unblock = match draft.facts.cooler_start(draft) {
        Some(at) => format!("start at {}, horizontals in the first {first_min:.0} min", clock(at)),
        None => format!("the shady side, or horizontals in the first {first_min:.0} min of an earlier slot"),
    };
    draft.unmet("R04", text, vec![], unblock);
}

/// The hottest panel of the zones that carry a contaminant when the job starts, where weather is known.
pub(super) fn hottest_with(draft: &Draft, contaminant: Contaminant) -> Option<f64> {
    let zones = draft.facts.zones_with(contaminant, 1);
    let states = zones.iter().filter_map(|&z| draft.facts.panel(z, 0.0, false));
    states.map(|state| state.panel_c).max_by(f64::total_cmp)
}
