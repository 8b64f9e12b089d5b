//! The protocol between phones and server as a pure model, run through random schedules: messages lost, repeated, late and
//! out of order; crashes and restored backups on both sides; forgetting, reassigning, revoking; poison and wrong places.
//!
//! The decisions are those that the server takes: [`super::judge`], [`super::must_restart`], [`super::Digest`]. Each of
//! [`Fault`] takes one of the protocol's defences away; a schedule that then goes wrong shows that it is needed.

mod phone;
mod server;
mod world;

use world::World;

/// A defence that is missing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Fault {
    /// Numbers are given out before the commit, without a lock.
    NoLock,
    /// What leaves the view leaves no trace.
    NoRemovalRows,
    /// Forgetting what left raises no floor.
    NoFloor,
    /// A restored server goes on as if nothing had happened.
    NoEpoch,
    /// What was taken before is taken again.
    NoDedupe,
    /// A command that cannot be done holds up those behind it.
    PoisonBlocks,
    /// Pages are shown as they come.
    NoStaging,
    /// What was acknowledged is not kept by the phone.
    NoJournal,
    /// Two phones may have one name.
    NoForkCheck,
    /// Late pages are taken.
    StalePages,
    /// The effect and its acknowledgement are two transactions.
    SplitAcknowledgement,
    /// An id is looked for under its own number only.
    NoIdDedupe,
    /// A first reading is as old as the rows that it has come to.
    FloorIgnoresBeginning,
    /// A place inside of the floor's number is good.
    FloorByNumberOnly,
    /// After a restore only what lies behind the server's last number is sent again.
    JournalByNumber,
}

const FAULTS: [Fault; 15] = [
    Fault::NoLock,
    Fault::NoRemovalRows,
    Fault::NoFloor,
    Fault::NoEpoch,
    Fault::NoDedupe,
    Fault::PoisonBlocks,
    Fault::NoStaging,
    Fault::NoJournal,
    Fault::NoForkCheck,
    Fault::StalePages,
    Fault::SplitAcknowledgement,
    Fault::NoIdDedupe,
    Fault::FloorIgnoresBeginning,
    Fault::FloorByNumberOnly,
    Fault::JournalByNumber,
];

/// What went wrong in a schedule.
type Violation = String;

/// Steps of one schedule.
const STEPS: usize = 400;

fn run(seed: u64, fault: Option<Fault>) -> Result<(), Violation> {
    World::new(seed, fault).run(STEPS)
}

mod tests {
    use super::{FAULTS, run};
    use proptest::prelude::*;

    proptest! {
        #![proptest_config(ProptestConfig { cases: 150, max_shrink_iters: 0, ..ProptestConfig::default() })]
        /// Nothing is lost, nothing is done twice, and phones end up with what they may see.
        #[test]
        fn every_schedule_ends_well(seed in any::<u64>()) {
            prop_assert_eq!(run(seed, None), Ok(()));
        }
    }

    /// Schedules that are looked through for a fault.
    const LOOKED_THROUGH: u64 = 100;

    #[test]
    fn without_a_defence_some_schedule_goes_wrong() {
        let found = FAULTS.map(|fault| {
            (0..LOOKED_THROUGH).find_map(|seed| run(seed, Some(fault)).err().map(|why| (seed, why)))
        });
        let missed = found.iter().filter(|found| found.is_none()).count();
        // `JournalByNumber` takes two restores with another numbering in between, which seldom come together.
        assert!(missed <= 1, "{missed} faults stay unseen: {found:?}");
    }
}
