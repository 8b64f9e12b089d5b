//! Background work. The customer's work is a job, never a task; this is what happens without being asked.
//!
//! A task is a row in the outbox, written in the transaction of what caused it, or by the tick. The tick only adds
//! rows with a unique key (kind and period), so that it does not matter how often, or on how many replicas, it runs.
//! Reading order: [`Task`] and [`TICKS`], [`worker`] (claim, perform, finish), one file per task.

mod announce_upkeep;
mod back_up;
pub mod decide;
mod deliver_webhook;
pub mod find_reminders;
mod forecast_upkeep;
mod parcel;
mod plan_rounds;
mod purge_replies;
pub mod purge_sync;
mod purge_tasks;
mod purge_tokens;
mod refresh_ways;
mod refresh_weather;
pub mod send_reminder;
pub mod worker;

use crate::app::App;
use crate::auth::Caller;
use crate::db::kinds::{Id, Instant};
use crate::db::outbox::{self, Ending};
use crate::db::sync::scopes;
use crate::db::{Db, reminders, shops};
use crate::error::ApiError;
use chrono::{NaiveTime, TimeDelta};
use chrono_tz::Tz;
use domain::civil::{LocalRule, RuleDays, last_due, next_due};
use send_reminder::Prepared;
use serde::{Deserialize, Serialize};
use worker::Claimed;

/// Attempts before a task is given up; it can be replayed.
pub const MAX_ATTEMPTS: i32 = 10;

/// What can be done in the background.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Task {
    /// Decides which reminders are due to customers.
    FindReminders,
    /// Makes upkeep forecasts anew: those that are stale, or, with `renew`, all.
    ForecastUpkeep {
        #[serde(default)]
        renew: bool,
    },
    /// Sends a reminder, by mail or text message.
    #[serde(alias = "send_mail")]
    SendReminder {
        reminder: Id,
        /// The one repetition of an appointment notice of which nobody knows whether it arrived.
        #[serde(default)]
        again: bool,
    },
    /// Tells webhooks of what vehicles need from now on.
    AnnounceUpkeep,
    /// Calls a webhook.
    DeliverWebhook { delivery: Id },
    /// Searches for rounds.
    PlanRounds { plan: Id },
    /// Fetches the weather at the shop's place, if the shop says where.
    RefreshWeather,
    /// Asks for the ways between the places of the next two weeks, if the shop says whom.
    RefreshWays,
    /// Copies the embedded database.
    BackUp,
    /// Forgets logins that ended long ago.
    PurgeTokens,
    /// Forgets tasks that were done long ago.
    PurgeTasks,
    /// Forgets replies kept for repeated requests.
    PurgeReplies,
    /// Forgets what phones no longer need.
    PurgeSync,
}

/// When something recurs.
#[derive(Debug, Clone, Copy)]
pub enum Every {
    /// So many minutes, counted from 1970 in UTC.
    Minutes(i64),
    /// At three in the night by the shop's clock, whatever the clock does in that night.
    Night,
}

/// When crews sleep and nobody plans (assumption).
const NIGHT: TimeDelta = TimeDelta::hours(3);

/// What recurs in every shop, and when.
pub const TICKS: [(Task, Every); 10] = [
    (Task::RefreshWeather, Every::Minutes(180)),
    (Task::RefreshWays, Every::Minutes(60)),
    (Task::BackUp, Every::Night),
    (Task::ForecastUpkeep { renew: false }, Every::Night),
    (Task::FindReminders, Every::Minutes(10)),
    (Task::AnnounceUpkeep, Every::Minutes(60)),
    (Task::PurgeTokens, Every::Night),
    (Task::PurgeTasks, Every::Night),
    (Task::PurgeReplies, Every::Night),
    (Task::PurgeSync, Every::Night),
];

impl Every {
    /// The present period and the next, each named the same by every replica for as long as it lasts.
    fn periods(self, zone: Tz, now: Instant) -> [String; 2] {
        match self {
            Every::Minutes(every) => {
                let nth = now.unix().div_euclid(every * 60);
                [nth, nth + 1].map(|nth| format!("{every}:{nth}"))
            }
            Every::Night => {
                let rule = LocalRule { time: NaiveTime::MIN + NIGHT, days: RuleDays::Daily };
                let last = last_due(&rule, zone, now.utc().and_utc());
                let next = next_due(&rule, zone, last.due_at);
                // The same date begins at another time where the shop has moved to another zone.
                [last, next].map(|night| format!("{zone}:{}", night.due_local.date()))
            }
        }
    }
}

/// How an attempt went well.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outcome {
    Done,
    /// Nothing was done yet; the time for it comes later.
    Later(Instant),
}

