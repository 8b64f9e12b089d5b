//! Attacks 42 and 44 to 46: on what is kept. The log, replies for repeated requests, the order of time, the audit log.

use api::db::Location;
use chrono::TimeDelta;
use diesel::connection::SimpleConnection;
use diesel::{Connection, PgConnection, SqliteConnection};
use serde_json::{Value, json};
use tests::delivered::Serving;
use tests::{Client, PASSWORD, PartnerApp, Place, Reply, Shop, TestApp};

/// At its most talkative the log still holds no password, no token and no secret address; nor does any error.
#[test]
fn attack_42_secrets_in_logs_errors_and_metrics() {
    let place = Place::ready();
    let serving = Serving::start(&place, "trace");
    let client = &serving.client;
    let form = |password: &str| json!({ "shop": serving.shop, "email": "o@x.test", "password": password });
    let refused = client.post("/v1/login", &form("canary wrong guess"));
    refused.problem(401, "unauthenticated");
    let tokens = client.post("/v1/login", &form(PASSWORD)).expect(200);
    let text = |value: &Value| value.as_str().expect("text").to_owned();
    let owner = client.with_token(&text(&tokens["access_token"]));
    let app = owner.post("/v1/partner-apps", &json!({ "name": "Fleet", "scopes": ["webhooks"] })).expect(201);
    let (id, secret) = (text(&app["client_id"]), text(&app["client_secret"]));
    let form = format!("grant_type=client_credentials&client_id={id}&client_secret={secret}");
    let token = text(&client.form("/oauth/token", &form).expect(200)["access_token"]);
    let hook = json!({ "url": "https://localhost:1024/canary-path", "events": ["job.changed"] });
    let hook = owner.post("/v1/webhooks", &hook).expect(201);
    owner.post(&format!("/v1/webhooks/{}/test", text(&hook["webhook"]["id"])), &Value::Null).expect(202);
    let calendar = text(&owner.post("/v1/calendar-feeds", &json!({})).expect(201)["url"]);
    let calendar = calendar[calendar.find("/calendars").expect("a path")..].to_owned();
    assert_eq!(client.get(&calendar).status, 200);
    let errors = [
        refused,
        client.with_token(&format!("{token}x")).get("/v1/webhooks"),
        client.form("/oauth/token", &form.replace("client_id", "client")),
        client.form("/oauth/token", &format!("{form}canary")),
        client.get(&format!("{calendar}canary")),
        client.post(
            "/v1/token",
            &json!({ "refresh_token": format!("{}canary", text(&tokens["refresh_token"])) }),
        ),
        owner.put("/v1/me/password", &json!({ "current": "canary wrong", "new": "kettle drum ash" })),
        owner.post("/v1/login", &json!({ "password": "canary wrong" })),
        client.get("/metrics"),
    ];
    let log = serving.stop();
    assert!(log.contains("POST /oauth/token") && log.contains("GET /calendars/"), "it is the log: {log}");
    let capability = calendar.rsplit('.').next().expect("a secret");
    for canary in [
        "canary",
        PASSWORD,
        &text(&tokens["access_token"]),
        &text(&tokens["refresh_token"]),
        &secret,
        &token,
        &text(&hook["secret"]),
        capability,
    ] {
        assert!(!log.contains(canary), "{canary} is in the log");
        for error in &errors {
            assert!(error.status >= 400 && !error.text.contains(canary), "{}: {}", error.asked, error.text);
        }
    }
}

/// A reply is kept for whoever made the request, and for nobody who knows its key.
#[test]
fn attack_44_an_idempotency_key_of_somebody_else() {
    let app = TestApp::shared();
    let (ours, theirs) = (app.shop("Shine"), app.shop("Gleam"));
    let (_, dispatcher) = ours.hire(&app, "dispatcher", "d@shine.test");
    let post = |client: &Client, path: &str, body: &Value| -> Reply {
        let headers = [("content-type", "application/json"), ("idempotency-key", "a-key-that-leaked")];
        client.send("POST", path, &headers, body.to_string().as_bytes())
    };
    let body = json!({ "name": "Fleet", "scopes": ["offers:write", "webhooks"] });
    let first = post(&ours.owner, "/v1/partner-apps", &body);
    let made = first.expect(201);
    let text = |field: &str| made[field].as_str().expect("text").to_owned();
    assert_eq!(post(&ours.owner, "/v1/partner-apps", &body).text, first.text, "it is kept");
    let other = post(&theirs.owner, "/v1/partner-apps", &body).expect(201);
    assert_ne!((&other["app"]["id"], &other["client_secret"]), (&made["app"]["id"], &made["client_secret"]));
    post(&dispatcher, "/v1/partner-apps", &body).problem(403, "forbidden");
    post(&app.client(), "/v1/partner-apps", &body).problem(401, "unauthenticated");
    let ended = app.client_with(&format!("{}x", ours.owner.token()));
    post(&ended, "/v1/partner-apps", &body).problem(401, "unauthenticated");
    // Nor for the same person once their login has ended.
    let again = app.log_in(ours.id, &ours.email);
    assert_eq!(post(&again, "/v1/partner-apps", &body).text, first.text);
    let login = again.get("/v1/me/logins").expect(200)["items"][0]["id"].clone();
    again.delete(&format!("/v1/me/logins/{}", login.as_str().expect("an id"))).expect(204);
    post(&again, "/v1/partner-apps", &body).problem(401, "unauthenticated");
    // Two apps of one shop, and a person beside them.
    let partner = PartnerApp {
        id: made["app"]["id"].as_str().expect("an id").to_owned(),
        client_id: text("client_id"),
        secret: text("client_secret"),
    };
    let hook = json!({ "url": "https://localhost:1024/", "events": ["job.changed"] });
    let by_app = post(&partner.log_in(&app), "/v1/webhooks", &hook).expect(201);
    for other in [&ours.partner(&app, &["webhooks"]), &ours.owner] {
        assert_ne!(post(other, "/v1/webhooks", &hook).expect(201)["secret"], by_app["secret"]);
    }
}

