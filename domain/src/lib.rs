//! The rules of the trade; no IO, clock, environment, async, SQL or randomness.

pub mod inspection;
pub mod site;
pub mod vehicle;

#[path = "plan/crew/mod.rs"]
pub mod crew;
