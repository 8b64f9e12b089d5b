//! Searches for rounds that somebody asked for. Whoever waits for it reads how far it is from its row, on any replica;
//! whoever cancels it changes the row, and the search ends within a moment.

use super::worker::Claimed;
use super::{Failure, Outcome};
use crate::app::App;
use crate::auth::Caller;
use crate::db::Db;
use crate::db::kinds::Id;
use crate::db::outbox::Ending;
use crate::db::round_plans::{self, RoundPlanStatus};
use crate::dispatch::gather::{Depth, gather};
use crate::dispatch::search::{Watched, search};
use crate::error::ApiError;
use std::time::Duration;

/// How often the row is told how far the search is, and asked whether it is still wanted.
const TOLD_EVERY: Duration = Duration::from_millis(400);

pub async fn run(app: &App, claimed: &Claimed, id: Id) -> Result<Outcome, Failure> {
    let house = Caller::house(claimed.shop);
    let begun = app.write(&house, move |db| Ok(round_plans::begin(db, id)?)).await?;
    if !begun {
        return Ok(Outcome::Done);
    }
    let handbooks = app.handbooks.clone();
    let read = app.read(&house, move |db| {
        let plan = round_plans::find(db, id)?.ok_or(ApiError::NotFound)?;
        let handbook = handbooks.of(db)?;
        let gathered = gather(db, &handbook, &plan.ask.0, Depth::Whole)?;
        Ok((plan, handbook, gathered))
    });
    let (plan, handbook, gathered) = read.await?;
    let watched = Watched::default();
    let (ask, watch) = (plan.ask.0.clone(), watched.clone());
    let searching = app.searching(move || search(&handbook, gathered, &ask, &watch));
    tokio::pin!(searching);
    // A search that nobody waits for any more ends by itself.
    let _stops = StopsOnDrop(watched.clone());
    let found = loop {
        tokio::select! {
            found = &mut searching => break found?,
            () = tokio::time::sleep(TOLD_EVERY) => {
                let progress = watched.progress();
                if !app.write(&house, move |db| Ok(round_plans::advance(db, id, progress)?)).await? {
                    watched.stop();
                }
            }
        }
    };
    let progress = watched.progress();
    app.write(&house, move |db| {
        Ok(round_plans::finish(db, &plan, (&found.fingerprint, progress), found.outcome)?)
    })
    .await?;
    Ok(Outcome::Done)
}

/// Ends a search whose task was lost.
struct StopsOnDrop(Watched);

impl Drop for StopsOnDrop {
    fn drop(&mut self) {
        self.0.stop();
    }
}

/// A search that was given up is told to have failed.
pub fn ended(db: &mut Db<'_>, id: Id, ending: &Ending) -> Result<(), ApiError> {
    let (Ending::Dead { error } | Ending::Uncertain { error }) = ending else { return Ok(()) };
    tracing::warn!(plan = %id, error, "rounds could not be searched");
    if let Some(plan) = round_plans::find(db, id)? {
        let told = "It failed on our side; the log of the server says why.";
        round_plans::end(db, &plan, RoundPlanStatus::Failed, Some(told))?;
    }
    Ok(())
}
