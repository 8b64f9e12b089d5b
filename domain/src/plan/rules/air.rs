//! R09-R17, R64, R67: wind, cold, frost, rain, damp, dusk and thunder.

use super::super::draft::Draft;
use crate::handbook::{Chemistry, Severity};
use chrono::{TimeDelta, Timelike};

/// Steps that lay a protection on the paint.
const PROTECTIONS: [&str; 4] = ["H01", "H02", "H03", "H04"];

/// Rules that drop or exchange steps by the weather of the booked start.
pub(super) fn before_order(draft: &mut Draft) {
    r09_wind(draft);
    r10_strong_wind(draft);
    r11_wind_and_textile_guard(draft);
    r12_cold(draft);
    r15_rain(draft);
    r16_rain_after(draft);
    r17_damp(draft);
}

/// Rules that look at the hours in which the steps fall.
pub(super) fn on_the_clock(draft: &mut Draft) {
    r13_freeze(draft);
    r14_night_frost(draft);
    r64_dusk(draft);
    r67_thunder(draft);
}

fn sheltered(draft: &Draft) -> bool {
    draft.facts.input.site.covered == Some(true)
}

/// The van carries an awning and the wind lets it stand.
pub(crate) fn awning_stands(draft: &Draft) -> bool {
    let (mean, peak) = (draft.facts.limit("R10", "wind_m_s"), draft.facts.limit("R10", "gust_m_s"));
    let calm = wind(draft).is_some_and(|w| w <= mean) && gust(draft).is_none_or(|g| g <= peak);
    draft.facts.carries("awning") && calm && !sheltered(draft)
}

/// The strongest mean wind while the job lasts, from the norms' length of it.
fn wind(draft: &Draft) -> Option<f64> {
    draft.facts.hours_of_job(draft).map(|h| h.wind_m_s).max_by(f64::total_cmp)
}

fn gust(draft: &Draft) -> Option<f64> {
    draft.facts.hours_of_job(draft).filter_map(|h| h.gust_m_s).max_by(f64::total_cmp)
}

fn r09_wind(draft: &mut Draft) {
    let limit = draft.facts.limit("R09", "wind_m_s");
    let Some(wind_m_s) = wind(draft) else { return };
    if wind_m_s <= limit || sheltered(draft) {
        return;
    }
    let spray = draft.which(|w| w.step.id == "H04" || draft.facts.uses_chemistry(w, &[Chemistry::Solvent]));
    if !spray.is_empty() {
        let text =
            format!("wind {wind_m_s:.1} m/s over {limit:.0}: no coating and no solvent spray in the open");
        draft.block("R09", text, spray, "a roof, or a calmer day");
    }
    let foam = draft.planned(&["B09", "C01"]);
    if !foam.is_empty() {
        draft.say("R09", Severity::Adjust, format!("wind {wind_m_s:.1} m/s: foam only from upwind"), foam);
    }
}

fn r10_strong_wind(draft: &mut Draft) {
    let (mean, peak) = (draft.facts.limit("R10", "wind_m_s"), draft.facts.limit("R10", "gust_m_s"));
    let over = wind(draft).is_some_and(|w| w > mean) || gust(draft).is_some_and(|g| g > peak);
    if !over || sheltered(draft) {
        return;
    }
    let air = format!("wind {:.1} m/s, gusts {:.1}", wind(draft).unwrap_or(0.0), gust(draft).unwrap_or(0.0));
    let high = draft.facts.zones_on_platform();
    if !high.is_empty() {
        let names: Vec<&str> = high.iter().map(|z| z.name()).collect();
        let text = format!("{air}: no platform, so {} cannot be reached", names.join(", "));
        draft.block("R10", text, vec![], "another day, or leave these zones out with the customer's consent");
    }
    let guard = draft.planned(&["H10"]);
    if !guard.is_empty() {
        draft.drop_steps(&guard);
        draft.say("R10", Severity::Adjust, format!("{air}: no textile guard today"), vec![]);
    }
    let awning = draft.planned(&["A07"]);
    if !awning.is_empty() {
        draft.block(
            "R10",
            format!("{air}: the awning stays in the van"),
            awning,
            "natural shade or a cooler hour",
        );
    } else if high.is_empty() && guard.is_empty() {
        draft.say("R10", Severity::Adjust, format!("{air}: no awning, no platform"), vec![]);
    }
}

