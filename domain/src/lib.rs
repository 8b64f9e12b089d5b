//! The rules of the trade; no IO, clock, environment, async, SQL or randomness.

pub mod handbook;
pub mod inspection;
pub mod site;
pub mod vehicle;
