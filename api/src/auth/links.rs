//! Signed links for customers, who have no login. A link can do one thing and nothing else.

use super::tokens::Keys;
use crate::db::customers::Purpose;
use crate::db::kinds::Id;
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use serde::{Deserialize, Serialize};

/// What the stamp of an unsubscribe link is made for: no other stamp of ours can stand in for it.
const UNSUBSCRIBE: &str = "customer link: unsubscribe by mail";

/// Ends mail for one purpose to one customer. It never expires: ending must always be possible.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct UnsubscribeLink {
    #[serde(rename = "s")]
    pub shop: Id,
    #[serde(rename = "c")]
    pub customer: Id,
    #[serde(rename = "p")]
    pub purpose: Purpose,
}

impl UnsubscribeLink {
    pub fn seal(&self, keys: &Keys) -> Result<String, serde_json::Error> {
        let content = serde_json::to_vec(self)?;
        let mut sealed = keys.stamp(UNSUBSCRIBE, &content).to_vec();
        sealed.extend_from_slice(&content);
        Ok(URL_SAFE_NO_PAD.encode(sealed))
    }

    /// The link, if it is ours word for word.
    pub fn open(keys: &Keys, token: &str) -> Option<UnsubscribeLink> {
        let sealed = URL_SAFE_NO_PAD.decode(token).ok()?;
        let (stamp, content) = sealed.split_at_checked(16)?;
        if !keys.is_stamp(UNSUBSCRIBE, content, stamp) {
            return None;
        }
        serde_json::from_slice(content).ok()
    }
}
