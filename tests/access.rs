//! Who gets in, for how long, and what they may not see.

use chrono::TimeDelta;
use jsonwebtoken::{Algorithm, EncodingKey, Header, encode};
use serde_json::{Value, json};
use tests::{PASSWORD, TestApp, base64url};

#[test]
fn a_login_needs_shop_address_and_password() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let other = app.shop("Gleam");
    let attempt = |shop: &str, email: &str, password: &str| {
        app.client().post("/v1/login", &json!({ "shop": shop, "email": email, "password": password }))
    };
    let id = shop.id.to_string();
    attempt(&id, &shop.email.to_uppercase(), PASSWORD).expect(200);
    let wrong = attempt(&id, &shop.email, "wrong password").problem(401, "unauthenticated");
    for (shop, email) in [
        (&id, "nobody@shine.test"),
        (&other.id.to_string(), shop.email.as_str()),
        (&"01890000-0000-7000-8000-000000000000".to_owned(), shop.email.as_str()),
    ] {
        let unknown = attempt(shop, email, PASSWORD).problem(401, "unauthenticated");
        assert_eq!(unknown["detail"], wrong["detail"], "nobody learns which part was wrong");
    }
}

/// Algorithms swapped, claims changed, signatures bent: a token is ours as it was signed, or it is nothing.
#[test]
fn a_token_is_taken_as_it_was_signed_or_not_at_all() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let token = shop.owner.token().to_owned();
    app.client_with(&token).get("/v1/me").expect(200);
    app.client().get("/v1/me").problem(401, "unauthenticated");
    let refused = |token: &str| drop(app.client_with(token).get("/v1/me").problem(401, "unauthenticated"));

    let claims = app.app.keys.verify(&token, app.clock.now()).expect("our own token");
    let header = |alg: &str| json!({ "typ": "at+jwt", "alg": alg, "kid": key_id(&token) });
    for alg in ["none", "None", "NONE", "nOnE"] {
        refused(&format!("{}.{}.", base64url(&header(alg)), base64url(&json!(claims))));
    }
    let mut forged = Header::new(Algorithm::HS256);
    forged.typ = Some("at+jwt".into());
    forged.kid = Some(key_id(&token));
    refused(&encode(&forged, &claims, &EncodingKey::from_secret(b"lustrum")).expect("a forged token"));

    for change in ["aud", "iss", "exp", "nbf", "typ"] {
        let mut wrong = claims.clone();
        match change {
            "aud" => wrong.aud = "somebody else".into(),
            "iss" => wrong.iss = "https://elsewhere.test".into(),
            "exp" => wrong.exp = app.clock.now().unix() - 5,
            "nbf" => wrong.nbf = app.clock.now().unix() + 6,
            _ => continue,
        }
        refused(&app.app.keys.sign(&wrong).expect("a token"));
    }
    let (signed, signature) = token.rsplit_once('.').expect("three parts");
    for at in (0..signature.len()).step_by(7) {
        let mut flipped = signature.to_owned().into_bytes();
        flipped[at] = if flipped[at] == b'A' { b'B' } else { b'A' };
        refused(&format!("{signed}.{}", String::from_utf8(flipped).expect("text")));
    }
    refused(signed);
    refused(&format!("{token}A"));

    app.advance(TimeDelta::minutes(10) + TimeDelta::seconds(4));
    app.client_with(&token).get("/v1/me").expect(200);
    app.advance(TimeDelta::seconds(1));
    refused(&token);
}

#[test]
fn a_refresh_token_is_good_once_unless_its_reply_was_lost() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let login = json!({ "shop": shop.id, "email": shop.email, "password": PASSWORD });
    let tokens = app.client().post("/v1/login", &login).expect(200);
    let refresh = |token: &Value| app.client().post("/v1/token", &json!({ "refresh_token": token }));
    let first = &tokens["refresh_token"];
    let lost = refresh(first).expect(200);
    let second = refresh(first).expect(200);
    refresh(&lost["refresh_token"]).problem(401, "unauthenticated");
    let third = refresh(&second["refresh_token"]).expect(200);
    let live = app.client_with(third["access_token"].as_str().expect("a token"));
    live.get("/v1/me").expect(200);

    refresh(first).problem(401, "unauthenticated");
    refresh(&third["refresh_token"]).problem(401, "unauthenticated");
    live.get("/v1/me").problem(401, "unauthenticated");
    shop.owner.get("/v1/me").expect(200);

    app.client_with(first.as_str().expect("a token")).get("/v1/me").problem(401, "unauthenticated");
    refresh(&json!("nonsense")).problem(401, "unauthenticated");
}

/// Fifty phones that all send the same refresh token end with one live branch.
#[test]
fn parallel_refreshes_leave_one_live_branch() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let login = json!({ "shop": shop.id, "email": shop.email, "password": PASSWORD });
    let first = app.client().post("/v1/login", &login).expect(200)["refresh_token"].clone();
    let refresh = |token: &Value| app.client().post("/v1/token", &json!({ "refresh_token": token }));
    let replies: Vec<_> = std::thread::scope(|scope| {
        let threads: Vec<_> = (0..50).map(|_| scope.spawn(|| refresh(&first))).collect();
        threads.into_iter().map(|thread| thread.join().expect("a reply")).collect()
    });
    let branches: Vec<Value> =
        replies.iter().map(|reply| reply.expect(200)["refresh_token"].clone()).collect();
    let live = branches.iter().filter(|token| refresh(token).status == 200).count();
    assert_eq!(live, 1);
}

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

    let dispatcher = app.client_with(log_in().expect(200)["access_token"].as_str().expect("a token"));
    dispatcher.get("/v1/customers").expect(200);
    shop.owner.post(&format!("/v1/people/{id}/disable"), &Value::Null).expect(200);
    dispatcher.get("/v1/customers").problem(401, "unauthenticated");
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

fn key_id(token: &str) -> String {
    jsonwebtoken::decode_header(token).expect("a header").kid.expect("a key id")
}
