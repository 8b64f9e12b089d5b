//! Plans: made from what is stored, kept version by version, read as data and as a job sheet, tried out in a preview.

use serde_json::{Value, json};
use tests::{Reply, TestApp, example, standard};

#[test]
fn a_plan_is_made_from_what_is_known_and_kept() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let job = shop.ready_job(&app);
    job.technician.get(&job.path("plan")).problem(404, "not_found");
    let first = shop.owner.send("POST", &job.path("plan"), &[], b"").expect(201);
    assert_eq!(
        (&first["version"], &first["format"], &first["package"]),
        (&json!(1), &json!(1), &json!("P2"))
    );
    assert_eq!(first["handbook"], standard());
    assert_eq!(first["start"], "2026-05-04T10:00:00", "Vienna is two hours ahead of UTC in May");
    assert_eq!(shop.owner.get(&format!("/v1/jobs/{}", job.id)).expect(200)["status"], "planned");

    shop.owner.send("POST", &job.path("plan"), &[], b"{}").problem(415, "unsupported_media_type");

    // Grade 3 of bonded iron takes longer than the grade 2 that was booked.
    let findings: Vec<Value> = ["roof", "bonnet", "doors", "front_wing", "rear_quarter", "tail"]
        .iter()
        .map(|zone| json!({ "zone": zone, "contaminant": "fallout_iron", "grade": 3, "evidence": "felt" }))
        .collect();
    job.technician.post(&job.path("inspections"), &json!({ "findings": findings })).expect(201);
    let request = json!({ "extra_work": { "approved": true } });
    let second = shop.owner.post(&job.path("plan"), &request).expect(201);
    assert_eq!(second["version"], 2);
    let iron = |plan: &Value| line(plan, "D03")["minutes"].as_f64().expect("minutes");
    assert!(iron(&second) > iron(&first), "{} {}", iron(&second), iron(&first));

    let plan = job.technician.get(&job.path("plan")).expect(200);
    assert_eq!(plan, second);
    assert_eq!(shop.owner.get(&job.path("plan?version=1")).expect(200), first);
    shop.owner.get(&job.path("plan?version=3")).problem(404, "not_found");
    let versions = shop.owner.get(&job.path("plans")).expect(200);
    let numbers: Vec<&Value> =
        versions["items"].as_array().expect("items").iter().map(|v| &v["version"]).collect();
    assert_eq!(numbers, [2, 1]);
}

/// Every line says where it comes from: the package or a trigger, and the pairs that put it in its place.
#[test]
fn every_line_of_a_plan_explains_itself() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let job = shop.ready_job(&app);
    let plan = shop.owner.post(&job.path("plan"), &json!({})).expect(201);
    let lines = plan["lines"].as_array().expect("lines");
    assert!(lines.len() > 20, "{}", lines.len());
    for line in lines {
        assert!(line["reasons"].as_array().is_some_and(|r| !r.is_empty()), "{line}");
        assert!(line["pass_check"].as_str().is_some_and(|c| !c.is_empty()), "{line}");
    }
    let place = |step: &str| lines.iter().position(|l| l["step"] == step).expect("a planned step");
    // Iron remover after the wash, its rinse after it (TRADE golden order, common practice).
    assert!(place("C02") < place("D03") && place("D03") < place("D05"));
    let mix = &line(&plan, "D03")["mixes"][0];
    assert_eq!(mix["product"], "iron_remover");
    assert!(mix["pour_ml"].as_f64().is_some_and(|ml| ml > 0.0), "{mix}");
}

#[test]
fn the_job_sheet_is_the_plan_for_people() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let job = shop.ready_job(&app);
    shop.owner.post(&job.path("plan"), &json!({})).expect(201);
    let ask = |accept: &str| job.technician.send("GET", &job.path("plan"), &[("accept", accept)], b"");
    let sheet = ask("text/plain");
    assert_eq!((sheet.status, sheet.header("content-type")), (200, "text/plain; charset=utf-8"));
    for part in
        ["Deep Cleanse", "grey estate", "IRON REMOVER ON PAINT", "van One", "A technician", "STEPS", "Q"]
    {
        assert!(sheet.text.contains(part), "{part} is missing in\n{}", sheet.text);
    }
    let is_text = |reply: Reply| reply.header("content-type").starts_with("text/plain");
    assert!(is_text(ask("application/json;q=0.5, text/*")));
    assert!(!is_text(ask("*/*")));
    assert!(!is_text(ask("text/plain;q=0.3, application/json")));
    assert!(!is_text(ask("image/png")));
    assert!(!is_text(job.technician.get(&job.path("plan"))));
    assert_eq!(ask("text/plain").header("vary"), "accept");
}

