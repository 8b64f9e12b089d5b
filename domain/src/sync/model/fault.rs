//! Defences of the protocol that can be taken away. The model has them all, and so have the schedules of `tests` with the
//! real server, which are built with this file.

/// A defence that is missing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fault {
    /// Numbers are given out before the commit, without a lock.
    NoLock,
    /// What leaves the view leaves no trace.
    NoRemovalRows,
    /// Forgetting what left raises no floor.
    NoFloor,
    /// A restored server goes on as if nothing had happened, and phones say nothing of what they know.
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

pub const FAULTS: [Fault; 15] = [
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
