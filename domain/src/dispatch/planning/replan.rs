//! The living day: rounds that people have been told are promises. What must change changes as little as possible, and
//! says why.

use super::answer;
use super::answer::{PlannedRound, PlannedStop, RoundsPlan};
use super::build::{Built, build};
use super::crews::{Beside, shift_of};
use super::day::{Spot, day_problem, published_spots};
use super::problem::{Published, Request, RoundsProblem};
use crate::dispatch::search::{Options, Solution, Watch, insertion_cost, search_from};
use crate::dispatch::{Conflict, ConflictCode, conflicts};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// New rounds beside the published ones.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Replan {
    pub plan: RoundsPlan,
    /// Smallest first. A visit that stays with its van, crew and start is not named.
    pub changes: Vec<VisitChange>,
}

/// What becomes of a published visit, or of one that is new in the rounds.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct VisitChange {
    pub job: String,
    pub kind: VisitChangeKind,
    /// Minutes by which the start moves, later positive; absent where there was or is none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub moved_min: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub before: Option<Published>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub after: Option<Published>,
    /// What speaks against the place it had, or who has it now; empty: the rounds are better so.
    pub because: Vec<Conflict>,
}

/// From the smallest change to the largest.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum VisitChangeKind {
    /// The same van and crew at another time of the day.
    Start,
    /// Other technicians, the same van and day.
    Technicians,
    Van,
    Day,
    /// Not in the published rounds before.
    Added,
    /// Not served any more.
    Dropped,
}

/// Starts that move by less are the same for a customer (assumption).
const SAME_START_MIN: f64 = 1.0;
/// First temperature beside that of a search from nothing: the published rounds are a good start (tuned on the tests'
/// days).
const CALMER: f64 = 0.1;

/// Plans again from the published rounds. Frozen visits stay, promised windows are hard, and every other technician,
/// van or day has its cost (see [`super::Weights`]).
pub fn replan_rounds(problem: &RoundsProblem, seed: u64, watch: &mut dyn Watch) -> Replan {
    let built = build(problem, &Beside::default());
    let start = published_solution(problem, &built);
    let options = Options { seed, ..Options::default() };
    let options = Options { hot: options.hot * CALMER, ..options };
    let (solution, iterations) = search_from(&built.model, start, &options, watch);
    let plan = RoundsPlan { iterations, ..answer::answer(problem, &built, &solution) };
    let changes = changes(problem, &plan);
    Replan { plan, changes }
}

/// The published rounds as far as they can still be driven; the other visits are absent.
pub(super) fn published_solution(problem: &RoundsProblem, built: &Built) -> Solution {
    let mut solution = Solution::new(&built.model);
    let mut order: Vec<(usize, &Published)> = problem
        .requests
        .iter()
        .enumerate()
        .filter_map(|(nth, request)| Some((nth, request.published.as_ref()?)))
        .filter(|(nth, _)| solution.absent.contains(&(*nth as u32)))
        .collect();
    order.sort_by_key(|(nth, published)| (published.start, *nth));
    for (nth, published) in order {
        let node = nth as u32;
        // What two vans do at once is put together by the search.
        let alone = built.model.links_of[nth].is_empty();
        let shift = shift_of(problem, &built.candidates, published);
        let Some(shift) = shift.filter(|&shift| alone && solution.may_use(&built.model, shift)) else {
            continue;
        };
        if let Some(found) = insertion_cost(&built.model, &solution, shift, node) {
            solution.insert(&built.model, shift, found.at, node);
            solution.absent.retain(|&absent| absent != node);
        }
    }
    solution.keep();
    solution
}

