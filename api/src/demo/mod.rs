//! The demonstration.
pub mod client;
pub mod scenario;
