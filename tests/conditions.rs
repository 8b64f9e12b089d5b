//! Nobody overwrites what they have not read, and nobody is sent what they have (RFC 9110, 13).

use api::db::vans::{self, VanFields};
use api::db::{Database, Db};
use serde_json::{Value, json};
use tests::schema::{NOBODY, operations};
use tests::{Client, ReadyJob, Shop, TestApp, WHATEVER, booking, estate, full_van};

const PATCH: (&str, &str) = ("content-type", "application/merge-patch+json");
const JSON: (&str, &str) = ("content-type", "application/json");

/// Made from the document: what it says must have been seen is asked for, before anything else is looked at.
#[test]
fn every_change_of_a_row_asks_what_was_seen_of_it() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let (mut asked, mut free) = (0, Vec::new());
    for operation in operations() {
        let headers: Vec<&str> = operation.parameters("header").map(|(name, _)| name).collect();
        let changes = ["PUT", "PATCH", "DELETE"].contains(&operation.method.as_str());
        if operation.method == "GET"
            || !headers.iter().any(|name| ["If-Match", "If-None-Match"].contains(name))
        {
            free.extend(changes.then(|| operation.name()));
            continue;
        }
        let path = operation
            .path
            .replace("{id}", NOBODY)
            .replace("{record}", NOBODY)
            .replace("{date}", "2026-05-04");
        let kind = operation.body().map_or("application/json", |(kind, _)| kind);
        let body = operation.example().unwrap_or(Value::Null).to_string();
        let reply = shop.owner.send(&operation.method, &path, &[("content-type", kind)], body.as_bytes());
        reply.problem(428, "precondition_required");
        asked += 1;
    }
    assert!(asked >= 20, "only {asked}");
    free.sort();
    // One says again what is so, one adds a decision, and an upload has its own condition: how much is there.
    let known =
        ["DELETE /v1/uploads/{id}", "PATCH /v1/uploads/{id}", "PUT /v1/devices/{id}", "PUT /v1/norms/veto"];
    assert_eq!(free, known);
}

#[test]
fn a_stale_revision_changes_nothing() {
    let app = TestApp::start();
    let mut shop = app.shop("Shine");
    let mut job = shop.ready_job(&app);
    shop.owner.post(&job.path("plan"), &json!({})).expect(201);
    shop.wait(&app, &mut job, chrono::TimeDelta::hours(3));
    let step = json!({ "step": "C02", "technician": job.technician_id, "started_at": "2026-05-04T08:30:00Z",
        "minutes": 5, "outcome": "passed" });
    let record = shop.owner.post(&job.path("steps"), &step).id();
    let note = json!({ "bag_tests": [{ "on": "2026-05-03", "grade": 1 }] });
    let note = shop.owner.post(&format!("/v1/vehicles/{}/observations", job.vehicle), &note).id();
    let partner = shop.owner.post("/v1/partner-apps", &json!({ "name": "Fleet", "scopes": ["webhooks"] }));
    let partner = partner.expect(201)["app"]["id"].as_str().expect("an id").to_owned();
    shop.owner.put(&job.path("arrival"), &json!({ "arrived_at": "2026-05-04T08:00:00Z" })).expect(200);
    shop.owner.put("/v1/weather/2026-05-04", &json!({ "hours": [] })).expect(200);
    shop.owner.put("/v1/message-gateway", &json!({})).expect(200);
    let template =
        shop.owner.post("/v1/message-templates", &tests::example("post", "/v1/message-templates")).id();
    let reply = tests::reply_of(&app, &shop, &job.customer);
    let person = format!("/v1/people/{}", job.technician_id);
    let correction = json!({ "reason": "wrong", "corrected": step });
    let mut cases = of_partners(&app, &shop, &job, &partner);
    cases.extend(of_rounds(&shop, &job));
    cases.extend([
        ("PATCH", "/v1/shop".into(), json!({ "name": "Other" })),
        ("PATCH", person.clone(), json!({ "name": "Other" })),
        ("PUT", format!("{person}/password"), json!({ "password": "another long one" })),
        ("POST", format!("{person}/disable"), Value::Null),
        ("POST", format!("{person}/enable"), Value::Null),
        ("POST", format!("/v1/partner-apps/{partner}/disable"), Value::Null),
        ("PATCH", format!("/v1/customers/{}", job.customer), json!({ "name": "Other" })),
        ("PATCH", format!("/v1/vehicles/{}", job.vehicle), json!({ "label": "other" })),
        ("PATCH", format!("/v1/vans/{}", job.van), json!({ "name": "Other" })),
        ("POST", format!("/v1/jobs/{}/cancel", job.id), Value::Null),
        ("POST", job.path("finish"), json!({})),
        ("PUT", job.path("arrival"), json!({ "arrived_at": "2026-05-04T08:10:00Z" })),
        ("POST", job.path(&format!("steps/{record}/correction")), correction),
        ("POST", job.path(&format!("steps/{record}/void")), json!({ "reason": "wrong" })),
        ("DELETE", format!("/v1/observations/{note}"), Value::Null),
        ("PUT", "/v1/weather/2026-05-04".into(), json!({ "hours": [] })),
        ("PUT", "/v1/handbook/overrides".into(), json!({})),
        ("PUT", "/v1/message-gateway".into(), json!({})),
        ("POST", "/v1/message-gateway/secret".into(), Value::Null),
        ("PATCH", format!("/v1/message-templates/{template}"), json!({ "language": "fr" })),
        ("DELETE", format!("/v1/message-templates/{template}"), Value::Null),
        ("POST", format!("/v1/replies/{reply}/handled"), Value::Null),
        ("POST", job.path("on-the-way"), json!({ "arrives_at": "2026-05-04T10:00:00Z" })),
    ]);
    for (method, path, body) in cases {
        let kind = if method == "PATCH" { PATCH } else { JSON };
        let send =
            |tag| shop.owner.send(method, &path, &[kind, ("if-match", tag)], body.to_string().as_bytes());
        send("\"999\"").problem(412, "stale");
        send("W/\"1\"").problem(412, "stale");
    }
    assert_eq!(shop.owner.get(&format!("/v1/jobs/{}", job.id)).expect(200)["status"], "started");
}

