//! `lustrum demo`: an invented shop, played through the API's own routes, shown and served.

mod client;
mod scenario;
mod searched;
mod tell;
mod town;
mod work;

use crate::app::App;
use crate::auth::links::{Act, CustomerLink};
use crate::auth::sign_for_app;
use crate::clock::{Clock, Stopwatch};
use crate::commands::CommandError;
use crate::config::Config;
use crate::serve::serve_and_work;
use crate::tasks::{all_shops, tick, worker};
use actix_http::Request;
use actix_web::body::BoxBody;
use actix_web::dev::{Service, ServiceResponse};
use chrono::{NaiveDate, TimeDelta};
use client::{Client, Refusal};
use serde_json::Value;
use std::io::Write;
use std::net::TcpListener;
use std::path::Path;
use std::rc::Rc;
use town::Played;
pub use town::{Morning, PlayError};

/// The file of the demo in the data folder.
const FILE: &str = "demo.db";
/// A demo token outlives a day of trying things out, minutes.
const TOKEN_MIN: i64 = 24 * 60;

/// While the scenario is played weeks pass, minutes.
const PLAY_MIN: i64 = 60 * 24 * 60;

/// How the demo is shown.
#[derive(Debug, Clone, clap::Args)]
pub struct DemoOptions {
    /// Print and end, do not serve.
    #[arg(long)]
    pub once: bool,
}

/// Makes the demo's file unless it is there, prints what each user gets, and serves.
pub fn run(mut config: Config, options: &DemoOptions) -> Result<(), CommandError> {
    if config.database_url.is_some() {
        return Err(CommandError::Demo(
            "the demo keeps to a file of its own: leave out --database-url".into(),
        ));
    }
    let listener = match options.once {
        true => None,
        false => Some(
            TcpListener::bind(&config.listen).map_err(|e| CommandError::Listen(config.listen.clone(), e))?,
        ),
    };
    config.access_token_min = TOKEN_MIN;
    config.public_url = format!("http://{}", config.listen);
    let file = config.data_folder().join(FILE);
    std::fs::create_dir_all(config.data_folder())?;
    actix_web::rt::System::new().block_on(async {
        if file.exists() {
            println!("Using {}.", file.display());
        } else {
            make(&config, &file).await?;
        }
        let clock = Clock::shifted_to(town::instant(town::today(), "06:30"));
        let app = App::open(at(&config, &file), clock).map_err(|error| damaged(&file, &error.to_string()))?;
        show(&app).await.map_err(|error| damaged(&file, &error.to_string()))?;
        match listener {
            None => Ok(()),
            Some(listener) => {
                println!("\nServing http://{} until Ctrl-C; documentation at /docs.", config.listen);
                Ok(serve_and_work(&app, listener).await?)
            }
        }
    })
}

/// Plays the scenario into a file beside the real one, so that an interrupted start leaves nothing half done.
async fn make(config: &Config, file: &Path) -> Result<(), CommandError> {
    let part = file.with_extension("part");
    for leftover in ["part", "part-wal", "part-shm"] {
        std::fs::remove_file(file.with_extension(leftover)).ok();
    }
    let watch = Stopwatch::start();
    let clock = Clock::manual(town::instant(town::today(), "06:30"));
    let mut config = at(config, &part);
    config.access_token_min = PLAY_MIN;
    // Weeks pass within seconds, on a clock that stands still between the moves.
    config.requests_per_min = 0;
    let app = App::open(config, clock)?;
    let played = play(&app).await.map_err(|error| CommandError::Demo(error.to_string()))?;
    drop(app);
    std::fs::rename(&part, file)?;
    eprintln!("\r{:<60}", format!("made {} in {:.1} s", file.display(), watch.ms() / 1e3));
    println!(
        "{} orders booked, {} planned, {} of the first two weeks worked; refused as double bookings: {}",
        played.booked,
        played.planned,
        played.finished,
        played.refused.len()
    );
    for refused in &played.refused {
        println!("  {refused}");
    }
    Ok(())
}

async fn play(app: &App) -> Result<Played, PlayError> {
    let service = Rc::new(client::open(app).await);
    let mut tell = |what: &str| {
        // One line that is written over: progress for a person, nothing for a log.
        eprint!("\r{:<60}", format!("playing: {what}"));
        std::io::stderr().flush().ok();
    };
    town::play(app, service, &mut tell).await
}

/// Shows each morning of the town on which nothing has been worked: see [`Morning`].
pub async fn mornings(app: &App, see: &mut impl AsyncFnMut(&Morning)) -> Result<(), PlayError> {
    town::mornings(app, Rc::new(client::open(app).await), see).await
}

fn at(config: &Config, file: &Path) -> Config {
    Config { database_url: Some(format!("sqlite:{}", file.display())), backups: 0, ..config.clone() }
}

fn damaged(file: &Path, error: &str) -> CommandError {
    CommandError::Demo(format!(
        "{} cannot be used: {}. It holds nothing but the demo. Delete it and start the demo again, or choose another \
         folder with --data.",
        file.display(),
        error.trim_end_matches('.')
    ))
}

