//! The search for rounds against an exhaustive one, an independent checker, and what must always hold.

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
