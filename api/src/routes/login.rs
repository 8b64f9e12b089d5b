//! Logging in, staying logged in, logging out.

use super::{Answer, Shared};
use crate::app::App;
use crate::auth::source::Source;
use crate::auth::throttle::Counts;
use crate::auth::tokens::{AUDIENCE, Claims, new_secret, secret_hash};
use crate::auth::{Caller, Role, passwords};
use crate::check::{Check, Checker};
use crate::db::audit::{self, Act, ActorKind};
use crate::db::kinds::{Id, Instant};
use crate::db::{Db, logins, people};
use crate::error::ApiError;
use crate::extract::Body;
use actix_web::{HttpResponse, post};
use chrono::TimeDelta;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

const REFUSED: ApiError = ApiError::Unauthenticated("shop, address or password is wrong");
const ENDED: ApiError = ApiError::Unauthenticated("the login has ended: log in again");

#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct LoginForm {
    /// Id of the shop.
    pub shop: Id,
    #[schema(format = "email", min_length = 1, max_length = 254)]
    pub email: String,
    #[schema(format = "password", min_length = 1, max_length = 128)]
    pub password: String,
}

impl Check for LoginForm {
    fn check(&self, found: &mut Checker) {
        found.email("email", &self.email);
        if !(1..=128).contains(&self.password.chars().count()) {
            found.refuse("password", "out_of_range", "needs 1 to 128 characters");
        }
    }
}

#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct RefreshForm {
    #[schema(min_length = 1, max_length = 200)]
    pub refresh_token: String,
}

impl Check for RefreshForm {
    fn check(&self, found: &mut Checker) {
        found.line("refresh_token", &self.refresh_token, 200);
    }
}

/// What a login or a refresh gives.
#[derive(Debug, Serialize, Deserialize, ToSchema)]
pub struct Tokens {
    /// For the header `Authorization: Bearer …`.
    pub access_token: String,
    #[schema(example = "Bearer")]
    pub token_type: String,
    /// Life of the access token, seconds.
    pub expires_in: i64,
    /// Good for one `POST /v1/token`; if its reply is lost, it may be sent again until the new one has been used.
    pub refresh_token: String,
    pub person: Id,
    pub role: Role,
}

/// Logs a person in. Whoever guesses too often is told to wait (429).
#[utoipa::path(tag = "access", request_body = LoginForm, responses((status = 200, body = Tokens, description = "Logged in")))]
#[post("/v1/login")]
pub async fn log_in(app: Shared, from: Source, form: Body<LoginForm>) -> Answer {
    let Body(form) = form;
    let house = Caller::house(form.shop);
    let email = form.email.trim().to_lowercase();
    let counts = Counts::of(&app.keys, form.shop, &email, &from.address);
    let (early, address) = (counts.clone(), from.address.clone());
    let look_up = app.read(&house, move |db| {
        let known = people::credentials(db, &email)?;
        early.check(db, known.as_ref().map(|known| known.id), &address)?;
        Ok(known)
    });
    let known = look_up.await?;
    let stored = known.as_ref().and_then(|known| known.password_hash.clone());
    let person = known.as_ref().map(|known| known.id);
    let fits = passwords::verify(&app, form.password, stored).await?;
    let proved = known.filter(|_| fits);
    let ends_at = app.clock.now().plus(TimeDelta::days(app.config.login_days));
    let begun = app
        .write(&house, move |db| {
            // Of many guesses at once only as many count as of guesses one after the other.
            counts.wait_for_turn(db)?;
            counts.check(db, person, &from.address)?;
            let admitted = proved.map_or(Ok(None), |proved| people::admitted(db, &proved))?;
            let Some(known) = admitted else {
                counts.note_failure(db)?;
                return Ok(None);
            };
            counts.note_success(db)?;
            let (login, secret) = begin_login(db, known.id, ends_at, &from)?;
            audit::append(db, &logged_in(known.id, login))?;
            Ok(Some((known, login, secret)))
        })
        .await?;
    let (known, login, secret) = begun.ok_or(REFUSED)?;
    answer(&app, form.shop, known.id, known.role.0, login, &secret)
}

