//! Who does the tasks: claim with a lease, perform outside any transaction, store the end if the lease still holds.
//!
//! Leases are measured by the clock of the database, so a replica whose own clock is wrong takes nothing that another has.
//! What is due is asked by the replica's own clock: one that is ahead does things early, and nobody does them twice.
//! A replica hears at once of tasks that it adds itself, and looks for those of the others.

use super::send_reminder::{self, Prepared};
use super::{Failure, MAX_ATTEMPTS, Outcome, Task, all_shops, backoff, tick};
use crate::app::App;
use crate::auth::Caller;
use crate::db::Db;
use crate::db::kinds::{Id, Instant};
use crate::db::outbox::{self, Ending, Row, TaskStatus};
use crate::db::sync::{Touch, clock};
use crate::edge::panic_text;
use crate::error::ApiError;
use chrono::TimeDelta;
use futures_util::FutureExt;
use futures_util::future::join3;
use std::collections::BTreeMap;
use std::panic::AssertUnwindSafe;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::{Notify, watch};
use tokio::task::JoinSet;
use tokio_cron_scheduler::{Job, JobScheduler, JobSchedulerError};

/// How long a task is a worker's own unless it is renewed.
const LEASE: TimeDelta = TimeDelta::seconds(60);
/// A third of the lease: two renewals may fail.
const RENEWAL: Duration = Duration::from_secs(20);
/// Tasks of one shop that are done at the same time, by one replica and lane. A mail takes 40 ms and more, however little
/// there is to do (the last line of its text waits for the server's receipt of the rest), so that 500 a second need 20
/// at least, and as many again while those are prepared and stored (measured); every kill loses as many.
pub const IN_FLIGHT: i64 = 48;
/// How often the worker looks for due tasks.
const POLL: Duration = Duration::from_secs(1);
/// Every minute, in UTC.
const HEARTBEAT: &str = "0 * * * * *";

/// Calls to whatever may hang, as mail servers and addresses that strangers chose do, and searches, which take their time,
/// wait in lanes of their own.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Lane {
    House,
    Calls,
    Searches,
}

impl Lane {
    const ALL: [Lane; 3] = [Lane::House, Lane::Calls, Lane::Searches];

    /// The kinds that go in this lane.
    fn own(self) -> &'static [&'static str] {
        match self {
            Lane::House => &[
                "find_reminders",
                "forecast_upkeep",
                "announce_upkeep",
                "back_up",
                "purge_tokens",
                "purge_tasks",
                "purge_replies",
                "purge_sync",
            ],
            Lane::Calls => &["deliver_webhook", "send_reminder", "refresh_weather", "refresh_ways"],
            Lane::Searches => &["plan_rounds"],
        }
    }

    /// Batches of one shop that are in hand together: while one waits for others' servers, another is prepared.
    fn batches(self) -> i64 {
        match self {
            Lane::House | Lane::Searches => 1,
            Lane::Calls => 2,
        }
    }

    /// The kinds that go in the other lanes; what nobody knows goes in every lane, and is told so.
    fn others(self) -> Vec<&'static str> {
        Lane::ALL.into_iter().filter(|lane| *lane != self).flat_map(Lane::own).copied().collect()
    }
}

/// A task that is this worker's own for the time of its lease.
#[derive(Debug, Clone)]
pub struct Claimed {
    pub shop: Id,
    pub row: Row,
}

/// Works until `stop` turns true, then finishes what it has begun.
pub async fn run(app: App, stop: watch::Receiver<bool>) {
    if let Err(error) = tell_of_release(&app).await {
        tracing::error!(%error, "phones were not told of the tables of this release");
    }
    let beat = Arc::new(Notify::new());
    beat.notify_one();
    let outcome = async {
        let mut heartbeat = start_heartbeat(beat.clone()).await?;
        let unbeaten = Notify::new();
        let house = work_until_stopped(&app, Lane::House, &beat, &stop);
        let calls = work_until_stopped(&app, Lane::Calls, &unbeaten, &stop);
        let searches = work_until_stopped(&app, Lane::Searches, &app.wake_searches, &stop);
        join3(house, calls, searches).await;
        heartbeat.shutdown().await
    };
    if let Err(error) = outcome.await {
        tracing::error!(%error, "the heartbeat of the background tasks failed");
    }
}

