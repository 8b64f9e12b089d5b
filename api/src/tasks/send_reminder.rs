//! Sends a reminder, by mail or as a text message.
//!
//! Whether it may go is decided again just before: what changed since it was found (a consent withdrawn, a complaint,
//! a booking) wins. Then it is marked as sending, and from there on it is never sent again by itself: a customer who
//! hears twice is worse off than one who hears nothing. A broken attempt ends as `uncertain`, for the office to see;
//! an appointment notice is repeated once after a grace, with the same message id.
//!
//! Reminders that are due together are prepared in one transaction, one of each customer: the next of them may by then
//! have been told with it.

use super::decide::{self, Ground, Situation};
use super::parcel::{self, Parcel};
use super::worker::Claimed;
use super::{Failure, Outcome, Task, enqueue};
use crate::app::App;
use crate::auth::Caller;
use crate::db::customers::Purpose;
use crate::db::kinds::{Id, Instant};
use crate::db::outbox::{self, Ending, Row};
use crate::db::reminders::{self, NewReminder, Reminder, ReminderStatus};
use crate::db::{Db, customers};
use crate::error::ApiError;
use chrono::TimeDelta;
use domain::reminder::{Suppression, Verdict};
use std::collections::BTreeMap;

/// After this an appointment notice of which nobody knows whether it arrived is sent once more.
const GRACE: TimeDelta = TimeDelta::minutes(10);

/// What is to be done with a reminder now.
pub enum Prepared {
    Send(Parcel),
    Wait(Instant),
    /// It was held back, or was sent already.
    Nothing,
    /// Another worker has the task.
    Lost,
    /// Whether an earlier attempt at the same task sent it is not known.
    Unknown,
}

/// A task of this file, and the reminder that it sends.
struct Order {
    task: Id,
    fence: i32,
    reminder: Id,
    again: bool,
}

impl Order {
    fn of(row: &Row) -> Option<Order> {
        match serde_json::from_value(row.payload.0.clone()) {
            Ok(Task::SendReminder { reminder, again }) => {
                Some(Order { task: row.id, fence: row.fence, reminder, again })
            }
            _ => None,
        }
    }
}

/// Prepares what of these tasks can be prepared together; what is missing here is prepared alone.
pub async fn prepare_all(app: &App, shop: Id, claimed: &[Claimed]) -> BTreeMap<Id, Prepared> {
    let orders: Vec<Order> = claimed.iter().filter_map(|task| Order::of(&task.row)).collect();
    if orders.len() < 2 {
        return BTreeMap::new();
    }
    let ours = app.clone();
    let prepared =
        app.write(&Caller::house(shop), move |db| prepare(db, &ours, &orders).map(BTreeMap::from_iter)).await;
    prepared.unwrap_or_else(|error| {
        tracing::warn!(%error, "reminders could not be prepared together");
        BTreeMap::new()
    })
}

pub async fn run(
    app: &App,
    claimed: &Claimed,
    (reminder, again): (Id, bool),
    prepared: Option<Prepared>,
) -> Result<Outcome, Failure> {
    let prepared = match prepared {
        Some(prepared) => prepared,
        None => {
            let order = Order { task: claimed.row.id, fence: claimed.row.fence, reminder, again };
            let ours = app.clone();
            let alone = app
                .write(&Caller::house(claimed.shop), move |db| {
                    Ok(prepare(db, &ours, &[order])?.pop().map(|(_, prepared)| prepared))
                })
                .await?;
            alone.unwrap_or(Prepared::Nothing)
        }
    };
    match prepared {
        Prepared::Send(parcel) => parcel.hand_over(app).await.map(|()| Outcome::Done),
        Prepared::Wait(until) => Ok(Outcome::Later(until)),
        Prepared::Nothing => Ok(Outcome::Done),
        Prepared::Lost => Err(Failure::Retry("the lease was lost".into())),
        Prepared::Unknown => Err(Failure::Uncertain("an earlier attempt had begun to send it".into())),
    }
}

