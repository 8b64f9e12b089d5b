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

    /// A running clock that shows `start` now.
    pub fn shifted_to(start: Instant) -> Clock {
        Clock::Shifted(start.utc() - Clock::System.now().utc())
    }

    /// Now, in UTC, to the millisecond.
    #[expect(clippy::disallowed_methods, reason = "this is the app's clock")]
    pub fn now(&self) -> Instant {
        match self {
            Clock::System => Instant::from_utc(Utc::now().naive_utc()),
            Clock::Manual(at) => *at.lock().unwrap_or_else(PoisonError::into_inner),
            Clock::Shifted(by) => Instant::from_utc(Utc::now().naive_utc()).plus(*by),
        }
    }

    /// Puts a manual clock to an instant; the others keep their own time.
    pub fn set(&self, to: Instant) {
        if let Clock::Manual(at) = self {
            *at.lock().unwrap_or_else(PoisonError::into_inner) = to;
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

/// Measures how long something takes; it says nothing about what time it is.
#[derive(Debug)]
pub struct Stopwatch(std::time::Instant);

impl Stopwatch {
    #[expect(
        clippy::disallowed_methods,
        reason = "a duration for the log, which a moved clock must not distort"
    )]
    pub fn start() -> Stopwatch {
        Stopwatch(std::time::Instant::now())
    }

    pub fn ms(&self) -> f64 {
        self.0.elapsed().as_secs_f64() * 1e3
    }
}
