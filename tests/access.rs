//! Who gets in, for how long, and what they may not see.

use serde_json::{Value, json};
use tests::{PASSWORD, TestApp};

#[test]
fn logging_out_and_being_disabled_take_effect_at_once() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let (id, _) = shop.hire(&app, "dispatcher", "d@shine.test");
    let login = json!({ "shop": shop.id, "email": "d@shine.test", "password": PASSWORD });
    let log_in = || app.client().post("/v1/login", &login);
    let tokens = log_in().expect(200);
    let dispatcher = app.client_with(tokens["access_token"].as_str().expect("a token"));
    dispatcher.get("/v1/customers").expect(200);
    app.client().post("/v1/logout", &json!({ "refresh_token": tokens["refresh_token"] })).expect(204);
    dispatcher.get("/v1/customers").problem(401, "unauthenticated");

    shop.owner.post(&format!("/v1/people/{id}/disable"), &Value::Null).expect(200);
    log_in().problem(401, "unauthenticated");
    shop.owner.post(&format!("/v1/people/{id}/enable"), &Value::Null).expect(200);
    dispatcher.get("/v1/customers").problem(401, "unauthenticated");
    log_in().expect(200);

    let owner = format!("/v1/people/{}", shop.owner_id);
    shop.owner.post(&format!("{owner}/disable"), &Value::Null).problem(409, "last_owner");
    shop.owner.patch(&owner, &json!({ "role": "lead" })).problem(409, "last_owner");
    shop.owner.get("/v1/me").expect(200);
}

#[test]
fn roles_open_and_close_routes() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let (_, dispatcher) = shop.hire(&app, "dispatcher", "d@shine.test");
    let (_, lead) = shop.hire(&app, "lead", "l@shine.test");
    let (technician_id, technician) = shop.hire(&app, "technician", "t@shine.test");
    let customer = shop.customer("A");
    let job = shop.job(&shop.vehicle(&customer));

    dispatcher.post("/v1/customers", &json!({ "name": "B" })).expect(201);
    lead.post("/v1/customers", &json!({ "name": "C" })).problem(403, "forbidden");
    dispatcher.get("/v1/partner-apps").problem(403, "forbidden");
    dispatcher.patch("/v1/shop", &json!({ "name": "Mine" })).problem(403, "forbidden");
    technician.get("/v1/customers").problem(403, "forbidden");

    let own = [
        format!("/v1/jobs/{job}"),
        format!("/v1/customers/{customer}"),
        format!("/v1/customers/{customer}/vehicles"),
    ];
    for path in &own {
        technician.get(path).problem(404, "not_found");
        lead.get(path).expect(200);
    }
    assert_eq!(technician.get("/v1/jobs").expect(200)["items"], json!([]));
    let assignment = json!({ "van": null, "start_at": null, "technicians": [technician_id] });
    shop.owner.put(&format!("/v1/jobs/{job}/assignment"), &assignment).expect(200);
    for path in &own {
        technician.get(path).expect(200);
    }
    assert_eq!(technician.get("/v1/jobs").expect(200)["items"][0]["id"], json!(job));
    let foreign = format!("/v1/jobs?technician={}", shop.owner_id);
    technician.get(&foreign).problem(403, "forbidden");
}

#[test]
fn partner_apps_get_what_their_scopes_allow() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let made = shop
        .owner
        .post("/v1/partner-apps", &json!({ "name": "Fleet", "scopes": ["plans:read", "webhooks"] }));
    let made = made.expect(201);
    let (id, secret) =
        (made["client_id"].as_str().expect("id"), made["client_secret"].as_str().expect("secret"));
    let ask = |secret: &str, more: &str| {
        let form = format!("grant_type=client_credentials&client_id={id}&client_secret={secret}{more}");
        app.client().form("/oauth/token", &form)
    };
    let token = ask(secret, "").expect(200);
    assert_eq!(token["scope"], "plans:read webhooks");
    assert_eq!(ask(secret, "&scope=plans%3Aread").expect(200)["scope"], "plans:read");
    assert_eq!(ask(secret, "&scope=upkeep%3Aread").problem(400, "invalid_scope")["error"], "invalid_scope");
    ask(secret, "&scope=everything").problem(400, "invalid_scope");
    ask("guessed", "").problem(401, "invalid_client");
    app.client().form("/oauth/token", "grant_type=password").problem(400, "unsupported_grant_type");
    app.client().form("/oauth/token", "grant_type=client_credentials").problem(400, "invalid_request");

    let partner = app.client_with(token["access_token"].as_str().expect("a token"));
    partner.get("/v1/customers").problem(403, "forbidden");
    let app_id = made["app"]["id"].as_str().expect("an id");
    shop.owner.post(&format!("/v1/partner-apps/{app_id}/disable"), &Value::Null).expect(200);
    ask(secret, "").problem(401, "invalid_client");
}
