//! Somebody who takes webhooks: it keeps what was sent and answers what it was told to.

use std::collections::{BTreeMap, VecDeque};
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{TcpListener, TcpStream};
use std::sync::{Arc, Mutex};

/// One request as it arrived.
#[derive(Debug, Clone)]
pub struct Delivery {
    pub method: String,
    pub path: String,
    /// By names in small letters.
    pub headers: BTreeMap<String, String>,
    pub body: String,
}

/// A running receiver; it answers 204 unless something else is planned.
#[derive(Clone)]
pub struct Receiver {
    pub url: String,
    state: Arc<Mutex<State>>,
}

#[derive(Default)]
struct State {
    planned: VecDeque<String>,
    /// What everybody is answered with.
    page: String,
    seen: Vec<Delivery>,
    connections: usize,
}

impl Receiver {
    pub fn start() -> Receiver {
        let listener = TcpListener::bind("127.0.0.1:0").expect("a free port");
        let url = format!("http://{}/events", listener.local_addr().expect("an address"));
        let receiver = Receiver { url, state: Arc::default() };
        let serving = receiver.clone();
        // It ends with the test process.
        std::thread::spawn(move || {
            for connection in listener.incoming().flatten() {
                serving.answer(&connection);
            }
        });
        receiver
    }

    /// Status line and further headers of the next answers, one after the other, such as `503 Busy\r\nretry-after: 9`.
    pub fn plan(&self, answers: &[&str]) {
        let mut state = self.state.lock().expect("no panic");
        state.planned.extend(answers.iter().map(|answer| (*answer).to_owned()));
    }

    /// What everybody gets who asks.
    pub fn show(&self, page: &str) {
        self.state.lock().expect("no panic").page = page.to_owned();
    }

    /// How much that is.
    pub fn seen_count(&self) -> usize {
        self.state.lock().expect("no panic").seen.len()
    }

    /// What has arrived since this was last asked.
    pub fn take(&self) -> Vec<Delivery> {
        std::mem::take(&mut self.state.lock().expect("no panic").seen)
    }

    /// How many connections were ever made.
    pub fn connections(&self) -> usize {
        self.state.lock().expect("no panic").connections
    }

    fn answer(&self, mut connection: &TcpStream) {
        self.state.lock().expect("no panic").connections += 1;
        let Some(delivery) = read(connection) else { return };
        let (answer, page) = {
            let mut state = self.state.lock().expect("no panic");
            let page = state.page.clone();
            state.seen.push(delivery);
            let usual = if page.is_empty() { "204 No Content" } else { "200 OK" };
            (state.planned.pop_front().unwrap_or_else(|| usual.into()), page)
        };
        let length = page.len();
        let whole =
            format!("HTTP/1.1 {answer}\r\ncontent-length: {length}\r\nconnection: close\r\n\r\n{page}");
        connection.write_all(whole.as_bytes()).ok();
    }
}

fn read(connection: &TcpStream) -> Option<Delivery> {
    let mut from = BufReader::new(connection);
    let mut line = String::new();
    from.read_line(&mut line).ok()?;
    let mut words = line.split(' ').map(str::to_owned);
    let (method, path) = (words.next()?, words.next()?);
    let mut headers = BTreeMap::new();
    loop {
        let mut line = String::new();
        from.read_line(&mut line).ok()?;
        let Some((name, value)) = line.trim_end().split_once(':') else { break };
        headers.insert(name.to_ascii_lowercase(), value.trim().to_owned());
    }
    let length = headers.get("content-length").and_then(|length| length.parse().ok()).unwrap_or(0);
    let mut body = vec![0; length];
    from.read_exact(&mut body).ok()?;
    Some(Delivery { method, path, headers, body: String::from_utf8(body).ok()? })
}
