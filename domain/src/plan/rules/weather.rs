//! R12, R15-R17, R64: what cold, rain, damp and dusk do to chemistry and protections.
//!
//! Before the order is made protections are exchanged for ones that the expected hours tolerate; on the clock,
//! what still falls into hours that spoil it is refused.

use crate::handbook::Chemistry;
use crate::plan::draft::{Draft, Lines, Work, each};
use crate::plan::facts::Facts;
use crate::vehicle::Zone;
use chrono::{NaiveDateTime, TimeDelta};

/// Steps that lay a protection on the paint.
pub(super) const PROTECTIONS: [&str; 4] = ["H01", "H02", "H03", "H04"];

/// Drops and exchanges by the hours in which the steps are to be expected.
pub(super) fn exchange(draft: &mut Draft) {
    r12_cold(draft);
    for spoiler in [Spoiler::Rain, Spoiler::Damp, Spoiler::RainAfter, Spoiler::Dusk] {
        exchange_protection(draft, spoiler);
    }
}

/// Refusals by the hours on the clock.
pub(super) fn on_the_clock(draft: &mut Draft) {
    for spoiler in [Spoiler::Rain, Spoiler::Damp, Spoiler::RainAfter] {
        refuse_protection(draft, spoiler);
    }
    ask_for_rain_after(draft);
    r64_dusk(draft);
}

// ---- cold ----

/// R12: iron remover, acid and solvent do not work in the cold.
fn r12_cold(draft: &mut Draft) {
    let facts = draft.facts;
    let (air_limit, panel_limit) = (facts.limit("R12", "air_c"), facts.limit("R12", "panel_c"));
    let chemical =
        |w: &Work| w.uses("iron_remover") || facts.uses_chemistry(w, &[Chemistry::Acid, Chemistry::Solvent]);
    let spans = facts.expected_spans(draft);
    let cold: Lines = draft
        .work
        .iter()
        .zip(spans)
        .filter(|(w, _)| chemical(w))
        .filter_map(|(w, (from, to))| {
            let air_c = facts.hours_between(from, to).map(|h| h.air_c).min_by(f64::total_cmp)?;
            let panels = w.zones.iter().filter_map(|&z| facts.panel_at(z, from, false));
            let panel_c = panels.map(|p| p.panel_c).min_by(f64::total_cmp).unwrap_or(air_c);
            let at = from.format("%H:%M");
            let why = match (air_c < air_limit, panel_c < panel_limit) {
                (true, _) => format!("air {air_c:.1} C at {at}"),
                (false, true) => format!("panel {panel_c:.1} C at {at}"),
                _ => return None,
            };
            Some((w.step.id.clone(), why))
        })
        .collect();
    let Some((_, why)) = cold.first().cloned() else { return };
    let mut steps: Vec<String> = cold.into_iter().map(|line| line.0).collect();
    // Salt is flushed with plain water just as well.
    if let Some(flush) = draft.work.iter_mut().find(|w| w.step.id == "B11" && steps.contains(&w.step.id)) {
        flush.products.clear();
        draft.explain("B11", "R12", "too cold for chemistry: plain water");
        steps.retain(|step| step != "B11");
    }
    if steps.is_empty() {
        return;
    }
    draft.drop_steps("R12", &steps);
    let text = format!("{why}, limit {air_limit} C: wash only, left out {}", steps.join(" "));
    draft.unmet("R12", text, vec![], format!("hours of {air_limit} C or more, or a heated place"));
}

// ---- protections ----

/// What can spoil a protection.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Spoiler {
    /// R15: rain while it is laid.
    Rain,
    /// R17: damp air or a panel near the dew point.
    Damp,
    /// R16: rain before it has cured.
    RainAfter,
    /// R64: no light, and dew.
    Dusk,
}