/// Of two replicas one is an hour behind: nothing that was ended comes back, nothing happens twice, and what one of them
/// signs the other does not take for of today.
#[test]
fn attack_45_a_replica_whose_clock_is_an_hour_behind() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let behind = app.replica(-TimeDelta::hours(1));
    let late = behind.log_in(shop.id, &shop.email);
    behind.client_with(shop.owner.token()).get("/v1/me").problem(401, "unauthenticated");
    app.client_with(late.token()).get("/v1/me").problem(401, "unauthenticated");
    late.get("/v1/me").expect(200);

    // Ended there is ended here: a login, a person, a refresh token that was used.
    let refresh =
        |at: &TestApp, token: &Value| at.client().post("/v1/token", &json!({ "refresh_token": token }));
    let first = super::logins::tokens(&app, &shop);
    let second = refresh(&behind, &first["refresh_token"]).expect(200);
    let third = refresh(&app, &second["refresh_token"]).expect(200);
    refresh(&behind, &first["refresh_token"]).problem(401, "unauthenticated");
    refresh(&app, &third["refresh_token"]).problem(401, "unauthenticated");
    let here = super::logins::tokens(&behind, &shop);
    app.client().post("/v1/logout", &json!({ "refresh_token": here["refresh_token"] })).expect(204);
    let ended = behind.client_with(here["access_token"].as_str().expect("a token"));
    ended.get("/v1/me").problem(401, "unauthenticated");
    let partner = shop.partner_app(&["webhooks"]);
    let token = partner.token(&behind);
    behind.client_with(&token).get("/v1/webhooks").expect(200);
    shop.owner.post(&format!("/v1/partner-apps/{}/disable", partner.id), &Value::Null).expect(200);
    behind.client_with(&token).get("/v1/webhooks").problem(401, "unauthenticated");

    // Once is once, whoever is asked again.
    let post = |client: &Client| {
        let headers = [("content-type", "application/json"), ("idempotency-key", "once")];
        client.send("POST", "/v1/customers", &headers, b"{\"name\":\"Once\"}")
    };
    assert_eq!(post(&shop.owner).id(), post(&late).id());
    super::logins::fail(&app, &shop, &shop.email, "127.0.0.1", 5);
    let slowed = super::logins::attempt(&behind, &shop, PASSWORD, "");
    slowed.problem(429, "too_many_requests");
    assert_eq!(slowed.header("retry-after"), "30", "and no longer than by one clock");

    // Changes at both make one chain and one list.
    for nth in 0..6 {
        let by = if nth % 2 == 0 { &late } else { &shop.owner };
        by.post("/v1/customers", &json!({ "name": format!("A{nth}") })).expect(201);
    }
    for client in [&late, &shop.owner] {
        assert_eq!(client.get("/v1/audit/state").expect(200)["whole"], true);
        let (mut seen, mut next) = (0, Some("/v1/customers?limit=2".to_owned()));
        while let Some(path) = next {
            let page = client.get(&path).expect(200);
            seen += page["items"].as_array().expect("items").len();
            let cursor = page["next_cursor"].as_str();
            next = cursor.map(|cursor| format!("/v1/customers?limit=2&cursor={cursor}"));
        }
        assert_eq!(seen, 7);
    }
    one_mail_from_two(&app, &behind, &shop);
}

