//! The planning engine from outside: rules, worked plans, mixing, late finds, refusals, anything at all.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::type_complexity,
    reason = "tests: what is not as it must be ends them"
)]

mod anything;
mod damaged;
mod estimates;
mod haze;
mod late;
mod mixing;
#[path = "../plan_cases/mod.rs"]
mod plan_cases;
mod previews;
mod promises;
mod refills;
mod refusals;
mod rules;
mod scene;
mod shop;
mod strain;
mod thrown;
mod unblock;
mod waivers;
mod worked;