fn r11_wind_and_textile_guard(draft: &mut Draft) {
    let limit = draft.facts.limit("R11", "wind_m_s");
    let guard = draft.planned(&["H10"]);
    let Some(wind_m_s) = wind(draft) else { return };
    if guard.is_empty() || wind_m_s <= limit || sheltered(draft) {
        return;
    }
    let text =
        format!("wind {wind_m_s:.1} m/s over {limit:.0}: textile guard would drift onto glass and paint");
    draft.block("R11", text, guard, "move the textile guard to a calm day");
}

fn r12_cold(draft: &mut Draft) {
    let limit = draft.facts.limit("R12", "air_c");
    let Some(air_c) = draft.facts.hours_of_job(draft).map(|h| h.air_c).max_by(f64::total_cmp) else { return };
    if air_c >= limit {
        return;
    }
    let steps = draft.which(|w| {
        draft.facts.uses_chemistry(w, &[Chemistry::Thioglycolate, Chemistry::Acid, Chemistry::Solvent])
    });
    if steps.is_empty() {
        return;
    }
    let text =
        format!("air stays under {limit:.0} C (warmest {air_c:.1}): wash only, left out {}", steps.join(" "));
    draft.drop_steps(&steps);
    draft.say("R12", Severity::Warn, text, vec![]);
}

/// Water on frozen ground or into the frost.
fn r13_freeze(draft: &mut Draft) {
    if sheltered(draft) {
        return;
    }
    let (panel_limit, air_limit) = (draft.facts.limit("R13", "panel_c"), draft.facts.limit("R13", "air_c"));
    let ahead = TimeDelta::minutes((draft.facts.limit("R13", "within_h") * 60.0) as i64);
    let wet: Vec<(String, f64)> =
        draft.work.iter().filter(|w| w.water_l > 0.0).map(|w| (w.step.id.clone(), w.begin_min)).collect();
    let frozen = wet.iter().find_map(|(_, begin_min)| {
        let at = draft.facts.at(*begin_min);
        let hour = draft.facts.hour(at)?;
        let later = draft
            .facts
            .input
            .weather
            .hours
            .iter()
            .find(|h| h.at >= at && h.at <= at + ahead && h.air_c <= 0.0);
        if hour.air_c <= air_limit {
            Some(format!("air {:.0} C at {}", hour.air_c, at.format("%H:%M")))
        } else if let Some(later) = later {
            Some(format!("freezing at {}", later.at.format("%H:%M")))
        } else {
            let cold = draft.facts.zones.iter().filter_map(|z| draft.facts.panel(z.zone, *begin_min, false));
            let coldest = cold.map(|p| p.panel_c).min_by(f64::total_cmp)?;
            (coldest <= panel_limit).then(|| format!("panel {coldest:.0} C at {}", at.format("%H:%M")))
        }
    });
    let Some(why) = frozen else { return };
    let thaw = draft.facts.input.weather.hours.iter().find(|h| {
        h.at > draft.facts.input.start
            && h.at.date() == draft.facts.input.start.date()
            && h.air_c > air_limit + 1.0
    });
    let unblock = match thaw {
        Some(hour) => format!("no water before {}, or a heated covered place", hour.at.format("%H:%M")),
        None => "a covered place, or another day".to_string(),
    };
    let steps = wet.into_iter().map(|w| w.0).collect();
    draft.block("R13", format!("{why}: no water work outdoors"), steps, &unblock);
}

fn r14_night_frost(draft: &mut Draft) {
    let limit = draft.facts.limit("R14", "air_c");
    let end = draft.facts.at(draft.end_min());
    let night =
        draft.facts.input.weather.hours.iter().filter(|h| h.at >= end && h.at <= end + TimeDelta::hours(16));
    let Some(lowest) = night.map(|h| h.air_c).min_by(f64::total_cmp) else { return };
    if lowest <= limit {
        let text = format!(
            "night frost {lowest:.0} C: drain pump, hose and tank lines, take frost-sensitive products inside"
        );
        let steps = draft.planned(&["I05"]);
        draft.say("R14", Severity::Adjust, text, steps);
    }
}

/// The heaviest rain while the protection steps are done.
fn r15_rain(draft: &mut Draft) {
    let limit = draft.facts.limit("R15", "rain_mm_h");
    let raining = draft.facts.hours_of_job(draft).any(|h| h.rain_mm_h > limit);
    let steps = draft.planned(&PROTECTIONS);
    if !raining || sheltered(draft) || steps.is_empty() {
        return;
    }
    to_wet_silica(draft, "R15", "rain in the booked hours", steps);
}