/// Decides of these reminders again, one of each customer, and marks as sending what is to go.
fn prepare(db: &mut Db<'_>, app: &App, orders: &[Order]) -> Result<Vec<(Id, Prepared)>, ApiError> {
    let ids: Vec<Id> = orders.iter().map(|order| order.reminder).collect();
    let mut of_customers: Vec<Id> = reminders::among(db, &ids)?.iter().map(|one| one.customer).collect();
    of_customers.sort();
    of_customers.dedup();
    // Two reminders of one customer take turns: the first may tell what the second would.
    let rows = customers::all_locked(db, &of_customers)?;
    let mut found: BTreeMap<Id, Reminder> =
        reminders::among(db, &ids)?.into_iter().map(|reminder| (reminder.id, reminder)).collect();
    let ground = Ground::read(db, &app.handbooks)?;
    let situations = decide::situations(db, &ground, rows)?;
    let mut turns: BTreeMap<Id, &Situation> = situations.iter().map(|one| (one.id, one)).collect();
    let (mut prepared, mut going) = (Vec::with_capacity(orders.len()), Vec::new());
    for order in orders {
        let Some(reminder) = found.remove(&order.reminder) else {
            prepared.push((order.task, Prepared::Nothing));
            continue;
        };
        let Some(situation) = turns.remove(&reminder.customer) else { continue };
        match decide_again(db, app, &ground, (situation, &reminder, order))? {
            Decided::Go(new, parcel) => {
                let says_another = !new.says_the_same_as(&reminder);
                going.push((order, says_another.then_some(new), parcel));
            }
            Decided::Stay(why) => prepared.push((order.task, why)),
        }
    }
    let tasks: Vec<(Id, i32)> = going.iter().map(|(order, ..)| (order.task, order.fence)).collect();
    let ours = outbox::mark_sending(db, &tasks)?;
    let mut as_found = Vec::new();
    for (order, new, parcel) in going {
        // Whoever lost the task changes nothing: somebody else has it in hand.
        let step = if !ours.contains(&order.task) {
            Prepared::Lost
        } else {
            match new {
                Some(new) => reminders::decide_anew(db, order.reminder, &new)?,
                None => as_found.push(order.reminder),
            }
            Prepared::Send(parcel)
        };
        prepared.push((order.task, step));
    }
    reminders::mark_sending(db, &as_found)?;
    Ok(prepared)
}

/// What is to become of a reminder now.
enum Decided {
    /// It goes, unless another worker has the task.
    Go(Box<NewReminder>, Parcel),
    Stay(Prepared),
}

fn decide_again(
    db: &mut Db<'_>,
    app: &App,
    ground: &Ground,
    (situation, reminder, order): (&Situation, &Reminder, &Order),
) -> Result<Decided, ApiError> {
    if reminder.status.0 == ReminderStatus::Sending {
        return Ok(Decided::Stay(Prepared::Unknown));
    }
    let repeats = order.again && reminder.status.0 == ReminderStatus::Uncertain;
    if reminder.status.0 != ReminderStatus::Due && !repeats {
        return Ok(Decided::Stay(Prepared::Nothing));
    }
    let now = db.now;
    let Some(decision) = situation.decision_on(reminder, now) else {
        let together = situation.is_told_by_another(reminder);
        let why = if together { Suppression::ToldTogether } else { Suppression::NoLongerDue };
        return hold_back(db, reminder, why);
    };
    let mut new = situation.reminder(&decision, now);
    match decision.verdict {
        Verdict::Suppress { text, .. } => {
            match repeats {
                true => reminders::explain(db, reminder, &text)?,
                false => reminders::decide_anew(db, reminder.id, &new)?,
            }
            tracing::debug!(reminder = %reminder.id, why = text, "held back at the last moment");
            Ok(Decided::Stay(Prepared::Nothing))
        }
        Verdict::Send { .. } if new.due_at > now => {
            reminders::set_due(db, reminder.id, new.due_at)?;
            Ok(Decided::Stay(Prepared::Wait(new.due_at)))
        }
        Verdict::Send { message, channel, .. } => {
            let Some(parcel) = parcel::pack(db, app, ground, situation, reminder, (channel, message))? else {
                return hold_back(db, reminder, Suppression::NoAddress);
            };
            new.status = ReminderStatus::Sending;
            Ok(Decided::Go(Box::new(new), parcel))
        }
    }
}

/// The repetition of an uncertain one leaves it uncertain: the first may have arrived.
fn hold_back(db: &mut Db<'_>, reminder: &Reminder, why: Suppression) -> Result<Decided, ApiError> {
    match reminder.status.0 {
        ReminderStatus::Uncertain => reminders::explain(db, reminder, &why.text())?,
        _ => reminders::hold_back(db, reminder, why)?,
    }
    Ok(Decided::Stay(Prepared::Nothing))
}

/// The clock has changed by which quiet hours are kept, of a customer or of the shop: what waits for them to end is decided
/// again now, and waits on if it has to. Call it in the transaction of that change.
pub fn decide_anew(db: &mut Db<'_>, customer: Option<Id>) -> Result<(), ApiError> {
    let waiting = reminders::waiting(db, customer)?;
    Ok(outbox::hasten(db, &waiting)?)
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
        let key = format!("send_reminder:{id}:again");
        enqueue(db, Task::SendReminder { reminder: id, again: true }, &key, db.now.plus(GRACE))?;
    }
    Ok(())
}

/// Somebody wants it sent although it failed or may have arrived.
pub fn replayed(db: &mut Db<'_>, id: Id) -> Result<(), ApiError> {
    let open = [ReminderStatus::Uncertain, ReminderStatus::Failed];
    match reminders::find(db, id)? {
        Some(reminder) if open.contains(&reminder.status.0) => {
            Ok(reminders::set_status(db, id, ReminderStatus::Due)?)
        }
        // What arrived meanwhile by another attempt does not go again.
        _ => Ok(()),
    }
}
