//! How a step of a job stands, after what several phones said of it in any order.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// How a step stands.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum StepStatus {
    #[default]
    Planned,
    Started,
    Skipped,
    Done,
}

/// What is said of a step.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StepAct {
    Start,
    Complete,
    Skip,
    /// Only of what was seen: the revision must be the one that stands.
    Reopen {
        base_rev: i32,
    },
}

/// A step's status and how often it changed.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct StepState {
    pub status: StepStatus,
    pub rev: i32,
}

/// It was changed since it was looked at, so it is not opened again.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("the step has changed since (revision {rev})")]
pub struct StepRefusal {
    pub rev: i32,
}

impl StepState {
    /// The step after an act. Done beats skipped beats started, whichever came first; saying it twice changes nothing.
    pub fn after(self, act: StepAct) -> Result<StepState, StepRefusal> {
        let status = match act {
            StepAct::Reopen { base_rev } if base_rev != self.rev => {
                return Err(StepRefusal { rev: self.rev });
            }
            StepAct::Reopen { .. } => StepStatus::Planned,
            StepAct::Start => self.status.stronger(StepStatus::Started),
            StepAct::Skip => self.status.stronger(StepStatus::Skipped),
            StepAct::Complete => StepStatus::Done,
        };
        let rev = if status == self.status { self.rev } else { self.rev + 1 };
        Ok(StepState { status, rev })
    }
}

impl StepStatus {
    fn rank(self) -> u8 {
        match self {
            StepStatus::Planned => 0,
            StepStatus::Started => 1,
            StepStatus::Skipped => 2,
            StepStatus::Done => 3,
        }
    }

    fn stronger(self, other: StepStatus) -> StepStatus {
        if self.rank() >= other.rank() { self } else { other }
    }
}

#[cfg(test)]
mod tests {
    use super::{StepAct, StepRefusal, StepState, StepStatus};
    use proptest::prelude::*;

    fn acts() -> impl Strategy<Value = Vec<StepAct>> {
        let act = prop_oneof![Just(StepAct::Start), Just(StepAct::Complete), Just(StepAct::Skip)];
        prop::collection::vec(act, 0..8)
    }

    fn after(acts: &[StepAct]) -> StepState {
        acts.iter().fold(StepState::default(), |state, act| state.after(*act).expect("no reopening"))
    }

    proptest! {
        /// Starts, ends and omissions of several phones may arrive in any order, and again.
        #[test]
        fn the_order_does_not_matter(
            (acts, mixed) in acts().prop_flat_map(|acts| (Just(acts.clone()), Just(acts).prop_shuffle())),
        ) {
            let twice: Vec<StepAct> = mixed.iter().chain(&acts).copied().collect();
            prop_assert_eq!(after(&acts).status, after(&twice).status);
        }

        #[test]
        fn done_beats_skipped(acts in acts()) {
            let done = acts.contains(&StepAct::Complete);
            prop_assert_eq!(after(&acts).status == StepStatus::Done, done);
        }
    }

    #[test]
    fn only_what_was_seen_is_opened_again() {
        let done = after(&[StepAct::Start, StepAct::Complete]);
        assert_eq!(done, StepState { status: StepStatus::Done, rev: 2 });
        assert_eq!(done.after(StepAct::Reopen { base_rev: 1 }), Err(StepRefusal { rev: 2 }));
        let open = done.after(StepAct::Reopen { base_rev: 2 }).expect("it was seen");
        assert_eq!(open, StepState { status: StepStatus::Planned, rev: 3 });
        // Whoever asks twice finds it open already.
        assert_eq!(open.after(StepAct::Reopen { base_rev: 2 }), Err(StepRefusal { rev: 3 }));
        assert_eq!(open.after(StepAct::Skip).expect("open").status, StepStatus::Skipped);
    }
}
