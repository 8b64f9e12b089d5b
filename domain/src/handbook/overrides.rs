//! A shop's own values: a JSON document of cells, merged over the rows (RFC 7396).

use super::validate::{Fault, validate};
use super::{Handbook, Table};
use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::{Map, Value, json};

impl Handbook {
    /// This handbook with cells replaced, for instance
    /// `{"steps": {"D03": {"dwell_max_s": 240}}, "rules": {"R09": {"parameters": {"wind_m_s": 4}}}}`.
    ///
    /// Rows and columns cannot be added or removed and ids not be changed; `null` empties a cell that may be
    /// empty. The result is validated as a whole, and every fault points at a cell.
    pub fn with_overrides(&self, overrides: &Value) -> Result<Handbook, Vec<Fault>> {
        let mut faults = unknown_names(self, overrides);
        if !faults.is_empty() {
            return Err(faults);
        }
        let mut patch = Patch { overrides, faults: &mut faults };
        let mut handbook = Handbook {
            version: self.version.clone(),
            vehicle_classes: patch.table("vehicle_classes", &self.vehicle_classes),
            zones: patch.table("zones", &self.zones),
            zone_sets: patch.table("zone_sets", &self.zone_sets),
            substrates: patch.table("substrates", &self.substrates),
            ban_conditions: patch.table("ban_conditions", &self.ban_conditions),
            contaminants: patch.table("contaminants", &self.contaminants),
            product_classes: patch.table("product_classes", &self.product_classes),
            mixing: patch.table("mixing", &self.mixing),
            equipment: patch.table("equipment", &self.equipment),
            steps: patch.table("steps", &self.steps),
            step_products: patch.table("step_products", &self.step_products),
            precedence: patch.table("precedence", &self.precedence),
            packages: patch.table("packages", &self.packages),
            package_steps: patch.table("package_steps", &self.package_steps),
            triggers: patch.table("triggers", &self.triggers),
            rules: patch.table("rules", &self.rules),
            protections: patch.table("protections", &self.protections),
            exposures: patch.table("exposures", &self.exposures),
            sources: patch.table("sources", &self.sources),
            accruals: patch.table("accruals", &self.accruals),
            factors: patch.table("factors", &self.factors),
        };
        if faults.is_empty() {
            faults = validate(&handbook);
        }
        if !faults.is_empty() {
            return Err(faults);
        }
        if handbook != *self {
            handbook.version = format!("{}-{}", Handbook::standard().version, content_hash(&handbook));
        }
        Ok(handbook)
    }
}

/// Tables, rows, columns and parameters that do not exist, and ids that would change.
fn unknown_names(handbook: &Handbook, overrides: &Value) -> Vec<Fault> {
    let Value::Object(tables) = overrides else {
        return vec![Fault::new("", "overrides must be an object of tables")];
    };
    let known = serde_json::to_value(handbook).unwrap_or_default();
    let mut faults = Vec::new();
    for (table, rows) in tables {
        match (known.get(table), rows) {
            (Some(Value::Object(known)), Value::Object(rows)) => {
                for (id, cells) in rows {
                    unknown_cells(&pointer(&[table, id]), known.get(id), cells, &mut faults);
                }
            }
            (Some(Value::Object(_)), _) => {
                faults.push(Fault::new(pointer(&[table]), "must be an object of rows by id"))
            }
            _ => faults.push(Fault::new(pointer(&[table]), "there is no such table")),
        }
    }
    faults
}

fn unknown_cells(row: &str, known: Option<&Value>, cells: &Value, faults: &mut Vec<Fault>) {
    let (Some(known), Value::Object(cells)) = (known, cells) else {
        let text =
            if known.is_none() { "there is no such row" } else { "must be an object of cells by column" };
        return faults.push(Fault::new(row, text));
    };
    for (column, cell) in cells {
        let at = format!("{row}{}", pointer(&[column]));
        match (known.get(column), cell) {
            (None, _) => faults.push(Fault::new(at, "there is no such column")),
            (Some(old), new) if column == "id" && old != new => {
                faults.push(Fault::new(at, "an id cannot be changed"))
            }
            (Some(Value::Object(old)), Value::Object(new)) => {
                for (name, value) in new {
                    if value.is_null() || !old.contains_key(name) {
                        let text = if value.is_null() {
                            "a parameter cannot be removed"
                        } else {
                            "there is no such parameter"
                        };
                        faults.push(Fault::new(format!("{at}{}", pointer(&[name])), text));
                    }
                }
            }
            _ => {}
        }
    }
}

struct Patch<'a> {
    overrides: &'a Value,
    faults: &'a mut Vec<Fault>,
}

impl Patch<'_> {
    fn table<T: Serialize + DeserializeOwned + Clone>(&mut self, name: &str, table: &Table<T>) -> Table<T> {
        match self.overrides.get(name).and_then(Value::as_object) {
            Some(rows) => table.map_rows(|id, row| match rows.get(id).and_then(Value::as_object) {
                Some(cells) => self.row(&pointer(&[name, id]), row, cells),
                None => row.clone(),
            }),
            None => table.clone(),
        }
    }

    /// The row with its cells replaced. Each cell is tried alone, so that a fault can point at it.
    fn row<T: Serialize + DeserializeOwned + Clone>(
        &mut self,
        at: &str,
        row: &T,
        cells: &Map<String, Value>,
    ) -> T {
        let before = serde_json::to_value(row).unwrap_or_default();
        let mut after = before.clone();
        for (column, cell) in single_cells(cells) {
            let mut tried = before.clone();
            merge(&mut tried, &cell);
            match serde_json::from_value::<T>(tried) {
                Ok(_) => merge(&mut after, &cell),
                Err(error) => self.faults.push(Fault::new(format!("{at}{column}"), error.to_string())),
            }
        }
        serde_json::from_value(after).unwrap_or_else(|_| row.clone())
    }
}

/// Each cell, or each entry of a cell that is an object, as a pointer and a patch of its own.
fn single_cells(cells: &Map<String, Value>) -> Vec<(String, Value)> {
    let one = |(column, cell): (&String, &Value)| match cell {
        Value::Object(entries) => {
            let entry = |(name, value): (&String, &Value)| {
                (pointer(&[column, name]), json!({ column: { name: value } }))
            };
            entries.iter().map(entry).collect()
        }
        _ => vec![(pointer(&[column]), json!({ column: cell }))],
    };
    cells.iter().flat_map(one).collect()
}

/// RFC 7396.
fn merge(target: &mut Value, patch: &Value) {
    let Value::Object(patch) = patch else {
        *target = patch.clone();
        return;
    };
    if !target.is_object() {
        *target = json!({});
    }
    let Value::Object(target) = target else { return };
    for (name, value) in patch {
        if value.is_null() {
            target.remove(name);
        } else {
            merge(target.entry(name.clone()).or_insert(Value::Null), value);
        }
    }
}

/// A JSON pointer (RFC 6901).
fn pointer(parts: &[&str]) -> String {
    parts.iter().map(|part| format!("/{}", part.replace('~', "~0").replace('/', "~1"))).collect()
}

/// 32 bits of an FNV-1a hash of all cells: names a content, guards nothing.
pub(super) fn content_hash(handbook: &Handbook) -> String {
    let nameless = Handbook { version: String::new(), ..handbook.clone() };
    let text = serde_json::to_string(&nameless).unwrap_or_default();
    let hash = text.bytes().fold(0xcbf2_9ce4_8422_2325_u64, |hash, byte| {
        (hash ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3)
    });
    format!("{:08x}", (hash >> 32) ^ (hash & 0xffff_ffff))
}
