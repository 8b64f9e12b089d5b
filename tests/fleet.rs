//! The needs of all vehicles: stored, listed, exported, made anew, and held against what was found.

use chrono::TimeDelta;
use serde_json::{Value, json};
use std::collections::BTreeSet;
use tests::{Client, Shop, TestApp, estate};

/// A car on an open street, iron removed on `day`.
fn car(shop: &Shop, customer: &str, label: &str, day: &str) -> String {
    let mut body = estate(customer);
    body["label"] = json!(label);
    body["document"]["exposures"] = json!([{ "kind": "street_open", "share": 1.0 }]);
    body["document"]["decontaminated_on"] = json!(day);
    shop.owner.post("/v1/vehicles", &body).id()
}

fn items(page: &Value) -> Vec<(String, String)> {
    let text = |value: &Value| value.as_str().expect("text").to_owned();
    let items = page["items"].as_array().expect("items");
    items.iter().map(|item| (text(&item["vehicle"]), text(&item["key"]))).collect()
}

/// Rows that do not change are seen once, whatever happens to others between two pages.
#[test]
fn pages_stay_whole_while_rows_change() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let customer = shop.customer("A");
    let cars: Vec<String> =
        (1..=8).map(|n| car(&shop, &customer, "car", &format!("2026-02-{:02}", 2 * n))).collect();
    let list = |cursor: &str| {
        shop.owner.get(&format!("/v1/upkeep?kind=decontamination&limit=3{cursor}")).expect(200)
    };
    let first = list("");
    let mut seen = items(&first);
    assert_eq!(seen.iter().map(|(car, _)| car).collect::<Vec<_>>(), cars[..3].iter().collect::<Vec<_>>());
    // One that was seen moves to the end, one that was not moves to the front, one is sold, one is new at the front.
    let set = |car: &str, change: Value| {
        shop.owner.patch(&format!("/v1/vehicles/{car}"), &change).expect(200);
    };
    set(&cars[0], json!({ "document": { "decontaminated_on": "2026-05-01" } }));
    set(&cars[7], json!({ "document": { "decontaminated_on": "2025-12-01" } }));
    set(&cars[4], json!({ "sold_at": "2026-05-01T00:00:00Z" }));
    car(&shop, &customer, "new", "2025-11-01");
    let mut next = first["next_cursor"].clone();
    while let Some(cursor) = next.as_str() {
        let page = list(&format!("&cursor={cursor}"));
        seen.extend(items(&page));
        next = page["next_cursor"].clone();
    }
    let whole: BTreeSet<&(String, String)> = seen.iter().collect();
    assert_eq!(whole.len(), seen.len(), "something was shown twice: {seen:?}");
    for unchanged in [1, 2, 3, 5, 6] {
        assert!(seen.iter().any(|(car, _)| *car == cars[unchanged]), "{unchanged} is missing");
    }
    assert!(!seen.iter().any(|(car, _)| *car == cars[4]), "sold");
    // What moved to the end is another need now: its count began anew.
    assert_eq!(seen.iter().filter(|(car, _)| *car == cars[0]).count(), 2);
}

