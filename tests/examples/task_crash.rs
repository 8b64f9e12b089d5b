//! Kills the program again and again while it works, and counts what that does to what it was to send.
//!
//!     cargo run --release -p tests --example task_crash -- --seeds 1:20 --due 20000 --kills 200
//!
//! The database is SQLite in a new folder; with `LUSTRUM_TEST_DB=postgres` and `TEST_DATABASE_URL` (see
//! `tests/with-postgres`) it is PostgreSQL. Two replicas of the real program (`--replicas N` others) serve from it. Half of
//! what is due are webhook deliveries, half reminders by mail; a mail server and a receiver in this process count what
//! arrives. After random numbers of arrivals a random replica is killed with -9 and started again. What it had in its hands
//! is taken up when its lease ends, after a minute of real time, or, with `--impatient`, when the lease is aged in the table.
//! Who looks for the reminders is killed, too, and each time a minute is lost; `--found` has them found before.
//!
//! Asserted for each seed: of A (webhooks: leased, sent again) none is lost, at most kills x in flight arrive twice, and by
//! the id each is known to the receiver; of B (mail: marked, never sent again by itself) none arrives twice, and each that
//! did not arrive is listed as uncertain. The same seed kills the same replicas after the same numbers of arrivals.

use api::clock::Stopwatch;
use tests::crash::{Wanted, campaign};

fn main() {
    let mut wanted = Wanted { due: 400, kills: 10, replicas: 2, found: false, impatient: false };
    let mut seeds = 1..=1;
    let mut given = std::env::args().skip(1);
    while let Some(word) = given.next() {
        let flag = match word.as_str() {
            "--impatient" => Some(&mut wanted.impatient),
            "--found" => Some(&mut wanted.found),
            _ => None,
        };
        if let Some(flag) = flag {
            *flag = true;
            continue;
        }
        let value = given.next().expect("a value");
        let number = || value.parse().expect("a number");
        match word.as_str() {
            "--seeds" => {
                let (from, to) = value.split_once(':').expect("--seeds A:B");
                seeds = from.parse().expect("a number")..=to.parse().expect("a number");
            }
            "--due" => wanted.due = number(),
            "--kills" => wanted.kills = number(),
            "--replicas" => wanted.replicas = number(),
            other => panic!("what is {other}?"),
        }
    }
    println!(
        "| seed | kills | A due | lost | twice | bound | B due | lost | twice | uncertain, listed | seconds |"
    );
    println!("|---|---|---|---|---|---|---|---|---|---|---|");
    for seed in seeds {
        let begun = Stopwatch::start();
        let toll = campaign(seed, &wanted);
        let (a, b) = (&toll.webhooks, &toll.mails);
        println!(
            "| {seed} | {} | {} | {} | {} | {} | {} | {} | {} | {} | {:.0} |",
            toll.kills,
            a.due,
            a.lost,
            a.twice,
            toll.bound(),
            b.due,
            b.lost,
            b.twice,
            b.uncertain,
            begun.ms() / 1e3
        );
        toll.assert_kept();
    }
}
