//! What a visit's steps ask of people, machines and the place, as the handbook has them.

use crate::handbook::{Handbook, Skill};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// A step of a visit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct VisitStep {
    /// Id in the handbook's `steps` table.
    pub id: String,
    /// What at least one of the crew must have learned.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub skill: Option<Skill>,
    /// A technician in training may do it with nobody beside them.
    pub trainee_alone: bool,
    /// It runs a machine of its own: blower, polisher, vacuum.
    pub machine: bool,
    /// Water runs: from the pressure washer where there is one, else from a hose.
    pub runs_water: bool,
}

impl VisitStep {
    /// A step of the handbook.
    pub fn read(handbook: &Handbook, id: &str) -> Option<VisitStep> {
        let step = handbook.step(id)?;
        Some(VisitStep {
            id: step.id.clone(),
            skill: step.skill,
            trainee_alone: step.trainee_alone,
            machine: step.power,
            runs_water: step.runs_water(),
        })
    }
}
