//! What the crews got through.

use chrono::TimeDelta;
use serde_json::{Value, json};
use tests::{Client, ReadyJob, Shop, TestApp};

/// Records a step of a planned job that begins at a time of its first day; gives the record's id.
fn record(shop: &Shop, job: &ReadyJob, step: &str, start: &str, minutes: f64) -> String {
    let body = json!({ "step": step, "technician": job.technician_id, "minutes": minutes, "water_l": 30,
        "started_at": format!("2026-05-04T{start}:00Z"), "outcome": "passed" });
    shop.owner.post(&job.path("steps"), &body).id()
}

/// A planned job at 11:00 UTC of its day, and its plan.
fn planned(app: &TestApp, shop: &mut Shop) -> (ReadyJob, Value) {
    let mut job = shop.ready_job(app);
    let plan = shop.owner.post(&job.path("plan"), &json!({})).expect(201);
    shop.wait(app, &mut job, TimeDelta::hours(5));
    (job, plan)
}

fn finish(shop: &Shop, job: &ReadyJob) {
    shop.owner.post(&job.path("finish"), &json!({})).expect(200);
}

fn week(client: &Client) -> Value {
    client.get("/v1/throughput?week=2026-W19").expect(200)
}

fn named<'a>(list: &'a Value, name: &str) -> &'a Value {
    let all = list.as_array().expect("a list");
    all.iter().find(|one| one["name"] == name).unwrap_or_else(|| panic!("{name} is not in {list}"))
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is no number"))
}

#[test]
fn a_week_adds_up_what_was_recorded_against_what_was_planned() {
    let app = TestApp::start();
    let mut shop = app.shop("Shine");
    let (job, plan) = planned(&app, &mut shop);
    let planned = |step: &str| -> f64 {
        let lines = plan["lines"].as_array().expect("lines").iter().filter(|line| line["step"] == step);
        lines.map(|line| number(&line["minutes"])).sum()
    };
    record(&shop, &job, "D03", "08:10", 9.0);
    // Planned again in between: what was done keeps the minutes it was planned with.
    shop.owner.post(&job.path("plan"), &json!({})).expect(201);
    record(&shop, &job, "D05", "08:20", 6.0);
    // A second turn on the same step stands against the same planned minutes.
    record(&shop, &job, "D05", "08:30", 4.0);

    let open = week(&shop.owner);
    assert_eq!(
        (&open["from"], &open["to"], &open["week"]),
        (&json!("2026-05-04"), &json!("2026-05-10"), &json!("2026-W19"))
    );
    assert_eq!(open["time_zone"], "Europe/Vienna");
    let done = named(&open["measures"], "jobs_done");
    assert_eq!((number(&done["numerator"]), number(&done["denominator"])), (0.0, 1.0), "planned, not done");
    finish(&shop, &job);

    let sheet = week(&shop.owner);
    let done = named(&sheet["measures"], "jobs_done");
    assert_eq!((number(&done["numerator"]), number(&done["denominator"])), (1.0, 1.0));
    let [group] = sheet["packages"].as_array().expect("packages").as_slice() else { panic!("{sheet}") };
    assert_eq!((&group["package"], &group["jobs_done"]), (&json!("P2"), &json!(1)));
    assert_eq!(group["person_minutes"], 19.0);
    let crew = &sheet["crews"][0]["crew"];
    assert_eq!(sheet["names"][crew.as_str().expect("an id")], "One", "crews are vans, named beside");
    // One job is no number yet: below eight a range is shown (common practice). By hand: 19 min over the plan's.
    let ratio = named(&group["measures"], "actual_to_planned");
    let by_hand = 19.0 / (planned("D03") + planned("D05"));
    assert!((number(&ratio["shown"]["low"]) - by_hand).abs() < 1e-3, "{ratio} is not {by_hand}");
    let area_m2 = number(&plan["totals"]["area_m2"]);
    // Booked grade 2 weighs 1.3 (common practice).
    assert!((number(&group["weighted_m2"]) - 1.3 * area_m2).abs() < 1e-9);
    let water = named(&group["measures"], "water_per_m2");
    assert!((number(&water["shown"]["low"]) - 90.0 / area_m2).abs() < 1e-9);
    // It began 10 minutes after the planned start, which is in time (15 minutes: assumption).
    assert_eq!(named(&sheet["measures"], "on_time_start")["numerator"], 1.0);
    // By step and technician; ratios are counted in bins of 2 %, so they are off by 1 % at most.
    let mut steps = sheet["steps"].as_array().expect("steps").iter();
    let own = steps.find(|one| one["step"] == "D05" && one["technician"] == json!(job.technician_id));
    let own = own.expect("D05 of the technician");
    assert!((number(&own["plan_error"]["low"]) * planned("D05") / 10.0 - 1.0).abs() <= 0.011, "{own}");

    assert_eq!(shop.owner.get("/v1/throughput").expect(200), sheet, "this week");
    let empty = shop.owner.get("/v1/throughput?week=2026-W18").expect(200);
    assert_eq!(empty["packages"], json!([]));
    let day = shop.owner.get("/v1/throughput?from=2026-05-04&to=2026-05-04").expect(200);
    assert_eq!((&day["packages"], &day["steps"]), (&sheet["packages"], &sheet["steps"]), "a part of a week");
    for query in [
        "week=2026-W54",
        "week=2026-19",
        "from=2026-05-04",
        "from=2026-05-04&to=2026-05-03",
        "from=2025-05-04&to=2026-05-05",
        "week=2026-W19&from=2026-05-04&to=2026-05-04",
        "month=5",
    ] {
        shop.owner.get(&format!("/v1/throughput?{query}")).problem(400, "bad_query");
    }
}

