//! The databases. Everything in which SQLite and PostgreSQL differ is in this file, but for the claim of a task in
//! `outbox` and for `isolation`, which only PostgreSQL has; one file per table beside it.
//!
//! A statement takes [`Db`], which knows the shop, so that no statement can forget it.

pub mod acknowledgements;
pub mod arrivals;
pub mod audit;
pub mod backup;
pub mod bookings;
pub mod calendar_feeds;
pub mod closed_weeks;
pub mod crew_notes;
pub mod customer_replies;
pub mod customers;
pub mod deliveries;
pub mod devices;
pub mod erasure;
pub mod extra_work;
pub mod forecast_checks;
pub mod handbooks;
pub mod held_offers;
pub mod histories;
pub mod inspections;
pub mod isolation;
pub mod job_comments;
pub mod job_figures;
pub mod jobs;
pub mod kept_replies;
pub mod kinds;
pub mod login_failures;
pub mod logins;
pub mod message_gateway;
pub mod message_templates;
pub mod mutations;
pub mod near_misses;
pub mod norm_vetoes;
pub mod observations;
pub mod outbox;
pub mod partner_apps;
pub mod people;
pub mod photos;
pub mod plans;
pub mod promises;
pub mod reminders;
pub mod revoked_tokens;
pub mod round_asks;
pub mod round_plans;
pub mod round_settings;
pub mod schema;
pub mod shops;
pub mod signing_keys;
mod statistics;
pub mod step_cells;
pub mod step_changes;
pub mod step_states;
pub mod steps;
pub mod sync;
pub mod travel_matrices;
pub mod upkeep_needs;
pub mod upkeep_states;
pub mod uploads;
pub mod van_checks;
pub mod vans;
pub mod vehicles;
pub mod waivers;
pub mod weather;
pub mod webhooks;

use diesel::connection::{AnsiTransactionManager, Connection, SimpleConnection, TransactionManager};
use diesel::migration::{Migration, MigrationSource};
use diesel::pg::Pg;
use diesel::query_builder::{AstPass, Query, QueryFragment, QueryId};
use diesel::r2d2::{ManageConnection, Pool, PooledConnection, R2D2Connection};
use diesel::result::{ConnectionError, DatabaseErrorKind, Error as SqlError};
use diesel::sql_types::{Integer, Text};
use diesel::sqlite::Sqlite;
use diesel::{PgConnection, QueryResult, RunQueryDsl, SqliteConnection};
use diesel_migrations::{EmbeddedMigrations, MigrationHarness, embed_migrations};
use kinds::{Id, Instant};
use std::collections::BTreeSet;
use std::panic::{AssertUnwindSafe, catch_unwind, resume_unwind};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use sync::{Poke, Touch};
use tokio::sync::{broadcast, watch};

const SQLITE_MIGRATIONS: EmbeddedMigrations = embed_migrations!("../migrations/sqlite");
const POSTGRES_MIGRATIONS: EmbeddedMigrations = embed_migrations!("../migrations/postgres");

/// How long a statement waits for another process that writes to the same SQLite file.
const BUSY_TIMEOUT_MS: u32 = 10_000;

/// Pokes that a slow listener may lag behind; one that lags further is poked at once (assumption).
const POKES_KEPT: usize = 256;

/// Names a state of the whole database.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Version {
    Number(i32),
    Snapshot(String),
}

