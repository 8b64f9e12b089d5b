//! The search for good rounds: vehicle routing with time windows by ruin and recreate under simulated annealing.
//!
//! Pure: the same model, seed and iterations give the same rounds. Time is the caller's: a [`Watch`] says how much of
//! the budget is spent, and may end the search at any moment; what has been found by then is the answer.

mod anneal;
mod change_shift;
mod exchange;
mod insertion;
mod links;
mod local_search;
mod model;
mod recreate;
mod route;
mod ruin;
mod service;
mod solution;
mod timing;
mod within;

pub use anneal::{Iterations, Options, Watch, search, search_from};
pub use insertion::{Insertion, best_in_route as insertion_cost};
pub use model::{Break, Frozen, Leg, Link, Model, Node, Parts, RefillStop, Shift};
pub use ruin::Ruin;
pub use service::{Service, StartSpan};
pub use solution::{NOWHERE, Solution};
pub use timing::{Event, RouteCost, Timeline, timeline};
