//! What the place forbids: days, machines, generators, water.

use super::conflict::{Conflict, ConflictCode, Placed};
use super::time::clock;
use chrono::{Datelike, Weekday};

pub(super) fn of(placed: &Placed) -> Vec<Conflict> {
    saturday(placed).into_iter().chain(machine_hours(placed)).chain(water(placed)).collect()
}

fn saturday(placed: &Placed) -> Option<Conflict> {
    let Placed { visit, stop, .. } = placed;
    let forbidden = visit.site.saturday_allowed == Some(false) && stop.starts_at.weekday() == Weekday::Sat;
    forbidden.then(|| {
        let text = "no work is allowed there on Saturdays.".to_owned();
        Conflict::of(ConflictCode::SaturdayForbidden, visit, text, Vec::new())
    })
}

/// Blower, polisher, vacuum, and the pressure washer where the van has one (rule R26, common practice).
fn machine_hours(placed: &Placed) -> Option<Conflict> {
    let Placed { visit, van, stop } = placed;
    let hours = visit.site.machine_hours?;
    let washer = van.has("pressure_washer");
    let noisy = visit.steps.iter().filter(|step| step.machine || washer && step.runs_water);
    let steps: Vec<&str> = noisy.map(|step| step.id.as_str()).collect();
    let day = stop.starts_at.date();
    let inside = day.and_time(hours.from) <= stop.starts_at && stop.finishes_at <= day.and_time(hours.to);
    (!inside && !steps.is_empty()).then(|| {
        let text = format!(
            "works {} to {}, but machines may run only {} to {} and {} need them.",
            clock(stop.starts_at),
            clock(stop.finishes_at),
            hours.from.format("%H:%M"),
            hours.to.format("%H:%M"),
            steps.join(", ")
        );
        Conflict::of(ConflictCode::MachineHours, visit, text, Vec::new())
    })
}

/// Rule R19 (common practice): from level 1 no free hose, from level 2 run-off is collected; at level 3 only washing
/// without rinsing (assumption: the strictest level).
pub(super) fn water(placed: &Placed) -> Option<Conflict> {
    let Placed { visit, van, .. } = placed;
    let level = visit.site.water_restriction?;
    if !visit.steps.iter().any(|step| step.runs_water) {
        return None;
    }
    let lacks = match level {
        0 => return None,
        _ if level >= 3 => "rinseless washing, P8",
        _ if !van.has("pressure_washer") => "a pressure washer instead of a hose, or P8",
        2 if !van.has("runoff_kit") => "a kit that collects the run-off, or P8",
        _ => return None,
    };
    let text = format!("water is restricted there at level {level}, so {} needs {lacks}.", visit.package);
    Some(Conflict::of(ConflictCode::WaterRestriction, visit, text, Vec::new()))
}
