//! What the customer of a job agrees to in writing: written down, stood by, taken back, and shown in the plan.

use chrono::TimeDelta;
use serde_json::{Value, json};
use tests::TestApp;

/// The rules that block, of a plan.
fn blocks(plan: &Value) -> Vec<&str> {
    let notices = plan["notices"].as_array().expect("notices").iter();
    notices.filter(|n| n["severity"] == "block").map(|n| n["rule"].as_str().expect("a rule")).collect()
}

/// A waxed car, alkali behind, and no spray on the van to renew what it strips: R45 blocks (common practice).
#[test]
fn a_consent_in_writing_lifts_the_block_that_asks_for_it_until_it_is_taken_back() {
    let app = TestApp::start();
    let mut shop = app.shop("Shine");
    let mut job = shop.ready_job(&app);
    let document = json!({ "coats": [{ "protection": "wax", "applied_on": "2026-04-01" }] });
    shop.owner.patch(&format!("/v1/vehicles/{}", job.vehicle), &json!({ "document": document })).expect(200);
    shop.owner.patch(&format!("/v1/jobs/{}", job.id), &json!({ "package": "P1" })).expect(200);
    let kit = json!({ "kit": { "stock_ml": { "silica_spray": 0 } } });
    shop.owner.patch(&format!("/v1/vans/{}", job.van), &kit).expect(200);
    let replan = |shop: &tests::Shop| shop.owner.post(&job.path("plan"), &json!({})).expect(201);
    let bare = replan(&shop);
    assert_eq!(blocks(&bare), ["R45"]);
    let way = bare["notices"].as_array().expect("notices").iter().find(|n| n["rule"] == "R45");
    assert!(
        way.is_some_and(|n| n["unblock"].as_str().is_some_and(|way| way.contains("in writing"))),
        "{way:?}"
    );

    // The technician writes down on site what the customer says.
    let path = job.path("waivers");
    let consent = json!({ "rule": "R45", "by": "Hyppa" });
    let written = job.technician.post(&path, &consent).expect(201);
    assert_eq!((&written["given"], &written["noted_by"]), (&json!(true), &json!(job.technician_id)));
    assert_eq!((&written["by"], &written["at"]), (&json!("Hyppa"), &json!("2026-05-04T06:00:00Z")));
    assert_eq!(job.technician.get(&path).expect(200)["items"], json!([written]));
    let agreed = replan(&shop);
    assert_eq!((blocks(&agreed), &agreed["workable"]), (vec![], &json!(true)));
    // Eight in the morning in Vienna.
    assert_eq!(
        agreed["waivers"],
        json!([{ "rule": "R45", "zones": [], "steps": [], "by": "Hyppa", "at": "2026-05-04T08:00:00" }])
    );
    let sheet = |accept: &str| shop.owner.send("GET", &job.path("plan"), &[("accept", accept)], b"").text;
    let words = "agreed in writing by Hyppa at 2026-05-04 08:00";
    assert!(sheet("text/html").contains(words) && sheet("text/plain").contains("in writing by Hyppa"));

    shop.wait(&app, &mut job, TimeDelta::minutes(5));
    let back = json!({ "rule": "R45", "given": false, "by": "Hyppa" });
    job.technician.post(&job.path("waivers"), &back).expect(201);
    let again = shop.owner.post(&job.path("plan"), &json!({})).expect(201);
    assert_eq!((blocks(&again), &again["waivers"]), (vec!["R45"], &json!([])));
    assert_eq!(shop.owner.get(&job.path("waivers")).expect(200)["items"].as_array().map(Vec::len), Some(2));
    assert_eq!(
        shop.owner.get(&job.path("plan?version=2")).expect(200)["waivers"],
        agreed["waivers"],
        "what a plan rested on stays with it"
    );
}

#[test]
fn zones_left_out_are_not_treated() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let job = shop.ready_job(&app);
    shop.owner
        .post(&job.path("waivers"), &json!({ "rule": "R35", "zones": ["roof"], "by": "Hyppa" }))
        .expect(201);
    // The newer one of a rule takes the place of the older.
    let newer = json!({ "rule": "R35", "zones": ["bonnet"], "steps": ["D07"], "by": "Hyppa" });
    shop.owner.post(&job.path("waivers"), &newer).expect(201);
    let plan = shop.owner.post(&job.path("plan"), &json!({})).expect(201);
    let lines = plan["lines"].as_array().expect("lines");
    let treated = |zone: &str| {
        lines.iter().any(|line| line["zones"].as_array().is_some_and(|zones| zones.contains(&json!(zone))))
    };
    assert!(treated("roof") && !treated("bonnet"));
    assert!(lines.iter().all(|line| line["step"] != "D07"));
}

#[test]
fn what_cannot_be_agreed_to_is_refused_where_it_stands() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let job = shop.ready_job(&app);
    let waive = |body: Value| job.technician.post(&job.path("waivers"), &body);
    waive(json!({ "rule": "R99", "by": "H" })).refused_at("/rule", "does_not_fit");
    waive(json!({ "rule": "R35", "by": "H" })).refused_at("", "does_not_fit");
    waive(json!({ "rule": "R35", "zones": ["moon"], "by": "H" })).refused_at("/zones/0", "unknown_word");
    waive(json!({ "rule": "R35", "zones": ["soft_top"], "by": "H" })).refused_at("/zones/0", "does_not_fit");
    waive(json!({ "rule": "R60", "steps": ["D03", "D05"], "by": "H" }))
        .refused_at("/steps/1", "does_not_fit");
    waive(json!({ "rule": "R43", "steps": ["E03"], "by": "H" })).refused_at("/steps", "does_not_fit");
    waive(json!({ "rule": "R43", "by": "" })).refused_at("/by", "too_short");
    waive(json!({ "rule": "R43", "by": "H", "at": "2020-01-01T00:00:00Z" }))
        .refused_at("/at", "unknown_field");
    let (_, stranger) = shop.hire(&app, "technician", "other@shine.test");
    stranger.post(&job.path("waivers"), &json!({ "rule": "R43", "by": "H" })).problem(404, "not_found");
    assert_eq!(job.technician.get(&job.path("waivers")).expect(200)["items"], json!([]));
    shop.owner.post(&format!("/v1/jobs/{}/cancel", job.id), &Value::Null).expect(200);
    waive(json!({ "rule": "R43", "by": "H" })).problem(409, "job_cancelled");
}
