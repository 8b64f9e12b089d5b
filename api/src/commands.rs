//! What the command line can do.

use crate::app::App;
use crate::auth::{Role, key_ring, passwords, tokens};
use crate::check::check;
use crate::clock::Clock;
use crate::config::Config;
use crate::db::audit::{self, Act, ActorKind};
use crate::db::backup::{self, BackupError};
use crate::db::kinds::{Doc, Id, Word};
use crate::db::people::{self, PersonFields};
use crate::db::shops::{self, ShopFields, ShopSettings};
use crate::db::sync::Touch;
use crate::db::{Database, Sight};
use crate::error::ApiError;
use crate::serve::serve_and_work;
use crate::throughput::roll_ups;
use chrono::TimeDelta;
use std::io::{BufRead, IsTerminal, Write};
use std::net::TcpListener;
use std::path::PathBuf;

/// A command failed; the text is for the person at the terminal.
#[derive(Debug, thiserror::Error)]
pub enum CommandError {
    #[error(transparent)]
    Open(#[from] crate::db::OpenError),
    #[error("cannot listen on {0}: {1}. Is another program using the port? Choose one with --listen.")]
    Listen(String, std::io::Error),
    #[error("{0}")]
    Io(#[from] std::io::Error),
    #[error("{0}")]
    Refused(#[from] ApiError),
    #[error(transparent)]
    Backup(#[from] BackupError),
    #[error("audit logs that are not whole: {0}")]
    Audit(usize),
    #[error("{0}")]
    Demo(String),
}

/// Serves the API and does the background work until it is told to stop.
pub fn run_serve(config: Config) -> Result<(), CommandError> {
    let listener =
        TcpListener::bind(&config.listen).map_err(|e| CommandError::Listen(config.listen.clone(), e))?;
    let app = App::open(config, Clock::System)?;
    tracing::info!(address = %listener.local_addr()?, database = app.database.location().shown(), mail = ?app.mail, "serving");
    actix_web::rt::System::new().block_on(serve_and_work(&app, listener))?;
    Ok(())
}

/// Brings the tables up to date. On PostgreSQL the address is that of their owner, who never serves.
pub fn run_migrate(config: &Config) -> Result<(), CommandError> {
    let location = config.location();
    Database::open(&location, 1)?.migrate()?;
    println!("{} is up to date.", location.shown());
    Ok(())
}

/// Makes the figures of every shop anew from what was recorded.
pub fn run_recount(config: Config) -> Result<(), CommandError> {
    let app = App::open(config, Clock::System)?;
    let now = app.clock.now();
    for shop in app.database.read(Id::new(now), now, Sight::Latest, shops::all).map_err(ApiError::from)? {
        app.database.write(shop, now, |db| {
            let handbook = app.handbooks.of(db)?;
            roll_ups::recount(db, &handbook)
        })?;
        println!("{shop} is counted anew.");
    }
    Ok(())
}

/// Gives the key that signs access tokens a successor.
pub fn run_rotate_keys(config: Config, how: &RotateKeys) -> Result<(), CommandError> {
    let app = App::open(config, Clock::System)?;
    let now = app.clock.now();
    // As if it had signed for longer than any token lives.
    let from = if how.at_once { now.plus(-TimeDelta::hours(2)) } else { now.plus(key_ring::PUBLISHED_AHEAD) };
    let keys = tokens::renew(&app.database, now, from)?;
    let newest = keys.last().map(|key| key.kid.as_str()).unwrap_or_default();
    match how.at_once {
        true => println!("{newest} signs now; within a minute nothing that was signed before counts."),
        false => println!("{newest} signs from {from} on; what was signed before counts until it expires."),
    }
    Ok(())
}

#[derive(Debug, Clone, clap::Args)]
pub struct RotateKeys {
    /// End every access token that was signed before: for a key that somebody may have seen.
    #[arg(long)]
    pub at_once: bool,
}

/// Tells of every shop whether its audit log is whole.
pub fn run_check_audit(config: Config) -> Result<(), CommandError> {
    let app = App::open(config, Clock::System)?;
    let now = app.clock.now();
    let mut faults = 0;
    for shop in app.database.read(Id::new(now), now, Sight::Latest, shops::all).map_err(ApiError::from)? {
        let state = app.database.read(shop, now, Sight::Latest, audit::check).map_err(ApiError::from)?;
        match state.fault {
            None => println!("{shop}  {} entries, whole; last hash {}", state.entries, state.hash),
            Some(fault) => {
                faults += 1;
                println!("{shop}  {fault}");
            }
        }
    }
    if faults == 0 { Ok(()) } else { Err(CommandError::Audit(faults)) }
}

/// Prints the OpenAPI document.
pub fn run_openapi() -> Result<(), CommandError> {
    std::io::stdout().write_all(crate::openapi::document_text().as_bytes())?;
    Ok(())
}

/// Writes a copy of the embedded database to a new file, while it is in use or not.
pub fn run_backup(config: &Config, to: &BackupFile) -> Result<(), CommandError> {
    backup::backup(&config.location(), &to.file)?;
    println!("{} is a copy of {}.", to.file.display(), config.location().shown());
    Ok(())
}

/// Puts a copy in the place of the embedded database; the server must not run.
pub fn run_restore(config: &Config, from: &RestoreFile) -> Result<(), CommandError> {
    backup::restore(&config.location(), &from.file, from.replace)?;
    println!("{} is now as in {}.", config.location().shown(), from.file.display());
    Ok(())
}

/// Begins another timeline in every shop: for a database that was restored by its own programs.
pub fn run_begin_epoch(config: Config) -> Result<(), CommandError> {
    let app = App::open(config, Clock::System)?;
    let now = app.clock.now();
    for shop in app.database.read(Id::new(now), now, Sight::Latest, shops::all).map_err(ApiError::from)? {
        app.database.write(shop, now, |db| {
            db.touch(Touch::Epoch);
            Ok::<_, ApiError>(())
        })?;
        println!("{shop}: phones send again what they were told was taken in the last 30 days.");
    }
    Ok(())
}

#[derive(Debug, Clone, clap::Args)]
pub struct BackupFile {
    /// The file to write; it must not exist yet.
    pub file: PathBuf,
}

#[derive(Debug, Clone, clap::Args)]
pub struct RestoreFile {
    /// The file to put back.
    pub file: PathBuf,
    /// Lose the database that is there now.
    #[arg(long)]
    pub replace: bool,
}

/// A new shop and its first owner.
#[derive(Debug, Clone, clap::Args)]
pub struct NewShop {
    /// Name of the shop.
    #[arg(long)]
    pub name: String,
    /// Its time zone, an IANA name such as Europe/Vienna.
    #[arg(long)]
    pub time_zone: String,
    /// Language of messages to customers.
    #[arg(long, default_value = "en")]
    pub language: String,
    /// Name of the owner.
    #[arg(long, default_value = "Owner")]
    pub owner_name: String,
    /// Mail address with which the owner logs in.
    #[arg(long)]
    pub owner_email: String,
    /// The owner's password; better by the environment, or typed in when asked.
    #[arg(long, env = "LUSTRUM_OWNER_PASSWORD", hide_env_values = true)]
    pub owner_password: Option<String>,
}

/// Creates a shop with its owner and prints their ids.
pub fn run_create_shop(config: Config, new: NewShop) -> Result<(), CommandError> {
    let password = match new.owner_password.clone() {
        Some(password) => password,
        None => ask_password()?,
    };
    let app = App::open(config, Clock::System)?;
    let (shop, owner) = create_shop(&app, &new, &password)?;
    println!("shop  {shop}\nowner {owner} ({})", new.owner_email);
    Ok(())
}

/// Creates a shop with its owner; gives the ids of both.
pub fn create_shop(app: &App, new: &NewShop, password: &str) -> Result<(Id, Id), ApiError> {
    let now = app.clock.now();
    let shop = Id::new(now);
    let fields = ShopFields {
        name: new.name.clone(),
        time_zone: new.time_zone.clone(),
        language: new.language.clone(),
        settings: Doc(ShopSettings::default()),
    };
    let owner = PersonFields {
        name: new.owner_name.clone(),
        email: new.owner_email.trim().to_lowercase(),
        role: Word(Role::Owner),
        skills: Doc(Vec::new()),
        trainee: false,
        hours: Doc(Vec::new()),
        home_van: None,
        days_off: Doc(Vec::new()),
    };
    check(&fields)?;
    check(&owner)?;
    if let Some(why) = passwords::weakness(password, &[&owner.name, &owner.email, &fields.name]) {
        return Err(ApiError::field("/owner_password", "easily_guessed", format!("the password {why}")));
    }
    let hash = passwords::hash_now(password, app.config.password_memory_kib)?;
    app.database.write(shop, now, |db| {
        shops::insert(db, &fields)?;
        let id = Id::new(now);
        people::insert(db, id, &owner, Some(&hash))?;
        audit::append(
            db,
            &Act {
                by_kind: ActorKind::House,
                by_id: None,
                operation: "create-shop".into(),
                subject: "/v1/shop".into(),
                request: String::new(),
            },
        )?;
        Ok((shop, id))
    })
}

fn ask_password() -> Result<String, CommandError> {
    let stdin = std::io::stdin();
    if stdin.is_terminal() {
        eprint!("Password of the owner (it will be visible): ");
        std::io::stderr().flush()?;
    }
    let mut line = String::new();
    stdin.lock().read_line(&mut line)?;
    Ok(line.trim_end_matches(['\r', '\n']).to_owned())
}
