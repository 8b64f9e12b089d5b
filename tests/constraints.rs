//! Each rule that the OpenAPI document states of a body or a query is kept: broken on purpose, one by one, it is refused
//! at its place.

use api::auth::access::{Row, TABLE, roles};
use serde_json::{Value, json};
use std::collections::{BTreeMap, BTreeSet};
use tests::schema::{Broken, NOBODY, Operation, broken, operations};
use tests::{Client, Reply, Shop, TestApp, WHATEVER};

#[test]
fn every_documented_rule_of_a_body_is_kept() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let own = own_ids(&app, &shop);
    let callers = Callers::of(&app, &shop);
    let (mut seen, mut tried, mut faults) = (BTreeSet::new(), 0, Vec::new());
    for operation in operations() {
        let Some((kind, schema)) = operation.body().filter(|(kind, _)| kind.ends_with("json")) else {
            continue;
        };
        if !seen.insert(schema.to_string()) {
            continue;
        }
        let path = filled(&operation.path, &own);
        for one in broken(schema, operation.method != "PATCH") {
            let headers = [("content-type", kind), condition(&operation)];
            let text = one.value.to_string();
            let reply = callers.one_for(&operation).send(&operation.method, &path, &headers, text.as_bytes());
            tried += 1;
            if !told(&reply, &one) {
                faults.push(format!(
                    "{} {} {}: {} {}",
                    operation.name(),
                    one.rule,
                    one.pointer,
                    reply.status,
                    reply.text
                ));
            }
        }
    }
    assert!(faults.is_empty(), "{} of {tried}:\n{}", faults.len(), faults.join("\n"));
    assert!(tried > 600, "only {tried} rules were broken");
}

/// Refused, at the place that is wrong.
fn told(reply: &Reply, one: &Broken) -> bool {
    let body: Value = serde_json::from_str(&reply.text).unwrap_or_default();
    let pointers: Vec<&str> = body["errors"]
        .as_array()
        .into_iter()
        .flatten()
        .filter_map(|error| error["pointer"].as_str())
        .collect();
    let fits = |found: &str| match one.within_choice {
        true => one.pointer.starts_with(found),
        false => found == one.pointer,
    };
    (400..500).contains(&reply.status) && pointers.iter().any(|found| fits(found))
}

#[test]
fn every_documented_rule_of_a_query_is_kept_and_other_names_are_refused() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let own = own_ids(&app, &shop);
    let callers = Callers::of(&app, &shop);
    let mut tried = 0;
    for operation in operations() {
        let path = filled(&operation.path, &own);
        let ask = |query: &str| {
            let headers = [("content-type", "application/json"), condition(&operation)];
            callers.one_for(&operation).send(&operation.method, &format!("{path}?{query}"), &headers, b"")
        };
        if operation.path.starts_with("/v1/") && operation.method != "HEAD" {
            ask("no_such_parameter=1").problem(400, "bad_query");
        }
        for (name, schema) in operation.parameters("query") {
            for one in
                broken(schema, true).into_iter().filter(|one| !one.value.is_array() && one.pointer.is_empty())
            {
                // In a query every value is text.
                if one.rule == "type" && one.value == json!(5) {
                    continue;
                }
                let value = one.value.as_str().map_or_else(|| one.value.to_string(), str::to_owned);
                let reply = ask(&format!("{name}={}", value.replace(' ', "%20")));
                assert_eq!(reply.status, 400, "{} {name} {}: {}", operation.name(), one.rule, reply.text);
                tried += 1;
            }
        }
    }
    assert!(tried > 60, "only {tried} rules were broken");
}

