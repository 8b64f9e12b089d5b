//! A search for rounds beside the requests: it has few threads of its own, tells how far it is, and ends when told.

use super::gather::Gathered;
use super::happened;
use crate::clock::Stopwatch;
use crate::db::round_asks::RoundsAsk;
use crate::db::round_plans::{Outcome, SearchProgress};
use crate::error::ApiError;
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use domain::dispatch::planning::{Replan, RoundsPlan, plan_rounds, points, replan_rounds};
use domain::dispatch::search::Watch;
use domain::handbook::Handbook;
use sha2::{Digest, Sha256};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

/// Shared between a search and whoever waits for it.
#[derive(Debug, Clone, Default)]
pub struct Watched(Arc<Shared>);

#[derive(Debug, Default)]
struct Shared {
    stopped: AtomicBool,
    progress: Mutex<SearchProgress>,
}

impl Watched {
    fn is_stopped(&self) -> bool {
        self.0.stopped.load(Ordering::Relaxed)
    }

    /// Ends the search soon.
    pub fn stop(&self) {
        self.0.stopped.store(true, Ordering::Relaxed);
    }

    pub fn progress(&self) -> SearchProgress {
        *self.0.progress.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn tell(&self, change: impl FnOnce(&mut SearchProgress)) {
        change(&mut self.0.progress.lock().unwrap_or_else(PoisonError::into_inner));
    }
}

/// Counts iterations; time is only around them.
struct Budget<'a> {
    iterations: u64,
    watch: Stopwatch,
    longest_ms: f64,
    watched: &'a Watched,
    out_of_time: bool,
}

impl Watch for Budget<'_> {
    fn spent(&mut self, iterations: u64) -> Option<f64> {
        let spent = iterations as f64 / self.iterations as f64;
        self.watched.tell(|progress| (progress.iterations, progress.spent) = (iterations, spent.min(1.0)));
        self.out_of_time |= self.watch.ms() >= self.longest_ms;
        let ends = self.out_of_time || iterations >= self.iterations || self.watched.is_stopped();
        (!ends).then_some(spent)
    }

    fn improved(&mut self, _: u64, cost: i64) {
        self.watched.tell(|progress| progress.cost = Some(points(cost)));
    }
}

/// What was found, and the fingerprint of what it was planned from.
pub struct Found {
    pub outcome: Outcome,
    pub fingerprint: String,
}

/// Searches to the end of the budget. Visits that stand somewhere start from there.
pub fn search(
    handbook: &Handbook,
    mut gathered: Gathered,
    ask: &RoundsAsk,
    watched: &Watched,
) -> Result<Found, ApiError> {
    happened::apply(&mut gathered, &ask.happened);
    // Nobody wants the rest of what was stopped.
    for detail in gathered.details.iter().take_while(|_| !watched.is_stopped()) {
        if let Some(request) = gathered.problem.requests.get_mut(detail.nth) {
            detail.tell(handbook, &gathered.problem.days, request);
        }
    }
    happened::lengthen(&mut gathered, &ask.happened);
    let Gathered { problem, mut notes, jobs, .. } = gathered;
    let fingerprint = URL_SAFE_NO_PAD.encode(Sha256::digest(serde_json::to_vec(&problem)?));
    let mut budget = Budget {
        iterations: u64::from(ask.iterations),
        watch: Stopwatch::start(),
        longest_ms: f64::from(ask.seconds) * 1000.0,
        watched,
        out_of_time: false,
    };
    let (seed, stands) = (u64::from(ask.seed), problem.requests.iter().any(|one| one.published.is_some()));
    let found = if stands {
        replan_rounds(&problem, seed, &mut budget)
    } else {
        Replan { plan: plan_rounds(&problem, seed, &mut budget), changes: Vec::new() }
    };
    if budget.out_of_time {
        notes.push(format!(
            "The time ended after {} of {} iterations: another run may find other rounds.",
            found.plan.iterations, ask.iterations
        ));
    }
    let plan = without_places(found.plan);
    watched.tell(|progress| {
        *progress = SearchProgress { iterations: plan.iterations, spent: 1.0, cost: Some(plan.cost.total) };
    });
    Ok(Found { outcome: Outcome { plan, changes: found.changes, notes, jobs }, fingerprint })
}

/// Where customers live is told by their own rows.
fn without_places(mut plan: RoundsPlan) -> RoundsPlan {
    plan.rounds.iter_mut().flat_map(|round| &mut round.stops).for_each(|stop| stop.place = None);
    plan
}
