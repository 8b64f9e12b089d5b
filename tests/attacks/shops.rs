//! Attacks 23 to 25: from one shop into another, by ids, cursors, tags and secret addresses.

use api::db::kinds::{Id, Instant};
use chrono::TimeDelta;
use serde_json::{Value, json};
use std::collections::{BTreeMap, BTreeSet};
use tests::phone::Phone;
use tests::schema::{NOBODY, Operation, commands, ids, operations};
use tests::{Client, ReadyJob, Reply, Shop, TestApp, WHATEVER};

/// One of everything that has an address, by the beginning of its address; `record` is a step of the job, `delivery` one
/// of the webhook.
pub type Things = BTreeMap<&'static str, String>;

pub fn things(app: &TestApp, shop: &mut Shop) -> (Things, ReadyJob) {
    *shop = shop.again(app);
    let mut job = shop.ready_job(app);
    shop.owner.post(&job.path("plan"), &json!({})).expect(201);
    shop.wait(app, &mut job, TimeDelta::hours(3));
    let step = json!({ "step": "C02", "technician": job.technician_id, "started_at": "2026-05-04T08:30:00Z",
        "minutes": 5, "outcome": "passed" });
    let record = shop.owner.post(&job.path("steps"), &step).id();
    let partner = shop.owner.post("/v1/partner-apps", &json!({ "name": "Fleet", "scopes": ["webhooks"] }));
    let partner = partner.expect(201)["app"]["id"].as_str().expect("an id").to_owned();
    let note = json!({ "bag_tests": [{ "on": "2026-05-03", "grade": 1 }] });
    let note = shop.owner.post(&format!("/v1/vehicles/{}/observations", job.vehicle), &note).id();
    let text = |value: &Value| value.as_str().expect("text").to_owned();
    let proposal = json!({ "vehicle": job.vehicle, "package": "P2",
        "window_from": "2026-06-04T08:00:00Z", "window_to": "2026-06-04T10:00:00Z" });
    let booking = shop.partner(app, &["offers:write"]).post("/v1/bookings", &proposal).id();
    let feed = text(&shop.owner.post("/v1/calendar-feeds", &json!({})).expect(201)["feed"]["id"]);
    let webhook = json!({ "url": "https://localhost:1024/", "events": ["job.changed"] });
    let webhook = text(&shop.owner.post("/v1/webhooks", &webhook).expect(201)["webhook"]["id"]);
    let delivery = shop.owner.post(&format!("/v1/webhooks/{webhook}/test"), &Value::Null);
    let delivery = text(&delivery.expect(202)["id"]);
    let login = text(&shop.owner.get("/v1/me/logins").expect(200)["items"][0]["id"]);
    let [device, entry] = talked(app, shop, &job);
    let upload = shop.owner.send("POST", "/v1/uploads", &PHOTO, b"");
    let upload = upload.header("location").rsplit('/').next().expect("an id").to_owned();
    let (plan, held) = rounds_of(shop, &job);
    let template = tests::example("post", "/v1/message-templates");
    let template = shop.owner.post("/v1/message-templates", &template).id();
    let reply = tests::reply_of(app, shop, &job.customer);
    app.run_tasks();
    let task = shop.owner.get("/v1/tasks").expect(200)["items"][0]["id"].as_str().expect("an id").to_owned();
    let all = [
        ("customers", job.customer.clone()),
        ("vehicles", job.vehicle.clone()),
        ("jobs", job.id.clone()),
        ("vans", job.van.clone()),
        ("people", job.technician_id.clone()),
        ("partner-apps", partner),
        ("observations", note),
        ("tasks", task),
        ("record", record),
        ("webhooks", webhook),
        ("delivery", delivery),
        ("bookings", booking),
        ("calendar-feeds", feed),
        ("me", login),
        ("devices", device),
        ("inbox", entry),
        ("uploads", upload),
        ("round-plans", plan),
        ("held-offers", held),
        ("message-templates", template),
        ("replies", reply),
    ];
    (all.into_iter().collect(), job)
}

