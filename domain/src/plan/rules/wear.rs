//! R63: tools that have served their count.

use crate::handbook::{Equipment, Severity};
use crate::plan::draft::{Draft, each};

pub(super) fn on_the_clock(draft: &mut Draft) {
    r63_worn(draft);
}

/// Worn clay mars paint, so its count must be known and ends the work.
const CLAY: [&str; 2] = ["clay_towel", "clay_bar"];

/// R63: every tool of the plan that has a count in the handbook; nobody counts mitts and towels who does not want to.
fn r63_worn(draft: &mut Draft) {
    let tools = draft.facts.handbook().equipment.iter();
    for tool in tools {
        let (Some(look), Some(retire)) = (tool.wear_vehicles_min, tool.wear_vehicles_max) else { continue };
        let steps = draft.which(|w| w.step.equipment.contains(&tool.id));
        if steps.is_empty() {
            continue;
        }
        match draft.facts.input.kit.vehicles_served.get(&tool.id) {
            Some(&served) if served >= look => worn(draft, tool, steps, served, retire),
            None if CLAY.contains(&tool.id.as_str()) => {
                let pointer = format!("/kit/vehicles_served/{}", tool.id);
                draft.ask("R63", &pointer, &format!("How many vehicles has the {} served?", short(tool)));
            }
            _ => {}
        }
    }
}

/// A tool that has reached the lower end of its count: clay at the upper end is not used any more, a mitt or towel is
/// exchanged for a fresh one.
fn worn(draft: &mut Draft, tool: &Equipment, steps: Vec<String>, served: u32, retire: u32) {
    let name = short(tool);
    let text = format!("{name} has served {served} vehicles of {retire} at most");
    if served < retire {
        let lines = each(steps, &format!("{name} at {served} vehicles: look at it first"));
        let text = format!("{text}: look at it; {}", tool.wear);
        draft.tell("R63", Severity::Warn, text, lines);
    } else if CLAY.contains(&tool.id.as_str()) {
        let lines = each(steps, &format!("{name} at {served} vehicles: retire it"));
        draft.unmet("R63", text, lines, format!("a new {name}, broken in on glass"));
    } else {
        let lines = each(steps, &format!("{name} at {served} vehicles: take a fresh one"));
        draft.tell("R63", Severity::Warn, format!("{text}: take a fresh one"), lines);
    }
}

/// The name without its size.
fn short(tool: &Equipment) -> String {
    tool.id.replace('_', " ")
}
