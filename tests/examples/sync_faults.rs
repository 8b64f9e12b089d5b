//! Takes the defences of the protocol between phones and server away, one at a time, and looks for a schedule that then
//! goes wrong: `cargo run -p tests --example sync_faults [MOST]`, with `LUSTRUM_TEST_DB=postgres tests/with-postgres`
//! before it on PostgreSQL. Prints a table, and ends with 1 where fewer than 14 of 15 are seen.

use std::process::ExitCode;
use tests::schedules::{FAULTS, look_for, ready};

fn main() -> ExitCode {
    let most = std::env::args().nth(1).map_or(400, |most| most.parse().expect("a number of schedules"));
    let app = ready();
    let mut seen = 0;
    println!("| missing | first schedule that shows it | what it shows |\n|---|---|---|");
    for fault in FAULTS {
        match look_for(&app, fault, most) {
            Some((seed, why)) => {
                seen += 1;
                println!("| {fault:?} | {seed} | {} |", in_short(&why));
            }
            None => println!("| {fault:?} | none of {most} | |"),
        }
    }
    println!("\n{seen} of {} are seen", FAULTS.len());
    if seen + 1 >= FAULTS.len() { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

/// The beginning of what may list all rows of two sides.
fn in_short(why: &str) -> String {
    let mut short: String = why.chars().take(80).collect();
    if short.len() < why.len() {
        short.push('…');
    }
    short.replace('|', "/")
}
