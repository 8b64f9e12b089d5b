//! How a phone that was out of reach meets the office's state, and what a phone holds.
//!
//! Reading order: [`Command`] (what a phone says), [`admission`] (whether it is taken), [`StepState`], [`Note`],
//! [`merge_fields`] and [`Ledger`] (what it does to what is there), [`judge`] (each command once and in order),
//! [`Place`] and [`Digest`] (what a phone holds, page by page), [`window`] (for which days).
//!
//! No clock of a phone decides anything: the order in which commands arrive does. What cannot be done is parked for the
//! office with all that was sent, and nothing behind it waits.

mod command;
mod digest;
mod ledger;
#[cfg(test)]
mod model;
mod note;
mod order;
mod place;
mod step;
mod view;

pub use command::{Admission, Assignment, COMMANDS, Command, admission};
pub use digest::Digest;
pub use ledger::{Entry, Ledger};
pub use note::{Edit, FieldChange, Note, Noted, edit_note, merge_fields};
pub use order::{Known, MOST_OF_A_PUSH, Verdict, corrected, judge};
pub use place::{Place, must_restart};
pub use step::{StepAct, StepRefusal, StepState, StepStatus};
pub use view::{DAYS_AHEAD, DAYS_BACK, window};
