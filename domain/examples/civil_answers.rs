//! Says which instants local times mean, for a comparison with another library: `tests/bench/zones_agreement.py`.
//!
//! `cargo run -p domain --example civil_answers`: a line `ZONE LOCAL` in, as in
//! `Europe/Vienna 2026-03-29T02:30:00`, the instant in UTC and the next occurrence of the same time of day out; without
//! input it tells the version of its zone data.
#![allow(clippy::disallowed_macros, reason = "a program for people and scripts: it prints")]

use chrono::NaiveDateTime;
use chrono_tz::Tz;
use domain::civil::{LocalRule, RuleDays, next_due, resolve};
use std::error::Error;
use std::io::{BufRead, BufWriter, Write};

fn main() -> Result<(), Box<dyn Error>> {
    let mut out = BufWriter::new(std::io::stdout().lock());
    writeln!(out, "{}", chrono_tz::IANA_TZDB_VERSION)?;
    for line in std::io::stdin().lock().lines() {
        let line = line?;
        let (zone, local) = line.split_once(' ').ok_or("a line is ZONE LOCAL")?;
        let Ok(zone) = zone.parse::<Tz>() else {
            writeln!(out, "unknown")?;
            continue;
        };
        let local: NaiveDateTime = local.parse()?;
        let at = resolve(local, zone);
        let rule = LocalRule { time: local.time(), days: RuleDays::Daily };
        let next = next_due(&rule, zone, at);
        writeln!(out, "{} {}", at.format("%Y-%m-%dT%H:%M:%S"), next.due_at.format("%Y-%m-%dT%H:%M:%S"))?;
    }
    Ok(())
}
