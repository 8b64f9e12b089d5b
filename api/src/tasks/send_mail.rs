//! Sends the mail of a reminder.
//!
//! Whether it may go is decided again just before: what changed since it was found (a consent withdrawn, a complaint,
//! a booking) wins. Then it is marked as sending, and from there on it is never sent again by itself: a customer who
//! hears twice is worse off than one who hears nothing. A broken attempt ends as `uncertain`, for the office to see;
//! an appointment notice is repeated once after a grace, with the same message id.

use super::decide::{self, Ground};
use super::worker::Claimed;
use super::{Failure, Outcome, Task, enqueue};
use crate::app::App;
use crate::auth::Caller;
use crate::auth::links::UnsubscribeLink;
use crate::config::Config;
use crate::db::customers::Purpose;
use crate::db::kinds::{Id, Instant};
use crate::db::outbox::{self, Ending};
use crate::db::reminders::{self, Reminder, ReminderStatus};
use crate::db::shops::Shop;
use crate::db::{Db, customers};
use crate::error::ApiError;
use crate::mail::{Letter, Undelivered, Unsubscribe};
use chrono::TimeDelta;
use domain::reminder::Verdict;

/// After this an appointment notice of which nobody knows whether it arrived is sent once more.
const GRACE: TimeDelta = TimeDelta::minutes(10);

/// What is to be done with a reminder now.
enum Step {
    Send(Box<Letter>),
    Wait(Instant),
    /// It was held back, or was sent already.
    Nothing,
    /// Another worker has the task.
    Lost,
}

pub async fn run(app: &App, claimed: &Claimed, reminder: Id, again: bool) -> Result<Outcome, Failure> {
    let (id, fence) = (claimed.row.id, claimed.row.fence);
    let ours = app.clone();
    let step = app
        .write(&Caller::house(claimed.shop), move |db| {
            let step = prepare(db, &ours, reminder, again)?;
            match step {
                Step::Send(_) if !outbox::mark_sending(db, id, fence)? => Ok(Step::Lost),
                step => Ok(step),
            }
        })
        .await?;
    match step {
        Step::Send(letter) => match app.mail.send(&letter).await {
            Ok(()) => Ok(Outcome::Done),
            Err(error @ Undelivered::NotNow(_)) => Err(Failure::Retry(error.to_string())),
            Err(error @ Undelivered::Never(_)) => Err(Failure::Never(error.to_string())),
            Err(error @ Undelivered::Unknown(_)) => Err(Failure::Uncertain(error.to_string())),
        },
        Step::Wait(until) => Ok(Outcome::Later(until)),
        Step::Nothing => Ok(Outcome::Done),
        Step::Lost => Err(Failure::Retry("the lease was lost".into())),
    }
}

fn prepare(db: &mut Db<'_>, app: &App, id: Id, again: bool) -> Result<Step, ApiError> {
    let Some(found) = reminders::find(db, id)? else { return Ok(Step::Nothing) };
    // Two reminders of one customer take turns: the first may tell what the second would.
    let Some(row) = customers::find_locked(db, found.customer)? else { return Ok(Step::Nothing) };
    let Some(reminder) = reminders::find(db, id)? else { return Ok(Step::Nothing) };
    let repeats = again && reminder.status.0 == ReminderStatus::Uncertain;
    if reminder.status.0 != ReminderStatus::Due && !repeats {
        return Ok(Step::Nothing);
    }
    let now = db.now;
    let ground = Ground::read(db, &app.handbooks)?;
    let situations = decide::situations(db, &ground, vec![row])?;
    let situation = situations.first().ok_or(ApiError::NotFound)?;
    let Some(decision) = situation.decision_on(&reminder, now) else {
        let together = situation.is_told_by_another(&reminder);
        let why =
            if together { "It was told together with another reminder." } else { "It is no longer due." };
        return hold_back(db, &reminder, why);
    };
    let mut new = situation.reminder(&decision, now);
    match (decision.verdict, &situation.email) {
        (Verdict::Suppress { text, .. }, _) => {
            if !repeats {
                reminders::decide_anew(db, id, &new)?;
            }
            tracing::debug!(reminder = %id, why = text, "held back at the last moment");
            Ok(Step::Nothing)
        }
        (Verdict::Send { .. }, None) => hold_back(db, &reminder, "The customer has no mail address."),
        (Verdict::Send { .. }, _) if new.due_at > now => {
            reminders::set_due(db, id, new.due_at)?;
            Ok(Step::Wait(new.due_at))
        }
        (Verdict::Send { message, .. }, Some(email)) => {
            new.status = ReminderStatus::Sending;
            reminders::decide_anew(db, id, &new)?;
            let link = UnsubscribeLink { shop: db.shop, customer: situation.id, purpose: new.purpose };
            Ok(Step::Send(Box::new(Letter {
                id: id.to_string(),
                from_name: ground.shop.fields.name.clone(),
                from: sender(&ground.shop, &app.config),
                to_name: situation.name.clone(),
                to: email.clone(),
                subject: message.subject,
                text: message.body,
                unsubscribe: Some(Unsubscribe {
                    what: what(new.purpose).into(),
                    url: format!("{}/u/{}", app.config.public_url, link.seal(&app.keys)?),
                }),
                at: now,
            })))
        }
    }
}

/// The repetition of an uncertain one leaves it uncertain: the first may have arrived.
fn hold_back(db: &mut Db<'_>, reminder: &Reminder, why: &str) -> Result<Step, ApiError> {
    if reminder.status.0 != ReminderStatus::Uncertain {
        reminders::hold_back(db, reminder.id, why)?;
    }
    Ok(Step::Nothing)
}

fn sender(shop: &Shop, config: &Config) -> String {
    shop.fields.settings.0.mail_from.clone().unwrap_or_else(|| config.mail_from.clone())
}

/// What a customer gets for a purpose, in words.
pub fn what(purpose: Purpose) -> &'static str {
    match purpose {
        Purpose::Appointment => "appointment notices",
        Purpose::Maintenance => "maintenance reminders",
        Purpose::Aftercare => "care advice",
    }
}

/// Stores on the reminder how its task ended.
pub fn ended(db: &mut Db<'_>, id: Id, again: bool, ending: &Ending) -> Result<(), ApiError> {
    let Some(reminder) = reminders::find(db, id)? else { return Ok(()) };
    let handed_over = reminder.status.0 == ReminderStatus::Sending;
    let becomes = match ending {
        Ending::Done if handed_over => ReminderStatus::Sent,
        Ending::Uncertain { .. } if handed_over => ReminderStatus::Uncertain,
        Ending::Retry { .. } | Ending::Dead { .. } if handed_over && again => ReminderStatus::Uncertain,
        Ending::Retry { .. } if handed_over => ReminderStatus::Due,
        Ending::Dead { .. } if handed_over || reminder.status.0 == ReminderStatus::Due => {
            ReminderStatus::Failed
        }
        _ => return Ok(()),
    };
    reminders::set_status(db, id, becomes)?;
    if becomes == ReminderStatus::Uncertain && reminder.purpose.0 == Purpose::Appointment && !again {
        let key = format!("send_mail:{id}:again");
        enqueue(db, Task::SendMail { reminder: id, again: true }, &key, db.now.plus(GRACE))?;
    }
    Ok(())
}

/// Somebody wants it sent although it failed or may have arrived.
pub fn replayed(db: &mut Db<'_>, id: Id) -> Result<(), ApiError> {
    Ok(reminders::set_status(db, id, ReminderStatus::Due)?)
}
