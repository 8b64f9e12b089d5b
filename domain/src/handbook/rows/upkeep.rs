//! Protections and exposures: what wears a finish down, and what keeps it.

use super::Per;
use crate::handbook::cell;
use crate::inspection::Contaminant;
use crate::parking::SourceKind;
use crate::vehicle::Substrate;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use utoipa::ToSchema;

#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ProtectionKind {
    Wax,
    Sealant,
    Spray,
    Ceramic,
    Film,
    Glass,
    Dressing,
    Textile,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Protection {
    pub id: String,
    pub name: String,
    pub kind: ProtectionKind,
    #[serde(deserialize_with = "cell::list")]
    pub substrates: Vec<Substrate>,
    pub life_months_min: f64,
    /// Typical life.
    pub life_months: f64,
    pub life_months_max: f64,
    pub prep: String,
    /// False for workshop jobs.
    pub mobile: bool,
    /// Minutes that have to stay dry before it may be touched.
    pub cure_dry_min: f64,
    pub no_rain_min_h: f64,
    pub no_rain_max_h: f64,
    pub no_wash_min_d: f64,
    pub no_wash_max_d: f64,
    pub layers_min: u32,
    pub layers_max: u32,
    pub amount_ml: Option<f64>,
    pub amount_per: Option<Per>,
    pub minutes: f64,
    pub minutes_per: Per,
    /// Bead grade when new, 0 to 5.
    pub bead_start: Option<u8>,
    /// Renewed at or below this bead grade.
    pub bead_renew: Option<u8>,
    pub renew_text: String,
    /// Product classes that take it off.
    #[serde(deserialize_with = "cell::list")]
    pub removed_by: Vec<String>,
    pub removed_above_c: Option<f64>,
    pub removed_text: String,
    pub shortened_by: String,
    /// Id in this table.
    pub refresh_with: Option<String>,
    pub refresh_min_d: Option<f64>,
    pub refresh_max_d: Option<f64>,
    pub refresh_text: String,
    /// Step that applies it.
    pub applied_by: Option<String>,
    pub product: Option<String>,
    /// Share of the exposure dose that lands under it; 1 where it guards no paint.
    pub dose_factor: f64,
    /// Share of life lost to one alkaline wash.
    pub alkaline_wash_loss: f64,
    pub source: String,
}

/// Where a vehicle stands and drives.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ExposureKind {
    pub id: String,
    pub name: String,
    /// Decontamination is due at a dose of 100.
    pub dose_per_day: f64,
    /// 100 / dose per day, rounded.
    pub days_to_100: f64,
    /// Rule of thumb between decontaminations, days.
    pub decon_min_d: Option<f64>,
    pub decon_max_d: Option<f64>,
    pub decon_text: String,
    #[serde(deserialize_with = "cell::list")]
    pub adds: Vec<Contaminant>,
    pub adds_text: String,
    /// Factor on the life of protections.
    pub protection_life_factor: f64,
    /// Days between washes.
    pub wash_min_d: f64,
    pub wash_max_d: f64,
    /// A base that excludes the other bases; the rest may add up.
    pub exclusive: bool,
    /// Only while roads are salted.
    pub salt_season: bool,
    pub source: String,
}

/// How fast something falls on a vehicle that stands near a source, or is driven.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SourceRow {
    pub id: String,
    /// Absent: what falls anywhere in the open, or on the road.
    pub kind: Option<SourceKind>,
    /// The class in the `exposures` table that stands for this source at its usual distance.
    pub exposure: String,
    /// `fallout_iron` stands for all that adds to the dose.
    pub contaminant: Contaminant,
    /// On level paint in the open, 10 m from the source.
    pub rate: f64,
    pub unit: SourceUnit,
    /// Distance where nobody has said.
    pub usual_m: f64,
    /// Distance over which the rate falls to 1/e; absent: it does not fall with the distance.
    pub scale_m: Option<f64>,
    pub source: String,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
pub enum SourceUnit {
    /// mg/(m²·d).
    #[serde(rename = "mg_m2_d")]
    MgM2D,
    /// Dose per day.
    #[serde(rename = "dose_d")]
    DoseD,
    /// Spots/(m²·d).
    #[serde(rename = "spots_m2_d")]
    SpotsM2D,
    /// Spots/m² on 100 km of motorway.
    #[serde(rename = "spots_m2_100km")]
    SpotsM2Per100Km,
    /// What hard water leaves when a film of it dries.
    #[serde(rename = "residues_per_wetting")]
    ResiduesPerWetting,
}

/// How a contaminant gathers, and when it is to be taken off.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Accrual {
    pub id: Contaminant,
    pub unit: String,
    /// Amount at which the work is due.
    pub limit: f64,
    /// Amounts that the grades 1 to 3 stand for.
    pub amount_1: f64,
    pub amount_2: f64,
    pub amount_3: f64,
    /// Readings' worth of trust in the rates, and shape of the growth to the limit.
    pub shape: f64,
    pub form: AccrualForm,
    pub need: AccrualNeed,
    /// Steps that take it off.
    #[serde(deserialize_with = "cell::list")]
    pub cleared_by: Vec<String>,
    /// Factors on the rate by month north of the tropics; their mean is 1.
    #[serde(deserialize_with = "cell::parameters")]
    pub month_factors: BTreeMap<String, f64>,
    pub source: String,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum AccrualForm {
    /// Spots that are counted: gamma-Poisson.
    Counts,
    /// Amounts that are measured: gamma process.
    Amounts,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum AccrualNeed {
    SpotRemoval,
    FrontWash,
    /// Only its rate is told.
    None,
}
