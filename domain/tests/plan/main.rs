//! The planning engine from outside: rules, worked plans, mixing, late finds, refusals, anything at all.

mod anything;
mod late;
mod mixing;
mod refusals;
mod rules;
mod scene;
mod thrown;
mod worked;
