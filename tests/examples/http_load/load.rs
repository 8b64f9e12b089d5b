//! Load on a server, and what its clients saw.

use crate::client::Connection;
use api::clock::Stopwatch;
use std::net::SocketAddr;
use std::sync::Barrier;
use std::time::Duration;

/// Answers counted by one client in one sample, at most: bounds the memory of a long run.
const MOST: usize = 1_000_000;

/// The answers of one stretch of time.
pub struct Sample {
    pub answers: usize,
    pub per_s: f64,
    pub p50_ms: f64,
    pub p99_ms: f64,
    pub max_ms: f64,
}

/// Clients that each send their next request when the last is answered: the server is never idle, and what is found
/// is the rate it can hold at this number of clients, with the wait that goes with it.
pub fn saturate(
    address: SocketAddr,
    requests: &[Vec<u8>],
    status: u16,
    clients: usize,
    seconds: f64,
) -> Sample {
    let connections: Vec<Connection> = (0..clients).map(|_| Connection::open(address)).collect();
    let start = Barrier::new(clients);
    let one = |mut connection: Connection, first: usize| {
        start.wait();
        let (whole, mut waits) = (Stopwatch::start(), Vec::new());
        for request in requests.iter().cycle().skip(first % requests.len()) {
            if whole.ms() > seconds * 1e3 || waits.len() == MOST {
                break;
            }
            let watch = Stopwatch::start();
            connection.send(request, status);
            waits.push(watch.ms());
        }
        (waits, whole.ms())
    };
    let one = &one;
    let seen: Vec<(Vec<f64>, f64)> = std::thread::scope(|scope| {
        let clients: Vec<_> = (0..)
            .step_by(7)
            .zip(connections)
            .map(|(first, connection)| scope.spawn(move || one(connection, first)))
            .collect();
        clients.into_iter().map(|client| client.join().expect("a client ends well")).collect()
    });
    let longest_ms = seen.iter().map(|(_, ms)| *ms).fold(0.0, f64::max);
    sample(seen.into_iter().flat_map(|(waits, _)| waits).collect(), longest_ms)
}

/// One client that asks at fixed instants, however slow the answers are. A wait counts from the instant at which the
/// question was due, so that a stall is seen by all who would have come meanwhile.
pub fn probe(address: SocketAddr, request: &[u8], every_ms: f64, seconds: f64) -> Sample {
    let mut connection = Connection::open(address);
    let (whole, mut waits, mut due_ms) = (Stopwatch::start(), Vec::new(), 0.0);
    while due_ms <= seconds * 1e3 {
        let early_ms = due_ms - whole.ms();
        if early_ms > 0.0 {
            std::thread::sleep(Duration::from_secs_f64(early_ms / 1e3));
        }
        connection.send(request, 200);
        waits.push(whole.ms() - due_ms);
        due_ms += every_ms;
    }
    sample(waits, whole.ms())
}

fn sample(mut waits_ms: Vec<f64>, whole_ms: f64) -> Sample {
    assert!(!waits_ms.is_empty(), "nothing was answered");
    waits_ms.sort_by(f64::total_cmp);
    // Nearest rank: the smallest wait that at least this share of all does not exceed.
    let rank = |share: f64| waits_ms[((share * waits_ms.len() as f64).ceil() as usize).max(1) - 1];
    let answers = waits_ms.len();
    let per_s = answers as f64 / whole_ms * 1e3;
    Sample { answers, per_s, p50_ms: rank(0.5), p99_ms: rank(0.99), max_ms: rank(1.0) }
}