#[test]
fn the_list_is_cut_by_kind_and_by_a_technicians_area() {
    let app = TestApp::start();
    let mut shop = app.shop("Shine");
    let mut job = shop.ready_job(&app);
    let (other_id, _) = shop.hire(&app, "technician", "other@shine.test");
    car(&shop, &job.customer, "another", "2026-01-04");
    let area = |shop: &Shop, technician: &str| -> BTreeSet<String> {
        let page = shop.owner.get(&format!("/v1/upkeep?technician={technician}")).expect(200);
        items(&page).into_iter().map(|(car, _)| car).collect()
    };
    assert_eq!(area(&shop, &job.technician_id), BTreeSet::new(), "nothing is finished yet");
    shop.owner.post(&job.path("plan"), &json!({})).expect(201);
    shop.wait(&app, &mut job, TimeDelta::hours(5));
    job.technician.post(&job.path("finish"), &json!({})).expect(200);
    assert_eq!(area(&shop, &job.technician_id), BTreeSet::from([job.vehicle.clone()]));
    assert_eq!(area(&shop, &other_id), BTreeSet::new());

    let kinds = |query: &str| -> BTreeSet<String> {
        let page = shop.owner.get(&format!("/v1/upkeep?{query}")).expect(200);
        let kind = |item: &Value| item["need"]["kind"].as_str().expect("a kind").to_owned();
        page["items"].as_array().expect("items").iter().map(kind).collect()
    };
    assert_eq!(kinds("kind=wash"), BTreeSet::from(["wash".into()]));
    assert!(kinds("").len() > 1);
    shop.owner.get("/v1/upkeep?kind=polish").problem(400, "bad_query");
    shop.owner.get("/v1/upkeep?technician=me").problem(400, "bad_query");
}

fn forecasts(client: &Client) -> (i64, i64, Value) {
    let state = client.get("/v1/upkeep/forecasts").expect(200);
    let count = |field: &str| state[field].as_i64().expect("a count");
    (count("vehicles"), count("stale"), state["task"].clone())
}

/// What is stale, and only that, is made anew; how far the task has come is told.
#[test]
fn only_what_is_stale_is_made_anew() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let customer = shop.customer("A");
    let cars: Vec<String> = (1..=5).map(|n| car(&shop, &customer, "car", &format!("2026-03-0{n}"))).collect();
    assert_eq!(forecasts(&shop.owner), (5, 0, Value::Null), "a change is counted at once");
    app.run_tasks();
    let (_, _, task) = forecasts(&shop.owner);
    assert_eq!((&task["status"], &task["done"], &task["total"]), (&json!("done"), &json!(0), &json!(0)));

    // Removing at half the dose: every forecast rests on it.
    let list = |shop: &Shop| shop.owner.get("/v1/upkeep?kind=decontamination").expect(200);
    let before = list(&shop);
    let halved = json!({ "factors": { "dose_due": { "value": 50.0 }, "dose_remind": { "value": 40.0 } } });
    shop.owner.put("/v1/handbook/overrides", &halved).expect(200);
    let (_, stale, task) = forecasts(&shop.owner);
    assert_eq!((stale, &task["status"]), (5, &json!("waiting")));
    app.run_tasks();
    let (_, stale, task) = forecasts(&shop.owner);
    assert_eq!((stale, &task["done"], &task["total"]), (0, &json!(5), &json!(5)));
    let after = list(&shop);
    let first = |page: &Value| page["items"][0]["need"]["due_on"].as_str().expect("a day").to_owned();
    assert!(first(&after) < first(&before), "{after}");

    // An ordinary night has nothing to do but what its day has come for.
    app.advance(TimeDelta::days(1));
    app.run_tasks();
    let shop = shop.again(&app);
    let (_, _, task) = forecasts(&shop.owner);
    assert_eq!((&task["status"], &task["total"]), (&json!("done"), &json!(0)));
    let salted = json!({ "last_salted_on": "2026-03-30" });
    shop.owner.post(&format!("/v1/vehicles/{}/observations", cars[1]), &salted).expect(201);
    app.advance(TimeDelta::days(7));
    app.run_tasks();
    let shop = shop.again(&app);
    assert_eq!(forecasts(&shop.owner).2["total"], 1, "roads that were salted are looked at again");

    for _ in 0..2 {
        let asked = shop.owner.send("POST", "/v1/upkeep/forecasts", &[], &[]);
        assert_eq!(asked.expect(202)["task"]["status"], "waiting");
    }
    app.run_tasks();
    let (_, stale, task) = forecasts(&shop.owner);
    assert_eq!((stale, &task["done"]), (0, &json!(5)));
    let tasks = shop.owner.get("/v1/tasks?kind=forecast_upkeep").expect(200);
    let renewals =
        tasks["items"].as_array().expect("tasks").iter().filter(|task| task["payload"]["renew"] == true);
    assert_eq!(renewals.count(), 1);
    let one = shop.owner.send("POST", &format!("/v1/vehicles/{}/upkeep", cars[0]), &[], &[]).expect(200);
    assert!(one["needs"].as_array().is_some_and(|needs| !needs.is_empty()));
}

