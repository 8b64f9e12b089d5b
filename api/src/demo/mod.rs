//! The demonstration.
pub mod client;
pub mod scenario;
pub mod tell;
pub mod town;