/// Begins the upload of a photo.
const PHOTO: [(&str, &str); 2] = [("upload-length", "5"), ("upload-metadata", "filetype aW1hZ2UvanBlZw==")];

/// A phone of the owner, and what it said that waits for the office.
fn talked(app: &TestApp, shop: &Shop, job: &ReadyJob) -> [String; 2] {
    let mut phone = Phone::with_clock(app.clock.now());
    let now = "2026-05-04T09:00:00Z";
    phone.sync(&shop.owner, now);
    let entry = phone.act("void_record", &job.id, now, json!({ "record": NOBODY, "reason": "wrong" }));
    phone.sync(&shop.owner, now);
    [phone.kept.device, entry]
}

/// A search for rounds that waits, and an offer that is held.
fn rounds_of(shop: &Shop, job: &ReadyJob) -> (String, String) {
    let base = json!({ "settings": { "base": { "latitude": 48.2, "longitude": 16.37 } } });
    shop.owner.patch("/v1/shop", &base).expect(200);
    let ask = json!({ "from_on": "2026-05-05", "iterations": 5 });
    let plan = shop.owner.post("/v1/round-plans", &ask).expect(202)["id"].clone();
    let wanted = json!({ "vehicle": job.vehicle, "package": "P1", "from_on": "2026-05-05", "days": 1 });
    let offers = shop.owner.post("/v1/offers", &wanted).expect(200);
    let held = shop.owner.post("/v1/held-offers", &json!({ "offer": offers["offers"][0]["offer"] })).id();
    (plan.as_str().expect("an id").to_owned(), held)
}

pub fn send(client: &Client, operation: &Operation, path: &str, body: Option<&Value>) -> Reply {
    let kind = operation.body().map_or("application/json", |(kind, _)| kind);
    let none_yet = operation.method == "PUT"
        && (operation.path.ends_with("/arrival")
            || operation.path.starts_with("/v1/weather/")
            || ["/v1/travel-matrix", "/v1/message-gateway"].contains(&operation.path.as_str()));
    let seen = if none_yet || makes_under_id(operation) { ("if-none-match", "*") } else { WHATEVER };
    let text = body.map(Value::to_string).unwrap_or_default();
    client.send(&operation.method, path, &[("content-type", kind), seen], text.as_bytes())
}

/// Ids of the document's own examples are taken for ids of this shop.
pub fn body(operation: &Operation, own: &Things) -> Option<Value> {
    let mut body = example(operation)?;
    let (_, schema) = operation.body()?;
    name_own(&mut body, schema, own);
    Some(body)
}

/// Puts this shop's ids where a value of this schema has some.
fn name_own(value: &mut Value, schema: &Value, own: &Things) {
    for pointer in ids(schema) {
        if let Some(place) = value.pointer_mut(&pointer) {
            *place = json!(own[kind_of(&pointer)]);
        }
    }
}

/// What an id at this place of a body names.
fn kind_of(pointer: &str) -> &'static str {
    let name = pointer.trim_end_matches("/0").rsplit('/').next().unwrap_or_default();
    match name {
        "technician" | "technicians" | "person" => "people",
        "home_van" | "van" => "vans",
        "customer" | "customers" => "customers",
        "vehicle" => "vehicles",
        "job" | "rework_of" | "frozen" => "jobs",
        "device" => "devices",
        "id" | "depends_on" => "inbox",
        "record" => "record",
        "upload" => "uploads",
        other => panic!("what does {other:?} name?"),
    }
}

