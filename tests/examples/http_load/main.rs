//! Measures the program over HTTP on the loopback and prints rows of a table; `tests/bench/http` starts it:
//! `http_load PROGRAM ROUNDS SECONDS [reads|rounds]`, with the database as for the tests; `reads` leaves all but the reads
//! out, `rounds` all but windows offered and reads beside a search.
//!
//! What is compared is measured in turns (A B A B …), so that a machine that grows slow is slow for both.

mod client;
mod load;
mod rounds;
mod server;

use client::{Connection, request};
use load::{Sample, probe, saturate};
use rounds::Busy;
use serde_json::Value;
use server::{Server, plain, workers};
use std::path::{Path, PathBuf};
use tests::{Place, on_postgres};

/// Clients at once where the database's pool (16 connections by default) is to be crowded.
const CROWD: usize = 64;
/// Clients that log in at once: more than the server hashes passwords at once.
const LOGGING_IN: usize = 4;
/// A balancer asks more seldom; more questions make a steadier p99.
const HEALTH_EVERY_MS: f64 = 10.0;

/// How long everything is measured.
struct Effort {
    rounds: usize,
    seconds: f64,
}

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let (program, rounds, seconds, only) = match arguments.as_slice() {
        [program, rounds, seconds] => (program, rounds, seconds, None),
        [program, rounds, seconds, only] if only == "reads" || only == "rounds" => {
            (program, rounds, seconds, Some(only.as_str()))
        }
        _ => panic!("http_load PROGRAM ROUNDS SECONDS [reads|rounds]"),
    };
    let program = PathBuf::from(program);
    let effort = Effort {
        rounds: rounds.parse().expect("a number of rounds"),
        seconds: seconds.parse().expect("seconds of a sample"),
    };
    assert!(
        (1..=99).contains(&effort.rounds) && (0.1..=60.0).contains(&effort.seconds),
        "1-99 rounds of 0.1-60 s"
    );
    let place = Place::ready();
    if only.is_none() && !on_postgres() {
        demo(&program, place.folder(), &effort);
    }
    let server = Server::seeded(&program, &place);
    if only != Some("rounds") {
        reads(&server, &place, &effort);
    }
    if only.is_none() {
        logins(&server, &effort);
    }
    if only != Some("reads") {
        dispatch(&server, &effort);
    }
}

/// Memory, and planning as the dispatcher sees it: one request after another, over all jobs that can be planned.
fn demo(program: &Path, data: &Path, effort: &Effort) {
    let first = Server::demo(program, data);
    row("memory, first start (demo made, every job planned)", &[first.memory_mb("VmRSS")], "MB");
    drop(first);
    let server = Server::demo(program, data);
    row("memory, started again, idle", &[server.memory_mb("VmRSS")], "MB");
    let plans: Vec<Vec<u8>> = server
        .jobs
        .iter()
        .map(|job| request("POST", &format!("/v1/jobs/{job}/plan"), &server.token, &Value::Null))
        .collect();
    assert!(!plans.is_empty(), "the demo has no job to plan");
    let mut client = Connection::open(server.address);
    for plan in &plans {
        client.send(plan, 201);
    }
    let planned = format!("memory, {} jobs planned over HTTP", plans.len());
    row(&planned, &[server.memory_mb("VmRSS")], "MB");
    let samples: Vec<Sample> =
        (0..effort.rounds).map(|_| saturate(server.address, &plans, 201, 1, effort.seconds)).collect();
    rows("plan a demo job, SQLite, 1 client", &samples);
}

/// An authenticated read by key beside a route that answers the same bytes without any work, and one that reads the row
/// and does nothing else, in turns.
fn reads(server: &Server, place: &Place, effort: &Effort) {
    let jobs: Vec<Vec<u8>> = server.jobs.iter().map(|job| server.get(&format!("/v1/jobs/{job}"))).collect();
    let body = Connection::open(server.address).send(&jobs[0], 200).to_vec();
    let (size, plain) = (body.len(), plain(body, place, server));
    let nothing = [request("GET", "/", &server.token, &Value::Null)];
    let row_alone = [request("GET", "/row", &server.token, &Value::Null)];
    for clients in [1, CROWD] {
        let (mut seen, mut spent_us): ([Vec<Sample>; 3], Vec<f64>) = Default::default();
        for round in 0..=effort.rounds {
            let others = [&nothing, &row_alone]
                .map(|requests| saturate(plain, requests, 200, clients, effort.seconds));
            let before_s = server.processor_s();
            let read = saturate(server.address, &jobs, 200, clients, effort.seconds);
            let spent_s = server.processor_s() - before_s;
            // The first round warms caches and connections up.
            if round > 0 {
                spent_us.push(spent_s / read.answers as f64 * 1e6);
                seen.iter_mut()
                    .zip(others.into_iter().chain([read]))
                    .for_each(|(seen, sample)| seen.push(sample));
            }
        }
        let [bare, alone, read] = seen;
        let share = |of: &[Sample]| -> Vec<f64> {
            bare.iter().zip(of).map(|(bare, read)| read.per_s / bare.per_s * 100.0).collect()
        };
        let of = format!("{clients} client(s), {} worker(s)", workers());
        rows(&format!("bare route ({size} bytes), {of}"), &bare);
        rows(&format!("a route that reads the job's row and nothing else, {}, {of}", database()), &alone);
        rows(&format!("read a job by key, {}, {of}", database()), &read);
        row(
            &format!("the lone row's rate as share of the bare route's, {clients} client(s)"),
            &share(&alone),
            "%",
        );
        row(
            &format!("that read's rate as share of the bare route's, {clients} client(s)"),
            &share(&read),
            "%",
        );
        row(&format!("processor time of the server for that read, {clients} client(s)"), &spent_us, "µs");
    }
}