/// Searches for rounds, held offers and the travel matrix.
fn of_rounds(shop: &Shop, job: &ReadyJob) -> Vec<(&'static str, String, Value)> {
    let base = json!({ "settings": { "base": { "latitude": 48.2, "longitude": 16.37 } } });
    shop.owner.patch("/v1/shop", &base).expect(200);
    let plan = shop.owner.post("/v1/round-plans", &json!({ "from_on": "2026-05-05" })).expect(202);
    let plan = format!("/v1/round-plans/{}", plan["id"].as_str().expect("an id"));
    let wanted = json!({ "vehicle": job.vehicle, "package": "P1", "from_on": "2026-05-05", "days": 1 });
    let offer = shop.owner.post("/v1/offers", &wanted).expect(200)["offers"][0]["offer"].clone();
    let held =
        format!("/v1/held-offers/{}", shop.owner.post("/v1/held-offers", &json!({ "offer": offer })).id());
    let matrix = json!({ "places": [], "minutes": [], "km": [] });
    shop.owner.put("/v1/travel-matrix", &matrix).expect(200);
    vec![
        ("POST", format!("{plan}/cancel"), Value::Null),
        ("POST", format!("{plan}/publish"), Value::Null),
        ("POST", format!("{held}/take"), Value::Null),
        ("DELETE", held, Value::Null),
        ("PUT", "/v1/travel-matrix".into(), matrix),
        ("DELETE", "/v1/travel-matrix".into(), Value::Null),
    ]
}

/// What partner apps, calendars and logins add to the changes that ask what was seen.
fn of_partners(
    app: &TestApp,
    shop: &Shop,
    job: &ReadyJob,
    partner: &str,
) -> Vec<(&'static str, String, Value)> {
    let text = |value: &Value| value.as_str().expect("text").to_owned();
    let body = json!({ "url": "https://localhost:1024/", "events": ["job.changed"] });
    let made = shop.owner.post("/v1/webhooks", &body).expect(201);
    let webhook = format!("/v1/webhooks/{}", text(&made["webhook"]["id"]));
    let delivery = text(&shop.owner.post(&format!("{webhook}/test"), &Value::Null).expect(202)["id"]);
    let proposal = json!({ "vehicle": job.vehicle, "package": "P2",
        "window_from": "2026-06-04T08:00:00Z", "window_to": "2026-06-04T10:00:00Z" });
    let booking = shop.partner(app, &["offers:write"]).post("/v1/bookings", &proposal).id();
    let booking = format!("/v1/bookings/{booking}");
    let feed = text(&shop.owner.post("/v1/calendar-feeds", &json!({})).expect(201)["feed"]["id"]);
    let login = text(&shop.owner.get("/v1/me/logins").expect(200)["items"][0]["id"]);
    let partner = format!("/v1/partner-apps/{partner}");
    let password = json!({ "current": tests::PASSWORD, "new": "kettle drum ash" });
    vec![
        ("PATCH", partner.clone(), json!({ "name": "Other" })),
        ("POST", format!("{partner}/secret"), Value::Null),
        ("POST", format!("{partner}/secret/retire"), Value::Null),
        ("PATCH", webhook.clone(), json!({ "events": ["job.finished"] })),
        ("POST", format!("{webhook}/enable"), Value::Null),
        ("POST", format!("{webhook}/secret"), Value::Null),
        ("POST", format!("{webhook}/deliveries/{delivery}/replay"), Value::Null),
        ("DELETE", webhook, Value::Null),
        ("POST", format!("{booking}/accept"), Value::Null),
        ("POST", format!("{booking}/decline"), json!({ "reason": "full" })),
        ("POST", format!("{booking}/withdraw"), Value::Null),
        ("POST", format!("/v1/customers/{}/erase", job.customer), Value::Null),
        ("DELETE", format!("/v1/calendar-feeds/{feed}"), Value::Null),
        ("DELETE", format!("/v1/me/logins/{login}"), Value::Null),
        ("PUT", "/v1/me/password".into(), password),
    ]
}