/// A body that fits; where the document shows none that also makes sense, here is one.
fn example(operation: &Operation) -> Option<Value> {
    let shown = match operation.path.as_str() {
        "/v1/jobs" => tests::booking(NOBODY),
        "/v1/bookings" => json!({ "vehicle": NOBODY, "package": "P2",
            "window_from": "2026-06-05T08:00:00Z", "window_to": "2026-06-05T10:00:00Z" }),
        "/v1/vehicles" => tests::estate(NOBODY),
        "/v1/vans" => tests::full_van(),
        "/v1/people" => json!({ "name": "P", "email": "new@shop.test", "role": "lead" }),
        "/v1/jobs/{id}/assignment" => json!({ "van": null, "start_at": null, "technicians": [] }),
        "/v1/customers/{id}/consents" => {
            json!({ "channel": "mail", "purpose": "maintenance", "given": true, "source": "signed form" })
        }
        _ => operation.example()?,
    };
    Some(shown)
}

/// Made from the document: on every route with an id what belongs to another shop is answered, word for word, like what
/// was never there.
#[test]
fn attack_23_every_operation_with_ids_of_another_shop() {
    let app = TestApp::start();
    let (mut ours, mut theirs) = (app.shop("Shine"), app.shop("Gleam"));
    let (foreign, _) = things(&app, &mut theirs);
    let (own, _) = things(&app, &mut ours);
    let mut walked = 0;
    for operation in operations().iter().filter(|one| one.path.contains("{id}") && !makes_under_id(one)) {
        let kind = operation.path.split('/').nth(2).expect("a collection");
        let named = body(operation, &own);
        let ask = |id: &str, record: &str| {
            let path = operation.path.replace("{id}", id).replace("{record}", record);
            send(&ours.owner, operation, &path, named.as_ref())
        };
        let record = record_of(kind);
        for (found, unknown) in [
            (ask(&foreign[kind], &foreign[record]), ask(NOBODY, NOBODY)),
            (ask(&foreign[kind], NOBODY), ask("no-id", "no-id")),
        ] {
            walked += 1;
            if operation.method == "HEAD" {
                assert_eq!((found.status, unknown.status), (404, 404), "{}", operation.name());
                continue;
            }
            not_told_apart(&found, &unknown);
        }
    }
    assert!(walked >= 80, "only {walked} requests were compared");
}

/// The name in [`Things`] of what an address of this collection has below one of its things.
pub fn record_of(kind: &str) -> &'static str {
    if kind == "webhooks" { "delivery" } else { "record" }
}

#[track_caller]
fn not_told_apart(found: &Reply, unknown: &Reply) {
    let mut told = found.problem(404, "not_found");
    let unknown = unknown.problem(404, "not_found");
    told["request_id"] = unknown["request_id"].clone();
    assert_eq!(told, unknown, "{}", found.asked);
}

/// What is below something of ours is looked for there and nowhere else, be it another shop's or our own of another parent.
#[test]
fn attack_24_an_own_parent_with_a_foreign_child() {
    let app = TestApp::start();
    let (mut ours, mut theirs) = (app.shop("Shine"), app.shop("Gleam"));
    let (foreign, _) = things(&app, &mut theirs);
    let (own, _) = things(&app, &mut ours);
    let hook = json!({ "url": "https://localhost:1024/", "events": ["job.changed"] });
    let hook = ours.owner.post("/v1/webhooks", &hook).expect(201)["webhook"]["id"].clone();
    let (other_hook, other_job) =
        (hook.as_str().expect("an id").to_owned(), ours.job(&ours.vehicle(&own["customers"])));
    let mut walked = 0;
    for operation in operations().iter().filter(|one| one.path.contains("{record}")) {
        let kind = operation.path.split('/').nth(2).expect("a collection");
        let named = body(operation, &own);
        let ask = |parent: &str, child: &str| {
            let path = operation.path.replace("{id}", parent).replace("{record}", child);
            send(&ours.owner, operation, &path, named.as_ref())
        };
        let record = record_of(kind);
        not_told_apart(&ask(&own[kind], &foreign[record]), &ask(&own[kind], NOBODY));
        let other = if kind == "webhooks" { &other_hook } else { &other_job };
        not_told_apart(&ask(other, &own[record]), &ask(other, NOBODY));
        walked += 2;
    }
    assert!(walked >= 8, "only {walked} requests were compared");
}

