//! R09-R11, R13, R14, R67: wind, frost and thunder.

use crate::handbook::{Chemistry, Reach};
use crate::plan::draft::{Draft, Lines, each};
use crate::plan::facts::{Facts, names};
use crate::site::WeatherHour;
use crate::vehicle::Zone;
use chrono::{NaiveDateTime, NaiveTime, TimeDelta};

/// Rules that look at the hours in which the steps fall.
pub(super) fn on_the_clock(draft: &mut Draft) {
    r09_wind(draft);
    package_in_wind(draft);
    r10_strong_wind(draft);
    r11_wind_and_textile_guard(draft);
    r13_freeze(draft);
    r14_night_frost(draft);
    r67_thunder(draft);
}

// ---- wind ----

/// The van carries an awning and the wind lets it stand.
pub(crate) fn awning_stands(draft: &Draft) -> bool {
    draft.facts.carries("awning") && !draft.facts.sheltered() && too_windy_for(draft, "awning").is_none()
}

/// Mean wind over what a tool stands, or gusts over R10's, in words.
fn too_windy_for(draft: &Draft, tool: &str) -> Option<String> {
    let own = draft.facts.handbook().equipment.get(tool).and_then(|row| row.max_wind_m_s);
    wind_over(draft, own.unwrap_or(draft.facts.limit("R10", "wind_m_s")))
}

/// Mean wind over a limit, or gusts over R10's, while the job lasts, in words.
fn wind_over(draft: &Draft, mean: f64) -> Option<String> {
    let peak = draft.facts.limit("R10", "gust_m_s");
    let over =
        hours_of_job(draft).find(|h| h.wind_m_s > mean || h.gust_m_s.is_some_and(|gust| gust > peak))?;
    let gusts = over.gust_m_s.map_or(String::new(), |gust| format!(", gusts {gust:.1}"));
    Some(format!("wind {:.1} m/s{gusts} at {}", over.wind_m_s, over.at.format("%H:%M")))
}

fn hours_of_job<'a>(draft: &Draft<'a>) -> impl Iterator<Item = &'a WeatherHour> + use<'a> {
    let facts = draft.facts;
    let end = facts.expected_end(draft).max(facts.at(draft.end_min()));
    facts.hours_between(facts.input.start, end)
}

/// Steps of the kind in hours whose wind is over a limit, with the wind.
fn steps_in_wind(
    draft: &Draft,
    limit_m_s: f64,
    test: impl Fn(&crate::plan::draft::Work) -> bool,
) -> Vec<(String, f64)> {
    let windy = draft.work.iter().filter(|w| test(w)).filter_map(|w| {
        let wind_m_s = draft.facts.hours_of(w).map(|h| h.wind_m_s).max_by(f64::total_cmp)?;
        (wind_m_s > limit_m_s).then(|| (w.step.id.clone(), wind_m_s))
    });
    windy.collect()
}

fn wind_lines(windy: &[(String, f64)], then: &str) -> Lines {
    windy.iter().map(|(step, m_s)| (step.clone(), format!("wind {m_s:.1} m/s: {then}"))).collect()
}

/// R09: no coating, solvent from the cloth only, foam from upwind.
fn r09_wind(draft: &mut Draft) {
    if draft.facts.sheltered() {
        return;
    }
    let limit = draft.facts.limit("R09", "wind_m_s");
    let coating = steps_in_wind(draft, limit, |w| w.step.id == "H04");
    if let Some((_, wind_m_s)) = coating.first() {
        let text = format!("wind {wind_m_s:.1} m/s over {limit} m/s: no coating in the open");
        draft.unmet("R09", text, wind_lines(&coating, "no coating"), "a roof, or a calmer day");
    }
    // Guard is sprayed by nature, rule R11 speaks of it.
    let solvent = steps_in_wind(draft, limit, |w| {
        !w.is(&["H04", "H10"]) && draft.facts.uses_chemistry(w, &[Chemistry::Solvent])
    });
    if let Some((_, wind_m_s)) = solvent.first() {
        let text = format!("wind {wind_m_s:.1} m/s over {limit} m/s: solvent from the cloth, no spray");
        draft.kept("R09", text, wind_lines(&solvent, "solvent from the cloth"));
    }
    let foam = steps_in_wind(draft, limit, |w| w.is(&["B09", "C01"]));
    if let Some((_, wind_m_s)) = foam.first() {
        let text = format!("wind {wind_m_s:.1} m/s over {limit} m/s: foam only from upwind");
        draft.kept("R09", text, wind_lines(&foam, "foam from upwind"));
    }
}

/// A package that is not sold for a windy place: dust settles in what it polishes and lays.
fn package_in_wind(draft: &mut Draft) {
    let package = draft.facts.package;
    let Some(limit) = package.max_wind_m_s.filter(|_| !draft.facts.sheltered()) else { return };
    let windy = steps_in_wind(draft, limit, |w| w.is_dry_on());
    let Some((_, wind_m_s)) = windy.first() else { return };
    let text = format!("wind {wind_m_s:.1} m/s over {limit} m/s: no {} in the open", package.name);
    draft.forbid(&package.id, text, wind_lines(&windy, "dust settles in it"), "a roof, or a calmer day");
}

