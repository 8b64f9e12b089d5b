//! What is noted of a vehicle: counted at once, refused with the place of what is wrong, withdrawn and kept.

use serde_json::{Value, json};
use tests::{Shop, TestApp, estate};

/// A grey estate on an open street, iron removed on 4 January; the clock stands at 4 May 2026.
fn car(shop: &Shop) -> String {
    let mut body = estate(&shop.customer("A"));
    body["document"]["exposures"] = json!([{ "kind": "street_open", "share": 1.0 }]);
    body["document"]["decontaminated_on"] = json!("2026-01-04");
    body["document"]["coats"] = json!([{ "protection": "wax", "applied_on": "2026-02-01" }]);
    body["document"]["first_registered_on"] = json!("2020-03-01");
    shop.owner.post("/v1/vehicles", &body).id()
}

fn due(shop: &Shop, car: &str, kind: &str) -> String {
    let upkeep = shop.owner.get(&format!("/v1/vehicles/{car}/upkeep")).expect(200);
    let needs = upkeep["needs"].as_array().expect("needs");
    let need =
        needs.iter().find(|need| need["kind"] == kind).unwrap_or_else(|| panic!("no {kind}: {upkeep}"));
    need["due_on"].as_str().expect("a day").to_owned()
}

fn listed(shop: &Shop, kind: &str) -> String {
    let page = shop.owner.get(&format!("/v1/upkeep?kind={kind}")).expect(200);
    page["items"][0]["need"]["due_on"].as_str().expect("a day").to_owned()
}

#[test]
fn the_forecast_counts_what_is_noted_at_once() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let car = car(&shop);
    let path = format!("/v1/vehicles/{car}/observations");
    let before = due(&shop, &car, "decontamination");
    assert_eq!(listed(&shop, "decontamination"), before);

    let away = json!({ "away": [{ "from_on": "2026-04-01", "to_on": "2026-04-25" }] });
    shop.owner.post(&path, &away).expect(201);
    let later = due(&shop, &car, "decontamination");
    assert!(later > before, "{later} is not after {before}");

    let event = json!({ "events": [{ "on": "2026-05-01", "kind": "grinding_beside" }] });
    let event = shop.owner.post(&path, &event).id();
    let sooner = due(&shop, &car, "decontamination");
    assert!(sooner < before, "{sooner} is not before {before}");
    assert_eq!(listed(&shop, "decontamination"), sooner);

    // Of two tests on one day the worse counts: grade 3 stands for a dose over the limit (common practice).
    let tests =
        json!({ "bag_tests": [{ "on": "2026-05-04", "grade": 0 }, { "on": "2026-05-04", "grade": 3 }] });
    let tests = shop.owner.post(&path, &tests).id();
    assert_eq!(due(&shop, &car, "decontamination"), "2026-05-04");

    for (note, expected) in [(&tests, &sooner), (&event, &later)] {
        for _ in 0..2 {
            let gone = shop.owner.delete(&format!("/v1/observations/{note}"));
            assert_eq!(gone.expect(200)["withdrawn_at"], "2026-05-04T06:00:00Z");
        }
        assert_eq!(due(&shop, &car, "decontamination"), *expected);
        assert_eq!(listed(&shop, "decontamination"), *expected);
    }
    let kept = shop.owner.get(&path).expect(200);
    assert_eq!(kept["items"].as_array().map(Vec::len), Some(3));
    assert_eq!(kept["items"][1]["events"][0]["kind"], "grinding_beside");

    // Of two bead tests on one day the worse counts, too: wax is renewed at grade 2.
    let bead =
        |grade: u8| json!({ "on": "2026-05-04", "protection": "wax", "panel_grades": [grade, grade, grade] });
    let beads = shop.owner.post(&path, &json!({ "bead_tests": [bead(5), bead(1)] })).id();
    assert_eq!(due(&shop, &car, "protection"), "2026-05-04");
    shop.owner.delete(&format!("/v1/observations/{beads}")).expect(200);

    let washed = json!({ "washes": [{ "on": "2026-05-03" }], "last_salted_on": "2026-03-20" });
    let wash = due(&shop, &car, "wash");
    shop.owner.post(&path, &washed).expect(201);
    assert!(due(&shop, &car, "wash") > wash);
}

