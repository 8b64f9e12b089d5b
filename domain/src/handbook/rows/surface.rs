//! What lies on a surface, what the surface is made of, and the classes of product that meet both.

use crate::handbook::cell;
use crate::inspection::Contaminant;
use crate::vehicle::Substrate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// What may not meet: an id, and when it is not always so the id of a [`BanCondition`].
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(from = "BanCell")]
pub struct Ban {
    pub id: String,
    pub condition: Option<String>,
}

/// `id` or `id:condition` in a data file, an object in JSON.
#[derive(Deserialize)]
#[serde(untagged)]
enum BanCell {
    Text(String),
    Object {
        id: String,
        #[serde(default)]
        condition: Option<String>,
    },
}

impl From<BanCell> for Ban {
    fn from(cell: BanCell) -> Ban {
        match cell {
            BanCell::Object { id, condition } => Ban { id, condition },
            BanCell::Text(text) => match text.split_once(':') {
                Some((id, condition)) => Ban { id: id.to_owned(), condition: Some(condition.to_owned()) },
                None => Ban { id: text, condition: None },
            },
        }
    }
}

/// When a ban holds.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct BanCondition {
    pub id: String,
    pub meaning: String,
    pub source: String,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SubstrateRow {
    pub id: Substrate,
    pub name: String,
    pub recognised_by: String,
    /// Product classes.
    #[serde(deserialize_with = "cell::list")]
    pub forbids_products: Vec<Ban>,
    #[serde(deserialize_with = "cell::list")]
    pub forbids_chemistry: Vec<Chemistry>,
    #[serde(deserialize_with = "cell::list")]
    pub forbids_steps: Vec<Ban>,
    pub forbids_note: String,
    pub ph_min: Option<f64>,
    pub ph_max: Option<f64>,
    /// What lance and water may be like on it: pressure, distance of the nozzle, temperature.
    pub lance_max_bar: Option<f64>,
    pub lance_min_m: Option<f64>,
    pub water_max_c: Option<f64>,
    pub limits: String,
    pub note: String,
    pub source: String,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ContaminantRow {
    pub id: Contaminant,
    pub name: String,
    pub nature: String,
    pub test: String,
    /// What grade 1 looks like, and so on.
    pub grade_1: String,
    pub grade_2: String,
    pub grade_3: String,
    pub grade_4: String,
    /// Hours until unprotected clear coat is damaged at a mean panel temperature of 20 C; absent: no clock.
    pub damage_h_at_20c: Option<f64>,
    pub damage_h_at_45c: Option<f64>,
    pub accelerators: String,
    pub ladder: String,
    /// Steps that remove it, gentlest first.
    #[serde(deserialize_with = "cell::list")]
    pub ladder_steps: Vec<String>,
    pub place: String,
    pub verify: String,
    pub stop: String,
    /// Rounds of one step against it after which the next rung follows; absent: the step's own loops decide.
    pub max_rounds: Option<u32>,
    pub source: String,
}

impl ContaminantRow {
    /// Hours until damage at a mean panel temperature: the two tabulated values, straight in the logarithm
    /// (assumption), held within -10 to 80 C.
    pub fn damage_h(&self, panel_c: f64) -> Option<f64> {
        let (cool, hot) = (self.damage_h_at_20c?, self.damage_h_at_45c?);
        Some(cool * (hot / cool).powf((panel_c.clamp(-10.0, 80.0) - 20.0) / 25.0))
    }
}

/// Chemistry that decides what may meet what.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Chemistry {
    Alkali,
    Acid,
    Thioglycolate,
    Oxidiser,
    Hypochlorite,
    Ammonia,
    Anionic,
    Cationic,
    Solvent,
    Fluoride,
    /// A coating that cures.
    Coating,
    Silicone,
    Abrasive,
    /// Wax, sealant, spray or repellent.
    Protection,
    Neutral,
}

/// What an amount or a norm is counted by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Per {
    M2,
    Wheel,
    Spot,
    Vehicle,
}

