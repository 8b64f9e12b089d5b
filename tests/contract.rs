//! The OpenAPI document: committed, served and routed are the same, and clients of the one before can use it.

use api::auth::access;
use serde_json::{Value, json};
use std::collections::BTreeSet;
use std::process::Command;
use tests::TestApp;
use tests::compatible::breaks;

#[test]
fn the_committed_document_is_the_served_one() {
    let app = TestApp::start();
    let served = app.client().get("/openapi.json");
    served.expect(200);
    let committed = include_str!("../openapi/openapi.json");
    assert!(served.text == committed, "run `cargo run -- openapi > openapi/openapi.json`");
}

#[test]
fn the_document_has_every_route_and_each_has_its_row_of_roles() {
    let documented = operations();
    let listed: BTreeSet<String> = include_str!("../api/src/routes/mod.rs")
        .lines()
        .filter(|line| line.contains(".service("))
        .map(|line| line.split_once("// ").expect("a comment with the route").1.trim().to_owned())
        .collect();
    assert_eq!(documented, listed);
    let rows = access::TABLE.iter().map(|row| format!("{} {}", row.0, row.1));
    let open = access::OPEN.iter().map(|(method, path)| format!("{method} {path}"));
    let ruled: Vec<String> = rows.chain(open).collect();
    assert_eq!(documented, ruled.iter().cloned().collect());
    assert_eq!(documented.len(), ruled.len(), "a route has two rows");
}

#[test]
fn every_operation_has_its_own_id_and_every_reference_leads_somewhere() {
    let document = document();
    assert!(document["openapi"].as_str().is_some_and(|version| version.starts_with("3.1")));
    let mut ids = BTreeSet::new();
    for operation in document["paths"]
        .as_object()
        .expect("paths")
        .values()
        .flat_map(|item| item.as_object().expect("an item").values())
    {
        let id = operation["operationId"].as_str().expect("an operationId");
        assert!(ids.insert(id.to_owned()), "{id} is there twice");
        assert!(
            operation["summary"].is_string() || operation["description"].is_string(),
            "{id} says nothing"
        );
    }
    let text = document.to_string();
    let mut references = 0;
    for reference in text.split("\"$ref\":\"#").skip(1) {
        let pointer = reference.split('"').next().expect("an end");
        assert!(document.pointer(pointer).is_some(), "{pointer} leads nowhere");
        references += 1;
    }
    assert!(references > 50);
    assert!(!text.contains("\"nullable\""), "3.1 writes null as a type");
}

#[test]
fn the_documentation_page_needs_no_network() {
    let app = TestApp::start();
    let client = app.client();
    assert_eq!(client.get("/docs").header("location"), "/docs/");
    let page = client.get("/docs/");
    assert_eq!(page.status, 200);
    assert!(!page.text.contains("http://") && !page.text.contains("https://"), "{}", page.text);
    let files: Vec<&str> =
        page.text.split("\"./").skip(1).filter_map(|rest| rest.split('"').next()).collect();
    assert!(files.len() >= 4, "{files:?}");
    for file in files {
        let reply = client.send("GET", &format!("/docs/{file}"), &[], &[]);
        assert_eq!(reply.status, 200, "{file}");
        // Style sheets load nothing but what they carry in themselves.
        let elsewhere = reply
            .text
            .split("url(")
            .skip(1)
            .find(|to| !to.trim_start_matches(['"', '\'']).starts_with("data:"));
        assert!(!file.ends_with(".css") || elsewhere.is_none(), "{file}: {elsewhere:?}");
    }
    // What the page is told to load: our own document, and nobody to judge it.
    let told = client.get("/docs/swagger-initializer.js").text;
    assert!(told.contains("\"/openapi.json\"") && told.contains("\"validatorUrl\": \"none\""), "{told}");
    assert!(!told.contains("://"), "{told}");
}

