//! What partner apps and those who check tokens ask beside `/oauth/token`: ending a token (RFC 7009), what a token is
//! good for (RFC 7662), where everything is (RFC 8414), and the public keys (RFC 7517).

use super::oauth::{authenticate, readable};
use super::{Answer, Shared};
use crate::app::App;
use crate::auth::key_ring::KeySet;
use crate::auth::tokens::Claims;
use crate::auth::{self, Caller};
use crate::db::kinds::Instant;
use crate::db::revoked_tokens;
use crate::error::{ApiError, OAuthRefusal};
use crate::extract::Form;
use actix_web::http::header;
use actix_web::{HttpRequest, HttpResponse, get, post};
use chrono::DateTime;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// Readers may keep the keys for so long; a new key is published well before it signs.
const KEYS_MAX_AGE: &str = "public, max-age=240";

/// Unknown parameters are ignored, as RFC 6749 says.
#[derive(Debug, Deserialize, ToSchema)]
pub struct TokenToCheck {
    pub token: String,
    /// Not looked at: there is one kind.
    #[schema(example = "access_token")]
    pub token_type_hint: Option<String>,
    /// Or send id and secret by HTTP Basic.
    pub client_id: Option<String>,
    #[schema(format = "password")]
    pub client_secret: Option<String>,
}

/// What a token is good for (RFC 7662, 2.2). Of one that is not good, or not the caller's, only that.
#[derive(Debug, Default, Serialize, Deserialize, ToSchema)]
pub struct Introspection {
    pub active: bool,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(example = "plans:read")]
    pub scope: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub client_id: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(example = "Bearer")]
    pub token_type: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub exp: Option<i64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub iat: Option<i64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sub: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub aud: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub iss: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub jti: Option<String>,
}

/// Where everything is (RFC 8414).
#[derive(Debug, Serialize, Deserialize, ToSchema)]
pub struct OAuthMetadata {
    pub issuer: String,
    pub token_endpoint: String,
    pub revocation_endpoint: String,
    pub introspection_endpoint: String,
    pub jwks_uri: String,
    pub grant_types_supported: Vec<String>,
    /// Empty: nobody is sent to a login page.
    pub response_types_supported: Vec<String>,
    pub scopes_supported: Vec<String>,
    pub token_endpoint_auth_methods_supported: Vec<String>,
    pub revocation_endpoint_auth_methods_supported: Vec<String>,
    pub introspection_endpoint_auth_methods_supported: Vec<String>,
    pub service_documentation: String,
}

/// Ends a token of the calling app before its time. A token that is no good any more has ended already.
#[utoipa::path(
    tag = "access",
    request_body(content = TokenToCheck, content_type = "application/x-www-form-urlencoded"),
    responses((status = 200, description = "It has ended"))
)]
#[post("/oauth/revoke")]
pub async fn revoke_token(
    app: Shared,
    request: HttpRequest,
    form: Result<Form<TokenToCheck>, ApiError>,
) -> Answer {
    let form = readable(form)?;
    let client = authenticate(&app, &request, form.client_id, form.client_secret).await?;
    if let Ok(claims) = app.keys.verify(&form.token, app.clock.now()) {
        if (claims.shop, claims.sub) != (client.shop, client.id) {
            return Err(ApiError::OAuth(OAuthRefusal::InvalidGrant));
        }
        let expires_at = expiry(&claims).unwrap_or(app.clock.now());
        let house = Caller::house(client.shop);
        app.write(&house, move |db| Ok(revoked_tokens::insert(db, claims.jti, expires_at)?)).await?;
    }
    Ok(HttpResponse::Ok().finish())
}

/// Tells what a token of the calling app is good for now.
#[utoipa::path(
    tag = "access",
    request_body(content = TokenToCheck, content_type = "application/x-www-form-urlencoded"),
    responses((status = 200, body = Introspection, description = "What it is good for"))
)]
#[post("/oauth/introspect")]
pub async fn introspect_token(
    app: Shared,
    request: HttpRequest,
    form: Result<Form<TokenToCheck>, ApiError>,
) -> Answer {
    let form = readable(form)?;
    let client = authenticate(&app, &request, form.client_id, form.client_secret).await?;
    let claims = app.keys.verify(&form.token, app.clock.now()).ok();
    let own = claims.filter(|claims| (claims.shop, claims.sub) == (client.shop, client.id));
    let answer = match own {
        Some(claims) if holds(&app, &claims).await? => Introspection {
            active: true,
            scope: claims.scope,
            client_id: Some(claims.client_id),
            token_type: Some("Bearer".into()),
            exp: Some(claims.exp),
            iat: Some(claims.iat),
            sub: Some(claims.sub.to_string()),
            aud: Some(claims.aud),
            iss: Some(claims.iss),
            jti: Some(claims.jti.to_string()),
        },
        _ => Introspection::default(),
    };
    Ok(HttpResponse::Ok().json(answer))
}

/// Whether the token would be let in now.
async fn holds(app: &App, claims: &Claims) -> Result<bool, ApiError> {
    let Some(caller) = auth::caller_of(claims) else { return Ok(false) };
    match app.read(&caller, |_| Ok(())).await {
        Ok(()) => Ok(true),
        Err(ApiError::Unauthenticated(_)) => Ok(false),
        Err(error) => Err(error),
    }
}

fn expiry(claims: &Claims) -> Option<Instant> {
    DateTime::from_timestamp(claims.exp, 0).map(|at| Instant::from_utc(at.naive_utc()))
}

/// Where partner apps find what they need.
#[utoipa::path(tag = "access", responses((status = 200, body = OAuthMetadata, description = "The metadata")))]
#[get("/.well-known/oauth-authorization-server")]
pub async fn get_oauth_metadata(app: Shared) -> Answer {
    let issuer = app.keys.issuer();
    let at = |path: &str| format!("{issuer}{path}");
    let words = |words: &[&str]| words.iter().map(|word| (*word).to_owned()).collect::<Vec<_>>();
    let by = words(&["client_secret_basic", "client_secret_post"]);
    Ok(HttpResponse::Ok().json(OAuthMetadata {
        token_endpoint: at("/oauth/token"),
        revocation_endpoint: at("/oauth/revoke"),
        introspection_endpoint: at("/oauth/introspect"),
        jwks_uri: at("/.well-known/jwks.json"),
        grant_types_supported: words(&["client_credentials"]),
        response_types_supported: Vec::new(),
        scopes_supported: auth::Scope::ALL.iter().map(|scope| scope.word().to_owned()).collect(),
        token_endpoint_auth_methods_supported: by.clone(),
        revocation_endpoint_auth_methods_supported: by.clone(),
        introspection_endpoint_auth_methods_supported: by,
        service_documentation: at("/docs/"),
        issuer: issuer.to_owned(),
    }))
}

/// The public keys that verify our access tokens.
#[utoipa::path(tag = "access", responses((status = 200, body = KeySet, content_type = "application/jwk-set+json", description = "The keys")))]
#[get("/.well-known/jwks.json")]
pub async fn get_signing_keys(app: Shared) -> Answer {
    let mut response = HttpResponse::Ok();
    response.insert_header((header::CACHE_CONTROL, KEYS_MAX_AGE));
    Ok(response.content_type("application/jwk-set+json").json(app.keys.public()))
}