/// Gives a new access token and a new refresh token for a refresh token.
#[utoipa::path(tag = "access", request_body = RefreshForm, responses((status = 200, body = Tokens, description = "Refreshed")))]
#[post("/v1/token")]
pub async fn refresh_login(app: Shared, from: Source, form: Body<RefreshForm>) -> Answer {
    let Body(form) = form;
    let (shop, secret) = parts(&form.refresh_token)?;
    let hash = secret_hash(secret);
    let (found, secret) = app
        .write(&Caller::house(shop), move |db| match rotate(db, &hash, &from)? {
            Rotation::Done(found, secret) => Ok(Some((found, secret))),
            Rotation::Ended => Ok(None),
        })
        .await?
        .ok_or(ENDED)?;
    answer(&app, shop, found.person, found.role.0, found.login, &secret)
}

/// Ends the login that a refresh token belongs to. An unknown token has ended already.
#[utoipa::path(tag = "access", request_body = RefreshForm, responses((status = 204, description = "Logged out")))]
#[post("/v1/logout")]
pub async fn log_out(app: Shared, form: Body<RefreshForm>) -> Answer {
    let Body(form) = form;
    let (shop, secret) = parts(&form.refresh_token)?;
    let hash = secret_hash(secret);
    app.write(&Caller::house(shop), move |db| {
        if let Some(found) = logins::find_token_locked(db, &hash)? {
            logins::revoke(db, found.login)?;
        }
        Ok(())
    })
    .await?;
    Ok(HttpResponse::NoContent().finish())
}

enum Rotation {
    Done(logins::Refresh, String),
    /// Committed as it is: a family that was just revoked must stay so.
    Ended,
}

/// Replaces a refresh token by its successor.
///
/// A token that was used before is accepted again only while its successor is unused: phones lose replies. The
/// unused successor is withdrawn, so that one branch lives. Otherwise somebody has a copy, and the family dies.
fn rotate(db: &mut Db<'_>, hash: &str, from: &Source) -> Result<Rotation, ApiError> {
    let Some(found) = logins::find_token_locked(db, hash)? else { return Ok(Rotation::Ended) };
    if found.revoked_at.is_some() || found.disabled_at.is_some() || found.expires_at <= db.now {
        return Ok(Rotation::Ended);
    }
    if let Some(successor) = &found.successor
        && !logins::withdraw_unused(db, successor)?
    {
        logins::revoke(db, found.login)?;
        return Ok(Rotation::Ended);
    }
    let secret = new_secret()?;
    let successor = secret_hash(&secret);
    logins::insert_token(db, found.login, &successor)?;
    logins::use_token(db, hash, &successor)?;
    logins::note_seen(db, found.login, from.seen())?;
    Ok(Rotation::Done(found, secret))
}

fn logged_in(person: Id, login: Id) -> Act {
    Act {
        by_kind: ActorKind::Person,
        by_id: Some(person),
        operation: "POST /v1/login".into(),
        subject: format!("/v1/me/logins/{login}"),
        request: String::new(),
    }
}

/// Starts a login with its first refresh token.
fn begin_login(
    db: &mut Db<'_>,
    person: Id,
    ends_at: Instant,
    from: &Source,
) -> Result<(Id, String), ApiError> {
    let login = Id::new(db.now);
    let secret = new_secret()?;
    logins::insert(db, login, person, ends_at, from.seen())?;
    logins::insert_token(db, login, &secret_hash(&secret))?;
    Ok((login, secret))
}

/// An access token for a login.
pub fn access_token(app: &App, shop: Id, person: Id, role: Role, login: Id) -> Result<String, ApiError> {
    let now = app.clock.now();
    app.keys.sign(&Claims {
        iss: app.keys.issuer().to_owned(),
        aud: AUDIENCE.into(),
        sub: person,
        client_id: "lustrum".into(),
        shop,
        iat: now.unix(),
        nbf: now.unix(),
        exp: now.unix() + app.config.access_token_min * 60,
        jti: Id::new(now),
        sid: Some(login),
        role: Some(role),
        scope: None,
    })
}

fn answer(app: &App, shop: Id, person: Id, role: Role, login: Id, secret: &str) -> Answer {
    Ok(HttpResponse::Ok().json(Tokens {
        access_token: access_token(app, shop, person, role, login)?,
        token_type: "Bearer".into(),
        expires_in: app.config.access_token_min * 60,
        refresh_token: format!("{shop}.{secret}"),
        person,
        role,
    }))
}

/// A refresh token names its shop, so that it is looked for in that shop only.
fn parts(token: &str) -> Result<(Id, &str), ApiError> {
    let (shop, secret) = token.split_once('.').ok_or(ENDED)?;
    Ok((shop.parse().map_err(|_| ENDED)?, secret))
}