/// Tells phones of the standard tables where those of another release were told before: once, when this one starts, as
/// replicas of both may serve for a while.
pub async fn tell_of_release(app: &App) -> Result<(), ApiError> {
    for shop in all_shops(app).await? {
        let house = Caller::house(shop);
        let tell = app.write(&house, |db| {
            if !clock::knows_standard(db)? {
                db.touch(Touch::Handbook);
            }
            Ok(())
        });
        tell.await?;
    }
    Ok(())
}

async fn work_until_stopped(app: &App, lane: Lane, beat: &Notify, stop: &watch::Receiver<bool>) {
    let mut stopped = stop.clone();
    let mut added = app.database.due_tasks();
    while !*stop.borrow() {
        let ticks = tokio::select! {
            _ = stopped.changed() => return,
            () = beat.notified() => lane == Lane::House,
            Ok(()) = added.changed() => false,
            () = tokio::time::sleep(POLL) => false,
        };
        let outcome = async {
            if ticks {
                tick(app).await?;
            }
            work_off(app, lane, &all_shops(app).await?, stop).await
        };
        tokio::select! {
            outcome = outcome => {
                if let Err(error) = outcome {
                    tracing::error!(%error, "background tasks are delayed");
                }
            }
            // A search may take minutes: it is left, and done anew by whoever finds its lease run out.
            _ = stopped.changed(), if lane == Lane::Searches => return,
        }
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
    let mut done = 0;
    loop {
        let before = done;
        for lane in Lane::ALL {
            done += work_off(app, lane, &all_shops(app).await?, &never).await?;
        }
        if done == before {
            return Ok(done);
        }
    }
}

/// Does what is due in one shop now, in the lanes of these kinds; tells how many attempts that took. For measurements.
pub async fn work_shop(app: &App, shop: Id, kinds: &[&str]) -> Result<usize, ApiError> {
    let (_go, never) = watch::channel(false);
    let mut done = 0;
    for lane in Lane::ALL.into_iter().filter(|lane| lane.own().iter().any(|kind| kinds.contains(kind))) {
        done += work_off(app, lane, &[shop], &never).await?;
    }
    Ok(done)
}

/// Until nothing is due in these shops or the worker is told to stop; tells how many attempts that took.
async fn work_off(
    app: &App,
    lane: Lane,
    shops: &[Id],
    stop: &watch::Receiver<bool>,
) -> Result<usize, ApiError> {
    match lane {
        Lane::House => in_turn(app, shops, stop).await,
        Lane::Calls | Lane::Searches => abreast(app, lane, shops, stop).await,
    }
}

/// What the house does: shop by shop.
async fn in_turn(app: &App, shops: &[Id], stop: &watch::Receiver<bool>) -> Result<usize, ApiError> {
    let mut done = 0;
    loop {
        let before = done;
        for &shop in shops {
            if *stop.borrow() {
                break;
            }
            let claimed = claim_in(app, Lane::House, shop).await?;
            done += claimed.len();
            perform_all(app, shop, claimed).await;
        }
        if done == before || *stop.borrow() {
            return Ok(done);
        }
    }
}

/// What may wait for others: all shops beside each other. Each goes on as soon as one of its batches has ended, and what
/// becomes due meanwhile is begun, so that nobody waits for a call of somebody else. What is in hand is brought to its end.
async fn abreast(
    app: &App,
    lane: Lane,
    shops: &[Id],
    stop: &watch::Receiver<bool>,
) -> Result<usize, ApiError> {
    let (mut done, mut failed) = (0, None);
    let (mut batches, mut in_hand) = (JoinSet::new(), BTreeMap::new());
    let mut added = app.database.due_tasks();
    let mut ready = shops.to_vec();
    loop {
        for shop in ready {
            let of_shop = in_hand.entry(shop).or_insert(0);
            while *of_shop < lane.batches() && !*stop.borrow() {
                match claim_in(app, lane, shop).await {
                    Ok(claimed) if claimed.is_empty() => break,
                    Ok(claimed) => {
                        done += claimed.len();
                        *of_shop += 1;
                        let app = app.clone();
                        batches.spawn(async move {
                            perform_all(&app, shop, claimed).await;
                            shop
                        });
                    }
                    Err(error) => {
                        failed = Some(error);
                        break;
                    }
                }
            }
        }
        ready = tokio::select! {
            ended = batches.join_next() => match ended {
                Some(Ok(shop)) => {
                    *in_hand.entry(shop).or_insert(1) -= 1;
                    vec![shop]
                }
                Some(Err(error)) => {
                    tracing::error!(%error, "a batch of tasks broke off");
                    Vec::new()
                }
                None => return failed.map_or(Ok(done), Err),
            },
            Ok(()) = added.changed() => shops.to_vec(),
            () = tokio::time::sleep(POLL) => shops.to_vec(),
        };
    }
}

/// Takes due tasks of a shop, of all lanes; first settles those that another worker lost.
pub async fn claim(app: &App, shop: Id) -> Result<Vec<Claimed>, ApiError> {
    let mut claimed = Vec::new();
    for lane in Lane::ALL {
        claimed.extend(claim_in(app, lane, shop).await?);
    }
    Ok(claimed)
}

async fn claim_in(app: &App, lane: Lane, shop: Id) -> Result<Vec<Claimed>, ApiError> {
    let house = Caller::house(shop);
    loop {
        if !app.read(&house, move |db| Ok(outbox::has_due(db, &lane.others())?)).await? {
            return Ok(Vec::new());
        }
        let worker = app.worker.to_string();
        let taken = app
            .write(&house, move |db| {
                let limit = IN_FLIGHT / lane.batches();
                let taken = outbox::claim(db, &worker, LEASE, &lane.others(), limit, MAX_ATTEMPTS)?;
                taken.unfit.iter().try_for_each(|row| end_lost(db, row))?;
                Ok(taken)
            })
            .await?;
        if taken.unfit.is_empty() || !taken.claimed.is_empty() {
            return Ok(taken.claimed.into_iter().map(|row| Claimed { shop, row }).collect());
        }
    }
}

/// Ends what another worker lost and nobody may simply begin again.
fn end_lost(db: &mut Db<'_>, row: &Row) -> Result<(), ApiError> {
    let ending = match row.status.0 {
        TaskStatus::Sending => {
            Ending::Uncertain { error: "the worker ended while it was handing over".into() }
        }
        _ => Ending::Dead { error: format!("the worker ended {} times while doing it", row.attempt) },
    };
    end(db, row, &ending)
}

/// Does one claimed task and stores how it ended, unless the lease was lost meanwhile.
pub async fn perform(app: &App, claimed: &Claimed) {
    perform_all(app, claimed.shop, vec![claimed.clone()]).await;
}

/// Does claimed tasks of a shop beside each other and stores how they ended; those that end while a transaction runs are
/// stored together by the next. Each runs by itself: one that waits for its turn at the database must not be left waiting
/// while the ends of others are stored. All end with this future.
async fn perform_all(app: &App, shop: Id, claimed: Vec<Claimed>) {
    let mut prepared = send_reminder::prepare_all(app, shop, &claimed).await;
    let mut running = JoinSet::new();
    for task in claimed {
        let (app, prepared) = (app.clone(), prepared.remove(&task.row.id));
        running.spawn(async move { done_by(&app, task, prepared).await });
    }
    while let Some(first) = running.join_next().await {
        let others = std::iter::from_fn(|| running.try_join_next());
        let ended: Vec<_> = [first].into_iter().chain(others).filter_map(Result::ok).flatten().collect();
        store_ends(app, shop, ended).await;
    }
}

/// How a task ended, unless its lease was lost.
async fn done_by(app: &App, claimed: Claimed, prepared: Option<Prepared>) -> Option<(Row, Ending)> {
    let attempt = tokio::select! {
        attempt = attempt(app, &claimed, prepared) => attempt,
        () = keep_lease(app, &claimed) => return None,
    };
    let row = if attempt.is_err() { as_counted(app, claimed).await } else { claimed.row };
    let ending = ending(app, &row, attempt);
    report(&row, &ending);
    Some((row, ending))
}

/// The task with the attempts that count: those before it got further do not.
async fn as_counted(app: &App, claimed: Claimed) -> Row {
    let Claimed { shop, row } = claimed;
    let id = row.id;
    let now = app.read(&Caller::house(shop), move |db| Ok(outbox::find(db, id)?)).await;
    match now {
        Ok(Some(now)) if now.fence == row.fence => Row { attempt: now.attempt, ..row },
        _ => row,
    }
}

/// All together, or, where that fails because of one of them, one by one.
async fn store_ends(app: &App, shop: Id, ends: Vec<(Row, Ending)>) {
    let house = Caller::house(shop);
    let together = ends.clone();
    let stored = app.write(&house, move |db| end_together(db, &together)).await;
    let Err(error) = stored else { return };
    tracing::warn!(%error, "the ends of tasks could not be stored together");
    for (row, ending) in ends {
        let task = row.id;
        if let Err(error) = app.write(&house, move |db| end(db, &row, &ending)).await {
            tracing::error!(%task, %error, "the end of a task could not be stored");
        }
    }
}

/// The error itself stays in the table: it may name people.
fn report(row: &Row, ending: &Ending) {
    if !matches!(ending, Ending::Done | Ending::Later { .. }) {
        tracing::warn!(task = %row.id, kind = row.kind, attempt = row.attempt, "a task failed: see its last error");
    }
}

async fn attempt(app: &App, claimed: &Claimed, prepared: Option<Prepared>) -> Result<Outcome, Failure> {
    let task: Task = serde_json::from_value(claimed.row.payload.0.clone())
        .map_err(|e| Failure::Retry(format!("this version does not know such a task: {e}")))?;
    match AssertUnwindSafe(task.run(app, claimed, prepared)).catch_unwind().await {
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
        let renewed = app.write(&house, move |db| Ok(outbox::renew(db, id, fence, LEASE)?)).await;
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
        Err(Failure::Retry(error) | Failure::RetryFrom(_, error)) if row.attempt >= MAX_ATTEMPTS => {
            Ending::Dead { error }
        }
        Err(Failure::Retry(error)) => Ending::Retry { due_at: retry_at(app, row), error },
        Err(Failure::RetryFrom(from, error)) => Ending::Retry { due_at: retry_at(app, row).max(from), error },
    }
}

fn retry_at(app: &App, row: &Row) -> Instant {
    app.clock.now().plus(backoff(row.id, row.attempt))
}

/// What went well by one statement, or one for each number of claims; an error if one of these was lost.
fn end_together(db: &mut Db<'_>, ends: &[(Row, Ending)]) -> Result<(), ApiError> {
    let mut done: BTreeMap<i32, Vec<Id>> = BTreeMap::new();
    for (row, ending) in ends {
        match ending {
            Ending::Done => done.entry(row.fence).or_default().push(row.id),
            _ => end(db, row, ending)?,
        }
    }
    for (fence, ids) in done {
        if !outbox::finish_done(db, &ids, fence)? {
            return Err(ApiError::Stale);
        }
    }
    let well = ends.iter().filter(|(_, ending)| *ending == Ending::Done);
    // What this release does not know has nothing else to store.
    let tasks = well.filter_map(|(row, _)| serde_json::from_value(row.payload.0.clone()).ok());
    Task::all_done(db, tasks)
}

fn end(db: &mut Db<'_>, row: &Row, ending: &Ending) -> Result<(), ApiError> {
    match outbox::finish(db, row.id, row.fence, ending)? {
        true => ended(db, row, ending),
        false => Ok(()),
    }
}

/// What else is to be stored.
fn ended(db: &mut Db<'_>, row: &Row, ending: &Ending) -> Result<(), ApiError> {
    match serde_json::from_value::<Task>(row.payload.0.clone()) {
        Ok(task) => task.ended(db, ending),
        Err(_) => Ok(()),
    }
}
