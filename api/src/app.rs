//! What every request and task has at hand, and the two ways to the database.

use crate::auth::tokens::Keys;
use crate::auth::{self, Caller};
use crate::clock::{Clock, Stopwatch};
use crate::config::Config;
use crate::conventions::kept::KeptAnswers;
use crate::conventions::once::InFlight;
use crate::conventions::pace::Pace;
use crate::db::kinds::Id;
use crate::db::sync::clock;
use crate::db::{Database, Db, OpenError, Sight, Version, audit};
use crate::dispatch::offers::StandingRounds;
use crate::error::ApiError;
use crate::handbooks::Handbooks;
use crate::mail::Mail;
use crate::outbound::Outbound;
use crate::reply::Reply;
use actix_web::HttpResponse;
use std::collections::BTreeMap;
use std::num::NonZeroUsize;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use tokio::sync::{Mutex as AsyncMutex, Notify, OwnedMutexGuard, OwnedSemaphorePermit, Semaphore};

/// Password hashes computed at the same time: each takes 46 MiB.
const HASHING_THREADS: usize = 2;

type NewestChanges = Arc<AsyncMutex<BTreeMap<Id, (Stopwatch, i64)>>>;

/// Questions of what the database is like, counted as they begin, and the newest answer under the number of its question.
#[derive(Default)]
struct Versions {
    asked: AtomicU64,
    newest: AsyncMutex<Option<(u64, Version)>>,
}

#[derive(Clone)]
pub struct App {
    pub config: Arc<Config>,
    pub clock: Clock,
    pub keys: Arc<Keys>,
    pub database: Database,
    pub mail: Mail,
    /// Who calls what partner apps named.
    pub outbound: Outbound,
    /// The name under which this process leases tasks.
    pub worker: Id,
    /// The trade tables each shop works by.
    pub handbooks: Handbooks,
    /// How fast each caller may ask.
    pub pace: Arc<Pace>,
    /// How fast whoever comes with a signed link or call instead of a login may ask.
    pub link_pace: Arc<Pace>,
    /// What was read by key, as long as nothing has changed.
    pub kept_answers: KeptAnswers,
    versions: Arc<Versions>,
    /// The idempotency keys that are being worked on.
    pub in_flight: InFlight,
    /// One push of a shop after the other: on PostgreSQL many that wait for the same row cost more than they do.
    pub turns: Turns,
    /// What other replicas did to the shops that somebody listens to.
    newest_changes: NewestChanges,
    /// As many as there are connections, so that no blocking thread ever waits for one.
    connections: Arc<Semaphore>,
    /// SQLite has one writer: those who wait for it wait here, in order, and hold no connection meanwhile.
    writer: Option<Arc<Semaphore>>,
    hashing: Arc<Semaphore>,
    planning: Arc<Semaphore>,
    searches: Arc<Semaphore>,
    /// Rung when a search was asked for, so that it need not wait for the worker's next look.
    pub wake_searches: Arc<Notify>,
    /// The rounds of each shop as they stand, ready to be asked for windows.
    pub standing: StandingRounds,
}

impl App {
    /// Opens the database, sees to its tables and loads (or makes) the signing key.
    pub fn open(config: Config, clock: Clock) -> Result<App, OpenError> {
        let location = config.location();
        let database = Database::open(&location, config.pool_size)?;
        database.prepare()?;
        let keys =
            Keys::load(&database, &config, clock.now()).map_err(|e| OpenError::Migrate(e.to_string()))?;
        Ok(App {
            connections: Arc::new(Semaphore::new(config.pool_size as usize)),
            writer: location.is_sqlite().then(|| Arc::new(Semaphore::new(1))),
            hashing: Arc::new(Semaphore::new(HASHING_THREADS)),
            mail: config.mail(),
            outbound: Outbound::new(&config),
            worker: Id::new(clock.now()),
            planning: Arc::new(Semaphore::new(processors().get())),
            searches: Arc::new(Semaphore::new(config.searches())),
            wake_searches: Arc::default(),
            standing: StandingRounds::default(),
            pace: Arc::new(Pace::new(config.requests_per_min)),
            link_pace: Arc::new(Pace::new(0)),
            kept_answers: KeptAnswers::default(),
            versions: Arc::default(),
            in_flight: InFlight::default(),
            turns: Turns::default(),
            newest_changes: NewestChanges::default(),
            config: Arc::new(config),
            clock,
            keys: Arc::new(keys),
            database,
            handbooks: Handbooks::default(),
        })
    }

