//! Logins: what is easily guessed is refused, and where one is logged in.

use serde_json::{Value, json};
use tests::{Client, TestApp};

#[test]
fn a_password_that_everybody_would_try_is_refused() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let (id, _) = shop.hire(&app, "technician", "tarvel@shine.test");
    let set = |password: &str| {
        shop.owner.put(&format!("/v1/people/{id}/password"), &json!({ "password": password }))
    };
    for weak in ["password1234", "qwertyuiop1", "tarvel-2026", "Shine-Shine-1"] {
        set(weak).refused_at("/password", "easily_guessed");
    }
    set("short").refused_at("/password", "out_of_range");
    set("kettle drum ash").expect(204);
}

#[test]
fn one_sees_where_one_is_logged_in_and_ends_it_there() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let other = app.log_in(shop.id, &shop.email);
    let (_, colleague) = shop.hire(&app, "technician", "t@shine.test");
    let logins =
        |client: &Client| client.get("/v1/me/logins").expect(200)["items"].as_array().expect("items").clone();
    let list = logins(&shop.owner);
    assert_eq!(list.len(), 2);
    assert_eq!(list.iter().filter(|login| login["current"] == true).count(), 1);
    assert!(list.iter().all(|login| login["address"] == "127.0.0.1"
        && login["client"].as_str().is_some_and(|client| client.starts_with("ureq"))));

    let path = |login: &Value| format!("/v1/me/logins/{}", login["id"].as_str().expect("an id"));
    let theirs = list.iter().find(|login| login["current"] == false).expect("the other");
    colleague.delete(&path(theirs)).problem(404, "not_found");
    shop.owner.delete(&path(theirs)).expect(204);
    shop.owner.delete(&path(theirs)).problem(404, "not_found");
    other.get("/v1/me").problem(401, "unauthenticated");
}