/// Within /v1 nothing is taken away. What the document before was, git tells: the last one on the main line that differs,
/// or that of the commit that `LUSTRUM_API_SINCE` names. Beside it stands what was broken on purpose, with the reason.
#[test]
fn clients_of_the_document_before_can_use_this_one() {
    let Some(before) = document_before() else { return };
    let meant: Vec<&str> = include_str!("../openapi/broken-on-purpose.txt")
        .lines()
        .filter(|line| !line.is_empty() && !line.starts_with('#'))
        .collect();
    let mut found = breaks(&before, &document());
    found.retain(|one| !meant.contains(&one.as_str()));
    assert!(found.is_empty(), "clients would break:\n{}", found.join("\n"));
}

fn document_before() -> Option<Value> {
    let git = |arguments: &[&str]| {
        let told = Command::new("git").args(arguments).current_dir(env!("CARGO_MANIFEST_DIR")).output();
        String::from_utf8(told.expect("git runs").stdout).expect("text")
    };
    let at = |commit: &str| git(&["show", &format!("{commit}:openapi/openapi.json")]);
    let text = match std::env::var("LUSTRUM_API_SINCE") {
        Ok(commit) => at(&commit),
        Err(_) => {
            let current = include_str!("../openapi/openapi.json");
            let commits = git(&["log", "--first-parent", "--format=%H", "--", ":/openapi/openapi.json"]);
            commits.lines().map(at).find(|text| text != current)?
        }
    };
    Some(serde_json::from_str(&text).expect("a document"))
}

const POST: &str = "/paths/~1v1~1things~1{id}/post";
const SENT: &str = "/requestBody/content/application~1json/schema";
const ANSWERED: &str = "/responses/200/content/application~1json/schema";

/// The comparison sees each kind of break, at its place.
#[test]
fn a_break_is_seen() {
    let (before, place, sent, answered) = (small_document(), POST, SENT, ANSWERED);
    assert_eq!(breaks(&before, &before), Vec::<String>::new());
    let cases = [
        ("", "responses", json!({}), "200 is gone"),
        ("", "operationId", json!("alter_thing"), "has another operationId"),
        ("", "x-roles", json!(["owner"]), "is closed to \"lead\""),
        ("", "security", json!([{ "person": [] }]), "is closed to {\"partner_app\":[\"plans:read\"]}"),
        ("", "parameters", json!([]), "limit is gone"),
        ("/parameters/0", "required", json!(true), "limit is needed"),
        ("/parameters/0/schema", "maximum", json!(100), "limit has a lower maximum"),
        ("/requestBody", "required", json!(true), "needs a body"),
        ("/requestBody", "content", json!({}), "has no application/json any more"),
        (sent, "required", json!(["name", "kind"]), ".kind is needed"),
        (sent, "additionalProperties", json!(false), "refuses unknown fields"),
        (&format!("{sent}/properties/name"), "maxLength", json!(9), ".name has a lower maxLength"),
        (&format!("{sent}/properties/name"), "minLength", json!(2), ".name has a higher minLength"),
        (&format!("{sent}/properties/name"), "pattern", json!("^a"), ".name has another pattern"),
        (
            &format!("{sent}/properties/name"),
            "type",
            json!("integer"),
            ".name is {\"integer\"} and was {\"string\"}",
        ),
        (&format!("{sent}/properties/kind"), "enum", json!(["a", "c"]), ".kind does not take \"b\" any more"),
        (
            &format!("{sent}/properties/counts/additionalProperties"),
            "maximum",
            json!(5),
            ".counts.* has a lower maximum",
        ),
        (
            &format!("{sent}/properties/free"),
            "additionalProperties",
            json!({ "type": "string" }),
            ".free.* is {\"string\"} and was {}",
        ),
        (answered, "required", json!(["name"]), "200.kind may be missing"),
        (
            &format!("{answered}/properties/counts/additionalProperties"),
            "type",
            json!("string"),
            "200.counts.* is {\"string\"} and was {\"integer\"}",
        ),
        (
            &format!("{answered}/properties/counts"),
            "additionalProperties",
            json!(true),
            "200.counts.* is {} and was {\"integer\"}",
        ),
        (
            &format!("{answered}/properties/name"),
            "type",
            json!(["string", "null"]),
            "200.name is {\"null\", \"string\"}",
        ),
        (&format!("{answered}/properties/list/items"), "format", json!("uuid"), "200.list[] has the format"),
        ("/responses/200", "content", json!({ "text/csv": {} }), "200 has no application/json any more"),
    ];
    for (below, name, value, expected) in cases {
        let mut after = before.clone();
        after.pointer_mut(&format!("{place}{below}")).expect("a place")[name] = value;
        let found = breaks(&before, &after);
        assert!(
            found.iter().any(|one| one.starts_with("POST /v1/things/{id}") && one.contains(expected)),
            "{name}: {found:?} without {expected}"
        );
    }
    for (below, gone) in [(sent, "kind"), (answered, "name")] {
        let mut after = before.clone();
        let fields = after.pointer_mut(&format!("{place}{below}/properties")).expect("fields");
        fields.as_object_mut().expect("fields").remove(gone);
        assert!(
            breaks(&before, &after).iter().any(|one| one.ends_with(&format!(".{gone} is gone"))),
            "{gone}"
        );
    }
    assert_eq!(breaks(&before, &json!({ "paths": {} })), ["POST /v1/things/{id} is gone"]);
}

