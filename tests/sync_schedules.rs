//! Phones and the real server under random schedules: in every run of the tests two thousand, one half on each database;
//! `tests/run sync --seeds A:B` runs as many others as one likes on both.

use std::thread::scope;
use tests::on_postgres;
use tests::schedules::{Totals, run};

/// Schedules on one database.
const SCHEDULES: u64 = 1_000;

#[test]
fn every_schedule_ends_well() {
    let (from, to) = seeds();
    // The two halves go on at the same time, each in a database of its own.
    let middle = from + (to - from) / 2;
    let mut all = Totals::new();
    scope(|scope| {
        let halves = [(from, middle), (middle, to)].map(|(from, to)| scope.spawn(move || run(from, to)));
        for half in halves {
            for (what, many) in half.join().expect("every schedule of a half ends well") {
                *all.entry(what).or_default() += many;
            }
        }
    });
    println!("{} schedules: {all:?}", to - from);
    for what in [
        "answers lost",
        "checkpoints",
        "commands",
        "crashes in a transaction",
        "forks",
        "jobs given away",
        "parked",
        "phones restored",
        "phones wiped",
        "repeated",
        "resets",
        "server restored",
    ] {
        assert!(
            all.get(what).is_some_and(|many| *many > 0) || to - from < SCHEDULES,
            "no schedule had {what}: {all:?}"
        );
    }
}

fn seeds() -> (u64, u64) {
    let Ok(asked) = std::env::var("LUSTRUM_SYNC_SEEDS") else {
        let from = if on_postgres() { SCHEDULES } else { 0 };
        return (from, from + SCHEDULES);
    };
    let (from, to) = asked.split_once(':').expect("LUSTRUM_SYNC_SEEDS is A:B");
    (from.parse().expect("a number"), to.parse().expect("a number"))
}
