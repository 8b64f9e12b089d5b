//! Tells webhooks of needs that have fallen due: one event for a vehicle and a day, once.

use super::{Failure, Outcome};
use crate::app::App;
use crate::auth::Caller;
use crate::db::Db;
use crate::db::kinds::Id;
use crate::db::upkeep_needs::{self, FallenDue};
use crate::db::webhooks::{self, EventKind};
use crate::error::ApiError;
use crate::{events, upkeep};
use chrono::Days;

/// What fell due while nothing ran is told for so many days; by then a task that is done is still remembered.
const LATE_D: u64 = 7;

pub async fn run(app: &App, shop: Id) -> Result<Outcome, Failure> {
    app.write(&Caller::house(shop), announce).await?;
    Ok(Outcome::Done)
}

fn announce(db: &mut Db<'_>) -> Result<(), ApiError> {
    if webhooks::listening(db, EventKind::UpkeepDue)?.is_empty() {
        return Ok(());
    }
    let today = upkeep::today(db)?;
    let from = today.checked_sub_days(Days::new(LATE_D)).unwrap_or(today);
    let due = upkeep_needs::fell_due(db, from, today)?;
    let same = |a: &FallenDue, b: &FallenDue| (a.vehicle, a.due_on) == (b.vehicle, b.due_on);
    due.chunk_by(same).try_for_each(|needs| events::upkeep_due(db, needs))
}