fn changes(problem: &RoundsProblem, plan: &RoundsPlan) -> Vec<VisitChange> {
    let before = published_spots(problem);
    let against: Vec<Conflict> =
        problem.days.iter().flat_map(|&on| conflicts(&day_problem(problem, &before, on))).collect();
    let mut found: Vec<VisitChange> =
        problem.requests.iter().filter_map(|request| change(plan, request, &against)).collect();
    let after = plan.spots(problem);
    let taken: Vec<Vec<Conflict>> =
        found.iter().map(|change| place_taken(change, &found, &before, &after)).collect();
    for (change, taken) in found.iter_mut().zip(taken) {
        change.because.extend(taken);
    }
    let size =
        |change: &VisitChange| (change.kind, change.moved_min.map_or(0, |minutes| minutes.abs() as i64));
    found.sort_by(|a, b| size(a).cmp(&size(b)).then_with(|| a.job.cmp(&b.job)));
    found
}

/// Who has the place now that a visit had, where nothing speaks against it there: others that were not there before.
fn place_taken(
    change: &VisitChange,
    changes: &[VisitChange],
    before: &[Spot],
    after: &[Spot],
) -> Vec<Conflict> {
    let Some(former) = before.iter().find(|spot| spot.job() == change.job) else { return Vec::new() };
    if !change.because.is_empty() {
        return Vec::new();
    }
    let is_there = |spot: &Spot| {
        (spot.on, spot.van) == (former.on, former.van)
            && spot.start < former.finish
            && former.start < spot.finish
    };
    let is_new = |spot: &Spot| {
        changes.iter().any(|other| other.job == spot.job())
            && !before.iter().any(|known| known.job() == spot.job() && is_there(known))
    };
    let takers = after.iter().filter(|spot| spot.job() != change.job && is_there(spot) && is_new(spot));
    takers
        .map(|taker| Conflict {
            code: ConflictCode::NoRoom,
            jobs: vec![change.job.clone(), taker.job().to_owned()],
            text: format!(
                "{}: its place at {} in van {} goes to {}.",
                change.job,
                former.start.format("%H:%M"),
                former.van,
                taker.job()
            ),
            figures: Vec::new(),
        })
        .collect()
}

fn change(plan: &RoundsPlan, request: &Request, against: &[Conflict]) -> Option<VisitChange> {
    let job = &request.visit.job;
    let after = place_of(plan, job);
    let before = request.published.clone();
    let moved_min =
        before.as_ref().zip(after.as_ref()).map(|(b, a)| (a.start - b.start).num_seconds() as f64 / 60.0);
    let kind = match (&before, &after) {
        (None, None) => return None,
        (None, Some(_)) => VisitChangeKind::Added,
        (Some(_), None) => VisitChangeKind::Dropped,
        (Some(b), Some(a)) if a.start.date() != b.start.date() => VisitChangeKind::Day,
        (Some(b), Some(a)) if a.van != b.van => VisitChangeKind::Van,
        (Some(b), Some(a)) if !same_people(a, b) => VisitChangeKind::Technicians,
        _ if moved_min.is_some_and(|minutes| minutes.abs() >= SAME_START_MIN) => VisitChangeKind::Start,
        _ => return None,
    };
    let mut because: Vec<Conflict> = match kind {
        VisitChangeKind::Added => Vec::new(),
        _ => against.iter().filter(|conflict| conflict.jobs.contains(job)).cloned().collect(),
    };
    if kind == VisitChangeKind::Dropped {
        let unserved = plan.unserved.iter().filter(|unserved| unserved.job == *job);
        because.extend(unserved.flat_map(|unserved| unserved.reasons.iter().cloned()));
    }
    Some(VisitChange { job: job.clone(), kind, moved_min, before, after, because })
}

fn same_people(one: &Published, other: &Published) -> bool {
    let sorted = |place: &Published| {
        let mut people = place.technicians.clone();
        people.sort();
        people.dedup();
        people
    };
    sorted(one) == sorted(other)
}

fn place_of(plan: &RoundsPlan, job: &str) -> Option<Published> {
    let of_round = |round: &PlannedRound| {
        let is_it = |stop: &&PlannedStop| stop.job.as_deref() == Some(job);
        let stop = round.stops.iter().find(is_it)?;
        Some(Published {
            van: round.van.clone(),
            technicians: round.technicians.clone(),
            start: stop.starts_at,
            frozen: false,
        })
    };
    plan.rounds.iter().find_map(of_round)
}