/// A question that only one of the databases understands, with one value as its answer.
macro_rules! question {
    ($(#[$source:meta])* $name:ident, $backend:ty, $connection:ty, $answer:ty, $text:literal) => {
        $(#[$source])*
        #[derive(QueryId)]
        struct $name;

        impl QueryFragment<$backend> for $name {
            fn walk_ast<'b>(&'b self, mut out: AstPass<'_, 'b, $backend>) -> QueryResult<()> {
                out.push_sql($text);
                Ok(())
            }
        }

        impl Query for $name {
            type SqlType = $answer;
        }

        impl RunQueryDsl<$connection> for $name {}
    };
}

question!(
    /// <https://www.sqlite.org/pragma.html#pragma_data_version>
    DataVersion, Sqlite, SqliteConnection, Integer, "PRAGMA data_version"
);
question!(
    /// <https://www.postgresql.org/docs/15/functions-info.html#FUNCTIONS-PG-SNAPSHOT>
    Snapshot, Pg, PgConnection, Text, "SELECT pg_current_snapshot()::text"
);

/// One connection to either database; one body of a statement serves both.
#[derive(diesel::MultiConnection)]
pub enum Conn {
    Pg(PgConnection),
    Sqlite(SqliteConnection),
}

/// Runs the same body on whichever connection it is: for the few statements that do not compile for both at once, and for
/// those of every request, as a statement for both has its text written twice at each use.
#[macro_export]
macro_rules! on_either {
    ($db:expr, |$conn:ident| $body:expr) => {
        match &mut *$db.conn {
            $crate::db::Conn::Pg($conn) => $body,
            $crate::db::Conn::Sqlite($conn) => $body,
        }
    };
}

/// Runs a query whose rows nobody else changes until the transaction ends; the one writer of SQLite is alone anyway.
#[macro_export]
macro_rules! locking {
    ($db:expr, $query:expr, $load:ident) => {
        match &mut *$db.conn {
            $crate::db::Conn::Pg(conn) => $query.for_no_key_update().$load(conn),
            $crate::db::Conn::Sqlite(conn) => $query.$load(conn),
        }
    };
}

/// What a statement works with: the connection, the shop it belongs to, and the instant of the whole transaction.
pub struct Db<'a> {
    pub conn: &'a mut Conn,
    pub shop: Id,
    pub now: Instant,
    /// The customers that a partner app may act for; none: all of the shop.
    pub granted: Option<Vec<Id>>,
    /// Whether a task was added that is due already.
    pub adds_due: bool,
    /// What the transaction changed of what phones hold.
    touched: BTreeSet<Touch>,
}

impl<'a> Db<'a> {
    fn new(conn: &'a mut Conn, shop: Id, now: Instant) -> Db<'a> {
        Db { conn, shop, now, granted: None, adds_due: false, touched: BTreeSet::new() }
    }
}

impl Db<'_> {
    /// Runs a part of the transaction that may fail without the rest of it: then nothing of the part is kept.
    pub fn part<T, E: From<SqlError>>(
        &mut self,
        work: impl FnOnce(&mut Db<'_>) -> Result<T, E>,
    ) -> Result<Result<T, E>, SqlError> {
        let before = self.touched.clone();
        <Conn as Connection>::TransactionManager::begin_transaction(self.conn)?;
        let done = work(self);
        if done.is_ok() {
            <Conn as Connection>::TransactionManager::commit_transaction(self.conn)?;
        } else {
            <Conn as Connection>::TransactionManager::rollback_transaction(self.conn)?;
            self.touched = before;
        }
        Ok(done)
    }

    /// The clock of the database: the same for all replicas, however their own clocks are set.
    pub fn clock(&mut self) -> Result<Instant, SqlError> {
        use diesel::RunQueryDsl;
        #[derive(diesel::QueryableByName)]
        struct Reading {
            #[diesel(sql_type = diesel::sql_types::Timestamp)]
            now: chrono::NaiveDateTime,
        }
        let reading: Reading = match &mut *self.conn {
            Conn::Pg(conn) => {
                diesel::sql_query("SELECT clock_timestamp() AT TIME ZONE 'UTC' AS now").get_result(conn)
            }
            Conn::Sqlite(conn) => {
                diesel::sql_query("SELECT strftime('%Y-%m-%d %H:%M:%f', 'now') AS now").get_result(conn)
            }
        }?;
        Ok(Instant::from_utc(reading.now))
    }

    /// True unless this customer is none of those the caller may act for.
    pub fn reaches(&self, customer: Id) -> bool {
        self.granted.as_ref().is_none_or(|granted| granted.contains(&customer))
    }
}

/// What statements that only read see of what others commit meanwhile.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sight {
    /// Each sees what is committed when it starts.
    Latest,
    /// All see what was committed when the first one began.
    OneInstant,
}