#[test]
fn growth_is_no_break() {
    let (before, place, sent, answered) = (small_document(), POST, SENT, ANSWERED);
    for (below, name, value) in [
        ("", "description", json!("Other words")),
        ("", "x-roles", json!(["owner", "lead", "technician"])),
        ("/parameters/0/schema", "maximum", json!(500)),
        ("/responses", "201", json!({ "description": "Made" })),
        (&format!("{sent}/properties"), "more", json!({ "type": "string" })),
        (&format!("{sent}/properties/kind"), "enum", json!(["a", "b", "c"])),
        (&format!("{sent}/properties/name"), "type", json!(["string", "null"])),
        (&format!("{sent}/properties/counts/additionalProperties"), "maximum", json!(50)),
        (&format!("{sent}/properties/counts"), "additionalProperties", json!(true)),
        (&format!("{answered}/properties"), "more", json!({ "type": "string" })),
        (&format!("{answered}/properties/counts/additionalProperties"), "maximum", json!(50)),
        (&format!("{answered}/properties/free"), "additionalProperties", json!({ "type": "string" })),
        (&format!("{answered}/properties/kind"), "enum", json!(["a", "b", "c"])),
    ] {
        let mut after = before.clone();
        after.pointer_mut(&format!("{place}{below}")).expect("a place")[name] = value;
        assert_eq!(breaks(&before, &after), Vec::<String>::new(), "{below} {name}");
    }
}

fn small_document() -> Value {
    let thing = json!({ "type": "object", "required": ["name"], "properties": {
        "name": { "type": "string", "minLength": 1, "maxLength": 10 },
        "kind": { "type": "string", "enum": ["a", "b"] },
        "counts": { "type": "object", "additionalProperties": { "type": "integer", "maximum": 10 } },
        "free": { "type": "object" } } });
    let mut answer = thing.clone();
    answer["required"] = json!(["name", "kind"]);
    answer["properties"]["list"] = json!({ "type": "array", "items": { "type": "string" } });
    json!({ "paths": { "/v1/things/{id}": { "post": {
        "operationId": "change_thing", "x-roles": ["owner", "lead"],
        "parameters": [{ "name": "limit", "in": "query", "schema": { "type": "integer", "maximum": 200 } }],
        "security": [{ "person": [] }, { "partner_app": ["plans:read"] }],
        "requestBody": { "required": false, "content": { "application/json": { "schema": thing } } },
        "responses": { "200": { "content": { "application/json": { "schema": answer } } } }
    } } } })
}

fn operations() -> BTreeSet<String> {
    let document = document();
    let paths = document["paths"].as_object().expect("paths");
    let methods = paths.iter().flat_map(|(path, item)| {
        item.as_object()
            .expect("an item")
            .keys()
            .map(move |method| format!("{} {path}", method.to_uppercase()))
    });
    methods.collect()
}

fn document() -> Value {
    api::openapi::document().clone()
}
