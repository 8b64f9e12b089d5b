//! The command line of Lustrum.

use api::commands::{self, BackupFile, NewShop, RestoreFile, RotateKeys};
use api::config::Config;
use api::demo::{self, DemoOptions};
use clap::{Parser, Subcommand};
use std::process::ExitCode;
use tracing::Level;
use tracing_subscriber::filter::Targets;
use tracing_subscriber::fmt;
use tracing_subscriber::layer::SubscriberExt;
use tracing_subscriber::util::SubscriberInitExt;

/// Backend for a mobile vehicle-detailing business.
#[derive(Parser)]
#[command(name = "lustrum", version)]
struct Arguments {
    #[command(flatten)]
    config: Config,
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    /// Serve the API.
    Serve,
    /// Show an invented shop on an embedded database, and serve it.
    Demo(DemoOptions),
    /// Bring the tables of the database up to date.
    Migrate,
    /// Make the figures of every shop anew from what was recorded.
    Recount,
    /// Tell of every shop whether an entry of its audit log was edited or is missing.
    CheckAudit,
    /// Let another key sign the access tokens.
    RotateKeys(RotateKeys),
    /// Print the OpenAPI document.
    Openapi,
    /// Write a copy of the embedded database to a file; the server may run meanwhile.
    Backup(BackupFile),
    /// Put a copy in the place of the embedded database.
    Restore(RestoreFile),
    /// Have phones send again what a restored database may not have; `restore` does it by itself.
    BeginEpoch,
    /// Create a shop and its owner.
    CreateShop(NewShop),
}

fn main() -> ExitCode {
    let arguments = Arguments::parse();
    let asked = std::env::var("LUSTRUM_LOG").ok().and_then(|levels| levels.parse::<Targets>().ok());
    let levels = asked.unwrap_or_else(|| {
        Targets::new().with_default(Level::INFO).with_target("tokio_cron_scheduler", Level::WARN)
    });
    tracing_subscriber::registry().with(fmt::layer().with_writer(std::io::stderr)).with(levels).init();
    let config = arguments.config;
    let outcome = match arguments.command {
        Command::Serve => commands::run_serve(config),
        Command::Demo(options) => demo::run(config, &options),
        Command::Migrate => commands::run_migrate(&config),
        Command::Recount => commands::run_recount(config),
        Command::CheckAudit => commands::run_check_audit(config),
        Command::RotateKeys(how) => commands::run_rotate_keys(config, &how),
        Command::Openapi => commands::run_openapi(),
        Command::Backup(to) => commands::run_backup(&config, &to),
        Command::Restore(from) => commands::run_restore(&config, &from),
        Command::BeginEpoch => commands::run_begin_epoch(config),
        Command::CreateShop(new) => commands::run_create_shop(config, new),
    };
    match outcome {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("lustrum: {error}");
            ExitCode::FAILURE
        }
    }
}
