//! What the tests stand on: the whole server in this process, on a database of its own, with a clock they move.
//!
//! `LUSTRUM_TEST_DB` chooses the database: `sqlite` (default) or `postgres`, whose server `TEST_DATABASE_URL` names.

pub mod compatible;
pub mod crash;
pub mod delivered;
pub mod mail_server;
pub mod phone;
pub mod place;
pub mod receiver;
pub mod schedules;
pub mod schema;
pub mod statements;

use actix_web::dev::ServerHandle;
use api::app::App;
use api::clock::Clock;
use api::commands::{NewShop, create_shop};
use api::config::Config;
use api::db::customer_replies::{self, NewReply, ReplyReading, ReplyWay};
use api::db::kinds::{Id, Instant};
use api::db::{Db, Sight, outbox, shops};
use api::mail::Mail;
use api::serve::{Stop, serve};
use api::tasks::worker;
use chrono::{NaiveDate, TimeDelta};
use diesel::QueryResult;
pub use place::{Place, on_postgres, on_server};
use serde_json::{Value, json};
use std::net::{SocketAddr, TcpListener};
use std::path::PathBuf;
use std::sync::{Arc, Mutex, PoisonError, Weak, mpsc};
use std::thread::JoinHandle;
use ureq::http;

pub const PASSWORD: &str = "long enough 1";
/// Mail address of the technician of a ready job.
const WORKER: &str = "worker@shop.test";
const JSON: &str = "application/json";
/// The condition that what is changed is there, whatever it is.
pub const WHATEVER: (&str, &str) = ("if-match", "*");
const MERGE_PATCH: &str = "application/merge-patch+json";
const ALPHABET: &[u8] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_";

/// A running server. Dropping it stops the server and removes its database.
pub struct TestApp {
    pub app: App,
    pub clock: Clock,
    pub address: SocketAddr,
    server: Option<(ServerHandle, JoinHandle<()>)>,
    pub place: Arc<Place>,
}

impl TestApp {
    /// A server on an empty database; its clock stands at Monday, 4 May 2026, 06:00 UTC.
    pub fn start() -> TestApp {
        TestApp::start_with(|_| {})
    }

    /// The same with other settings.
    pub fn start_with(change: impl FnOnce(&mut Config)) -> TestApp {
        let place = Place::ready();
        let mut config = place.config();
        change(&mut config);
        TestApp::serve(place, config)
    }

    /// A server on the data that are there.
    pub fn start_on(place: Place) -> TestApp {
        let config = place.config();
        TestApp::serve(place, config)
    }

    /// The server of tests that leave everything but their own shops as it was: started by the first that needs it,
    /// and ended with the last.
    pub fn shared() -> Arc<TestApp> {
        static RUNNING: Mutex<Weak<TestApp>> = Mutex::new(Weak::new());
        let mut running = RUNNING.lock().unwrap_or_else(PoisonError::into_inner);
        running.upgrade().unwrap_or_else(|| {
            let app = Arc::new(TestApp::start());
            *running = Arc::downgrade(&app);
            app
        })
    }

    /// Another server on the same database, whose clock differs by so much.
    pub fn replica(&self, by: TimeDelta) -> TestApp {
        let clock = Clock::manual(self.clock.now().plus(by));
        TestApp::serve_at(self.place.clone(), self.place.config(), clock)
    }

    fn serve(place: Place, config: Config) -> TestApp {
        let start =
            NaiveDate::from_ymd_opt(2026, 5, 4).and_then(|day| day.and_hms_opt(6, 0, 0)).expect("a date");
        TestApp::serve_at(Arc::new(place), config, Clock::manual(Instant::from_utc(start)))
    }

    fn serve_at(place: Arc<Place>, config: Config, clock: Clock) -> TestApp {
        statements::watch();
        let app = App::open(config, clock.clone()).expect("the database opens");
        let listener = TcpListener::bind("127.0.0.1:0").expect("a free port");
        let address = listener.local_addr().expect("an address");
        let (send, receive) = mpsc::channel();
        let served = app.clone();
        let thread = std::thread::spawn(move || {
            actix_web::rt::System::new().block_on(async move {
                let server = serve(&served, listener, Stop::ByHandle).expect("the server starts");
                send.send(server.handle()).expect("the test waits");
                server.await.expect("the server ends well");
            });
        });
        let handle = receive.recv().expect("the server starts");
        TestApp { app, clock, address, server: Some((handle, thread)), place }
    }

