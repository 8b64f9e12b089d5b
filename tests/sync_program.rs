//! The program as it is delivered, behind a line that drops, cuts, repeats and delays, killed at any moment and restored
//! from a backup: what phones were told is taken is there once.

use api::clock::Clock;
use api::db::kinds::Instant;
use chrono::TimeDelta;
use domain::random::Random;
use serde_json::{Value, json};
use std::collections::BTreeSet;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::process::Child;
use std::sync::{Arc, Mutex};
use tests::delivered::{lustrum, program, says};
use tests::phone::{Ask, Phone};
use tests::{Client, PASSWORD, Place, estate, on_postgres};

/// Questions of each phone before the line heals.
const QUESTIONS: usize = 120;

/// A program that serves.
struct Serving {
    place: Place,
    database: Vec<String>,
    child: Child,
    address: SocketAddr,
}

impl Serving {
    fn start(place: Place) -> Serving {
        let database = place.config().database_url.map(|url| vec!["--database-url".into(), url]);
        let database: Vec<String> = database.unwrap_or_default();
        let (child, address) = serve(&place, &database);
        Serving { place, database, child, address }
    }

    /// Kills it in whatever it does.
    fn kill(&mut self) {
        self.child.kill().expect("it runs");
        self.child.wait().expect("it ends");
    }

    fn start_again(&mut self) {
        (self.child, self.address) = serve(&self.place, &self.database);
    }

    fn run(&self, arguments: &[&str], said: &str) {
        let all: Vec<&str> =
            arguments.iter().copied().chain(self.database.iter().map(String::as_str)).collect();
        says(&lustrum(self.place.folder(), &all), 0, said);
    }
}

impl Drop for Serving {
    fn drop(&mut self) {
        self.child.kill().ok();
        self.child.wait().ok();
    }
}

fn serve(place: &Place, database: &[String]) -> (Child, SocketAddr) {
    let mut command = program(place.folder());
    command.args(["serve", "--listen", "127.0.0.1:0", "--requests-per-min", "0"]).args(database);
    let mut child = command.env("LUSTRUM_LOG", "info").spawn().expect("it starts");
    let mut said = BufReader::new(child.stderr.take().expect("a pipe")).lines().map_while(Result::ok);
    let line = said.find(|line| line.contains("serving")).expect("it serves");
    // Whatever it says is read while it works, so that it never waits for us.
    std::thread::spawn(move || said.for_each(drop));
    let port =
        line.split("127.0.0.1:").nth(1).and_then(|rest| rest.split(|c: char| !c.is_ascii_digit()).next());
    (child, format!("127.0.0.1:{}", port.expect("a port")).parse().expect("an address"))
}

/// A line to the server that is not to be trusted.
struct Line {
    address: SocketAddr,
    /// Where the server is now; none: the line is good for nothing.
    to: Arc<Mutex<SocketAddr>>,
    faulty: Arc<Mutex<bool>>,
}

impl Line {
    fn lay(to: SocketAddr, seed: u64) -> Line {
        let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
        let address = listener.local_addr().expect("an address");
        let (to, faulty) = (Arc::new(Mutex::new(to)), Arc::new(Mutex::new(true)));
        let (place, trouble) = (to.clone(), faulty.clone());
        std::thread::spawn(move || {
            let (mut random, mut late): (Random, Vec<Vec<u8>>) = (Random::new(seed), Vec::new());
            for phone in listener.incoming().map_while(Result::ok) {
                let to = *place.lock().expect("a place");
                carry(phone, to, (*trouble.lock().expect("a word"), &mut random, &mut late));
            }
        });
        Line { address, to, faulty }
    }
}

/// Carries one request to the server, and its answer back, or does not.
fn carry(
    mut phone: TcpStream,
    to: SocketAddr,
    (faulty, random, late): (bool, &mut Random, &mut Vec<Vec<u8>>),
) {
    let Some(request) = read_request(&mut phone) else { return };
    let chance = if faulty { random.below(100) } else { 100 };
    match chance {
        // Lost on the way there.
        0..15 => return,
        // It arrives later, when nobody waits for the answer any more.
        15..30 => return late.push(request),
        _ => {}
    }
    if faulty
        && random.chance(30)
        && let Some(old) = late.pop()
    {
        drop(ask(to, &old));
    }
    if (30..40).contains(&chance) {
        // Twice.
        drop(ask(to, &request));
    }
    let answer = ask(to, &request);
    match (chance, answer) {
        // Lost on the way back, or cut in the middle.
        (40..55, _) | (_, None) => {}
        (55..62, Some(answer)) => drop(phone.write_all(&answer[..answer.len() / 2])),
        (_, Some(answer)) => drop(phone.write_all(&answer)),
    }
}

fn read_request(from: &mut TcpStream) -> Option<Vec<u8>> {
    let (mut request, mut byte) = (Vec::new(), [0]);
    while !request.ends_with(b"\r\n\r\n") {
        from.read_exact(&mut byte).ok()?;
        request.push(byte[0]);
    }
    let head = String::from_utf8_lossy(&request).into_owned();
    let length = head.lines().find_map(|line| line.strip_prefix("content-length: "))?.parse().ok()?;
    let mut body = vec![0; length];
    from.read_exact(&mut body).ok()?;
    request.extend(body);
    Some(request)
}

