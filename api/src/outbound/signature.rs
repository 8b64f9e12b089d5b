//! Signatures by Standard Webhooks 1.0.0: HMAC-SHA-256 over id, time and body, each separated by a full stop.

use crate::auth::random;
use crate::error::ApiError;
use aws_lc_rs::hmac;
use base64::Engine;
use base64::engine::general_purpose::STANDARD;

/// Marks a secret as one for webhooks.
const PREFIX: &str = "whsec_";
/// A call that claims to be older, or to come from further ahead, is not believed, seconds (the specification leaves the
/// number open; its own libraries take five minutes, from memory).
const TOLERANCE_S: u64 = 300;
/// Length of a secret; the specification asks for 24 to 64 bytes.
const SECRET_BYTES: usize = 32;

/// A new secret, as it is shown and stored.
pub fn new_secret() -> Result<String, ApiError> {
    let mut bytes = [0; SECRET_BYTES];
    random(&mut bytes)?;
    Ok(format!("{PREFIX}{}", STANDARD.encode(bytes)))
}

/// The value of `webhook-signature`: one signature for each secret, so that a receiver may know either.
pub fn sign(secrets: &[String], id: &str, at_unix: i64, body: &str) -> Result<String, ApiError> {
    let content = format!("{id}.{at_unix}.{body}");
    let signatures: Result<Vec<String>, ApiError> =
        secrets.iter().map(|secret| sign_with(secret, content.as_bytes())).collect();
    Ok(signatures?.join(" "))
}

/// The three headers of a call.
pub fn headers(
    secrets: &[String],
    id: &str,
    at_unix: i64,
    body: &str,
) -> Result<Vec<(&'static str, String)>, ApiError> {
    let signature = sign(secrets, id, at_unix, body)?;
    Ok(vec![
        ("webhook-id", id.to_owned()),
        ("webhook-timestamp", at_unix.to_string()),
        ("webhook-signature", signature),
    ])
}

/// True if one of the signatures in `given` is that of one of the secrets, and the call is of these minutes.
pub fn is_genuine(
    secrets: &[String],
    (id, at_unix, given): (&str, i64, &str),
    body: &[u8],
    now_unix: i64,
) -> bool {
    if now_unix.abs_diff(at_unix) > TOLERANCE_S {
        return false;
    }
    let content = [format!("{id}.{at_unix}.").as_bytes(), body].concat();
    let given: Vec<Vec<u8>> = given
        .split(' ')
        .filter_map(|one| one.strip_prefix("v1,"))
        .filter_map(|tag| STANDARD.decode(tag).ok())
        .collect();
    let keys = secrets.iter().filter_map(|secret| key_of(secret).ok());
    keys.into_iter().any(|key| given.iter().any(|tag| hmac::verify(&key, &content, tag).is_ok()))
}

fn sign_with(secret: &str, content: &[u8]) -> Result<String, ApiError> {
    let tag = hmac::sign(&key_of(secret)?, content);
    Ok(format!("v1,{}", STANDARD.encode(tag.as_ref())))
}

fn key_of(secret: &str) -> Result<hmac::Key, ApiError> {
    let key = secret.strip_prefix(PREFIX).and_then(|key| STANDARD.decode(key).ok());
    let key = key.ok_or_else(|| ApiError::Internal("a stored webhook secret is broken".into()))?;
    Ok(hmac::Key::new(hmac::HMAC_SHA256, &key))
}

#[cfg(test)]
mod tests {
    use super::{is_genuine, new_secret, sign};

    /// The vector of the specification's own libraries (repository standard-webhooks, `libraries/*/webhook` tests;
    /// confirmed in several public implementations' tests).
    #[test]
    fn signs_as_the_published_vector() {
        let secret = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw".to_owned();
        let body = r#"{"test": 2432232314}"#;
        let signature = "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE=";
        let (id, at) = ("msg_p5jXN8AQM9LWM0D4loKWxJek", 1_614_265_330);
        assert_eq!(sign(std::slice::from_ref(&secret), id, at, body).expect("a signature"), signature);

        let (other, known) = (new_secret().expect("a secret"), secret.clone());
        let both = sign(&[other, secret], id, at, body).expect("two signatures");
        assert!(both.ends_with(&format!(" {signature}")) && both.matches("v1,").count() == 2, "{both}");
        assert!(sign(&["whsec_no base64".into()], id, at, body).is_err());
        let genuine = |body: &str, now: i64| {
            is_genuine(std::slice::from_ref(&known), (id, at, &both), body.as_bytes(), now)
        };
        assert!(genuine(body, at + 300) && genuine(body, at - 300), "either signature may be the known one");
        assert!(!genuine(body, at + 301) && !genuine(body, at - 301), "too old, or of the future");
        assert!(!genuine(r#"{"test": 2432232315}"#, at));
    }
}
