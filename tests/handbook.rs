//! The shop's handbook: read, changed cell by cell, and what follows from it in plans, bookings and vehicles.

use api::db::handbooks::{self, Overrides};
use serde_json::{Value, json};
use tests::{TestApp, booking, estate, example, standard};

const HANDBOOK: &str = "/v1/handbook";
const OVERRIDES: &str = "/v1/handbook/overrides";

#[test]
fn a_handbook_is_read_once_until_it_changes() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let (_, technician) = shop.hire(&app, "technician", "t@shine.test");
    let tag = format!("\"{}\"", standard());
    let first = technician.get(HANDBOOK);
    assert_eq!(first.expect(200)["steps"]["D03"]["name"], "iron remover on paint");
    assert_eq!(first.header("etag"), tag);
    let again = |tag: &str| technician.send("GET", HANDBOOK, &[("if-none-match", tag)], b"");
    let unchanged = again(&tag);
    assert_eq!((unchanged.status, unchanged.text.as_str()), (304, ""));
    assert_eq!(unchanged.header("etag"), tag);
    assert_eq!(again(&format!("\"old\", W/{tag}")).status, 304);
    shop.owner.put(OVERRIDES, &example("put", OVERRIDES)).expect(200);
    let changed = again(&tag);
    assert_eq!(changed.expect(200)["steps"]["D03"]["dwell_max_s"], 240);
    assert_ne!(changed.header("etag"), tag);
}

#[test]
fn changes_are_versions_and_a_plan_names_the_handbook_it_came_from() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let other = app.shop("Gleam");
    let job = shop.ready_job(&app);
    let none = shop.owner.get(OVERRIDES).expect(200);
    assert_eq!(
        (&none["version"], &none["handbook"], &none["overrides"]),
        (&json!(0), &json!(standard()), &json!({}))
    );
    let by_the_standard = shop.owner.post(&job.path("plan"), &json!({})).expect(201);

    let minutes = json!({ "steps": { "D03": { "minutes_2": 9.0, "minutes_3": 9.0, "minutes_4": 9.0 } } });
    let first = shop.owner.put(OVERRIDES, &minutes).expect(200);
    assert_eq!((&first["version"], &first["by_person"]), (&json!(1), &json!(shop.owner_id)));
    let same = shop.owner.put(OVERRIDES, &minutes).expect(200);
    assert_eq!(same, first, "the same content is the same version");
    let own = shop.owner.post(&job.path("plan"), &json!({})).expect(201);
    assert_eq!(own["handbook"], first["handbook"]);
    assert_ne!(own["handbook"], by_the_standard["handbook"]);
    let iron = |plan: &Value| {
        let lines = plan["lines"].as_array().expect("lines").clone();
        lines
            .iter()
            .find(|line| line["step"] == "D03")
            .and_then(|line| line["minutes"].as_f64())
            .expect("minutes")
    };
    assert!(iron(&own) > 3.0 * iron(&by_the_standard), "{} {}", iron(&own), iron(&by_the_standard));
    assert_eq!(
        other.owner.get(HANDBOOK).header("etag").trim_matches('"'),
        standard(),
        "another shop keeps its own"
    );

    let stale = [("content-type", "application/json"), ("if-match", "\"0\"")];
    shop.owner.send("PUT", OVERRIDES, &stale, b"{}").problem(412, "stale");
    let back = shop.owner.put(OVERRIDES, &json!({})).expect(200);
    assert_eq!((&back["version"], &back["handbook"]), (&json!(2), &json!(standard())));
    assert_eq!(shop.owner.get(OVERRIDES).header("etag"), "\"2\"");
}