/// Makes something under an id of the client's own: another shop's id is as good as any.
pub fn makes_under_id(operation: &Operation) -> bool {
    operation.method == "PUT" && operation.of["responses"]["201"].is_object()
}

/// Made from the document: an id of another shop in a body is refused like one that was never given.
#[test]
fn attack_25_ids_of_another_shop_in_bodies_and_queries() {
    let app = TestApp::start();
    let (mut ours, mut theirs) = (app.shop("Shine"), app.shop("Gleam"));
    let (foreign, _) = things(&app, &mut theirs);
    let (own, _) = things(&app, &mut ours);
    let open = ours.job(&ours.vehicle(&own["customers"]));
    let offers = ours.partner(&app, &["offers:write"]);
    let (mut placed, mut asked) = (BTreeSet::new(), 0);
    // What phones say is answered one by one: the test below looks at that.
    for operation in operations().iter().filter(|one| one.is_guarded() && one.path != "/v1/sync/push") {
        let kind = operation.path.split('/').nth(2).unwrap_or_default();
        let mut id = own.get(kind).cloned().unwrap_or_default();
        // A job that has been started is not assigned anew.
        if operation.path.ends_with("/assignment") || operation.path == "/v1/jobs/{id}" {
            id = open.clone();
        }
        if makes_under_id(operation) {
            id = "019f0000-0000-7000-8000-000000000001".into();
        }
        let path = operation.path.replace("{id}", &id).replace("{record}", &own["record"]);
        let schema = operation.body().map(|(_, schema)| ids(schema)).unwrap_or_default();
        for pointer in schema {
            let with = |id: &str| {
                let mut named = body(operation, &own).expect("a body");
                put(&mut named, &pointer, json!(id));
                let client = if operation.path == "/v1/bookings" { &offers } else { &ours.owner };
                let reply = send(client, operation, &path, Some(&named));
                (reply.status, reply.text.replace(reply.header("x-request-id"), ""))
            };
            let (found, unknown) = (with(&foreign[kind_of(&pointer)]), with(NOBODY));
            assert!((400..500).contains(&found.0), "{} {pointer}: {found:?}", operation.name());
            assert_eq!(found, unknown, "{} {pointer}", operation.name());
            if found.1.contains(&format!("\"pointer\":\"{pointer}\"")) {
                placed.insert(pointer);
            }
        }
        for (name, _) in operation
            .parameters("query")
            .filter(|(name, _)| ["van", "vehicle", "customer", "technician"].contains(name))
        {
            let with = |id: &str| ours.owner.get(&format!("{path}?{name}={id}"));
            let (found, unknown) = (with(&foreign[kind_of(name)]), with(NOBODY));
            assert_eq!(
                (found.status, found.text),
                (unknown.status, unknown.text),
                "{} {name}",
                operation.name()
            );
            asked += 1;
        }
    }
    for pointer in [
        "/customer",
        "/vehicle",
        "/rework_of",
        "/technician",
        "/technicians/0",
        "/van",
        "/home_van",
        "/job",
        "/corrected/technician",
    ] {
        assert!(placed.contains(pointer), "{pointer} was never told as the place: {placed:?}");
    }
    assert!(asked >= 6, "only {asked} queries were asked");
}

