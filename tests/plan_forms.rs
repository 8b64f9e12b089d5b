//! The forms of a plan beside its data: the sheet to print, the timeline, the range, and who took note of a warning.

use chrono::TimeDelta;
use serde_json::{Value, json};
use tests::{TestApp, standard};

#[test]
fn the_sheet_to_print_is_html_and_escapes_what_people_wrote() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let job = shop.ready_job(&app);
    let name = json!({ "name": "A & <script>alert(1)</script>" });
    shop.owner.patch(&format!("/v1/customers/{}", job.customer), &name).expect(200);
    let plan = shop.owner.post(&job.path("plan"), &json!({})).expect(201);
    let ask = |accept: &str| job.technician.send("GET", &job.path("plan"), &[("accept", accept)], b"");

    let sheet = ask("text/html,application/xhtml+xml;q=0.9,*/*;q=0.8");
    assert_eq!((sheet.status, sheet.header("content-type")), (200, "text/html; charset=utf-8"));
    assert_eq!(sheet.header("vary"), "accept");
    assert!(sheet.header("content-security-policy").starts_with("default-src 'none'"));
    for part in ["<!doctype html>", "grey estate", "A &amp; &lt;script&gt;", "van One", "A technician"] {
        assert!(sheet.text.contains(part), "{part} is missing in\n{}", sheet.text);
    }
    assert!(!sheet.text.contains("<script"), "{}", sheet.text);
    let steps = plan["lines"].as_array().expect("lines").len();
    let listed = sheet.text.split("<ol class=\"steps\">").nth(1).and_then(|rest| rest.split("</ol>").next());
    let listed = listed.expect("the steps");
    assert_eq!(listed.matches("<li").count(), steps, "a step for each line");

    assert!(ask("text/html;q=0.2, text/plain").header("content-type").starts_with("text/plain"));
    assert!(ask("text/html;q=0.2, application/json").header("content-type").starts_with("application/json"));
    let partner = shop.partner(&app, &["plans:read"]);
    partner.send("GET", &job.path("plan"), &[("accept", "text/html")], b"").problem(403, "forbidden");
}

#[test]
fn the_timeline_says_who_is_where_when_and_holds_no_more_than_the_plan() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let job = shop.ready_job(&app);
    shop.owner.get(&job.path("timeline")).problem(404, "not_found");
    let plan = shop.owner.post(&job.path("plan"), &json!({})).expect(201);
    let timeline = job.technician.get(&job.path("timeline")).expect(200);
    assert_eq!(timeline["start"], plan["start"]);
    assert_eq!(timeline["end_min"], plan["totals"]["elapsed_minutes"]);
    let tracks = timeline["technicians"].as_array().expect("technicians");
    assert_eq!(tracks.len(), 1);
    assert_eq!(tracks[0]["technician"], "A technician");
    let lines = plan["lines"].as_array().expect("lines");
    let turns: usize = lines.iter().map(|line| line["turns"].as_array().map_or(0, Vec::len)).sum();
    let spells = tracks[0]["spells"].as_array().expect("spells");
    assert_eq!(spells.len(), turns);
    for pair in spells.windows(2) {
        assert!(pair[0]["end_min"].as_f64() <= pair[1]["begin_min"].as_f64().map(|m| m + 1e-6), "{pair:?}");
    }
    assert!(timeline["zones"].as_array().is_some_and(|zones| zones.len() > 5));

    let partner = shop.partner(&app, &["plans:read"]);
    let outside = partner.get(&job.path("timeline?version=1")).expect(200);
    assert_eq!((&outside["start"], &outside["end_min"]), (&timeline["start"], &timeline["end_min"]));
    shop.owner.get(&job.path("timeline?version=2")).problem(404, "not_found");
    let (_, stranger) = shop.hire(&app, "technician", "other@shine.test");
    stranger.get(&job.path("timeline")).problem(404, "not_found");
}

