//! `Idempotency-Key` (draft-ietf-httpapi-idempotency-key-header-07): a request that is repeated with its key has its
//! effect once, and is answered the same again.
//!
//! A key belongs to a shop, a principal and an operation (method and path). Its row is written in the transaction of
//! the effect, with a fingerprint of the request; a refused request leaves no row, and its key can be used again.

use crate::auth::Caller;
use crate::db::Db;
use crate::db::kept_replies::{self, Place};
use crate::db::kinds::Id;
use crate::error::ApiError;
use crate::reply::Reply;
use actix_web::HttpRequest;
use actix_web::http::header::{self, HeaderMap};
use aws_lc_rs::aead::{AES_256_GCM, Aad, NONCE_LEN, Nonce, RandomizedNonceKey};
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use chrono::TimeDelta;
use sha2::{Digest, Sha256};
use std::collections::HashSet;
use std::fmt;
use std::sync::{Arc, Mutex, PoisonError};

/// How long a reply is kept. The draft leaves it open; a day is common practice (from memory).
pub const KEPT: TimeDelta = TimeDelta::hours(24);
const NAME: &str = "idempotency-key";
/// Longest key, characters; an assumption, far beyond the 36 of a UUID that the draft recommends.
const LONGEST: usize = 255;

/// A request with a key.
pub struct Attempt {
    shop: Id,
    place: Place,
    fingerprint: String,
    /// Opens the kept reply; made from the key, which is stored nowhere.
    seal: [u8; 32],
}

/// The key of a request: a string of RFC 8941, or the same without its quotes.
pub fn key(headers: &HeaderMap) -> Result<Option<String>, ApiError> {
    let mut given = headers.get_all(NAME);
    let Some(value) = given.next() else { return Ok(None) };
    let text = value.to_str().unwrap_or("").trim();
    let key = text.strip_prefix('"').and_then(|rest| rest.strip_suffix('"')).unwrap_or(text);
    let plain = key.bytes().all(|b| b.is_ascii_graphic() && !b"\"\\,;".contains(&b));
    if given.next().is_some() || key.is_empty() || key.len() > LONGEST || !plain {
        return Err(ApiError::BadHeader("Idempotency-Key: one string of 1 to 255 visible characters".into()));
    }
    Ok(Some(key.to_owned()))
}

/// Not the seal: it must not come into a log.
impl fmt::Debug for Attempt {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Attempt({})", self.place.operation)
    }
}

impl Attempt {
    pub fn new(caller: &Caller, request: &HttpRequest, body: &[u8], key: &str) -> Attempt {
        let operation = format!("{} {}", request.method(), request.path());
        let principal = caller.principal().unwrap_or(caller.shop);
        let secret = |what: &str| digest(&[what.as_bytes(), caller.shop.as_str().as_bytes(), key.as_bytes()]);
        let kind = request.headers().get(header::CONTENT_TYPE).map_or(&b""[..], |kind| kind.as_bytes());
        let coding = request.headers().get(header::CONTENT_ENCODING).map(|coding| coding.as_bytes());
        let kind = [&[kind][..], coding.as_slice()].concat().join(&b' ');
        let fingerprint = digest(&[request.query_string().as_bytes(), &kind, body]);
        let place = Place { principal, operation, key: URL_SAFE_NO_PAD.encode(secret("place")) };
        Attempt {
            shop: caller.shop,
            place,
            fingerprint: URL_SAFE_NO_PAD.encode(fingerprint),
            seal: secret("seal"),
        }
    }

    /// The reply that was kept for this request.
    pub fn find(&self, db: &mut Db<'_>) -> Result<Option<Reply>, ApiError> {
        let Some(kept) = kept_replies::find(db, &self.place, db.now.plus(-KEPT))? else { return Ok(None) };
        if kept.fingerprint != self.fingerprint {
            return Err(ApiError::KeyReused);
        }
        kept.reply.map(|sealed| self.open(&sealed)).transpose()
    }

    /// Takes the key for this transaction, or gives the reply of the one that was faster. On PostgreSQL this waits until
    /// a transaction of another replica with the same key has ended.
    pub fn begin(&self, db: &mut Db<'_>) -> Result<Option<Reply>, ApiError> {
        kept_replies::forget(db, &self.place, db.now.plus(-KEPT))?;
        if kept_replies::insert_if_none(db, &self.place, &self.fingerprint)? {
            return Ok(None);
        }
        self.find(db)
    }

    /// Keeps the reply in the transaction that [`Attempt::begin`] took the key in.
    pub fn keep(&self, db: &mut Db<'_>, reply: &Reply) -> Result<(), ApiError> {
        match kept_replies::set_reply(db, &self.place, &self.close(reply)?)? {
            true => Ok(()),
            false => Err(unsealed("its place is gone")),
        }
    }

    fn close(&self, reply: &Reply) -> Result<String, ApiError> {
        let mut text = serde_json::to_vec(reply)?;
        let nonce = self.cipher()?.seal_in_place_append_tag(Aad::empty(), &mut text).map_err(unsealed)?;
        Ok(URL_SAFE_NO_PAD.encode([&nonce.as_ref()[..], &text[..]].concat()))
    }

    fn open(&self, sealed: &str) -> Result<Reply, ApiError> {
        let mut sealed = URL_SAFE_NO_PAD.decode(sealed).map_err(unsealed)?;
        let (nonce, text) = sealed.split_at_mut_checked(NONCE_LEN).ok_or_else(|| unsealed("too short"))?;
        let nonce = Nonce::try_assume_unique_for_key(nonce).map_err(unsealed)?;
        let text = self.cipher()?.open_in_place(nonce, Aad::empty(), text).map_err(unsealed)?;
        Ok(serde_json::from_slice(text)?)
    }

    fn cipher(&self) -> Result<RandomizedNonceKey, ApiError> {
        RandomizedNonceKey::new(&AES_256_GCM, &self.seal).map_err(unsealed)
    }
}

fn unsealed(error: impl fmt::Display) -> ApiError {
    ApiError::Internal(format!("kept reply: {error}"))
}

/// Of parts with their lengths, so that no two lists of parts look alike.
fn digest(parts: &[&[u8]]) -> [u8; 32] {
    let mut hash = Sha256::new();
    for part in parts {
        hash.update((part.len() as u64).to_be_bytes());
        hash.update(part);
    }
    hash.finalize().into()
}

/// The keys that this process is just working on: a second request with one of them is told to wait (409).
#[derive(Clone, Default)]
pub struct InFlight(Arc<Mutex<HashSet<(Id, Place)>>>);

impl InFlight {
    pub fn hold(&self, attempt: &Attempt) -> Result<Held, ApiError> {
        let one = (attempt.shop, attempt.place.clone());
        if self.0.lock().unwrap_or_else(PoisonError::into_inner).insert(one.clone()) {
            return Ok(Held { of: self.clone(), one });
        }
        Err(ApiError::conflict(
            "idempotency_key_in_use",
            "the first request with this key is not answered yet",
        ))
    }
}

/// Lets the key go when it is dropped.
pub struct Held {
    of: InFlight,
    one: (Id, Place),
}

impl Drop for Held {
    fn drop(&mut self) {
        self.of.0.lock().unwrap_or_else(PoisonError::into_inner).remove(&self.one);
    }
}