/// Finds what is due at the demo's hour, prints the parts, and a line for each user to try.
async fn show(app: &App) -> Result<(), CommandError> {
    let refused = |error: Refusal| CommandError::Demo(error.to_string());
    tick(app).await?;
    worker::drain(app).await?;
    let Some(shop) = all_shops(app).await?.first().copied() else {
        return Err(CommandError::Demo("it holds no shop".into()));
    };
    let service = Rc::new(client::open(app).await);
    let anyone = Client::new(service, String::new());
    let log_in = |email: &'static str| town::log_in(&anyone, &shop, email);
    let owner_token = log_in(scenario::OWNER.1).await.map_err(refused)?;
    let owner = anyone.with_token(owner_token.clone());
    let first_day =
        scenario::Scenario::read().ok().and_then(|s| s.days().first().copied()).unwrap_or_default();
    println!("\n{}, {}", scenario::SHOP, town::today().format("%A %d %B %Y, 06:30"));
    print!("{}", tell::report(&owner, first_day).await.map_err(refused)?);
    print!("{}", searched::report(app, &owner).await?);
    let dispatcher_token = log_in(scenario::DISPATCHER.1).await.map_err(refused)?;
    lines_to_try(app, &owner, (&owner_token, &dispatcher_token)).await.map_err(refused)
}

async fn lines_to_try<S>(
    app: &App,
    owner: &Client<S>,
    (owner_token, dispatcher_token): (&str, &str),
) -> Result<(), Refusal>
where
    S: Service<Request, Response = ServiceResponse<BoxBody>, Error = actix_web::Error>,
{
    let url = &app.config.public_url;
    let curl = |who: &str, token: &str, path: &str| {
        let token =
            if token.is_empty() { String::new() } else { format!(" -H 'authorization: Bearer {token}'") };
        println!("\n# {who}\ncurl -s{token} '{url}{path}'");
    };
    let today: NaiveDate = town::today();
    println!("\n\n## For you to try, while the demo serves");
    curl(
        "dispatcher: today's rounds and their conflicts",
        dispatcher_token,
        &format!("/v1/rounds?date={today}"),
    );
    curl(
        "dispatcher: the same as a picture (also application/geo+json and text/calendar)",
        &format!("{dispatcher_token}' -H 'accept: image/svg+xml"),
        &format!("/v1/rounds?date={today}"),
    );
    let due = owner.get("/v1/upkeep?kind=decontamination&limit=1").await?;
    if let Some(vehicle) = due["items"][0]["vehicle"].as_str() {
        let picture = format!("/v1/vehicles/{vehicle}/upkeep.svg");
        curl(
            "dispatcher: load and life of a vehicle over the year, as a picture",
            dispatcher_token,
            &picture,
        );
    }
    if let Some(link) = customer_link(app, owner).await? {
        curl(
            "customer: the page behind the link in a reminder (nothing changes until a button of it is pressed)",
            "",
            &link,
        );
    }
    let (app_token, job) = partner(app, owner).await?;
    curl("developer of a partner app: a plan", &app_token, &format!("/v1/jobs/{job}/plan"));
    curl(
        "owner: what the crews got through last week",
        owner_token,
        &format!("/v1/throughput?week={}", tell::last_week()),
    );
    Ok(())
}

/// The page of the first customer with a reminder that is due.
async fn customer_link<S>(app: &App, owner: &Client<S>) -> Result<Option<String>, Refusal>
where
    S: Service<Request, Response = ServiceResponse<BoxBody>, Error = actix_web::Error>,
{
    let due = owner.get("/v1/reminders?status=due&limit=1").await?;
    let me = owner.get("/v1/shop").await?;
    let id = |value: &Value| value.as_str().and_then(|text| text.parse().ok());
    let first = &due["items"][0];
    let (Some(shop), Some(customer), Some(reminder)) =
        (id(&me["id"]), id(&first["customer"]), id(&first["id"]))
    else {
        return Ok(None);
    };
    let until_unix = app.clock.now().plus(TimeDelta::days(30)).unix();
    let link = CustomerLink { shop, customer, until_unix, act: Act::SeeUpkeep { reminder } };
    Ok(link.seal(&app.keys).ok().map(|token| format!("/c/{token}")))
}

/// A token of the demo's partner app, and a job whose plan it can read.
async fn partner<S>(app: &App, owner: &Client<S>) -> Result<(String, String), Refusal>
where
    S: Service<Request, Response = ServiceResponse<BoxBody>, Error = actix_web::Error>,
{
    let (apps, me) = (owner.get("/v1/partner-apps").await?, owner.get("/v1/shop").await?);
    let id = |value: &Value| value.as_str().and_then(|text| text.parse().ok());
    let token = match (id(&me["id"]), id(&apps["items"][0]["id"])) {
        (Some(shop), Some(partner)) => {
            sign_for_app(app, shop, partner, "plans:read".into()).unwrap_or_default()
        }
        _ => String::new(),
    };
    let jobs =
        owner.get(&format!("/v1/jobs?from={}T00:00:00Z&status=planned&limit=1", town::today())).await?;
    Ok((token, jobs["items"][0]["id"].as_str().unwrap_or_default().to_owned()))
}
