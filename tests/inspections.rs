//! Inspections: what was seen, by whom, and what is refused.

use chrono::TimeDelta;
use serde_json::{Value, json};
use tests::{TestApp, example};

#[test]
fn what_was_seen_is_kept_in_order_with_who_saw_it() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let job = shop.ready_job(&app);
    let path = job.path("inspections");
    let shown = example("post", "/v1/jobs/{id}/inspections");
    let first = job.technician.post(&path, &shown).expect(201);
    assert_eq!(
        (&first["by_person"], &first["at"]),
        (&json!(job.technician_id), &json!("2026-05-04T06:00:00Z"))
    );
    assert_eq!(first["findings"][0], shown["findings"][0]);
    app.advance(TimeDelta::minutes(1));
    let second = json!({ "findings": [], "note": "nothing at all" });
    shop.owner.post(&path, &second).expect(201);
    let all = shop.owner.get(&path).expect(200);
    assert_eq!(all["items"][0], first);
    assert_eq!(all["items"][1]["note"], "nothing at all");
    assert_eq!(all["items"].as_array().map(Vec::len), Some(2));
}

#[test]
fn what_cannot_be_is_refused_at_its_place_and_not_stored() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let job = shop.ready_job(&app);
    let path = job.path("inspections");
    let finding = |field: &str, value: Value| {
        let mut body = json!({ "findings": [
            { "zone": "roof", "contaminant": "tar", "grade": 1, "evidence": "seen" },
            { "zone": "doors", "contaminant": "film", "grade": 2, "evidence": "seen" }] });
        body["findings"][1][field] = value;
        shop.owner.post(&path, &body)
    };
    finding("grade", json!(5)).refused_at("/findings/1/grade", "invalid_value");
    finding("grade", json!(-1)).refused_at("/findings/1/grade", "invalid_value");
    // An estate has no load bed.
    finding("zone", json!("bed_inner")).refused_at("/findings/1/zone", "unknown_zone");
    finding("zone", json!("wing_of_bat")).refused_at("/findings/1/zone", "unknown_word");
    finding("contaminant", json!("jam")).refused_at("/findings/1/contaminant", "unknown_word");
    finding("age_h", json!(-2)).refused_at("/findings/1/age_h", "out_of_range");
    let reading = |zone: &str, panel_c: f64| {
        let body = json!({ "findings": [], "readings": [{ "zone": zone, "panel_c": panel_c }] });
        shop.owner.post(&path, &body)
    };
    reading("soft_top", 20.0).refused_at("/readings/0/zone", "unknown_zone");
    reading("bonnet", 121.0).refused_at("/readings/0/panel_c", "out_of_range");
    shop.owner
        .post(&path, &json!({ "findings": [], "scratched": ["doors", "bed_inner"] }))
        .refused_at("/scratched/1", "unknown_zone");
    shop.owner
        .post(&path, &json!({ "findings": [], "bead_grade": 6 }))
        .refused_at("/bead_grade", "out_of_range");
    assert_eq!(shop.owner.get(&path).expect(200)["items"], json!([]), "nothing was stored");

    shop.owner.post(&format!("/v1/jobs/{}/cancel", job.id), &Value::Null).expect(200);
    shop.owner.post(&path, &json!({ "findings": [] })).problem(409, "job_cancelled");
    assert_eq!(shop.owner.get(&path).expect(200)["items"], json!([]), "nothing was stored");
}

#[test]
fn a_technician_looks_at_the_vehicles_of_their_own_jobs() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let job = shop.ready_job(&app);
    let (_, other) = shop.hire(&app, "technician", "other@shine.test");
    let (_, lead) = shop.hire(&app, "lead", "lead@shine.test");
    let path = job.path("inspections");
    for of in ["inspections", "plan", "plans"] {
        other.get(&job.path(of)).problem(404, "not_found");
    }
    other.post(&path, &json!({ "findings": [] })).problem(404, "not_found");
    job.technician.post(&path, &json!({ "findings": [] })).expect(201);
    lead.post(&path, &json!({ "findings": [] })).expect(201);
    assert_eq!(job.technician.get(&path).expect(200)["items"].as_array().map(Vec::len), Some(2));
}