/// How an attempt failed.
#[derive(Debug)]
pub enum Failure {
    /// Nothing has happened: it may be tried again.
    Retry(String),
    /// The same, but not before this instant.
    RetryFrom(Instant, String),
    /// It will never succeed.
    Never(String),
    /// It may have happened.
    Uncertain(String),
}

impl From<ApiError> for Failure {
    fn from(error: ApiError) -> Failure {
        Failure::Retry(error.to_string())
    }
}

impl Task {
    pub fn kind(self) -> &'static str {
        match self {
            Task::FindReminders => "find_reminders",
            Task::ForecastUpkeep { .. } => "forecast_upkeep",
            Task::SendReminder { .. } => "send_reminder",
            Task::AnnounceUpkeep => "announce_upkeep",
            Task::DeliverWebhook { .. } => "deliver_webhook",
            Task::PlanRounds { .. } => "plan_rounds",
            Task::RefreshWeather => "refresh_weather",
            Task::RefreshWays => "refresh_ways",
            Task::BackUp => "back_up",
            Task::PurgeTokens => "purge_tokens",
            Task::PurgeTasks => "purge_tasks",
            Task::PurgeReplies => "purge_replies",
            Task::PurgeSync => "purge_sync",
        }
    }

    async fn run(self, app: &App, claimed: &Claimed, prepared: Option<Prepared>) -> Result<Outcome, Failure> {
        match self {
            Task::FindReminders => find_reminders::run(app, claimed).await,
            Task::ForecastUpkeep { renew } => forecast_upkeep::run(app, claimed, renew).await,
            Task::SendReminder { reminder, again } => {
                send_reminder::run(app, claimed, (reminder, again), prepared).await
            }
            Task::AnnounceUpkeep => announce_upkeep::run(app, claimed.shop).await,
            Task::DeliverWebhook { delivery } => deliver_webhook::run(app, claimed, delivery).await,
            Task::PlanRounds { plan } => plan_rounds::run(app, claimed, plan).await,
            Task::RefreshWeather => refresh_weather::run(app, claimed.shop).await,
            Task::RefreshWays => refresh_ways::run(app, claimed.shop).await,
            Task::BackUp => back_up::run(app).await,
            Task::PurgeTokens => purge_tokens::run(app, claimed.shop).await,
            Task::PurgeTasks => purge_tasks::run(app, claimed.shop).await,
            Task::PurgeReplies => purge_replies::run(app, claimed.shop).await,
            Task::PurgeSync => purge_sync::run(app, claimed.shop).await,
        }
    }

    /// What else is to be stored when a task has ended, in the same transaction.
    fn ended(self, db: &mut Db<'_>, ending: &Ending) -> Result<(), ApiError> {
        match self {
            Task::SendReminder { reminder, again } => send_reminder::ended(db, reminder, again, ending),
            Task::DeliverWebhook { delivery } => deliver_webhook::ended(db, delivery, ending),
            Task::PlanRounds { plan } => plan_rounds::ended(db, plan, ending),
            _ => Ok(()),
        }
    }

    /// What else is to be stored when these have ended well: of reminders, which go by the thousand, all at once.
    fn all_done(db: &mut Db<'_>, tasks: impl Iterator<Item = Task>) -> Result<(), ApiError> {
        let mut sent = Vec::new();
        for task in tasks {
            match task {
                Task::SendReminder { reminder, .. } => sent.push(reminder),
                other => other.ended(db, &Ending::Done)?,
            }
        }
        Ok(reminders::mark_sent(db, &sent)?)
    }

    /// What else is to be stored when somebody replays it.
    pub fn replayed(self, db: &mut Db<'_>) -> Result<(), ApiError> {
        match self {
            Task::SendReminder { reminder, .. } => send_reminder::replayed(db, reminder),
            Task::DeliverWebhook { delivery } => deliver_webhook::replayed(db, delivery),
            _ => Ok(()),
        }
    }
}

/// Adds a task unless one with this key is there already. Call it in the transaction of what causes it.
pub fn enqueue(db: &mut Db<'_>, task: Task, dedupe_key: &str, due_at: Instant) -> Result<bool, ApiError> {
    Ok(outbox::enqueue(db, task.kind(), &serde_json::to_value(task)?, dedupe_key, due_at)?)
}

/// Has the stale upkeep forecasts made anew soon. Call it in the transaction of what made them stale.
pub fn forecast_anew(db: &mut Db<'_>) -> Result<(), ApiError> {
    let task = Task::ForecastUpkeep { renew: false };
    let key = format!("{}:{}", task.kind(), Id::new(db.now));
    enqueue(db, task, &key, db.now).map(|_| ())
}