/// Customers under-grade by about one (common practice): before anybody has looked, the range reaches one further.
#[test]
fn the_range_goes_from_the_booked_grade_to_one_worse_until_somebody_has_looked() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let job = shop.ready_job(&app);
    let quote = shop.owner.get(&job.path("quote")).expect(200);
    let number = |value: &Value| value.as_f64().expect("a number");
    assert_eq!((&quote["package"], &quote["seen"]), (&json!("P2"), &json!(false)));
    assert_eq!((number(&quote["grade_low"]), number(&quote["grade_high"])), (2.0, 3.0));
    let (low, high) = (&quote["low"], &quote["high"]);
    assert!(number(&low["minutes_p50"]) < number(&high["minutes_p50"]), "{quote}");
    assert!(number(&quote["minutes_p50"]) < number(&quote["minutes_p90"]), "{quote}");
    let slot = number(&quote["slot_minutes"]);
    let with_buffer = number(&low["elapsed_minutes"]) * (1.0 + number(&quote["buffer_share"]));
    assert!(number(&quote["buffer_share"]) > 0.0);
    assert!(slot % 15.0 == 0.0 && slot >= with_buffer - 1e-6 && slot < with_buffer + 15.0, "{quote}");

    // The low end is the plan as it would be made; nothing was stored.
    shop.owner.get(&job.path("plan")).problem(404, "not_found");
    let plan = shop.owner.post(&job.path("plan"), &json!({})).expect(201);
    assert_eq!(plan["totals"]["person_minutes"], low["person_minutes"]);

    let findings = json!([{ "zone": "roof", "contaminant": "fallout_iron", "grade": 1, "evidence": "felt" }]);
    job.technician.post(&job.path("inspections"), &json!({ "findings": findings })).expect(201);
    let seen = shop.owner.get(&job.path("quote")).expect(200);
    assert_eq!(seen["seen"], true);
    assert_eq!(seen["low"], seen["high"]);
    job.technician.get(&job.path("quote")).problem(403, "forbidden");
    let vehicle = shop.vehicle(&job.customer);
    let bare = shop.job(&vehicle);
    shop.owner.get(&format!("/v1/jobs/{bare}/quote")).problem(409, "no_van");
}

#[test]
fn taking_note_of_a_warning_is_kept_with_name_and_time() {
    let app = TestApp::start();
    let mut shop = app.shop("Shine");
    let mut job = shop.ready_job(&app);
    let empty = json!({ "name": "One", "seats": 2, "kit": { "tank_l": 0, "equipment": ["mitt"] } });
    shop.owner.patch(&format!("/v1/vans/{}", job.van), &json!({ "kit": empty["kit"] })).expect(200);
    let plan = shop.owner.post(&job.path("plan"), &json!({})).expect(201);
    assert_eq!(plan["acknowledged"], json!([]));
    let notices = plan["notices"].as_array().expect("notices");
    let serious = |notice: &&Value| notice["severity"] == "block" || notice["severity"] == "warn";
    let rule = &notices.iter().find(serious).expect("a van that carries nothing is warned of")["rule"];
    let path = job.path("plan/acknowledgements");
    let note = |rule: &Value, version: i32| json!({ "rule": rule, "version": version });

    let tag = shop.owner.get(&job.path("plan")).header("etag").to_owned();
    let first = job.technician.post(&path, &note(rule, 1)).expect(200);
    assert_eq!(
        first,
        json!({ "rule": rule, "person": job.technician_id, "name": "A technician", "at": "2026-05-04T06:00:00Z" })
    );
    // Again, later: the first time stands.
    shop.wait(&app, &mut job, TimeDelta::minutes(20));
    assert_eq!(job.technician.post(&path, &note(rule, 1)).expect(200), first);
    let second = shop.owner.post(&path, &note(rule, 1)).expect(200);
    assert_eq!((&second["name"], &second["at"]), (&json!("Olga Owner"), &json!("2026-05-04T06:20:00Z")));
    let shown = job.technician.get(&job.path("plan"));
    assert_eq!(shown.expect(200)["acknowledged"], json!([first, second]));
    assert_ne!(shown.header("etag"), tag);
    assert_eq!(shown.expect(200)["workable"], plan["workable"], "taking note lifts nothing");

    shop.owner.post(&path, &note(rule, 2)).refused_at("/version", "unknown");
    shop.owner.post(&path, &note(&json!("R999"), 1)).refused_at("/rule", "unknown");
    let mild = notices.iter().find(|notice| !serious(notice) && notice["rule"] != *rule);
    if let Some(mild) = mild {
        let also_serious = notices.iter().filter(serious).any(|notice| notice["rule"] == mild["rule"]);
        let reply = shop.owner.post(&path, &note(&mild["rule"], 1));
        assert_eq!(reply.status, if also_serious { 200 } else { 422 }, "{}", reply.text);
    }
    shop.owner.post(&path, &note(rule, 0)).refused_at("/version", "out_of_range");
    shop.owner.post(&job.path("plan"), &json!({})).expect(201);
    assert_eq!(shop.owner.get(&job.path("plan")).expect(200)["acknowledged"], json!([]), "read it anew");
    let (_, stranger) = shop.hire(&app, "technician", "other@shine.test");
    stranger.post(&path, &note(rule, 1)).problem(404, "not_found");
    shop.owner.post(&format!("/v1/jobs/{}/cancel", job.id), &Value::Null).expect(200);
    shop.owner.post(&path, &note(rule, 1)).problem(409, "job_cancelled");
}

