//! Upkeep forecasts: counted from what was done and felt.

use chrono::TimeDelta;
use serde_json::{Value, json};
use tests::{Shop, TestApp, estate};

/// An open street adds 0.6 a day and iron is to be removed at a dose of 100, so after 167 days (common practice: the
/// handbook's exposure and its limit).
#[test]
fn the_forecast_counts_from_the_last_iron_removal() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let car = vehicle(&shop, json!({ "decontaminated_on": "2026-01-04" }));
    let upkeep = shop.owner.get(&format!("/v1/vehicles/{car}/upkeep")).expect(200);
    assert_eq!(upkeep["on"], "2026-05-04");
    let iron = need(&upkeep, "decontamination");
    assert_eq!((&iron["since_on"], &iron["due_on"]), (&json!("2026-01-04"), &json!("2026-06-20")));
    assert!(iron["reason"].as_str().is_some_and(|text| text.len() > 20));

    let unknown = vehicle(&shop, json!({}));
    let upkeep = shop.owner.get(&format!("/v1/vehicles/{unknown}/upkeep")).expect(200);
    assert_eq!(need(&upkeep, "feel_test")["due_on"], "2026-05-04");
}

#[test]
fn a_finished_job_begins_the_count_anew() {
    let app = TestApp::start();
    let mut shop = app.shop("Shine");
    let mut job = shop.ready_job(&app);
    let path = format!("/v1/vehicles/{}/upkeep", job.vehicle);
    need(&shop.owner.get(&path).expect(200), "feel_test");
    shop.owner.post(&job.path("plan"), &json!({})).expect(201);
    shop.wait(&app, &mut job, TimeDelta::hours(5));
    for step in ["C02", "D03", "D05", "H03"] {
        let body = json!({ "step": step, "technician": job.technician_id, "started_at": "2026-05-04T08:00:00Z",
            "minutes": 5, "outcome": "passed" });
        job.technician.post(&job.path("steps"), &body).expect(201);
    }
    need(&shop.owner.get(&path).expect(200), "feel_test");
    job.technician.post(&job.path("finish"), &json!({})).expect(200);
    let upkeep = job.technician.get(&path).expect(200);
    for (kind, since) in
        [("decontamination", "2026-05-04"), ("protection", "2026-05-04"), ("wash", "2026-05-04")]
    {
        assert_eq!(need(&upkeep, kind)["since_on"], since, "{upkeep}");
    }
}

/// Polish takes a coating off (common practice): its people are told, until the note is withdrawn as a mistake.
#[test]
fn what_a_job_stripped_is_asked_for() {
    let app = TestApp::start();
    let mut shop = app.shop("Shine");
    let mut job = shop.ready_job(&app);
    let vehicle = format!("/v1/vehicles/{}", job.vehicle);
    let coats = json!([{ "protection": "ceramic_1y", "applied_on": "2026-04-01" }]);
    shop.owner.patch(&vehicle, &json!({ "document": { "coats": coats } })).expect(200);
    shop.owner.post(&job.path("plan"), &json!({})).expect(201);
    shop.wait(&app, &mut job, TimeDelta::hours(5));
    let step = json!({ "step": "G03", "technician": job.technician_id, "started_at": "2026-05-04T08:00:00Z",
        "minutes": 5, "outcome": "passed" });
    job.technician.post(&job.path("steps"), &step).expect(201);
    job.technician.post(&job.path("finish"), &json!({})).expect(200);
    assert_eq!(shop.owner.get(&vehicle).expect(200)["document"]["coats"], json!([]));
    let upkeep = format!("{vehicle}/upkeep");
    let gone = shop.owner.get(&upkeep).expect(200);
    let need = need(&gone, "protection");
    assert_eq!(
        (&need["due_on"], &need["package"], &need["urgency"]),
        (&json!("2026-05-04"), &json!("P4"), &json!("due"))
    );
    assert!(need["reason"].as_str().is_some_and(|text| text.contains("was taken off by the")), "{need}");
    let listed = shop.owner.get("/v1/upkeep?kind=protection").expect(200);
    assert_eq!(listed["items"][0]["key"], "protection:ceramic_1y:2026-05-04");

    let notes = shop.owner.get(&format!("{vehicle}/observations")).expect(200);
    let stripped = json!([{ "on": "2026-05-04", "protection": "ceramic_1y", "step": "G03" }]);
    assert_eq!(notes["items"][0]["stripped"], stripped);
    let note = notes["items"][0]["id"].as_str().expect("an id").to_owned();
    shop.owner.delete(&format!("/v1/observations/{note}")).expect(200);
    let kinds = shop.owner.get(&upkeep).expect(200)["needs"].clone();
    assert!(kinds.as_array().is_some_and(|needs| needs.iter().all(|need| need["kind"] != "protection")));
}

/// Tar seen at the inspection and left on is due at once, for a visit that takes it off; the grade stands for an amount.
#[test]
fn what_an_eye_sees_counts() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let job = shop.ready_job(&app);
    let path = format!("/v1/vehicles/{}", job.vehicle);
    let tar = json!({ "zone": "doors", "contaminant": "tar", "grade": 2, "evidence": "seen" });
    job.technician.post(&job.path("inspections"), &json!({ "findings": [tar] })).expect(201);
    let upkeep = shop.owner.get(&format!("{path}/upkeep")).expect(200);
    let spots = need(&upkeep, "spot_removal");
    assert_eq!((&spots["due_on"], &spots["package"]), (&json!("2026-05-04"), &json!("P9")));
    assert_eq!(spots["contaminants"], json!(["tar"]));
}