/// A password is shown to nobody, but whoever sets one has read whose it is, and of two who have only one sets it.
#[test]
fn a_new_password_is_a_new_revision_of_its_person() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let (id, _) = shop.hire(&app, "technician", "t@shine.test");
    let tag = |path: &str| shop.owner.get(path).header("etag").to_owned();
    let put = |path: &str, seen: &str, body: &Value| {
        shop.owner.send("PUT", path, &[JSON, ("if-match", seen)], body.to_string().as_bytes())
    };
    let person = format!("/v1/people/{id}");
    let (path, seen) = (format!("{person}/password"), tag(&person));
    put(&path, &seen, &json!({ "password": "kettle drum ash" })).expect(204);
    put(&path, &seen, &json!({ "password": "kettle drum oak" })).problem(412, "stale");
    assert_ne!(tag(&person), seen);

    let (path, seen) = ("/v1/me/password", tag("/v1/me"));
    let change = |current: &str, new: &str| json!({ "current": current, "new": new });
    put(path, &seen, &change(tests::PASSWORD, "kettle drum ash")).expect(204);
    put(path, &seen, &change("kettle drum ash", "kettle drum oak")).problem(412, "stale");
    assert_ne!(tag("/v1/me"), seen);
}

/// A correction makes a new revision: of two people who saw the same record only one corrects it.
#[test]
fn what_replaces_something_counts_its_revisions() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let put = |seen: (&str, &str), air_c: f64| {
        let body = json!({ "hours": [{ "at": "2026-05-04T08:00:00", "air_c": air_c, "humidity": 0.7, "wind_m_s": 2.0 }] });
        shop.owner.send("PUT", "/v1/weather/2026-05-04", &[JSON, seen], body.to_string().as_bytes())
    };
    put(("if-match", "*"), 10.0).problem(412, "stale");
    let first = put(("if-none-match", "*"), 10.0);
    assert_eq!((first.expect(200)["rev"].clone(), first.header("etag")), (json!(1), "\"1\""));
    put(("if-none-match", "*"), 11.0).problem(412, "exists");
    put(("if-match", "\"1\""), 12.0).expect(200);
    put(("if-match", "\"1\""), 13.0).problem(412, "stale");
    let stored = shop.owner.get("/v1/weather/2026-05-04");
    assert_eq!((&stored.expect(200)["hours"][0]["air_c"], stored.header("etag")), (&json!(12.0), "\"2\""));
}

/// Every GET of the API names what it answered, and leaves out what the client has.
#[test]
fn what_a_client_holds_is_not_sent_again() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let job = shop.ready_job(&app);
    shop.owner.post(&job.path("plan"), &json!({})).expect(201);
    let id = |path: &str| {
        let of = [
            ("people", &job.technician_id),
            ("customers", &job.customer),
            ("vehicles", &job.vehicle),
            ("vans", &job.van),
            ("jobs", &job.id),
        ];
        let (_, id) = of.iter().find(|(kind, _)| path.starts_with(&format!("/v1/{kind}/")))?;
        Some(path.replace("{id}", id))
    };
    let mut walked = 0;
    for operation in operations().iter().filter(|one| one.method == "GET" && one.path.starts_with("/v1/")) {
        let path =
            if operation.path.contains("{id}") { id(&operation.path) } else { Some(operation.path.clone()) };
        let Some(path) = path else { continue };
        let path = path.replace("{date}", "2026-05-04")
            + if operation.path == "/v1/rounds" { "?date=2026-05-04" } else { "" };
        let first = shop.owner.get(&path);
        // The table for spreadsheets is sent while it is read: nobody has seen its end when it begins.
        if first.status != 200 || operation.path == "/v1/upkeep.csv" {
            continue;
        }
        let tag = first.header("etag");
        assert!(tag.starts_with('"') && tag.len() > 2, "{path} has the tag {tag:?}");
        for held in [tag.to_owned(), format!("\"x\", W/{tag}"), "*".to_owned()] {
            let again = shop.owner.send("GET", &path, &[("if-none-match", &held)], b"");
            assert_eq!((again.status, again.text.as_str(), again.header("etag")), (304, "", tag), "{path}");
        }
        assert_eq!(
            shop.owner.send("GET", &path, &[("if-none-match", "\"x\"")], b"").text,
            first.text,
            "{path}"
        );
        walked += 1;
    }
    assert!(walked > 25, "only {walked}");
}

