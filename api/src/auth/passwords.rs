//! Passwords, kept as argon2id hashes.

use crate::app::App;
use crate::error::ApiError;
use argon2::password_hash::{PasswordHash, PasswordHasher, PasswordVerifier, SaltString};
use argon2::{Algorithm, Argon2, Params, Version};

/// Memory, KiB; with one pass and one lane this is a choice of OWASP ASVS 5.0, appendix C.
const MEMORY_KIB: u32 = 47_104;
const PASSES: u32 = 1;
const LANES: u32 = 1;

/// Shortest and longest password, in characters.
pub const LENGTH: std::ops::RangeInclusive<usize> = 10..=128;

/// What an unknown person is verified against, so that both answers take the same time. Nobody's password: random text.
const NOBODY: &str =
    "$argon2id$v=19$m=47104,t=1,p=1$c29tZXNhbHR0aGF0c2ZyZWU$5fTf0pLk6c8Jr5qyVd0nSxXk0Q1m2VwYt8ZbG7hUeRo";

/// The hash to store.
pub async fn hash(app: &App, password: String) -> Result<String, ApiError> {
    app.hashing(move || hash_now(&password)).await
}

/// Hashes on the caller's thread: for the command line.
pub fn hash_now(password: &str) -> Result<String, ApiError> {
    let failed = |e: &dyn std::fmt::Display| ApiError::Internal(format!("hashing: {e}"));
    let mut salt = [0u8; 16];
    super::random(&mut salt)?;
    let salt = SaltString::encode_b64(&salt).map_err(|e| failed(&e))?;
    Ok(hasher()?.hash_password(password.as_bytes(), &salt).map_err(|e| failed(&e))?.to_string())
}

/// True if `password` belongs to `stored`; without a stored hash it takes as long and is false.
pub async fn verify(app: &App, password: String, stored: Option<String>) -> Result<bool, ApiError> {
    app.hashing(move || {
        let hash = PasswordHash::new(stored.as_deref().unwrap_or(NOBODY))
            .map_err(|e| ApiError::Internal(format!("stored password hash: {e}")))?;
        let fits = hasher()?.verify_password(password.as_bytes(), &hash).is_ok();
        Ok(fits && stored.is_some())
    })
    .await
}

fn hasher() -> Result<Argon2<'static>, ApiError> {
    let params = Params::new(MEMORY_KIB, PASSES, LANES, None)
        .map_err(|e| ApiError::Internal(format!("argon2 parameters: {e}")))?;
    Ok(Argon2::new(Algorithm::Argon2id, Version::V0x13, params))
}