/// The week is the shop's: Monday 00:30 in Vienna is still Sunday in UTC.
#[test]
fn the_week_begins_when_the_shops_monday_does() {
    let app = TestApp::start();
    let mut shop = app.shop("Shine");
    let (job, _) = planned(&app, &mut shop);
    let body = json!({ "step": "A01", "technician": job.technician_id, "minutes": 5, "outcome": "passed",
        "started_at": "2026-05-03T22:05:00Z" });
    shop.owner.post(&job.path("steps"), &body).expect(201);
    shop.owner.post(&job.path("finish"), &json!({ "finished_at": "2026-05-03T22:30:00Z" })).expect(200);
    let done = |week: &str| {
        let sheet = shop.owner.get(&format!("/v1/throughput?week={week}")).expect(200);
        sheet["packages"].as_array().map(Vec::len)
    };
    assert_eq!((done("2026-W18"), done("2026-W19")), (Some(0), Some(1)));
}

/// Facts beside the steps: on-time start, travel, extra work, rework, no-shows, near misses, wear.
#[test]
fn what_crews_write_down_becomes_figures() {
    let app = TestApp::start();
    let mut shop = app.shop("Shine");
    let (job, _) = planned(&app, &mut shop);
    let hours = json!({ "hours": [{ "weekday": 1, "from": "08:00:00", "to": "16:00:00" }] });
    shop.owner.patch(&format!("/v1/people/{}", job.technician_id), &hours).expect(200);
    let arrived = json!({ "arrived_at": "2026-05-04T08:40:00Z", "travel_min": 48 });
    job.technician.put(&job.path("arrival"), &arrived).expect(200);
    record(&shop, &job, "D03", "08:50", 24.0);
    for answer in ["accepted", "declined"] {
        let asked = json!({ "what": "sap", "answer": answer, "asked_at": "2026-05-04T09:00:00Z" });
        job.technician.post(&job.path("extra-work"), &asked).expect(201);
    }
    let near = json!({ "kind": "fall", "what": "hose across the path", "happened_on": "2026-05-04" });
    job.technician.post("/v1/near-misses", &near).expect(201);
    let count = json!({ "checked_at": "2026-05-04T06:00:00Z",
        "items": [{ "item": "clay_towel", "left": 3, "gone": 2 }] });
    job.technician.post(&format!("/v1/vans/{}/checks", job.van), &count).expect(201);
    finish(&shop, &job);
    let other = shop.vehicle(&job.customer);
    let missed = shop.job(&other);
    let nobody = json!({ "arrived_at": "2026-05-04T10:30:00Z", "no_show": true });
    shop.owner.put(&format!("/v1/jobs/{missed}/arrival"), &nobody).expect(200);

    let sheet = week(&shop.owner);
    let figure = |name: &str| {
        let measure = named(&sheet["measures"], name);
        (number(&measure["numerator"]), number(&measure["denominator"]))
    };
    assert_eq!(figure("jobs_done"), (1.0, 2.0));
    assert_eq!(figure("on_time_start").0, 0.0, "40 minutes after the planned start");
    assert_eq!(figure("extra_work_accepted"), (1.0, 2.0));
    assert_eq!(figure("no_shows"), (1.0, 2.0));
    // 48 of 480 minutes on the road, 24 at work, the rest neither.
    assert_eq!(figure("travel_share"), (48.0, 480.0));
    assert_eq!(figure("idle_share"), (480.0 - 48.0 - 24.0, 480.0));
    assert_eq!(figure("near_misses").0, 1.0);
    let wear = &sheet["wear"][0];
    assert_eq!(
        (&wear["item"], number(&wear["used"]), number(&wear["left"])),
        (&json!("clay_towel"), 2.0, 3.0)
    );

    // The same vehicle has to be worked on again: it is told of the job that left it so, two weeks later at the latest.
    let again = json!({ "vehicle": job.vehicle, "package": "P1", "rework_of": job.id,
        "window_from": "2026-05-11T08:00:00Z", "window_to": "2026-05-11T10:00:00Z" });
    let again = shop.owner.post("/v1/jobs", &again).id();
    app.advance(TimeDelta::days(15));
    let shop = shop.again(&app);
    let rework = || number(&named(&week(&shop.owner)["measures"], "rework_within_14_days")["numerator"]);
    assert_eq!(rework(), 1.0);
    shop.owner.post(&format!("/v1/jobs/{again}/cancel"), &Value::Null).expect(200);
    assert_eq!(rework(), 0.0, "it was not needed after all");
}

