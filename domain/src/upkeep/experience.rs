//! What the shop's own vehicles taught about the life of coats, as sufficient statistics.

use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use utoipa::ToSchema;

/// By id in the handbook's `protections` table; the default is the handbook alone.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Experience {
    pub protections: BTreeMap<String, LivesSeen>,
}

/// Lives of coats of one protection, those that still last included (right-censored).
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields, default)]
pub struct LivesSeen {
    /// Coats that were found worn.
    pub ended: u32,
    /// Coats that still protected when last looked at.
    pub censored: u32,
    /// Sum over all of them of (equivalent age / handbook life) to the power of the handbook's Weibull shape.
    pub sum_tau_beta: f64,
}