/// Each with the pointer to what is wrong; afterwards everything is as it was.
#[test]
fn what_cannot_be_is_refused_and_nothing_is_lost() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let car = car(&shop);
    let note = format!("/v1/vehicles/{car}/observations");
    shop.owner.post(&note, &json!({ "bag_tests": [{ "on": "2026-05-02", "grade": 1 }] })).expect(201);
    let path = format!("/v1/vehicles/{car}");
    let (vehicle, upkeep) =
        (shop.owner.get(&path).expect(200), shop.owner.get(&format!("{path}/upkeep")).expect(200));

    for (body, pointer, code) in contradicting_notes() {
        shop.owner.post(&note, &body).refused_at(pointer, code);
    }
    for (document, pointer, code) in contradicting_vehicles() {
        shop.owner.patch(&path, &json!({ "document": document })).refused_at(pointer, code);
    }
    assert_eq!(shop.owner.get(&path).expect(200), vehicle);
    assert_eq!(shop.owner.get(&format!("{path}/upkeep")).expect(200), upkeep);
    assert_eq!(shop.owner.get(&note).expect(200)["items"].as_array().map(Vec::len), Some(1));
}

/// A body, the pointer to what is wrong in it, and the code.
type Refused = (Value, &'static str, &'static str);

fn contradicting_notes() -> Vec<Refused> {
    let wax = |grades: Value| json!({ "bead_tests": [{ "on": "2026-05-01", "protection": "wax", "panel_grades": grades }] });
    vec![
        (wax(json!([5, 6])), "/bead_tests/0/panel_grades/1", "out_of_range"),
        (wax(json!([])), "/bead_tests/0/panel_grades", "out_of_range"),
        (
            json!({ "bead_tests": [{ "on": "2026-05-01", "protection": "honey", "panel_grades": [3] }] }),
            "/bead_tests/0/protection",
            "unknown",
        ),
        (json!({ "bag_tests": [{ "on": "2026-05-05", "grade": 1 }] }), "/bag_tests/0/on", "in_the_future"),
        (json!({ "bag_tests": [{ "on": "2026-05-01", "grade": 5 }] }), "/bag_tests/0/grade", "invalid_value"),
        (
            json!({ "bag_tests": [{ "on": "2020-02-29", "grade": 1 }] }),
            "/bag_tests/0/on",
            "before_the_vehicle",
        ),
        (
            json!({ "away": [{ "from_on": "2026-05-03", "to_on": "2026-05-01" }] }),
            "/away/0/to_on",
            "ends_before_start",
        ),
        (
            json!({ "readings": [{ "on": "2026-05-01", "contaminant": "tar", "found": { "spots": { "spots": 3, "area_m2": 0.0 } } }] }),
            "/readings/0/found/spots/area_m2",
            "out_of_range",
        ),
        (
            json!({ "stripped": [{ "on": "2026-05-01", "protection": "honey" }] }),
            "/stripped/0/protection",
            "unknown",
        ),
        (
            json!({ "stripped": [{ "on": "2026-05-01", "protection": "wax", "step": "Z99" }] }),
            "/stripped/0/step",
            "unknown",
        ),
        (
            json!({ "stripped": [{ "on": "2026-05-05", "protection": "wax" }] }),
            "/stripped/0/on",
            "in_the_future",
        ),
        (
            json!({ "stripped": [{ "on": "2019-05-05", "protection": "wax" }] }),
            "/stripped/0/on",
            "before_the_vehicle",
        ),
        (json!({ "last_salted_on": "2026-12-01" }), "/last_salted_on", "in_the_future"),
        (json!({ "mean_air_c": 12.0 }), "/mean_air_c", "not_here"),
        (json!({ "wear_steps": [{ "on": "2026-05-01", "step": "D03" }] }), "/wear_steps", "not_here"),
        (json!({ "bags": [] }), "/bags", "unknown_field"),
        (json!({}), "", "missing_field"),
    ]
}

fn contradicting_vehicles() -> Vec<Refused> {
    let place = |share: f64, distance_m: f64| json!({ "share": share, "sources": [{ "kind": "rail", "distance_m": distance_m }] });
    vec![
        (json!({ "parking": [place(0.7, 50.0), place(0.6, 50.0)] }), "/document/parking", "out_of_range"),
        (json!({ "parking": [place(1.2, 50.0)] }), "/document/parking/0/share", "out_of_range"),
        (
            json!({ "parking": [place(0.5, -1.0)] }),
            "/document/parking/0/sources/0/distance_m",
            "out_of_range",
        ),
        (
            json!({ "parking": [{ "share": 0.5, "corrosivity": "c9" }] }),
            "/document/parking/0/corrosivity",
            "unknown_word",
        ),
        (
            json!({ "driving": { "km_per_week": 200.0, "motorway_share": 1.5 } }),
            "/document/driving/motorway_share",
            "out_of_range",
        ),
        (json!({ "driving": { "km_per_week": -1.0 } }), "/document/driving/km_per_week", "out_of_range"),
        (
            json!({ "coats": [{ "protection": "wax", "applied_on": "2026-06-01" }] }),
            "/document/coats/0/applied_on",
            "in_the_future",
        ),
        (json!({ "first_registered_on": "2026-06-01" }), "/document/first_registered_on", "in_the_future"),
    ]
}