    /// A new shop in Vienna's time zone, with its owner logged in.
    pub fn shop(&self, name: &str) -> Shop {
        let email = format!("owner@{}.test", name.to_lowercase());
        let new = NewShop {
            name: name.into(),
            time_zone: "Europe/Vienna".into(),
            language: "en".into(),
            owner_name: "Olga Owner".into(),
            owner_email: email.clone(),
            owner_password: None,
        };
        let (id, owner_id) = create_shop(&self.app, &new, PASSWORD).expect("the shop is made");
        let owner = self.log_in(id, &email);
        Shop { id, owner_id, email, owner }
    }

    /// A client of somebody with the usual password.
    pub fn log_in(&self, shop: Id, email: &str) -> Client {
        let form = json!({ "shop": shop, "email": email, "password": PASSWORD });
        let reply = self.client().post("/v1/login", &form);
        self.client_with(reply.expect(200)["access_token"].as_str().expect("a token"))
    }

    /// A client without a token.
    pub fn client(&self) -> Client {
        Client::new(self.address, None)
    }

    pub fn client_with(&self, token: &str) -> Client {
        Client::new(self.address, Some(token.to_owned()))
    }

    pub fn advance(&self, by: TimeDelta) {
        self.clock.advance(by);
    }

    /// Does all background work that is due by the clock; tells how many attempts that took.
    pub fn run_tasks(&self) -> usize {
        wait_for(worker::drain(&self.app)).expect("the tasks are worked off")
    }

    /// The mail that was sent, by file, in the order of the reminders.
    pub fn mail(&self) -> Vec<String> {
        let Mail::Folder(folder) = &self.app.mail else { panic!("mail goes elsewhere") };
        let Ok(entries) = std::fs::read_dir(folder) else { return Vec::new() };
        let mut files: Vec<PathBuf> = entries.map(|entry| entry.expect("an entry").path()).collect();
        files.sort();
        files.iter().map(|file| std::fs::read_to_string(file).expect("a mail")).collect()
    }

    /// Tasks that a worker still holds: none, unless one was lost.
    fn held_tasks(&self) -> i64 {
        let now = self.clock.now();
        let read = |shop: Id, work: &dyn Fn(&mut Db<'_>) -> QueryResult<i64>| {
            self.app.database.read(shop, now, Sight::Latest, |db| work(db)).expect("a count")
        };
        let shops = self.app.database.read(Id::new(now), now, Sight::Latest, shops::all).expect("the shops");
        shops.into_iter().map(|shop| read(shop, &|db| outbox::held(db))).sum()
    }
}

impl Drop for TestApp {
    fn drop(&mut self) {
        if let Some((handle, thread)) = self.server.take() {
            // Stopping is begun by the call; the thread ends when it is done.
            drop(handle.stop(false));
            let ended = thread.join();
            if !std::thread::panicking() {
                assert!(ended.is_ok(), "the server panicked");
                assert_eq!(self.held_tasks(), 0, "a task is still held by a worker");
                assert_eq!(statements::shopless(), Vec::<String>::new(), "statements that forget the shop");
                assert_eq!(statements::untold(), Vec::<String>::new(), "changes that phones are not told of");
            }
        }
    }
}

/// The name of the built-in handbook.
pub fn standard() -> &'static str {
    &domain::handbook::Handbook::standard().version
}

/// Runs what is asynchronous to its end.
pub fn wait_for<T>(work: impl Future<Output = T>) -> T {
    actix_web::rt::System::new().block_on(work)
}

/// A shop with its owner logged in.
pub struct Shop {
    pub id: Id,
    pub owner_id: Id,
    pub email: String,
    pub owner: Client,
}

impl Shop {
    /// Adds a person with the usual password and logs them in; gives their id and client.
    pub fn hire(&self, app: &TestApp, role: &str, email: &str) -> (String, Client) {
        let person = json!({ "name": format!("A {role}"), "email": email, "role": role });
        let id = self.owner.post("/v1/people", &person).id();
        self.owner.put(&format!("/v1/people/{id}/password"), &json!({ "password": PASSWORD })).expect(204);
        (id, app.log_in(self.id, email))
    }

    /// The same shop with its owner logged in anew: an access token lasts ten minutes of the clock.
    pub fn again(&self, app: &TestApp) -> Shop {
        Shop { owner: app.log_in(self.id, &self.email), email: self.email.clone(), ..*self }
    }

