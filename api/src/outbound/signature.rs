//! Signatures by Standard Webhooks 1.0.0: HMAC-SHA-256 over id, time and body, each separated by a full stop.

use crate::auth::random;
use crate::error::ApiError;
use aws_lc_rs::hmac;
use base64::Engine;
use base64::engine::general_purpose::STANDARD;

/// Marks a secret as one for webhooks.
const PREFIX: &str = "whsec_";
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

fn sign_with(secret: &str, content: &[u8]) -> Result<String, ApiError> {
    let key = secret.strip_prefix(PREFIX).and_then(|key| STANDARD.decode(key).ok());
    let key = key.ok_or_else(|| ApiError::Internal("a stored webhook secret is broken".into()))?;
    let tag = hmac::sign(&hmac::Key::new(hmac::HMAC_SHA256, &key), content);
    Ok(format!("v1,{}", STANDARD.encode(tag.as_ref())))
}

#[cfg(test)]
mod tests {
    use super::{new_secret, sign};

    /// The vector of the specification's own libraries (repository standard-webhooks, `libraries/*/webhook` tests;
    /// confirmed in several public implementations' tests).
    #[test]
    fn signs_as_the_published_vector() {
        let secret = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw".to_owned();
        let body = r#"{"test": 2432232314}"#;
        let signature = "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE=";
        let (id, at) = ("msg_p5jXN8AQM9LWM0D4loKWxJek", 1_614_265_330);
        assert_eq!(sign(std::slice::from_ref(&secret), id, at, body).expect("a signature"), signature);

        let other = new_secret().expect("a secret");
        let both = sign(&[other, secret], id, at, body).expect("two signatures");
        assert!(both.ends_with(&format!(" {signature}")) && both.matches("v1,").count() == 2, "{both}");
        assert!(sign(&["whsec_no base64".into()], id, at, body).is_err());
    }
}
