//! The rules of the trade; no IO, clock, environment, async, SQL or randomness.

pub mod handbook;
pub mod hazard;
pub mod inspection;
pub mod site;
pub mod units;
pub mod vehicle;
pub mod vin;