    pub fn customer(&self, name: &str) -> String {
        self.owner.post("/v1/customers", &json!({ "name": name })).id()
    }

    /// A customer who is reached by mail, and agreed to nothing yet.
    pub fn mia(&self) -> String {
        self.owner.post("/v1/customers", &json!({ "name": "Mia", "email": "mia@customer.test" })).id()
    }

    /// A customer's grey estate with clear coat.
    pub fn vehicle(&self, customer: &str) -> String {
        self.owner.post("/v1/vehicles", &estate(customer)).id()
    }

    /// A job with package `P2` on the first working day of the clock, 08:00-10:00 UTC.
    pub fn job(&self, vehicle: &str) -> String {
        self.owner.post("/v1/jobs", &booking(vehicle)).id()
    }
}

/// A partner app and what it logs in with.
pub struct PartnerApp {
    pub id: String,
    pub client_id: String,
    pub secret: String,
}

impl PartnerApp {
    /// Posts a form to one of the OAuth routes as this app.
    pub fn ask(&self, app: &TestApp, path: &str, form: &str) -> Reply {
        let (id, secret) = (&self.client_id, &self.secret);
        app.client().form(path, &format!("client_id={id}&client_secret={secret}&{form}"))
    }

    pub fn token(&self, app: &TestApp) -> String {
        let token = self.ask(app, "/oauth/token", "grant_type=client_credentials").expect(200);
        token["access_token"].as_str().expect("a token").to_owned()
    }

    pub fn log_in(&self, app: &TestApp) -> Client {
        app.client_with(&self.token(app))
    }
}

/// A job that can be planned, and who and what goes there.
pub struct ReadyJob {
    pub id: String,
    pub customer: String,
    pub vehicle: String,
    pub van: String,
    pub technician_id: String,
    pub technician: Client,
}

impl ReadyJob {
    /// The address of something of this job.
    pub fn path(&self, of: &str) -> String {
        format!("/v1/jobs/{}/{of}", self.id)
    }
}

impl Shop {
    /// A partner app with these scopes, with its token.
    pub fn partner(&self, app: &TestApp, scopes: &[&str]) -> Client {
        self.partner_app(scopes).log_in(app)
    }

    pub fn partner_app(&self, scopes: &[&str]) -> PartnerApp {
        let made = self.owner.post("/v1/partner-apps", &json!({ "name": "Fleet", "scopes": scopes }));
        let made = made.expect(201);
        let text = |field: &Value| field.as_str().expect("text").to_owned();
        PartnerApp {
            id: text(&made["app"]["id"]),
            client_id: text(&made["client_id"]),
            secret: text(&made["client_secret"]),
        }
    }

    /// Moves the clock; owner and technician log in again, as their tokens may have expired.
    pub fn wait(&mut self, app: &TestApp, job: &mut ReadyJob, by: TimeDelta) {
        app.advance(by);
        self.owner = app.log_in(self.id, &self.email);
        job.technician = app.log_in(self.id, WORKER);
    }

    /// A booked job with package `P2`, a full van and a skilled technician who starts at 08:00 UTC.
    pub fn ready_job(&self, app: &TestApp) -> ReadyJob {
        let site = json!({ "latitude": 48.2, "longitude": 16.37, "heading_deg": 90, "tap": true, "drain": "sewer",
            "hardness_mg_l": 150, "ground": "asphalt", "mains": true, "water_restriction": 0 });
        let customer = self.owner.post("/v1/customers", &json!({ "name": "A", "site": site })).id();
        let vehicle = self.vehicle(&customer);
        let id = self.job(&vehicle);
        let van = self.owner.post("/v1/vans", &full_van()).id();
        let (technician_id, technician) = self.hire(app, "technician", WORKER);
        let skills = json!({ "skills": ["wash", "decon", "clay", "polish"] });
        self.owner.patch(&format!("/v1/people/{technician_id}"), &skills).expect(200);
        let assignment =
            json!({ "van": van, "start_at": "2026-05-04T08:00:00Z", "technicians": [technician_id] });
        self.owner.put(&format!("/v1/jobs/{id}/assignment"), &assignment).expect(200);
        ReadyJob { id, customer, vehicle, van, technician_id, technician }
    }
}

