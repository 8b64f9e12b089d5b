//! The audit log: what changed anything is in it, with the change or not at all; and it shows what was done to it.

use api::db::Location;
use diesel::connection::SimpleConnection;
use diesel::{Connection, PgConnection, SqliteConnection};
use serde_json::{Value, json};
use tests::{Shop, TestApp};

fn entries(shop: &Shop) -> Vec<Value> {
    shop.owner.get("/v1/audit?limit=200").expect(200)["items"].as_array().expect("items").clone()
}

fn operations(shop: &Shop) -> Vec<String> {
    entries(shop).iter().map(|entry| entry["operation"].as_str().expect("text").to_owned()).collect()
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
fn whoever_changes_something_is_named_and_whoever_fails_is_not() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let customer = shop.customer("Canary");
    let path = format!("/v1/customers/{customer}");
    let changed = shop.owner.patch(&path, &json!({ "phone": "canary-4711" }));
    changed.expect(200);
    shop.owner.patch(&path, &json!({ "email": "nobody" })).refused_at("/email", "not_an_email");
    shop.owner.get(&path).expect(200);
    let partner = shop.partner_app(&["webhooks"]);
    let hook = json!({ "url": "https://example.com/", "events": ["job.changed"] });
    partner.log_in(&app).post("/v1/webhooks", &hook).expect(201);
    let log = entries(&shop);
    assert_eq!(
        operations(&shop),
        [
            "POST /v1/webhooks",
            "POST /v1/partner-apps",
            "PATCH /v1/customers/{id}",
            "POST /v1/customers",
            "POST /v1/login",
            "create-shop",
        ]
    );
    assert_eq!((&log[0]["by_kind"], &log[0]["by_id"]), (&json!("app"), &json!(partner.id)));
    assert_eq!((&log[2]["by_kind"], &log[2]["by_id"]), (&json!("person"), &json!(shop.owner_id)));
    assert_eq!(
        (&log[2]["subject"], &log[2]["request"]),
        (&json!(path), &json!(changed.header("x-request-id")))
    );
    assert!(!json!(log).to_string().contains("anary"), "what was written is not repeated");
    let numbers: Vec<i64> = log.iter().map(|entry| entry["number"].as_i64().expect("a number")).collect();
    assert_eq!(numbers, [6, 5, 4, 3, 2, 1]);
    let (_, dispatcher) = shop.hire(&app, "dispatcher", "d@shine.test");
    dispatcher.get("/v1/audit").problem(403, "forbidden");
    let page = shop.owner.get("/v1/audit?limit=2").expect(200);
    let next = page["next_cursor"].as_str().expect("more");
    let next = shop.owner.get(&format!("/v1/audit?limit=2&cursor={next}")).expect(200);
    assert_eq!(
        next["items"][0]["number"].as_i64(),
        page["items"][1]["number"].as_i64().map(|number| number - 1)
    );
}

#[test]
fn an_entry_that_was_edited_or_deleted_shows() {
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

/// Changes at the same time make one chain without a gap.
#[test]
fn changes_at_the_same_time_take_turns_in_the_log() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    std::thread::scope(|scope| {
        for _ in 0..4 {
            scope.spawn(|| (0..5).for_each(|nth| drop(shop.customer(&format!("A{nth}")))));
        }
    });
    let state = shop.owner.get("/v1/audit/state").expect(200);
    assert_eq!((&state["whole"], &state["entries"]), (&json!(true), &json!(22)));
}
