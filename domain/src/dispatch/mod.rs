//! A day's rounds: where every van is when, and every reason why a day as assigned cannot hold.
//!
//! The thin line: visits are given to vans and people by the dispatcher; this puts them into order, works out travel,
//! refills and times, and answers with all conflicts at once. It does not search: [`planning`] does, and its rounds are
//! judged by the same [`conflicts`].

mod conflict;
mod links;
mod materials;
mod people;
mod picture;
mod place_rules;
pub mod planning;
mod problem;
mod refills;
mod rounds;
pub mod search;
mod steps;
mod time;
mod travel;
mod ways;

use conflict::at_any_hour;
pub use conflict::{Conflict, ConflictCode, conflicts};
pub use picture::{DaySpan, DaySpanKind, DayTrack, day_svg};
pub use problem::{
    DayProblem, Margins, NoticeOf, Partner, PartnerKind, PromisedWindow, Refill, Technician, Van, Visit,
    VisitNotice,
};
pub use rounds::{Round, Stop, rounds};
pub use steps::VisitStep;
pub use travel::{Place, Travel};
pub use ways::TravelMatrix;

#[cfg(test)]
mod checks;
