//! Planning rules, triggers of conditional steps, single numbers.

use crate::handbook::cell;
use crate::inspection::Contaminant;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use utoipa::ToSchema;

/// What a rule that fires does to a plan, mildest first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Severity {
    /// Said.
    Advise,
    /// The plan is changed and the change explained.
    Adjust,
    /// Shown, and has to be acknowledged.
    Warn,
    /// The plan cannot be worked.
    Block,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Rule {
    pub id: String,
    pub category: String,
    pub condition: String,
    pub action: String,
    pub severity: Severity,
    pub reason: String,
    /// Numbers the rule decides with, names carry the unit.
    #[serde(deserialize_with = "cell::parameters")]
    pub parameters: BTreeMap<String, f64>,
    pub parameters_text: String,
    pub source: String,
}

impl Rule {
    pub fn parameter(&self, name: &str) -> Option<f64> {
        self.parameters.get(name).copied()
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum TriggerWhen {
    /// Found worse than booked, or any optional step.
    ExtraWork,
    PanelOverLimit,
    /// `contaminant` at `min_grade` or worse before the work.
    Found,
    /// The same, after `after_step`.
    FoundLate,
    /// Bag grade still above target after `after_step`.
    StillRough,
    RepellentSold,
    /// `contaminant` at `min_grade` or worse, or scratches, where a polish is planned.
    EtchedOrScratched,
    /// `after_step` is in the plan.
    StepPlanned,
    SoftTopGuardSold,
}

/// Steps that findings or wishes add to a package; their place comes from the pairs.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Trigger {
    pub id: String,
    pub when: TriggerWhen,
    pub contaminant: Option<Contaminant>,
    pub min_grade: Option<u8>,
    pub after_step: Option<String>,
    /// Only when found on one of these zones.
    pub zone_set: Option<String>,
    #[serde(deserialize_with = "cell::list")]
    pub inserts: Vec<String>,
    /// Steps done once more.
    #[serde(deserialize_with = "cell::list")]
    pub repeats: Vec<String>,
    pub needs_approval: bool,
    /// On another day.
    pub second_visit: bool,
    pub text: String,
    pub source: String,
}

/// A single number of the trade.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Factor {
    pub id: String,
    pub value: f64,
    pub meaning: String,
    pub source: String,
}