impl Spoiler {
    fn rule(self) -> &'static str {
        match self {
            Spoiler::Rain => "R15",
            Spoiler::Damp => "R17",
            Spoiler::RainAfter => "R16",
            Spoiler::Dusk => "R64",
        }
    }

    /// Why the step would be spoiled when done from `from` to `to`.
    fn why(self, facts: &Facts, step: &str, from: NaiveDateTime, to: NaiveDateTime) -> Option<String> {
        match self {
            Spoiler::Rain if !facts.sheltered() => {
                let limit = facts.limit("R15", "rain_mm_h");
                let hour = facts.hours_between(from, to).find(|h| h.rain_mm_h > limit)?;
                Some(format!("rain {} mm/h at {}", hour.rain_mm_h, hour.at.format("%H:%M")))
            }
            Spoiler::Damp if ["H02", "H04"].contains(&step) => damp(facts, from, to),
            Spoiler::RainAfter if !facts.sheltered() => rain_after(facts, step, to),
            Spoiler::Dusk if !facts.sheltered() && ["H01", "H02"].contains(&step) => {
                let last = if far_from_dusk(facts, to) { None } else { last_light(facts) }?;
                (to > last).then(|| format!("over at {} only, dew from {}", clock(to), clock(last)))
            }
            _ => None,
        }
    }
}

fn clock(at: NaiveDateTime) -> String {
    at.format("%H:%M").to_string()
}

/// Humidity over the limit or a panel close to the dew point.
fn damp(facts: &Facts, from: NaiveDateTime, to: NaiveDateTime) -> Option<String> {
    let (limit, gap_k) = (facts.limit("R17", "humidity"), facts.limit("R17", "dew_margin_k"));
    if let Some(hour) = facts.hours_between(from, to).find(|h| h.humidity > limit) {
        return Some(format!("humidity {:.0} % at {}", hour.humidity * 100.0, clock(hour.at)));
    }
    let panels = [Zone::Roof, Zone::Bonnet, Zone::Doors];
    let margins = panels.iter().filter_map(|&z| facts.panel_at(z, from, false)).map(|p| p.dew_margin_k());
    let least_k = margins.min_by(f64::total_cmp).filter(|&k| k < gap_k)?;
    Some(format!("panel {least_k:.1} K above the dew point at {}", clock(from)))
}

fn rain_after(facts: &Facts, step: &str, to: NaiveDateTime) -> Option<String> {
    let limit = facts.limit("R15", "rain_mm_h");
    let cure_h = facts.protection_of(step)?.no_rain_min_h;
    let rain = facts.input.weather.hours.iter().find(|h| h.at >= to && h.rain_mm_h > limit)?;
    let dry_h = (rain.at - to).num_seconds() as f64 / 3600.0;
    (dry_h < cure_h).then(|| format!("rain {dry_h:.1} h after it, it needs {cure_h} h"))
}

/// Exchanges wax, sealant or dry spray for what the hours tolerate; a coating was sold as such and stays.
fn exchange_protection(draft: &mut Draft, spoiler: Spoiler) {
    let facts = draft.facts;
    for step in draft.planned(&["H01", "H02", "H03"]) {
        if step == "H03" && draft.wet_protection {
            continue;
        }
        let Some((from, to)) = facts.expected_span(draft, &step) else { continue };
        let Some(why) = spoiler.why(facts, &step, from, to) else { continue };
        let dry_will_do = spoiler == Spoiler::Damp
            || step != "H03"
                && spoiler == Spoiler::RainAfter
                && spoiler.why(facts, "H03", from, to).is_none();
        if step != "H03" {
            draft.insert("H03", spoiler.rule(), &format!("in place of {step}: {why}"));
            if !draft.has("H03") {
                continue;
            }
            draft.drop_steps(spoiler.rule(), std::slice::from_ref(&step));
        }
        draft.wet_protection |= !dry_will_do;
        let kind = if dry_will_do { "silica spray" } else { "wet-type silica spray, rinsed off," };
        let text = format!("{why}: {kind} in place of {step}");
        let line = each(vec!["H03".into()], &format!("{why}: {kind} tolerates it"));
        draft.kept(spoiler.rule(), text, line);
    }
}