/// Made from the document: what phones say of another shop's things, whatever it is and wherever it is named, is answered
/// like what they say of nothing, and nothing of that shop is changed by it.
#[test]
fn attack_25_ids_of_another_shop_in_what_phones_say() {
    let app = TestApp::start();
    let (mut ours, mut theirs) = (app.shop("Shine"), app.shop("Gleam"));
    let (foreign, _) = things(&app, &mut theirs);
    let (own, job) = things(&app, &mut ours);
    let theirs = theirs.again(&app);
    let before = all_read(&theirs.owner, &foreign);
    assert!(before.len() > 50, "only {} answers", before.len());
    let now = app.clock.now();
    let mut places = BTreeSet::new();
    for client in [&ours.owner, &job.technician] {
        let mut phone = Phone::with_clock(now);
        phone.sync(client, &now.to_string());
        let push = |device: &str, said: &[&Value]| {
            let epoch = phone.kept.epoch.as_deref();
            let body = json!({ "device": device, "epoch": epoch, "sent_at": now, "mutations": said });
            client.post("/v1/sync/push", &body)
        };
        let [found, unknown] = [foreign["devices"].as_str(), NOBODY].map(|device| {
            let reply = push(device, &[]);
            (reply.status, reply.text.replace(reply.header("x-request-id"), ""))
        });
        assert_eq!((found.0, &found), (422, &unknown));
        let said = said_of(&own, &foreign, now);
        let mut results = Vec::new();
        for some in said.chunks(200) {
            let some: Vec<&Value> = some.iter().map(|(_, _, one)| one).collect();
            let answer = push(&phone.kept.device, &some).expect(200);
            results.extend(answer["results"].as_array().expect("results").clone());
        }
        // Of each place in each command the last one names what nothing is.
        let of_place = foreign.len() + 1;
        for (said, results) in said.chunks(of_place).zip(results.chunks(of_place)) {
            let plain = |((_, id, _), result): (&Said, &Value)| with_nobody(result, id);
            let told: BTreeSet<String> = said.iter().zip(results).map(plain).collect();
            assert_eq!(told.len(), 1, "{} {}: {told:?}", said[0].2["type"], said[0].0);
            places.insert((said[0].0.clone(), why(&results[0])));
        }
    }
    let expected = [
        ("/args/corrected/technician", "/corrected/technician"),
        ("/args/record", "dependency_missing"),
        ("/args/technician", "/technician"),
        ("/args/upload", "applied"),
        ("/depends_on/0", "dependency_missing"),
        ("/job", "change_requested"),
        ("/job", "not_theirs"),
    ];
    let expected = expected.map(|(place, why)| (place.to_owned(), why.to_owned()));
    assert_eq!(places, expected.into_iter().collect());
    assert_eq!(all_read(&theirs.owner, &foreign), before);
}

/// Where in a command an id stands, the id, and the command.
type Said = (String, String, Value);

/// Every command, with every foreign id, and then that of nobody, in every place for one.
fn said_of(own: &Things, foreign: &Things, now: Instant) -> Vec<Said> {
    let mut said: Vec<Said> = Vec::new();
    for (word, schema) in commands() {
        let mut args = schema["example"].clone();
        name_own(&mut args, schema, own);
        let whole =
            json!({ "type": word, "job": own["jobs"], "occurred_at": now, "base_rev": 1, "args": args });
        let places = ids(schema).into_iter().map(|pointer| format!("/args{pointer}"));
        for place in places.chain(["/job", "/depends_on/0"].map(str::to_owned)) {
            for id in foreign.values().map(String::as_str).chain([NOBODY]) {
                let mut one = whole.clone();
                put(&mut one, &place, json!(id));
                one["n"] = json!(said.len() + 1);
                one["id"] = json!(Id::new(now));
                said.push((place.clone(), id.to_owned(), one));
            }
        }
    }
    said
}

/// What became of a command, as if it had named nobody.
fn with_nobody(result: &Value, id: &str) -> String {
    let mut result = result.clone();
    (result["n"], result["id"]) = (Value::Null, Value::Null);
    result.to_string().replace(id, NOBODY)
}

/// The place that was told, else the code, else what became of it.
fn why(result: &Value) -> String {
    let reason = &result["reason"];
    let told = reason["errors"][0]["pointer"].as_str().or(reason["code"].as_str());
    told.or(result["outcome"].as_str()).expect("a word").to_owned()
}

