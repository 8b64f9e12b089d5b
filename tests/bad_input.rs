//! The ten things that people send by mistake: each is refused with a reason and a place, and changes nothing.

use chrono::TimeDelta;
use serde_json::{Value, json};
use tests::{Client, Reply, TestApp, booking, estate};

#[test]
fn ten_mistakes_are_told_and_change_nothing() {
    let app = TestApp::start();
    let other = app.shop("Gleam");
    let foreign = other.vehicle(&other.customer("B"));
    let mut shop = app.shop("Shine");
    let mut job = shop.ready_job(&app);
    shop.owner.post(&job.path("plan"), &json!({})).expect(201);
    let second = shop.job(&shop.vehicle(&job.customer));
    shop.wait(&app, &mut job, TimeDelta::hours(3));
    let finished = {
        let path = |of: &str| format!("/v1/jobs/{}/{of}", second);
        let crew =
            json!({ "van": job.van, "start_at": "2026-05-04T08:00:00Z", "technicians": [job.technician_id] });
        shop.owner.put(&path("assignment"), &crew).expect(200);
        shop.owner.post(&path("plan"), &json!({})).expect(201);
        shop.owner.post(&path("finish"), &json!({})).expect(200);
        path("inspections")
    };
    let owner = shop.owner.clone();
    let step = |water_l: f64| {
        json!({ "step": "C02", "technician": job.technician_id, "started_at": "2026-05-04T08:30:00Z",
            "minutes": 5, "water_l": water_l, "outcome": "passed" })
    };
    let finding = |zone: &str, grade: u8| json!({ "findings": [{ "zone": zone, "contaminant": "film", "grade": grade, "evidence": "seen" }] });
    let ratio = |ratio: &str| json!({ "step_products": { "B09.foam_prewash_neutral": { "water_to_product": ratio } } });
    let window = |from: &str, to: &str| {
        let car = estate(&job.customer);
        json!({ "vehicle": owner.post("/v1/vehicles", &car).id(), "package": "P2",
            "window_from": from, "window_to": to })
    };
    let backwards = window("2026-05-05T10:00:00Z", "2026-05-05T08:00:00Z");
    let huge = json!({ "name": "A", "note": "x".repeat(2 * 1024 * 1024) });

    let mut paths = vec![job.path("inspections"), job.path("steps"), job.path("plans"), finished.clone()];
    paths.extend([format!("/v1/jobs/{}", job.id), format!("/v1/vehicles/{}", job.vehicle)]);
    let lists = ["shop", "customers", "vehicles", "jobs", "people", "vans", "handbook/overrides"];
    paths.extend(lists.iter().map(|list| format!("/v1/{list}")));
    let before = everything(&owner, &paths);

    let inspect = |body: &Value| owner.post(&job.path("inspections"), body);
    refused(&inspect(&finding("roof", 5)), 422, "/findings/0/grade", "grade");
    refused(&inspect(&finding("bed_inner", 2)), 422, "/findings/0/zone", "load bed");
    refused(
        &owner.put("/v1/handbook/overrides", &ratio("0:0")),
        422,
        "/step_products/B09.foam_prewash_neutral/water_to_product",
        "",
    );
    refused(&owner.post(&job.path("steps"), &step(-2.0)), 422, "/water_l", "outside 0");
    refused(&owner.post("/v1/jobs", &backwards), 422, "/window_to", "later");
    let nowhere = owner.patch("/v1/shop", &json!({ "time_zone": "Mars/Olympus" }));
    refused(&nowhere, 422, "/time_zone", "Mars/Olympus");
    refused(&owner.post("/v1/customers", &huge), 413, "", "");
    refused(&owner.get(&format!("/v1/vehicles/{foreign}")), 404, "", "");
    refused(&owner.post("/v1/jobs", &booking(&foreign)), 422, "/vehicle", "");
    refused(&owner.post("/v1/jobs", &booking(&job.vehicle)), 409, "", "08:00");
    refused(&owner.post(&finished, &json!({ "findings": [] })), 409, "", "finished");

    assert_eq!(everything(&owner, &paths), before, "nothing was stored");
}

/// What can be read of the shop.
fn everything(owner: &Client, paths: &[String]) -> Vec<(String, Value)> {
    paths.iter().map(|path| (path.clone(), owner.get(path).expect(200))).collect()
}

/// Refused with a sentence that holds `word`; the first place named is `pointer`, unless no place is at fault.
#[track_caller]
fn refused(reply: &Reply, status: u16, pointer: &str, word: &str) {
    let body = reply.expect(status);
    let first = &body["errors"][0];
    assert_eq!(first["pointer"].as_str().unwrap_or_default(), pointer, "{}: {}", reply.asked, reply.text);
    let said = if pointer.is_empty() { &body["detail"] } else { &first["detail"] };
    let said = said.as_str().or(body["title"].as_str()).unwrap_or_default();
    assert!(said.split_whitespace().count() >= 3 && said.contains(word), "{}: {}", reply.asked, reply.text);
}