#[test]
fn a_client_may_choose_the_id_of_something_new() {
    let app = TestApp::start();
    let (shop, other) = (app.shop("Shine"), app.shop("Gleam"));
    let customer = "019f0000-0000-7000-8000-000000000001";
    let put = |client: &tests::Client, path: &str, body: &Value, seen| {
        client.send("PUT", path, &[JSON, seen], body.to_string().as_bytes())
    };
    let new = ("if-none-match", "*");
    let bodies = [
        ("customers", json!({ "name": "A" })),
        ("vehicles", estate(customer)),
        ("vans", full_van()),
        ("people", json!({ "name": "P", "email": "p@shine.test", "role": "technician" })),
        ("jobs", booking(customer)),
    ];
    for (kind, body) in &bodies {
        let path = format!("/v1/{kind}/{customer}");
        let made = put(&shop.owner, &path, body, new);
        assert_eq!(
            (made.id().as_str(), made.header("location"), made.header("etag")),
            (customer, path.as_str(), "\"1\"")
        );
        put(&shop.owner, &path, body, new).problem(412, "exists");
        put(&shop.owner, &path, body, WHATEVER).problem(428, "precondition_required");
        assert_eq!(shop.owner.get(&path).expect(200)["id"], customer);
        other.owner.get(&path).problem(404, "not_found");
    }
    // The id says nothing of other shops: it is as good there.
    put(&other.owner, &format!("/v1/customers/{customer}"), &bodies[0].1, new).expect(201);
    for wrong in ["no-id", "f47ac10b-58cc-4372-a567-0e02b2c3d479", "019F0000-0000-7000-8000-000000000002"] {
        put(&shop.owner, &format!("/v1/customers/{wrong}"), &bodies[0].1, new)
            .refused_at("", "not_a_uuid_v7");
    }
}

/// What is read by key may be an answer that was given before, but never one from before the last change, whoever made it.
#[test]
fn what_is_read_is_never_older_than_the_last_change() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let job = shop.ready_job(&app);
    let van = format!("/v1/vans/{}", job.van);
    let name = |client: &Client| client.get(&van).expect(200)["name"].clone();
    assert_eq!((name(&shop.owner), name(&shop.owner)), (name(&job.technician), name(&job.technician)));
    shop.owner.patch(&van, &json!({ "name": "Patched" })).expect(200);
    assert_eq!((name(&shop.owner), name(&job.technician)), (json!("Patched"), json!("Patched")));
    // Another process.
    let other = Database::open(&app.place.config().location(), 1).expect("the same database");
    let rename = |db: &mut Db<'_>| {
        let before = vans::find(db, job.van.parse().expect("an id"))?.expect("the van");
        vans::update(db, before.id, before.rev, &VanFields { name: "Renamed".into(), ..before.fields })
    };
    assert!(other.write(shop.id, app.clock.now(), rename).expect("another name"));
    assert_eq!((name(&shop.owner), name(&job.technician)), (json!("Renamed"), json!("Renamed")));
    // Nobody has what another caller was given, nor what they may see no more.
    let path = format!("/v1/jobs/{}", job.id);
    let (colleague_id, colleague) = shop.hire(&app, "technician", "colleague@shine.test");
    for _ in 0..2 {
        assert_eq!((job.technician.get(&path).status, shop.owner.get(&path).status), (200, 200));
        colleague.get(&path).problem(404, "not_found");
    }
    let crew = json!({ "van": null, "start_at": null, "technicians": [colleague_id] });
    shop.owner.put(&job.path("assignment"), &crew).expect(200);
    job.technician.get(&path).problem(404, "not_found");
    assert_eq!((colleague.get(&path).status, colleague.get(&path).status), (200, 200));
    let tag = colleague.get(&path).header("etag").to_owned();
    assert_eq!(colleague.send("GET", &path, &[("if-none-match", &tag)], b"").status, 304);
    shop.owner.patch(&format!("/v1/people/{colleague_id}"), &json!({ "role": "lead" })).expect(200);
    colleague.get(&path).problem(401, "unauthenticated");
}
