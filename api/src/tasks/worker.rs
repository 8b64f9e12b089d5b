//! Who does the tasks: claim with a lease, perform outside any transaction, store the end if the lease still holds.
//!
//! Leases are measured by the app's clock, so the clocks of the replicas of one database must agree to some seconds.

use super::{Failure, MAX_ATTEMPTS, Outcome, Task, all_shops, backoff, tick};
use crate::app::App;
use crate::auth::Caller;
use crate::db::Db;
use crate::db::kinds::Id;
use crate::db::outbox::{self, Ending, Row, TaskStatus};
use crate::edge::panic_text;
use crate::error::ApiError;
use chrono::TimeDelta;
use futures_util::FutureExt;
use futures_util::future::join_all;
use std::panic::AssertUnwindSafe;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::{Notify, watch};
use tokio_cron_scheduler::{Job, JobScheduler, JobSchedulerError};

/// How long a task is a worker's own unless it is renewed.
const LEASE: TimeDelta = TimeDelta::seconds(60);
/// A third of the lease: two renewals may fail.
const RENEWAL: Duration = Duration::from_secs(20);
/// Tasks of one shop that are done at the same time.
const IN_FLIGHT: i64 = 4;
/// How often the worker looks for due tasks.
const POLL: Duration = Duration::from_secs(1);
/// Every minute, in UTC.
const HEARTBEAT: &str = "0 * * * * *";

/// A task that is this worker's own for the time of its lease.
#[derive(Debug, Clone)]
pub struct Claimed {
    pub shop: Id,
    pub row: Row,
}

/// Works until `stop` turns true, then finishes what it has begun.
pub async fn run(app: App, stop: watch::Receiver<bool>) {
    let beat = Arc::new(Notify::new());
    beat.notify_one();
    let mut heartbeat = match start_heartbeat(beat.clone()).await {
        Ok(heartbeat) => heartbeat,
        Err(error) => {
            tracing::error!(%error, "background tasks cannot be started");
            return;
        }
    };
    let mut stopped = stop.clone();
    while !*stop.borrow() {
        let ticks = tokio::select! {
            _ = stopped.changed() => break,
            () = beat.notified() => true,
            () = tokio::time::sleep(POLL) => false,
        };
        let outcome = async {
            if ticks {
                tick(&app).await?;
            }
            work_off(&app, &stop).await
        };
        if let Err(error) = outcome.await {
            tracing::error!(%error, "background tasks are delayed");
        }
    }
    if let Err(error) = heartbeat.shutdown().await {
        tracing::warn!(%error, "the heartbeat did not stop");
    }
}

/// The scheduler is only a heartbeat: what is due is told by the tables.
async fn start_heartbeat(beat: Arc<Notify>) -> Result<JobScheduler, JobSchedulerError> {
    let scheduler = JobScheduler::new().await?;
    scheduler.add(Job::new(HEARTBEAT, move |_, _| beat.notify_one())?).await?;
    scheduler.start().await?;
    Ok(scheduler)
}

/// Does everything that is due now, and what becomes due by it; tells how many attempts that took.
/// For tests and the demo, whose clocks stand still.
pub async fn drain(app: &App) -> Result<usize, ApiError> {
    tick(app).await?;
    let (_go, never) = watch::channel(false);
    work_off(app, &never).await
}

/// Shop by shop in turns, until nothing is due or the worker is told to stop.
async fn work_off(app: &App, stop: &watch::Receiver<bool>) -> Result<usize, ApiError> {
    let mut done = 0;
    loop {
        let before = done;
        for shop in all_shops(app).await? {
            if *stop.borrow() {
                return Ok(done);
            }
            let claimed = claim(app, shop).await?;
            done += claimed.len();
            join_all(claimed.iter().map(|task| perform(app, task))).await;
        }
        if done == before {
            return Ok(done);
        }
    }
}

