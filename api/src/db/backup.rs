//! Copies of the embedded database. PostgreSQL has its own programs for this.

use super::{Location, OpenError, open_sqlite, quick_check};
use diesel::connection::SimpleConnection;
use diesel::prelude::*;
use diesel::sql_types::{BigInt, Text};
use diesel::{QueryableByName, SqliteConnection};
use std::ffi::OsString;
use std::path::{Path, PathBuf};
use uuid::Uuid;

/// Why no copy was made, or none put back.
#[derive(Debug, thiserror::Error)]
pub enum BackupError {
    #[error("this is for the embedded database; for PostgreSQL use pg_dump and pg_restore")]
    Postgres,
    #[error("{0} is there already: choose another name{1}")]
    Exists(PathBuf, &'static str),
    #[error("{0} does not exist")]
    Missing(PathBuf),
    #[error("the database {0} is in use: stop the server first")]
    InUse(PathBuf),
    #[error(transparent)]
    Open(#[from] OpenError),
    #[error("{0}: {1}")]
    Sql(PathBuf, String),
    #[error("{0}: {1}")]
    Io(PathBuf, std::io::Error),
}

/// Writes a complete, consistent copy to a new file; the server may run meanwhile.
pub fn backup(location: &Location, to: &Path) -> Result<(), BackupError> {
    let Location::Sqlite(file) = location else { return Err(BackupError::Postgres) };
    if to.exists() {
        return Err(BackupError::Exists(to.to_owned(), ""));
    }
    if !file.exists() {
        return Err(BackupError::Missing(file.clone()));
    }
    let failed = |e: &dyn std::fmt::Display| BackupError::Sql(file.clone(), e.to_string());
    let mut conn = open_sqlite(file).map_err(|e| failed(&e))?;
    let copy = diesel::sql_query("VACUUM INTO ?").bind::<Text, _>(to.to_string_lossy().into_owned());
    copy.execute(&mut conn).map(|_| ()).map_err(|e| failed(&e))
}

/// Puts a copy in the place of the database. `replace` allows to lose what is there.
pub fn restore(location: &Location, from: &Path, replace: bool) -> Result<(), BackupError> {
    let Location::Sqlite(file) = location else { return Err(BackupError::Postgres) };
    if !from.exists() {
        return Err(BackupError::Missing(from.to_owned()));
    }
    if file.exists() && !replace {
        return Err(BackupError::Exists(file.clone(), ", or say --replace"));
    }
    let io = |e| BackupError::Io(file.clone(), e);
    if let Some(folder) = file.parent().filter(|folder| !folder.as_os_str().is_empty()) {
        std::fs::create_dir_all(folder).map_err(io)?;
    }
    let arriving = beside(file, ".restoring");
    std::fs::copy(from, &arriving).map_err(io)?;
    if let Err(error) = sound(&arriving).and_then(|()| leave_alone(file)) {
        std::fs::remove_file(&arriving).ok();
        return Err(error);
    }
    for leftover in ["-wal", "-shm"] {
        std::fs::remove_file(beside(file, leftover)).ok();
    }
    std::fs::rename(&arriving, file).map_err(io)
}

/// The copy is a database without faults.
fn sound(copy: &Path) -> Result<(), BackupError> {
    let damaged = |why: String| BackupError::Open(OpenError::Damaged(copy.to_owned(), why));
    let mut conn = open_sqlite(copy).map_err(|e| damaged(e.to_string()))?;
    let found = quick_check(&mut conn).map_err(|e| damaged(e.to_string()))?;
    if found != "ok" {
        return Err(damaged(found));
    }
    // One file, without a log beside it that would be left behind.
    conn.batch_execute("PRAGMA journal_mode = DELETE").map_err(|e| damaged(e.to_string()))?;
    begin_epochs(&mut conn).map_err(|e| damaged(e.to_string()))
}

/// What phones were told since the copy was made is not in it: another timeline begins, and they send it again.
fn begin_epochs(conn: &mut SqliteConnection) -> QueryResult<()> {
    #[derive(QueryableByName)]
    struct Tables {
        #[diesel(sql_type = BigInt)]
        count: i64,
    }
    let there = "SELECT count(*) AS count FROM sqlite_schema WHERE name = 'sync_clock'";
    let there: Tables = diesel::sql_query(there).get_result(conn)?;
    if there.count == 0 {
        // The copy is older than phones.
        return Ok(());
    }
    // A file is restored with all its shops.
    let begin = diesel::sql_query("UPDATE sync_clock SET epoch = ?");
    begin.bind::<Text, _>(Uuid::now_v7().to_string()).execute(conn).map(|_| ())
}

/// Only whoever is alone with a database can change its journal mode.
fn leave_alone(file: &Path) -> Result<(), BackupError> {
    if !file.exists() {
        return Ok(());
    }
    // A damaged database cannot be opened, and nobody serves from it.
    let Ok(mut conn) = open_sqlite(file) else { return Ok(()) };
    conn.batch_execute("PRAGMA busy_timeout = 200; PRAGMA journal_mode = DELETE")
        .map_err(|_| BackupError::InUse(file.to_owned()))
}

fn beside(file: &Path, ending: &str) -> PathBuf {
    let mut name: OsString = file.as_os_str().to_owned();
    name.push(ending);
    name.into()
}
