//! The words of both job sheets: times, pours, timers and what to do when a check fails.

use super::{Branch, Dwell, JobPlan, Mix, PlanLine, Rung, Turn};
use crate::site::dwell::DwellAdvice;
use crate::vehicle::Zone;
use std::collections::BTreeSet;
use std::fmt::Write;

/// Minutes of a step, never a misleading nought.
pub(super) fn length(minutes: f64) -> String {
    match minutes {
        none if none <= 0.0 => "0 min".to_string(),
        short if short < 1.0 => "<1 min".to_string(),
        _ => format!("{minutes:.0} min"),
    }
}

pub(super) fn whole(value: f64) -> String {
    format!("{value:.0}")
}

/// Minutes and seconds.
pub(super) fn clock(seconds: u32) -> String {
    format!("{}:{:02}", seconds / 60, seconds % 60)
}

/// Litres; below one with a tenth, never a misleading nought.
pub(super) fn litres(value: f64) -> String {
    if value < 0.95 { format!("{value:.1}") } else { whole(value) }
}

/// Who does it, and which part; one who does all parts is named once.
pub(super) fn turns(line: &PlanLine) -> String {
    if let Some(first) = line.turns.first()
        && line.turns.iter().all(|turn| turn.technician == first.technician)
    {
        return first.technician.clone();
    }
    let turn = |t: &Turn| match t.part.as_str() {
        "all" => t.technician.clone(),
        part => format!("{} {part}", t.technician),
    };
    line.turns.iter().map(turn).collect::<Vec<_>>().join(" + ")
}

pub(super) fn zones(line: &PlanLine) -> String {
    names(&line.zones)
}

/// The zones of a line; where it treats nearly all that the plan touches, the few that are left out.
pub(super) fn zones_among(plan: &JobPlan, line: &PlanLine) -> String {
    let touched: BTreeSet<Zone> = plan.lines.iter().flat_map(|line| &line.zones).copied().collect();
    let others: Vec<Zone> = touched.into_iter().filter(|zone| !line.zones.contains(zone)).collect();
    match others.len() {
        few if 3 * few > line.zones.len() || line.zones.len() < 3 => zones(line),
        0 => "all zones".to_string(),
        _ => format!("all but {}", names(&others)),
    }
}

fn names(zones: &[Zone]) -> String {
    zones.iter().map(|zone| zone.name()).collect::<Vec<_>>().join(", ")
}

/// What to pour into what: product and water of each fill, then the sums.
pub(super) fn pour(mix: &Mix) -> String {
    let Some(parts) = mix.water_to_product else { return format!("{} as it comes", amount(mix)) };
    let ratio = format!("{}:1, water first", whole_or_tenth(parts));
    if mix.fills > 1 {
        let sums = format!("{} ml in {} in all", whole(mix.pour_ml), volume(mix.made_up_ml));
        format!("{} fills of the {}, each {} ({ratio}; {sums})", mix.fills, mix.vessel, amount(mix))
    } else {
        format!("{}, {} ({ratio}; {} in all)", amount(mix), mix.vessel, volume(mix.made_up_ml))
    }
}

/// What goes into each fill.
pub(super) fn amount(mix: &Mix) -> String {
    if mix.water_to_product.is_none() {
        return format!("{} ml", whole(mix.pour_ml));
    }
    let shampoo = match mix.shampoo_ml / f64::from(mix.fills.max(1)) {
        each if each > 0.0 => format!(" + {} ml shampoo", whole(each)),
        _ => String::new(),
    };
    format!("{} ml + {} water{shampoo}", whole(mix.pour_each_ml), volume(mix.water_each_ml))
}

/// In what and how thin; nothing for what is used as it comes.
pub(super) fn vessel(mix: &Mix) -> Option<String> {
    mix.water_to_product.map(|parts| format!("{}, {}:1", mix.vessel, whole_or_tenth(parts)))
}

/// Water as it can be measured out: 5 ml on a jug, a tenth of a litre in a bucket.
fn volume(ml: f64) -> String {
    if ml < 995.0 { format!("{:.0} ml", (ml / 5.0).round() * 5.0) } else { format!("{:.1} l", ml / 1000.0) }
}

