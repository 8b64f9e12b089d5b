//! What crews write down beside their steps: corrections, arrivals, extra work, near misses, counts of the van.

use chrono::TimeDelta;
use serde_json::{Value, json};
use tests::{ReadyJob, Shop, TestApp, example};

fn step(job: &ReadyJob, minutes: f64) -> Value {
    json!({ "step": "D03", "technician": job.technician_id, "started_at": "2026-05-04T08:00:00Z",
        "minutes": minutes, "outcome": "passed" })
}

/// A job under way five hours after the clock's start, with one recorded step; gives the step's id.
fn under_way(app: &TestApp, shop: &mut Shop) -> (ReadyJob, String) {
    let mut job = shop.ready_job(app);
    shop.owner.post(&job.path("plan"), &json!({})).expect(201);
    shop.wait(app, &mut job, TimeDelta::hours(5));
    let record = job.technician.post(&job.path("steps"), &step(&job, 90.0)).id();
    (job, record)
}

#[test]
fn a_record_is_corrected_with_a_reason_and_both_versions_are_kept() {
    let app = TestApp::start();
    let mut shop = app.shop("Shine");
    let (job, record) = under_way(&app, &mut shop);
    let stored = shop.owner.get(&job.path("steps")).expect(200)["items"][0].clone();
    assert_eq!(
        (&stored["worked_on"], &stored["recorded_by"]),
        (&json!("2026-05-04"), &json!(job.technician_id))
    );
    let path = job.path(&format!("steps/{record}/correction"));
    let body = |reason: &str, minutes: f64| json!({ "reason": reason, "corrected": step(&job, minutes) });

    job.technician.post(&path, &body(" ", 9.0)).refused_at("/reason", "too_short");
    job.technician.post(&path, &body("lunch", -1.0)).refused_at("/corrected/minutes", "out_of_range");
    let mut unknown = body("lunch", 9.0);
    unknown["corrected"]["step"] = json!("Z99");
    job.technician.post(&path, &unknown).refused_at("/corrected/step", "unknown");
    let mut ahead = body("lunch", 9.0);
    ahead["corrected"]["started_at"] = json!("2026-05-04T12:00:00Z");
    job.technician.post(&path, &ahead).refused_at("/corrected/started_at", "in_the_future");

    job.technician.post(&job.path("finish"), &json!({})).expect(200);
    let corrected = job.technician.post(&path, &body("the timer ran on over lunch", 9.0)).expect(200);
    assert_eq!(
        (&corrected["id"], &corrected["minutes"]),
        (&json!(record), &json!(9.0)),
        "after the end, too"
    );
    assert_eq!(corrected["recorded_at"], stored["recorded_at"]);
    let steps = shop.owner.get(&job.path("steps")).expect(200);
    assert_eq!(steps["items"], json!([corrected]), "one record, not two");
    let changes = job.technician.get(&job.path("step-changes")).expect(200);
    let [change] = changes["items"].as_array().expect("items").as_slice() else { panic!("{changes}") };
    assert_eq!(
        (&change["kind"], &change["record"], &change["by_name"]),
        (&json!("corrected"), &json!(record), &json!("A technician"))
    );
    assert_eq!((&change["before"]["minutes"], &change["after"]["minutes"]), (&json!(90.0), &json!(9.0)));
}

#[test]
fn a_record_is_taken_back_once_and_only_by_who_may() {
    let app = TestApp::start();
    let mut shop = app.shop("Shine");
    let (job, record) = under_way(&app, &mut shop);
    let (other_id, other) = shop.hire(&app, "technician", "other@shine.test");
    let path = job.path(&format!("steps/{record}/void"));
    let body = example("post", "/v1/jobs/{id}/steps/{record}/void");
    other.post(&path, &body).problem(404, "not_found");
    let mut theirs = step(&job, 5.0);
    theirs["technician"] = json!(other_id);
    let theirs = shop.owner.post(&job.path("steps"), &theirs).id();
    job.technician.post(&job.path(&format!("steps/{theirs}/void")), &body).problem(403, "forbidden");

    let change = job.technician.post(&path, &body).expect(200);
    assert_eq!((&change["kind"], &change["after"]), (&json!("voided"), &Value::Null));
    assert_eq!(change["before"]["minutes"], 90.0);
    job.technician.post(&path, &body).problem(404, "not_found");
    let left = shop.owner.get(&job.path("steps")).expect(200);
    assert_eq!(left["items"].as_array().map(Vec::len), Some(1));
    assert_eq!(left["items"][0]["id"], json!(theirs));
    shop.owner.post(&job.path(&format!("steps/{theirs}/void")), &body).expect(200);
}