fn r16_rain_after(draft: &mut Draft) {
    let steps = draft.planned(&PROTECTIONS);
    if steps.is_empty() || sheltered(draft) || draft.facts.input.weather.hours.is_empty() {
        return;
    }
    let end = draft.facts.expected_end(draft);
    let limit = draft.facts.limit("R15", "rain_mm_h");
    let dry_h = |step: &str| draft.facts.protection_of(step).map_or(0.0, |p| p.no_rain_min_h);
    let rain_at =
        draft.facts.input.weather.hours.iter().find(|h| h.at >= end && h.rain_mm_h > limit).map(|h| h.at);
    let Some(rain_at) = rain_at else { return };
    let dry_for_h = (rain_at - end).num_minutes() as f64 / 60.0;
    let spoiled: Vec<String> = steps.into_iter().filter(|s| dry_h(s) > dry_for_h).collect();
    if spoiled.is_empty() {
        return;
    }
    let why = format!("rain {dry_for_h:.0} h after the work");
    to_wet_silica(draft, "R16", &why, spoiled);
}

fn r17_damp(draft: &mut Draft) {
    let (limit, gap_k) = (draft.facts.limit("R17", "humidity"), draft.facts.limit("R17", "dew_margin_k"));
    let steps = draft.planned(&["H02", "H04"]);
    if steps.is_empty() {
        return;
    }
    let Some((humidity, near_k)) = draft.facts.damp(draft) else { return };
    if humidity <= limit && near_k.is_none_or(|k| k >= gap_k) {
        return;
    }
    let near = near_k.map_or(String::new(), |k| format!(", panel {k:.1} K above the dew point"));
    let why = format!("humidity {:.0} %{near}", humidity * 100.0);
    to_wet_silica(draft, "R17", &why, steps);
}

/// Exchanges a protection that the weather would spoil for the one that tolerates it; a coating is blocked,
/// because it was sold as such.
fn to_wet_silica(draft: &mut Draft, rule: &str, why: &str, steps: Vec<String>) {
    let coating: Vec<String> = steps.iter().filter(|s| s.as_str() == "H04").cloned().collect();
    if !coating.is_empty() {
        draft.block(
            rule,
            format!("{why}: no coating"),
            coating,
            "a closed, ventilated place, or another day",
        );
        return;
    }
    let exchanged: Vec<String> = steps.into_iter().filter(|s| s != "H03").collect();
    draft.drop_steps(&exchanged);
    draft.insert("H03", rule, "wet type: sprayed on the wet panel and rinsed");
    draft.wet_protection = true;
    let instead = if exchanged.is_empty() { "H03".to_string() } else { exchanged.join(" ") };
    let text = format!("{why}: wet-type silica spray in place of {instead}");
    draft.say(rule, Severity::Adjust, text, vec!["H03".into()]);
}

/// Dry-on work after sunset less the margin.
fn r64_dusk(draft: &mut Draft) {
    if sheltered(draft) {
        return;
    }
    let before = TimeDelta::minutes(draft.facts.limit("R64", "before_sunset_min") as i64);
    let Some(sunset) = draft.facts.sunset() else { return };
    let late: Vec<String> = draft.which(|w| w.is_dry_on() && draft.facts.at(w.end_min) > sunset - before);
    if !late.is_empty() {
        let text = format!(
            "{} would end after {}, {} min before sunset",
            late.join(" "),
            (sunset - before).format("%H:%M"),
            before.num_minutes()
        );
        draft.block("R64", text, late, "an earlier start, more hands, or a protection that tolerates dew");
    }
}

fn r67_thunder(draft: &mut Draft) {
    let hours: Vec<u32> =
        draft.facts.hours_on_the_clock(draft).filter(|h| h.thunder).map(|h| h.at.hour()).collect();
    let (Some(first), Some(last)) = (hours.first(), hours.last()) else { return };
    let wait = draft.facts.limit("R67", "wait_min");
    let from = draft.facts.input.start.date().and_hms_opt(*first, 0, 0);
    let steps = draft
        .which(|w| from.is_some_and(|f| draft.facts.at(w.end_min) > f) && (w.step.power || w.water_l > 0.0));
    if steps.is_empty() {
        return;
    }
    let text = format!("thunder {first:02}:00 to {:02}:00: stop outdoor power and lance", last + 1);
    let unblock = format!("finish before {first:02}:00 or go on {wait:.0} min after the last thunder");
    draft.block("R67", text, steps, &unblock);
}
