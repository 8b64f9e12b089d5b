//! Access tokens (RFC 9068, EdDSA), the keys that sign them, and opaque random secrets.

use super::key_ring::{KeyRing, KeySet, PUBLISHED_AHEAD, make_pair};
use crate::config::Config;
use crate::db::kinds::{Id, Instant};
use crate::db::signing_keys::{self, SigningKey};
use crate::db::{Database, Sight};
use crate::error::ApiError;
use aws_lc_rs::hmac;
use base64::Engine;
use base64::engine::general_purpose::{STANDARD, URL_SAFE_NO_PAD};
use chrono::TimeDelta;
use jsonwebtoken::{Algorithm, Header, Validation, decode, decode_header, encode};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use std::collections::HashMap;
use std::sync::{Mutex, PoisonError, RwLock, RwLockReadGuard};

/// Who our access tokens are for.
pub const AUDIENCE: &str = "lustrum";
/// Difference between the clocks of our replicas that is forgiven, seconds.
const LEEWAY_S: i64 = 5;
const TOKEN_TYPE: &str = "at+jwt";
/// Tokens remembered as genuine; each takes about a kilobyte.
const REMEMBERED_TOKENS: usize = 4096;

/// The claims of an access token.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Claims {
    pub iss: String,
    pub aud: String,
    /// The person or the partner app.
    pub sub: Id,
    /// The app, or `lustrum` for people.
    pub client_id: String,
    pub shop: Id,
    pub iat: i64,
    pub nbf: i64,
    pub exp: i64,
    pub jti: Id,
    /// The login of a person.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sid: Option<Id>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub role: Option<super::Role>,
    /// Scopes of a partner app, separated by spaces.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub scope: Option<String>,
}

/// The keys of the installation, and what is derived from them.
pub struct Keys {
    ring: RwLock<KeyRing>,
    stamping: hmac::Key,
    issuer: String,
    /// How long a token can count at most.
    life: TimeDelta,
    /// Age at which a key gets a successor.
    key_days: i64,
    /// What genuine tokens claim: a client sends the same one many times, and a signature costs more than a read.
    genuine: Mutex<HashMap<String, Claims>>,
}

impl Keys {
    /// Loads the keys; the first start makes one. Replicas that start together agree on it.
    pub fn load(database: &Database, config: &Config, now: Instant) -> Result<Keys, ApiError> {
        let mut rows = stored(database, now)?;
        if rows.is_empty() {
            rows = add(database, now, 1, now)?;
        }
        let life = TimeDelta::seconds(config.access_token_min * 60 + LEEWAY_S);
        let first = rows.first().ok_or_else(|| ApiError::Internal("no signing key".into()))?;
        // What was stamped must stay good: links in mail never end.
        let seed = STANDARD.decode(&first.pkcs8).map_err(|e| ApiError::Internal(format!("a key: {e}")))?;
        let stamping = Sha256::new().chain_update(b"lustrum cursor").chain_update(&seed).finalize();
        Ok(Keys {
            ring: RwLock::new(KeyRing::of(&rows, now, life)?),
            stamping: hmac::Key::new(hmac::HMAC_SHA256, &stamping),
            issuer: config.public_url.clone(),
            life,
            key_days: config.signing_key_days,
            genuine: Mutex::default(),
        })
    }

    /// Takes in what other replicas or the command line changed, and makes a new key when the newest is old.
    pub fn refresh(&self, database: &Database, now: Instant) -> Result<(), ApiError> {
        let mut rows = stored(database, now)?;
        if rows.last().is_some_and(|key| key.signs_from.plus(TimeDelta::days(self.key_days)) <= now) {
            rows = renew(database, now, now.plus(PUBLISHED_AHEAD))?;
        }
        let mut ring = self.ring.write().unwrap_or_else(PoisonError::into_inner);
        if !ring.is_of(&rows, now, self.life) {
            *ring = KeyRing::of(&rows, now, self.life)?;
            self.genuine.lock().unwrap_or_else(PoisonError::into_inner).clear();
        }
        Ok(())
    }

    /// The public keys, for whoever checks our tokens.
    pub fn public(&self) -> KeySet {
        self.ring().public()
    }