#[test]
fn what_is_missing_for_a_plan_is_said() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let vehicle = shop.vehicle(&shop.customer("A"));
    let job = shop.job(&vehicle);
    let (path, assignment) = (format!("/v1/jobs/{job}/plan"), format!("/v1/jobs/{job}/assignment"));
    shop.owner.post(&path, &Value::Null).problem(409, "no_van");
    shop.owner.post(&path, &json!([])).refused_at("", "wrong_type");
    let van = shop.owner.post("/v1/vans", &tests::full_van()).id();
    let assign = |technicians: Value| {
        let body = json!({ "van": van, "start_at": null, "technicians": technicians });
        shop.owner.put(&assignment, &body).expect(200);
    };
    assign(json!([]));
    shop.owner.post(&path, &json!({})).problem(409, "no_crew");
    let (technician_id, technician) = shop.hire(&app, "technician", "t@shine.test");
    assign(json!([technician_id]));
    technician.post(&path, &json!({})).problem(403, "forbidden");
    shop.owner
        .post(&path, &json!({ "extra_work": { "approved": "perhaps" } }))
        .refused_at("/extra_work/approved", "wrong_type");
    shop.owner.post(&path, &json!({})).expect(201);
    shop.owner.post(&format!("/v1/jobs/{job}/cancel"), &Value::Null).expect(200);
    shop.owner.post(&path, &json!({})).problem(409, "job_cancelled");
    assert_eq!(
        shop.owner.get(&format!("/v1/jobs/{job}/plans")).expect(200)["items"].as_array().map(Vec::len),
        Some(1)
    );
}

/// Weather may come with the request: it is used in place of the shop's and kept with the plan.
#[test]
fn weather_of_the_request_goes_into_the_plan_and_is_kept_with_it() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let job = shop.ready_job(&app);
    let hour = |hour: u32| {
        json!({ "at": format!("2026-05-04T{hour:02}:00:00"), "air_c": 4.5, "humidity": 0.6, "wind_m_s": 1.0,
            "sun_w_m2": 60.0 })
    };
    let cold = json!({ "hours": (8..20).map(hour).collect::<Vec<_>>() });
    let plan = |request: Value| shop.owner.post(&job.path("plan"), &request).expect(201);
    // Iron remover waits for 5 C (rule R12).
    let too_cold = |plan: &Value| {
        plan["notices"].as_array().expect("notices").iter().any(|notice| notice["rule"] == "R12")
    };
    assert!(!too_cold(&plan(json!({}))));
    assert!(too_cold(&plan(json!({ "weather": cold }))));
    let compared = shop.owner.post(&job.path("plan/compare"), &json!({ "handbook": "standard" })).expect(200);
    assert_eq!((&compared["as_stored"], &compared["facts_changed"]), (&json!(true), &json!([])));
    assert!(!too_cold(&plan(json!({}))), "given with every planning, else the shop's");

    let refused = |change: fn(&mut Value)| {
        let mut weather = cold.clone();
        change(&mut weather["hours"][3]);
        shop.owner.post(&job.path("plan"), &json!({ "weather": weather }))
    };
    refused(|hour| hour["humidity"] = json!(1.1)).refused_at("/weather/hours/3/humidity", "out_of_range");
    refused(|hour| hour["at"] = json!("2026-05-04T08:00:00"))
        .refused_at("/weather/hours/3/at", "not_in_order");
    let far = |hour: &mut Value| hour["at"] = json!("9999-05-04T11:00:00");
    let mut last = cold.clone();
    far(&mut last["hours"][11]);
    shop.owner
        .post(&job.path("plan"), &json!({ "weather": last }))
        .refused_at("/weather/hours/11/at", "does_not_fit");
    assert_eq!(shop.owner.get(&job.path("plans")).expect(200)["items"].as_array().map(Vec::len), Some(3));
}