/// A vehicle that contradicts itself has no forecast; it is counted, and the others have theirs.
#[test]
fn one_that_contradicts_itself_holds_nobody_up() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let customer = shop.customer("A");
    let garage =
        json!({ "exposures": [{ "kind": "garage_low", "share": 0.5 }, { "kind": "foundry", "share": 0.5 }] });
    let mut body = estate(&customer);
    body["document"]["exposures"] = garage["exposures"].clone();
    shop.owner.post("/v1/vehicles", &body).expect(201);
    car(&shop, &customer, "sound", "2026-03-01");
    // A foundry becomes a garage class: now the first vehicle has two.
    let twice = json!({ "exposures": { "foundry": { "exclusive": true } } });
    shop.owner.put("/v1/handbook/overrides", &twice).expect(200);
    app.run_tasks();
    let state = shop.owner.get("/v1/upkeep/forecasts").expect(200);
    assert_eq!((&state["stale"], &state["without_forecast"]), (&json!(0), &json!(1)), "{state}");
    let page = shop.owner.get("/v1/upkeep").expect(200);
    assert!(page["items"].as_array().is_some_and(|items| items.iter().all(|item| item["label"] == "sound")));
}

/// Visits keep to booked jobs and to the months the customer likes, and tell what moving one changes.
#[test]
fn visits_follow_wishes_and_can_be_moved() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let customer = shop.customer("A");
    let car = car(&shop, &customer, "car", "2026-04-28");
    let path = format!("/v1/vehicles/{car}/upkeep");
    let visits = || shop.owner.get(&path).expect(200)["visits"].as_array().expect("visits").clone();
    let job = |visit: &Value| visit["job"].as_str().map(str::to_owned);
    assert!(visits().iter().all(|visit| job(visit).is_none()));
    let booked = shop.owner.post(
        "/v1/jobs",
        &json!({ "vehicle": car, "package": "P2",
        "window_from": "2026-05-06T08:00:00Z", "window_to": "2026-05-06T12:00:00Z" }),
    );
    let booked = booked.id();
    let first = visits().remove(0);
    assert_eq!((&first["on"], job(&first)), (&json!("2026-05-06"), Some(booked)));

    let moved = |query: &str| shop.owner.get(&format!("{path}/move{query}"));
    let later = moved("?weeks=6").expect(200);
    assert_eq!((&later["from_on"], &later["to_on"]), (&json!("2026-05-06"), &json!("2026-06-17")));
    assert!(later["needs"].as_array().is_some_and(|needs| !needs.is_empty()), "{later}");
    let stays = moved(&format!("?visit_on={}&weeks=0", "2026-05-06")).expect(200);
    assert_eq!(stays["cost_change"], 0.0);
    moved("?weeks=521").problem(400, "bad_query");
    moved("?visit_on=2030-01-01").problem(409, "no_visit");

    let liked = json!({ "preferred_months": [9] });
    shop.owner.patch(&format!("/v1/customers/{customer}"), &liked).expect(200);
    let unwelcome = visits()[0]["unwelcome_months"].as_array().expect("months").clone();
    assert!(unwelcome.contains(&json!(5)) && !unwelcome.contains(&json!(9)), "{unwelcome:?}");
}

