//! What the customer agreed to in writing: marks or bare paint accepted, zones or steps left out.

use super::draft::{Draft, each};
use super::facts::{Facts, names};
use super::{PlanError, PlanInput, validate};
use crate::handbook::{Handbook, Phase, Severity, Step};
use crate::vehicle::{VehicleClass, Zone};
use chrono::NaiveDateTime;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// The customer's written consent to a departure from what was sold. It answers the notice of a rule.
///
/// Of `R43` (a clay bar without polishing) and `R45` (protection stripped and not renewed) it accepts what the rule
/// warns of, everywhere or on the zones named. Of any other rule the zones and steps named are left out.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Waiver {
    /// The rule of the notice that it answers.
    #[schema(max_length = 40, example = "R43")]
    pub rule: String,
    #[serde(default)]
    #[schema(max_items = 40)]
    pub zones: Vec<Zone>,
    /// Steps that treat or protect something; rinses, the wash, drying and what guards the next step stay.
    #[serde(default)]
    #[schema(max_items = 40)]
    pub steps: Vec<String>,
    /// Who agreed.
    #[schema(min_length = 1, max_length = 120, example = "Hyppa")]
    pub by: String,
    /// Wall-clock time at the site.
    #[schema(value_type = String, example = "2026-05-04T09:12:00")]
    pub at: NaiveDateTime,
}

/// Rules whose harm a customer may accept.
const ACCEPTED: [&str; 2] = ["R43", "R45"];

/// Steps of the pre-wash and the wash that treat something apart; the other ones there make the next step safe.
const APART: [&str; 7] = ["B02", "B03", "B04", "B06", "C04", "C06", "I06"];
/// Steps of the later phases that guard the next one: the strip wash, the feel test, masks, the test spot, the panel
/// wipe and the cure.
const GUARDS: [&str; 6] = ["D13", "E06", "G01", "G02", "G05", "H05"];

impl Waiver {
    fn accepts(&self) -> bool {
        ACCEPTED.contains(&self.rule.as_str())
    }

    /// Whether it can be agreed to for a vehicle of the class.
    ///
    /// # Errors
    /// The first value at fault, with its pointer within the waiver.
    pub fn check(&self, handbook: &Handbook, class: VehicleClass) -> Result<(), PlanError> {
        let fault = |pointer: String, detail: String| Err(PlanError { pointer, detail });
        if handbook.rule(&self.rule).is_none() {
            return fault("/rule".into(), format!("there is no rule {}", self.rule));
        }
        if self.accepts() && !self.steps.is_empty() {
            return fault("/steps".into(), format!("{} is accepted, no step is left out", self.rule));
        }
        if !self.accepts() && self.zones.is_empty() && self.steps.is_empty() {
            let detail =
                format!("name the zones or steps left out: what {} forbids cannot be accepted", self.rule);
            return fault(String::new(), detail);
        }
        if self.by.trim().is_empty() {
            return fault("/by".into(), "say who agreed".into());
        }
        validate::date("/at", self.at.date())?;
        if let Some(index) = self.zones.iter().position(|&zone| handbook.zone(class, zone).is_none()) {
            return fault(
                format!("/zones/{index}"),
                format!("this class has no {}", self.zones[index].name()),
            );
        }
        for (index, id) in self.steps.iter().enumerate() {
            let at = format!("/steps/{index}");
            match handbook.step(id) {
                None => return fault(at, format!("there is no step {id}")),
                Some(step) if !may_be_left_out(step) => {
                    return fault(at, format!("{id} {} is never left out: later work needs it", step.name));
                }
                Some(_) => {}
            }
        }
        Ok(())
    }

