//! Answers that the OpenAPI document shows: each was given by a server, and servers still give answers of its form.

use crate::attacks::shops::{Things, body, record_of, send, things};
use chrono::TimeDelta;
use serde_json::{Map, Value, json};
use std::collections::{BTreeMap, BTreeSet};
use tests::schema::{Operation, operations};
use tests::{Client, PASSWORD, ReadyJob, Reply, Shop, TestApp};

/// Entries of a list, and of a long table by names, that are shown.
const ENTRIES: usize = 2;
const LONG: usize = 8;

/// Of each schema that the document names as an answer one is shown, as it was given but for what is secret or somebody's
/// id. Where today's have another form, today's are written to a file to take the place of the old ones.
#[test]
fn every_answer_that_is_shown_was_given_by_a_server() {
    let app = TestApp::start();
    let mut shop = app.shop("Shine");
    let given = Given::of(&app, &mut shop);
    let wanted: BTreeSet<String> = operations().iter().flat_map(schemas).map(|(_, schema)| schema).collect();
    let missing: Vec<&String> = wanted.iter().filter(|name| !given.0.contains_key(*name)).collect();
    assert!(missing.is_empty(), "nobody answered with {missing:?}");
    let shown: BTreeMap<String, Value> =
        serde_json::from_str(include_str!("../openapi/answers.json")).expect("JSON");
    let today = given.told(&wanted);
    let other: Vec<String> =
        wanted.iter().filter_map(|name| difference(name, shown.get(name), &today[name])).collect();
    let more: Vec<&String> = shown.keys().filter(|name| !wanted.contains(*name)).collect();
    if !other.is_empty() || !more.is_empty() {
        let file = std::env::temp_dir().join("answers.json");
        let text = serde_json::to_string_pretty(&today).expect("JSON");
        std::fs::write(&file, text + "\n").expect("a file");
        panic!(
            "shown without need: {more:?}; of another form:\n{}\nLook at {} and copy it to openapi/answers.json",
            other.join("\n"),
            file.display()
        );
    }
}

/// The successful statuses of an operation that answer with JSON, and their schemas by name.
fn schemas(operation: &Operation) -> Vec<(u16, String)> {
    let answers = operation.of["responses"].as_object().expect("responses").iter();
    let named = answers.filter_map(|(status, answer)| {
        let content = answer["content"].as_object()?.iter().find(|(kind, _)| kind.ends_with("json"))?.1;
        let name = content["schema"]["$ref"].as_str()?.rsplit('/').next()?;
        Some((status.parse().ok()?, name.to_owned()))
    });
    named.filter(|(status, _)| *status < 300).collect()
}

/// Answers by the names of their schemas.
struct Given(BTreeMap<String, Value>);

impl Given {
    fn of(app: &TestApp, shop: &mut Shop) -> Given {
        let (own, mut job) = things(app, shop);
        let mut given = Given(BTreeMap::new());
        given.of_changes(app, shop, &job, &own);
        shop.wait(app, &mut job, TimeDelta::minutes(1));
        app.run_tasks();
        for operation in operations().iter().filter(|one| one.method == "GET") {
            given.read(shop, &job, operation, &own);
        }
        given
    }

    fn take(&mut self, operation: &Operation, reply: &Reply) {
        let known = schemas(operation);
        let Some((_, name)) = known.iter().find(|(status, _)| *status == reply.status) else { return };
        let body: Value = serde_json::from_str(&reply.text).expect("JSON");
        // What a page holds is an answer of its own elsewhere.
        if let Some(entry) = name.strip_prefix("Page_").filter(|_| body["items"][0].is_object()) {
            self.keep(entry, body["items"][0].clone());
        }
        self.keep(name, body);
    }

    /// The longest tells most.
    fn keep(&mut self, name: &str, body: Value) {
        let before = self.0.get(name).map_or(0, |before| before.to_string().len());
        if body.to_string().len() > before {
            self.0.insert(name.to_owned(), body);
        }
    }