/// Two overlapping steps of one technician, a day of 26 hours, a record corrected and one taken back: each is shown with
/// whose it is, and no minute counts twice.
#[test]
fn what_cannot_be_is_shown_and_counted_once() {
    let app = TestApp::start();
    let mut shop = app.shop("Shine");
    let (job, _) = planned(&app, &mut shop);
    let step = |step: &str, start: &str, minutes: f64| {
        let body = json!({ "step": step, "technician": job.technician_id, "minutes": minutes,
            "started_at": format!("2026-05-03T{start}:00Z"), "outcome": "passed" });
        shop.owner.post(&job.path("steps"), &body)
    };
    // 14 hours from midnight and 12 from three o'clock: 26 hours are claimed, 15 hours there were.
    step("C02", "00:00", 840.0).expect(201);
    let second = step("D03", "03:00", 720.0).id();
    step("D05", "16:00", -5.0).refused_at("/minutes", "out_of_range");
    let wrong = step("D05", "16:00", 30.0).id();
    let twice = step("D05", "17:00", 30.0).id();
    let body = json!({ "reason": "the timer ran on", "corrected": { "step": "D05", "minutes": 10,
        "technician": job.technician_id, "started_at": "2026-05-03T16:00:00Z", "outcome": "passed" } });
    shop.owner.post(&job.path(&format!("steps/{wrong}/correction")), &body).expect(200);
    shop.owner
        .post(&job.path(&format!("steps/{twice}/void")), &json!({ "reason": "sent twice" }))
        .expect(200);
    shop.owner.post(&job.path("finish"), &json!({ "finished_at": "2026-05-03T21:00:00Z" })).expect(200);

    let sheet = shop.owner.get("/v1/throughput?week=2026-W18").expect(200);
    assert_eq!(number(&sheet["packages"][0]["person_minutes"]), 900.0 + 10.0);
    let flaws = sheet["flaws"].as_array().expect("flaws");
    let kinds: Vec<&str> = flaws.iter().map(|flaw| flaw["kind"].as_str().expect("a kind")).collect();
    for kind in ["overlaps", "impossible_day", "corrected", "voided"] {
        assert!(kinds.contains(&kind), "{kind} is not in {kinds:?}");
    }
    assert!(flaws.iter().all(|flaw| flaw["technician"] == json!(job.technician_id)));
    let overlap = flaws.iter().find(|flaw| flaw["kind"] == "overlaps").expect("an overlap");
    assert_eq!((&overlap["entry"], &overlap["job"]), (&json!(second), &json!(job.id)));
    let corrected = flaws.iter().find(|flaw| flaw["kind"] == "corrected").expect("a correction");
    let told = corrected["text"].as_str().expect("a text");
    assert!(told.contains("Olga Owner") && told.contains("the timer ran on"), "{told}");

    // Taking the earlier one back frees the time that the later one has.
    let first = shop.owner.get(&job.path("steps")).expect(200)["items"][0]["id"].clone();
    let path = job.path(&format!("steps/{}/void", first.as_str().expect("an id")));
    shop.owner.post(&path, &json!({ "reason": "not mine" })).expect(200);
    let sheet = shop.owner.get("/v1/throughput?week=2026-W18").expect(200);
    assert_eq!(number(&sheet["packages"][0]["person_minutes"]), 720.0 + 10.0);
    assert!(!sheet["flaws"].to_string().contains("overlaps"));
}

