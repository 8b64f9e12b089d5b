//! Needs as a table for a spreadsheet: CSV as RFC 4180 has it, and no cell that runs as a formula.

use crate::db::kinds::Id;
use crate::error::ApiError;
use chrono::NaiveDate;
use csv::{Terminator, WriterBuilder};
use domain::upkeep::Need;
use serde::Serialize;
use utoipa::ToSchema;

/// A need of one of the shop's vehicles.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct VehicleNeed {
    pub vehicle: Id,
    pub customer: Id,
    /// How the shop calls the vehicle.
    pub label: String,
    /// Names the need and its trigger; the same until the count begins anew.
    pub key: String,
    pub need: Need,
}

const COLUMNS: [&str; 14] = [
    "due_on",
    "early_on",
    "late_on",
    "remind_on",
    "overdue_on",
    "urgency",
    "kind",
    "label",
    "package",
    "reason",
    "risk_today",
    "vehicle",
    "customer",
    "key",
];

/// The line of column names.
pub fn head() -> String {
    COLUMNS.join(",") + "\r\n"
}

/// One line per need.
pub fn rows(needs: &[VehicleNeed]) -> Result<Vec<u8>, ApiError> {
    let mut lines = WriterBuilder::new().terminator(Terminator::CRLF).from_writer(Vec::new());
    let day = |on: Option<NaiveDate>| on.map(|on| on.to_string()).unwrap_or_default();
    for VehicleNeed { vehicle, customer, label, key, need } in needs {
        let cells: [String; COLUMNS.len()] = [
            need.due_on.to_string(),
            day(need.early_on),
            day(need.late_on),
            need.remind_on.to_string(),
            day(need.overdue_on),
            word(&need.urgency)?,
            word(&need.kind)?,
            label.clone(),
            need.package.clone(),
            need.reason.clone(),
            need.risk_today.map(|risk| format!("{risk:.4}")).unwrap_or_default(),
            vehicle.to_string(),
            customer.to_string(),
            key.clone(),
        ];
        lines.write_record(cells.map(harmless)).map_err(unwritable)?;
    }
    lines.into_inner().map_err(unwritable)
}

/// Spreadsheets take a cell that begins like this for a formula (OWASP, "CSV Injection", from memory).
pub fn harmless(cell: String) -> String {
    if cell.starts_with(['=', '+', '-', '@', '\t', '\r']) { format!("'{cell}") } else { cell }
}

fn word(value: &impl serde::Serialize) -> Result<String, ApiError> {
    Ok(serde_json::from_value(serde_json::to_value(value)?)?)
}

fn unwritable(error: impl std::fmt::Display) -> ApiError {
    ApiError::Internal(format!("csv: {error}"))
}

#[cfg(test)]
mod tests {
    use super::harmless;

    #[test]
    fn no_cell_is_a_formula() {
        for cell in ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1"] {
            assert_eq!(harmless(cell.into()), format!("'{cell}"));
        }
        for cell in ["", "a=1", "'=1", " =1", "1-1"] {
            assert_eq!(harmless(cell.into()), cell);
        }
    }
}
