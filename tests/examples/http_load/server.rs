//! The servers that are measured: the program as it is, in a process of its own, and routes that do nearly nothing.

use crate::client::{ask, request};
use actix_web::{App, HttpResponse, HttpServer, web};
use api::clock::{Clock, Stopwatch};
use api::db::kinds::Id;
use api::db::{Database, Sight, jobs};
use serde_json::{Value, json};
use std::io::{BufRead, BufReader};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::Duration;
use tests::{PASSWORD, Place, estate, on_postgres};

pub const OWNER: &str = "owner@shop.test";
/// Jobs in the seeded shop, one a day.
const JOBS: u64 = 100;
/// A server that does not answer by then does not start, milliseconds.
const LATEST_MS: f64 = 60_000.0;

/// A running program; it ends with this value.
pub struct Server {
    child: Child,
    pub address: SocketAddr,
    pub token: String,
    pub shop: String,
    pub jobs: Vec<String>,
}

/// The HTTP worker threads of every server here.
pub fn workers() -> usize {
    std::thread::available_parallelism().map_or(1, usize::from)
}

impl Server {
    /// The demo, once it serves, with the jobs that can be planned.
    pub fn demo(program: &Path, data: &Path) -> Server {
        let address = free_address();
        let mut command =
            lustrum(program, data, &["demo", "--requests-per-min", "0", "--listen", &address.to_string()]);
        let mut child = command.stdout(Stdio::piped()).spawn().expect("the program starts");
        let said = BufReader::new(child.stdout.take().expect("a pipe"));
        let mut lines = said.lines().map(|line| line.expect("text"));
        // Of the lines to try, the owner's carries their token.
        let owner = lines.by_ref().skip_while(|line| !line.starts_with("# owner")).nth(1);
        let token = owner.as_deref().and_then(|line| line.split("Bearer ").nth(1)?.split('\'').next());
        let token = token.expect("the demo prints the owner's token").to_owned();
        assert!(lines.any(|line| line.starts_with("Serving ")), "the demo does not serve");
        let mut server = Server { child, address, token, shop: String::new(), jobs: Vec::new() };
        await_health(address);
        server.jobs = ["booked", "planned"].iter().flat_map(|status| server.jobs_that_are(status)).collect();
        server
    }

    /// The server on the database of `place`, with a shop of a hundred booked jobs.
    pub fn seeded(program: &Path, place: &Place) -> Server {
        let address = free_address();
        let mut create = lustrum(program, place.folder(), &["create-shop", "--name", "Shine"]);
        create.args(["--time-zone", "Europe/Vienna", "--owner-email", OWNER]).env(OWNER_PASSWORD, PASSWORD);
        let made = on(place, &mut create).output().expect("the program starts");
        let said = String::from_utf8_lossy(&made.stdout).into_owned();
        let shop =
            said.lines().find_map(|line| line.strip_prefix("shop  ")).expect("the shop's id").to_owned();
        let mut serve = lustrum(program, place.folder(), &["serve", "--listen", &address.to_string()]);
        serve.args(["--access-token-min", "60", "--requests-per-min", "0"]).stdout(Stdio::null());
        let child = on(place, &mut serve).spawn().expect("the program starts");
        let mut server = Server { child, address, token: String::new(), shop, jobs: Vec::new() };
        await_health(address);
        let tokens = ask(address, &server.log_in(), 200);
        server.token = text(&tokens["access_token"]);
        server.book();
        server
    }

    pub fn get(&self, path: &str) -> Vec<u8> {
        request("GET", path, &self.token, &Value::Null)
    }

    pub fn log_in(&self) -> Vec<u8> {
        let form = json!({ "shop": self.shop, "email": OWNER, "password": PASSWORD });
        request("POST", "/v1/login", "", &form)
    }

    /// A figure of the process in megabytes, such as `VmRSS` (proc_pid_status(5)).
    pub fn memory_mb(&self, name: &str) -> f64 {
        let file = format!("/proc/{}/status", self.child.id());
        let status = std::fs::read_to_string(file).expect("the program runs, on Linux");
        let line = status.lines().find_map(|line| line.strip_prefix(name)?.strip_prefix(':'));
        let kib = line.and_then(|line| line.split_whitespace().next()?.parse::<f64>().ok());
        kib.expect("a number of KiB") * 1024.0 / 1e6
    }

