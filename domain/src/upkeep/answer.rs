//! The answer of a forecast: needs, the rates and lives behind them, visits, and what was taken for granted.

use super::Need;
use super::needs::CoatRef;
use crate::inspection::Contaminant;
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use std::borrow::Cow;
use utoipa::ToSchema;

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Upkeep {
    /// The day the forecast was made for.
    pub on: NaiveDate,
    /// The soonest due first.
    pub needs: Vec<Need>,
    /// How fast each contaminant gathers, and how much is there.
    pub rates: Vec<Rate>,
    /// How far each coat is worn.
    pub lives: Vec<CoatLife>,
    /// The needs grouped into visits, the soonest first.
    pub visits: Vec<UpkeepVisit>,
    /// Constants of the handbook that nobody has published and that this answer rests on.
    pub assumptions: Vec<Assumption>,
    /// What was taken for granted or could not be judged, one plain sentence each.
    pub remarks: Vec<String>,
}

/// The middle of what is believed, and the bounds that hold with 80 %: one in ten lies below `low`, one above `high`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Interval {
    pub low: f64,
    pub median: f64,
    pub high: f64,
}

/// How fast a contaminant gathers on this vehicle.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Rate {
    pub contaminant: Contaminant,
    /// In `unit` per day as of today, over the week and the zone where it gathers most.
    pub per_day: Interval,
    /// Unit of the amount, for instance `dose`, `mg/m2` or `spots/m2`.
    #[schema(value_type = String)]
    pub unit: Cow<'static, str>,
    /// Days at the reference rate that one day here counts for: the trade's open street for fallout.
    pub equivalent_days: Interval,
    /// What is there today, expected; of fallout the bonded part.
    pub load: f64,
    /// The load at which the work is due.
    pub limit: f64,
    pub learning: Learning,
}

/// What was believed, what was seen, and what is believed now.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Learning {
    pub prior: GammaBelief,
    pub evidence: EvidenceSeen,
    pub posterior: GammaBelief,
}

/// A gamma distribution of the factor on the handbook's time (of a rate: of its inverse): mean `shape / scale`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct GammaBelief {
    pub shape: f64,
    /// Inverse scale (rate) of the gamma distribution.
    pub scale: f64,
}

/// What was seen of it.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct EvidenceSeen {
    /// Readings or ends of life that count.
    pub readings: u32,
    /// Of these, known only to lie below (readings) or above (lives) a bound.
    pub censored: u32,
    /// Handbook time that they cover: expected amount, or days of life.
    pub exposure: f64,
    /// Amount read in that time.
    pub amount: f64,
}

/// How far a coat is worn.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct CoatLife {
    pub coat: CoatRef,
    /// 0 fresh, 1 where the usual life ends.
    pub used: f64,
    /// Probability that it still protects today.
    pub reliability: f64,
    /// 80 % interval of the day on which it ends; none beyond twenty years.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub early_on: Option<NaiveDate>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub late_on: Option<NaiveDate>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub learning: Option<Learning>,
}

/// Needs that are met in one visit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct UpkeepVisit {
    pub on: NaiveDate,
    /// Keys of the needs.
    pub needs: Vec<String>,
}

/// A number of the handbook that is taken for granted. A shop changes it in its handbook under the same name.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Assumption {
    /// Table and row, for instance `factors/iron_distance_m`.
    #[schema(value_type = String)]
    pub name: Cow<'static, str>,
    pub value: f64,
    #[schema(value_type = String)]
    pub unit: Cow<'static, str>,
    pub basis: AssumptionBasis,
}

/// What a number rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum AssumptionBasis {
    Published,
    CommonPractice,
    Assumption,
}

impl AssumptionBasis {
    /// By the `source` of a handbook row: `assumption`, `common practice`, else what was published.
    pub fn of(source: &str) -> AssumptionBasis {
        match source {
            s if s.contains("assumption") => AssumptionBasis::Assumption,
            s if s.contains("common practice") => AssumptionBasis::CommonPractice,
            _ => AssumptionBasis::Published,
        }
    }
}