/// Work on a job that was cancelled is in no figure, and a job with a hot panel (above 30 C, common practice) stands
/// apart from like ones: the sheet says both.
#[test]
fn cancelled_work_and_hot_panels_are_told_apart() {
    let app = TestApp::start();
    let mut shop = app.shop("Shine");
    let (job, _) = planned(&app, &mut shop);
    let other = shop.vehicle(&job.customer);
    let given_up = format!("/v1/jobs/{}", shop.job(&other));
    let assignment =
        json!({ "van": job.van, "start_at": "2026-05-04T09:00:00Z", "technicians": [job.technician_id] });
    shop.owner.put(&format!("{given_up}/assignment"), &assignment).expect(200);
    shop.owner.post(&format!("{given_up}/plan"), &json!({})).expect(201);
    let step = |start: &str, panel_c: f64| {
        json!({ "step": "D03", "technician": job.technician_id, "minutes": 12, "outcome": "passed",
            "panel_c": panel_c, "started_at": format!("2026-05-04T{start}:00Z") })
    };
    shop.owner.post(&job.path("steps"), &step("08:10", 31.0)).expect(201);
    finish(&shop, &job);
    shop.owner.post(&format!("{given_up}/steps"), &step("09:10", 20.0)).expect(201);
    shop.owner.post(&format!("{given_up}/cancel"), &Value::Null).expect(200);

    let sheet = week(&shop.owner);
    let [alike] = sheet["like_jobs"].as_array().expect("groups").as_slice() else { panic!("{sheet}") };
    assert_eq!(
        (&alike["hot"], &alike["jobs_done"], &alike["person_minutes"]),
        (&json!(true), &json!(1), &json!(12.0))
    );
    let done = named(&sheet["measures"], "jobs_done");
    assert_eq!((number(&done["numerator"]), number(&done["denominator"])), (1.0, 1.0));
    let said = sheet["cautions"].to_string();
    assert!(said.contains("1 job was cancelled after work had begun: 1 step of 12 person-minutes"), "{said}");
    assert!(said.contains("1 of 1 jobs had panels above 30 degrees"), "{said}");
    let earlier = shop.owner.get("/v1/throughput?week=2026-W18").expect(200);
    assert!(!earlier["cautions"].to_string().contains("cancelled"), "{earlier}");
}

