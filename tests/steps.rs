//! Steps recorded on the vehicle, and the end of a job.

use chrono::TimeDelta;
use serde_json::{Value, json};
use tests::{ReadyJob, TestApp, example};

#[test]
fn the_first_step_starts_the_job_and_what_is_done_is_not_planned_again() {
    let app = TestApp::start();
    let mut shop = app.shop("Shine");
    let mut job = shop.ready_job(&app);
    shop.wait(&app, &mut job, TimeDelta::hours(3));
    let status = || shop.owner.get(&format!("/v1/jobs/{}", job.id)).expect(200)["status"].clone();
    job.technician.post(&job.path("steps"), &step(&job, "A01")).problem(409, "job_not_planned");
    job.technician.post(&job.path("finish"), &json!({})).problem(409, "job_not_planned");
    let first = shop.owner.post(&job.path("plan"), &json!({})).expect(201);

    let shown = {
        let mut shown = example("post", "/v1/jobs/{id}/steps");
        shown["technician"] = json!(job.technician_id);
        shown
    };
    let stored = job.technician.post(&job.path("steps"), &shown).expect(201);
    assert_eq!(
        (&stored["started_at"], &stored["products"]),
        (&json!("2026-05-04T08:12:00Z"), &shown["products"])
    );
    assert_eq!(status(), "started");
    job.technician.post(&job.path("steps"), &step(&job, "A01")).expect(201);
    let all = shop.owner.get(&job.path("steps")).expect(200);
    let ids: Vec<&Value> = all["items"].as_array().expect("items").iter().map(|s| &s["step"]).collect();
    assert_eq!(ids, ["A01", "D03"], "in the order in which they were begun");

    let second = shop.owner.post(&job.path("plan"), &json!({})).expect(201);
    let planned = |plan: &Value, step: &str| {
        plan["lines"].as_array().expect("lines").iter().any(|line| line["step"] == step)
    };
    assert!(planned(&first, "A01") && planned(&first, "D03"));
    assert!(!planned(&second, "A01") && !planned(&second, "D03"));
    assert!(planned(&second, "D05"));
    assert_eq!(status(), "started");
    let assignment = json!({ "van": null, "start_at": null, "technicians": [] });
    shop.owner.put(&job.path("assignment"), &assignment).problem(409, "job_started");
}

#[test]
fn a_step_that_cannot_be_is_refused_at_its_place_and_not_stored() {
    let app = TestApp::start();
    let mut shop = app.shop("Shine");
    let mut job = shop.ready_job(&app);
    let (other_id, _) = shop.hire(&app, "technician", "other@shine.test");
    shop.owner.post(&job.path("plan"), &json!({})).expect(201);
    shop.wait(&app, &mut job, TimeDelta::hours(3));
    let with = |field: &str, value: Value| {
        let mut body = step(&job, "D03");
        body[field] = value;
        job.technician.post(&job.path("steps"), &body)
    };
    with("water_l", json!(-1)).refused_at("/water_l", "out_of_range");
    with("water_l", json!(-0.001)).refused_at("/water_l", "out_of_range");
    with("minutes", json!(1441)).refused_at("/minutes", "out_of_range");
    with("loops", json!(-1)).refused_at("/loops", "out_of_range");
    with("panel_c", json!(121)).refused_at("/panel_c", "out_of_range");
    with("step", json!("Z99")).refused_at("/step", "unknown");
    with("outcome", json!("splendid")).refused_at("/outcome", "unknown_word");
    with("products", json!([{ "product": "snake_oil", "ml": 1 }]))
        .refused_at("/products/0/product", "unknown");
    with("products", json!([{ "product": "iron_remover", "ml": -5 }]))
        .refused_at("/products/0/ml", "out_of_range");
    with("technician", json!(other_id)).refused_at("/technician", "not_assigned");
    with("technician", json!("01890000-0000-7000-8000-000000000000")).refused_at("/technician", "unknown");
    with("started_at", json!("2026-05-04T09:05:01Z")).refused_at("/started_at", "in_the_future");
    let other = app.log_in(shop.id, "other@shine.test");
    other.post(&job.path("steps"), &step(&job, "D03")).problem(404, "not_found");
    other.post(&job.path("finish"), &json!({})).problem(404, "not_found");
    assert_eq!(shop.owner.get(&job.path("steps")).expect(200)["items"], json!([]), "nothing was stored");
    assert_eq!(shop.owner.get(&format!("/v1/jobs/{}", job.id)).expect(200)["status"], "planned");

    // The office may record for somebody who jumped in.
    let mut body = step(&job, "D03");
    body["technician"] = json!(other_id);
    shop.owner.post(&job.path("steps"), &body).expect(201);
}

