//! Every check of `validate` is shown to fail on a broken copy, at the right cell.

use crate::handbook::{Fault, Handbook, validate};
use serde_json::{Value, json};

/// The pointers of the faults that overriding these cells brings.
fn pointers(overrides: Value) -> Vec<String> {
    let faults = Handbook::standard().with_overrides(&overrides).expect_err("a broken copy");
    faults.into_iter().map(|fault| fault.pointer).collect()
}

fn one(overrides: Value) -> String {
    let mut found = pointers(overrides);
    assert_eq!(found.len(), 1, "{found:?}");
    found.remove(0)
}

#[test]
fn a_circle_names_every_pair_of_it() {
    // D03 before D05 is hard (Q30); D05 made hard before E06, which comes before E01 and so before D05 (Q37, Q32).
    let found = pointers(json!({"precedence": {"Q35": {"after": "E06"}}}));
    for pair in ["Q35", "Q37", "Q32"] {
        assert!(found.contains(&format!("/precedence/{pair}/before")), "{pair} missing in {found:?}");
    }
    assert!(!found.contains(&"/precedence/Q30/before".to_owned()));
}

#[test]
fn dangling_ids_are_found_in_plain_cells_lists_and_bans() {
    assert_eq!(one(json!({"triggers": {"T03": {"inserts": ["B07", "B77"]}}})), "/triggers/T03/inserts/1");
    assert_eq!(one(json!({"steps": {"D03": {"zone_set": "underside"}}})), "/steps/D03/zone_set");
    assert_eq!(
        one(
            json!({"substrates": {"glass": {"forbids_products": [{"id": "glass_polish", "condition": "sometimes"}]}}})
        ),
        "/substrates/glass/forbids_products/0/condition"
    );
}

#[test]
fn a_step_may_not_outstay_or_outheat_its_products() {
    // Label of the class: at most 300 s and 30 C (common practice).
    assert_eq!(one(json!({"steps": {"D03": {"dwell_max_s": 301}}})), "/steps/D03/dwell_max_s");
    assert_eq!(one(json!({"steps": {"D03": {"max_panel_c": 31}}})), "/steps/D03/max_panel_c");
    // The same from the other side: every step that uses the product is named.
    let found = pointers(json!({"product_classes": {"iron_remover": {"max_panel_c": 25}}}));
    assert_eq!(found, ["/steps/D03/max_panel_c", "/steps/D04/max_panel_c", "/steps/E01/max_panel_c"]);
}

#[test]
fn a_package_may_not_break_a_pair() {
    // Alkali before iron before acid: D07 moved before D05 breaks Q34 and, moved before E02, nothing else hard.
    let found = pointers(json!({"package_steps": {"P2.D07": {"position": 0}}}));
    assert!(
        found.iter().all(|pointer| pointer == "/package_steps/P2.D07/position") && !found.is_empty(),
        "{found:?}"
    );
    // A drying aid before polishing is forbidden (Q58).
    let found = pointers(json!({"package_steps": {"P6.F02": {"step": "F03"}}}));
    assert!(found.contains(&"/package_steps/P6.G03/position".to_owned()), "{found:?}");
}

#[test]
fn geometry_must_add_up() {
    let found = pointers(json!({"zones": {"sedan.roof": {"area_m2": 7.1}}}));
    for cell in [
        "/zones/sedan.roof/area_m2",
        "/vehicle_classes/sedan/envelope_m2",
        "/vehicle_classes/sedan/all_zones_m2",
    ] {
        assert!(found.contains(&cell.to_owned()), "{cell} missing in {found:?}");
    }
    // 0.80 x width x height: US EPA LDTP-11-1 (1977).
    assert_eq!(
        pointers(json!({"vehicle_classes": {"suv": {"height_m": 1.9}}})),
        ["/vehicle_classes/suv/frontal_m2"]
    );
    // A body larger than its own projections.
    let found = pointers(
        json!({"vehicle_classes": {"motorhome": {"side_projection_m2": 12.0, "projections_m2": 51.63}}}),
    );
    assert_eq!(found, ["/vehicle_classes/motorhome/envelope_m2"]);
}

#[test]
fn numbers_out_of_range_or_out_of_order_are_found() {
    assert_eq!(
        one(json!({"product_classes": {"iron_remover": {"ph_use_max": 80}}})),
        "/product_classes/iron_remover/ph_use_max"
    );
    assert_eq!(
        one(json!({"product_classes": {"iron_remover": {"dwell_min_s": 400}}})),
        "/product_classes/iron_remover/dwell_min_s"
    );
    assert_eq!(one(json!({"zones": {"sedan.roof": {"s_film": 4}}})), "/zones/sedan.roof/s_film");
    assert_eq!(one(json!({"steps": {"C02": {"minutes_3": 0.5}}})), "/steps/C02/minutes_3");
    assert_eq!(
        one(json!({"step_products": {"B06.apc_alkaline": {"water_to_product": 2}}})),
        "/step_products/B06.apc_alkaline/water_to_product"
    );
    assert_eq!(
        one(json!({"step_products": {"D03.iron_remover": {"dose_ml": 200}}})),
        "/step_products/D03.iron_remover/dose_ml"
    );
    assert_eq!(
        one(json!({"contaminants": {"bird": {"damage_h_at_45c": 480}}})),
        "/contaminants/bird/damage_h_at_45c"
    );
    assert_eq!(one(json!({"protections": {"wax": {"life_months": 5}}})), "/protections/wax/life_months");
    assert_eq!(
        one(json!({"rules": {"R18": {"parameters": {"reserve_share": 10}}}})),
        "/rules/R18/parameters/reserve_share"
    );
}

#[test]
fn a_banned_product_may_not_be_used() {
    assert_eq!(
        one(json!({"product_classes": {"tyre_cleaner": {"banned": true}}})),
        "/step_products/B03.tyre_cleaner/product"
    );
}

/// Code can put in a copy what JSON cannot carry.
#[test]
fn numbers_that_are_none_are_found() {
    let mut broken = Handbook::standard().clone();
    broken.steps = broken.steps.map_rows(|id, step| {
        let mut step = step.clone();
        if id == "D03" {
            step.minutes_1 = Some(f64::NAN);
        }
        step
    });
    let text = "must be a finite number".to_owned();
    assert!(validate(&broken).contains(&Fault { pointer: "/steps/D03/minutes_1".into(), text }));
}