/// Where the data is.
#[derive(Debug, Clone, PartialEq)]
pub enum Location {
    /// A `postgres://` address.
    Postgres(String),
    /// A file that is created when it is missing.
    Sqlite(PathBuf),
}

/// The database could not be opened or brought up to date.
#[derive(Debug, thiserror::Error)]
pub enum OpenError {
    #[error("cannot create the folder {0}: {1}")]
    Folder(PathBuf, std::io::Error),
    #[error("cannot open the database {0}: {1}")]
    Connect(String, String),
    #[error(
        "the database file {0} is damaged ({1}). Move it away to start anew, or put a backup in its place with `lustrum restore`."
    )]
    Damaged(PathBuf, String),
    #[error("the migrations failed: {0}")]
    Migrate(String),
    #[error(
        "the tables are not up to date: run `lustrum migrate` with the address of the role that owns them, then start again"
    )]
    Outdated,
    #[error(
        "the database role {0} may not serve, as it {1}: row-level security would not keep shops apart. Serve as a role \
         that is no superuser, has no BYPASSRLS and owns no table, and leave the owner to `lustrum migrate`."
    )]
    UnsafeRole(String, &'static str),
}

/// A pool of connections. Cloning it is cheap.
#[derive(Clone)]
pub struct Database {
    pool: Pool<Location>,
    location: Arc<Location>,
    pokes: broadcast::Sender<Poke>,
    /// Counts the changes that added a task which is due already.
    added_due: Arc<watch::Sender<u64>>,
    /// To an embedded database; it changes nothing, and so hears of all changes.
    watcher: Option<Arc<Mutex<SqliteConnection>>>,
}

impl Database {
    /// Opens the database, creating an SQLite file and its folder when they are missing. Runs no migration.
    pub fn open(location: &Location, connections: u32) -> Result<Database, OpenError> {
        if let Location::Sqlite(file) = location {
            prepare_file(file)?;
        }
        let pool = Pool::builder()
            // All are opened now and kept: one opened on demand made the first requests wait for seconds.
            .max_size(connections)
            // A broken connection is noticed by its first statement and thrown away; a test per use would cost a round trip.
            .test_on_check_out(false)
            .connection_timeout(Duration::from_secs(15))
            .build(location.clone())
            .map_err(|e| OpenError::Connect(location.shown(), e.to_string()))?;
        let (pokes, _) = broadcast::channel(POKES_KEPT);
        let added_due = Arc::new(watch::channel(0).0);
        let watcher = match location {
            Location::Sqlite(file) => {
                let opened = open_sqlite(file);
                Some(opened.map_err(|e| OpenError::Connect(location.shown(), e.to_string()))?)
            }
            Location::Postgres(_) => None,
        };
        let watcher = watcher.map(|conn| Arc::new(Mutex::new(conn)));
        Ok(Database { pool, location: Arc::new(location.clone()), pokes, added_due, watcher })
    }

    /// Another one as soon as anybody, of this process or another, has changed anything. Of an embedded database it is told
    /// within a microsecond; on PostgreSQL it is the snapshot that a statement sees, which every transaction of the
    /// server that changes anything changes when it ends, and costs a round trip.
    pub fn version(&self) -> QueryResult<Version> {
        if let Some(watcher) = &self.watcher {
            let mut conn = watcher.lock().unwrap_or_else(PoisonError::into_inner);
            return DataVersion.get_result(&mut *conn).map(Version::Number);
        }
        let mut pooled = self.pool.get().map_err(|e| SqlError::QueryBuilderError(e.to_string().into()))?;
        match &mut *pooled {
            Conn::Pg(conn) => Snapshot.get_result(conn),
            Conn::Sqlite(_) => Err(SqlError::NotFound),
        }
        .map(Version::Snapshot)
    }