#[test]
fn where_it_stands_and_how_it_is_driven_is_kept() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let car = car(&shop);
    let path = format!("/v1/vehicles/{car}");
    let parking = json!([
        { "name": "at home", "share": 0.6, "sheltering": "carport", "sources": [{ "kind": "trees" }] },
        { "name": "at work", "share": 0.3, "sheltering": "open",
          "sources": [{ "kind": "rail", "distance_m": 25.0 }, { "kind": "sprinkler", "hardness_mg_l": 320.0 }] }
    ]);
    let driving = json!({ "km_per_week": 240.0, "motorway_share": 0.4, "on_salted_roads": true });
    let change = json!({ "document": { "parking": parking, "driving": driving } });
    let vehicle = shop.owner.patch(&path, &change).expect(200);
    assert_eq!(vehicle["document"]["parking"][1]["sources"][0]["distance_m"], 25.0);
    assert_eq!(vehicle["document"]["driving"], driving);
    let upkeep = shop.owner.get(&format!("{path}/upkeep")).expect(200);
    assert_eq!(iron_rate(&upkeep)["corrosivity"], Value::Null, "no salt, and nobody said a class");

    // What the shop says of the air there multiplies the dose, and the factor is named: a shop may change it.
    let (calm, named) = (iron_rate(&upkeep)["per_day"]["expected"].as_f64(), "corrosivity_c5");
    let mut harsh = change.clone();
    harsh["document"]["parking"][1]["corrosivity"] = json!("c5");
    shop.owner.patch(&path, &harsh).expect(200);
    let upkeep = shop.owner.get(&format!("{path}/upkeep")).expect(200);
    let air = json!([{ "place": "/parking/1", "class": "c5", "factor": 1.5 }]);
    assert_eq!(iron_rate(&upkeep)["corrosivity"], air);
    assert!(iron_rate(&upkeep)["per_day"]["expected"].as_f64() > calm);
    let assumptions = upkeep["assumptions"].as_array().expect("assumptions");
    assert!(assumptions.iter().any(|one| one["name"] == named && one["basis"] == "assumption"));
    shop.owner.put("/v1/handbook/overrides", &json!({ "factors": { named: { "value": 1.8 } } })).expect(200);
    let upkeep = shop.owner.get(&format!("{path}/upkeep")).expect(200);
    assert_eq!(iron_rate(&upkeep)["corrosivity"][0]["factor"], 1.8);

    let months = json!({ "preferred_months": [4, 10] });
    let customer = format!("/v1/customers/{}", vehicle["customer"].as_str().expect("an id"));
    assert_eq!(shop.owner.patch(&customer, &months).expect(200)["preferred_months"], json!([4, 10]));
    for (months, pointer, code) in
        [(json!([0]), "/preferred_months/0", "out_of_range"), (json!([4, 4]), "/preferred_months/1", "twice")]
    {
        shop.owner.patch(&customer, &json!({ "preferred_months": months })).refused_at(pointer, code);
    }
}

fn iron_rate(upkeep: &Value) -> &Value {
    let rates = upkeep["rates"].as_array().expect("rates");
    rates.iter().find(|rate| rate["contaminant"] == "fallout_iron").expect("the rate of iron")
}

#[test]
fn who_may_note_and_withdraw() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let job = shop.ready_job(&app);
    let (_, other) = shop.hire(&app, "technician", "other@shine.test");
    let path = format!("/v1/vehicles/{}/observations", job.vehicle);
    let body = json!({ "bag_tests": [{ "on": "2026-05-03", "grade": 1 }] });
    let note = job.technician.post(&path, &body).id();
    other.post(&path, &body).problem(404, "not_found");
    other.get(&path).problem(404, "not_found");
    shop.partner(&app, &["upkeep:read"]).post(&path, &body).problem(403, "forbidden");
    let gone = |client: &tests::Client| client.delete(&format!("/v1/observations/{note}"));
    gone(&job.technician).problem(403, "forbidden");
    gone(&shop.owner).expect(200);
}
