//! Tokens of partner apps: secrets that change, tokens that end, keys that take turns, and what strangers are told.

use chrono::TimeDelta;
use jsonwebtoken::{Algorithm, DecodingKey, Validation, decode_header};
use serde_json::{Value, json};
use tests::{PartnerApp, TestApp, WHATEVER};

fn token_of(reply: &Value) -> String {
    reply["access_token"].as_str().expect("a token").to_owned()
}

#[test]
fn two_secrets_live_side_by_side_until_the_older_is_retired() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let old = shop.partner_app(&["plans:read"]);
    let path = format!("/v1/partner-apps/{}/secret", old.id);
    let retire = format!("{path}/retire");
    shop.owner.post(&retire, &Value::Null).problem(409, "one_secret");
    let made = shop.owner.post(&path, &Value::Null).expect(200);
    assert_eq!(made["client_id"], json!(old.client_id));
    shop.owner.post(&path, &Value::Null).problem(409, "two_secrets");
    let secret = made["client_secret"].as_str().expect("a secret").to_owned();
    let new = PartnerApp { id: old.id.clone(), client_id: old.client_id.clone(), secret };
    let asks = |who: &PartnerApp| who.ask(&app, "/oauth/token", "grant_type=client_credentials");
    asks(&old).expect(200);
    asks(&new).expect(200);
    shop.owner.post(&retire, &Value::Null).expect(200);
    asks(&old).problem(401, "invalid_client");
    asks(&new).expect(200);
}

#[test]
fn a_revoked_token_opens_nothing_and_only_its_own_app_may_revoke_or_inspect_it() {
    let app = TestApp::start();
    let (shop, elsewhere) = (app.shop("Shine"), app.shop("Gleam"));
    let all = ["plans:read", "upkeep:read", "webhooks"];
    let (one, other) = (shop.partner_app(&all), shop.partner_app(&all));
    let foreign = elsewhere.partner_app(&all);
    let token = one.token(&app);
    let inspect = |who: &PartnerApp, token: &str| {
        who.ask(&app, "/oauth/introspect", &format!("token={token}")).expect(200)
    };
    let revoke = |who: &PartnerApp, token: &str| {
        who.ask(&app, "/oauth/revoke", &format!("token={token}&token_type_hint=access_token"))
    };

    let told = inspect(&one, &token);
    assert_eq!(
        (&told["active"], &told["client_id"], &told["scope"]),
        (&json!(true), &json!(one.client_id), &json!("plans:read upkeep:read webhooks"))
    );
    for (who, token) in
        [(&other, token.as_str()), (&foreign, &token), (&one, shop.owner.token()), (&one, "nonsense")]
    {
        assert_eq!(inspect(who, token), json!({ "active": false }), "nothing but that is told");
    }
    revoke(&other, &token).problem(400, "invalid_grant");
    revoke(&foreign, &token).problem(400, "invalid_grant");
    revoke(&one, shop.owner.token()).problem(400, "invalid_grant");
    assert_eq!(revoke(&one, "nonsense").status, 200);
    app.client().form("/oauth/revoke", &format!("token={token}")).problem(400, "invalid_request");
    shop.owner.get("/v1/me").expect(200);

    let kept = one.token(&app);
    assert_eq!(revoke(&one, &token).status, 200);
    assert_eq!(revoke(&one, &token).status, 200, "twice is the same");
    assert_eq!(inspect(&one, &token), json!({ "active": false }));
    let partner = app.client_with(&token);
    let mut walked = 0;
    for row in
        api::auth::access::TABLE.iter().filter(|row| row.3.is_some_and(|scope| all.contains(&scope.word())))
    {
        let path = row
            .1
            .replace("{id}", "01890000-0000-7000-8000-000000000000")
            .replace("{record}", "01890000-0000-7000-8000-000000000000");
        let body = match (row.0, row.1) {
            ("POST", "/v1/webhooks") => json!({ "url": "https://example.com/", "events": ["job.changed"] }),
            ("POST", "/v1/plans/preview") => tests::example("post", "/v1/plans/preview"),
            _ => json!({}),
        };
        let media = if row.0 == "PATCH" { "application/merge-patch+json" } else { "application/json" };
        let body = if row.0 == "GET" { String::new() } else { body.to_string() };
        let reply = partner.send(row.0, &path, &[("content-type", media), WHATEVER], body.as_bytes());
        if reply.status != 400 {
            reply.problem(401, "unauthenticated");
            walked += 1;
        }
    }
    assert!(walked > 15, "{walked}");
    app.client_with(&kept).get("/v1/webhooks").expect(200);
}

#[test]
fn a_scope_that_is_taken_away_takes_its_tokens_along() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let partner = shop.partner_app(&["webhooks", "upkeep:read"]);
    let wide = partner.log_in(&app);
    let form = "grant_type=client_credentials&scope=webhooks";
    let narrow = app.client_with(&token_of(&partner.ask(&app, "/oauth/token", form).expect(200)));
    let path = format!("/v1/partner-apps/{}", partner.id);
    shop.owner.patch(&path, &json!({ "scopes": ["webhooks"] })).expect(200);
    assert_eq!(shop.owner.get(&path).expect(200)["scopes"], json!(["webhooks"]));
    wide.get("/v1/webhooks").problem(401, "unauthenticated");
    narrow.get("/v1/webhooks").expect(200);
    partner
        .ask(&app, "/oauth/token", "grant_type=client_credentials&scope=upkeep%3Aread")
        .problem(400, "invalid_scope");
}

