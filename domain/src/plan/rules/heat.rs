//! R01-R04: panels and wheels that are too hot.

use crate::handbook::Phase;
use crate::inspection::Contaminant;
use crate::plan::climate::PanelState;
use crate::plan::draft::{Draft, Lines, Work, each};
use crate::vehicle::{Substrate, Zone};
use chrono::NaiveDateTime;

/// R03: hot wheels are cooled before anything else is done to them.
pub(super) fn insert(draft: &mut Draft) {
    r03_hot_wheels(draft);
}

/// R01: a spray for dry panels becomes one for wet panels, which water can cool.
pub(super) fn exchange(draft: &mut Draft) {
    wet_spray_on_hot_panels(draft);
}

/// Rules that look at the panel at the time of the step.
pub(super) fn on_the_clock(draft: &mut Draft) {
    let starts = if too_hot(draft) > 0 { draft.facts.cooler_starts(draft) } else { None };
    r01_panel_over_limit(draft, starts.as_deref());
    r02_matt_and_dark(draft);
    r04_forecast_over_limit(draft, starts.as_deref());
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
            None => {
                format!(
                    "{zone} {panel_c:.0} C at {at}, limit {limit_c:.0} C: water is not enough, shade it or wait"
                )
            }
        }
    }
}

/// What a step asks of the panel of one zone.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Demand {
    pub zone: Zone,
    pub limit_c: f64,
    /// Water may cool it.
    wet: bool,
    /// Water holds it down by so many kelvin only.
    held_k: Option<f64>,
}

/// None when the step may meet any panel there.
pub(crate) fn demand(draft: &Draft, work: &Work, zone: Zone) -> Option<Demand> {
    let limit_c = limit_on(draft, work, zone)?;
    // Sheet metal in the sun heats a dwelling film again; plastic, rubber and glass stay as the rinse left them.
    let sheet = draft.facts.zone(zone).is_some_and(|z| z.substrate.is_paint());
    let held_k = (sheet && work.step.dwell_min_s > 0).then(|| draft.facts.limit("R01", "water_cools_k"));
    Some(Demand { zone, limit_c, wet: may_be_wet(draft, work), held_k })
}

impl Demand {
    /// The panel, if it is over the limit.
    pub fn excess(&self, state: &PanelState) -> Option<Excess> {
        let over_k = state.panel_c - self.limit_c;
        if over_k <= 0.0 {
            return None;
        }
        let holds = self.wet && self.held_k.is_none_or(|held_k| over_k <= held_k);
        let rinsed_c = if holds { state.wet_c().filter(|&c| c <= self.limit_c) } else { None };
        Some(Excess { zone: self.zone, panel_c: state.panel_c, limit_c: self.limit_c, rinsed_c })
    }
}

/// The panel of a zone at a moment, in the open or under the awning, if it is over the limit of the step.
fn excess_at(draft: &Draft, work: &Work, zone: Zone, at: NaiveDateTime, shaded: bool) -> Option<Excess> {
    demand(draft, work, zone)?.excess(&draft.facts.panel_at(zone, at, shaded)?)
}

/// Water cools what may be wet; what goes on a dry panel needs shade.
fn may_be_wet(draft: &Draft, work: &Work) -> bool {
    matches!(work.step.phase, Phase::Prewash | Phase::Wash | Phase::Decon | Phase::Mech)
        || work.is(&["F02", "F03", "I01"])
        || draft.wet_protection && work.is(&["H03"])
}

/// The worst panel of a step that is over its limit: one that water does not help before one that it does.
fn worst_excess(draft: &Draft, work: &Work) -> Option<Excess> {
    let at = draft.facts.at(work.begin_min);
    let over = work.zones.iter().filter_map(|&zone| excess_at(draft, work, zone, at, work.shaded));
    over.max_by(|a, b| {
        let rank = |e: &Excess| (e.rinsed_c.is_none(), e.panel_c - e.limit_c);
        let (a, b) = (rank(a), rank(b));
        a.0.cmp(&b.0).then(a.1.total_cmp(&b.1))
    })
}

