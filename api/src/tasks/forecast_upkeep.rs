//! Makes the stored upkeep forecasts of a shop anew, as far as they are older than what they rest on.
//!
//! On an ordinary night these are the few whose day has come; after a change of the handbook, or when somebody asks for
//! it, all of them. Vehicles are read, judged and stored in batches by id, so that memory does not grow with the shop;
//! what is interrupted goes on where it stopped, as what was stored is no longer stale.

use super::worker::Claimed;
use super::{Failure, Outcome};
use crate::app::App;
use crate::auth::Caller;
use crate::db::kinds::Id;
use crate::db::{outbox, upkeep_states};
use crate::error::ApiError;
use crate::upkeep::{Ground, store};
use domain::upkeep::Experience;
use std::sync::Arc;

/// Vehicles that are read, judged and stored together: each commit waits for the disk and touches a page of the list for
/// every day on which one of them is due, so that small batches cost more. Writers wait for one batch at most.
const BATCH: i64 = 4000;
/// How often the log tells how far it has come, vehicles.
const TOLD_EVERY: i64 = 100_000;

/// With `renew`, and every four weeks, everything is made anew from what the shop's vehicles have taught until now.
pub async fn run(app: &App, claimed: &Claimed, renew: bool) -> Result<Outcome, Failure> {
    let house = Caller::house(claimed.shop);
    let renew = renew || app.read(&house, |db| Ground::is_old(db, db.now)).await?;
    let learned = if renew { Some(learn(app, &house).await?) } else { None };
    let (handbooks, task) = (app.handbooks.clone(), claimed.row.id);
    // How much there was to do when it was begun the time before.
    let before = claimed.row.total_count;
    let begin = app.write(&house, move |db| {
        let ground = match learned {
            Some(experience) => Ground::renew(db, &handbooks, experience)?,
            None => Ground::current(db, &handbooks)?,
        };
        upkeep_states::mark_passed(db, ground.today)?;
        let total = upkeep_states::stale_count(db, ground.basis)?;
        if before.is_some_and(|before| total < i64::from(before)) {
            outbox::got_further(db, task)?;
        }
        outbox::set_progress(db, task, 0, total)?;
        Ok((ground, total))
    });
    let (ground, total) = begin.await?;
    let run = Run { app, house, task, total, ground: Arc::new(ground) };
    let done = run.all().await?;
    if done > 0 {
        tracing::info!(shop = %claimed.shop, vehicles = done, "upkeep forecasts made");
    }
    Ok(Outcome::Done)
}

/// What all vehicles of the shop tell about the life of coats.
async fn learn(app: &App, house: &Caller) -> Result<Experience, ApiError> {
    let handbooks = app.handbooks.clone();
    let ground = Arc::new(app.read(house, move |db| Ground::untaught(db, &handbooks)).await?);
    let (mut experience, mut after) = (Experience::default(), None);
    loop {
        let ground = ground.clone();
        let read = app.read(house, move |db| {
            let pasts = upkeep_states::pasts(db, after, BATCH)?;
            let last = pasts.last().filter(|_| pasts.len() as i64 == BATCH).map(|(vehicle, _)| *vehicle);
            let teach = pasts.iter().filter(|(_, past)| store::may_teach(past.as_deref()));
            let inputs =
                upkeep_states::inputs_of(db, &teach.map(|(vehicle, _)| *vehicle).collect::<Vec<_>>())?;
            let ready = store::ready(db, inputs)?;
            if let Err(error) = store::learn(&ground, &ready, &mut experience) {
                tracing::warn!(%error, "nothing is learned about coats");
            }
            Ok((experience, last))
        });
        (experience, after) = read.await?;
        if after.is_none() {
            return Ok(experience);
        }
    }
}

struct Run<'a> {
    app: &'a App,
    house: Caller,
    task: Id,
    total: i64,
    ground: Arc<Ground>,
}

impl Run<'_> {
    /// From the oldest basis to the newest; tells how many vehicles were made anew.
    async fn all(&self) -> Result<i64, ApiError> {
        let mut done = 0;
        let current = self.ground.basis;
        while let Some(basis) =
            self.app.read(&self.house, move |db| Ok(upkeep_states::oldest_basis(db, current)?)).await?
        {
            let mut after = None;
            loop {
                let (last, count) = self.batch(basis, after, done).await?;
                done += count;
                if done / TOLD_EVERY > (done - count) / TOLD_EVERY {
                    tracing::info!(shop = %self.house.shop, done, total = self.total, "upkeep forecasts");
                }
                match last {
                    Some(_) => after = last,
                    None => break,
                }
            }
        }
        Ok(done)
    }

    /// The next batch; its last vehicle unless it was the end, and how many there were.
    async fn batch(&self, basis: i32, after: Option<Id>, done: i64) -> Result<(Option<Id>, i64), ApiError> {
        let ground = self.ground.clone();
        let judge = self.app.read(&self.house, move |db| {
            let inputs = upkeep_states::with_basis(db, basis, after, BATCH)?;
            let (last, count) = (inputs.last().map(|one| one.vehicle), inputs.len() as i64);
            let ready = store::ready(db, inputs)?;
            Ok((last.filter(|_| count == BATCH), count, store::compute(&ground, db.now, ready)?))
        });
        let (last, count, computed) = judge.await?;
        let (ground, task, total) = (self.ground.clone(), self.task, self.total);
        let keep = self.app.write(&self.house, move |db| {
            store::keep(db, &ground, computed)?;
            // More than at the start may have become stale meanwhile.
            let done = done + count;
            Ok(outbox::set_progress(db, task, done, total.max(done))?)
        });
        keep.await?;
        Ok((last, count))
    }
}
