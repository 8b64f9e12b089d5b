//! The steps, what they use, their order, and the packages made of them.

use super::{Per, Skill};
use crate::handbook::cell;
use crate::inspection::{Contaminant, Grade};
use crate::vehicle::VehicleClass;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Phase {
    Arrive,
    Prewash,
    Wash,
    Decon,
    /// Mechanical decontamination.
    Mech,
    Dry,
    Correct,
    Protect,
    Finish,
}

/// What a step's norms are counted by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Basis {
    PerM2,
    PerWheel,
    PerSpot,
    PerVehicle,
}

/// Which zones of a step's zone set are treated.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ZoneChoice {
    /// The whole set.
    Set,
    /// Those where the thing to be removed was found.
    Found,
    /// Those treated just before, and all below them.
    Treated,
    /// No zone of the vehicle.
    None,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Step {
    pub id: String,
    pub phase: Phase,
    pub name: String,
    pub purpose: String,
    /// Id in `zone_sets`: the zones whose area the norm counts.
    pub zone_set: String,
    pub zone_choice: ZoneChoice,
    pub zones_text: String,
    /// How to go about the zones.
    pub zone_order: String,
    pub basis: Basis,
    /// Minutes and litres are multiplied by the class's time factor.
    pub class_scaled: bool,
    /// Spots to count on when nobody counted them.
    pub spots_usual: Option<u32>,
    /// Minutes of one technician per unit of the basis at grade 1; absent: not to be done at this grade.
    pub minutes_1: Option<f64>,
    pub minutes_2: Option<f64>,
    pub minutes_3: Option<f64>,
    pub minutes_4: Option<f64>,
    /// What one of the crew must have learned for it.
    pub skill: Option<Skill>,
    /// A technician in training may do it with nobody beside them: no acid, no iron remover.
    pub trainee_alone: bool,
    pub hands_min: u32,
    pub hands_max: u32,
    pub dwell_min_s: u32,
    pub dwell_max_s: u32,
    /// Litres per unit of the basis by pressure washer.
    pub washer_l: f64,
    /// Litres per unit of the basis by garden hose.
    pub hose_l: f64,
    /// A rinse, whose litres grow with the grade.
    pub rinse: bool,
    pub max_panel_c: Option<f64>,
    /// Needs mains or battery.
    pub power: bool,
    /// Ids in `equipment`, all needed.
    #[serde(deserialize_with = "cell::list")]
    pub equipment: Vec<String>,
    /// Ids in `equipment`, one of them needed.
    #[serde(deserialize_with = "cell::list")]
    pub equipment_any: Vec<String>,
    pub equipment_note: String,
    pub preconditions: String,
    #[serde(deserialize_with = "cell::list")]
    pub parallel_with: Vec<String>,
    pub parallel_text: String,
    #[serde(deserialize_with = "cell::list")]
    pub conflicts_with: Vec<String>,
    /// No step of these phases within 2 m or below.
    #[serde(deserialize_with = "cell::list")]
    pub conflicts_with_phases: Vec<Phase>,
    pub conflict_text: String,
    pub pass_check: String,
    pub on_fail: String,
    /// The step that `on_fail` names, if it names one.
    pub on_fail_step: Option<String>,
    pub max_loops: u32,
    pub caution: String,
    pub source: String,
}

impl Step {
    /// Water runs: from the pressure washer where there is one, else from a hose.
    pub fn runs_water(&self) -> bool {
        self.washer_l > 0.0 && self.equipment_any.iter().any(|id| id == "pressure_washer")
    }

