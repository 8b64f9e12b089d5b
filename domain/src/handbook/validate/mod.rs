//! Whether the tables fit together. A fault points at a cell and says in a sentence what is wrong.

mod cells;
mod geometry;
mod limits;
mod order;
mod references;

use super::Handbook;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// A cell that cannot stay as it is.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Fault {
    /// JSON pointer into the handbook, for instance `/steps/D03/max_panel_c`.
    pub pointer: String,
    pub text: String,
}

impl Fault {
    pub(super) fn new(pointer: impl Into<String>, text: impl Into<String>) -> Fault {
        Fault { pointer: pointer.into(), text: text.into() }
    }
}

/// Every fault of the tables; none for the built-in ones.
pub fn validate(handbook: &Handbook) -> Vec<Fault> {
    let json = serde_json::to_value(handbook).unwrap_or_default();
    let mut faults = cells::faults(handbook, &json);
    faults.extend(references::faults(&json));
    faults.extend(geometry::faults(handbook));
    faults.extend(limits::faults(handbook));
    faults.extend(order::faults(handbook));
    faults
}
