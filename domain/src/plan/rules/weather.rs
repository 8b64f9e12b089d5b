//! R15-R17, R64: what rain, damp, cold and dusk do to protections; the rest of R12 is in [`super::cold`].
//!
//! Before the order is made protections are exchanged for ones that the expected hours tolerate; on the clock,
//! what still falls into hours that spoil it is refused.

use super::cold;
use crate::plan::draft::{Draft, Lines, Work, each};
use crate::plan::facts::Facts;
use crate::vehicle::Zone;
use chrono::{NaiveDateTime, TimeDelta};

/// Steps that lay a protection on the paint.
pub(super) const PROTECTIONS: [&str; 4] = ["H01", "H02", "H03", "H04"];

/// Drops and exchanges by the hours in which the steps are to be expected.
pub(super) fn exchange(draft: &mut Draft) {
    for spoiler in [Spoiler::Rain, Spoiler::Damp, Spoiler::RainAfter, Spoiler::Dusk] {
        exchange_protection(draft, spoiler);
    }
}

/// Refusals by the hours on the clock.
pub(super) fn on_the_clock(draft: &mut Draft) {
    for spoiler in [Spoiler::Cold, Spoiler::Rain, Spoiler::Damp, Spoiler::RainAfter] {
        refuse_protection(draft, spoiler);
    }
    ask_for_rain_after(draft);
    r64_dusk(draft);
}

// ---- protections ----

/// What can spoil a protection.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Spoiler {
    /// R12: air colder than its product takes.
    Cold,
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
            Spoiler::Cold => "R12",
            Spoiler::Rain => "R15",
            Spoiler::Damp => "R17",
            Spoiler::RainAfter => "R16",
            Spoiler::Dusk => "R64",
        }
    }

    /// Why the step would be spoiled when done from `from` to `to`.
    fn why(self, facts: &Facts, work: &Work, from: NaiveDateTime, to: NaiveDateTime) -> Option<String> {
        match self {
            Spoiler::Cold => cold::at_work(facts, work, from, to),
            Spoiler::Rain if !facts.sheltered() => {
                let limit = facts.limit("R15", "rain_mm_h");
                let hour = facts.hours_between(from, to).find(|h| h.rain_mm_h > limit)?;
                Some(format!("rain {} mm/h at {}", hour.rain_mm_h, hour.at.format("%H:%M")))
            }
            Spoiler::Damp if work.is(&["H02", "H04"]) => damp(facts, work, from, to),
            Spoiler::RainAfter if !facts.sheltered() => rain_after(facts, &work.step.id, to),
            Spoiler::Dusk if !facts.sheltered() && work.is(&["H01", "H02"]) => {
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

/// Humidity over the limit, air too warm for a coating, or a panel close to the dew point.
fn damp(facts: &Facts, work: &Work, from: NaiveDateTime, to: NaiveDateTime) -> Option<String> {
    let limit = |name| facts.limit("R17", name);
    let coating = work.is(&["H04"]);
    let humidity = if coating { limit("coating_humidity").min(limit("humidity")) } else { limit("humidity") };
    if let Some(hour) = facts.hours_between(from, to).find(|h| h.humidity > humidity) {
        return Some(format!("humidity {:.0} % at {}", hour.humidity * 100.0, clock(hour.at)));
    }
    let warmest_c = limit("coating_air_c");
    if let Some(hour) = facts.hours_between(from, to).find(|h| coating && h.air_c > warmest_c) {
        let at = clock(hour.at);
        return Some(format!("air {:.1} C at {at}, a coating takes up to {warmest_c} C", hour.air_c));
    }
    let panels = [Zone::Roof, Zone::Bonnet, Zone::Doors];
    let margins = panels.iter().filter_map(|&z| facts.panel_at(z, from, false)).map(|p| p.dew_margin_k());
    let least_k = margins.min_by(f64::total_cmp).filter(|&k| k < limit("dew_margin_k"))?;
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
        let spoiled = draft.find(&step).and_then(|work| spoiler.why(facts, work, from, to));
        let Some(why) = spoiled else { continue };
        let spray_stays =
            || facts.work("H03").is_some_and(|h03| spoiler.why(facts, &h03, from, to).is_none());
        let dry_will_do =
            spoiler == Spoiler::Damp || step != "H03" && spoiler == Spoiler::RainAfter && spray_stays();
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
            Some((w.step.id.clone(), spoiler.why(facts, w, from, to)?))
        })
        .collect();
    let Some((step, why)) = lines.first() else { return };
    let what = if step == "H04" { "no coating".to_string() } else { format!("no {step}") };
    // Even where the table expects an exchange: what was not exchanged is not laid.
    let unblock = match spoiler {
        Spoiler::Cold => "warmer hours, or a heated place",
        _ => "a closed, ventilated place, or another day",
    };
    draft.forbid(spoiler.rule(), format!("{why}: {what}"), lines, unblock);
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