/// Coats of one class that were found worn early make the others' forecast shorter, once all are made anew.
#[test]
fn the_shops_vehicles_teach_how_long_coats_last() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let customer = shop.customer("A");
    let waxed = |label: &str| {
        let mut body = estate(&customer);
        body["label"] = json!(label);
        body["document"]["coats"] = json!([{ "protection": "wax", "applied_on": "2026-04-20" }]);
        shop.owner.post("/v1/vehicles", &body).id()
    };
    let quiet = waxed("quiet");
    let due = || {
        let page = shop.owner.get("/v1/upkeep?kind=protection").expect(200);
        let items = page["items"].as_array().expect("items");
        let one = items.iter().find(|item| item["vehicle"] == quiet).expect("its need");
        one["need"]["due_on"].as_str().expect("a day").to_owned()
    };
    let before = due();
    for n in 0..12 {
        let worn = json!({ "bead_tests": [
            { "on": "2026-04-22", "protection": "wax", "panel_grades": [5, 5, 5] },
            { "on": "2026-04-30", "protection": "wax", "panel_grades": [0, 0, 0], "after_test_sequence": true }] });
        let car = waxed(&format!("worn {n}"));
        shop.owner.post(&format!("/v1/vehicles/{car}/observations"), &worn).expect(201);
    }
    assert_eq!(due(), before, "what was learned counts with the next basis");
    shop.owner.send("POST", "/v1/upkeep/forecasts", &[], &[]).expect(202);
    app.run_tasks();
    assert!(due() < before, "{} is not before {before}", due());
}

/// A year of hot weather in the shop's records ages coats faster (Arrhenius), from the next basis on.
#[test]
fn the_shops_own_year_ages_coats() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let mut body = estate(&shop.customer("A"));
    body["document"]["coats"] = json!([{ "protection": "ceramic_1y", "applied_on": "2026-04-20" }]);
    shop.owner.post("/v1/vehicles", &body).id();
    let due = || {
        let page = shop.owner.get("/v1/upkeep?kind=protection").expect(200);
        page["items"][0]["need"]["due_on"].as_str().expect("a day").to_owned()
    };
    let before = due();
    for day in (0..12).flat_map(|month| {
        (5..25).map(move |day| {
            let (year, month) = (2025 + (4 + month) / 12, (4 + month) % 12 + 1);
            format!("{year}-{month:02}-{day:02}")
        })
    }) {
        let hour = |h| json!({ "at": format!("{day}T{h:02}:00:00"), "air_c": 30.0, "humidity": 0.5, "wind_m_s": 1.0 });
        let hours: Vec<Value> = (0..20).map(hour).collect();
        shop.owner.put(&format!("/v1/weather/{day}"), &json!({ "hours": hours })).expect(200);
    }
    assert_eq!(due(), before, "weather counts with the next basis");
    shop.owner.send("POST", "/v1/upkeep/forecasts", &[], &[]).expect(202);
    app.run_tasks();
    assert!(due() < before, "{} is not before {before}", due());
}

/// A look is held against the forecast of that day without it.
#[test]
fn forecasts_are_held_against_what_was_found() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let customer = shop.customer("A");
    // Due after 167 days on an open street (common practice): long due, and far from due.
    let due = car(&shop, &customer, "due", "2025-06-01");
    let fresh = car(&shop, &customer, "fresh", "2026-04-20");
    let feel = |car: &str, day: &str, grade: u8| {
        let note = json!({ "bag_tests": [{ "on": day, "grade": grade }] });
        shop.owner.post(&format!("/v1/vehicles/{car}/observations"), &note).expect(201);
    };
    feel(&due, "2026-05-01", 3);
    feel(&due, "2026-05-01", 0);
    feel(&fresh, "2026-05-02", 0);
    let told = shop.owner.get("/v1/upkeep/calibration").expect(200);
    assert_eq!(told["checks"], 2, "a second look on the same day says nothing new");
    assert_eq!((&told["called_due"]["called"], &told["called_due"]["found"]), (&json!(1), &json!(1)));
    // Wilson's 95 % interval of 1 in 1 begins at 1 / (1 + z²) = 0.2065 (from its formula).
    let low = told["called_due"]["low"].as_f64().expect("a bound");
    assert!((low - 0.2065).abs() < 5e-5, "{low}");
    assert_eq!(shop.owner.get("/v1/upkeep/calibration?from=2026-05-02").expect(200)["checks"], 1);
    assert_eq!(shop.owner.get("/v1/upkeep/calibration?kind=protection").expect(200)["checks"], 0);
    shop.owner.get("/v1/upkeep/calibration?from=2026-05-02&to=2026-05-02").problem(400, "bad_query");

    let history = shop.owner.get(&format!("/v1/vehicles/{due}/upkeep/checks")).expect(200);
    let check = &history["items"][0];
    assert_eq!((&check["kind"], &check["found"]), (&json!("decontamination"), &json!(true)));
    assert_eq!(
        (&check["found_on"], &check["key"]),
        (&json!("2026-05-01"), &json!("decontamination:2025-06-01"))
    );
}

