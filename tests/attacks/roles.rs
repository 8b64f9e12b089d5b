//! Attacks 26 to 28: doing, setting and seeing what a role may not. The table of the document, cell by cell.

use api::auth::access;
use serde_json::{Value, json};
use std::collections::BTreeMap;
use tests::schema::{NOBODY, Operation, operations};
use tests::{Client, Shop, TestApp, WHATEVER};

const ROLES: [&str; 4] = ["owner", "dispatcher", "lead", "technician"];

/// Every role, a partner app with each scope, and nobody, at every operation: open or closed as the document says.
#[test]
fn attack_26_every_operation_in_every_role() {
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
fn attack_27_patches_of_what_makes_a_row_what_it_is() {
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

/// Made from the document: what a technician is not sent to they do not see, not in any list, and nobody sees a secret.
#[test]
fn attack_28_fields_that_a_role_may_not_see() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let job = shop.ready_job(&app);
    shop.owner.post(&job.path("plan"), &Value::Null).expect(201);
    let foreign = somebody_elses_job(&app, &shop);
    let partner = shop.partner_app(&["plans:read"]);
    let hook = json!({ "url": "https://localhost:1024/", "events": ["job.changed"] });
    let hook =
        shop.owner.post("/v1/webhooks", &hook).expect(201)["secret"].as_str().expect("text").to_owned();
    let near = json!({ "kind": "chemical", "what": "labels alike", "happened_on": "2026-05-04" });
    shop.owner.post("/v1/near-misses", &near).expect(201);
    let secrets = [partner.secret.as_str(), &hook, "argon2", "password_hash", "secret_hash"];
    let (mut of_technician, mut of_owner) = (0, 0);
    for operation in operations().iter().filter(|one| one.method == "GET" && one.is_guarded()) {
        let query = if operation.path == "/v1/rounds" { "?date=2026-05-04" } else { "" };
        for ids in [[&job.id, &job.vehicle, &job.customer], [&foreign[0], &foreign[1], &foreign[2]]] {
            let kinds = ["/v1/jobs/", "/v1/vehicles/", "/v1/customers/"];
            let id =
                kinds.iter().position(|kind| operation.path.starts_with(kind)).map_or(NOBODY, |at| ids[at]);
            let path = operation.path.replace("{id}", id).replace("{date}", "2026-05-04") + query;
            let seen = job.technician.get(&path);
            assert!(!seen.text.contains("canary"), "a technician: {} {}", seen.asked, seen.text);
            of_technician += usize::from(seen.status == 200);
            let seen = shop.owner.get(&path);
            for secret in secrets {
                assert!(!seen.text.contains(secret), "{secret}: {} {}", seen.asked, seen.text);
            }
            let told_by =
                operation.path == "/v1/near-misses" && seen.text.contains(&shop.owner_id.to_string());
            assert!(!told_by, "who told a near miss is shown to nobody: {}", seen.text);
            of_owner += usize::from(seen.text.contains("canary"));
        }
    }
    assert!(of_technician > 25 && of_owner > 8, "{of_technician} and {of_owner}");
}

/// A job that another technician does, with words that only who is sent there should read: ids of the job, its vehicle
/// and its customer.
fn somebody_elses_job(app: &TestApp, shop: &Shop) -> [String; 3] {
    let who = json!({ "name": "canary name", "phone": "canary phone", "email": "canary@client.test",
        "note": "canary note", "site": { "access_note": "canary gate" } });
    let customer = shop.owner.post("/v1/customers", &who).id();
    let mut car = tests::estate(&customer);
    car["label"] = json!("canary label");
    car["registration"] = json!("canary plate");
    let vehicle = shop.owner.post("/v1/vehicles", &car).id();
    let mut wish = tests::booking(&vehicle);
    wish["note"] = json!("canary job");
    let job = shop.owner.post("/v1/jobs", &wish).id();
    let (colleague, _) = shop.hire(app, "technician", "colleague@shine.test");
    let to = json!({ "van": null, "start_at": "2026-05-04T08:00:00Z", "technicians": [colleague] });
    shop.owner.put(&format!("/v1/jobs/{job}/assignment"), &to).expect(200);
    [job, vehicle, customer]
}

/// Whatever an app asks for: no telephone, no way in, no remark of the office, nobody's name.
#[test]
fn attack_28_what_a_partner_app_may_not_see() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let job = shop.ready_job(&app);
    let secrets = [
        "canary-phone-4711",
        "canary-gate-0815",
        "canary-note",
        "canary-job",
        "Canary Client",
        "canary@client.test",
    ];
    let before = shop.owner.get(&format!("/v1/customers/{}", job.customer)).expect(200);
    let mut site = before["site"].clone();
    site["access_note"] = json!(secrets[1]);
    let customer = json!({ "phone": secrets[0], "site": site, "note": secrets[2], "name": secrets[4], "email": secrets[5] });
    shop.owner.patch(&format!("/v1/customers/{}", job.customer), &customer).expect(200);
    shop.owner.patch(&format!("/v1/jobs/{}", job.id), &json!({ "note": secrets[3] })).expect(200);
    shop.owner.post(&job.path("plan"), &Value::Null).expect(201);
    let all = ["plans:read", "upkeep:read", "offers:write", "webhooks"];
    let partner = shop.partner(&app, &all);
    let proposal = json!({ "vehicle": job.vehicle, "package": "P2", "note": "Bay 4",
        "window_from": "2026-05-11T08:00:00Z", "window_to": "2026-05-11T10:00:00Z" });
    let proposed = partner.post("/v1/bookings", &proposal).id();
    shop.owner.post(&format!("/v1/bookings/{proposed}/accept"), &Value::Null).expect(200);
    let feed = partner.post("/v1/calendar-feeds", &json!({ "details": true })).expect(201);
    let url = feed["url"].as_str().expect("an address");
    let calendar = url[url.find("/calendars").expect("a path")..].to_owned();
    let mut read = 0;
    for row in api::auth::access::TABLE.iter().filter(|row| row.0 == "GET" && row.3.is_some()) {
        let id = if row.1.starts_with("/v1/jobs") {
            &job.id
        } else if row.1.starts_with("/v1/vehicles") {
            &job.vehicle
        } else {
            &proposed
        };
        let reply = partner.get(&row.1.replace("{id}", id));
        for secret in secrets {
            assert!(!reply.text.contains(secret), "{} tells {secret}", reply.asked);
        }
        read += usize::from(reply.status == 200);
    }
    assert!(read >= 9, "{read}");
    let reply = app.client().get(&calendar);
    assert_eq!(reply.status, 200);
    assert!(
        reply.text.contains("grey estate") && !secrets.iter().any(|secret| reply.text.contains(secret)),
        "{}",
        reply.text
    );
    let sheet = partner.send("GET", &job.path("plan"), &[("accept", "text/html")], &[]);
    sheet.problem(403, "forbidden");
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