    /// Sees to it that the tables can be served from. An embedded database is brought up to date; on PostgreSQL only
    /// `migrate` does that, as another role than the one that serves.
    pub fn prepare(&self) -> Result<(), OpenError> {
        let mut pooled = self.pool.get().map_err(|e| OpenError::Migrate(e.to_string()))?;
        match &mut *pooled {
            Conn::Pg(conn) => match is_up_to_date(conn) {
                true => isolation::admit(conn),
                false => Err(OpenError::Outdated),
            },
            Conn::Sqlite(conn) => migrate_sqlite(conn),
        }
    }

    /// Brings the tables up to date, as their owner; does nothing when they are.
    pub fn migrate(&self) -> Result<(), OpenError> {
        let failed = |e: &dyn std::fmt::Display| OpenError::Migrate(e.to_string());
        let mut pooled = self.pool.get().map_err(|e| failed(&e))?;
        match &mut *pooled {
            Conn::Pg(conn) => {
                if is_up_to_date(conn) {
                    return Ok(());
                }
                // Only one may migrate at a time. It changes the rows of all shops.
                conn.batch_execute("SELECT pg_advisory_lock(7310001); SET lustrum.shop = '*'")
                    .map_err(|e| failed(&e))?;
                let run =
                    conn.run_pending_migrations(POSTGRES_MIGRATIONS).map(|_| ()).map_err(|e| failed(&e));
                let run = run
                    .and_then(|()| conn.batch_execute("SELECT keep_shops_apart()").map_err(|e| failed(&e)));
                conn.batch_execute("RESET lustrum.shop; SELECT pg_advisory_unlock(7310001)")
                    .map_err(|e| failed(&e))?;
                run
            }
            Conn::Sqlite(conn) => migrate_sqlite(conn),
        }
    }

    /// Takes every migration back, newest first: the tables and all data are gone.
    pub fn revert_all(&self) -> Result<(), OpenError> {
        let failed = |e: &dyn std::fmt::Display| OpenError::Migrate(e.to_string());
        let mut pooled = self.pool.get().map_err(|e| failed(&e))?;
        match &mut *pooled {
            Conn::Pg(conn) => {
                conn.revert_all_migrations(POSTGRES_MIGRATIONS).map(|_| ()).map_err(|e| failed(&e))
            }
            Conn::Sqlite(conn) => {
                conn.revert_all_migrations(SQLITE_MIGRATIONS).map(|_| ()).map_err(|e| failed(&e))
            }
        }
    }