    fn read(&mut self, shop: &Shop, job: &ReadyJob, operation: &Operation, own: &Things) {
        let kind = operation.path.split('/').nth(2).unwrap_or_default();
        let path = operation.path.replace("{id}", own.get(kind).map_or("", String::as_str));
        let path = path.replace("{record}", &own[record_of(kind)]).replace("{date}", "2026-05-04");
        let query = match operation.path.as_str() {
            "/v1/rounds" => "?date=2026-05-04",
            "/v1/throughput" | "/v1/throughput/own" => "?week=2026-W19",
            _ => "",
        };
        let client = if operation.path == "/v1/throughput/own" { &job.technician } else { &shop.owner };
        self.take(operation, &client.get(&(path + query)));
    }

    /// What is answered to changes only.
    fn of_changes(&mut self, app: &TestApp, shop: &Shop, job: &ReadyJob, own: &Things) {
        // As long as no job has changed since.
        self.change(&shop.owner, &found("POST", "/v1/round-plans/{id}/publish"), own, Some(json!({})));
        let partner = shop.partner_app(&["plans:read", "upkeep:read", "offers:write", "webhooks"]);
        let token = partner.ask(app, "/oauth/token", "grant_type=client_credentials");
        let word = token.expect(200)["access_token"].as_str().expect("a token").to_owned();
        self.take(&found("POST", "/oauth/token"), &token);
        let checked = partner.ask(app, "/oauth/introspect", &format!("token={word}"));
        self.take(&found("POST", "/oauth/introspect"), &checked);
        let login = json!({ "shop": shop.id, "email": shop.email, "password": PASSWORD });
        self.take(&found("POST", "/v1/login"), &app.client().post("/v1/login", &login));
        let open = shop.job(&shop.vehicle(&job.customer));
        let second = json!({ "step": "C02", "technician": job.technician_id,
            "started_at": "2026-05-04T08:40:00Z", "minutes": 5, "outcome": "passed" });
        let second = shop.owner.post(&job.path("steps"), &second).id();
        let cases = [
            ("POST", "/v1/partner-apps", None),
            (
                "POST",
                "/v1/webhooks",
                Some(json!({ "url": "https://partner.example/events", "events": ["job.finished"] })),
            ),
            ("POST", "/v1/webhooks/{id}/test", None),
            ("POST", "/v1/calendar-feeds", Some(json!({}))),
            ("POST", "/v1/customers/{id}/consents", None),
            (
                "POST",
                "/v1/vans/{id}/checks",
                Some(json!({ "checked_at": "2026-05-04T06:30:00Z",
                "items": [{ "item": "clay_towel", "left": 3, "gone": 1 }, { "item": "iron_remover", "left": 4200 }] })),
            ),
            ("POST", "/v1/near-misses", None),
            ("PUT", "/v1/weather/{date}", None),
            ("POST", "/v1/jobs/{id}/inspections", None),
            (
                "POST",
                "/v1/jobs/{id}/extra-work",
                Some(json!({ "what": "Sap on the bonnet: 25 minutes.",
                "answer": "accepted", "minutes": 25, "asked_at": "2026-05-04T08:45:00Z" })),
            ),
            ("POST", "/v1/jobs/{id}/waivers", None),
            ("POST", "/v1/jobs/{id}/plan/compare", None),
            ("POST", "/v1/plans/preview", None),
            ("PUT", "/v1/jobs/{id}/arrival", Some(json!({ "arrived_at": "2026-05-04T08:00:00Z" }))),
            ("PUT", "/v1/norms/veto", None),
            ("PUT", "/v1/travel-matrix", None),
            ("PUT", "/v1/message-gateway", Some(json!({}))),
            ("POST", "/v1/message-gateway/secret", None),
            ("POST", "/v1/message-previews", None),
            (
                "POST",
                "/v1/offers",
                Some(json!({ "vehicle": job.vehicle, "package": "P1", "from_on": "2026-05-05", "days": 1 })),
            ),
            ("POST", "/v1/jobs/{id}/finish", Some(json!({}))),
            ("POST", "/v1/throughput/weeks/{week}/close", None),
        ];
        for (method, path, asked) in cases {
            let operation = found(method, path);
            self.change(&shop.owner, &operation, own, asked);
        }
        let void = format!("/v1/jobs/{}/steps/{second}/void", job.id);
        let reply = shop.owner.post(&void, &json!({ "reason": "twice" }));
        self.take(&found("POST", "/v1/jobs/{id}/steps/{record}/void"), &reply);
        self.of_warnings(shop, job, &open);
        self.of_phones(job);
    }