/// Protections that on the clock fall into hours that spoil them.
fn refuse_protection(draft: &mut Draft, spoiler: Spoiler) {
    let facts = draft.facts;
    let spoiled = draft.work.iter().filter(|w| w.is(&PROTECTIONS));
    let spoiled = spoiled.filter(|w| w.step.id != "H03" || !draft.wet_protection);
    let lines: Lines = spoiled
        .filter_map(|w| {
            let (from, to) = (facts.at(w.begin_min), facts.at(w.end_min));
            Some((w.step.id.clone(), spoiler.why(facts, &w.step.id, from, to)?))
        })
        .collect();
    let Some((step, why)) = lines.first() else { return };
    let what = if step == "H04" { "no coating".to_string() } else { format!("no {step}") };
    // Even where the table expects an exchange: what was not exchanged is not laid.
    draft.forbid(
        spoiler.rule(),
        format!("{why}: {what}"),
        lines,
        "a closed, ventilated place, or another day",
    );
}

/// R16 needs the weather until a protection has cured.
fn ask_for_rain_after(draft: &mut Draft) {
    let facts = draft.facts;
    let Some(until) = facts.weather_until().filter(|_| !facts.sheltered()) else { return };
    let cures = draft.work.iter().filter(|w| w.is(&PROTECTIONS) && !(draft.wet_protection && w.is(&["H03"])));
    let needed = cures.filter_map(|w| {
        let cure_h = facts.protection_of(&w.step.id)?.no_rain_min_h.clamp(0.0, 240.0);
        Some(facts.at(w.end_min) + TimeDelta::seconds((cure_h * 3600.0) as i64))
    });
    if let Some(needed) = needed.max().filter(|needed| *needed > until) {
        let text = format!("Will it rain before {}? Until then the protection must stay dry.", clock(needed));
        draft.ask("R16", "/weather/hours", &text);
    }
}

// ---- dusk ----

/// Sunset less the margin: dry-on work is over by then.
pub(crate) fn last_light(facts: &Facts) -> Option<NaiveDateTime> {
    let before_min = facts.limit("R64", "before_sunset_min").clamp(0.0, 1440.0);
    Some(facts.sunset()? - TimeDelta::seconds((before_min * 60.0) as i64))
}

/// The sun stands well up from the start to the margin after `end`: no sunset need be searched, which is dear.
fn far_from_dusk(facts: &Facts, end: NaiveDateTime) -> bool {
    const WELL_UP_DEG: f64 = 88.0;
    let margin_min = facts.limit("R64", "before_sunset_min").clamp(0.0, 1440.0);
    let then = end + TimeDelta::seconds((margin_min * 60.0) as i64);
    let up = |at| facts.climate.zenith_deg(at).is_some_and(|deg| deg < WELL_UP_DEG);
    then.date() == facts.input.start.date() && up(facts.input.start) && up(then)
}

/// R64: dry-on work after sunset less the margin.
fn r64_dusk(draft: &mut Draft) {
    let facts = draft.facts;
    let dry_on = |w: &Work| w.is_dry_on() && !(draft.wet_protection && w.is(&["H03"]));
    if facts.sheltered() || !draft.work.iter().any(dry_on) {
        return;
    }
    if !facts.climate.knows_place() {
        return draft.ask("R64", "/site/latitude", "Where is the vehicle? It decides when the sun sets.");
    }
    let end = draft.work.iter().filter(|w| dry_on(w)).map(|w| facts.at(w.end_min)).max();
    if end.is_some_and(|end| far_from_dusk(facts, end)) {
        return;
    }
    let Some(last) = last_light(facts) else { return };
    let late: Lines = draft
        .work
        .iter()
        .filter(|w| dry_on(w) && facts.at(w.end_min) > last)
        .map(|w| {
            (w.step.id.clone(), format!("over at {}, dew from {}", clock(facts.at(w.end_min)), clock(last)))
        })
        .collect();
    if late.is_empty() {
        return;
    }
    let steps: Vec<&str> = late.iter().map(|line| line.0.as_str()).collect();
    let text = format!("{} would end after {}, when light goes and dew comes", steps.join(" "), clock(last));
    draft.unmet("R64", text, late, "an earlier start, more hands, or a protection that tolerates dew");
}