    /// Reads on behalf of `caller`, whose login and role are looked up again first.
    pub async fn read<T: Send + 'static>(
        &self,
        caller: &Caller,
        work: impl FnOnce(&mut Db<'_>) -> Result<T, ApiError> + Send + 'static,
    ) -> Result<T, ApiError> {
        let read = self.reading(caller, Sight::Latest, work);
        blocking(vec![permit(&self.connections).await?], read).await
    }

    /// The same, and everything that is read is of one instant.
    pub async fn snapshot<T: Send + 'static>(
        &self,
        caller: &Caller,
        work: impl FnOnce(&mut Db<'_>) -> Result<T, ApiError> + Send + 'static,
    ) -> Result<T, ApiError> {
        let read = self.reading(caller, Sight::OneInstant, work);
        blocking(vec![permit(&self.connections).await?], read).await
    }

    /// Reads the little that a key names. An embedded database has told it before another thread has woken up, so it is
    /// asked on this one, as long as a connection is free.
    pub async fn read_briefly<T: Send + 'static>(
        &self,
        caller: &Caller,
        work: impl FnOnce(&mut Db<'_>) -> Result<T, ApiError> + Send + 'static,
    ) -> Result<T, ApiError> {
        let free = self.database.location().is_sqlite().then(|| self.connections.try_acquire());
        match free {
            Some(Ok(_connection)) => self.reading(caller, Sight::Latest, work)(),
            _ => self.read(caller, work).await,
        }
    }

    /// What the database is like now. An embedded one tells at once; another one is asked once for all who wait, and what it
    /// answers holds for those who came before it was asked.
    pub async fn version(&self) -> Result<Version, ApiError> {
        if self.database.location().is_sqlite() {
            return Ok(self.database.version()?);
        }
        let asked_before = self.versions.asked.load(Ordering::SeqCst);
        let mut newest = self.versions.newest.lock().await;
        if let Some((_, version)) = newest.as_ref().filter(|(nth, _)| *nth > asked_before) {
            return Ok(version.clone());
        }
        let nth = self.versions.asked.fetch_add(1, Ordering::SeqCst) + 1;
        let database = self.database.clone();
        let ask = blocking(vec![permit(&self.connections).await?], move || Ok(database.version()?));
        let version = ask.await?;
        *newest = Some((nth, version.clone()));
        Ok(version)
    }

