//! How many requests a caller may make a minute, and how many are left (draft-ietf-httpapi-ratelimit-headers; its field
//! names are from memory). Each replica counts for itself: with two of them behind a proxy a caller has up to twice as many.

use super::set;
use crate::auth::Caller;
use crate::db::kinds::{Id, Instant};
use crate::error::ApiError;
use actix_web::http::header::{HeaderMap, HeaderName};
use std::collections::HashMap;
use std::sync::{Mutex, PoisonError};

/// Length of a window, seconds; windows begin with the minutes of the clock.
const WINDOW_S: i64 = 60;

/// Counts requests by shop and principal.
pub struct Pace {
    /// 0: as many as they like.
    per_min: u32,
    counted: Mutex<Counted>,
}

#[derive(Default)]
struct Counted {
    window: i64,
    used: HashMap<(Id, Id), u32>,
}

/// What a caller may still do until the window ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Left {
    /// Whether this request was still one of them.
    pub allowed: bool,
    pub of: u32,
    pub requests: u32,
    pub reset_s: i64,
}

impl Pace {
    pub fn new(per_min: u32) -> Pace {
        Pace { per_min, counted: Mutex::default() }
    }

    /// Counts one request, unless none is left. Nothing is told where there is no limit.
    pub fn spend(&self, caller: &Caller, now: Instant) -> Option<Left> {
        let principal = caller.principal().filter(|_| self.per_min > 0)?;
        Some(self.count((caller.shop, principal), self.per_min, now))
    }

    /// Lets in whoever comes without a login, so often a minute.
    pub fn admit(&self, whom: (Id, Id), per_min: u32, now: Instant) -> Result<(), ApiError> {
        let left = self.count(whom, per_min, now);
        if left.allowed { Ok(()) } else { Err(ApiError::TooMany { retry_after_s: left.reset_s }) }
    }

    fn count(&self, whom: (Id, Id), per_min: u32, now: Instant) -> Left {
        let mut counted = self.counted.lock().unwrap_or_else(PoisonError::into_inner);
        let window = now.unix().div_euclid(WINDOW_S);
        if counted.window != window {
            *counted = Counted { window, used: HashMap::new() };
        }
        let used = counted.used.entry(whom).or_default();
        let allowed = *used < per_min;
        *used += u32::from(allowed);
        let reset_s = (window + 1) * WINDOW_S - now.unix();
        Left { allowed, of: per_min, requests: per_min - *used, reset_s }
    }
}

impl Left {
    pub fn write(self, headers: &mut HeaderMap) {
        let Left { of, requests, reset_s, .. } = self;
        set(
            headers,
            HeaderName::from_static("ratelimit-policy"),
            &format!("\"requests\";q={of};w={WINDOW_S}"),
        );
        set(headers, HeaderName::from_static("ratelimit"), &format!("\"requests\";r={requests};t={reset_s}"));
    }
}
