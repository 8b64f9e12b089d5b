//! Takes the defences of the protocol between phones and server away, one at a time, and looks for a schedule that then
//! goes wrong: `cargo run -p tests --example sync_faults [MOST]`, with `LUSTRUM_TEST_DB=postgres tests/with-postgres`
//! before it on PostgreSQL. Ends with 1 where fewer than 13 of 14 are seen.
//!
//! The fifteenth, the lock under which numbers are given out, cannot be taken out of the running server; the model in
//! `domain/src/sync/model` does.

use std::process::ExitCode;

use tests::schedules::{FAULTS, look_for, ready};

fn main() -> ExitCode {
    let most = std::env::args().nth(1).map_or(400, |most| most.parse().expect("a number of schedules"));
    let app = ready();
    let mut seen = 0;
    for fault in FAULTS {
        match look_for(&app, fault, most) {
            Some((seed, why)) => {
                seen += 1;
                println!("{fault:?}: seed {seed}: {why}");
            }
            None => println!("{fault:?}: not seen in {most} schedules"),
        }
    }
    println!("{seen} of {} are seen", FAULTS.len());
    if seen + 1 >= FAULTS.len() { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}