#[test]
fn every_cell_that_does_not_fit_is_named_and_nothing_is_stored() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let (_, dispatcher) = shop.hire(&app, "dispatcher", "d@shine.test");
    dispatcher.put(OVERRIDES, &json!({})).problem(403, "forbidden");
    dispatcher.get(OVERRIDES).expect(200);
    let wrong = json!({ "steps": { "D03": { "minutes_2": -4, "colour": "red" }, "Z99": { "name": "x" } }, "menu": {} });
    let problem = shop.owner.put(OVERRIDES, &wrong).problem(422, "invalid");
    let pointers: Vec<&str> =
        problem["errors"].as_array().expect("errors").iter().filter_map(|e| e["pointer"].as_str()).collect();
    for pointer in ["/steps/D03/colour", "/steps/Z99", "/menu"] {
        assert!(pointers.contains(&pointer), "{pointer} is not in {pointers:?}");
    }
    let put = |body: Value| shop.owner.put(OVERRIDES, &body);
    put(json!({ "steps": { "D03": { "minutes_2": -4 } } }))
        .refused_at("/steps/D03/minutes_2", "does_not_fit");
    // A ratio of 0 parts to 0 cannot be written: a ratio is the parts of water to one of product, at least 0.
    put(json!({ "step_products": { "D03.iron_remover": { "water_to_product": -1 } } }))
        .refused_at("/step_products/D03.iron_remover/water_to_product", "does_not_fit");
    put(json!({ "step_products": { "D03.iron_remover": { "water_to_product": "0:0" } } }))
        .refused_at("/step_products/D03.iron_remover/water_to_product", "does_not_fit");
    put(json!([])).refused_at("", "wrong_type");
    assert_eq!(shop.owner.get(OVERRIDES).expect(200)["version"], 0);
}

/// As after an upgrade that dropped a column.
#[test]
fn cells_that_the_standard_tables_no_longer_have_are_told_and_can_be_set_anew() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let job = shop.ready_job(&app);
    let old = json!({ "steps": { "D03": { "dwell_max_s": 240, "colour": "red" } } });
    let Value::Object(cells) = old.clone() else { unreachable!() };
    app.app
        .database
        .write(shop.id, app.clock.now(), |db| handbooks::insert(db, 1, shop.owner_id, &Overrides(cells)))
        .expect("stored");
    let told = shop.owner.post(&job.path("plan"), &json!({})).problem(409, "handbook_outdated");
    assert!(told["detail"].as_str().is_some_and(|text| text.contains("/steps/D03/colour")), "{told}");
    let kept = shop.owner.get(OVERRIDES).expect(200);
    assert_eq!((&kept["version"], &kept["handbook"], &kept["overrides"]), (&json!(1), &Value::Null, &old));
    let mended = json!({ "steps": { "D03": { "dwell_max_s": 240 } } });
    assert_eq!(shop.owner.put(OVERRIDES, &mended).expect(200)["version"], 2);
    shop.owner.post(&job.path("plan"), &json!({})).expect(201);
}

#[test]
fn vehicles_and_vans_fit_the_handbook() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let customer = shop.customer("A");
    let with = |field: &str, value: Value| {
        let mut body = estate(&customer);
        body["document"][field] = value;
        shop.owner.post("/v1/vehicles", &body)
    };
    let coat = |on: &str| json!([{ "protection": "wax", "applied_on": on }]);
    with("coats", coat("2026-05-05")).refused_at("/document/coats/0/applied_on", "in_the_future");
    with("coats", coat("2026-05-04")).expect(201);
    with("decontaminated_on", json!("2026-05-05")).refused_at("/document/decontaminated_on", "in_the_future");
    with("repainted_on", json!("2027-01-01")).refused_at("/document/repainted_on", "in_the_future");
    with("repainted_zones", json!(["soft_top"])).refused_at("/document/repainted_zones/0", "unknown_zone");
    let garages = json!([{ "kind": "garage_low", "share": 0.5 }, { "kind": "garage_daily", "share": 0.5 }]);
    with("exposures", garages).refused_at("/document/exposures/1/kind", "contradiction");
    let car = shop.vehicle(&customer);
    let patch = json!({ "document": { "coats": coat("2026-06-01") } });
    shop.owner
        .patch(&format!("/v1/vehicles/{car}"), &patch)
        .refused_at("/document/coats/0/applied_on", "in_the_future");

    let van = |kit: Value| shop.owner.post("/v1/vans", &json!({ "name": "One", "seats": 2, "kit": kit }));
    van(json!({ "equipment": ["hose", "magic_wand"], "tank_l": 1 }))
        .refused_at("/kit/equipment/1", "unknown");
    van(json!({ "equipment": [], "tank_l": 1, "stock_ml": { "snake_oil": 5 } }))
        .refused_at("/kit/stock_ml/snake_oil", "unknown");
    let first = van(json!({ "equipment": ["hose"], "tank_l": 1 })).id();
    let patch = json!({ "kit": { "equipment": ["magic_wand"] } });
    shop.owner.patch(&format!("/v1/vans/{first}"), &patch).refused_at("/kit/equipment/0", "unknown");

    // P7 is for soft tops; that a package exists is enough to book it, the plan says what it is for.
    let mut job = booking(&car);
    job["package"] = json!("P7");
    shop.owner.post("/v1/jobs", &job).expect(201);
}
