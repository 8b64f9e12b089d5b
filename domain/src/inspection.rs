//! What the technician saw, per zone and contaminant, with the evidence.

use crate::vehicle::Zone;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// What can sit on or in a surface; tests, ladders and places in the order are in the handbook's `contaminants` table.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Contaminant {
    Film,
    BrakeIron,
    FalloutIron,
    Tar,
    SapFresh,
    SapCured,
    Insect,
    Bird,
    HardwaterDeposit,
    HardwaterEtch,
    Overspray,
    Salt,
    Pollen,
    Moss,
    Cement,
    RoadPaint,
    Adhesive,
    Oxidation,
}

impl Contaminant {
    /// The contaminant in words, for people.
    pub fn name(self) -> &'static str {
        match self {
            Contaminant::Film => "traffic film",
            Contaminant::BrakeIron => "brake iron",
            Contaminant::FalloutIron => "iron fallout",
            Contaminant::Tar => "tar",
            Contaminant::SapFresh => "fresh sap",
            Contaminant::SapCured => "cured sap",
            Contaminant::Insect => "insects",
            Contaminant::Bird => "bird lime",
            Contaminant::HardwaterDeposit => "mineral deposit",
            Contaminant::HardwaterEtch => "etched rings",
            Contaminant::Overspray => "overspray",
            Contaminant::Salt => "road salt",
            Contaminant::Pollen => "pollen",
            Contaminant::Moss => "moss",
            Contaminant::Cement => "cement",
            Contaminant::RoadPaint => "road paint",
            Contaminant::Adhesive => "adhesive",
            Contaminant::Oxidation => "oxidation",
        }
    }
}

/// 0 none, 1 light, 2 typical, 3 heavy, 4 damage or exceptional.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema)]
#[serde(try_from = "u8", into = "u8")]
#[schema(value_type = u8, minimum = 0, maximum = 4)]
pub struct Grade(u8);

impl Grade {
    pub const NONE: Grade = Grade(0);
    pub const LIGHT: Grade = Grade(1);
    pub const TYPICAL: Grade = Grade(2);
    pub const HEAVY: Grade = Grade(3);
    pub const WORST: Grade = Grade(4);

    pub fn new(grade: u8) -> Option<Grade> {
        (grade <= 4).then_some(Grade(grade))
    }

    pub fn get(self) -> u8 {
        self.0
    }

    /// One grade worse, at most 4.
    pub fn worse(self) -> Grade {
        self.worse_by(1)
    }

    /// So many grades worse, at most 4.
    pub fn worse_by(self, grades: u8) -> Grade {
        Grade(self.0.saturating_add(grades).min(4))
    }
}

impl TryFrom<u8> for Grade {
    type Error = String;
    fn try_from(grade: u8) -> Result<Grade, String> {
        Grade::new(grade).ok_or_else(|| format!("grade {grade} is outside 0 to 4"))
    }
}

impl From<Grade> for u8 {
    fn from(grade: Grade) -> u8 {
        grade.0
    }
}

/// How a grade was come by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Evidence {
    Seen,
    Felt,
    Tested,
    /// Told by the customer; taken worse by the handbook's `booked_grade_unknown_worse`, because customers under-grade.
    Said,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Finding {
    pub zone: Zone,
    pub contaminant: Contaminant,
    pub grade: Grade,
    pub evidence: Evidence,
    /// How long it has been there, hours, where somebody knows.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.0, maximum = 100000.0)]
    pub age_h: Option<f64>,
}

impl Finding {
    /// The grade to plan with; what was only told counts `told_worse` grades worse.
    pub fn working_grade(&self, told_worse: u8) -> Grade {
        match self.evidence {
            Evidence::Said if self.grade > Grade::NONE => self.grade.worse_by(told_worse),
            _ => self.grade,
        }
    }
}

/// An infrared reading of a panel; it replaces the model's temperature there.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PanelReading {
    pub zone: Zone,
    #[schema(minimum = -40.0, maximum = 120.0)]
    pub panel_c: f64,
}

/// One look at one vehicle.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Inspection {
    pub findings: Vec<Finding>,
    #[serde(default)]
    pub readings: Vec<PanelReading>,
    /// Zones with scratches that the refining polish will not take: a cut is offered there.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 40)]
    pub scratched: Vec<Zone>,
    /// Minutes since the vehicle was last driven.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 100000)]
    pub parked_min: Option<u32>,
    /// A mineral ring that stayed after a drop of mild acid on the test spot: an etch, not a deposit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ring_stays_after_acid: Option<bool>,
    /// Colour on the white cloth at the test spot.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub colour_on_cloth: Option<bool>,
    /// The bead test, 0 flat film to 5 rolls off.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 5)]
    pub bead_grade: Option<u8>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 2000)]
    pub note: Option<String>,
}