/// Takes due tasks of a shop; first settles those that another worker lost.
pub async fn claim(app: &App, shop: Id) -> Result<Vec<Claimed>, ApiError> {
    let house = Caller::house(shop);
    if !app.read(&house, |db| Ok(outbox::has_due(db)?)).await? {
        return Ok(Vec::new());
    }
    let worker = app.worker.to_string();
    let rows = app
        .write(&house, move |db| {
            settle_lost(db)?;
            Ok(outbox::claim(db, &worker, db.now.plus(LEASE), IN_FLIGHT)?)
        })
        .await?;
    Ok(rows.into_iter().map(|row| Claimed { shop, row }).collect())
}

fn settle_lost(db: &mut Db<'_>) -> Result<(), ApiError> {
    for row in outbox::lost(db, MAX_ATTEMPTS)? {
        let ending = if row.status.0 == TaskStatus::Sending {
            Ending::Uncertain { error: "the worker ended while it was handing over".into() }
        } else {
            Ending::Dead { error: format!("the worker ended {} times while doing it", row.attempt) }
        };
        end(db, &row, &ending)?;
    }
    Ok(())
}

/// Does one claimed task and stores how it ended, unless the lease was lost meanwhile.
pub async fn perform(app: &App, claimed: &Claimed) {
    let attempt = tokio::select! {
        attempt = attempt(app, claimed) => attempt,
        () = keep_lease(app, claimed) => return,
    };
    let row = claimed.row.clone();
    let ending = ending(app, &row, attempt);
    if !matches!(ending, Ending::Done | Ending::Later { .. }) {
        tracing::warn!(task = %row.id, kind = row.kind, attempt = row.attempt, "a task failed: see its last error");
    }
    let stored = app.write(&Caller::house(claimed.shop), move |db| end(db, &row, &ending)).await;
    if let Err(error) = stored {
        tracing::error!(task = %claimed.row.id, %error, "the end of a task could not be stored");
    }
}

async fn attempt(app: &App, claimed: &Claimed) -> Result<Outcome, Failure> {
    let task: Task = serde_json::from_value(claimed.row.payload.0.clone())
        .map_err(|e| Failure::Retry(format!("this version does not know such a task: {e}")))?;
    match AssertUnwindSafe(task.run(app, claimed)).catch_unwind().await {
        Ok(outcome) => outcome,
        Err(panic) => Err(Failure::Retry(format!("panic: {}", panic_text(&*panic)))),
    }
}

/// Renews the lease again and again; ends when it is lost.
async fn keep_lease(app: &App, claimed: &Claimed) {
    loop {
        tokio::time::sleep(RENEWAL).await;
        let (id, fence) = (claimed.row.id, claimed.row.fence);
        let house = Caller::house(claimed.shop);
        let renewed =
            app.write(&house, move |db| Ok(outbox::renew(db, id, fence, db.now.plus(LEASE))?)).await;
        match renewed {
            Ok(true) => {}
            Ok(false) => return,
            Err(error) => tracing::warn!(task = %id, %error, "a lease could not be renewed"),
        }
    }
}

fn ending(app: &App, row: &Row, attempt: Result<Outcome, Failure>) -> Ending {
    match attempt {
        Ok(Outcome::Done) => Ending::Done,
        Ok(Outcome::Later(due_at)) => Ending::Later { due_at },
        Err(Failure::Uncertain(error)) => Ending::Uncertain { error },
        Err(Failure::Never(error)) => Ending::Dead { error },
        Err(Failure::Retry(error)) if row.attempt >= MAX_ATTEMPTS => Ending::Dead { error },
        Err(Failure::Retry(error)) => {
            Ending::Retry { due_at: app.clock.now().plus(backoff(row.id, row.attempt)), error }
        }
    }
}

fn end(db: &mut Db<'_>, row: &Row, ending: &Ending) -> Result<(), ApiError> {
    if !outbox::finish(db, row.id, row.fence, ending)? {
        return Ok(());
    }
    match serde_json::from_value::<Task>(row.payload.0.clone()) {
        Ok(task) => task.ended(db, ending),
        Err(_) => Ok(()),
    }
}
