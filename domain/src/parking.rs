//! Where a vehicle stands in the week, what lies near, and how it is driven.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// A place where it stands for a share of the week.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ParkingPlace {
    /// How its people call it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 80)]
    pub name: Option<String>,
    /// Share of the week, 0 to 1; those of all places add up to at most 1.
    #[schema(minimum = 0.0, maximum = 1.0)]
    pub share: f64,
    #[serde(default)]
    pub sheltering: Sheltering,
    /// What lies near and lets something fall on it.
    #[serde(default)]
    pub sources: Vec<NearSource>,
    /// How corrosive the air there is by ISO 9223, where somebody knows; absent: from the salt of its sources.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub corrosivity: Option<CorrosivityClass>,
}

/// What keeps fallout, rain and sun off.
#[derive(
    Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum Sheltering {
    #[default]
    Open,
    /// A roof without walls.
    Carport,
    Garage,
}

/// A source beside a place, by its kind and distance.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NearSource {
    pub kind: SourceKind,
    /// Absent: the usual distance of its kind in the handbook's `sources` table.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.0, maximum = 100000.0)]
    pub distance_m: Option<f64>,
    /// Of a sprinkler's water, mg/l as calcium carbonate; absent: the handbook's.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.0, maximum = 2000.0)]
    pub hardness_mg_l: Option<f64>,
    /// How often a sprinkler wets it; absent: the handbook's.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.0, maximum = 100.0)]
    pub wettings_per_week: Option<f64>,
    /// Airborne chloride at a coast by the classes of ISO 9223; absent: by the distance.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub chloride_class: Option<ChlorideClass>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum SourceKind {
    Rail,
    /// Foundry, steel works or grinding upwind.
    Foundry,
    BusyRoad,
    BuildingSite,
    Coast,
    Trees,
    Sprinkler,
    SaltedRoads,
}

/// Deposition of airborne chloride, mg/(m²·d): at most 3, 60, 300 and 1500 (ISO 9223).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ChlorideClass {
    S0,
    S1,
    S2,
    S3,
}

/// Corrosivity of the air by bare carbon steel in its first year, µm: at most 1.3, 25, 50, 80, 200 and 700 (ISO 9223:2012;
/// ISO 12944-2 names the same categories).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum CorrosivityClass {
    C1,
    C2,
    C3,
    C4,
    C5,
    Cx,
}

/// How it is driven.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Driving {
    #[schema(minimum = 0.0, maximum = 20000.0)]
    pub km_per_week: f64,
    /// Share of these on motorways, 0 to 1.
    #[serde(default)]
    #[schema(minimum = 0.0, maximum = 1.0)]
    pub motorway_share: f64,
    /// In winter on salted roads.
    #[serde(default)]
    pub on_salted_roads: bool,
}