/// R10: no awning, no platform, no textile guard; a step where its own limit says so.
fn r10_strong_wind(draft: &mut Draft) {
    if draft.facts.sheltered() {
        return;
    }
    ask_for_gusts(draft);
    for (reach, tool) in [(Reach::Platform, "platform"), (Reach::Step, "step")] {
        let Some(air) = too_windy_for(draft, tool) else { continue };
        let zones = draft.facts.zones_within(reach);
        let steps = on_zones(draft, &zones);
        if !steps.is_empty() {
            let text = format!("{air}: no {tool}, so {} cannot be reached", names(&zones));
            let unblock = "another day, or leave these zones out with the customer's consent";
            draft.unmet("R10", text, each(steps, &format!("no {tool} in this wind")), unblock);
        }
    }
    let guard = draft.planned(&["H10"]);
    if let Some(air) = wind_over(draft, draft.facts.limit("R10", "wind_m_s")).filter(|_| !guard.is_empty()) {
        let lines = each(guard, "no textile guard in this wind");
        draft.unmet("R10", format!("{air}: no textile guard"), lines, "move it to a calm day");
    }
    if let Some(air) = too_windy_for(draft, "awning").filter(|_| draft.facts.carries("awning")) {
        draft.kept("R10", format!("{air}: the awning stays in the van"), vec![]);
    }
}

/// Steps that take somebody to these zones.
fn on_zones(draft: &Draft, zones: &[Zone]) -> Vec<String> {
    draft.which(|w| w.minutes > 0.0 && w.zones.iter().any(|zone| zones.contains(zone)))
}

/// R10 needs the gusts where nobody forecast them, the mean wind would bear some over the limit, and somebody or
/// something would fall.
fn ask_for_gusts(draft: &mut Draft) {
    let facts = draft.facts;
    let (peak, factor) = (facts.limit("R10", "gust_m_s"), facts.limit("R10", "gust_factor"));
    let unknown = |h: &WeatherHour| h.gust_m_s.is_none() && h.wind_m_s * factor > peak;
    let exposed = !draft.planned(&["A07", "H10"]).is_empty()
        || !on_zones(draft, &facts.zones_within(Reach::Platform)).is_empty();
    if exposed && hours_of_job(draft).any(unknown) {
        draft.ask("R10", "/weather/hours", "How strong will the gusts be while the job lasts?");
    }
}

/// R11: textile guard drifts onto glass and paint.
fn r11_wind_and_textile_guard(draft: &mut Draft) {
    let limit = draft.facts.limit("R11", "wind_m_s");
    let guard = steps_in_wind(draft, limit, |w| w.step.id == "H10");
    let Some((_, wind_m_s)) = guard.first().filter(|_| !draft.facts.sheltered()) else { return };
    let text =
        format!("wind {wind_m_s:.1} m/s over {limit} m/s: textile guard would drift onto glass and paint");
    draft.unmet("R11", text, wind_lines(&guard, "no textile guard"), "move the textile guard to a calm day");
}

// ---- frost ----

/// R13: water on frozen ground or into the frost.
fn r13_freeze(draft: &mut Draft) {
    if draft.facts.sheltered() {
        return;
    }
    ask_for_frost_ahead(draft);
    let wet = draft.work.iter().filter(|w| w.water_l > 0.0);
    let lines: Lines =
        wet.filter_map(|w| Some((w.step.id.clone(), freezes(draft, draft.facts.at(w.begin_min))?))).collect();
    let Some((_, why)) = lines.first() else { return };
    let text = format!("{why}: no water work outdoors");
    let air_limit = draft.facts.limit("R13", "air_c");
    let start = draft.facts.input.start;
    let thaw = draft.facts.input.weather.hours.iter().map(|h| h.at).find(|&at| {
        at > start && at.date() == start.date() && freezes(draft, at).is_none() && air_limit.is_finite()
    });
    let unblock = match thaw {
        Some(at) => format!("no water before {}, or a covered place", at.format("%H:%M")),
        None => "a covered place, or another day".to_string(),
    };
    draft.unmet("R13", text, lines, unblock);
}

/// R13 looks some hours beyond the last water; past the end of the forecast it asks where frost could follow.
fn ask_for_frost_ahead(draft: &mut Draft) {
    let facts = draft.facts;
    let wet = draft.work.iter().filter(|w| w.water_l > 0.0).map(|w| facts.at(w.begin_min)).max();
    let Some((until, last)) = facts.weather_until().zip(wet) else { return };
    let possible_c = facts.limit("R13", "air_c") + facts.limit("R14", "night_drop_k");
    let coolest = facts.hours_between(facts.input.start, until).map(|h| h.air_c).min_by(f64::total_cmp);
    if until < last + freeze_ahead(facts) && coolest.is_some_and(|c| c <= possible_c) {
        let text = "Will it freeze within the hours after the last water?";
        draft.ask("R13", "/weather/hours", text);
    }
}