/// Steps that meet a panel which even water does not bring under its limit.
pub(crate) fn too_hot(draft: &Draft) -> usize {
    let hot = |w: &&Work| worst_excess(draft, w).is_some_and(|e| e.rinsed_c.is_none());
    draft.work.iter().filter(hot).count()
}

// ---- rules ----

/// R01: no chemistry on a panel hotter than its limit; water or shade first, else another time.
fn r01_panel_over_limit(draft: &mut Draft, starts: Option<&str>) {
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
    let unblock = match starts {
        Some(starts) => format!("{starts}, or a roof"),
        None => "no start that day is cool enough: another day, or a roof".to_string(),
    };
    draft.unmet("R01", text, hot, unblock);
}

/// By the hour at which the spray is to be expected.
fn wet_spray_on_hot_panels(draft: &mut Draft) {
    let facts = draft.facts;
    let Some((from, _)) = facts.expected_span(draft, "H03") else { return };
    let Some(spray) = draft.find("H03").filter(|_| !draft.wet_protection) else { return };
    let over = spray.zones.iter().filter_map(|&z| excess_at(draft, spray, z, from, false));
    let Some(worst) = over.max_by(|a, b| a.panel_c.total_cmp(&b.panel_c)) else { return };
    draft.wet_protection = true;
    let (zone, panel_c, limit_c) = (worst.zone.name(), worst.panel_c, worst.limit_c);
    let why = format!("{zone} {panel_c:.0} C at {}, limit {limit_c:.0} C", from.format("%H:%M"));
    let line = each(vec!["H03".into()], &format!("{why}: wet type on the rinsed panel"));
    draft.kept("R01", format!("{why}: wet-type silica spray on the rinsed panel"), line);
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
    let (rest_min, sure_min) = (draft.facts.limit("R03", "wait_min"), draft.facts.limit("R03", "wait_max"));
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
            format!("driven {parked} min ago, wheels rest {rest_min:.0} to {sure_min:.0}")
        }
        (None, Some(parked)) if f64::from(parked) < sure_min => {
            let text = format!("Driven {parked} min ago: how hot are the wheels? Brakes hold heat.");
            return draft.ask("R03", "/inspection/readings", &text);
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
fn r04_forecast_over_limit(draft: &mut Draft, starts: Option<&str>) {
    let Some(heat) = draft.facts.heat_of_day(draft) else { return };
    let first_min = draft.facts.limit("R04", "horizontals_first_min");
    let clock = |at: NaiveDateTime| at.format("%H:%M");
    let zone = heat.zone.name();
    let when = match (heat.until, heat.from) {
        (Some(until), Some(from)) => format!(
            "in the open be done with the horizontals before {}, no chemistry on this {zone} before {}",
            clock(until),
            clock(from)
        ),
        (Some(until), None) => format!("in the open be done with the horizontals before {}", clock(until)),
        (None, Some(from)) => format!("in the open no chemistry on this {zone} before {}", clock(from)),
        (None, None) => format!("in the open no chemistry on this {zone} all day"),
    };
    let text = format!(
        "{zone} up to {:.0} C in the booked window, limit {:.0} C: {when}",
        heat.worst_c, heat.limit_c
    );
    let first = format!("the shady side and the horizontals within the first {first_min:.0} min");
    let unblock = match starts {
        Some(starts) => format!("{starts}, {first}"),
        None => first,
    };
    draft.unmet("R04", text, vec![], unblock);
}

/// The hottest panel of the zones that carry a contaminant when the job starts, where weather is known.
pub(super) fn hottest_with(draft: &Draft, contaminant: Contaminant) -> Option<f64> {
    let zones = draft.facts.zones_with(contaminant, 1);
    let states = zones.iter().filter_map(|&z| draft.facts.panel(z, 0.0, false));
    states.map(|state| state.panel_c).max_by(f64::total_cmp)
}