/// A reminder that is due by both clocks goes out once.
fn one_mail_from_two(app: &TestApp, behind: &TestApp, shop: &Shop) {
    let customer = json!({ "name": "Mia", "email": "mia@customer.test" });
    let customer = shop.owner.post("/v1/customers", &customer).id();
    let consent =
        json!({ "channel": "mail", "purpose": "appointment", "given": true, "source": "signed form" });
    shop.owner.post(&format!("/v1/customers/{customer}/consents"), &consent).expect(201);
    let window = json!({ "vehicle": shop.vehicle(&customer), "package": "P2",
        "window_from": "2026-05-07T10:00:00Z", "window_to": "2026-05-07T14:00:00Z" });
    shop.owner.post("/v1/jobs", &window).expect(201);
    for replica in [app, behind] {
        replica.advance(TimeDelta::hours(28));
        replica.run_tasks();
    }
    behind.advance(TimeDelta::hours(1));
    behind.run_tasks();
    app.run_tasks();
    assert_eq!(app.mail().len(), 1);
}

/// What somebody with access to the database does.
fn tamper(app: &TestApp, statements: &str) {
    let off = "DROP TRIGGER audit_entry_kept";
    match app.app.database.location() {
        Location::Sqlite(file) => {
            let mut conn = SqliteConnection::establish(&file.to_string_lossy()).expect("it opens");
            conn.batch_execute("PRAGMA busy_timeout = 5000").expect("patience");
            conn.batch_execute(&format!("{off}; DROP TRIGGER audit_entry_not_deleted; {statements}"))
                .expect("done");
        }
        Location::Postgres(_) => {
            let Location::Postgres(owner) = app.place.owner() else { panic!("a server") };
            let mut conn = PgConnection::establish(&owner).expect("it opens");
            conn.batch_execute(&format!("SET lustrum.shop = '*'; {off} ON audit_entry; {statements}"))
                .expect("done");
        }
    }
}

/// Whether somebody who may change the rows of a shop is stopped.
fn refuses(app: &TestApp, shop: &Shop, statement: &str) -> bool {
    match app.app.database.location() {
        Location::Sqlite(file) => {
            let mut conn = SqliteConnection::establish(&file.to_string_lossy()).expect("it opens");
            conn.batch_execute(&format!("PRAGMA busy_timeout = 5000; {statement}")).is_err()
        }
        Location::Postgres(url) => {
            let mut conn = PgConnection::establish(url).expect("it opens");
            conn.batch_execute(&format!("SET lustrum.shop = '{}'; {statement}", shop.id)).is_err()
        }
    }
}

#[test]
fn attack_46_an_audit_entry_edited_or_deleted() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    (0..6).for_each(|nth| drop(shop.customer(&format!("A{nth}"))));
    let state = |shop: &Shop| shop.owner.get("/v1/audit/state").expect(200);
    let whole = state(&shop);
    assert_eq!((&whole["whole"], &whole["entries"]), (&json!(true), &json!(8)));
    let own = format!("shop = '{}'", shop.id);
    assert!(refuses(
        &app,
        &shop,
        &format!("UPDATE audit_entry SET subject = 'x' WHERE {own} AND number = 4")
    ));
    assert!(refuses(&app, &shop, &format!("DELETE FROM audit_entry WHERE {own} AND number = 4")));
    assert!(refuses(&app, &shop, "DELETE FROM audit_entry"));
    let another = "INTO audit_entry SELECT shop, number, at, by_kind, by_id, operation, 'x', request, hash \
        FROM audit_entry WHERE number = 4";
    if tests::on_postgres() {
        // Neither who serves nor who owns the tables empties this one.
        assert!(refuses(&app, &shop, "TRUNCATE audit_entry"));
        let Location::Postgres(owner) = app.place.owner() else { panic!("a server") };
        let mut owner = PgConnection::establish(&owner).expect("it opens");
        let refused = owner.batch_execute("TRUNCATE audit_entry").expect_err("a refusal").to_string();
        assert!(refused.contains("never changed or deleted"), "{refused}");
        assert!(refuses(&app, &shop, &format!("INSERT {another}")));
    } else {
        // What SQLite deletes to make room calls no trigger of deleting.
        assert!(refuses(&app, &shop, &format!("INSERT OR REPLACE {another}")));
    }
    assert_eq!(state(&shop), whole);

    tamper(&app, &format!("UPDATE audit_entry SET subject = '/v1/else' WHERE {own} AND number = 4"));
    let told = state(&shop);
    assert_eq!((&told["whole"], &told["fault"]), (&json!(false), &json!("entry 4 was changed")));
    for (statement, fault) in [
        ("DELETE FROM audit_entry WHERE {own} AND number = 4", "entry 4 is missing"),
        ("DELETE FROM audit_entry WHERE {own} AND number >= 4", "entry 4 is missing"),
        ("UPDATE audit_head SET number = 3 WHERE {own}", "the head was changed"),
    ] {
        let connection = statement.replace("{own}", &own);
        assert!(!refuses(&app, &shop, &connection), "nothing guards it now");
        assert_eq!(state(&shop)["fault"], json!(fault), "{statement}");
    }
    let other = app.shop("Gleam");
    assert_eq!(state(&other)["whole"], true);
}