#[test]
fn everybody_sees_what_is_theirs_to_see() {
    let app = TestApp::start();
    let mut shop = app.shop("Shine");
    let mut job = shop.ready_job(&app);
    let (lead_id, _) = shop.hire(&app, "lead", "lead@shine.test");
    shop.hire(&app, "lead", "other@shine.test");
    shop.hire(&app, "technician", "idle@shine.test");
    let with_lead = json!({ "van": job.van, "start_at": "2026-05-04T08:00:00Z",
        "technicians": [job.technician_id, lead_id] });
    shop.owner.put(&job.path("assignment"), &with_lead).expect(200);
    shop.owner.post(&job.path("plan"), &json!({})).expect(201);
    shop.wait(&app, &mut job, TimeDelta::hours(5));
    record(&shop, &job, "D03", "08:10", 5.0);
    finish(&shop, &job);
    let crews = |email: &str| {
        let sheet = week(&app.log_in(shop.id, email));
        assert_eq!(sheet["closed"], Value::Null);
        (sheet["crews"].as_array().map(Vec::len), sheet["steps"].as_array().map(|steps| !steps.is_empty()))
    };
    assert_eq!(crews("lead@shine.test"), (Some(1), Some(true)));
    assert_eq!(crews("other@shine.test"), (Some(0), Some(false)));

    let own = job.technician.get("/v1/throughput/own?week=2026-W19").expect(200);
    assert_eq!(own["jobs_done"], 1);
    let step = &own["steps"][0];
    assert_eq!((&step["own"]["step"], number(&step["own"]["person_minutes"])), (&json!("D03"), 5.0));
    assert_eq!(step["shop"], Value::Null, "of fewer than three people the shop's figure would tell who");
    let idle = app.log_in(shop.id, "idle@shine.test").get("/v1/throughput/own").expect(200);
    assert_eq!((&idle["jobs_done"], &idle["steps"]), (&json!(0), &json!([])));

    let dispatcher = shop.hire(&app, "dispatcher", "d@shine.test").1;
    let partner = shop.partner(&app, &["plans:read", "upkeep:read"]);
    for path in ["", "/own", "/comparisons", "/trends", "/weeks"] {
        dispatcher.get(&format!("/v1/throughput{path}")).problem(403, "forbidden");
        partner.get(&format!("/v1/throughput{path}")).problem(403, "forbidden");
    }
    for path in [
        "/v1/throughput",
        "/v1/throughput/comparisons",
        "/v1/throughput/trends",
        "/v1/throughput/ahead",
        "/v1/norms",
    ] {
        job.technician.get(path).problem(403, "forbidden");
    }
    dispatcher.get("/v1/throughput/ahead").expect(200);
    dispatcher.get("/v1/norms").problem(403, "forbidden");
    partner.get("/v1/throughput/measures").problem(403, "forbidden");
    let told = job.technician.get("/v1/throughput/measures").expect(200);
    let measures = told["measures"].as_array().expect("measures");
    assert!(
        measures.len() >= 15
            && measures.iter().all(|m| m["definition"].is_string() && m["misleads"].is_string())
    );
    let sheet = week(&shop.owner);
    for measure in sheet["measures"].as_array().expect("measures") {
        assert!(
            measures.iter().any(|told| told["name"] == measure["name"]),
            "{} is not told",
            measure["name"]
        );
    }
}