    fn ring(&self) -> RwLockReadGuard<'_, KeyRing> {
        self.ring.read().unwrap_or_else(PoisonError::into_inner)
    }

    pub fn issuer(&self) -> &str {
        &self.issuer
    }

    pub fn sign(&self, claims: &Claims) -> Result<String, ApiError> {
        let ring = self.ring();
        let pair = ring.signing(claims.iat).ok_or_else(|| ApiError::Internal("no signing key".into()))?;
        let mut header = Header::new(Algorithm::EdDSA);
        header.kid = Some(pair.kid.clone());
        header.typ = Some(TOKEN_TYPE.into());
        encode(&header, claims, &pair.signing).map_err(|e| ApiError::Internal(format!("signing: {e}")))
    }

    /// The claims of a token that is ours, for us, and valid at `now`.
    pub fn verify(&self, token: &str, now: Instant) -> Result<Claims, ApiError> {
        let claims = self.claims(token)?;
        let now = now.unix();
        if claims.exp <= now - LEEWAY_S {
            return Err(ApiError::Unauthenticated("the access token has expired"));
        }
        if claims.nbf > now + LEEWAY_S || claims.iat > now + LEEWAY_S {
            return Err(ApiError::Unauthenticated("the access token is not valid yet"));
        }
        Ok(claims)
    }

    /// The claims of a token that is ours and for us, whatever the time. Only genuine tokens are remembered, so that
    /// forged ones cannot push them out.
    fn claims(&self, token: &str) -> Result<Claims, ApiError> {
        let known = || self.genuine.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(claims) = known().get(token) {
            return Ok(claims.clone());
        }
        let claims = self.check(token)?;
        let mut known = known();
        if known.len() >= REMEMBERED_TOKENS {
            known.clear();
        }
        known.insert(token.to_owned(), claims.clone());
        Ok(claims)
    }

    /// The one place that checks a signature.
    #[expect(clippy::disallowed_methods, reason = "this is the one place")]
    fn check(&self, token: &str) -> Result<Claims, ApiError> {
        const REFUSED: ApiError = ApiError::Unauthenticated("the access token is not valid");
        let header = decode_header(token).map_err(|_| REFUSED)?;
        let ring = self.ring();
        let pair = header.kid.as_deref().and_then(|kid| ring.find(kid)).ok_or(REFUSED)?;
        if header.typ.as_deref() != Some(TOKEN_TYPE) {
            return Err(REFUSED);
        }
        let mut validation = Validation::new(Algorithm::EdDSA);
        validation.set_audience(&[AUDIENCE]);
        validation.set_issuer(&[&self.issuer]);
        validation.set_required_spec_claims(&["exp", "nbf", "iss", "aud", "sub"]);
        // The crate compares with the system's time; ours can be moved, so `verify` compares.
        validation.validate_exp = false;
        validation.validate_nbf = false;
        Ok(decode::<Claims>(token, &pair.verifying, &validation).map_err(|_| REFUSED)?.claims)
    }

    /// Half an HMAC-SHA-256, the least that RFC 2104, 5, recommends, over the name of a list and a place in it.
    pub fn stamp(&self, list: &str, place: &[u8]) -> [u8; 16] {
        let mut context = hmac::Context::with_key(&self.stamping);
        context.update(list.as_bytes());
        context.update(&[0]);
        context.update(place);
        let mut stamp = [0; 16];
        stamp.copy_from_slice(&context.sign().as_ref()[..16]);
        stamp
    }

    pub fn is_stamp(&self, list: &str, place: &[u8], stamp: &[u8]) -> bool {
        same(&self.stamp(list, place), stamp)
    }
}

/// Gives the newest key a successor that signs from an instant on.
pub fn renew(database: &Database, now: Instant, signs_from: Instant) -> Result<Vec<SigningKey>, ApiError> {
    let newest = stored(database, now)?.last().map_or(0, |key| key.number);
    add(database, now, newest + 1, signs_from)
}

/// Adds a key with this number, unless another replica was faster; gives all keys.
fn add(
    database: &Database,
    now: Instant,
    number: i32,
    signs_from: Instant,
) -> Result<Vec<SigningKey>, ApiError> {
    let (kid, pkcs8) = make_pair()?;
    database.write(Id::new(now), now, |db| {
        signing_keys::insert(db, &SigningKey { number, kid, pkcs8, signs_from })?;
        Ok(signing_keys::list(db)?)
    })
}

fn stored(database: &Database, now: Instant) -> Result<Vec<SigningKey>, ApiError> {
    database.read(Id::new(now), now, Sight::Latest, |db| Ok(signing_keys::list(db)?))
}

/// 256 random bits as text.
pub fn new_secret() -> Result<String, ApiError> {
    let mut bytes = [0; 32];
    super::random(&mut bytes)?;
    Ok(URL_SAFE_NO_PAD.encode(bytes))
}

/// What is stored of a secret of 256 random bits: a plain hash is enough, there is nothing to guess.
pub fn secret_hash(secret: &str) -> String {
    URL_SAFE_NO_PAD.encode(Sha256::digest(secret.as_bytes()))
}

/// Compares without telling by the time taken where they differ.
pub fn same(a: &[u8], b: &[u8]) -> bool {
    aws_lc_rs::constant_time::verify_slices_are_equal(a, b).is_ok()
}