/// Sends a request and reads until the other side ends.
fn ask(to: SocketAddr, request: &[u8]) -> Option<Vec<u8>> {
    let mut stream = TcpStream::connect(to).ok()?;
    stream.write_all(request).ok()?;
    let mut answer = Vec::new();
    stream.read_to_end(&mut answer).ok()?;
    (!answer.is_empty()).then_some(answer)
}

/// A phone's question over the line; none: there was no whole answer.
fn over(line: SocketAddr, token: &str, question: &Ask) -> Option<(u16, Value)> {
    let (method, path, body) = match question {
        Ask::Register { device, body, .. } => ("PUT", format!("/v1/devices/{device}"), body.to_string()),
        Ask::Push { body, .. } => ("POST", "/v1/sync/push".into(), body.to_string()),
        Ask::Pull { device, cursor, .. } => {
            let cursor = cursor.as_ref().map(|cursor| format!("&cursor={cursor}")).unwrap_or_default();
            ("GET", format!("/v1/sync/pull?limit=20&device={device}{cursor}"), String::new())
        }
    };
    let request = format!(
        "{method} {path} HTTP/1.1\r\nhost: lustrum\r\nconnection: close\r\nauthorization: Bearer {token}\r\n\
         content-type: application/json\r\ncontent-length: {}\r\n\r\n{body}",
        body.len()
    );
    let answer = ask(line, request.as_bytes())?;
    let text = String::from_utf8_lossy(&answer).into_owned();
    let (head, body) = text.split_once("\r\n\r\n")?;
    // An answer that was cut is none.
    let body = serde_json::from_str(body).ok()?;
    Some((head.split(' ').nth(1)?.parse().ok()?, body))
}

#[test]
fn what_phones_were_told_is_taken_survives_bad_lines_kills_and_a_restored_backup() {
    let mut serving = Serving::start(Place::ready());
    let owner =
        ["create-shop", "--name", "Shine", "--time-zone", "Europe/Vienna", "--owner-email", "o@x.test"];
    let made = program(serving.place.folder()).args(owner).args(&serving.database).output().expect("it runs");
    says(&made, 0, "shop");
    let shop = String::from_utf8_lossy(&made.stdout).split_whitespace().nth(1).expect("an id").to_owned();
    let login = json!({ "shop": shop, "email": "o@x.test", "password": PASSWORD });
    let client = Client::at(serving.address);
    let token =
        client.post("/v1/login", &login).expect(200)["access_token"].as_str().expect("a token").to_owned();
    let office = client.with_token(&token);
    let me = office.get("/v1/me").expect(200)["id"].clone();
    let now = Clock::System.now();
    let customer = office.post("/v1/customers", &json!({ "name": "A" })).id();
    let vehicle = office.post("/v1/vehicles", &estate(&customer)).id();
    let window = json!({ "vehicle": vehicle, "package": "P2", "window_from": now, "window_to": now.plus(TimeDelta::hours(2)) });
    let job = office.post("/v1/jobs", &window).id();
    let crew = json!({ "van": null, "start_at": null, "technicians": [me] });
    office.put(&format!("/v1/jobs/{job}/assignment"), &crew).expect(200);

    let line = Line::lay(serving.address, 6);
    let mut phones = [Phone::with_clock(now), Phone::with_clock(now)];
    let (mut random, mut said) = (Random::new(7), BTreeSet::new());
    let copy = serving.place.folder().join("copy.db");
    let copy = copy.to_str().expect("a plain path").to_owned();
    for nth in 0..QUESTIONS {
        for phone in &mut phones {
            if random.chance(40) {
                said.insert(phone.act("comment", &job, &now.to_string(), json!({ "text": nth.to_string() })));
            }
            let question = next(phone, &mut random, now);
            if let Some((status, answer)) = over(line.address, &token, &question) {
                phone.hear(&question, status, &answer).expect("what the server says fits");
            }
        }
        if nth == QUESTIONS / 3 && !on_postgres() {
            serving.run(&["backup", &copy], "is a copy of");
        }
        let restored = nth == QUESTIONS * 2 / 3;
        if restored || random.chance(3) {
            serving.kill();
            match (restored, on_postgres()) {
                (true, false) => serving.run(&["restore", &copy, "--replace"], "is now as in"),
                (true, true) => serving.run(&["begin-epoch"], "send again"),
                (false, _) => {}
            }
            serving.start_again();
            *line.to.lock().expect("a place") = serving.address;
        }
    }
    *line.faulty.lock().expect("a word") = false;
    let direct = Client::at(serving.address).with_token(&token);
    for _ in 0..2 {
        phones.iter_mut().for_each(|phone| phone.sync(&direct, &now.to_string()));
    }
    let mut fresh = Phone::with_clock(now);
    fresh.sync(&direct, &now.to_string());
    let held: BTreeSet<String> =
        fresh.kept.rows.keys().filter(|key| key.0 == "comment").map(|key| key.1.clone()).collect();
    assert_eq!(held, said, "each comment is there once");
    assert!(said.len() > 50, "only {} were made", said.len());
    for phone in &phones {
        assert_eq!(phone.kept.rows, fresh.kept.rows);
        assert_eq!(phone.kept.outbox, Vec::<Value>::new());
    }
}

fn next(phone: &Phone, random: &mut Random, now: Instant) -> Ask {
    match phone.is_registered() {
        false => phone.register(),
        true if random.chance(60) => {
            phone.push([1, 3, 200][random.below(3)], &now.to_string()).unwrap_or_else(|| phone.pull())
        }
        true => phone.pull(),
    }
}