    fn reading<T, W>(
        &self,
        caller: &Caller,
        sight: Sight,
        work: W,
    ) -> impl FnOnce() -> Result<T, ApiError> + use<T, W>
    where
        W: FnOnce(&mut Db<'_>) -> Result<T, ApiError>,
    {
        let (database, caller, now) = (self.database.clone(), caller.clone(), self.clock.now());
        move || {
            database.read(caller.shop, now, sight, |db| {
                auth::admit(db, &caller)?;
                work(db)
            })
        }
    }

    /// Changes things on behalf of `caller`, in one transaction with the entry in the audit log: the only way to write.
    pub async fn write<T: Send + 'static>(
        &self,
        caller: &Caller,
        work: impl FnOnce(&mut Db<'_>) -> Result<T, ApiError> + Send + 'static,
    ) -> Result<T, ApiError> {
        let (database, caller, now) = (self.database.clone(), caller.clone(), self.clock.now());
        let permits = self.permits_to_write().await?;
        blocking(permits, move || {
            database.write(caller.shop, now, |db| {
                auth::admit(db, &caller)?;
                let done = work(db)?;
                // As late as possible: the shop's other changes wait from here on.
                if let Some(act) = &caller.act {
                    audit::append(db, act)?;
                }
                Ok(done)
            })
        })
        .await
    }

    /// The number of a shop's newest change, of all replicas, as it was at most so long ago: asked once for all who listen.
    pub async fn newest_change(&self, shop: Id, ago: Duration) -> Result<i64, ApiError> {
        let mut all = self.newest_changes.lock().await;
        if let Some((asked, seq)) = all.get(&shop)
            && asked.ms() < ago.as_secs_f64() * 1e3
        {
            return Ok(*seq);
        }
        let seq = self.read(&Caller::house(shop), |db| Ok(clock::now(db)?.1)).await?;
        all.insert(shop, (Stopwatch::start(), seq));
        Ok(seq)
    }

    async fn permits_to_write(&self) -> Result<Vec<OwnedSemaphorePermit>, ApiError> {
        let mut permits = Vec::with_capacity(2);
        if let Some(writer) = &self.writer {
            permits.push(permit(writer).await?);
        }
        permits.push(permit(&self.connections).await?);
        Ok(permits)
    }

    /// Lets nothing of what was erased stay in the log of an embedded database.
    pub async fn forget_log(&self) -> Result<(), ApiError> {
        let database = self.database.clone();
        blocking(self.permits_to_write().await?, move || Ok(database.forget_log()?)).await
    }

    /// Takes in the signing keys as they are stored now.
    pub async fn refresh_keys(&self) -> Result<(), ApiError> {
        let (keys, database, now) = (self.keys.clone(), self.database.clone(), self.clock.now());
        let permits = self.permits_to_write().await?;
        blocking(permits, move || keys.refresh(&database, now)).await
    }

    /// Changes things like [`App::write`], and makes the reply in the same transaction. With an idempotency key the reply
    /// is kept there; a request that is repeated has no effect and gets it again.
    pub async fn once<T: Send + 'static>(
        &self,
        caller: &Caller,
        work: impl FnOnce(&mut Db<'_>) -> Result<T, ApiError> + Send + 'static,
        tell: impl FnOnce(&T) -> Result<Reply, ApiError> + Send + 'static,
    ) -> Result<HttpResponse, ApiError> {
        let attempt = caller.attempt.clone();
        let reply = self.write(caller, move |db| {
            let Some(attempt) = attempt else { return tell(&work(db)?) };
            if let Some(kept) = attempt.begin(db)? {
                return Ok(kept);
            }
            let reply = tell(&work(db)?)?;
            attempt.keep(db, &reply)?;
            Ok(reply)
        });
        Ok(reply.await?.into())
    }

    /// Runs the slow hash of a password on one of the few threads that may.
    pub async fn hashing<T: Send + 'static>(
        &self,
        work: impl FnOnce() -> Result<T, ApiError> + Send + 'static,
    ) -> Result<T, ApiError> {
        blocking(vec![permit(&self.hashing).await?], work).await
    }

    /// Decides something that takes milliseconds, outside any transaction and with no connection held.
    pub async fn planning<T: Send + 'static>(
        &self,
        work: impl FnOnce() -> Result<T, ApiError> + Send + 'static,
    ) -> Result<T, ApiError> {
        blocking(vec![permit(&self.planning).await?], work).await
    }

    /// Searches for rounds, which takes seconds: few at a time, so that all else has processors left.
    pub async fn searching<T: Send + 'static>(
        &self,
        work: impl FnOnce() -> Result<T, ApiError> + Send + 'static,
    ) -> Result<T, ApiError> {
        blocking(vec![permit(&self.searches).await?], work).await
    }
}

/// A lock for each shop that somebody waits for.
#[derive(Clone, Default)]
pub struct Turns(Arc<Mutex<BTreeMap<Id, Arc<AsyncMutex<()>>>>>);

impl Turns {
    /// Waits until it is this shop's next turn, which lasts until what is given is dropped.
    pub async fn of(&self, shop: Id) -> OwnedMutexGuard<()> {
        let lock = {
            let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
            // Nobody holds or awaits a lock that only the map knows.
            all.retain(|_, lock| Arc::strong_count(lock) > 1);
            all.entry(shop).or_default().clone()
        };
        lock.lock_owned().await
    }
}

pub fn processors() -> NonZeroUsize {
    std::thread::available_parallelism().unwrap_or(NonZeroUsize::MIN)
}

async fn permit(semaphore: &Arc<Semaphore>) -> Result<OwnedSemaphorePermit, ApiError> {
    semaphore.clone().acquire_owned().await.map_err(|e| ApiError::Internal(e.to_string()))
}

/// The permits are given back when the work is done, even if the request was dropped before.
async fn blocking<T: Send + 'static>(
    permits: Vec<OwnedSemaphorePermit>,
    work: impl FnOnce() -> Result<T, ApiError> + Send + 'static,
) -> Result<T, ApiError> {
    let run = tokio::task::spawn_blocking(move || {
        let outcome = work();
        drop(permits);
        outcome
    });
    run.await.map_err(|e| ApiError::Internal(format!("panic: {}", panic_text(e))))?
}

fn panic_text(error: tokio::task::JoinError) -> String {
    match error.try_into_panic() {
        Ok(payload) => crate::edge::panic_text(&*payload),
        Err(error) => error.to_string(),
    }
}