/// Everything that this client can read, by address.
fn all_read(client: &Client, things: &Things) -> BTreeMap<String, String> {
    let mut read = BTreeMap::new();
    for operation in operations().iter().filter(|one| one.method == "GET" && one.is_guarded()) {
        // These go on, or need a phone.
        if operation.path.ends_with("/events") || operation.path.starts_with("/v1/sync/") {
            continue;
        }
        let kind = operation.path.split('/').nth(2).expect("a collection");
        let path = operation.path.replace("{id}", things.get(kind).map_or(NOBODY, String::as_str));
        let path = path.replace("{record}", &things[record_of(kind)]).replace("{date}", "2026-05-04");
        let query = if operation.path == "/v1/rounds" { "?date=2026-05-04" } else { "" };
        let reply = client.get(&format!("{path}{query}"));
        if reply.status == 200 {
            read.insert(reply.asked, reply.text);
        }
    }
    read
}

/// Sets a value and what is around it.
fn put(body: &mut Value, pointer: &str, value: Value) {
    let mut place = body;
    for name in pointer.split('/').skip(1) {
        if name == "0" {
            if place.as_array().is_none_or(Vec::is_empty) {
                *place = json!([null]);
            }
            place = &mut place[0];
        } else {
            place = &mut place[name];
        }
    }
    *place = value;
}

/// Made from the document: a cursor belongs to the list of the shop that it was given by, an ETag to what it names, a
/// calendar's address and an export to their shop.
#[test]
fn attack_25_cursors_etags_calendars_and_exports_of_another_shop() {
    let app = TestApp::start();
    let mut theirs = app.shop("Gleam");
    let (_, job) = things(&app, &mut theirs);
    let ours = app.shop("Shine");
    theirs.customer("B");
    theirs.job(&theirs.vehicle(&job.customer));
    theirs.owner.post("/v1/vans", &tests::full_van()).expect(201);
    let mut stolen = Vec::new();
    for operation in
        operations().iter().filter(|one| one.parameters("query").any(|(name, _)| name == "cursor"))
    {
        // A pull needs a phone; its cursors have a test of their own.
        if operation.path.contains("{id}") || operation.path == "/v1/sync/pull" {
            continue;
        }
        let page = theirs.owner.get(&format!("{}?limit=1", operation.path)).expect(200);
        let Some(cursor) = page["next_cursor"].as_str() else { continue };
        let next = format!("{}?limit=1&cursor={cursor}", operation.path);
        theirs.owner.get(&next).expect(200);
        ours.owner.get(&next).problem(400, "bad_query");
        stolen.push((operation.path.clone(), cursor.to_owned()));
    }
    assert!(stolen.len() >= 6, "{stolen:?}");
    for (path, _) in &stolen {
        for (other, cursor) in stolen.iter().filter(|(other, _)| other != path) {
            let reply = theirs.owner.get(&format!("{path}?cursor={cursor}"));
            assert_eq!(reply.status, 400, "the cursor of {other} at {path}");
        }
    }
    let foreign = format!("/v1/customers/{}", job.customer);
    let tag = theirs.owner.get(&foreign).header("etag").to_owned();
    for held in [tag.as_str(), "*"] {
        ours.owner.send("GET", &foreign, &[("if-none-match", held)], b"").problem(404, "not_found");
        let patch = [("content-type", "application/merge-patch+json"), ("if-match", held)];
        ours.owner.send("PATCH", &foreign, &patch, b"{\"name\":\"Ours\"}").problem(404, "not_found");
    }
    ours.owner.get(&format!("{foreign}/export")).problem(404, "not_found");
    let url = theirs.owner.post("/v1/calendar-feeds", &json!({})).expect(201)["url"].clone();
    let url = url.as_str().expect("an address");
    let calendar = &url[url.find("/calendars").expect("a path")..];
    assert_eq!(app.client().get(calendar).status, 200);
    let moved = calendar.replace(&theirs.id.to_string(), &ours.id.to_string());
    app.client().get(&moved).problem(404, "not_found");
}