/// A van that carries everything a decontamination needs.
pub fn full_van() -> Value {
    json!({ "name": "One", "seats": 2, "kit": { "tank_l": 400, "battery_kwh": 3.0, "equipment": [
        "pump_foamer", "foam_lance", "hose", "pressure_washer", "tank", "spotless_filter", "water_reel",
        "battery_pack", "rcd", "clay_towel", "clay_bar", "mitt", "towel_dry", "towel_small", "brush", "bucket",
        "vacuum", "polisher", "light", "ir_thermometer", "thickness_gauge", "hardness_strip", "step", "blower",
        "awning", "runoff_kit"] } })
}

/// What an operation takes, as the OpenAPI document shows it.
pub fn example(method: &str, path: &str) -> Value {
    let document = api::openapi::document();
    let body = &document["paths"][path][method]["requestBody"]["content"]["application/json"];
    assert!(body["example"].is_object(), "{method} {path} shows no example");
    body["example"].clone()
}

/// Adds a reply of a customer that waits for a person.
pub fn reply_of(app: &TestApp, shop: &Shop, customer: &str) -> String {
    let reply = NewReply {
        customer: Some(customer.parse().expect("an id")),
        job: None,
        way: ReplyWay::Link,
        sender: "A".into(),
        text: "canary-answer".into(),
        reading: ReplyReading::VisitWanted,
        message_key: format!("visit:{customer}"),
    };
    let added = app.app.database.write(shop.id, app.clock.now(), |db| customer_replies::insert(db, &reply));
    assert!(added.expect("a reply"));
    shop.owner.get("/v1/replies?limit=1").expect(200)["items"][0]["id"].as_str().expect("an id").to_owned()
}

pub fn estate(customer: &str) -> Value {
    json!({
        "customer": customer, "label": "grey estate",
        "document": { "class": "estate", "colour": "grey", "finish": "clear_coat",
            "exposures": [{ "kind": "street_open", "share": 0.4 }] }
    })
}

pub fn booking(vehicle: &str) -> Value {
    json!({ "vehicle": vehicle, "package": "P2",
        "window_from": "2026-05-04T08:00:00Z", "window_to": "2026-05-04T10:00:00Z" })
}

/// A plain HTTP client.
#[derive(Clone)]
pub struct Client {
    address: SocketAddr,
    token: Option<String>,
    agent: ureq::Agent,
}

impl Client {
    fn new(address: SocketAddr, token: Option<String>) -> Client {
        let config = ureq::Agent::config_builder()
            .http_status_as_error(false)
            .max_redirects(0)
            // A kept connection may be one that the server is just ending (RFC 9112, 9.5).
            .max_idle_connections(0)
            .allow_non_standard_methods(true);
        Client { address, token, agent: config.build().into() }
    }

    /// A client of a program that serves there.
    pub fn at(address: SocketAddr) -> Client {
        Client::new(address, None)
    }

    pub fn with_token(&self, token: &str) -> Client {
        Client::new(self.address, Some(token.to_owned()))
    }

    pub fn token(&self) -> &str {
        self.token.as_deref().unwrap_or_default()
    }

    pub fn get(&self, path: &str) -> Reply {
        self.send("GET", path, &[], &[])
    }

    pub fn post(&self, path: &str, body: &Value) -> Reply {
        self.change("POST", path, JSON, body)
    }

    pub fn put(&self, path: &str, body: &Value) -> Reply {
        self.change("PUT", path, JSON, body)
    }

    pub fn patch(&self, path: &str, body: &Value) -> Reply {
        self.change("PATCH", path, MERGE_PATCH, body)
    }

    pub fn delete(&self, path: &str) -> Reply {
        self.send("DELETE", path, &[WHATEVER], &[])
    }

    /// Changes something as a test does that does not care what was there: whatever it is, or, where there may be
    /// nothing yet, what a look at it tells.
    fn change(&self, method: &str, path: &str, kind: &str, body: &Value) -> Reply {
        let may_be_missing = path.starts_with("/v1/weather/")
            || path.ends_with("/arrival")
            || path == "/v1/travel-matrix"
            || (path == "/v1/message-gateway" && method == "PUT");
        let missing = may_be_missing && self.get(path).status == 404;
        let seen = if missing { ("if-none-match", "*") } else { WHATEVER };
        self.send(method, path, &[("content-type", kind), seen], body.to_string().as_bytes())
    }