/// Made from the document: a change of which it has no body takes none, of whatever kind and however it is sent.
#[test]
fn a_body_is_refused_where_the_document_has_none() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let own = own_ids(&app, &shop);
    let callers = Callers::of(&app, &shop);
    let sent = [
        ("content-type", "application/json", "{\"no_such_field\":1}"),
        ("content-type", "text/plain", "no_such_field"),
        ("transfer-encoding", "chunked", "[{}]"),
    ];
    let mut tried = 0;
    for operation in operations().iter().filter(|one| one.is_guarded() && one.body().is_none()) {
        if ["GET", "HEAD"].contains(&operation.method.as_str()) {
            continue;
        }
        let path = filled(&operation.path, &own);
        for (name, value, body) in sent {
            let headers = [(name, value), condition(operation)];
            let client = callers.one_for(operation);
            client.send(&operation.method, &path, &headers, body.as_bytes()).refused_at("", "no_body");
            tried += 1;
        }
    }
    assert!(tried >= 75, "only {tried} bodies were sent");
    let path = format!("/v1/webhooks/{}/test", own["webhooks"]);
    let test = |key, body: &str| {
        let headers = [("content-type", "application/json"), ("idempotency-key", key)];
        shop.owner.send("POST", &path, &headers, body.as_bytes())
    };
    test("something", "{\"a\":1}").refused_at("", "no_body");
    for (key, nothing) in [("a", ""), ("b", " \n"), ("c", "null"), ("d", "{ }")] {
        test(key, nothing).expect(202);
    }
}

/// Those who may use everything between them.
struct Callers {
    owner: Client,
    lead: Client,
    app: Client,
}

impl Callers {
    fn of(app: &TestApp, shop: &Shop) -> Callers {
        let (_, lead) = shop.hire(app, "lead", "lead@shine.test");
        let scopes = ["plans:read", "upkeep:read", "offers:write", "webhooks"];
        Callers { owner: shop.owner.clone(), lead, app: shop.partner(app, &scopes) }
    }

    fn one_for(&self, operation: &Operation) -> &Client {
        let own = |row: &&Row| (row.0, row.1) == (operation.method.as_str(), operation.path.as_str());
        match TABLE.iter().find(own).map(roles) {
            Some(roles) if roles.is_empty() => &self.app,
            Some(roles) if !roles.contains(&"owner") => &self.lead,
            _ => &self.owner,
        }
    }
}

/// What the operation asks to have seen.
pub fn condition(operation: &Operation) -> (&'static str, &'static str) {
    let needed = |name| operation.parameters("header").any(|(header, _)| header == name);
    match (needed("If-Match"), needed("If-None-Match")) {
        (false, true) if operation.method != "GET" => ("if-none-match", "*"),
        (true, true) => ("if-none-match", "*"),
        _ => WHATEVER,
    }
}

/// Something of each kind that has an address, so that a body is looked at.
pub fn own_ids(app: &TestApp, shop: &Shop) -> BTreeMap<&'static str, String> {
    let job = shop.ready_job(app);
    let webhook = json!({ "url": "https://example.com/", "events": ["job.changed"] });
    let webhook = shop.owner.post("/v1/webhooks", &webhook).expect(201);
    let template = tests::example("post", "/v1/message-templates");
    let ids = [
        ("message-templates", shop.owner.post("/v1/message-templates", &template).id()),
        ("people", job.technician_id.clone()),
        ("customers", job.customer.clone()),
        ("vehicles", job.vehicle.clone()),
        ("vans", job.van.clone()),
        ("jobs", job.id.clone()),
        ("partner-apps", shop.partner_app(&["webhooks"]).id),
        ("webhooks", webhook["webhook"]["id"].as_str().expect("an id").to_owned()),
    ];
    ids.into_iter().collect()
}

pub fn filled(path: &str, own: &BTreeMap<&'static str, String>) -> String {
    let of = own.iter().find(|(kind, _)| path.starts_with(&format!("/v1/{kind}/")));
    let id = of.map_or(NOBODY, |(_, id)| id.as_str());
    let path = path.replace("{id}", id).replace("{record}", NOBODY);
    path.replace("{date}", "2026-05-04").replace("{week}", "2026-W10").replace("{token}", "none")
}
