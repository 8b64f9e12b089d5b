//! Tokens for partner apps: OAuth 2.0 client credentials (RFC 6749, 4.4).

use super::{Answer, Shared};
use crate::app::App;
use crate::auth::tokens::{same, secret_hash};
use crate::auth::{self, Caller, Scope};
use crate::db::kinds::Id;
use crate::db::partner_apps;
use crate::error::{ApiError, OAuthRefusal};
use crate::extract::Form;
use actix_web::http::header;
use actix_web::{HttpRequest, HttpResponse, post};
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

const INVALID_CLIENT: ApiError = ApiError::OAuth(OAuthRefusal::InvalidClient);
const INVALID_REQUEST: ApiError = ApiError::OAuth(OAuthRefusal::InvalidRequest);

/// Unknown parameters are ignored, as RFC 6749 says.
#[derive(Debug, Deserialize, ToSchema)]
pub struct TokenRequest {
    /// `client_credentials`
    #[schema(example = "client_credentials")]
    pub grant_type: String,
    /// Or send id and secret by HTTP Basic.
    pub client_id: Option<String>,
    #[schema(format = "password")]
    pub client_secret: Option<String>,
    /// Scopes separated by spaces; absent: all the app may have.
    pub scope: Option<String>,
}

#[derive(Debug, Serialize, Deserialize, ToSchema)]
pub struct AppToken {
    pub access_token: String,
    #[schema(example = "Bearer")]
    pub token_type: String,
    /// Life of the access token, seconds.
    pub expires_in: i64,
    #[schema(example = "plans:read")]
    pub scope: String,
}

/// Gives a partner app an access token.
#[utoipa::path(
    tag = "access",
    request_body(content = TokenRequest, content_type = "application/x-www-form-urlencoded"),
    responses((status = 200, body = AppToken, description = "A token"))
)]
#[post("/oauth/token")]
pub async fn create_app_token(
    app: Shared,
    request: HttpRequest,
    form: Result<Form<TokenRequest>, ApiError>,
) -> Answer {
    let form = readable(form)?;
    if form.grant_type != "client_credentials" {
        return Err(ApiError::OAuth(OAuthRefusal::UnsupportedGrantType));
    }
    let client = authenticate(&app, &request, form.client_id, form.client_secret).await?;
    let scope = granted(form.scope.as_deref(), &client.scopes)?;
    let access_token = auth::sign_for_app(&app, client.shop, client.id, scope.clone())?;
    let expires_in = app.config.access_token_min * 60;
    Ok(HttpResponse::Ok().json(AppToken { access_token, token_type: "Bearer".into(), expires_in, scope }))
}

/// A partner app that showed one of its secrets.
pub struct Client {
    pub shop: Id,
    pub id: Id,
    pub scopes: Vec<Scope>,
}

/// The app behind id and secret, which come by HTTP Basic or in the form.
pub async fn authenticate(
    app: &App,
    request: &HttpRequest,
    id: Option<String>,
    secret: Option<String>,
) -> Result<Client, ApiError> {
    let (client, secret) = credentials(request, id, secret)?;
    let (shop, id) = client_parts(&client).ok_or(INVALID_CLIENT)?;
    let known = app.read(&Caller::house(shop), move |db| Ok(partner_apps::secrets(db, id)?)).await?;
    let known = known.ok_or(INVALID_CLIENT)?;
    let hash = secret_hash(&secret);
    let fits = |stored: &str| same(stored.as_bytes(), hash.as_bytes());
    if !fits(&known.secret_hash) && !known.next_secret_hash.as_deref().is_some_and(fits) {
        return Err(INVALID_CLIENT);
    }
    Ok(Client { shop, id, scopes: known.scopes.0 })
}

/// The form, or the refusal that RFC 6749 wants.
pub fn readable<T>(form: Result<Form<T>, ApiError>) -> Result<T, ApiError> {
    form.map(|form| form.0).map_err(|error| match error {
        ApiError::BadQuery(_) => INVALID_REQUEST,
        error => error,
    })
}

fn client_parts(client: &str) -> Option<(Id, Id)> {
    let (shop, app) = client.split_once('.')?;
    Some((shop.parse().ok()?, app.parse().ok()?))
}

/// Id and secret, by HTTP Basic or in the body, never both (RFC 6749, 2.3.1).
fn credentials(
    request: &HttpRequest,
    id: Option<String>,
    secret: Option<String>,
) -> Result<(String, String), ApiError> {
    let basic = request.headers().get(header::AUTHORIZATION);
    match (basic, id, secret) {
        (None, Some(id), Some(secret)) => Ok((id, secret)),
        (Some(header), None, None) => {
            let encoded = header.to_str().ok().and_then(|h| h.split_once(' ')).ok_or(INVALID_CLIENT)?;
            if !encoded.0.eq_ignore_ascii_case("basic") {
                return Err(INVALID_CLIENT);
            }
            let decoded = STANDARD.decode(encoded.1.trim()).map_err(|_| INVALID_CLIENT)?;
            let decoded = String::from_utf8(decoded).map_err(|_| INVALID_CLIENT)?;
            decoded.split_once(':').map(|(id, secret)| (id.into(), secret.into())).ok_or(INVALID_CLIENT)
        }
        _ => Err(INVALID_REQUEST),
    }
}

/// What is asked for, if all of it is allowed.
fn granted(asked: Option<&str>, allowed: &[Scope]) -> Result<String, ApiError> {
    let asked: Vec<Scope> = match asked {
        None => allowed.to_vec(),
        Some(words) => {
            let scopes: Option<Vec<Scope>> = words.split_whitespace().map(Scope::from_word).collect();
            scopes.ok_or(ApiError::OAuth(OAuthRefusal::InvalidScope))?
        }
    };
    if asked.is_empty() || !asked.iter().all(|scope| allowed.contains(scope)) {
        return Err(ApiError::OAuth(OAuthRefusal::InvalidScope));
    }
    Ok(asked.iter().map(|scope| scope.word()).collect::<Vec<_>>().join(" "))
}