#[test]
fn another_handbook_is_compared_and_nothing_is_stored() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let job = shop.ready_job(&app);
    let compare =
        |handbook: Value| shop.owner.post(&job.path("plan/compare"), &json!({ "handbook": handbook }));
    compare(json!("standard")).problem(404, "not_found");
    shop.owner.post(&job.path("plan"), &json!({})).expect(201);
    let same = compare(json!("standard")).expect(200);
    assert_eq!(same["before"], same["after"]);
    assert_eq!(
        (&same["version"], &same["as_stored"], &same["facts_changed"]),
        (&json!(1), &json!(true), &json!([]))
    );
    for list in ["added", "removed", "moved", "changed", "notices_added", "notices_removed"] {
        assert_eq!(same[list], json!([]), "{list}");
    }
    compare(json!(1)).refused_at("/handbook", "unknown");
    compare(json!(0)).refused_at("/handbook", "out_of_range");
    assert_eq!(compare(json!("mine")).status, 422);

    // The shop's first version says twice the standard minutes of C02 at grade 2 (0.55 a m²); its second takes it back.
    let set = |overrides: Value| shop.owner.put("/v1/handbook/overrides", &overrides).expect(200);
    let slow = set(json!({ "steps": { "C02": { "minutes_2": 1.1, "minutes_3": 1.2, "minutes_4": 1.3 } } }));
    set(json!({}));
    let slower = compare(json!(1)).expect(200);
    assert_eq!(
        (&slower["before"]["handbook"], &slower["after"]["handbook"]),
        (&json!(standard()), &slow["handbook"])
    );
    let changed = slower["changed"].as_array().expect("steps");
    let minutes = |step: &Value, side: &str| step[side]["minutes"].as_f64().expect("minutes");
    let (wash, others): (Vec<&Value>, Vec<&Value>) = changed.iter().partition(|step| step["step"] == "C02");
    let times = minutes(wash[0], "after") / minutes(wash[0], "before");
    // Knees that have had enough make it, and the low work after it, up to 15 % slower.
    assert!((2.0..=2.3).contains(&times), "{changed:?}");
    let slower_by = |step: &&Value| minutes(step, "after") - minutes(step, "before");
    assert!(others.iter().all(|step| (0.0..2.0).contains(&slower_by(step))), "{changed:?}");
    let whole = |side: &str| slower[side]["totals"]["person_minutes"].as_f64().expect("minutes");
    let in_steps: f64 = wash.iter().chain(&others).map(slower_by).sum();
    assert!((whole("after") - whole("before") - in_steps).abs() < 1e-6, "{slower}");

    // In force are the standard tables again; a plan made now is of the second version.
    assert_eq!(compare(json!("in_force")).expect(200)["changed"], json!([]));
    let versions = shop.owner.get(&job.path("plans")).expect(200);
    assert_eq!(versions["items"].as_array().map(Vec::len), Some(1));
    job.technician.post(&job.path("plan/compare"), &json!({ "handbook": 1 })).problem(403, "forbidden");
}

