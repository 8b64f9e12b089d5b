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
    job.technician.post(&job.path("steps"), &step(&job, "C02", "08:00", half, "passed")).expect(201);
    // The plan made meanwhile no longer has the step; the second record still knows its norm.
    shop.owner.post(&job.path("plan"), &json!({})).expect(201);
    job.technician.post(&job.path("steps"), &step(&job, "C02", "09:00", half, "passed")).expect(201);
    // Not passed: that says nothing. Taken back: neither.
    job.technician.post(&job.path("steps"), &step(&job, "D03", "10:00", 60.0, "left")).expect(201);
    let wrong = job.technician.post(&job.path("steps"), &step(&job, "C02", "05:00", 120.0, "passed")).id();
    let path = job.path(&format!("steps/{wrong}/void"));
    job.technician.post(&path, &json!({ "reason": "another car" })).expect(200);

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

    the_owner_has_the_last_word(&shop, &job, (was, is), &|| p50(&plan(), "C02"));

    // Another shop learns nothing of it.
    let other = app.shop("Gleam");
    let theirs = other.ready_job(&app);
    let plan = other.owner.post(&theirs.path("plan"), &json!({})).expect(201);
    assert_eq!(p50(&plan, "C02"), was);
}

/// The evidence is shown, and what is vetoed moves nothing until the veto is lifted.
fn the_owner_has_the_last_word(shop: &Shop, job: &ReadyJob, (was, is): (f64, f64), p50: &dyn Fn() -> f64) {
    let learned = shop.owner.get("/v1/norms").expect(200);
    let evidence = learned["evidence"].as_array().expect("evidence");
    let of = |technician: &Value| {
        let found = evidence.iter().find(|one| one["step"] == "C02" && one["technician"] == *technician);
        found.unwrap_or_else(|| panic!("no evidence of {technician} in {learned}"))
    };
    let own = of(&json!(job.technician_id));
    assert_eq!((&own["steps"], &own["vetoed"]), (&json!(1), &json!(false)));
    assert!((number(own, "measured") - 2.0).abs() < 1e-3, "{own}");
    assert_eq!(learned["names"][&job.technician_id], "A technician");

    let put = |body: Value| shop.owner.put("/v1/norms/veto", &body);
    put(json!({ "step": "Z99", "vetoed": true, "reason": "x" })).refused_at("/step", "unknown");
    put(json!({ "step": "C02", "vetoed": true, "reason": "" })).refused_at("/reason", "too_short");
    put(json!({ "step": "C02", "grade": 5, "vetoed": true, "reason": "x" }))
        .refused_at("/grade", "out_of_range");
    put(json!({ "step": "C02", "vetoed": true, "reason": "he trained somebody" })).expect(200);
    assert_eq!(p50(), was, "the handbook's norm again");
    let vetoed = shop.owner.get("/v1/norms").expect(200);
    assert_eq!(vetoed["vetoes"][0]["reason"], "he trained somebody");
    assert!(
        vetoed["evidence"]
            .as_array()
            .expect("evidence")
            .iter()
            .all(|one| one["vetoed"] == (one["step"] == "C02"))
    );
    job.technician
        .put("/v1/norms/veto", &json!({ "step": "C02", "vetoed": false, "reason": "x" }))
        .problem(403, "forbidden");
    put(json!({ "step": "C02", "vetoed": false, "reason": "that was a mistake" })).expect(200);
    assert_eq!(p50(), is);
    assert_eq!(shop.owner.get("/v1/norms").expect(200)["vetoes"], json!([]));
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

fn step(job: &ReadyJob, step: &str, start: &str, minutes: f64, outcome: &str) -> Value {
    json!({ "step": step, "technician": job.technician_id, "started_at": format!("2026-05-04T{start}:00Z"),
        "minutes": minutes, "outcome": outcome })
}

fn line<'a>(plan: &'a Value, step: &str) -> &'a Value {
    let lines = plan["lines"].as_array().expect("lines");
    lines.iter().find(|line| line["step"] == step).unwrap_or_else(|| panic!("{step} is not planned"))
}

fn number(value: &Value, field: &str) -> f64 {
    value[field].as_f64().expect("a number")
}
