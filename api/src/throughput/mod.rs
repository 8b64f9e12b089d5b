//! What the crews get through: kept summed up as it changes, read by week or by any days.
//!
//! `contributions` (a job's rows) -> `roll_ups` (kept in every change's transaction) -> `reading` and `surroundings`
//! (the rows of a time) -> the statistics of `domain::throughput` -> `routes::throughput`.

pub mod ahead;
pub mod closing;
pub mod contributions;
pub mod csv;
pub mod names;
pub mod over_time;
pub mod period;
pub mod reading;
pub mod roll_ups;
mod surroundings;
