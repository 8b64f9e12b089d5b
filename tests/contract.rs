//! The OpenAPI document: committed, served and routed are the same.

use api::auth::access;
use serde_json::Value;
use std::collections::BTreeSet;
use tests::TestApp;

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
