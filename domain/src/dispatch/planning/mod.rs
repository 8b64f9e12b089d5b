//! Rounds for several vans over one or more days: who goes where in which order, and what cannot be served and why.
//!
//! [`plan_rounds`] turns a [`RoundsProblem`] into the numbers of [`super::search`], lets it search, and tells the answer
//! in the words of the shop. What is wrong with the input comes back as reasons, never as a failure.

mod alone;
mod answer;
mod build;
mod crews;
mod day;
mod frozen;
mod hours;
mod kinds;
mod offers;
mod problem;
mod reasons;
mod replan;
mod sharing;
mod spans;

pub use answer::{CostSplit, PlannedRound, PlannedStop, RoundsPlan, StopKind, Unserved, points};
pub use offers::{Offer, Standing, offers};
pub use problem::{
    Barred, LinkedDays, Published, Request, Rest, RosterDay, RosteredTechnician, RosteredVan, RoundsProblem,
    VisitLink, Weights, WorkSpan,
};
pub use replan::{Replan, VisitChange, VisitChangeKind, replan_rounds};

use super::search::{Options, Watch, search};
use crews::Beside;

/// Searches for good rounds within the budget that `watch` gives. The same problem, seed and iterations give the same
/// rounds.
pub fn plan_rounds(problem: &RoundsProblem, seed: u64, watch: &mut dyn Watch) -> RoundsPlan {
    let built = build::build(problem, &Beside::default());
    let (solution, iterations) = search(&built.model, &Options { seed, ..Options::default() }, watch);
    RoundsPlan { iterations, ..answer::answer(problem, &built, &solution) }
}