#[test]
fn a_closed_week_stays_and_says_who_changed_what_since() {
    let app = TestApp::start();
    let mut shop = app.shop("Shine");
    let (mut job, _) = planned(&app, &mut shop);
    let kept = record(&shop, &job, "D03", "08:10", 9.0);
    finish(&shop, &job);
    // Another job of the week is under way: what is recorded of it later belongs to the week all the same.
    let other = shop.vehicle(&job.customer);
    let late = shop.job(&other);
    let assignment =
        json!({ "van": job.van, "start_at": "2026-05-04T09:00:00Z", "technicians": [job.technician_id] });
    shop.owner.put(&format!("/v1/jobs/{late}/assignment"), &assignment).expect(200);
    shop.owner.post(&format!("/v1/jobs/{late}/plan"), &json!({})).expect(201);

    let close = |client: &Client, week: &str| {
        client.send("POST", &format!("/v1/throughput/weeks/{week}/close"), &[], b"")
    };
    close(&shop.owner, "2026-W19").problem(409, "week_not_over");
    close(&shop.owner, "2026-19").problem(404, "not_found");
    shop.wait(&app, &mut job, TimeDelta::days(7));
    let (_, lead) = shop.hire(&app, "lead", "lead@shine.test");
    close(&lead, "2026-W19").problem(403, "forbidden");
    let closed = close(&shop.owner, "2026-W19").expect(201);
    assert_eq!((&closed["week_on"], &closed["by_name"]), (&json!("2026-05-04"), &json!("Olga Owner")));
    close(&shop.owner, "2026-W19").problem(409, "week_closed");
    assert_eq!(shop.owner.get("/v1/throughput/weeks").expect(200)["items"], json!([closed]));
    let before = week(&shop.owner);
    assert_eq!((&before["closed"]["since"]["jobs"], &before["closed"]["events"]), (&json!([]), &json!([])));

    app.advance(TimeDelta::minutes(5));
    let step = json!({ "step": "D03", "technician": job.technician_id, "minutes": 12, "outcome": "passed",
        "started_at": "2026-05-04T09:10:00Z" });
    job.technician.post(&format!("/v1/jobs/{late}/steps"), &step).expect(201);
    let end = json!({ "finished_at": "2026-05-04T10:00:00Z" });
    job.technician.post(&format!("/v1/jobs/{late}/finish"), &end).expect(200);
    let body = json!({ "reason": "wrote 9 for 4", "corrected": { "step": "D03", "minutes": 4,
        "technician": job.technician_id, "started_at": "2026-05-04T08:10:00Z", "outcome": "passed" } });
    job.technician.post(&job.path(&format!("steps/{kept}/correction")), &body).expect(200);

    let after = week(&shop.owner);
    let closed = &after["closed"];
    let figure = |sheet: &Value| number(&sheet["packages"][0]["person_minutes"]);
    assert_eq!((figure(&closed["sheet"]), figure(&after)), (9.0, 16.0), "the closed figures stay");
    let changed = closed["since"]["jobs"].as_array().expect("jobs");
    assert_eq!(changed.len(), 2, "{closed}");
    let events: Vec<(&str, &Value)> = closed["events"]
        .as_array()
        .expect("events")
        .iter()
        .map(|event| (event["kind"].as_str().expect("a kind"), &event["by_name"]))
        .collect();
    let by = json!("A technician");
    assert_eq!(events.len(), 3, "{events:?}");
    for kind in ["step_recorded", "job_finished", "step_corrected"] {
        assert!(events.contains(&(kind, &by)), "{kind} by the technician is not in {events:?}");
    }
    let page = shop.owner.send("GET", "/v1/throughput?week=2026-W19", &[("accept", "text/html")], b"");
    assert!(page.text.contains("Changed since the week was closed"), "{}", page.text);
}

#[test]
fn the_sheet_comes_as_a_table_and_on_paper() {
    let app = TestApp::start();
    let mut shop = app.shop("Shine");
    let (job, _) = planned(&app, &mut shop);
    record(&shop, &job, "D03", "08:10", 9.0);
    finish(&shop, &job);
    let evil = json!({ "name": "=HYPERLINK(\"http://evil.test\"), <b>\"van\"</b>\none" });
    shop.owner.patch(&format!("/v1/vans/{}", job.van), &evil).refused_at("/name", "control_character");
    let evil = json!({ "name": "=1+1, <b>\"van\"</b>" });
    shop.owner.patch(&format!("/v1/vans/{}", job.van), &evil).expect(200);
    let ask = |path: &str, accept: &str| shop.owner.send("GET", path, &[("accept", accept)], b"");

    let table = ask("/v1/throughput?week=2026-W19", "text/csv");
    assert_eq!((table.status, table.header("content-type")), (200, "text/csv; charset=utf-8"));
    assert_eq!(table.header("vary"), "accept");
    let lines: Vec<&str> = table.text.split("\r\n").collect();
    assert!(lines[0].starts_with("part,package,class,") && lines.last() == Some(&""), "{}", lines[0]);
    assert!(!table.text.replace("\r\n", "").contains(['\r', '\n']), "RFC 4180: CR LF ends every line");
    // RFC 4180: a quote within quotes is doubled; a formula is told to be a text.
    assert!(table.text.contains("\"'=1+1, <b>\"\"van\"\"</b>\""), "{}", table.text);
    let columns = lines[0].split(',').count();
    let minutes =
        lines.iter().find(|line| line.starts_with("package,P2") && line.contains("actual_to_planned"));
    assert_eq!(minutes.expect("the row").split(',').count(), columns);

    let page = ask("/v1/throughput?week=2026-W19", "text/html");
    assert_eq!(page.header("content-type"), "text/html; charset=utf-8");
    assert!(page.header("content-security-policy").starts_with("default-src 'none'"));
    assert!(page.text.contains("&lt;b&gt;") && !page.text.contains("<b>\"van\""), "{}", page.text);
    assert!(!page.text.contains("<script") && page.text.contains("<!doctype html>"));
    let data = ask("/v1/throughput?week=2026-W19", "application/json, text/csv;q=0.5");
    assert_eq!(data.header("content-type"), "application/json");

    let load = ask("/v1/throughput/ahead?week=2026-W19", "image/svg+xml");
    assert_eq!((load.status, load.header("content-type")), (200, "image/svg+xml; charset=utf-8"));
    assert!(load.text.contains("<svg") && load.text.contains("<title"), "{}", load.text);
    ask("/v1/throughput/trends?series=nothing", "image/svg+xml").problem(400, "bad_query");
    ask("/v1/throughput/comparisons", "image/svg+xml").problem(400, "bad_query");
    shop.owner.get("/v1/throughput/trends?weeks=0").problem(400, "bad_query");
    shop.owner.get("/v1/throughput/ahead?week=2026-W18").problem(400, "bad_query");
    let trends = shop.owner.get("/v1/throughput/trends").expect(200);
    assert!(trends["series"].is_array() && trends["learning"].is_array(), "{trends}");
    assert_eq!(
        shop.owner.get("/v1/throughput/comparisons").expect(200)["items"],
        json!([]),
        "one crew alone"
    );
}

