//! Decides for every customer of a shop of whom something may be due which reminders are: each becomes a row, held back or with a task that
//! sends it, in one transaction. Doing it twice makes no row twice.

use super::decide::{self, Cause, Ground};
use super::worker::Claimed;
use super::{Failure, Outcome, Task, enqueue};
use crate::app::App;
use crate::auth::Caller;
use crate::db::kinds::Id;
use crate::db::reminders::{self, NewReminder, Reminder, ReminderStatus};
use crate::db::{Db, customers, outbox};
use crate::error::ApiError;
use crate::handbooks::Handbooks;
use std::sync::Arc;

/// Customers that are read and decided together.
const PAGE: i64 = 100;

pub async fn run(app: &App, claimed: &Claimed) -> Result<Outcome, Failure> {
    let (house, task) = (Caller::house(claimed.shop), claimed.row.id);
    let handbooks = app.handbooks.clone();
    let ground = app.read(&house, move |db| Ground::read(db, &handbooks)).await?;
    let ground = Arc::new(ground);
    for cause in [Cause::Needs, Cause::Jobs] {
        let mut after = None;
        loop {
            let ground = ground.clone();
            let (last, found) = app.read(&house, move |db| find(db, &ground, cause, after)).await?;
            if !found.is_empty() {
                app.write(&house, move |db| store_all(db, task, &found)).await?;
            }
            after = last;
            if last.is_none() {
                break;
            }
        }
    }
    Ok(Outcome::Done)
}

/// The same for one customer of whom something has just become due. Call it in the transaction of what made it so.
pub fn of_customer(db: &mut Db<'_>, handbooks: &Handbooks, customer: Id) -> Result<(), ApiError> {
    let Some(row) = customers::find_locked(db, customer)? else { return Ok(()) };
    let ground = Ground::read(db, handbooks)?;
    let now = db.now;
    for situation in decide::situations(db, &ground, vec![row])? {
        for decision in situation.decisions(now) {
            store(db, &situation.reminder(&decision, now))?;
        }
    }
    Ok(())
}

/// What is due to the next page of customers, and the last of them unless the page was not full.
fn find(
    db: &mut Db<'_>,
    ground: &Ground,
    cause: Cause,
    after: Option<Id>,
) -> Result<(Option<Id>, Vec<NewReminder>), ApiError> {
    let rows = ground.candidates(db, cause, after, PAGE)?;
    let last = rows.last().map(|row| row.id).filter(|_| rows.len() as i64 == PAGE);
    let now = db.now;
    let found = decide::situations(db, ground, rows)?
        .iter()
        .flat_map(|situation| {
            situation.decisions(now).into_iter().map(move |decision| situation.reminder(&decision, now))
        })
        .collect();
    Ok((last, found))
}

fn store_all(db: &mut Db<'_>, task: Id, found: &[NewReminder]) -> Result<(), ApiError> {
    let mut is_news = false;
    for new in found {
        is_news |= store(db, new)?;
    }
    if is_news {
        outbox::got_further(db, task)?;
    }
    Ok(())
}

/// A reminder that was held back may be decided anew; any other stays as it is. Tells whether it says anything new.
fn store(db: &mut Db<'_>, new: &NewReminder) -> Result<bool, ApiError> {
    let (dedupe_key, known) = place(db, new)?;
    let id = match known {
        None => reminders::insert(db, &NewReminder { dedupe_key, ..new.clone() })?,
        Some(old) if old.status.0 != ReminderStatus::Suppressed => return Ok(false),
        Some(old) if new.status == ReminderStatus::Suppressed && old.reason == new.reason => {
            return Ok(false);
        }
        Some(old) => {
            reminders::decide_anew(db, old.id, new)?;
            old.id
        }
    };
    if new.status == ReminderStatus::Due {
        // It may be held back and decided anew several times: each time is a task of its own.
        let key = format!("send_reminder:{id}:{}", db.now);
        enqueue(db, Task::SendReminder { reminder: id, again: false }, &key, new.due_at)?;
    }
    Ok(true)
}

/// The key under which it is stored, and what is stored there. A message that was decided again just before it went may not
/// have told of the need that its key names, and one that failed told of nothing: what tells of it now is known by the day of
/// that one, too.
fn place(db: &mut Db<'_>, new: &NewReminder) -> Result<(String, Option<Reminder>), ApiError> {
    let mut key = new.dedupe_key.clone();
    loop {
        match reminders::find_by_key(db, &key)? {
            Some(old) if left_out(&old, new) => key = format!("{key}:{}", old.created_at.utc().date()),
            known => return Ok((key, known)),
        }
    }
}

/// True if `old` did not tell of the need that the key of `new` names.
fn left_out(old: &Reminder, new: &NewReminder) -> bool {
    let lead = new.dedupe_key.split_once(':').map(|(_, lead)| lead);
    let names = |needs: &[String]| needs.iter().any(|need| Some(need.as_str()) == lead);
    let told = old.status.0 != ReminderStatus::Failed && names(&old.document.0.needs);
    old.status.0 != ReminderStatus::Suppressed && names(&new.document.needs) && !told
}
