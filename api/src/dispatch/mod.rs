//! Rounds: searched, offered, moved, drawn. `domain::dispatch` knows how; this gathers what it takes from the rows, runs
//! searches beside the requests, and writes rounds in the forms that people and programs read.
//!
//! Who goes where when has one home, the job's assignment, and one judge, [`crate::day`]: a manual move, rounds in force
//! and the draft of a search are judged alike. What customers were told is a promise beside it (`db::promises`).

pub mod chart;
pub mod facts;
pub mod forms;
pub mod gather;
pub mod happened;
pub mod hours;
pub mod links;
pub mod offers;
pub mod publish;
pub mod search;
pub mod spoken;