    /// For a notice and for the sheet.
    pub(super) fn text(&self) -> String {
        let what = match self.rule.as_str() {
            "R43" => "marks of the clay bar accepted".to_string(),
            "R45" => "paint left without protection accepted".to_string(),
            _ => format!("left out {}", self.left_out()),
        };
        let place = if self.accepts() && !self.zones.is_empty() {
            format!(" on {}", names(&self.zones))
        } else {
            String::new()
        };
        format!("{what}{place}, agreed in writing by {} at {}", self.by, self.at.format("%Y-%m-%d %H:%M"))
    }

    fn left_out(&self) -> String {
        let zones = Some(names(&self.zones)).filter(|names| !names.is_empty());
        let steps = Some(self.steps.join(" ")).filter(|steps| !steps.is_empty());
        zones.into_iter().chain(steps).collect::<Vec<_>>().join(" and ")
    }
}

/// The step treats or protects something, and the work that follows is safe without it.
pub(super) fn may_be_left_out(step: &Step) -> bool {
    let later = matches!(step.phase, Phase::Decon | Phase::Mech | Phase::Correct | Phase::Protect);
    let id = step.id.as_str();
    APART.contains(&id) || later && !step.rinse && !GUARDS.contains(&id)
}

/// The pointer of the first waiver at fault.
pub(super) fn check(input: &PlanInput) -> Result<(), PlanError> {
    for (index, waiver) in input.waivers.iter().enumerate() {
        waiver.check(input.handbook, input.vehicle.class).map_err(|fault| PlanError {
            pointer: format!("/waivers/{index}{}", fault.pointer),
            detail: fault.detail,
        })?;
    }
    Ok(())
}

/// Takes out the steps that are left out, for good, and says so.
pub(super) fn apply(draft: &mut Draft) {
    for waiver in draft.facts.input.waivers.iter().filter(|w| !w.accepts()) {
        draft.drop_steps(&waiver.rule, &waiver.steps);
        draft.tell(&waiver.rule, Severity::Adjust, waiver.text(), Vec::new());
    }
    without_zones(draft);
}

/// Steps of the package of which the zones left out leave nothing.
fn without_zones(draft: &mut Draft) {
    let facts = draft.facts;
    let Some(waiver) = facts.input.waivers.iter().find(|w| !w.accepts() && !w.zones.is_empty()) else {
        return;
    };
    let required = facts.entries.iter().filter(|entry| facts.required(&entry.step));
    let gone: Vec<&str> = required
        .map(|entry| entry.step.as_str())
        .filter(|step| !facts.done(step) && facts.work(step).is_none())
        .collect();
    if !gone.is_empty() {
        let text = format!("nothing is left of {} without {}", gone.join(" "), names(&waiver.zones));
        draft.tell(&waiver.rule, Severity::Adjust, text, Vec::new());
    }
}

impl Facts<'_> {
    /// The customer has left the zone out.
    pub(super) fn left_out(&self, zone: Zone) -> bool {
        left_out(self.input, zone)
    }

    /// The customer has left the step out, so nothing takes its place.
    pub(super) fn waived(&self, step: &str) -> bool {
        self.input.waivers.iter().any(|w| w.steps.iter().any(|s| s == step))
    }

    /// The waiver by which the customer accepts what the rule warns of on all these zones.
    pub(super) fn accepted(&self, rule: &str, zones: &[Zone]) -> Option<&Waiver> {
        let covers = |w: &&Waiver| w.zones.is_empty() || zones.iter().all(|zone| w.zones.contains(zone));
        self.input.waivers.iter().filter(|w| w.rule == rule).find(covers)
    }
}

pub(super) fn left_out(input: &PlanInput, zone: Zone) -> bool {
    input.waivers.iter().any(|w| !w.accepts() && w.zones.contains(&zone))
}

/// Says that what the rule warns of on these zones is accepted; false when nobody has accepted it.
pub(super) fn accept(draft: &mut Draft, rule: &str, zones: &[Zone], steps: &[String]) -> bool {
    let Some(waiver) = draft.facts.accepted(rule, zones) else { return false };
    draft.kept(rule, waiver.text(), each(steps.to_vec(), "accepted in writing"));
    true
}