    /// A phone that says two things, of which the office has to decide one.
    fn of_phones(&mut self, job: &ReadyJob) {
        let device = "019df1a0-0000-7000-8000-0000000000d0";
        let now = "2026-05-04T08:50:00Z";
        let new = json!({ "name": "Second phone", "row_schema": 1 });
        let registered = job.technician.put(&format!("/v1/devices/{device}"), &new);
        self.take(&found("PUT", "/v1/devices/{id}"), &registered);
        let epoch = registered.expect(201)["epoch"].clone();
        let said = |n: u8, kind: &str, text: &str| {
            json!({ "n": n, "id": format!("019df1a0-0000-7000-8000-0000000000d{n}"), "type": kind, "job": job.id,
                "occurred_at": now, "args": { "text": text } })
        };
        let push = json!({ "device": device, "epoch": epoch, "sent_at": now, "mutations": [
            said(1, "comment", "Gate was open."), said(2, "request_change", "The customer asks for Friday.")] });
        self.take(&found("POST", "/v1/sync/push"), &job.technician.post("/v1/sync/push", &push));
        let pulled = job.technician.get(&format!("/v1/sync/pull?device={device}"));
        self.take(&found("GET", "/v1/sync/pull"), &pulled);
    }

    /// A van that carries nothing is warned of.
    fn of_warnings(&mut self, shop: &Shop, job: &ReadyJob, open: &str) {
        let empty = json!({ "kit": { "tank_l": 0, "equipment": ["mitt"] } });
        shop.owner.patch(&format!("/v1/vans/{}", job.van), &empty).expect(200);
        let path = |of: &str| format!("/v1/jobs/{open}/{of}");
        let to =
            json!({ "van": job.van, "start_at": "2026-05-04T08:00:00Z", "technicians": [job.technician_id] });
        let assigned = shop.owner.put(&path("assignment"), &to);
        assigned.expect(200);
        self.take(&found("PUT", "/v1/jobs/{id}/assignment"), &assigned);
        let plan = shop.owner.post(&path("plan"), &json!({})).expect(201);
        let mut notices = plan["notices"].as_array().expect("notices").iter();
        let warned = notices.find(|one| one["severity"] == "warn" || one["severity"] == "block");
        let rule = &warned.expect("a warning")["rule"];
        let noted = shop.owner.post(&path("plan/acknowledgements"), &json!({ "rule": rule, "version": 1 }));
        self.take(&found("POST", "/v1/jobs/{id}/plan/acknowledgements"), &noted);
    }

    fn change(&mut self, client: &Client, operation: &Operation, own: &Things, asked: Option<Value>) {
        let kind = operation.path.split('/').nth(2).unwrap_or_default();
        let path = operation.path.replace("{id}", own.get(kind).map_or("", String::as_str));
        let path = path.replace("{date}", "2026-05-04").replace("{week}", "2026-W17");
        let asked = asked.or_else(|| body(operation, own));
        let reply = send(client, operation, &path, asked.as_ref());
        assert!((200..300).contains(&reply.status), "{}: {}", reply.asked, reply.text);
        self.take(operation, &reply);
    }

    /// Without what is secret, and with ids that are alike in every run.
    fn told(&self, wanted: &BTreeSet<String>) -> BTreeMap<String, Value> {
        let mut ids = BTreeMap::new();
        let wanted = self.0.iter().filter(|(name, _)| wanted.contains(*name));
        wanted.map(|(name, body)| (name.clone(), told("", body, &mut ids))).collect()
    }
}

