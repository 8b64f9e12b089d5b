//! Every id that a cell names must exist.

use super::Fault;
use serde_json::Value;

/// Table and column of the cells that name ids, and the table in which the ids must be.
const REFERENCES: &[(&str, &str, &str)] = &[
    ("contaminants", "ladder_steps", "steps"),
    ("substrates", "forbids_products", "product_classes"),
    ("substrates", "forbids_steps", "steps"),
    ("product_classes", "forbidden_on", "substrates"),
    ("steps", "zone_set", "zone_sets"),
    ("steps", "equipment", "equipment"),
    ("steps", "equipment_any", "equipment"),
    ("steps", "parallel_with", "steps"),
    ("steps", "conflicts_with", "steps"),
    ("steps", "on_fail_step", "steps"),
    ("step_products", "step", "steps"),
    ("step_products", "product", "product_classes"),
    ("precedence", "before", "steps"),
    ("precedence", "after", "steps"),
    ("packages", "excludes", "steps"),
    ("package_steps", "package", "packages"),
    ("package_steps", "step", "steps"),
    ("package_steps", "zone_set", "zone_sets"),
    ("triggers", "after_step", "steps"),
    ("triggers", "inserts", "steps"),
    ("triggers", "repeats", "steps"),
    ("triggers", "zone_set", "zone_sets"),
    ("protections", "removed_by", "product_classes"),
    ("protections", "refresh_with", "protections"),
    ("protections", "applied_by", "steps"),
    ("protections", "product", "product_classes"),
    ("sources", "exposure", "exposures"),
    ("sources", "contaminant", "contaminants"),
    ("accruals", "id", "contaminants"),
    ("accruals", "cleared_by", "steps"),
];

pub(super) fn faults(json: &Value) -> Vec<Fault> {
    let mut faults = Vec::new();
    for (table, column, target) in REFERENCES {
        for (id, row) in json[*table].as_object().into_iter().flatten() {
            let mut missing = |place: &str, what: &str, target: &str| {
                if json[target].get(what).is_none() {
                    let at = format!("/{table}/{id}/{column}{place}");
                    faults.push(Fault::new(at, format!("there is no {what} in {target}")));
                }
            };
            match &row[*column] {
                Value::String(named) => missing("", named, target),
                Value::Array(items) => {
                    for (place, item) in items.iter().enumerate() {
                        let named = item.as_str().or_else(|| item["id"].as_str()).unwrap_or_default();
                        missing(&format!("/{place}"), named, target);
                        if let Some(condition) = item["condition"].as_str() {
                            missing(&format!("/{place}/condition"), condition, "ban_conditions");
                        }
                    }
                }
                _ => {}
            }
        }
    }
    faults
}