/// Every kind that a look can tell is judged, each look once; the answer says which cannot be and why.
#[test]
fn spots_and_film_are_held_against_the_forecast_too() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let customer = shop.customer("A");
    let mut body = estate(&customer);
    body["document"]["exposures"] = json!([]);
    body["document"]["driving"] = json!({ "km_per_week": 900.0, "motorway_share": 1.0 });
    let car = shop.owner.post("/v1/vehicles", &body).id();
    let note = |body: Value| shop.owner.post(&format!("/v1/vehicles/{car}/observations"), &body).expect(201);
    // Counts of tar and dirt begin with the last work.
    note(json!({ "decontaminations": [{ "on": "2026-03-20" }], "washes": [{ "on": "2026-04-24" }] }));
    let read = |contaminant: &str, found: Value| json!({ "on": "2026-05-02", "contaminant": contaminant, "found": found });
    let film = read("film", json!({ "grade": 3 }));
    let front = read("insect", json!({ "spots": { "spots": 40, "area_m2": 1.0 } }));
    note(json!({ "readings": [film.clone(), front] }));
    note(json!({ "readings": [film] }));
    let told = |query: &str| shop.owner.get(&format!("/v1/upkeep/calibration{query}")).expect(200);
    let (wash, iron) = (told("?kind=wash"), told("?kind=decontamination"));
    assert_eq!((&wash["checks"], &iron["checks"]), (&json!(1), &json!(0)));
    let bins = wash["bins"].as_array().expect("bins");
    assert_eq!(bins.iter().filter_map(|bin| bin["found"].as_i64()).sum::<i64>(), 1);
    let kinds = wash["kinds"].as_array().expect("kinds");
    let not: Vec<&Value> = kinds.iter().filter(|kind| kind["is_judged"] == false).collect();
    assert_eq!((kinds.len(), not.len()), (7, 1));
    assert_eq!(not[0]["kind"], "feel_test");
    assert!(not[0]["text"].as_str().is_some_and(|text| text.contains("nobody knows")));
}

