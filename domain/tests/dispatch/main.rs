//! The search for rounds against an exhaustive one, an independent checker, and what must always hold.

mod brute;
mod checker;
mod input;
mod promises;
mod random_case;
mod shop;
mod small;
