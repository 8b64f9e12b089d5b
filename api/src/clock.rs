//! The only place that asks what time it is.

use crate::db::kinds::Instant;
use chrono::{TimeDelta, Utc};
use std::sync::{Arc, Mutex, PoisonError};

/// Where the time comes from. Cloning a manual clock gives another handle to the same one.
#[derive(Debug, Clone)]
pub enum Clock {
    System,
    /// Stands still until it is moved: for tests and the demo.
    Manual(Arc<Mutex<Instant>>),
    /// The system's time moved by a fixed amount.
    Shifted(TimeDelta),
}

impl Clock {
    pub fn manual(start: Instant) -> Clock {
        Clock::Manual(Arc::new(Mutex::new(start)))
    }

    /// Now, in UTC, to the millisecond.
    pub fn now(&self) -> Instant {
        match self {
            Clock::System => Instant::from_utc(Utc::now().naive_utc()),
            Clock::Manual(at) => *at.lock().unwrap_or_else(PoisonError::into_inner),
            Clock::Shifted(by) => Instant::from_utc(Utc::now().naive_utc()).plus(*by),
        }
    }

    /// Moves a manual clock; the others keep their own time.
    pub fn advance(&self, by: TimeDelta) {
        if let Clock::Manual(at) = self {
            let mut at = at.lock().unwrap_or_else(PoisonError::into_inner);
            *at = at.plus(by);
        }
    }
}
