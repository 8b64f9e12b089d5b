//! The key pairs behind the access tokens. One signs; the next is published before it does, so that every replica and
//! every reader of `/.well-known/jwks.json` knows it by then; the one before counts until its last token has expired.

use crate::db::kinds::Instant;
use crate::db::signing_keys::SigningKey;
use crate::error::ApiError;
use aws_lc_rs::rand::SystemRandom;
use aws_lc_rs::signature::{Ed25519KeyPair, KeyPair};
use base64::Engine;
use base64::engine::general_purpose::{STANDARD, URL_SAFE_NO_PAD};
use chrono::TimeDelta;
use jsonwebtoken::{DecodingKey, EncodingKey};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// So long before it signs a new key is published; the server looks for new keys every minute.
pub const PUBLISHED_AHEAD: TimeDelta = TimeDelta::minutes(5);

/// Those that count, oldest first; never empty.
pub struct KeyRing(Vec<Pair>);

pub struct Pair {
    pub kid: String,
    pub signing: EncodingKey,
    pub verifying: DecodingKey,
    signs_from: Instant,
    public: Vec<u8>,
}

/// A set of public keys (RFC 7517).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct KeySet {
    pub keys: Vec<PublicKey>,
}

/// A public Ed25519 key (RFC 8037).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct PublicKey {
    #[schema(example = "OKP")]
    pub kty: String,
    #[schema(example = "Ed25519")]
    pub crv: String,
    #[schema(example = "EdDSA")]
    pub alg: String,
    #[serde(rename = "use")]
    #[schema(example = "sig")]
    pub usage: String,
    /// The header `kid` of the tokens it verifies.
    pub kid: String,
    /// The key, base64url.
    pub x: String,
}

impl KeyRing {
    /// The pairs of these rows, oldest first, that count at `now`, where no token lives longer than `life`.
    pub fn of(rows: &[SigningKey], now: Instant, life: TimeDelta) -> Result<KeyRing, ApiError> {
        let pairs: Result<Vec<Pair>, ApiError> = counting(rows, now, life).iter().map(Pair::of).collect();
        match pairs? {
            pairs if pairs.is_empty() => Err(ApiError::Internal("there is no signing key".into())),
            pairs => Ok(KeyRing(pairs)),
        }
    }

    /// True if these rows would make the same ring.
    pub fn is_of(&self, rows: &[SigningKey], now: Instant, life: TimeDelta) -> bool {
        let rows = counting(rows, now, life).iter().map(|row| (&row.kid, row.signs_from));
        rows.eq(self.0.iter().map(|pair| (&pair.kid, pair.signs_from)))
    }

    /// The pair that signs at an instant.
    pub fn signing(&self, at_unix: i64) -> Option<&Pair> {
        let signs = |pair: &&Pair| pair.signs_from.unix() <= at_unix;
        self.0.iter().rev().find(signs).or(self.0.first())
    }

    pub fn find(&self, kid: &str) -> Option<&Pair> {
        self.0.iter().find(|pair| pair.kid == kid)
    }

    pub fn public(&self) -> KeySet {
        let public = |pair: &Pair| PublicKey {
            kty: "OKP".into(),
            crv: "Ed25519".into(),
            alg: "EdDSA".into(),
            usage: "sig".into(),
            kid: pair.kid.clone(),
            x: URL_SAFE_NO_PAD.encode(&pair.public),
        };
        KeySet { keys: self.0.iter().map(public).collect() }
    }
}

/// Without those of which some successor has signed for longer than a token lives.
fn counting(rows: &[SigningKey], now: Instant, life: TimeDelta) -> &[SigningKey] {
    let over = rows.windows(2).rposition(|two| two[1].signs_from.plus(life) <= now);
    &rows[over.map_or(0, |last| last + 1)..]
}

impl Pair {
    fn of(row: &SigningKey) -> Result<Pair, ApiError> {
        let broken = |e: &dyn std::fmt::Display| ApiError::Internal(format!("the stored signing key: {e}"));
        let pkcs8 = STANDARD.decode(&row.pkcs8).map_err(|e| broken(&e))?;
        let pair = Ed25519KeyPair::from_pkcs8(&pkcs8).map_err(|e| broken(&e))?;
        let public = pair.public_key().as_ref().to_vec();
        Ok(Pair {
            kid: row.kid.clone(),
            signing: EncodingKey::from_ed_der(&pkcs8),
            verifying: DecodingKey::from_ed_der(&public),
            signs_from: row.signs_from,
            public,
        })
    }
}

/// A new pair: its key id, and both keys as PKCS#8 in base64.
pub fn make_pair() -> Result<(String, String), ApiError> {
    let failed = |e: aws_lc_rs::error::Unspecified| ApiError::Internal(format!("making a key pair: {e}"));
    let pkcs8 = Ed25519KeyPair::generate_pkcs8(&SystemRandom::new()).map_err(failed)?;
    let mut kid = [0; 9];
    super::random(&mut kid)?;
    Ok((URL_SAFE_NO_PAD.encode(kid), STANDARD.encode(pkcs8.as_ref())))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn key(number: i32, signs_from: Instant) -> SigningKey {
        SigningKey { number, kid: number.to_string(), pkcs8: String::new(), signs_from }
    }

    /// One that is taken at once, as if it had signed for long, also ends a successor that was only announced.
    #[test]
    fn keys_count_until_a_later_one_is_older_than_any_token() {
        let now = Instant::from_utc("2031-03-17T08:00:00".parse().unwrap());
        let life = TimeDelta::hours(1);
        let [old, ahead, at_once] = [-90, 5, -120].map(|min| now.plus(TimeDelta::minutes(min)));
        let numbers = |rows: &[SigningKey]| -> Vec<i32> {
            counting(rows, now, life).iter().map(|row| row.number).collect()
        };
        let rows = [key(1, old), key(2, ahead)];
        assert_eq!(numbers(&rows), [1, 2]);
        let rows = [key(1, old), key(2, ahead), key(3, at_once)];
        assert_eq!(numbers(&rows), [3]);
    }
}
