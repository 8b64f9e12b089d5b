//! Tokens of partner apps: secrets that change, scopes that are taken away, and what strangers are told.

use jsonwebtoken::{Algorithm, DecodingKey, Validation, decode_header};
use serde_json::{Value, json};
use tests::{PartnerApp, TestApp};

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
