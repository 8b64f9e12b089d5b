//! What the week has beside jobs: hours, travel, reminders, wear, near misses.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use utoipa::ToSchema;

/// A crew's week, or with an empty `crew` what belongs to the shop as a whole. What the shop does not record stays
/// absent; absent and a number make the number.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct WeekFacts {
    /// Monday.
    pub week_on: NaiveDate,
    pub crew: String,
    /// Hours the crew's people were there for, paid, person-minutes.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub present_minutes: Option<f64>,
    /// Of those on the road, person-minutes.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub travel_minutes: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reminders: Option<ReminderCounts>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub near_misses: Option<u32>,
    /// By what wears: `clay`, `towels`, a product's id.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub wear: BTreeMap<String, Wear>,
}

/// Reminders of upkeep, not notices of an appointment.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct ReminderCounts {
    pub sent: u32,
    /// Customers who booked within 14 days of one.
    pub booked: u32,
    /// Customers who asked for no more.
    pub stopped: u32,
}

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Wear {
    pub used: f64,
    /// What is left, in the same unit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub left: Option<f64>,
    /// `pieces`, `ml`, `washes`.
    pub unit: String,
}