#[test]
fn the_table_is_csv_that_runs_nothing() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let customer = shop.customer("A");
    let evil = car(&shop, &customer, "=HYPERLINK(\"http://x\",\"y\")", "2026-03-01");
    let plain = car(&shop, &customer, "red, \"fast\"", "2026-03-02");
    let reply = shop.owner.get("/v1/upkeep.csv?kind=decontamination");
    assert_eq!(reply.status, 200);
    assert_eq!(reply.header("content-type"), "text/csv; charset=utf-8; header=present");
    assert!(reply.header("content-disposition").contains("attachment"));
    let lines: Vec<&str> = reply.text.split("\r\n").collect();
    assert_eq!((lines.len(), lines[3]), (4, ""), "{}", reply.text);
    assert!(lines[0].starts_with("due_on,early_on,late_on,"));
    assert!(
        lines[1].contains(r#","'=HYPERLINK(""http://x"",""y"")","#) && lines[1].contains(&evil),
        "{}",
        lines[1]
    );
    assert!(lines[2].contains(r#","red, ""fast""","#) && lines[2].contains(&plain), "{}", lines[2]);
    assert!(shop.owner.get("/v1/upkeep.csv?due_before=2026-01-01").text.ends_with(",key\r\n"));
}

#[test]
fn the_picture_is_well_formed_and_named() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let car = car(&shop, &shop.customer("A"), "<red> & \"fast\"", "2026-03-01");
    let reply = shop.owner.get(&format!("/v1/vehicles/{car}/upkeep.svg"));
    assert_eq!((reply.status, reply.header("content-type")), (200, "image/svg+xml"));
    let svg = &reply.text;
    assert!(
        svg.contains(
            "<title id=\"title\">Upkeep of &lt;red&gt; &amp; &quot;fast&quot; from 2026-05-04</title>"
        ),
        "{svg}"
    );
    assert!(svg.contains("<desc id=\"desc\">") && svg.contains("iron removal"));
    well_formed(svg);
}

/// Every element is closed in order, every `&` begins an entity, and no attribute is there twice (XML 1.0).
fn well_formed(xml: &str) {
    let mut open: Vec<&str> = Vec::new();
    let mut rest = xml;
    while let Some(start) = rest.find('<') {
        let entities = rest[..start].split('&').skip(1);
        for entity in entities {
            assert!(
                ["amp;", "lt;", "gt;", "quot;"].iter().any(|known| entity.starts_with(known)),
                "&{entity}"
            );
        }
        let end = rest[start..].find('>').expect("an end of the tag") + start;
        let tag = &rest[start + 1..end];
        rest = &rest[end + 1..];
        if let Some(name) = tag.strip_prefix('/') {
            assert_eq!(open.pop(), Some(name));
            continue;
        }
        let (name, attributes) = tag.split_once(' ').unwrap_or((tag, ""));
        let attributes = attributes.trim_end_matches('/');
        assert_eq!(attributes.matches('"').count() % 2, 0, "{tag}");
        let names: Vec<&str> = attributes
            .split('"')
            .step_by(2)
            .map(|name| name.trim())
            .filter(|name| !name.is_empty())
            .collect();
        assert!(names.iter().all(|name| name.ends_with('=')), "{tag}");
        assert_eq!(names.iter().collect::<BTreeSet<_>>().len(), names.len(), "{tag}");
        if !tag.ends_with('/') {
            open.push(name);
        }
    }
    assert_eq!((open, rest.trim()), (Vec::new(), ""));
}

#[test]
fn who_may_see_and_renew_the_fleet() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let job = shop.ready_job(&app);
    let (_, lead) = shop.hire(&app, "lead", "l@shine.test");
    let (_, dispatcher) = shop.hire(&app, "dispatcher", "d@shine.test");
    let (_, other) = shop.hire(&app, "technician", "o@shine.test");
    let partner = shop.partner(&app, &["upkeep:read"]);
    let svg = format!("/v1/vehicles/{}/upkeep.svg", job.vehicle);
    assert_eq!((job.technician.get(&svg).status, partner.get(&svg).status), (200, 200));
    other.get(&svg).problem(404, "not_found");
    for path in ["/v1/upkeep", "/v1/upkeep.csv", "/v1/upkeep/forecasts", "/v1/upkeep/calibration"] {
        job.technician.get(path).problem(403, "forbidden");
    }
    assert_eq!(lead.get("/v1/upkeep.csv").status, 200);
    dispatcher.get("/v1/upkeep/calibration").problem(403, "forbidden");
    lead.get("/v1/upkeep/calibration").expect(200);
    lead.send("POST", "/v1/upkeep/forecasts", &[], &[]).problem(403, "forbidden");
    dispatcher.send("POST", "/v1/upkeep/forecasts", &[], &[]).expect(202);
    partner.get("/v1/upkeep.csv").problem(403, "forbidden");
}