fn found(method: &str, path: &str) -> Operation {
    let mut all = operations().into_iter();
    all.find(|one| (one.method.as_str(), one.path.as_str()) == (method, path)).expect("an operation")
}

fn told(name: &str, value: &Value, ids: &mut BTreeMap<String, String>) -> Value {
    match value {
        Value::Object(fields) => {
            let is_table = fields.values().all(Value::is_object) || fields.values().all(Value::is_array);
            let kept = if is_table && fields.len() > LONG { ENTRIES } else { fields.len() };
            let fields = fields.iter().take(kept);
            Value::Object(
                fields
                    .map(|(name, value)| (with_other_ids(name, ids), told(name, value, ids)))
                    .collect::<Map<_, _>>(),
            )
        }
        Value::Array(entries) => entries.iter().take(ENTRIES).map(|entry| told(name, entry, ids)).collect(),
        Value::String(text) => json!(secretless(name, &with_other_ids(text, ids))),
        other => other.clone(),
    }
}

/// What only its owner may have, as the document may show it.
fn secretless(name: &str, text: &str) -> String {
    match name {
        "access_token" => "eyJ0eXAiOiJhdCtqd3QiLCJhbGciOiJFZERTQSIsImtpZCI6IuKApiJ9.…".into(),
        "refresh_token" => format!("{}.…", text.split('.').next().unwrap_or_default()),
        "client_secret" | "hash" | "kid" | "x" | "request" => "…".into(),
        "secret" => "whsec_…".into(),
        "url" if text.contains("/calendars/") => {
            format!("{}.shown-only-once", text.rsplit_once('.').map_or("", |(head, _)| head))
        }
        "cursor" | "next_cursor" => "…".into(),
        _ => text.to_owned(),
    }
}

/// Ids (RFC 9562) as they come, counted.
fn with_other_ids(text: &str, ids: &mut BTreeMap<String, String>) -> String {
    let is_id = |part: &str| {
        let dashes = [8, 13, 18, 23];
        part.bytes()
            .enumerate()
            .all(|(at, b)| if dashes.contains(&at) { b == b'-' } else { b.is_ascii_hexdigit() })
    };
    let mut rest = text;
    let mut told = String::new();
    while let Some(first) = rest.chars().next() {
        match rest.get(..36).filter(|part| is_id(part)) {
            Some(id) => {
                let next = format!("019df1a0-0000-7000-8000-{:012}", ids.len() + 1);
                told += ids.entry(id.to_owned()).or_insert(next);
                rest = &rest[36..];
            }
            None => {
                told.push(first);
                rest = &rest[first.len_utf8()..];
            }
        }
    }
    told
}

/// Where two answers differ in form.
fn difference(name: &str, shown: Option<&Value>, today: &Value) -> Option<String> {
    let Some(shown) = shown else { return Some(format!("{name}: none is shown")) };
    let (mut before, mut now) = (BTreeSet::new(), BTreeSet::new());
    form("", shown, &mut before);
    form("", today, &mut now);
    let other: Vec<&String> = before.symmetric_difference(&now).collect();
    (!other.is_empty()).then(|| format!("{name}: {other:?}"))
}

/// Each place of a value with what is there.
fn form(place: &str, value: &Value, found: &mut BTreeSet<String>) {
    match value {
        Value::Object(fields) => {
            // Where ids are names, one is as good as another.
            let name = |name: &str| if name.len() == 36 { "{id}".to_owned() } else { name.to_owned() };
            fields.iter().for_each(|(key, value)| form(&format!("{place}/{}", name(key)), value, found));
        }
        Value::Array(entries) => entries.iter().for_each(|entry| form(&format!("{place}[]"), entry, found)),
        Value::Null => drop(found.insert(format!("{place} null"))),
        Value::Bool(_) => drop(found.insert(format!("{place} boolean"))),
        Value::Number(_) => drop(found.insert(format!("{place} number"))),
        Value::String(_) => drop(found.insert(format!("{place} text"))),
    }
}