/// What the metadata promises is there, and its keys verify our tokens for whoever has only them.
#[test]
#[expect(clippy::disallowed_methods, reason = "somebody else checks our tokens here")]
fn metadata_and_keys_are_enough_to_check_our_tokens() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let metadata = app.client().get("/.well-known/oauth-authorization-server").expect(200);
    let issuer = metadata["issuer"].as_str().expect("an issuer");
    let local = |field: &str| {
        metadata[field]
            .as_str()
            .and_then(|url| url.strip_prefix(issuer))
            .expect("an address of ours")
            .to_owned()
    };
    let partner = shop.partner_app(&["plans:read"]);
    let token =
        token_of(&partner.ask(&app, &local("token_endpoint"), "grant_type=client_credentials").expect(200));
    assert_eq!(
        partner.ask(&app, &local("introspection_endpoint"), &format!("token={token}")).expect(200)["active"],
        true
    );
    let keys = app.client().get(&local("jwks_uri"));
    assert!(keys.header("cache-control").starts_with("public"));
    let header = decode_header(&token).expect("a header");
    assert_eq!((header.alg, header.typ.as_deref()), (Algorithm::EdDSA, Some("at+jwt")));
    let keys = keys.expect(200);
    let key = &keys["keys"][0];
    assert_eq!(
        (key["kty"].as_str(), key["crv"].as_str(), key["kid"].as_str()),
        (Some("OKP"), Some("Ed25519"), header.kid.as_deref())
    );
    assert!(key.get("d").is_none(), "the private half stays with us");
    let key = DecodingKey::from_ed_components(key["x"].as_str().expect("x")).expect("a key");
    let mut validation = Validation::new(Algorithm::EdDSA);
    validation.set_audience(&["lustrum"]);
    validation.set_issuer(&[issuer]);
    validation.validate_exp = false;
    let claims = jsonwebtoken::decode::<Value>(&token, &key, &validation).expect("a genuine token").claims;
    // RFC 9068, 2.2
    for claim in ["iss", "exp", "aud", "sub", "client_id", "iat", "jti"] {
        assert!(!claims[claim].is_null(), "{claim}");
    }
    assert_eq!(claims["client_id"], json!(partner.client_id));
}

/// A new key is published before it signs; the old one counts until its last token has expired, and no longer.
#[test]
fn keys_take_turns_and_nobody_is_thrown_out() {
    let app = TestApp::start_with(|config| {
        config.signing_key_days = 30;
        config.access_token_min = 10;
    });
    let shop = app.shop("Shine");
    let partner = shop.partner_app(&["webhooks"]);
    let kids = || -> Vec<String> {
        let keys = app.client().get("/.well-known/jwks.json").expect(200);
        keys["keys"]
            .as_array()
            .expect("keys")
            .iter()
            .map(|key| key["kid"].as_str().expect("a kid").to_owned())
            .collect()
    };
    let kid = |token: &str| decode_header(token).expect("a header").kid.expect("a kid");
    let first = kids();
    app.advance(TimeDelta::days(30));
    app.run_tasks();
    let both = kids();
    assert_eq!((both.len(), &both[0]), (2, &first[0]));
    let before = partner.token(&app);
    assert_eq!(kid(&before), first[0], "published, but it does not sign yet");
    app.advance(TimeDelta::minutes(5));
    let after = partner.token(&app);
    assert_eq!(kid(&after), both[1]);
    for token in [&before, &after] {
        app.client_with(token).get("/v1/webhooks").expect(200);
    }
    app.advance(TimeDelta::minutes(6));
    app.run_tasks();
    assert_eq!(kids().len(), 2);
    app.advance(TimeDelta::minutes(5));
    app.run_tasks();
    assert_eq!(kids(), both[1..], "nothing it signed can still be valid");

    // A key that somebody may have seen: within a minute nothing that it signed counts.
    let token = partner.token(&app);
    let now = app.clock.now();
    api::auth::tokens::renew(&app.app.database, now, now.plus(-TimeDelta::hours(2))).expect("a key");
    app.run_tasks();
    app.client_with(&token).get("/v1/webhooks").problem(401, "unauthenticated");
    partner.log_in(&app).get("/v1/webhooks").expect(200);
}

/// Headers that would have the server look for keys elsewhere, and key ids that are no key's.
#[test]
fn a_token_says_nothing_about_where_its_key_is() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let receiver = tests::receiver::Receiver::start();
    let token = shop.owner.token().to_owned();
    let (head, rest) = token.split_once('.').expect("three parts");
    let original = tests::base64url_json(head);
    for (field, value) in [
        ("jku", json!(receiver.url)),
        ("x5u", json!(receiver.url)),
        // The public key of RFC 8037, appendix A.
        (
            "jwk",
            json!({ "kty": "OKP", "crv": "Ed25519", "x": "11qYAYKxCrfVS_7TyWQHOg7hcvPapiMlrwIaaPcHURo" }),
        ),
        ("kid", json!("../../etc/passwd")),
        ("kid", json!("x' OR '1'='1")),
        ("kid", json!("k".repeat(60_000))),
        ("kid", json!("unknown")),
        ("kid", Value::Null),
        ("alg", json!("none")),
        ("typ", json!("JWT")),
    ] {
        let mut header = original.clone();
        header[field] = value;
        let forged = format!("{}.{rest}", tests::base64url(&header));
        let reply = app.client_with(&forged).get("/v1/me");
        assert!(matches!(reply.status, 400 | 401 | 431), "{field}: {} {}", reply.status, reply.text);
    }
    assert_eq!(receiver.connections(), 0);
    shop.owner.get("/v1/me").expect(200);
}
