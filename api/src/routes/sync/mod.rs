//! Phones that work out of reach: what they hold, and what they say when they are back.
//!
//! Reading order: `pull` (what a phone holds, page by page), `bodies` (how each thing looks), `push` (commands, each once
//! and in order), `commands` (what can be said), `shown` (the same for the document), `perform` (what it does: the same
//! functions as the routes of the office), `former` (who no longer goes there), `events` (that there is something to
//! fetch).

pub mod bodies;
pub mod commands;
pub mod events;
mod former;
pub mod perform;
pub mod pull;
pub mod push;
pub mod shown;
