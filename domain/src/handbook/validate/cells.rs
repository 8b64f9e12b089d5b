//! Each number for itself: finite, within its range, smallest not over largest.

use super::Fault;
use crate::handbook::Handbook;
use serde_json::{Map, Value};
use std::collections::HashMap;

/// The ranges numbers must lie in, by how the name of the column or parameter ends (or, with a leading `^`, begins).
/// The first that fits counts. Assumption: wide enough for any shop, narrow enough to catch a slipped digit or unit.
const RANGES: &[(&str, f64, f64)] = &[
    ("^s_", 0.0, 3.0),
    ("drip_level", 0.0, 3.0),
    ("^minutes_", 0.0, 600.0),
    ("^hands", 0.0, 6.0),
    ("^ph_", 0.0, 14.0),
    ("^ratio_", 0.0, 1000.0),
    ("^water_to_product", 0.0, 1000.0),
    ("^bead_", 0.0, 5.0),
    ("_share", 0.0, 1.0),
    ("humidity", 0.0, 1.0),
    ("grade", 0.0, 4.0),
    ("_film", 0.0, 4.0),
    ("rinse_demand", 0.0, 3.0),
    ("strips_protection", 0.0, 3.0),
    ("dose_factor", 0.0, 1.0),
    ("alkaline_wash_loss", 0.0, 1.0),
    ("time_factor", 0.3, 5.0),
    ("protection_life_factor", 0.1, 5.0),
    ("dose_per_day", 0.0, 20.0),
    ("^life_months", 0.01, 600.0),
    ("days_to_100", 1.0, 10_000.0),
    ("max_loops", 0.0, 10.0),
    ("count", 1.0, 20.0),
    ("_dba", 0.0, 150.0),
    ("_m_s", 0.0, 60.0),
    ("_mm_h", 0.0, 100.0),
    ("_l_min", 0.0, 200.0),
    ("usual_m", 1.0, 20_000.0),
    ("scale_m", 1.0, 20_000.0),
    ("_c", -30.0, 150.0),
    ("_k", 0.0, 50.0),
    ("_m2", 0.0, 200.0),
    ("_m", 0.0, 30.0),
    ("_ml", 0.0, 5_000.0),
    ("_l", 0.0, 5_000.0),
    ("_s", 0.0, 172_800.0),
    ("_min", 0.0, 10_000.0),
    ("_h", 0.0, 10_000.0),
    ("_d", 0.0, 3_650.0),
    ("", 0.0, 100_000.0),
];

pub(super) fn faults(handbook: &Handbook, json: &Value) -> Vec<Fault> {
    let mut faults = Vec::new();
    for (table, rows) in json.as_object().into_iter().flatten() {
        let mut ranges = Ranges::default();
        for (id, row) in rows.as_object().into_iter().flatten() {
            if let Value::Object(row) = row {
                row_faults(&format!("/{table}/{id}"), row, &mut ranges, &mut faults);
            }
        }
    }
    faults.extend(not_numbers(handbook));
    faults.extend(doubled(handbook));
    faults
}

/// The range of each column of a table, looked up once.
type Ranges<'a> = HashMap<&'a str, (f64, f64)>;

fn row_faults<'a>(at: &str, row: &'a Map<String, Value>, ranges: &mut Ranges<'a>, faults: &mut Vec<Fault>) {
    for (column, cell) in row {
        if let Value::Object(entries) = cell {
            row_faults(&format!("{at}/{column}"), entries, ranges, faults);
        }
        let Some(number) = cell.as_f64() else { continue };
        let (least, most) = *ranges.entry(column).or_insert_with(|| range(column));
        if !(least..=most).contains(&number) {
            faults
                .push(Fault::new(format!("{at}/{column}"), format!("{number} is outside {least} to {most}")));
        }
        let partner = column.contains("_min").then(|| column.replace("_min", "_max"));
        if let Some(largest) = partner.and_then(|partner| row.get(&partner)).and_then(Value::as_f64)
            && largest < number
        {
            faults.push(Fault::new(
                format!("{at}/{column}"),
                format!("{number} is more than the largest, {largest}"),
            ));
        }
    }
}

fn range(column: &str) -> (f64, f64) {
    let fits = |pattern: &str| match pattern.strip_prefix('^') {
        Some(start) => column.starts_with(start),
        None => column.ends_with(pattern),
    };
    RANGES
        .iter()
        .find(|(pattern, ..)| fits(pattern))
        .map_or((0.0, f64::MAX), |(_, least, most)| (*least, *most))
}

/// JSON has no word for a number that is none: it becomes `null`, also where a cell may be empty. The tables whose
/// cells code computes with are looked at once more as they are.
fn not_numbers(handbook: &Handbook) -> Vec<Fault> {
    let mut faults = Vec::new();
    let mut look = |table: &str, id: &str, column: &str, number: Option<f64>| {
        if number.is_some_and(|number| !number.is_finite()) {
            faults.push(Fault::new(format!("/{table}/{id}/{column}"), "must be a finite number"));
        }
    };
    for row in &handbook.factors {
        look("factors", &row.id, "value", Some(row.value));
    }
    for row in &handbook.zones {
        look("zones", &row.id, "area_m2", Some(row.area_m2));
    }
    for row in &handbook.steps {
        let norms = [row.minutes_1, row.minutes_2, row.minutes_3, row.minutes_4];
        for (norm, column) in norms.into_iter().zip(["minutes_1", "minutes_2", "minutes_3", "minutes_4"]) {
            look("steps", &row.id, column, norm);
        }
        look("steps", &row.id, "washer_l", Some(row.washer_l));
        look("steps", &row.id, "hose_l", Some(row.hose_l));
        look("steps", &row.id, "max_panel_c", row.max_panel_c);
    }
    for row in &handbook.step_products {
        look("step_products", &row.id, "dose_ml", Some(row.dose_ml));
        look("step_products", &row.id, "water_to_product", row.water_to_product);
    }
    for row in &handbook.rules {
        for (name, number) in &row.parameters {
            look("rules", &row.id, &format!("parameters/{name}"), Some(*number));
        }
    }
    faults
}

fn doubled(handbook: &Handbook) -> Vec<Fault> {
    let tables = [
        ("steps", handbook.steps.doubled()),
        ("precedence", handbook.precedence.doubled()),
        ("rules", handbook.rules.doubled()),
        ("product_classes", handbook.product_classes.doubled()),
        ("zones", handbook.zones.doubled()),
        ("package_steps", handbook.package_steps.doubled()),
        ("step_products", handbook.step_products.doubled()),
        ("factors", handbook.factors.doubled()),
    ];
    let fault =
        |(table, id): (&str, String)| Fault::new(format!("/{table}/{id}/id"), "this id is used twice");
    tables
        .into_iter()
        .flat_map(|(table, ids)| ids.into_iter().map(move |id| (table, id)))
        .map(fault)
        .collect()
}
