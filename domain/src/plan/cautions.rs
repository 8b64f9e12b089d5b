//! What is read before the first step.

use super::draft::Draft;
use super::strain;
use crate::handbook::Chemistry;

/// Stands above every number of this program.
const ABOVE_ALL: &str =
    "The product label and its safety data sheet, local codes and licensed practice rank above this plan.";

/// Every caution that belongs to the steps and the weather of this job.
pub(super) fn cautions(draft: &Draft) -> Vec<String> {
    let facts = draft.facts;
    let any = |groups: &[Chemistry]| draft.work.iter().any(|w| facts.uses_chemistry(w, groups));
    let mut said = vec![ABOVE_ALL.to_string()];
    let mut add = |when: bool, text: &str| {
        if when {
            said.push(text.to_string());
        }
    };
    add(
        any(&[Chemistry::Acid, Chemistry::Alkali, Chemistry::Thioglycolate]),
        "Mix nothing that one label does not name; acid or strong alkali goes into water, never the reverse. Eyes: rinse 15 min, then a doctor.",
    );
    add(
        any(&[Chemistry::Acid]) && any(&[Chemistry::Thioglycolate]),
        "Iron remover and acid never meet: rinse until no suds between. Smell of rotten eggs or chlorine: stop, get away, rinse.",
    );
    add(
        any(&[Chemistry::Solvent]),
        "Solvents: no flame or generator within 3 m; rags into the lidded metal tin, never in a heap.",
    );
    add(any(&[Chemistry::Coating]), "Coating vapour: organic vapour mask, gloves, air movement.");
    add(
        draft.work.iter().any(|w| w.step.power || facts.noisy(w)),
        "Electricity and water: test the residual-current device, connections dry and off the ground; generator outdoors only, exhaust away.",
    );
    add(
        draft.work.iter().any(|w| w.water_l > 0.0),
        "Foam on stone is slippery: shoes, cones, children and animals 5 m away.",
    );
    add(facts.input.crew.len() == 1, "Alone: check in every 2 h, somebody knows the address.");
    add(
        facts.input.vehicle.high_voltage,
        "High-voltage vehicle: no lance at charge port, cooling inlet or underside connectors; set the car-wash mode.",
    );
    said.extend(strain::cautions(draft));
    said
}
