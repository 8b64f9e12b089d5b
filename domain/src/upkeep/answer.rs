//! The answer of a forecast: needs, the rates and lives behind them, visits, and what was taken for granted.

use super::needs::{CoatRef, Need, NeedKind};
use crate::inspection::Contaminant;
use crate::parking::CorrosivityClass;
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

/// What is expected, and the bounds that hold with 80 %: one in ten lies below `low`, one above `high`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Interval {
    pub low: f64,
    pub expected: f64,
    pub high: f64,
}

impl Interval {
    pub(super) fn times(self, factor: f64) -> Interval {
        Interval { low: self.low * factor, expected: self.expected * factor, high: self.high * factor }
    }
}

/// How fast a contaminant gathers on this vehicle, on the level paint where it gathers most.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Rate {
    /// `fallout_iron` stands for all that adds to the dose of bonded fallout.
    pub contaminant: Contaminant,
    /// In `unit` per day as of today, over the week, its coats counted.
    pub per_day: Interval,
    /// Unit of the amount, for instance `dose`, `mg/m2` or `spots/m2`.
    #[schema(value_type = String)]
    pub unit: Cow<'static, str>,
    /// Reference days that one day here counts for: of fallout and dirt on the open street, of others the mean day of
    /// the year at the handbook's rate.
    pub equivalent_days: Interval,
    /// Per day on doors and other steep zones, where that differs.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub steep_per_day: Option<Interval>,
    /// Deposition of iron on level bare paint, mg/(m²·d), where the places are known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub deposition_mg_m2_d: Option<Interval>,
    /// Of fallout: how corrosive the air of the places is, as far as it is said or salt tells.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub corrosivity: Vec<PlaceCorrosivity>,
    /// What is there today, expected; of fallout the bonded part. None where nobody knows when it was last taken off.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub load: Option<f64>,
    /// The load at which the work is due.
    pub limit: f64,
    /// None where nothing can be learned, as nobody knows when the count began.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub learning: Option<Learning>,
}

/// How corrosive the air of a place is, and what that makes of the dose there.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct PlaceCorrosivity {
    /// The place in the vehicle's document, for instance `/parking/0`.
    pub place: String,
    pub class: CorrosivityClass,
    /// Corrosion of bare carbon steel in its first year from which the class follows, µm (dose-response function of ISO
    /// 9223:2012); absent where the shop said the class.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub carbon_steel_um: Option<f64>,
    /// Factor on the dose there.
    pub factor: f64,
}

/// What was believed, what was seen, and what is believed now.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Learning {
    pub form: LearningForm,
    pub prior: GammaBelief,
    pub evidence: EvidenceSeen,
    pub posterior: GammaBelief,
}

/// What the gamma distribution of a belief is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum LearningForm {
    /// The factor on the handbook's rate of spots.
    GammaPoisson,
    /// The inverse of the rate: shape of the growth in a unit of handbook time over the rate.
    GammaProcess,
    /// The Weibull scale of a life, to the power of minus its shape.
    WeibullGamma,
}

/// A gamma distribution: mean `shape / scale`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct GammaBelief {
    pub shape: f64,
    /// Inverse scale, also called rate.
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
    /// Part of the handbook's usual life that is used: 0 fresh, 1 where half of the coats of its class end.
    pub used: f64,
    /// Probability that it still protects today.
    pub reliability: f64,
    /// 80 % interval of the day on which it ends; none beyond twenty years.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub early_on: Option<NaiveDate>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub late_on: Option<NaiveDate>,
    /// Shape of the Weibull life of its class.
    pub weibull_shape: f64,
    /// Of its class over the shop's vehicles: the belief is of `(usual life / Weibull scale)^shape`, and in the evidence
    /// `readings` are lives, `censored` those not ended, `amount` those ended and `exposure` the sum of
    /// `(age / usual life)^shape` over all.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub learning: Option<Learning>,
}

/// Needs that are met in one visit. Costs are in costs of one visit: what it takes to come once more.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct UpkeepVisit {
    pub on: NaiveDate,
    /// The job that is booked for it; absent: a proposal.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub job: Option<String>,
    /// The fewest packages that meet the needs, for instance `P2`.
    pub packages: Vec<String>,
    pub needs: Vec<VisitNeed>,
    /// The visit itself, unless it is booked anyway, and what it costs that not every need has its own best day.
    pub cost: f64,
    /// What it saves against a visit of its own for every need.
    pub saving: f64,
    /// Months, 1 to 12, too cold for what is laid.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub closed_months: Vec<u8>,
    /// Months, 1 to 12, that the customer does not like, and what a visit then costs more.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub unwelcome_months: Vec<u8>,
    #[serde(default)]
    pub unwelcome_cost: f64,
    /// One plain sentence for the customer.
    pub reason: String,
}

/// A need as its visit sees it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct VisitNeed {
    /// Key of the need.
    pub need: String,
    pub kind: NeedKind,
    /// What the customer calls the work, for instance `iron removal`.
    pub work: String,
    pub due_on: NaiveDate,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub early_on: Option<NaiveDate>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub late_on: Option<NaiveDate>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub risk_target: Option<f64>,
    /// Probability that the limit is crossed by the day of the visit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub risk: Option<f64>,
    /// A day before the due day costs `early_weight / 2` times the square of the days between, a day after it the same
    /// with `late_weight`.
    pub early_weight: f64,
    pub late_weight: f64,
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