/// Logins, and whether a balancer that asks for `/health` would think the server dead meanwhile.
fn logins(server: &Server, effort: &Effort) {
    let (form, health) = ([server.log_in()], server.get("/health"));
    let (mut alone, mut crowded, mut calm, mut busy) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    for _ in 0..effort.rounds {
        alone.push(saturate(server.address, &form, 200, 1, effort.seconds));
        calm.push(probe(server.address, &health, HEALTH_EVERY_MS, effort.seconds));
        std::thread::scope(|scope| {
            let logins = scope.spawn(|| saturate(server.address, &form, 200, LOGGING_IN, effort.seconds));
            busy.push(probe(server.address, &health, HEALTH_EVERY_MS, effort.seconds));
            crowded.push(logins.join().expect("the logins succeed"));
        });
    }
    rows(&format!("login, {}, 1 client", database()), &alone);
    rows(&format!("login, {}, {LOGGING_IN} clients", database()), &crowded);
    paced_rows(&format!("/health, {}, otherwise idle", database()), &calm);
    paced_rows(&format!("/health, {}, while {LOGGING_IN} clients log in", database()), &busy);
    row(&format!("memory, {}, peak of all this", database()), &[server.memory_mb("VmHWM")], "MB");
}

/// Windows beside 100 visits in 10 rounds, and what a search beside them costs those who read.
fn dispatch(server: &Server, effort: &Effort) {
    let busy = Busy::new(server);
    let (first_ms, first) = busy.offers(effort.seconds);
    let more = (1..effort.rounds).map(|_| busy.offers(effort.seconds).1);
    let offers: Vec<Sample> = std::iter::once(first).chain(more).collect();
    row(&format!("windows for a new job, {}, the first question", database()), &[first_ms], "ms");
    rows(&format!("windows for a new job beside 100 visits in 10 rounds, {}, 1 client", database()), &offers);
    let (mut alone, mut beside) = (Vec::new(), Vec::new());
    for _ in 0..effort.rounds {
        let [calm, busy] = busy.reads_beside_a_search(1, effort.seconds);
        alone.push(calm);
        beside.push(busy);
    }
    rows(&format!("read a vehicle by key, {}, 1 client", database()), &alone);
    rows(&format!("the same beside a search for rounds, {}", database()), &beside);
}

fn database() -> &'static str {
    if on_postgres() { "PostgreSQL" } else { "SQLite" }
}

/// Rates and waits of the rounds, as medians.
fn rows(what: &str, samples: &[Sample]) {
    println!("| {what} | {} /s | {} |", median(samples.iter().map(|s| s.per_s)), waits(samples));
}

/// As `rows`, where the rate is the one asked for.
fn paced_rows(what: &str, samples: &[Sample]) {
    println!("| {what} | | {} |", waits(samples));
}

fn waits(samples: &[Sample]) -> String {
    let of = |figure: fn(&Sample) -> f64| median(samples.iter().map(figure));
    format!("{} | {} | {}", of(|s| s.p50_ms), of(|s| s.p99_ms), of(|s| s.max_ms))
}

fn row(what: &str, values: &[f64], unit: &str) {
    println!("| {what} | {} {unit} | | | |", median(values.iter().copied()));
}

/// The median of the rounds, and how far they lie apart.
fn median(values: impl Iterator<Item = f64>) -> String {
    let mut sorted: Vec<f64> = values.collect();
    sorted.sort_by(f64::total_cmp);
    let (lowest, highest) = (sorted[0], sorted[sorted.len() - 1]);
    let middle = (sorted[(sorted.len() - 1) / 2] + sorted[sorted.len() / 2]) / 2.0;
    match sorted.len() {
        1 => shown(middle),
        _ => format!("{} ({}-{})", shown(middle), shown(lowest), shown(highest)),
    }
}

/// Three significant digits, or whole numbers.
fn shown(value: f64) -> String {
    let decimals = if value >= 100.0 {
        0
    } else if value >= 10.0 {
        1
    } else if value >= 1.0 {
        2
    } else {
        3
    };
    format!("{value:.decimals$}")
}