    /// A form (`application/x-www-form-urlencoded`).
    pub fn form(&self, path: &str, body: &str) -> Reply {
        self.send("POST", path, &[("content-type", "application/x-www-form-urlencoded")], body.as_bytes())
    }

    pub fn send(&self, method: &str, path: &str, headers: &[(&str, &str)], body: &[u8]) -> Reply {
        let mut request =
            http::Request::builder().method(method).uri(format!("http://{}{path}", self.address));
        if let Some(token) = &self.token {
            request = request.header("authorization", format!("Bearer {token}"));
        }
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        let sent = if body.is_empty() {
            self.agent.run(request.body(()).expect("a request"))
        } else {
            self.agent.run(request.body(body).expect("a request"))
        };
        let mut response = sent.unwrap_or_else(|e| panic!("{method} {path}: {e}"));
        let body = response.body_mut().read_to_vec().expect("a body");
        let text = String::from_utf8_lossy(&body).into_owned();
        let headers = response.headers().clone();
        let asked = format!("{method} {path}");
        Reply { asked, status: response.status().as_u16(), headers, text }
    }
}

/// What the server answered.
#[derive(Debug)]
pub struct Reply {
    pub asked: String,
    pub status: u16,
    pub headers: http::HeaderMap,
    pub text: String,
}

impl Reply {
    /// The body, if the status is the one expected.
    #[track_caller]
    pub fn expect(&self, status: u16) -> Value {
        assert_eq!(self.status, status, "{} answered {}", self.asked, self.text);
        if self.text.is_empty() { Value::Null } else { serde_json::from_str(&self.text).expect("JSON") }
    }

    /// The id of something that was made.
    #[track_caller]
    pub fn id(&self) -> String {
        self.expect(201)["id"].as_str().expect("an id").to_owned()
    }

    pub fn header(&self, name: &str) -> &str {
        self.headers.get(name).and_then(|value| value.to_str().ok()).unwrap_or_default()
    }

    /// Asserts a problem in full (RFC 9457) and gives it.
    #[track_caller]
    pub fn problem(&self, status: u16, code: &str) -> Value {
        let body = self.expect(status);
        assert_eq!(self.header("content-type"), "application/problem+json", "{}", self.asked);
        assert_eq!(body["code"], code, "{}: {}", self.asked, self.text);
        assert_eq!(body["type"], format!("urn:lustrum:problem:{code}"));
        assert_eq!(body["status"], status);
        assert!(body["title"].as_str().is_some_and(|title| !title.is_empty()));
        assert_eq!(body["request_id"], self.header("x-request-id"));
        assert!(!self.header("x-request-id").is_empty());
        body
    }

    /// Asserts that the body was refused, first of all at `pointer` and for `code`.
    #[track_caller]
    pub fn refused_at(&self, pointer: &str, code: &str) {
        let body = self.problem(422, "invalid");
        let found = (body["errors"][0]["pointer"].as_str(), body["errors"][0]["code"].as_str());
        assert_eq!(found, (Some(pointer), Some(code)), "{}: {}", self.asked, self.text);
    }
}

/// Base64url without padding (RFC 4648, section 5) of a JSON text.
pub fn base64url(value: &Value) -> String {
    base64url_of(value.to_string().as_bytes())
}

/// The same of any bytes.
pub fn base64url_of(bytes: &[u8]) -> String {
    let mut out = String::new();
    for chunk in bytes.chunks(3) {
        let bits =
            chunk.iter().fold(0u32, |bits, byte| bits << 8 | u32::from(*byte)) << (8 * (3 - chunk.len()));
        for place in 0..=chunk.len() {
            out.push(char::from(ALPHABET[(bits >> (18 - 6 * place)) as usize & 63]));
        }
    }
    out
}

/// The bytes behind base64url without padding.
pub fn base64url_bytes(text: &str) -> Vec<u8> {
    let digit = |c: u8| ALPHABET.iter().position(|known| *known == c).expect("base64url") as u32;
    let mut bytes = Vec::new();
    for chunk in text.as_bytes().chunks(4) {
        let bits = chunk.iter().fold(0u32, |bits, c| bits << 6 | digit(*c)) << (6 * (4 - chunk.len()));
        bytes.extend(&bits.to_be_bytes()[1..chunk.len()]);
    }
    bytes
}

/// The JSON behind base64url without padding.
pub fn base64url_json(text: &str) -> Value {
    serde_json::from_slice(&base64url_bytes(text)).expect("JSON")
}
