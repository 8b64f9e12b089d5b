//! Minutes that learn from the shop's own finished steps.

use chrono::TimeDelta;
use serde_json::{Value, json};
use tests::{ReadyJob, Shop, TestApp};

#[test]
fn a_technician_who_is_always_slower_gets_longer_minutes() {
    let app = TestApp::start();
    let mut shop = app.shop("Shine");
    let mut job = shop.ready_job(&app);
    let before = shop.owner.post(&job.path("plan"), &json!({})).expect(201);
    shop.wait(&app, &mut job, TimeDelta::hours(5));

    // C02 takes twice its norm, in two records that make one step.
    let half = number(line(&before, "C02"), "norm_minutes");
    job.technician.post(&job.path("steps"), &step(&job, "C02", half, "passed")).expect(201);
    // The plan made meanwhile no longer has the step; the second record still knows its norm.
    shop.owner.post(&job.path("plan"), &json!({})).expect(201);
    job.technician.post(&job.path("steps"), &step(&job, "C02", half, "passed")).expect(201);
    // Not passed: that says nothing. Never planned: there is nothing to measure it by.
    job.technician.post(&job.path("steps"), &step(&job, "D03", 300.0, "left")).expect(201);

    let next = next_job(&shop, &job);
    let plan = || shop.owner.post(&format!("/v1/jobs/{next}/plan"), &json!({})).expect(201);
    let p50 = |plan: &Value, step: &str| number(line(plan, step), "minutes_p50");
    assert_eq!(p50(&plan(), "C02"), p50(&before, "C02"), "a job that goes on teaches nothing yet");
    let rev = shop.owner.get(&format!("/v1/jobs/{}", job.id));
    let seen = rev.header("etag").to_owned();
    job.technician.send("POST", &job.path("finish"), &[("if-match", &seen)], b"").expect(200);

    let after = plan();
    let (was, is) = (p50(&before, "C02"), p50(&after, "C02"));
    // One step against a prior that counts for four: a fifth of the way to ln 2, in logarithms.
    assert!(is > was * 1.05 && is < was * 2.0, "{was} {is}");
    assert_eq!(number(line(&after, "C02"), "norm_minutes"), half, "the handbook's norm stays");
    assert_eq!(p50(&after, "D03"), p50(&before, "D03"));
    assert_eq!(p50(&after, "D05"), p50(&before, "D05"));

    // Another shop learns nothing of it.
    let other = app.shop("Gleam");
    let theirs = other.ready_job(&app);
    let plan = other.owner.post(&theirs.path("plan"), &json!({})).expect(201);
    assert_eq!(p50(&plan, "C02"), was);
}

/// The same vehicle again, with the same crew, a day later.
fn next_job(shop: &Shop, job: &ReadyJob) -> String {
    let booking = json!({ "vehicle": job.vehicle, "package": "P2",
        "window_from": "2026-05-05T08:00:00Z", "window_to": "2026-05-05T10:00:00Z" });
    let id = shop.owner.post("/v1/jobs", &booking).id();
    let assignment = json!({ "van": job.van, "start_at": "2026-05-05T08:00:00Z",
        "technicians": [job.technician_id] });
    shop.owner.put(&format!("/v1/jobs/{id}/assignment"), &assignment).expect(200);
    id
}

fn step(job: &ReadyJob, step: &str, minutes: f64, outcome: &str) -> Value {
    json!({ "step": step, "technician": job.technician_id, "started_at": "2026-05-04T08:30:00Z",
        "minutes": minutes, "outcome": outcome })
}

fn line<'a>(plan: &'a Value, step: &str) -> &'a Value {
    let lines = plan["lines"].as_array().expect("lines");
    lines.iter().find(|line| line["step"] == step).unwrap_or_else(|| panic!("{step} is not planned"))
}

fn number(value: &Value, field: &str) -> f64 {
    value[field].as_f64().expect("a number")
}