    /// Minutes per unit of the basis at a grade, at least light; none where the work is refused.
    pub fn minutes_at(&self, grade: Grade) -> Option<f64> {
        match grade.get() {
            0 | 1 => self.minutes_1,
            2 => self.minutes_2,
            3 => self.minutes_3,
            _ => self.minutes_4,
        }
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ProductRole {
    Main,
    /// In place of the main one.
    Instead,
    /// Together with the main one, when the note says so.
    Also,
}

/// A product in a step.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct StepProduct {
    /// `step.product`.
    pub id: String,
    pub step: String,
    /// Id in `product_classes`.
    pub product: String,
    pub role: ProductRole,
    /// Parts of water to one part of product up to grade 2; 0 is neat, absent as it comes.
    pub water_to_product: Option<f64>,
    /// The same from grade 3; absent: no change.
    pub water_to_product_heavy: Option<f64>,
    /// Shampoo added to a litre made up, to make it cling.
    pub shampoo_ml_per_l: Option<f64>,
    /// Made-up product per `dose_per`.
    pub dose_ml: f64,
    pub dose_per: Per,
    /// Contaminants it is used against; empty: whatever the step is for.
    #[serde(deserialize_with = "cell::list")]
    pub against: Vec<Contaminant>,
    pub note: String,
    pub source: String,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum PairKind {
    /// Never violated.
    Hard,
    /// Costs `cost_min` when violated.
    Soft,
    /// Holds when its condition does.
    Conditional,
    /// Both may not be in one plan in this order.
    Forbidden,
}

/// When a pair holds, beyond both steps being in the plan.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum PairCondition {
    Always,
    ChemistryPlanned,
    WheelOverLimit,
    ArchesDirty,
    NormalOrder,
    GritVisible,
    /// Film of grade 2 or worse.
    FilmTypical,
    /// Spray protection of the kind rinsed off wet.
    WetType,
    DryType,
}

/// One step before another.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Pair {
    pub id: String,
    pub before: String,
    pub after: String,
    pub kind: PairKind,
    /// What breaking a soft pair costs, minutes of work done again or worse (assumption); none for the others.
    pub cost_min: Option<f64>,
    pub condition: PairCondition,
    pub condition_text: String,
    pub gap: String,
    pub min_gap_s: Option<u32>,
    pub max_gap_s: Option<u32>,
    pub rinse_between: bool,
    pub reason: String,
    pub source: String,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Equipment {
    pub id: String,
    pub name: String,
    pub capacity: String,
    pub consumption: String,
    pub wear: String,
    pub rule: String,
    pub flow_l_min: Option<f64>,
    pub vessel_l: Option<f64>,
    pub fill_max_l: Option<f64>,
    pub power_kw: Option<f64>,
    /// Vehicles after which to look at it, and to retire it.
    pub wear_vehicles_min: Option<u32>,
    pub wear_vehicles_max: Option<u32>,
    /// Minutes to put it up: the step that does so takes at least as long.
    pub setup_min: Option<f64>,
    /// Its own limit in the open; absent: R10's, where that speaks of it.
    pub max_wind_m_s: Option<f64>,
    /// Sound level at the ear of whoever works with it, dB(A).
    pub noise_dba: Option<f64>,
    pub source: String,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Package {
    pub id: String,
    pub name: String,
    pub for_whom: String,
    pub steps_text: String,
    pub optional_text: String,
    /// Steps that would make it another package.
    #[serde(deserialize_with = "cell::list")]
    pub excludes: Vec<String>,
    pub excludes_text: String,
    /// Worst film grade at which it may be done at all.
    pub max_film: Option<u8>,
    /// Worst film grade it is meant for.
    pub fits_film: Option<u8>,
    /// Strongest wind in the open while it polishes and protects.
    pub max_wind_m_s: Option<f64>,
    /// Only for these classes; empty: all.
    #[serde(deserialize_with = "cell::list")]
    pub classes: Vec<VehicleClass>,
    /// Share added to the work minutes when a customer is given a window.
    pub buffer_share: f64,
    /// Share of the work a second person cannot take over.
    pub serial_share: f64,
    pub source: String,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum PackageRole {
    Required,
    Optional,
    /// In place of the required step of the same `choice`.
    Alternative,
}

/// A step of a package, in the order of work.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PackageStep {
    /// `package.step`.
    pub id: String,
    pub package: String,
    pub position: u32,
    pub step: String,
    pub role: PackageRole,
    /// Group of which exactly one step is done; empty: none.
    pub choice: String,
    /// Counted in the worked estimate; the package also names steps that the estimates leave out.
    pub in_estimate: bool,
    /// Replaces the step's zone set in this package.
    pub zone_set: Option<String>,
    /// Replaces the step's litres for the whole vehicle in this package.
    pub water_l: Option<f64>,
    pub note: String,
    pub source: String,
}
