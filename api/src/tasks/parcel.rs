//! What is handed over of a reminder: a letter to the mail server, or a call of the shop's gateway for text messages.
//!
//! The gateway is called like a webhook (Standard Webhooks 1.0.0), with the reminder's id as the id of the message: a
//! gateway that has seen it must not send it again.

use super::Failure;
use super::decide::{Ground, Situation};
use crate::app::App;
use crate::auth::links::{Act, CustomerLink, UnsubscribeLink};
use crate::db::kinds::{Id, Instant};
use crate::db::reminders::Reminder;
use crate::db::{Db, message_gateway};
use crate::error::ApiError;
use crate::mail::{Letter, Link, Undelivered};
use crate::outbound::{Answer, Call, signature};
use chrono::TimeDelta;
use domain::reminder::{Channel, Message};
use serde_json::json;

/// The link to the page of an appointment or forecast ends after so many days.
const LINK_DAYS: i64 = 30;

pub enum Parcel {
    Mail(Box<Letter>),
    Text(Call),
}

/// The parcel, unless the customer has no address for the channel.
pub fn pack(
    db: &mut Db<'_>,
    app: &App,
    ground: &Ground,
    situation: &Situation,
    reminder: &Reminder,
    (channel, message): (Channel, Message),
) -> Result<Option<Parcel>, ApiError> {
    let page = page_link(db, app, reminder)?;
    let parcel = match (channel, &situation.email, &situation.phone) {
        (Channel::Mail, Some(to), _) => {
            let purpose = reminder.purpose.0;
            let link = UnsubscribeLink { shop: db.shop, customer: situation.id, purpose };
            let own = ground.shop.fields.settings.0.mail_from.clone();
            Parcel::Mail(Box::new(Letter {
                id: reminder.id.to_string(),
                from_name: ground.shop.fields.name.clone(),
                from: own.unwrap_or_else(|| app.config.mail_from.clone()),
                to_name: situation.name.clone(),
                to: to.clone(),
                subject: message.subject,
                text: message.body,
                language: message.language,
                page: Link { words: message.see_page, url: page },
                unsubscribe: Link {
                    words: message.end_these,
                    url: format!("{}/u/{}", app.config.public_url, link.seal(&app.keys)?),
                },
                at: db.now,
            }))
        }
        (Channel::Text, _, Some(to)) => match call(db, reminder.id, to, &format!("{} {page}", message.text))?
        {
            Some(call) => Parcel::Text(call),
            None => return Ok(None),
        },
        _ => return Ok(None),
    };
    Ok(Some(parcel))
}

/// The address of the page that shows what the reminder speaks of.
fn page_link(db: &Db<'_>, app: &App, reminder: &Reminder) -> Result<String, ApiError> {
    let act = match reminder.job {
        Some(job) if reminder.kind.0.purpose() == domain::reminder::Purpose::Appointment => {
            Act::SeeJob { job }
        }
        _ => Act::SeeUpkeep { reminder: reminder.id },
    };
    let until = db.now.plus(TimeDelta::days(LINK_DAYS));
    let link = CustomerLink { shop: db.shop, customer: reminder.customer, until_unix: until.unix(), act };
    Ok(link.url(&app.config, &app.keys)?)
}

/// The call of the gateway; none where the shop has no such gateway (any more).
fn call(db: &mut Db<'_>, id: Id, phone: &str, text: &str) -> Result<Option<Call>, ApiError> {
    let gateway = message_gateway::find(db)?.and_then(|gateway| gateway.fields.text_url);
    let (Some(url), Some(secrets)) = (gateway, message_gateway::secrets(db)?) else { return Ok(None) };
    // The trunk prefix in +43 (0)660 is dialled within the country only.
    let to: String = phone.replace("(0)", "").chars().filter(|c| c.is_ascii_digit() || *c == '+').collect();
    let at: Instant = db.now;
    let body =
        json!({ "type": "message.text", "timestamp": at, "data": { "to": to, "text": text } }).to_string();
    let headers = signature::headers(&secrets.live(at), &id.to_string(), at.unix(), &body)?;
    Ok(Some(Call { url, headers, body }))
}

impl Parcel {
    pub async fn hand_over(self, app: &App) -> Result<(), Failure> {
        match self {
            Parcel::Mail(letter) => app.mail.send(&letter).await.map_err(|error| match error {
                Undelivered::NotNow(_) => Failure::Retry(error.to_string()),
                Undelivered::Never(_) => Failure::Never(error.to_string()),
                Undelivered::Unknown(_) => Failure::Uncertain(error.to_string()),
            }),
            Parcel::Text(call) => taken(app, &app.outbound.post(call).await?),
        }
    }
}

/// What the gateway's answer says of the message.
fn taken(app: &App, answer: &Answer) -> Result<(), Failure> {
    match &answer.status {
        Ok(200..=299) => Ok(()),
        Ok(status @ (408 | 425 | 429 | 500..)) => {
            let text = format!("the gateway answered {status}");
            match answer.retry_after_s {
                Some(wait_s) => {
                    let from = app.clock.now().plus(TimeDelta::seconds(wait_s.min(86_400)));
                    Err(Failure::RetryFrom(from, text))
                }
                None => Err(Failure::Retry(text)),
            }
        }
        Ok(status) => Err(Failure::Never(format!("the gateway answered {status}"))),
        Err(error) if answer.handed_over => Err(Failure::Uncertain(error.clone())),
        Err(error) => Err(Failure::Retry(error.clone())),
    }
}
