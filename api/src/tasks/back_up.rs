//! Copies the embedded database into the folder `backups` beside it, once a day, and keeps the newest copies.
//!
//! There is one database for all shops: whichever shop's task comes first makes the day's copy, and the others find it
//! there. PostgreSQL has its own programs for this, so there it does nothing.

use super::{Failure, Outcome};
use crate::app::App;
use crate::db::Location;
use crate::db::backup::backup;
use std::path::{Path, PathBuf};

const PREFIX: &str = "lustrum-";
const ENDING: &str = ".db";

pub async fn run(app: &App) -> Result<Outcome, Failure> {
    let (location, keep) = (app.config.location(), app.config.backups as usize);
    if !location.is_sqlite() || keep == 0 {
        return Ok(Outcome::Done);
    }
    let name = format!("{PREFIX}{}{ENDING}", app.clock.now().utc().format("%Y-%m-%d"));
    let folder = app.config.data_folder().join("backups");
    let run = tokio::task::spawn_blocking(move || copy(&location, &folder, &name, keep));
    match run.await {
        Ok(Ok(())) => Ok(Outcome::Done),
        Ok(Err(error)) => Err(Failure::Retry(error)),
        Err(error) => Err(Failure::Retry(error.to_string())),
    }
}

/// Written under another name and moved into place: what is there is whole.
fn copy(location: &Location, folder: &Path, name: &str, keep: usize) -> Result<(), String> {
    let failed = |error: std::io::Error| format!("{}: {error}", folder.display());
    std::fs::create_dir_all(folder).map_err(failed)?;
    let (unfinished, whole) = (folder.join(format!("{name}.part")), folder.join(name));
    if !whole.exists() {
        std::fs::remove_file(&unfinished).or_else(missing).map_err(failed)?;
        backup(location, &unfinished).map_err(|error| error.to_string())?;
        std::fs::rename(&unfinished, &whole).map_err(failed)?;
    }
    let mut copies: Vec<PathBuf> = std::fs::read_dir(folder)
        .map_err(failed)?
        .filter_map(|entry| Some(entry.ok()?.path()))
        .filter(|path| is_copy(path))
        .collect();
    copies.sort();
    let surplus = copies.len().saturating_sub(keep);
    copies.iter().take(surplus).try_for_each(|old| std::fs::remove_file(old).or_else(missing)).map_err(failed)
}

fn is_copy(path: &Path) -> bool {
    let name = path.file_name().and_then(|name| name.to_str()).unwrap_or_default();
    name.starts_with(PREFIX) && name.ends_with(ENDING)
}

fn missing(error: std::io::Error) -> std::io::Result<()> {
    if error.kind() == std::io::ErrorKind::NotFound { Ok(()) } else { Err(error) }
}
