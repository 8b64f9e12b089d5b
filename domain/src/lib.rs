//! The rules of the trade; no IO, clock, environment, async, SQL or randomness.

pub mod civil;
pub mod dispatch;
pub mod figure;
pub mod handbook;
pub mod hazard;
pub mod inspection;
mod markup;
pub mod parking;
pub mod plan;
pub mod random;
pub mod reminder;
pub mod site;
pub mod sync;
pub mod throughput;
pub mod units;
pub mod upkeep;
pub mod vehicle;
pub mod vin;

// The tests' invented jobs name this crate as everybody else does.
#[cfg(test)]
extern crate self as domain;