    /// Runs statements that only read.
    pub fn read<T, E>(
        &self,
        shop: Id,
        now: Instant,
        sight: Sight,
        work: impl FnOnce(&mut Db<'_>) -> Result<T, E>,
    ) -> Result<T, E>
    where
        E: From<SqlError>,
    {
        let mut pooled = self.connection()?;
        let conn: &mut Conn = &mut pooled;
        match (&mut *conn, sight) {
            (Conn::Pg(pg), Sight::Latest) => isolation::begin(pg, shop, "READ ONLY")?,
            (Conn::Pg(pg), Sight::OneInstant) => {
                isolation::begin(pg, shop, "ISOLATION LEVEL REPEATABLE READ READ ONLY")?;
            }
            (Conn::Sqlite(_), Sight::Latest) => return work(&mut Db::new(conn, shop, now)),
            (Conn::Sqlite(conn), Sight::OneInstant) => {
                AnsiTransactionManager::begin_transaction_sql(conn, "BEGIN")?;
            }
        }
        finish(conn, shop, now, work)
    }

    /// Runs statements in one transaction: all of them are kept, or, on an error or a panic, none.
    ///
    /// On SQLite the transaction takes the write lock when it begins: taking it later fails under load instead of waiting.
    pub fn write<T, E>(
        &self,
        shop: Id,
        now: Instant,
        work: impl FnOnce(&mut Db<'_>) -> Result<T, E>,
    ) -> Result<T, E>
    where
        E: From<SqlError>,
    {
        let mut pooled = self.connection()?;
        let conn: &mut Conn = &mut pooled;
        match conn {
            Conn::Pg(pg) => isolation::begin(pg, shop, "READ WRITE")?,
            Conn::Sqlite(conn) => AnsiTransactionManager::begin_transaction_sql(conn, "BEGIN IMMEDIATE")?,
        }
        let (done, adds_due, poke) = finish(conn, shop, now, |db| {
            let done = work(db)?;
            let poke = sync::settle(db)?;
            Ok::<_, E>((done, db.adds_due, poke))
        })?;
        if adds_due {
            self.added_due.send_modify(|times| *times = times.wrapping_add(1));
        }
        if let Some(poke) = poke {
            // Nobody may listen.
            self.pokes.send(poke).ok();
        }
        Ok(done)
    }

    /// Hears of everything that phones have to fetch, from this process, after its commit.
    pub fn pokes(&self) -> broadcast::Receiver<Poke> {
        self.pokes.subscribe()
    }

    /// Tells whoever holds it of every task of this process that is due when it is added.
    pub fn due_tasks(&self) -> watch::Receiver<u64> {
        self.added_due.subscribe()
    }

    /// Empties the log of an SQLite file into it, so that what was erased is not in there either. Readers that are
    /// still at work put it off to the next time.
    pub fn forget_log(&self) -> Result<(), SqlError> {
        let mut pooled = self.connection()?;
        match &mut *pooled {
            Conn::Sqlite(conn) => conn.batch_execute("PRAGMA wal_checkpoint(TRUNCATE)"),
            Conn::Pg(_) => Ok(()),
        }
    }

    pub fn location(&self) -> &Location {
        &self.location
    }

    fn connection(&self) -> Result<PooledConnection<Location>, SqlError> {
        self.pool.get().map_err(|e| {
            SqlError::DatabaseError(DatabaseErrorKind::UnableToSendCommand, Box::new(e.to_string()))
        })
    }
}

/// True when the statement broke a unique constraint.
pub fn is_taken(error: &SqlError) -> bool {
    matches!(error, SqlError::DatabaseError(DatabaseErrorKind::UniqueViolation, _))
}

/// True if every migration has run; asks only what any role may ask.
fn is_up_to_date(conn: &mut PgConnection) -> bool {
    use diesel::prelude::*;
    diesel::table! {
        __diesel_schema_migrations (version) {
            version -> Text,
        }
    }
    let done =
        __diesel_schema_migrations::table.select(__diesel_schema_migrations::version).load::<String>(conn);
    let all: Result<Vec<Box<dyn Migration<Pg>>>, _> = POSTGRES_MIGRATIONS.migrations();
    match (done, all) {
        (Ok(done), Ok(all)) => all.iter().all(|one| done.contains(&one.name().version().to_string())),
        _ => false,
    }
}

fn migrate_sqlite(conn: &mut SqliteConnection) -> Result<(), OpenError> {
    let failed = |e: &dyn std::fmt::Display| OpenError::Migrate(e.to_string());
    let run = conn.run_pending_migrations(SQLITE_MIGRATIONS).map_err(|e| failed(&e))?;
    if run.is_empty() { Ok(()) } else { statistics::tell(conn).map_err(|e| failed(&e)) }
}

/// Does the work in the transaction that has begun, and ends it.
fn finish<T, E>(
    conn: &mut Conn,
    shop: Id,
    now: Instant,
    work: impl FnOnce(&mut Db<'_>) -> Result<T, E>,
) -> Result<T, E>
where
    E: From<SqlError>,
{
    match catch_unwind(AssertUnwindSafe(|| work(&mut Db::new(conn, shop, now)))) {
        Ok(Ok(done)) => {
            <Conn as Connection>::TransactionManager::commit_transaction(conn)?;
            Ok(done)
        }
        Ok(Err(error)) => {
            roll_back(conn);
            Err(error)
        }
        Err(panic) => {
            roll_back(conn);
            resume_unwind(panic)
        }
    }
}

/// A failing rollback must not hide why it was needed; the pool throws such a connection away.
fn roll_back(conn: &mut Conn) {
    if let Err(e) = <Conn as Connection>::TransactionManager::rollback_transaction(conn) {
        tracing::warn!(error = %e, "rollback failed");
    }
}

impl Location {
    /// As it may appear in a message: without a password.
    pub fn shown(&self) -> String {
        match self {
            Location::Sqlite(file) => file.display().to_string(),
            Location::Postgres(url) => match (url.split_once("://"), url.rsplit_once('@')) {
                (Some((scheme, _)), Some((_, host))) => format!("{scheme}://…@{host}"),
                _ => url.clone(),
            },
        }
    }

    pub fn is_sqlite(&self) -> bool {
        matches!(self, Location::Sqlite(_))
    }
}

impl ManageConnection for Location {
    type Connection = Conn;
    type Error = diesel::r2d2::Error;

    fn connect(&self) -> Result<Conn, Self::Error> {
        let conn = match self {
            Location::Postgres(url) => PgConnection::establish(url).map(Conn::Pg),
            Location::Sqlite(file) => open_sqlite(file).map(Conn::Sqlite),
        };
        conn.map_err(diesel::r2d2::Error::ConnectionError)
    }

    fn is_valid(&self, conn: &mut Conn) -> Result<(), Self::Error> {
        conn.ping().map_err(diesel::r2d2::Error::QueryError)
    }

    fn has_broken(&self, conn: &mut Conn) -> bool {
        std::thread::panicking() || conn.is_broken()
    }
}

fn open_sqlite(file: &Path) -> Result<SqliteConnection, ConnectionError> {
    let mut conn = SqliteConnection::establish(&file.to_string_lossy())?;
    conn.batch_execute(&format!(
        "PRAGMA busy_timeout = {BUSY_TIMEOUT_MS}; PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL; \
         PRAGMA foreign_keys = ON; PRAGMA secure_delete = ON; PRAGMA temp_store = MEMORY; PRAGMA cache_size = -16000;"
    ))
    .map_err(ConnectionError::CouldntSetupConfiguration)?;
    Ok(conn)
}

/// Makes the folder, and tells a damaged file from a missing one before anything is written to it.
fn prepare_file(file: &Path) -> Result<(), OpenError> {
    if let Some(folder) = file.parent().filter(|f| !f.as_os_str().is_empty()) {
        std::fs::create_dir_all(folder).map_err(|e| OpenError::Folder(folder.to_owned(), e))?;
    }
    if !file.exists() {
        return Ok(());
    }
    let damaged = |why: String| OpenError::Damaged(file.to_owned(), why);
    let mut conn = match open_sqlite(file) {
        Ok(conn) => conn,
        Err(ConnectionError::CouldntSetupConfiguration(SqlError::DatabaseError(_, why)))
            if why.message().contains("not a database") || why.message().contains("malformed") =>
        {
            return Err(damaged(why.message().to_owned()));
        }
        Err(e) => return Err(OpenError::Connect(file.display().to_string(), e.to_string())),
    };
    let found = quick_check(&mut conn).map_err(|e| damaged(e.to_string()))?;
    if found == "ok" { Ok(()) } else { Err(damaged(found)) }
}

/// `ok`, or the first fault SQLite finds in the structure of the file.
fn quick_check(conn: &mut SqliteConnection) -> Result<String, SqlError> {
    use diesel::RunQueryDsl;
    #[derive(diesel::QueryableByName)]
    struct Line {
        #[diesel(sql_type = diesel::sql_types::Text)]
        quick_check: String,
    }
    let line: Line = diesel::sql_query("PRAGMA quick_check(1)").get_result(conn)?;
    Ok(line.quick_check)
}
