//! Forgets tasks that were done long ago, and what was told to webhooks by them. What was given up or is uncertain stays until
//! somebody looks at it, unless it recurs: then a later one has done the same.

use super::{Failure, Outcome, TICKS};
use crate::app::App;
use crate::auth::Caller;
use crate::db::kinds::Id;
use crate::db::{deliveries, outbox};
use chrono::TimeDelta;

/// How long ended tasks can be looked at; an assumption: a month's questions.
const KEPT: TimeDelta = TimeDelta::days(30);

pub async fn run(app: &App, shop: Id) -> Result<Outcome, Failure> {
    let house = Caller::house(shop);
    let forget = app.write(&house, |db| {
        deliveries::delete_settled(db, db.now.plus(-KEPT))?;
        let recurring = TICKS.map(|(task, _)| task.kind());
        Ok(outbox::delete_ended(db, &recurring, db.now.plus(-KEPT))?)
    });
    let forgotten = forget.await?;
    tracing::debug!(%shop, forgotten, "ended tasks forgotten");
    Ok(Outcome::Done)
}
