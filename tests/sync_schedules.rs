//! Phones and the real server under thousands of random schedules. `tests/run sync --seeds A:B` runs others.

use std::thread::scope;
use tests::TestApp;
use tests::schedules::{Totals, prepare, run};

/// Schedules of every run of the tests.
const SCHEDULES: u64 = 2_000;

#[test]
fn every_schedule_ends_well() {
    let app = TestApp::start();
    prepare(&app);
    let (from, to) = seeds();
    // The two halves go on at the same time, each in shops of its own.
    let middle = from + (to - from) / 2;
    let mut all = Totals::new();
    scope(|scope| {
        let halves = [(from, middle), (middle, to)].map(|(from, to)| {
            let app = &app;
            scope.spawn(move || run(app, from, to))
        });
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
        "forks",
        "jobs given away",
        "parked",
        "phones restored",
        "phones wiped",
        "repeated",
        "resets",
        "server restored",
    ] {
        assert!(all.contains_key(what) || to - from < SCHEDULES, "no schedule had {what}: {all:?}");
    }
}

fn seeds() -> (u64, u64) {
    let Ok(asked) = std::env::var("LUSTRUM_SYNC_SEEDS") else { return (0, SCHEDULES) };
    let (from, to) = asked.split_once(':').expect("LUSTRUM_SYNC_SEEDS is A:B");
    (from.parse().expect("a number"), to.parse().expect("a number"))
}