/// An analysis of the water at a customer's place is kept with the site, and contradictions are refused.
#[test]
fn the_water_of_a_site_is_judged_by_its_analysis() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let job = shop.ready_job(&app);
    let customer = format!("/v1/customers/{}", job.customer);
    let water = |tds: f64, calcium: f64| {
        json!({ "site": { "hardness_mg_l": 150, "water": { "ph": 8.2, "tds_mg_l": tds, "calcium_mg_l": calcium,
            "alkalinity_mg_l": 180.0, "water_c": 30.0 } } })
    };
    shop.owner.patch(&customer, &water(400.0, 151.0)).refused_at("/site/water/calcium_mg_l", "out_of_range");
    shop.owner.patch(&customer, &water(0.0, 100.0)).refused_at("/site/water/tds_mg_l", "out_of_range");
    shop.owner.patch(&customer, &water(400.0, 120.0)).expect(200);
    let plan = shop.owner.post(&job.path("plan"), &json!({})).expect(201);
    // 400 mg/l in a film of 50 um are 20 mg/m2 (WAT-10).
    let spots = plan["notices"].as_array().expect("notices").iter().find(|notice| notice["rule"] == "R21");
    let text = spots.expect("R21")["text"].as_str().expect("text");
    assert!(text.contains("20.0 mg/m2") && text.contains("leaves lime"), "{text}");
}

#[test]
fn a_preview_ranks_start_times_and_stores_nothing() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let mut body = example("post", "/v1/plans/preview");
    shop.owner.post("/v1/plans/preview", &body).expect(200);

    // At noon it storms, thunders and rains: rules forbid the work. In the morning all is calm and overcast.
    let hour = |at: &str, wind: f64, thunder: bool| {
        json!({ "at": at, "air_c": 18.0, "humidity": 0.5, "sun_w_m2": 150.0,
        "wind_m_s": wind, "thunder": thunder, "rain_mm_h": if thunder { 20.0 } else { 0.0 } })
    };
    let hours: Vec<Value> = (6..18)
        .map(|h| hour(&format!("2026-05-04T{h:02}:00:00"), if h >= 11 { 20.0 } else { 1.0 }, h >= 11))
        .collect();
    body["facts"]["weather"] = json!({ "hours": hours });
    body["facts"]["kit"] = tests::full_van()["kit"].clone();
    body["starts"] = json!(["2026-05-04T13:00:00", "2026-05-04T08:00:00"]);
    let ranked = shop.owner.post("/v1/plans/preview", &body).expect(200);
    let starts = ranked["starts"].as_array().expect("starts");
    assert_eq!(
        (&starts[0]["start"], &starts[1]["start"]),
        (&json!("2026-05-04T08:00:00"), &json!("2026-05-04T13:00:00"))
    );
    assert!(starts[0]["blocks"].as_u64() < starts[1]["blocks"].as_u64(), "{}", ranked);
    assert!(starts.iter().all(|start| start["plan"].is_null()), "rows, not plans");
    assert_eq!((&ranked["plan"]["start"], &ranked["plan"]["workable"]), (&starts[0]["start"], &json!(true)));
    assert_eq!(ranked["plan"]["totals"]["water_l"], starts[0]["water_l"]);
    assert_eq!((&starts[0]["rank"], &starts[1]["rank"]), (&json!(1), &json!(2)));
    assert_eq!((&starts[0]["workable"], &starts[1]["workable"]), (&json!(true), &json!(false)));
    let why = starts[1]["why"][0].as_str().expect("a reason");
    assert!(why.starts_with("after rank 1: not workable"), "{why}");
    assert_eq!(shop.owner.get("/v1/jobs").expect(200)["items"], json!([]));

    let with = |pointer: &str, value: Value| {
        let mut body = body.clone();
        *body.pointer_mut(pointer).expect("a place in the body") = value;
        shop.owner.post("/v1/plans/preview", &body)
    };
    with("/starts", json!([])).refused_at("/starts", "too_few");
    with("/starts", json!(vec!["2026-05-04T08:00:00"; 1001])).refused_at("/starts", "too_many");
    with("/starts/1", json!("2300-05-04T08:00:00")).refused_at("/starts/1", "does_not_fit");
    let thirty: Vec<String> = (30..60).map(|minute| format!("2026-05-04T08:{minute}:00")).collect();
    let many = with("/starts", json!(thirty)).expect(200);
    assert_eq!(many["starts"].as_array().map(Vec::len), Some(30));
    with("/facts/package", json!("P99")).refused_at("/facts/package", "does_not_fit");
    with("/facts/crew", json!([])).refused_at("/facts/crew", "too_few");
    with("/facts/kit/tank_l", json!(-1)).refused_at("/facts/kit/tank_l", "out_of_range");
    with("/facts/kit/equipment/0", json!("magic_wand")).refused_at("/facts/kit/equipment/0", "does_not_fit");
    with("/facts/weather/hours/1/at", json!("2026-05-04T06:00:00"))
        .refused_at("/facts/weather/hours/1/at", "not_in_order");
    with("/facts/vehicle/class", json!("tank")).refused_at("/facts/vehicle/class", "unknown_word");
}