/// A class of product; the label and safety data sheet of the real product rank above every number here.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ProductClass {
    pub id: String,
    pub name: String,
    #[serde(deserialize_with = "cell::list")]
    pub chemistry: Vec<Chemistry>,
    pub ph_neat_min: Option<f64>,
    pub ph_neat_max: Option<f64>,
    /// pH as used.
    pub ph_use_min: Option<f64>,
    pub ph_use_max: Option<f64>,
    pub active: String,
    /// GHS hazard statements typical of the class, mostly of the concentrate.
    #[serde(deserialize_with = "cell::list")]
    pub ghs: Vec<String>,
    pub ghs_note: String,
    /// May not be carried.
    pub banned: bool,
    /// Parts of water to one part of product, strongest use; 0 is neat. Absent: as it comes.
    pub ratio_min: Option<f64>,
    /// Weakest use.
    pub ratio_max: Option<f64>,
    pub dilution: String,
    /// Its label allows shampoo in the mixture, to make it cling; nothing else is ever added.
    pub takes_shampoo: bool,
    pub application: String,
    /// Made-up product, ml.
    pub coverage_min_ml: Option<f64>,
    pub coverage_max_ml: Option<f64>,
    pub coverage_per: Option<Per>,
    pub dwell_min_s: u32,
    /// 0: nothing to wait for.
    pub dwell_max_s: u32,
    pub max_panel_c: f64,
    pub min_air_c: f64,
    /// It may not dry on the surface; what may dry has its label's dwell whatever the panel.
    pub never_dry: bool,
    /// Substrates it may not touch.
    #[serde(deserialize_with = "cell::list")]
    pub forbidden_on: Vec<Ban>,
    pub forbidden_note: String,
    pub keep_apart: String,
    /// 0 none to 3 most; an ordinary rinse that carries it takes `rinse_demand_1` to `_3` times the litres.
    pub rinse_demand: u8,
    /// The rinse after it begins with shampoo foam, because water alone beads on what it leaves.
    pub surfactant_wash_after: bool,
    /// How much protection it takes off, 0 to 3; absent: it is protection itself.
    pub strips_protection: Option<u8>,
    pub ppe: String,
    /// Goes inside in a frosty night.
    pub freeze_sensitive: bool,
    pub storage: String,
    pub runoff: String,
    /// Toxic or of extreme pH: its rinse water is collected, or the step is left out (R24).
    pub collect_runoff: bool,
    pub source: String,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum MixVerdict {
    RinseBetween,
    NeverWhileWet,
    /// Only the order of filling matters.
    FillingOrder,
    Never,
    Banned,
}

/// Two groups that must not meet. Where a group list is empty the partner is not a product; its text says what.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct MixingEntry {
    pub id: String,
    #[serde(deserialize_with = "cell::list")]
    pub group_a: Vec<Chemistry>,
    #[serde(deserialize_with = "cell::list")]
    pub group_b: Vec<Chemistry>,
    pub verdict: MixVerdict,
    /// Not in one bucket or bottle, rinsed or not.
    pub never_in_one_vessel: bool,
    pub text_a: String,
    pub text_b: String,
    pub verdict_text: String,
    pub what_happens: String,
    pub rule: String,
    pub source: String,
}

impl MixingEntry {
    /// Never in one bucket or bottle.
    pub fn forbids_one_vessel(&self) -> bool {
        self.never_in_one_vessel || matches!(self.verdict, MixVerdict::Never | MixVerdict::Banned)
    }

    /// Whether the entry speaks of these two, either way round.
    pub fn concerns(&self, one: &ProductClass, other: &ProductClass) -> bool {
        let meets = |a: &ProductClass, b: &ProductClass| {
            self.group_a.iter().any(|group| a.chemistry.contains(group))
                && self.group_b.iter().any(|group| b.chemistry.contains(group))
        };
        meets(one, other) || meets(other, one)
    }
}