fn freeze_ahead(facts: &Facts) -> TimeDelta {
    TimeDelta::minutes((facts.limit("R13", "within_h").clamp(0.0, 240.0) * 60.0) as i64)
}

/// Why water would freeze on the vehicle at a moment or soon after it.
fn freezes(draft: &Draft, at: NaiveDateTime) -> Option<String> {
    let facts = draft.facts;
    let (panel_limit, air_limit) = (facts.limit("R13", "panel_c"), facts.limit("R13", "air_c"));
    let ahead = freeze_ahead(facts);
    let hour = facts.hour(at)?;
    if hour.air_c <= air_limit {
        return Some(format!("air {:.1} C at {}", hour.air_c, at.format("%H:%M")));
    }
    let soon = facts.input.weather.hours.iter().find(|h| h.at >= at && h.at <= at + ahead && h.air_c <= 0.0);
    if let Some(hour) = soon {
        return Some(format!("freezing at {}", hour.at.format("%H:%M")));
    }
    let panels = facts.zones.iter().filter_map(|z| facts.panel_at(z.zone, at, false));
    let coldest = panels.map(|p| p.panel_c).min_by(f64::total_cmp).filter(|&c| c <= panel_limit)?;
    Some(format!("panel {coldest:.1} C at {}", at.format("%H:%M")))
}

/// The night is over by then.
const MORNING: NaiveTime = match NaiveTime::from_hms_opt(8, 0, 0) {
    Some(time) => time,
    None => NaiveTime::MIN,
};

/// R14: frost in the night after the job.
fn r14_night_frost(draft: &mut Draft) {
    let limit = draft.facts.limit("R14", "air_c");
    let end = draft.facts.at(draft.end_min());
    let morning = (end + TimeDelta::hours(24)).date().and_time(MORNING);
    let night = draft.facts.hours_between(end, morning);
    let lowest = night.map(|h| h.air_c).min_by(f64::total_cmp);
    if let Some(lowest) = lowest.filter(|&c| c <= limit) {
        let text = format!(
            "night frost {lowest:.1} C: drain pump, hose and tank lines, take inside what frost spoils: {}",
            spoiled_by_frost(draft)
        );
        let lines = each(draft.planned(&["I05"]), "drain pump, hose and tank lines");
        return draft.kept("R14", text, lines);
    }
    // What is not forecast is asked for when the air is cool enough for a frost to follow.
    let possible = limit + draft.facts.limit("R14", "night_drop_k");
    let unknown = draft.facts.weather_until().is_some_and(|until| until < morning - TimeDelta::hours(2));
    let coolest = draft.facts.input.weather.hours.iter().map(|h| h.air_c).min_by(f64::total_cmp);
    if unknown && coolest.is_some_and(|c| c <= possible) {
        draft.ask("R14", "/weather/hours", "How cold will the night after the job be, until 08:00?");
    }
}

/// What the crew has in hand of that, in words.
fn spoiled_by_frost(draft: &Draft) -> String {
    let used = draft.work.iter().flat_map(|w| &w.products).map(|used| used.product.as_str());
    let rows = used.filter_map(|id| draft.facts.handbook().product(id)).filter(|row| row.freeze_sensitive);
    let mut names: Vec<&str> = rows.map(|row| row.name.as_str()).collect();
    names.sort();
    names.dedup();
    if names.is_empty() { "water-based products".to_string() } else { names.join(", ") }
}

// ---- thunder ----

/// R67: outdoor power and lance stop from the first thunder until half an hour after the last.
fn r67_thunder(draft: &mut Draft) {
    if draft.facts.sheltered() {
        return;
    }
    let wait_min = draft.facts.limit("R67", "wait_min").clamp(0.0, 600.0);
    let wait = TimeDelta::seconds((wait_min * 60.0) as i64);
    let thunder: Vec<(NaiveDateTime, NaiveDateTime)> = draft
        .facts
        .input
        .weather
        .hours
        .iter()
        .filter(|h| h.thunder)
        .map(|h| (h.at, h.at + TimeDelta::hours(1) + wait))
        .collect();
    let hit = draft.which(|w| {
        let (begin, end) = (draft.facts.at(w.begin_min), draft.facts.at(w.end_min));
        draft.facts.noisy(w) && thunder.iter().any(|(from, until)| begin < *until && end > *from)
    });
    let job = (draft.facts.input.start, draft.facts.at(draft.end_min()));
    let during: Vec<_> = thunder.iter().filter(|(from, until)| job.0 < *until && job.1 > *from).collect();
    let (Some((first, _)), Some((_, clear)), false) = (during.first(), during.last(), hit.is_empty()) else {
        return;
    };
    let (first, clear) = (first.format("%H:%M"), clear.format("%H:%M"));
    let near_km = draft.facts.limit("R67", "within_km");
    let text =
        format!("thunder from {first} (within {near_km:.0} km): outdoor power and lance stop until {clear}");
    let unblock =
        format!("finish before {first}, or go on at {clear}, {wait_min:.0} min after the last thunder");
    draft.unmet("R67", text, each(hit, "stopped by thunder"), unblock);
}