#[test]
fn partner_apps_read_plans_but_no_job_sheets() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let job = shop.ready_job(&app);
    shop.owner.post(&job.path("plan"), &json!({})).expect(201);
    let partner = shop.partner(&app, &["plans:read"]);
    partner.get(&job.path("plans")).expect(200);
    partner.post("/v1/plans/preview", &example("post", "/v1/plans/preview")).expect(200);
    partner.send("GET", &job.path("plan"), &[("accept", "text/plain")], b"").problem(403, "forbidden");
    partner.post(&job.path("plan"), &json!({})).problem(403, "forbidden");
    shop.partner(&app, &["upkeep:read"]).get(&job.path("plan")).problem(403, "forbidden");
}

/// A partner app reads the same plan, but neither what the staff are called nor who took note of what.
#[test]
fn partner_apps_are_not_told_who_works() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let job = shop.ready_job(&app);
    let (second, _) = shop.hire(&app, "lead", "second@shine.test");
    shop.owner
        .patch(&format!("/v1/people/{second}"), &json!({ "name": "Zorvim", "skills": ["wash", "decon"] }))
        .expect(200);
    let crew = [&job.technician_id, &second];
    let assignment = json!({ "van": job.van, "start_at": "2026-05-04T08:00:00Z", "technicians": crew });
    shop.owner.put(&format!("/v1/jobs/{}/assignment", job.id), &assignment).expect(200);
    // Too little water for the job, of which everybody is warned.
    let mut kit = tests::full_van()["kit"].clone();
    (kit["tank_l"], kit["battery_kwh"]) = (json!(1), json!(0));
    shop.owner.patch(&format!("/v1/vans/{}", job.van), &json!({ "kit": kit })).expect(200);
    let dry = json!({ "site": { "tap": false, "mains": false } });
    shop.owner.patch(&format!("/v1/customers/{}", job.customer), &dry).expect(200);
    let plan = shop.owner.post(&job.path("plan"), &json!({})).expect(201);
    let serious = |notice: &&Value| notice["severity"] == "block" || notice["severity"] == "warn";
    let notice = plan["notices"].as_array().expect("notices").iter().find(serious).expect("a warning");
    let note = json!({ "rule": notice["rule"], "version": 1 });
    job.technician.post(&job.path("plan/acknowledgements"), &note).expect(200);

    let partner = shop.partner(&app, &["plans:read"]);
    for path in ["plan", "plan?version=1", "plans", "timeline"] {
        let (inside, outside) = (shop.owner.get(&job.path(path)), partner.get(&job.path(path)));
        outside.expect(200);
        for name in ["A technician", "Zorvim", &job.technician_id, &second] {
            assert!(!outside.text.contains(name), "{path} names {name}");
        }
        let told = path == "plans" || inside.text.contains("A technician") && inside.text.contains("Zorvim");
        assert!(told, "the owner is told in {path}");
    }
    let outside = partner.get(&job.path("plan")).expect(200);
    assert_eq!(outside["acknowledged"], json!([]));
    let who = |plan: &Value| -> Vec<String> {
        let lines = plan["lines"].as_array().expect("lines").iter();
        let turns = lines.flat_map(|line| line["turns"].as_array().expect("turns").clone());
        turns.map(|turn| turn["technician"].as_str().expect("a name").to_owned()).collect()
    };
    let (named, neutral) = (who(&plan), who(&outside));
    let pairs: std::collections::BTreeSet<_> = named.iter().zip(&neutral).collect();
    assert_eq!(pairs.len(), 2, "each name became one of two: {pairs:?}");
    assert_eq!(neutral[0], "technician 1");
    assert!(neutral.contains(&"technician 2".to_owned()));
}

fn line<'a>(plan: &'a Value, step: &str) -> &'a Value {
    let lines = plan["lines"].as_array().expect("lines");
    lines.iter().find(|line| line["step"] == step).unwrap_or_else(|| panic!("{step} is not planned"))
}
