//! The answer: who works on what, from when to when, and how good that is known to be.

use serde::{Deserialize, Serialize};

/// How much to search. The same problem, budget and seed give the same schedule on every machine.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Budget {
    /// Schedules the genetic search may generate; at least one is always made.
    pub schedules: u64,
    /// Nodes the exact search may visit after it; 0 leaves it out.
    pub nodes: u64,
}

impl Budget {
    /// An answer while somebody waits: a few milliseconds for 15 to 40 activities.
    pub const QUICK: Budget = Budget { schedules: 400, nodes: 1_000 };
    /// The answer to be published: usually proved.
    pub const THOROUGH: Budget = Budget { schedules: 2_000, nodes: 500_000 };
}

impl Default for Budget {
    fn default() -> Budget {
        Budget::QUICK
    }
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Schedule {
    /// One for each activity, in the order of the problem.
    pub slots: Vec<Slot>,
    /// Finish of the last activity, seconds after the start.
    pub makespan_s: u32,
    /// No schedule of the problem is shorter than this.
    pub lower_bound_s: u32,
    pub proof: Proof,
    /// Schedules generated and nodes of the exact search visited.
    pub schedules: u64,
    pub nodes: u64,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Proof {
    /// No shorter schedule exists.
    Optimal,
    /// The budget ran out; the lower bound tells how much shorter one could be.
    OutOfBudget,
}

/// Start and finish in seconds after the start of the job; nobody for work that needs no hands.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Slot {
    pub start_s: u32,
    pub finish_s: u32,
    pub technicians: Vec<usize>,
}
