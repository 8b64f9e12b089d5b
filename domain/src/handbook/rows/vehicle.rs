//! The geometry of the vehicle classes.

use crate::handbook::cell;
use crate::inspection::Contaminant;
use crate::vehicle::{Substrate, VehicleClass, Zone};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// A generic body class. Areas are of the outer skin unless said otherwise.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ClassRow {
    pub id: VehicleClass,
    pub name: String,
    pub length_m: f64,
    pub width_m: f64,
    pub height_m: f64,
    /// 0.80 x width x height.
    pub frontal_m2: f64,
    pub side_projection_m2: f64,
    pub plan_projection_m2: f64,
    /// Both sides, plan, front and rear together: an upper bound of the convex skin.
    pub projections_m2: f64,
    /// Sum of the zones the projections see.
    pub envelope_m2: f64,
    /// Sum of all zones, with barrels, arches, shuts and load bed.
    pub all_zones_m2: f64,
    /// Factor on the norms of steps that are counted per vehicle and scaled by class.
    pub time_factor: f64,
    /// Large towels needed to dry it.
    pub drying_towels: u32,
    pub source: String,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Orientation {
    Horizontal,
    Inclined,
    Vertical,
    Mixed,
    /// Seen by neither sun nor projection.
    Recess,
}

/// Where a surface faces, seen from the vehicle.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Face {
    Top,
    Front,
    /// Left and right.
    Side,
    Rear,
}

/// How a technician gets at a surface.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Reach {
    /// Below 0.6 m.
    Kneel,
    /// Up to 1.85 m.
    Ground,
    /// Two treads, up to 2.4 m.
    Step,
    /// Guarded platform and a second person.
    Platform,
}

/// A zone of one vehicle class.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ZoneRow {
    /// `class.zone`, for instance `sedan.roof`.
    pub id: String,
    pub class: VehicleClass,
    pub zone: Zone,
    /// 2 where there is a left and a right one, 4 for wheels.
    pub count: u32,
    pub area_each_m2: f64,
    /// All of them together.
    pub area_m2: f64,
    /// Whether the projections of the class see it.
    pub in_envelope: bool,
    pub orientation: Orientation,
    #[serde(deserialize_with = "cell::list")]
    pub faces: Vec<Face>,
    pub reach: Reach,
    /// Usual order of washing, low first; equal for zones washed together.
    pub wash_rank: u32,
    /// Water runs from lower to higher numbers, on the same side: 0 top, 1 glass, 2 body, 3 low.
    pub drip_level: u8,
    pub default_substrate: Substrate,
    /// Painted plastic, which the thickness gauge (F05) leaves out.
    pub on_plastic: bool,
    /// Susceptibility: 0 none, 1 light, 2 typical, 3 worst place. Grading (A04) begins where most is expected.
    pub s_film: u8,
    pub s_brake_iron: u8,
    pub s_fallout: u8,
    pub s_tar: u8,
    pub s_sap: u8,
    pub s_insect: u8,
    pub s_bird: u8,
    pub s_hardwater: u8,
    pub s_overspray: u8,
    pub s_salt: u8,
    pub s_pollen: u8,
    pub s_moss: u8,
    pub s_cement: u8,
    pub s_road_paint: u8,
    pub s_adhesive: u8,
    pub note: String,
    pub source: String,
}

impl ZoneRow {
    /// How much of a contaminant this place catches, 0 to 3; 0 for what has no place of its own.
    pub fn susceptibility(&self, contaminant: Contaminant) -> u8 {
        match contaminant {
            Contaminant::Film => self.s_film,
            Contaminant::BrakeIron => self.s_brake_iron,
            Contaminant::FalloutIron => self.s_fallout,
            Contaminant::Tar => self.s_tar,
            Contaminant::SapFresh | Contaminant::SapCured => self.s_sap,
            Contaminant::Insect => self.s_insect,
            Contaminant::Bird => self.s_bird,
            Contaminant::HardwaterDeposit | Contaminant::HardwaterEtch => self.s_hardwater,
            Contaminant::Overspray => self.s_overspray,
            Contaminant::Salt => self.s_salt,
            Contaminant::Pollen => self.s_pollen,
            Contaminant::Moss => self.s_moss,
            Contaminant::Cement => self.s_cement,
            Contaminant::RoadPaint => self.s_road_paint,
            Contaminant::Adhesive => self.s_adhesive,
            Contaminant::Oxidation => 0,
        }
    }
}

/// Zones that steps treat together; a class has those of them that it has.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ZoneSet {
    pub id: String,
    pub name: String,
    #[serde(deserialize_with = "cell::list")]
    pub zones: Vec<Zone>,
    pub source: String,
}
