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
    /// The answer to be published: usually proved.
    pub const THOROUGH: Budget = Budget { schedules: 2_000, nodes: 500_000 };

    /// An answer while somebody waits, in about 5 ms whatever the size: what a schedule costs grows with the square of
    /// the activities (measured, `cargo bench -p domain --bench crew`), so large problems get fewer.
    pub fn quick(activities: usize) -> Budget {
        const FULL: f64 = 24.0;
        let share = (FULL / activities.max(1) as f64).powi(2).min(1.0);
        let cut = |most: f64| (most * share) as u64;
        Budget { schedules: cut(400.0).max(24), nodes: cut(1_000.0) }
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
