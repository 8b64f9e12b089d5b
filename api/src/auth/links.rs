//! Signed links for customers, who have no login. A link can do one thing and nothing else.

use super::tokens::Keys;
use crate::config::Config;
use crate::db::customers::{Channel, Purpose};
use crate::db::jobs::OtherWindow;
use crate::db::kinds::{Id, Instant};
use crate::dispatch::offers::Ticket;
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use chrono::NaiveDate;
use serde::de::DeserializeOwned;
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
        seal(self, UNSUBSCRIBE, keys)
    }

    /// The link, if it is ours word for word.
    pub fn open(keys: &Keys, token: &str) -> Option<UnsubscribeLink> {
        open(token, UNSUBSCRIBE, keys)
    }
}

/// The same for the other links of customers, which end.
const PAGE: &str = "customer link: page";

/// Lets a customer see one thing, or do one thing.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CustomerLink {
    #[serde(rename = "s")]
    pub shop: Id,
    #[serde(rename = "c")]
    pub customer: Id,
    /// It ends then, in seconds since 1970.
    #[serde(rename = "u")]
    pub until_unix: i64,
    #[serde(rename = "a")]
    pub act: Act,
}

/// What a link does. What it changes is settled by what is in it: used twice it does the same as once.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "a", rename_all = "snake_case")]
pub enum Act {
    /// Shows an appointment and what may be changed about it.
    SeeJob { job: Id },
    /// Shows what the customer's vehicles need; `reminder` is what told so.
    SeeUpkeep { reminder: Id },
    /// Moves an appointment that still has this revision to a window, and to a place in the rounds, if it has one.
    Choose {
        job: Id,
        rev: i32,
        to: OtherWindow,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        place: Option<Box<Ticket>>,
    },
    /// Asks the office for a visit.
    AskVisit { reminder: Id },
    /// Wants nothing about upkeep before this day.
    Snooze { until_on: NaiveDate },
    /// Corrects a consent.
    Allow { channel: Channel, purpose: Purpose, given: bool },
}

impl CustomerLink {
    /// Its address.
    pub fn url(&self, config: &Config, keys: &Keys) -> Result<String, serde_json::Error> {
        Ok(format!("{}/c/{}", config.public_url, self.seal(keys)?))
    }

    pub fn seal(&self, keys: &Keys) -> Result<String, serde_json::Error> {
        seal(self, PAGE, keys)
    }

    /// The link, if it is ours word for word and has not ended.
    pub fn open(keys: &Keys, token: &str, now: Instant) -> Option<CustomerLink> {
        open::<CustomerLink>(token, PAGE, keys).filter(|link| now.unix() < link.until_unix)
    }

    /// Another link of the same customer, with the same end.
    pub fn to(&self, act: Act) -> CustomerLink {
        CustomerLink { act, ..self.clone() }
    }
}

fn seal(link: &impl Serialize, made_for: &str, keys: &Keys) -> Result<String, serde_json::Error> {
    let content = serde_json::to_vec(link)?;
    let mut sealed = keys.stamp(made_for, &content).to_vec();
    sealed.extend_from_slice(&content);
    Ok(URL_SAFE_NO_PAD.encode(sealed))
}

fn open<T: DeserializeOwned>(token: &str, made_for: &str, keys: &Keys) -> Option<T> {
    let sealed = URL_SAFE_NO_PAD.decode(token).ok()?;
    let (stamp, content) = sealed.split_at_checked(16)?;
    if !keys.is_stamp(made_for, content, stamp) {
        return None;
    }
    serde_json::from_slice(content).ok()
}