#[test]
fn a_job_is_finished_once_and_then_stays_as_it_is() {
    let app = TestApp::start();
    let mut shop = app.shop("Shine");
    let mut job = shop.ready_job(&app);
    shop.owner.post(&job.path("plan"), &json!({})).expect(201);
    shop.wait(&app, &mut job, TimeDelta::hours(5));
    for id in ["C02", "D03", "D05"] {
        job.technician.post(&job.path("steps"), &step(&job, id)).expect(201);
    }
    let spray = json!({ "step": "H03", "technician": job.technician_id, "started_at": "2026-05-04T10:30:00Z",
        "minutes": 12, "products": [{ "product": "silica_spray", "ml": 60 }], "outcome": "passed" });
    job.technician.post(&job.path("steps"), &spray).expect(201);

    let finish = |body: Value| job.technician.post(&job.path("finish"), &body);
    let grade = |zone: &str, grade: u8| json!({ "grades_after": [{ "zone": zone, "contaminant": "fallout_iron", "grade": grade, "evidence": "felt" }] });
    finish(grade("roof", 5)).refused_at("/grades_after/0/grade", "invalid_value");
    finish(grade("bed_inner", 1)).refused_at("/grades_after/0/zone", "unknown_zone");
    finish(json!({ "finished_at": "2026-05-04T11:06:00Z" })).refused_at("/finished_at", "in_the_future");
    finish(json!({ "finished_at": "2026-05-04T08:00:00Z" })).refused_at("/finished_at", "before_last_step");
    let vehicle = format!("/v1/vehicles/{}", job.vehicle);
    let coats = || shop.owner.get(&vehicle).expect(200)["document"]["coats"].clone();
    assert_eq!(coats(), json!([]));

    let done = finish(example("post", "/v1/jobs/{id}/finish")).expect(200);
    assert_eq!((&done["status"], &done["finished_at"]), (&json!("finished"), &json!("2026-05-04T11:00:00Z")));
    assert_eq!(done["grades_after"][0]["grade"], 0);
    assert_eq!(coats(), json!([{ "protection": "silica_spray", "applied_on": "2026-05-04" }]));
    let rev = shop.owner.get(&vehicle).expect(200)["rev"].clone();

    finish(json!({})).problem(409, "job_finished");
    job.technician.post(&job.path("inspections"), &json!({ "findings": [] })).problem(409, "job_finished");
    shop.owner.post(&job.path("plan"), &json!({})).problem(409, "job_finished");
    shop.owner.patch(&format!("/v1/jobs/{}", job.id), &json!({ "note": "x" })).problem(409, "job_finished");
    shop.owner.post(&job.path("cancel"), &Value::Null).problem(409, "job_finished");
    let after = shop.owner.get(&format!("/v1/jobs/{}", job.id)).expect(200);
    assert_eq!(after, done, "nothing was changed");
    assert_eq!(shop.owner.get(&vehicle).expect(200)["rev"], rev);
    assert_eq!(shop.owner.get(&job.path("steps")).expect(200)["items"].as_array().map(Vec::len), Some(4));
}

#[test]
fn of_many_who_finish_at_once_one_does() {
    let app = TestApp::start();
    let mut shop = app.shop("Shine");
    let mut job = shop.ready_job(&app);
    shop.owner.post(&job.path("plan"), &json!({})).expect(201);
    shop.wait(&app, &mut job, TimeDelta::hours(5));
    let statuses: Vec<u16> = std::thread::scope(|scope| {
        let clients: Vec<_> = (0..8)
            .map(|n| {
                let (job, owner) = (&job, &shop.owner);
                scope.spawn(move || match n % 2 {
                    0 => {
                        let mut step = step(job, "C02");
                        step["started_at"] = json!(format!("2026-05-04T08:{n:02}:00Z"));
                        owner.post(&job.path("steps"), &step).status
                    }
                    _ => owner.post(&job.path("finish"), &json!({})).status,
                })
            })
            .collect();
        clients.into_iter().map(|client| client.join().expect("a status")).collect()
    });
    let count = |wanted: u16| statuses.iter().filter(|status| **status == wanted).count();
    assert_eq!(count(200), 1, "{statuses:?}");
    let stored = shop.owner.get(&job.path("steps")).expect(200)["items"].as_array().map(Vec::len);
    assert_eq!(stored, Some(count(201)));
    assert_eq!(count(200) + count(201) + count(409), 8, "{statuses:?}");
}

/// A phone that was out of reach tells what was done after the job was finished, and tells it again when it heard no
/// answer: it is stored once.
#[test]
fn a_late_step_is_recorded_once_and_none_begins_after_the_end() {
    let app = TestApp::start();
    let mut shop = app.shop("Shine");
    let mut job = shop.ready_job(&app);
    shop.owner.post(&job.path("plan"), &json!({})).expect(201);
    shop.wait(&app, &mut job, TimeDelta::hours(5));
    job.technician.post(&job.path("finish"), &json!({ "finished_at": "2026-05-04T10:00:00Z" })).expect(200);
    let late = step(&job, "C02");
    let stored = job.technician.post(&job.path("steps"), &late).expect(201);
    assert_eq!(stored["recorded_at"], "2026-05-04T11:00:00Z");
    assert_eq!(job.technician.post(&job.path("steps"), &late).expect(200), stored);
    assert_eq!(shop.owner.get(&job.path("steps")).expect(200)["items"], json!([stored]));
    let sheet = shop.owner.get("/v1/throughput?week=2026-W19").expect(200);
    assert_eq!(sheet["packages"][0]["person_minutes"], 5.0);
    let mut after = step(&job, "D03");
    after["started_at"] = json!("2026-05-04T10:06:00Z");
    job.technician.post(&job.path("steps"), &after).refused_at("/started_at", "after_finish");
    // Another length is another record: two steps of one technician at a time, of which one counts.
    let mut other = late.clone();
    other["minutes"] = json!(4);
    job.technician.post(&job.path("steps"), &other).expect(201);
    let sheet = shop.owner.get("/v1/throughput?week=2026-W19").expect(200);
    assert_eq!(sheet["packages"][0]["person_minutes"], 5.0);
    assert_eq!(sheet["flaws"][0]["kind"], "overlaps");
}

/// A step as a phone would send it, begun at 08:00 UTC.
fn step(job: &ReadyJob, step: &str) -> Value {
    json!({ "step": step, "technician": job.technician_id, "started_at": "2026-05-04T08:00:00Z", "minutes": 5,
        "water_l": 2.5, "outcome": "passed" })
}