/// A plan is compared on the facts it was made from, whatever has become otherwise since.
#[test]
fn a_plan_is_made_again_from_the_facts_it_was_made_from() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let job = shop.ready_job(&app);
    shop.owner
        .put("/v1/handbook/overrides", &json!({ "steps": { "B05": { "minutes_1": 0.05 } } }))
        .expect(200);
    let first = shop
        .owner
        .post(
            &job.path("plan"),
            &json!({ "extra_work": { "approved": true, "silent_min": 0 }, "refill_stops": 1 }),
        )
        .expect(201);
    // Twice as bad, another van, another place, dirtier roads.
    let findings = json!([{ "zone": "roof", "contaminant": "fallout_iron", "grade": 3, "evidence": "felt" }]);
    job.technician.post(&job.path("inspections"), &json!({ "findings": findings })).expect(201);
    shop.owner.patch(&format!("/v1/vans/{}", job.van), &json!({ "kit": { "tank_l": 20 } })).expect(200);
    let site = json!({ "site": { "drain": "vegetated" } });
    shop.owner.patch(&format!("/v1/customers/{}", job.customer), &site).expect(200);
    shop.owner.patch("/v1/shop", &json!({ "settings": { "last_salted_on": "2026-03-02" } })).expect(200);
    shop.owner
        .post(&job.path("waivers"), &json!({ "rule": "R60", "steps": ["D07"], "by": "Hyppa" }))
        .expect(201);
    let second = shop.owner.post(&job.path("plan"), &json!({})).expect(201);
    assert_ne!(first["totals"], second["totals"]);

    let compare = |version: Value| {
        let body = json!({ "handbook": "standard", "version": version });
        shop.owner.post(&job.path("plan/compare"), &body).expect(200)
    };
    let old = compare(json!(1));
    assert_eq!((&old["version"], &old["as_stored"]), (&json!(1), &json!(true)));
    assert_eq!(
        old["facts_changed"],
        json!(["/inspection/findings", "/kit/tank_l", "/last_salted_on", "/site/drain", "/waivers"])
    );
    let person_minutes = |plan: &Value| plan["totals"]["person_minutes"].as_f64().expect("minutes");
    assert!((person_minutes(&old["before"]) - person_minutes(&first)).abs() < 1e-6);
    assert_eq!(old["before"]["handbook"], first["handbook"], "the shop's own version is looked up again");
    assert_eq!(old["after"]["handbook"], standard());
    let changed: Vec<&Value> = old["changed"].as_array().expect("steps").iter().map(|s| &s["step"]).collect();
    assert!(changed.is_empty() || changed == ["B05"], "{changed:?}");

    let new = compare(Value::Null);
    assert_eq!(
        (&new["version"], &new["as_stored"], &new["facts_changed"]),
        (&json!(2), &json!(true), &json!([]))
    );
    shop.owner
        .post(&job.path("plan/compare"), &json!({ "handbook": "standard", "version": 3 }))
        .problem(404, "not_found");
    // Nobody goes any more: what would be otherwise cannot be told, the comparison stands.
    let nobody = json!({ "van": null, "start_at": null, "technicians": [] });
    shop.owner.put(&format!("/v1/jobs/{}/assignment", job.id), &nobody).expect(200);
    let alone = compare(json!(1));
    assert_eq!((&alone["as_stored"], alone.get("facts_changed")), (&json!(true), None));
}
