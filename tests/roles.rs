//! Who may do what: the table of the document, cell by cell, against the server.

use api::auth::access;
use serde_json::{Value, json};
use std::collections::BTreeMap;
use tests::schema::{NOBODY, Operation, operations};
use tests::{Client, TestApp, WHATEVER};

const ROLES: [&str; 4] = ["owner", "dispatcher", "lead", "technician"];

/// Every role, a partner app with each scope, and nobody, at every operation: open or closed as the document says.
#[test]
fn every_cell_of_the_table_of_roles_is_as_documented() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let mut people = BTreeMap::from([("owner", shop.owner.clone())]);
    for role in &ROLES[1..] {
        people.insert(*role, shop.hire(&app, role, &format!("{role}@shine.test")).1);
    }
    let scopes = scopes();
    let apps: BTreeMap<&str, Client> =
        scopes.iter().map(|scope| (scope.as_str(), shop.partner(&app, &[scope.as_str()]))).collect();
    let mut cells = 0;
    for operation in operations().iter().filter(|one| one.is_guarded()) {
        let allowed: Vec<&str> =
            operation.of["x-roles"].as_array().expect("roles").iter().filter_map(Value::as_str).collect();
        for (role, client) in &people {
            let closed = is_closed(client, operation, "your role may not do this");
            assert_eq!(!closed, allowed.contains(role), "{role} at {}", operation.name());
            cells += 1;
        }
        let security = operation.of["security"].as_array().expect("security").iter();
        let granted: Vec<&Value> =
            security.filter_map(|one| one["partner_app"].as_array()).flatten().collect();
        for (scope, client) in &apps {
            let closed = is_closed(client, operation, "the scope of this app does not allow it");
            assert_eq!(!closed, granted.contains(&&json!(scope)), "{scope} at {}", operation.name());
            cells += 1;
        }
        assert_eq!(ask(&app.client(), operation).0, 401, "nobody at {}", operation.name());
    }
    assert!(cells > 600, "only {cells} cells");
}

/// The same table is printed in the document, with a word in every cell.
#[test]
fn the_table_of_roles_is_printed_whole() {
    let document = api::openapi::document();
    let text = document["info"]["description"].as_str().expect("a description");
    let rows: Vec<Vec<&str>> = text
        .lines()
        .filter(|line| line.starts_with("| `"))
        .map(|line| line.trim_matches('|').split('|').map(str::trim).collect())
        .collect();
    assert_eq!(rows.len(), access::TABLE.len());
    for row in rows {
        assert_eq!(row.len(), 2 + ROLES.len(), "{row:?}");
        let (method, path) = row[0].trim_matches('`').split_once(' ').expect("a route");
        let operation = &document["paths"][path][method.to_lowercase()];
        for (role, cell) in ROLES.iter().zip(&row[1..]) {
            let may = operation["x-roles"].as_array().is_some_and(|all| all.contains(&json!(role)));
            assert_eq!(*cell, if may { "yes" } else { "no" }, "{role} at {}", row[0]);
        }
    }
}

/// Nobody changes what is not theirs to set, in whatever role.
#[test]
fn what_makes_a_row_what_it_is_cannot_be_patched() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let job = shop.ready_job(&app);
    let paths = [
        format!("/v1/people/{}", job.technician_id),
        format!("/v1/customers/{}", job.customer),
        format!("/v1/vehicles/{}", job.vehicle),
        format!("/v1/vans/{}", job.van),
        format!("/v1/jobs/{}", job.id),
        "/v1/shop".to_owned(),
    ];
    for path in paths {
        let before = shop.owner.get(&path).expect(200);
        for field in [
            "shop",
            "id",
            "created_at",
            "rev",
            "price",
            "password_hash",
            "disabled_at",
            "status",
            "finished_at",
        ] {
            shop.owner.patch(&path, &json!({ field: "x" })).refused_at(&format!("/{field}"), "unknown_field");
            job.technician.patch(&path, &json!({ field: "x" })).problem(403, "forbidden");
        }
        job.technician.patch(&path, &json!({ "role": "owner" })).problem(403, "forbidden");
        assert_eq!(shop.owner.get(&path).expect(200), before);
    }
}

/// The scopes that the document knows.
fn scopes() -> Vec<String> {
    let flows = &api::openapi::document()["components"]["securitySchemes"]["partner_app"]["flows"];
    flows["clientCredentials"]["scopes"].as_object().expect("scopes").keys().cloned().collect()
}

fn is_closed(client: &Client, operation: &Operation, why: &str) -> bool {
    let (status, detail) = ask(client, operation);
    assert!(status != 401, "{} does not know the caller", operation.name());
    if operation.method == "HEAD" {
        // Its answers have no words.
        return status == 403;
    }
    status == 403 && detail == why
}

/// Asks about things that are not there, so that nothing is changed.
fn ask(client: &Client, operation: &Operation) -> (u16, String) {
    let path = operation.path.replace("{id}", NOBODY).replace("{record}", NOBODY);
    let path = path.replace("{date}", "2026-05-04").replace("{week}", "2031-W10");
    let kind = operation.body().map_or("application/json", |(kind, _)| kind);
    let reply =
        client.send(&operation.method, &path, &[("content-type", kind), WHATEVER], b"{\"no_such_field\":1}");
    let body: Value = serde_json::from_str(&reply.text).unwrap_or_default();
    (reply.status, body["detail"].as_str().unwrap_or_default().to_owned())
}
