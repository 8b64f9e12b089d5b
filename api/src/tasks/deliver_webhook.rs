//! Calls a webhook. A call that fails is made again by the retry table of Standard Webhooks, with the same id: the
//! receiver may have got it and must not take it twice.

use super::worker::Claimed;
use super::{Failure, Outcome};
use crate::app::App;
use crate::auth::{Caller, Scope};
use crate::db::deliveries::{self, Attempt, DeliveryStatus, Row};
use crate::db::kinds::Id;
use crate::db::outbox::Ending;
use crate::db::webhooks::{self, EventKind};
use crate::db::{Db, partner_apps};
use crate::error::ApiError;
use crate::outbound::{Answer, Call, signature};
use chrono::TimeDelta;

/// A receiver may ask for patience, but not for longer than the longest step of the retry table, seconds; an assumption.
const LONGEST_WAIT_S: i64 = 86_400;
/// Standard Webhooks 1.0.0: disable what answers so.
const GONE: u16 = 410;

pub async fn run(app: &App, claimed: &Claimed, delivery: Id) -> Result<Outcome, Failure> {
    let house = Caller::house(claimed.shop);
    let prepared = app.write(&house, move |db| prepare(db, delivery)).await?;
    let Some((row, call)) = prepared else { return Ok(Outcome::Done) };
    let at = app.clock.now();
    let answer = app.outbound.post(call).await?;
    let attempt = Attempt {
        number: row.attempts + 1,
        at,
        status: answer.status.as_ref().ok().map(|status| i32::from(*status)),
        error: answer.status.as_ref().err().cloned(),
        took_ms: answer.took_ms,
    };
    let status = answer.status.clone();
    app.write(&house, move |db| note(db, &row, &attempt, status.ok())).await?;
    match answer {
        Answer { status: Ok(200..=299), .. } => Ok(Outcome::Done),
        Answer { status: Ok(GONE), .. } => {
            Err(Failure::Never("410: nothing is wanted there any more".into()))
        }
        Answer { status: Ok(status), retry_after_s: Some(wait_s), .. } => Err(Failure::RetryFrom(
            at.plus(TimeDelta::seconds(wait_s.min(LONGEST_WAIT_S))),
            format!("it answered {status}"),
        )),
        Answer { status: Ok(status), .. } => Err(Failure::Retry(format!("it answered {status}"))),
        Answer { status: Err(error), .. } => Err(Failure::Retry(error)),
    }
}

/// The call to make, if it is still to be made: its webhook is on, and its app may hear of it.
fn prepare(db: &mut Db<'_>, delivery: Id) -> Result<Option<(Row, Call)>, ApiError> {
    let Some(row) = deliveries::find(db, delivery)? else { return Ok(None) };
    if row.status.0 != DeliveryStatus::Waiting {
        return Ok(None);
    }
    let (webhook, secrets) = (webhooks::find(db, row.webhook)?, webhooks::secrets(db, row.webhook)?);
    let (Some(webhook), Some(secrets)) = (webhook, secrets) else { return Ok(None) };
    let may_hear = match webhook.app {
        None => true,
        Some(app) => may_hear(db, app, &row)?,
    };
    if webhook.disabled_at.is_some() || !may_hear {
        deliveries::set_status(db, delivery, DeliveryStatus::Failed)?;
        return Ok(None);
    }
    let (id, at) = (row.id.to_string(), db.now.unix());
    let headers = signature::headers(&secrets.live(db.now), &id, at, &row.payload)?;
    let call = Call { url: webhook.fields.url, headers, body: row.payload.clone() };
    Ok(Some((row, call)))
}

/// Whether the app may hear of events, and of the customer of this one; what it was granted may have changed meanwhile.
fn may_hear(db: &mut Db<'_>, app: Id, row: &Row) -> Result<bool, ApiError> {
    let grant = partner_apps::grant(db, app)?.filter(|grant| grant.scopes.0.contains(&Scope::Webhooks));
    let Some(grant) = grant else { return Ok(false) };
    db.granted = grant.customers.map(|customers| customers.0);
    Ok(deliveries::reached(db, std::slice::from_ref(row))? == [true])
}

/// Stores how the attempt went, and what it says of the webhook.
fn note(db: &mut Db<'_>, row: &Row, attempt: &Attempt, status: Option<u16>) -> Result<(), ApiError> {
    deliveries::note_attempt(db, row.id, attempt)?;
    match status {
        Some(200..=299) => {
            deliveries::set_status(db, row.id, DeliveryStatus::Delivered)?;
            webhooks::note_delivered(db, row.webhook)?;
        }
        Some(GONE) => webhooks::disable(db, row.webhook, "it answered 410 Gone")?,
        _ => {}
    }
    Ok(())
}

/// A delivery that was given up takes its webhook with it, unless something has arrived there meanwhile. One that tests
/// it is only a test.
pub fn ended(db: &mut Db<'_>, delivery: Id, ending: &Ending) -> Result<(), ApiError> {
    let (Ending::Dead { .. }, Some(row)) = (ending, deliveries::find(db, delivery)?) else { return Ok(()) };
    deliveries::set_status(db, delivery, DeliveryStatus::Failed)?;
    let arrived = webhooks::find(db, row.webhook)?.and_then(|webhook| webhook.delivered_at);
    if row.event.0 != EventKind::Test && arrived.is_none_or(|at| at < row.created_at) {
        webhooks::disable(db, row.webhook, "nothing has arrived there for days")?;
    }
    Ok(())
}

/// Somebody wants it sent although it was given up.
pub fn replayed(db: &mut Db<'_>, delivery: Id) -> Result<(), ApiError> {
    Ok(deliveries::set_status(db, delivery, DeliveryStatus::Waiting)?)
}