/// Booked work against hours: what is planned counts with its plan's minutes, and a week without hours is over.
#[test]
fn the_week_ahead_holds_what_is_booked() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let job = shop.ready_job(&app);
    let plan = shop.owner.post(&job.path("plan"), &json!({})).expect(201);
    let ahead = |week: &str| shop.owner.get(&format!("/v1/throughput/ahead?week={week}")).expect(200);
    let this = ahead("2026-W19");
    assert!(
        (number(&this["booked"]["expected_minutes"]) - number(&plan["totals"]["person_minutes"])).abs()
            < 1e-6
    );
    assert!(number(&this["booked"]["p90_minutes"]) > number(&this["booked"]["p50_minutes"]));
    assert_eq!(number(&this["week"]["available_minutes"]), 0.0, "nobody has fixed hours");
    let hours: Vec<Value> =
        (1..=5).map(|day| json!({ "weekday": day, "from": "08:00:00", "to": "16:00:00" })).collect();
    let fields = json!({ "hours": hours, "home_van": job.van });
    shop.owner.patch(&format!("/v1/people/{}", job.technician_id), &fields).expect(200);
    // Five days of eight hours, a quarter off for travel, loading and breaks (assumption).
    assert_eq!(number(&ahead("2026-W19")["week"]["available_minutes"]), 5.0 * 480.0 * 0.75);
    assert_eq!(number(&ahead("2026-W20")["booked"]["jobs"]), 0.0);
    // With half an hour on the job's day an hour more saves nearly all of it, and a second pair of hands what only one
    // need not do alone.
    let fields = json!({ "hours": [{ "weekday": 1, "from": "08:00:00", "to": "08:40:00" }] });
    shop.owner.patch(&format!("/v1/people/{}", job.technician_id), &fields).expect(200);
    let short = ahead("2026-W19");
    assert_eq!(number(&short["days"][0]["load"]["available_minutes"]), 30.0);
    let hour = &short["an_hour_more"][0];
    assert_eq!((&hour["on"], &hour["crew"]), (&json!("2026-05-04"), &json!("One")));
    assert!((50.0..=60.0).contains(&number(&hour["saved_minutes"])), "{hour}");
    let hands = &short["a_second_pair_of_hands"][0];
    let expected = number(&short["booked"]["expected_minutes"]);
    assert_eq!(hands["job"], json!(job.id));
    assert!((0.1 * expected..0.5 * expected).contains(&number(&hands["saved_minutes"])), "{hands}");
    assert_eq!(shop.owner.get("/v1/throughput/ahead").expect(200)["from"], "2026-05-11", "the next week");
}
