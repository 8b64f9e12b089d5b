//! What webhooks are told: ids, states and times, never who or where. Whoever may know more asks with the id.
//!
//! Call these in the transaction of what happened.

use crate::auth::Scope;
use crate::db::jobs::Job;
use crate::db::kinds::{Id, Instant};
use crate::db::upkeep_needs::FallenDue;
use crate::db::webhooks::{self, EventKind, Webhook};
use crate::db::{Db, deliveries, partner_apps, plans};
use crate::error::ApiError;
use crate::tasks::{Task, enqueue};
use serde::Serialize;
use serde_json::{Value, json};

/// The body of every event, as Standard Webhooks 1.0.0 recommends it.
#[derive(Serialize)]
struct Message<'a> {
    #[serde(rename = "type")]
    kind: EventKind,
    timestamp: Instant,
    data: &'a Value,
}

/// Tells of a job.
pub fn job(db: &mut Db<'_>, kind: EventKind, job: &Job) -> Result<(), ApiError> {
    let webhooks = listening(db, kind, job.customer)?;
    if webhooks.is_empty() {
        return Ok(());
    }
    let data = json!({
        "job": job.id, "vehicle": job.fields.vehicle, "status": job.status, "package": job.fields.package,
        "window_from": job.fields.window_from, "window_to": job.fields.window_to, "start_at": job.start_at,
        "finished_at": job.finished_at, "plan_version": plans::newest_version(db, job.id)?
    });
    webhooks.iter().try_for_each(|webhook| tell(db, webhook, kind, None, &data))
}

/// Tells of needs of one vehicle that fell due on one day, unless that was told before.
pub fn upkeep_due(db: &mut Db<'_>, needs: &[FallenDue]) -> Result<(), ApiError> {
    let Some(first) = needs.first() else { return Ok(()) };
    let kinds: Vec<_> = needs.iter().map(|need| need.kind).collect();
    let data = json!({ "vehicle": first.vehicle, "due_on": first.due_on, "needs": kinds });
    let once = format!("upkeep:{}:{}", first.vehicle, first.due_on);
    let webhooks = listening(db, EventKind::UpkeepDue, first.customer)?;
    webhooks.iter().try_for_each(|webhook| tell(db, webhook, EventKind::UpkeepDue, Some(&once), &data))
}

/// Sends a test to one webhook, whatever it subscribed to; gives the delivery.
pub fn test(db: &mut Db<'_>, webhook: &Webhook) -> Result<Id, ApiError> {
    let delivery = Id::new(db.now);
    send(
        db,
        webhook.id,
        delivery,
        EventKind::Test,
        &json!({ "webhook": webhook.id }),
        &delivery.to_string(),
    )?;
    Ok(delivery)
}

/// Lets a delivery that has been settled begin anew.
pub fn replay(db: &mut Db<'_>, delivery: Id) -> Result<(), ApiError> {
    deliveries::set_status(db, delivery, deliveries::DeliveryStatus::Waiting)?;
    let key = format!("deliver_webhook:{delivery}:{}", Id::new(db.now));
    enqueue(db, Task::DeliverWebhook { delivery }, &key, db.now).map(|_| ())
}

/// Those that listen, and whose app may still hear of this customer.
fn listening(db: &mut Db<'_>, kind: EventKind, customer: Id) -> Result<Vec<Webhook>, ApiError> {
    let mut webhooks = webhooks::listening(db, kind)?;
    if webhooks.iter().any(|webhook| webhook.app.is_some()) {
        let mut apps = partner_apps::with_scope(db, Scope::Webhooks)?;
        apps.retain(|(_, granted)| granted.as_ref().is_none_or(|granted| granted.0.contains(&customer)));
        webhooks.retain(|webhook| webhook.app.is_none_or(|app| apps.iter().any(|(id, _)| *id == app)));
    }
    Ok(webhooks)
}

fn tell(
    db: &mut Db<'_>,
    webhook: &Webhook,
    kind: EventKind,
    once: Option<&str>,
    data: &Value,
) -> Result<(), ApiError> {
    let delivery = Id::new(db.now);
    let own = delivery.to_string();
    send(db, webhook.id, delivery, kind, data, once.unwrap_or(&own))
}

/// `key` makes it unique for its webhook.
fn send(
    db: &mut Db<'_>,
    webhook: Id,
    delivery: Id,
    kind: EventKind,
    data: &Value,
    key: &str,
) -> Result<(), ApiError> {
    let key = format!("deliver_webhook:{webhook}:{key}");
    if enqueue(db, Task::DeliverWebhook { delivery }, &key, db.now)? {
        let message = Message { kind, timestamp: db.now, data };
        deliveries::insert(db, delivery, webhook, kind, &serde_json::to_string(&message)?)?;
    }
    Ok(())
}
