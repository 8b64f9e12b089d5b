//! A shop's own values: what is taken, what is refused and where, and that nothing at all panics.

use crate::handbook::Handbook;
use proptest::prelude::*;
use serde_json::{Map, Value, json};
use std::sync::LazyLock;

fn pointers(overrides: Value) -> Vec<String> {
    match Handbook::standard().with_overrides(&overrides) {
        Ok(_) => Vec::new(),
        Err(faults) => faults.into_iter().map(|fault| fault.pointer).collect(),
    }
}

#[test]
fn good_cells_are_taken_and_the_rest_stays() {
    let overrides = json!({
        "steps": {"D03": {"dwell_max_s": 240, "minutes_2": 0.5, "on_fail_step": null}},
        "rules": {"R09": {"parameters": {"wind_m_s": 4}, "severity": "warn"}},
        "substrates": {"glass": {"forbids_products": ["fluoride_acid", "tar_solvent:test"]}},
    });
    let shop = Handbook::standard().with_overrides(&overrides).expect("good cells");
    assert_eq!(shop.step("D03").map(|step| (step.dwell_max_s, step.minutes_2)), Some((240, Some(0.5))));
    assert_eq!(
        shop.step("D03").map(|step| step.minutes_1),
        Handbook::standard().step("D03").map(|step| step.minutes_1)
    );
    assert_eq!(shop.parameter("R09", "wind_m_s"), Some(4.0));
    assert_eq!(shop.steps.place("D03"), Handbook::standard().steps.place("D03"));
    assert!(shop.version.starts_with(&format!("{}-", Handbook::standard().version)), "{}", shop.version);
    // The version names the content, not the way it was reached.
    let again =
        json!({"steps": {"D03": {"minutes_2": 0.5}}, "rules": {"R09": {"parameters": {"wind_m_s": 4.0}}}});
    let again = Handbook::standard().with_overrides(&again).and_then(|half| half.with_overrides(&overrides));
    assert_eq!(again.map(|again| again.version), Ok(shop.version));
}

#[test]
fn nothing_changed_is_the_standard() {
    let same = json!({"steps": {"D03": {"dwell_max_s": 300, "id": "D03"}}, "rules": {}});
    assert_eq!(
        Handbook::standard().with_overrides(&same).map(|shop| shop.version).as_deref(),
        Ok(Handbook::standard().version.as_str())
    );
}

#[test]
fn bad_cells_are_refused_where_they_stand() {
    assert_eq!(pointers(json!([1])), [""]);
    assert_eq!(pointers(json!({"stepps": {}, "version": {"a": 1}})), ["/stepps", "/version"]);
    assert_eq!(pointers(json!({"steps": []})), ["/steps"]);
    assert_eq!(
        pointers(json!({"steps": {"D99": {"dwell_max_s": 1}, "D03": null}})),
        ["/steps/D03", "/steps/D99"]
    );
    assert_eq!(pointers(json!({"steps": {"a/b": {}}})), ["/steps/a~1b"]);
    assert_eq!(
        pointers(json!({"steps": {"D03": {"dwel_max_s": 1, "id": "D04"}}})),
        ["/steps/D03/dwel_max_s", "/steps/D03/id"]
    );
    assert_eq!(
        pointers(json!({"steps": {"D03": {"dwell_max_s": "long", "basis": "per_litre", "washer_l": null}}})),
        ["/steps/D03/basis", "/steps/D03/dwell_max_s", "/steps/D03/washer_l"]
    );
    assert_eq!(
        pointers(
            json!({"rules": {"R09": {"parameters": {"wind_kn": 4, "wind_m_s": null}}, "R10": {"parameters": {"wind_m_s": "8"}}}})
        ),
        ["/rules/R09/parameters/wind_kn", "/rules/R09/parameters/wind_m_s"]
    );
    assert_eq!(
        pointers(json!({"rules": {"R10": {"parameters": {"wind_m_s": "8"}}}})),
        ["/rules/R10/parameters/wind_m_s"]
    );
    assert_eq!(pointers(json!({"steps": {"D03": {"dwell_max_s": -1}}})), ["/steps/D03/dwell_max_s"]);
    assert_eq!(pointers(json!({"steps": {"D03": {"washer_l": 1e300}}})), ["/steps/D03/washer_l"]);
}

fn any_json() -> impl Strategy<Value = Value> {
    let leaf = prop_oneof![
        Just(Value::Null),
        any::<bool>().prop_map(Value::from),
        any::<f64>().prop_map(Value::from),
        any::<i64>().prop_map(Value::from),
        "[a-zA-Z0-9_~/:;=. ]{0,12}".prop_map(Value::from),
    ];
    leaf.prop_recursive(3, 24, 4, |inner| {
        prop_oneof![
            prop::collection::vec(inner.clone(), 0..4).prop_map(Value::from),
            prop::collection::btree_map("[a-z_0-9/~]{0,8}", inner, 0..4)
                .prop_map(|map| Value::Object(map.into_iter().collect::<Map<_, _>>())),
        ]
    })
}

static KNOWN: LazyLock<Value> =
    LazyLock::new(|| serde_json::to_value(Handbook::standard()).unwrap_or_default());

/// A real table, row and column with any value in the cell: most of these reach the merge and the validation.
fn any_cell() -> impl Strategy<Value = Value> {
    (any::<prop::sample::Index>(), any::<prop::sample::Index>(), any::<prop::sample::Index>(), any_json())
        .prop_map(|(table, row, column, cell)| {
            let known = &*KNOWN;
            let pick = |value: &Value, index: prop::sample::Index| {
                let names: Vec<String> =
                    value.as_object().map(|map| map.keys().cloned().collect()).unwrap_or_default();
                if names.is_empty() { String::new() } else { index.get(&names).clone() }
            };
            let table = pick(known, table);
            let row = pick(&known[&table], row);
            let column = pick(&known[&table][&row], column);
            json!({ table: { row: { column: cell } } })
        })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(192))]

    #[test]
    fn no_overrides_panic(overrides in prop_oneof![any_json(), any_cell()]) {
        if let Err(faults) = Handbook::standard().with_overrides(&overrides) {
            prop_assert!(!faults.is_empty());
            prop_assert!(faults.iter().all(|fault| fault.pointer.is_empty() || fault.pointer.starts_with('/')));
        }
    }
}
