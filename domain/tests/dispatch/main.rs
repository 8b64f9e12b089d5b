//! The search for rounds against an exhaustive one, an independent checker, and what must always hold.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::type_complexity,
    reason = "tests: what is not as it must be ends them"
)]

mod agreement;
mod brute;
mod checker;
mod golden;
mod input;
mod living_day;
mod offered;
mod promises;
mod random_case;
mod shop;
mod small;
