//! The command line of Lustrum.

use api::commands::{self, NewShop};
use api::config::Config;
use clap::{Parser, Subcommand};
use std::process::ExitCode;
use tracing_subscriber::EnvFilter;

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
    /// Bring the tables of the database up to date.
    Migrate,
    /// Print the OpenAPI document.
    Openapi,
    /// Create a shop and its owner.
    CreateShop(NewShop),
}

fn main() -> ExitCode {
    let arguments = Arguments::parse();
    let filter = EnvFilter::try_from_env("LUSTRUM_LOG")
        .unwrap_or_else(|_| EnvFilter::new("info,tokio_cron_scheduler=warn"));
    tracing_subscriber::fmt().with_env_filter(filter).with_writer(std::io::stderr).init();
    let config = arguments.config;
    let outcome = match arguments.command {
        Command::Serve => commands::run_serve(config),
        Command::Migrate => commands::run_migrate(config),
        Command::Openapi => commands::run_openapi(),
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