/// What was felt replaces the count: grade 3 stands for a dose of 120, which is due at once (common practice).
#[test]
fn a_feel_test_replaces_the_count_and_a_look_does_not() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let job = shop.ready_job(&app);
    let path = format!("/v1/vehicles/{}/upkeep", job.vehicle);
    let inspect = |evidence: &str| {
        let finding =
            json!({ "zone": "doors", "contaminant": "fallout_iron", "grade": 3, "evidence": evidence });
        job.technician.post(&job.path("inspections"), &json!({ "findings": [finding] })).expect(201);
    };
    inspect("seen");
    need(&shop.owner.get(&path).expect(200), "feel_test");
    inspect("felt");
    let iron = need(&shop.owner.get(&path).expect(200), "decontamination").clone();
    assert_eq!((&iron["since_on"], &iron["urgency"]), (&json!("2026-05-04"), &json!("due")));
}

/// Grade 2 felt on the paint after the job is a dose of 90: it is due long before a clean start would be.
#[test]
fn what_was_left_after_the_job_counts() {
    let app = TestApp::start();
    let mut shop = app.shop("Shine");
    let mut job = shop.ready_job(&app);
    shop.owner.post(&job.path("plan"), &json!({})).expect(201);
    shop.wait(&app, &mut job, TimeDelta::hours(5));
    for step in ["D03", "D05"] {
        let body = json!({ "step": step, "technician": job.technician_id, "started_at": "2026-05-04T08:00:00Z",
            "minutes": 5, "outcome": "passed" });
        job.technician.post(&job.path("steps"), &body).expect(201);
    }
    let left = json!({ "zone": "doors", "contaminant": "fallout_iron", "grade": 2, "evidence": "felt" });
    job.technician.post(&job.path("finish"), &json!({ "grades_after": [left] })).expect(200);
    let upkeep = shop.owner.get(&format!("/v1/vehicles/{}/upkeep", job.vehicle)).expect(200);
    let iron = need(&upkeep, "decontamination");
    let dose = iron["figures"].as_array().expect("figures").iter().find(|f| f["name"] == "dose");
    assert_eq!(dose.map(|f| &f["value"]), Some(&json!(90.0)), "{iron}");
}

#[test]
fn needs_of_all_vehicles_are_listed_by_their_day() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let other = app.shop("Gleam");
    vehicle(&other, json!({ "decontaminated_on": "2025-06-01" }));
    for n in 1..=9 {
        vehicle(&shop, json!({ "decontaminated_on": format!("2026-0{}-10", 1 + n % 4) }));
    }
    let sold = vehicle(&shop, json!({ "decontaminated_on": "2025-06-01" }));
    shop.owner
        .patch(&format!("/v1/vehicles/{sold}"), &json!({ "sold_at": "2026-05-01T00:00:00Z" }))
        .expect(200);
    let list = |query: &str| -> Vec<(String, String, String)> {
        let mut all = Vec::new();
        let mut cursor = String::new();
        loop {
            let page = shop.owner.get(&format!("/v1/upkeep?limit=4{query}{cursor}")).expect(200);
            for item in page["items"].as_array().expect("items") {
                let text = |value: &Value| value.as_str().expect("text").to_owned();
                all.push((text(&item["need"]["due_on"]), text(&item["vehicle"]), text(&item["key"])));
            }
            match page["next_cursor"].as_str() {
                Some(next) => cursor = format!("&cursor={next}"),
                None => return all,
            }
        }
    };
    let all = list("");
    // One iron removal and one wash each.
    assert_eq!(all.len(), 18);
    assert!(all.is_sorted());
    let mut once = all.clone();
    once.dedup();
    assert_eq!(once.len(), 18);
    assert!(all.iter().all(|(_, vehicle, _)| *vehicle != sold));
    let before = "2026-07-01";
    let some = list(&format!("&due_before={before}"));
    assert_eq!(some, all.iter().filter(|(on, ..)| on.as_str() < before).cloned().collect::<Vec<_>>());
    assert!(!some.is_empty() && some.len() < all.len());

    let cursor = shop.owner.get("/v1/upkeep?limit=4").expect(200)["next_cursor"].clone();
    let cursor = cursor.as_str().expect("a cursor");
    shop.owner.get(&format!("/v1/upkeep?due_before=2026-07-01&cursor={cursor}")).problem(400, "bad_query");
    other.owner.get(&format!("/v1/upkeep?cursor={cursor}")).problem(400, "bad_query");
    shop.owner.get("/v1/upkeep?due_before=tomorrow").problem(400, "bad_query");
}

#[test]
fn who_may_see_a_forecast() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let job = shop.ready_job(&app);
    let (_, other) = shop.hire(&app, "technician", "other@shine.test");
    let path = format!("/v1/vehicles/{}/upkeep", job.vehicle);
    job.technician.get(&path).expect(200);
    job.technician.get("/v1/upkeep").problem(403, "forbidden");
    other.get(&path).problem(404, "not_found");
    let partner = shop.partner(&app, &["upkeep:read"]);
    partner.get(&path).expect(200);
    partner.get("/v1/upkeep").expect(200);
    shop.partner(&app, &["plans:read"]).get(&path).problem(403, "forbidden");
}

/// A grey estate on an open street all week, with more in its document.
fn vehicle(shop: &Shop, more: Value) -> String {
    let mut body = estate(&shop.customer("A"));
    body["document"]["exposures"] = json!([{ "kind": "street_open", "share": 1.0 }]);
    for (field, value) in more.as_object().expect("fields") {
        body["document"][field] = value.clone();
    }
    shop.owner.post("/v1/vehicles", &body).id()
}

fn need<'a>(upkeep: &'a Value, kind: &str) -> &'a Value {
    let needs = upkeep["needs"].as_array().expect("needs");
    needs.iter().find(|need| need["kind"] == kind).unwrap_or_else(|| panic!("no {kind} in {upkeep}"))
}
