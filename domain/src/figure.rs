//! A number that an answer was made from, with its name and unit, so that every answer can show its working.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Figure {
    pub name: String,
    pub value: f64,
    /// SI unit or plain word: `min`, `l`, `km`, `days`, `persons`, `1` for a ratio.
    pub unit: String,
}

impl Figure {
    pub fn new(name: &str, value: f64, unit: &str) -> Figure {
        Figure { name: name.to_owned(), value, unit: unit.to_owned() }
    }
}
