//! A search for rounds beside the requests: it has few threads of its own, tells how far it is, and ends when told.

use super::gather::{Gathered, stays};
use super::{happened, hours};
use crate::clock::Stopwatch;
use crate::db::round_asks::RoundsAsk;
use crate::db::round_plans::{Outcome, SearchProgress};
use crate::error::ApiError;
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use domain::dispatch::planning::{
    Replan, Request, RoundsPlan, RoundsProblem, plan_rounds, points, replan_rounds,
};
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

/// Share of the time in which the visits may be looked at before the search begins.
const MOST_LOOKING: f64 = 0.5;
/// The search is hurried when so much more of the time is spent than of the iterations.
const BEHIND: f64 = 0.05;

/// Counts iterations, so that the rounds follow from these alone. Only where the time does not suffice for them does it
/// count, too: the search then cools down by the clock, as one that is cut off while it is hot has found nothing good.
struct Budget<'a> {
    iterations: u64,
    watch: Stopwatch,
    /// When it was asked first: from then on iterations and time are compared.
    begun_ms: Option<f64>,
    longest_ms: f64,
    watched: &'a Watched,
    hurried: bool,
}

impl Watch for Budget<'_> {
    fn spent(&mut self, iterations: u64) -> Option<f64> {
        let now_ms = self.watch.ms();
        let begun_ms = *self.begun_ms.get_or_insert(now_ms);
        let work = iterations as f64 / self.iterations as f64;
        let time = (now_ms - begun_ms) / (self.longest_ms - begun_ms).max(1.0);
        self.hurried |= work < 1.0 && (time > work + BEHIND || time >= 1.0);
        let spent = if self.hurried { work.max(time) } else { work };
        self.watched.tell(|progress| (progress.iterations, progress.spent) = (iterations, spent.min(1.0)));
        (spent < 1.0 && !self.watched.is_stopped()).then_some(spent)
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
    let watch = Stopwatch::start();
    let longest_ms = f64::from(ask.seconds) * 1000.0;
    happened::apply(&mut gathered, &ask.happened);
    // Nobody wants the rest of what was stopped.
    let goes_on = || !watched.is_stopped() && watch.ms() < MOST_LOOKING * longest_ms;
    let told = hours::tell(handbook, &gathered.details, &mut gathered.problem, goes_on);
    happened::lengthen(&mut gathered, &ask.happened);
    let Gathered { problem, mut notes, jobs, stood, .. } = gathered;
    notes.extend(told);
    notes.extend(of_unknown_length(&problem));
    let fingerprint = URL_SAFE_NO_PAD.encode(Sha256::digest(serde_json::to_vec(&problem)?));
    let mut budget = Budget {
        iterations: u64::from(ask.iterations),
        watch,
        begun_ms: None,
        longest_ms,
        watched,
        hurried: false,
    };
    let (seed, stands) = (u64::from(ask.seed), problem.requests.iter().any(|one| one.published.is_some()));
    let found = if stands {
        replan_rounds(&problem, seed, &mut budget)
    } else {
        Replan { plan: plan_rounds(&problem, seed, &mut budget), changes: Vec::new() }
    };
    if budget.hurried {
        notes.push(format!(
            "The time was short, so the search was hurried: it made {} of {} iterations, and another run may find \
             other rounds.",
            found.plan.iterations, ask.iterations
        ));
    }
    let plan = without_places(found.plan);
    watched.tell(|progress| {
        *progress = SearchProgress { iterations: plan.iterations, spent: 1.0, cost: Some(plan.cost.total) };
    });
    Ok(Found { outcome: Outcome { plan, changes: found.changes, notes, jobs, stood }, fingerprint })
}

/// What stays has its place though nobody knows how long it takes.
fn of_unknown_length(problem: &RoundsProblem) -> impl Iterator<Item = String> {
    let unknown = |request: &&Request| {
        stays(request) && !request.visit.work_min.is_finite() && request.crew_min.is_empty()
    };
    problem.requests.iter().filter(unknown).map(|request| {
        let job = &request.visit.job;
        format!("{job}: nobody knows how long its work takes; it stays as if it took no time.")
    })
}

/// Where customers live is told by their own rows.
fn without_places(mut plan: RoundsPlan) -> RoundsPlan {
    plan.rounds.iter_mut().flat_map(|round| &mut round.stops).for_each(|stop| stop.place = None);
    plan
}
