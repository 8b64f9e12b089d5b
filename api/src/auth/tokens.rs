//! Access tokens (RFC 9068, EdDSA), the keys that sign them, and opaque random secrets.

use crate::config::Config;
use crate::db::kinds::{Id, Instant};
use crate::db::{Database, signing_keys};
use crate::error::ApiError;
use aws_lc_rs::signature::{Ed25519KeyPair, KeyPair};
use aws_lc_rs::{hmac, rand::SystemRandom};
use base64::Engine;
use base64::engine::general_purpose::{STANDARD, URL_SAFE_NO_PAD};
use jsonwebtoken::{Algorithm, DecodingKey, EncodingKey, Header, Validation, decode, decode_header, encode};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use std::collections::HashMap;
use std::sync::{Mutex, PoisonError};

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

/// The key pair of the installation, and what is derived from it.
pub struct Keys {
    kid: String,
    signing: EncodingKey,
    verifying: DecodingKey,
    stamping: hmac::Key,
    issuer: String,
    /// What genuine tokens claim: a client sends the same one many times, and a signature costs more than a read.
    genuine: Mutex<HashMap<String, Claims>>,
}

impl Keys {
    /// Loads the key pair; the first start makes it. Replicas that start together agree on one.
    pub fn load(database: &Database, config: &Config, now: Instant) -> Result<Keys, ApiError> {
        let shop = Id::new(now);
        let stored = match database.read(shop, now, |db| signing_keys::find(db).map_err(ApiError::from))? {
            Some(stored) => stored,
            None => {
                let (kid, pkcs8) = make_pair()?;
                database.write(shop, now, |db| {
                    signing_keys::insert_if_none(db, &kid, &pkcs8)?;
                    signing_keys::find(db)?.ok_or_else(|| ApiError::Internal("no signing key".into()))
                })?
            }
        };
        Keys::from_stored(&stored, config)
    }

    fn from_stored(stored: &signing_keys::SigningKey, config: &Config) -> Result<Keys, ApiError> {
        let broken = |e: &dyn std::fmt::Display| ApiError::Internal(format!("the stored signing key: {e}"));
        let pkcs8 = STANDARD.decode(&stored.pkcs8).map_err(|e| broken(&e))?;
        let pair = Ed25519KeyPair::from_pkcs8(&pkcs8).map_err(|e| broken(&e))?;
        let stamping = Sha256::new().chain_update(b"lustrum cursor").chain_update(&pkcs8).finalize();
        Ok(Keys {
            kid: stored.kid.clone(),
            signing: EncodingKey::from_ed_der(&pkcs8),
            verifying: DecodingKey::from_ed_der(pair.public_key().as_ref()),
            stamping: hmac::Key::new(hmac::HMAC_SHA256, &stamping),
            issuer: config.public_url.clone(),
            genuine: Mutex::default(),
        })
    }

    pub fn issuer(&self) -> &str {
        &self.issuer
    }

    pub fn sign(&self, claims: &Claims) -> Result<String, ApiError> {
        let mut header = Header::new(Algorithm::EdDSA);
        header.kid = Some(self.kid.clone());
        header.typ = Some(TOKEN_TYPE.into());
        encode(&header, claims, &self.signing).map_err(|e| ApiError::Internal(format!("signing: {e}")))
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
        let refused = |_| ApiError::Unauthenticated("the access token is not valid");
        let header = decode_header(token).map_err(refused)?;
        if header.kid.as_deref() != Some(&self.kid) || header.typ.as_deref() != Some(TOKEN_TYPE) {
            return Err(ApiError::Unauthenticated("the access token is not valid"));
        }
        let mut validation = Validation::new(Algorithm::EdDSA);
        validation.set_audience(&[AUDIENCE]);
        validation.set_issuer(&[&self.issuer]);
        validation.set_required_spec_claims(&["exp", "nbf", "iss", "aud", "sub"]);
        // The crate compares with the system's time; ours can be moved, so `verify` compares.
        validation.validate_exp = false;
        validation.validate_nbf = false;
        Ok(decode::<Claims>(token, &self.verifying, &validation).map_err(refused)?.claims)
    }

    /// Half an HMAC-SHA-256 over the name of a list and a place in it.
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

fn make_pair() -> Result<(String, String), ApiError> {
    let failed = |e: aws_lc_rs::error::Unspecified| ApiError::Internal(format!("making a key pair: {e}"));
    let pkcs8 = Ed25519KeyPair::generate_pkcs8(&SystemRandom::new()).map_err(failed)?;
    let mut kid = [0; 9];
    super::random(&mut kid)?;
    Ok((URL_SAFE_NO_PAD.encode(kid), STANDARD.encode(pkcs8.as_ref())))
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