fn whole_or_tenth(value: f64) -> String {
    if (value - value.round()).abs() < 0.05 { whole(value) } else { format!("{value:.1}") }
}

/// How long it may stay.
pub(super) fn timer(dwell: &Dwell) -> String {
    if !dwell.never_dry {
        return format!("{} to {} min", clock(dwell.min_s), clock(dwell.max_s));
    }
    if dwell.min_s > dwell.max_s {
        return format!("needs {} min wet and would dry before: never dry", clock(dwell.min_s));
    }
    format!("{} to {} min wet, never dry", clock(dwell.min_s), clock(dwell.max_s))
}

/// The same in figures.
pub(super) fn timer_short(dwell: &Dwell) -> String {
    if dwell.min_s > dwell.max_s {
        return format!("needs {}, would dry before", clock(dwell.min_s));
    }
    format!("{}-{}", clock(dwell.min_s), clock(dwell.max_s))
}

/// How warm the panel may be.
pub(super) fn panel_limit(line: &PlanLine) -> Option<String> {
    line.max_panel_c.map(|max_c| format!("panel up to {max_c:.0} C"))
}

/// What the drying asks for, beyond the timer.
pub(super) fn drying(dwell: &Dwell) -> Vec<String> {
    let mut said = Vec::new();
    // A film that outlasts the label by far is no news.
    let near = |dry_s: &f64| *dry_s < 2.0 * f64::from(dwell.label_max_s);
    if let (Some(dry_s), Some(panel_c)) = (dwell.dry_s.filter(near), dwell.panel_c) {
        said.push(format!("film dries in {} min on a panel of {panel_c:.0} C", clock(dry_s as u32)));
    }
    said.extend(match dwell.advice {
        Some(DwellAdvice::Sections { section_m2 }) => Some(format!("sections of at most {section_m2:.1} m2")),
        Some(DwellAdvice::Remist { times, section_m2 }) => {
            Some(format!("mist it again {times} x, sections of at most {section_m2:.1} m2"))
        }
        Some(DwellAdvice::CoolFirst) => Some("shade or cool it with water first".to_string()),
        Some(DwellAdvice::Refuse) => Some("not here at this hour".to_string()),
        Some(DwellAdvice::Go) | None => None,
    });
    said
}

/// The loop of a failed check: what, how often, and what one costs.
pub(super) fn failing(branch: &Branch) -> String {
    let times = match branch.max_loops {
        0 => "not again".to_string(),
        times => format!("at most {times} x"),
    };
    let mut costs = vec![times];
    costs.extend((branch.loop_minutes > 0.0).then(|| length(branch.loop_minutes)));
    costs.extend((branch.loop_water_l >= 0.5).then(|| format!("{} l", litres(branch.loop_water_l))));
    costs.extend(branch.dried_rinse_l.map(|dried_l| format!("{} l where it dried", litres(dried_l))));
    costs.extend((branch.loop_on != "all of it").then(|| branch.loop_on.clone()));
    looped(branch, &costs.join(", "))
}

/// The loop with what is said of it in brackets.
pub(super) fn looped(branch: &Branch, said: &str) -> String {
    let mut text = format!("{} ({said})", branch.first);
    if let (Some(step), true) = (&branch.step, branch.step_needs_approval) {
        let _ = write!(text, ", {step} only with a yes");
    }
    text
}

/// One rung up.
pub(super) fn rung(rung: &Rung) -> String {
    let mut text = format!("{}: {} {}", rung.against.name(), rung.step, rung.step_name);
    if rung.minutes > 0.0 {
        let _ = write!(text, ", {}", length(rung.minutes));
    }
    if rung.needs_approval {
        text.push_str(", with a yes to time and price");
    }
    if let Some(max_c) = rung.max_panel_c {
        let _ = write!(text, ", panel up to {max_c:.0} C");
    }
    if !rung.refused_on.is_empty() {
        let names: Vec<&str> = rung.refused_on.iter().map(|zone| zone.name()).collect();
        let _ = write!(text, ", not on {}", names.join(", "));
    }
    text
}