#[test]
fn an_arrival_is_stored_once_and_a_no_show_ends_the_job() {
    let app = TestApp::start();
    let mut shop = app.shop("Shine");
    let mut job = shop.ready_job(&app);
    job.technician.get(&job.path("arrival")).problem(404, "not_found");
    let early = json!({ "arrived_at": "2026-05-04T08:02:00Z" });
    job.technician.put(&job.path("arrival"), &early).refused_at("/arrived_at", "in_the_future");
    shop.wait(&app, &mut job, TimeDelta::hours(3));
    let put = |body: Value| job.technician.put(&job.path("arrival"), &body);
    put(json!({ "arrived_at": "2026-05-04T08:02:00Z", "travel_min": -1 }))
        .refused_at("/travel_min", "out_of_range");
    let first = put(json!({ "arrived_at": "2026-05-04T08:02:00Z", "travel_min": 18 })).expect(200);
    assert_eq!((&first["travel_min"], &first["no_show"]), (&json!(18.0), &json!(false)));
    let again = put(json!({ "arrived_at": "2026-05-04T08:03:00Z" })).expect(200);
    assert_eq!(again.get("travel_min"), None, "the second takes the place of the first: {again}");
    assert_eq!(shop.owner.get(&job.path("arrival")).expect(200), again);

    let nobody = json!({ "arrived_at": "2026-05-04T08:03:00Z", "no_show": true, "waited_min": 15, "note": "card left" });
    put(nobody.clone()).expect(200);
    assert_eq!(shop.owner.get(&format!("/v1/jobs/{}", job.id)).expect(200)["status"], "cancelled");
    put(nobody).problem(409, "job_cancelled");
}

#[test]
fn who_is_already_at_work_was_let_in() {
    let app = TestApp::start();
    let mut shop = app.shop("Shine");
    let (job, _) = under_way(&app, &mut shop);
    let body = json!({ "arrived_at": "2026-05-04T08:00:00Z", "no_show": true });
    job.technician.put(&job.path("arrival"), &body).problem(409, "job_started");
    shop.owner.get(&job.path("arrival")).problem(404, "not_found");
}

#[test]
fn extra_work_near_misses_and_counts_are_noted_by_whoever_sees_them() {
    let app = TestApp::start();
    let mut shop = app.shop("Shine");
    let (job, _) = under_way(&app, &mut shop);
    let asked = example("post", "/v1/jobs/{id}/extra-work");
    job.technician.post(&job.path("extra-work"), &asked).expect(201);
    let listed = shop.owner.get(&job.path("extra-work")).expect(200);
    assert_eq!(
        (&listed["items"][0]["answer"], &listed["items"][0]["minutes"]),
        (&json!("accepted"), &json!(25.0))
    );
    let empty = json!({ "what": " ", "answer": "none", "asked_at": "2026-05-04T09:00:00Z" });
    job.technician.post(&job.path("extra-work"), &empty).refused_at("/what", "too_short");

    let near = example("post", "/v1/near-misses");
    let told = job.technician.post("/v1/near-misses", &near).expect(201);
    assert_eq!(told.get("by_person"), None, "told to learn from, not to blame");
    assert_eq!(shop.owner.get("/v1/near-misses").expect(200)["items"], json!([told]));
    let mut later = near.clone();
    later["happened_on"] = json!("2026-05-05");
    job.technician.post("/v1/near-misses", &later).refused_at("/happened_on", "in_the_future");
    let (_, other) = shop.hire(&app, "technician", "other@shine.test");
    let mut elsewhere = near;
    elsewhere["job"] = json!(job.id);
    other.post("/v1/near-misses", &elsewhere).refused_at("/job", "unknown");
    job.technician.post("/v1/near-misses", &elsewhere).expect(201);

    let checks = format!("/v1/vans/{}/checks", job.van);
    let counted = job.technician.post(&checks, &example("post", "/v1/vans/{id}/checks")).expect(201);
    assert_eq!(shop.owner.get(&checks).expect(200)["items"], json!([counted]));
    let count = |item: &str, left: f64| json!({ "checked_at": "2026-05-04T09:00:00Z", "items": [{ "item": item, "left": left }] });
    job.technician.post(&checks, &count("spoon", 1.0)).refused_at("/items/0/item", "unknown");
    job.technician.post(&checks, &count("mitt", -1.0)).refused_at("/items/0/left", "out_of_range");
    shop.partner(&app, &["plans:read"]).get("/v1/near-misses").problem(403, "forbidden");
}

#[test]
fn rework_names_finished_work_on_the_same_vehicle() {
    let app = TestApp::start();
    let mut shop = app.shop("Shine");
    let (job, _) = under_way(&app, &mut shop);
    let again = |of: &str| {
        json!({ "vehicle": job.vehicle, "package": "P1", "rework_of": of,
            "window_from": "2026-05-06T08:00:00Z", "window_to": "2026-05-06T10:00:00Z" })
    };
    shop.owner.post("/v1/jobs", &again(&job.id)).refused_at("/rework_of", "unknown");
    job.technician.post(&job.path("finish"), &json!({})).expect(200);
    let booked = shop.owner.post("/v1/jobs", &again(&job.id)).expect(201);
    assert_eq!(booked["rework_of"], json!(job.id));
    let other = shop.vehicle(&job.customer);
    let mut foreign = again(&job.id);
    foreign["vehicle"] = json!(other);
    shop.owner.post("/v1/jobs", &foreign).refused_at("/rework_of", "unknown");
}