/// Takes in changed keys, and adds what recurs and has no row for the present period yet. What recurs within the day takes
/// over from those before it that wait to be tried again: a service that fails is asked by one task, not by one per period.
pub async fn tick(app: &App) -> Result<(), ApiError> {
    app.refresh_keys().await?;
    for shop in all_shops(app).await? {
        let house = Caller::house(shop);
        let missing = app.read(&house, missing).await?;
        if missing.is_empty() {
            continue;
        }
        app.write(&house, move |db| {
            for (task, every, key) in missing {
                let added = enqueue(db, task, &key, db.now)?;
                if added && matches!(every, Every::Minutes(_)) {
                    outbox::give_way(db, task.kind())?;
                }
            }
            Ok(())
        })
        .await?;
    }
    Ok(())
}

/// Every shop, for work that is done for each of them.
pub async fn all_shops(app: &App) -> Result<Vec<Id>, ApiError> {
    let nobody = Caller::house(Id::new(app.clock.now()));
    app.read(&nobody, |db| Ok(shops::all(db)?)).await
}

/// What recurs and has no row for the present period yet. Where the next period has one already, a clock is or was ahead
/// and did the work of this one too early: it is done once more.
fn missing(db: &mut Db<'_>) -> Result<Vec<(Task, Every, String)>, ApiError> {
    let zone = scopes::zone(db)?;
    let keys = TICKS.map(|(task, every)| {
        let [now, next] = every.periods(zone, db.now).map(|period| format!("{}:{period}", task.kind()));
        (task, every, now, next)
    });
    let asked: Vec<String> =
        keys.iter().flat_map(|(.., now, next)| [now.clone(), next.clone(), anew(now)]).collect();
    let known = outbox::known_keys(db, &asked)?;
    let wanted = keys.map(|(task, every, now, next)| {
        let key = if known.contains(&next) { anew(&now) } else { now };
        (task, every, key)
    });
    Ok(wanted.into_iter().filter(|(.., key)| !known.contains(key)).collect())
}

fn anew(key: &str) -> String {
    format!("{key}:anew")
}

/// The wait after a failed attempt: the retry table of Standard Webhooks 1.0.0, give or take a tenth, so
/// that what failed together does not come back together. The same for the same task and attempt.
pub fn backoff(id: Id, attempt: i32) -> TimeDelta {
    const WAITS_S: [i64; 9] = [5, 300, 1800, 7200, 18_000, 36_000, 50_400, 72_000, 86_400];
    let nth = usize::try_from(attempt.saturating_sub(1)).unwrap_or(0).min(WAITS_S.len() - 1);
    let wait_ms = WAITS_S[nth] * 1000;
    let seed = id.as_str().bytes().fold(0xcbf2_9ce4_8422_2325_u64, |hash, byte| {
        // FNV-1a
        (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3)
    });
    let share = i64::try_from(split_mix(seed ^ attempt.unsigned_abs() as u64) % 2001).unwrap_or(1000) - 1000;
    TimeDelta::milliseconds(wait_ms + wait_ms / 10 * share / 1000)
}

/// One step of SplitMix64 (Steele, Lea and Flood 2014, doi 10.1145/2714064.2660195).
fn split_mix(state: u64) -> u64 {
    let mut z = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

#[cfg(test)]
mod tests {
    use super::{Id, MAX_ATTEMPTS, TimeDelta, backoff, split_mix};

    #[test]
    fn waits_grow_to_a_day_within_a_tenth() {
        // First outputs of SplitMix64 for the seed 1234567, as published with Rosetta Code's task (from memory).
        assert_eq!(split_mix(1_234_567), 6_457_827_717_110_365_317);
        let id: Id = "01890000-0000-7000-8000-000000000001".parse().unwrap();
        let other: Id = "01890000-0000-7000-8000-000000000002".parse().unwrap();
        let waits: Vec<TimeDelta> = (1..MAX_ATTEMPTS).map(|attempt| backoff(id, attempt)).collect();
        assert!(waits.is_sorted());
        let near = |wait: TimeDelta, s: i64| (wait.num_milliseconds() - s * 1000).abs() <= s * 100;
        assert!(near(waits[0], 5) && near(waits[1], 300) && near(waits[8], 86_400), "{waits:?}");
        assert_eq!(waits[3], backoff(id, 4));
        assert_ne!(waits[3], backoff(other, 4));
        // Whatever is asked for, there is an answer.
        assert!(near(backoff(id, i32::MIN), 5) && near(backoff(id, i32::MAX), 86_400));
    }
}