    /// Seconds that the process has spent on processors (proc_pid_stat(5); its ticks are hundredths on every Linux).
    pub fn processor_s(&self) -> f64 {
        let file = format!("/proc/{}/stat", self.child.id());
        let stat = std::fs::read_to_string(file).expect("the program runs, on Linux");
        let fields = stat.rsplit(") ").next().expect("what stands behind the name").split(' ');
        fields.skip(11).take(2).map(|ticks| ticks.parse::<f64>().expect("ticks") / 100.0).sum()
    }

    fn jobs_that_are(&self, status: &str) -> Vec<String> {
        let page = ask(self.address, &self.get(&format!("/v1/jobs?status={status}&limit=200")), 200);
        assert!(page["next_cursor"].is_null(), "more jobs than fit on a page");
        page["items"].as_array().expect("jobs").iter().map(|job| text(&job["id"])).collect()
    }

    fn book(&mut self) {
        let make = |path: &str, body: &Value| {
            text(&ask(self.address, &request("POST", path, &self.token, body), 201)["id"])
        };
        let customer = make("/v1/customers", &json!({ "name": "A" }));
        let vehicle = make("/v1/vehicles", &estate(&customer));
        let day = |number: u64| {
            chrono::NaiveDate::from_ymd_opt(2040, 1, 1).expect("a day") + chrono::Days::new(number)
        };
        let jobs = (0..JOBS).map(|number| {
            let (from, to) = (format!("{}T08:00:00Z", day(number)), format!("{}T10:00:00Z", day(number)));
            make(
                "/v1/jobs",
                &json!({ "vehicle": vehicle, "package": "P2", "window_from": from, "window_to": to }),
            )
        });
        self.jobs = jobs.collect();
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        self.child.kill().ok();
        self.child.wait().ok();
    }
}

/// Two routes of the same framework: `/` only answers `body`, `/row` reads the row of a job and answers with it, and nothing
/// else. Their process is this one; they end with it.
pub fn plain(body: Vec<u8>, place: &Place, server: &Server) -> SocketAddr {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a free port");
    let address = listener.local_addr().expect("an address");
    let config = place.config();
    let database = Database::open(&config.location(), config.pool_size).expect("the database of the server");
    let id = |text: &str| text.parse::<Id>().expect("an id");
    let (body, shop, job) = (web::Bytes::from(body), id(&server.shop), id(&server.jobs[0]));
    let site = move || {
        let (body, database) = (body.clone(), database.clone());
        let answer = move || {
            let body = body.clone();
            async move { HttpResponse::Ok().content_type("application/json").body(body) }
        };
        let row = move || {
            let database = database.clone();
            let read = move || {
                let now = Clock::System.now();
                database.read(shop, now, Sight::Latest, |db| jobs::find(db, job)).expect("a read")
            };
            // As the program does: an embedded database is read at once, for another a thread waits.
            async move {
                let row = if on_postgres() { web::block(read).await.expect("a thread") } else { read() };
                HttpResponse::Ok().json(row)
            }
        };
        App::new().route("/", web::get().to(answer)).route("/row", web::get().to(row))
    };
    std::thread::spawn(move || {
        let server = HttpServer::new(site).workers(workers()).disable_signals().listen(listener);
        actix_web::rt::System::new().block_on(server.expect("a listener").run()).expect("it serves");
    });
    address
}

const OWNER_PASSWORD: &str = "LUSTRUM_OWNER_PASSWORD";

/// The program with nothing from the environment, so that every setting not given here has its default. It logs every
/// request, to nowhere.
fn lustrum(program: &Path, data: &Path, arguments: &[&str]) -> Command {
    let mut command = Command::new(program);
    command.env_clear().args(arguments).arg("--data").arg(data).arg("--workers").arg(workers().to_string());
    command.stdin(Stdio::null()).stderr(Stdio::null());
    command
}

fn on<'a>(place: &Place, command: &'a mut Command) -> &'a mut Command {
    match place.config().database_url {
        Some(url) => command.arg("--database-url").arg(url),
        None => command,
    }
}

/// The port is free when it is looked for; that nobody takes it before the program does is likely, not sure.
fn free_address() -> SocketAddr {
    TcpListener::bind("127.0.0.1:0").and_then(|free| free.local_addr()).expect("a free port")
}

fn await_health(address: SocketAddr) {
    let watch = Stopwatch::start();
    while TcpStream::connect(address).is_err() {
        assert!(watch.ms() < LATEST_MS, "the server does not start");
        std::thread::sleep(Duration::from_millis(20));
    }
    ask(address, &request("GET", "/health", "", &Value::Null), 200);
}

fn text(value: &Value) -> String {
    value.as_str().expect("text").to_owned()
}
