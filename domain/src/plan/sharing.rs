//! The job as a problem of the crew scheduler: what comes before what, what may not be side by side, what is shared.
//!
//! A place is finished step by step in the order of the plan; what the handbook names as work for two hands may
//! overlap at different corners. Water and chemistry never reach dry work: within two metres or above it, the wet
//! step comes first. A product that must not dry is followed up within its longest dwell, from the last panel of a
//! side to the first one of the next step.
//!
//! Where even that cannot be kept, no order of whole sides keeps it, and sections are the answer: put on, left and
//! rinsed by the same hands panel by panel, the two steps take the same minutes and the product its own dwell. Such
//! a dwell is stretched as little as it must be, so that the times of the two steps stay together, and told.

use super::crew::{Activity, Demand, Lag, Problem, Schedule};
use super::draft::{Draft, Work};
use super::pairs::implied;
use super::parts::{Part, TICK_S};
use super::places::{Cells, Places};
use super::schedule::{gap_s, timed_pairs};
use crate::handbook::{Basis, Pair, PairKind, Phase};

/// Dwells from this length on are watched by somebody, s (common practice).
const WATCHED_FROM_S: u32 = 180;
/// Steps of at least this many litres on each unit are rinsed within themselves (read off the steps table).
const RINSES_ITSELF_L: f64 = 1.0;
/// Open dwells count as pieces of work in the scheduler; beyond these they stay unwatched.
const MOST_SPANS: usize = 24;

/// The problem, and what it was before dwells were stretched.
#[derive(Clone)]
pub(super) struct Sharing {
    pub problem: Problem,
    /// Ids of the steps, as the draft had them in order.
    pub steps: Vec<String>,
    /// By lag: the longest dwell asked for.
    longest_s: Vec<Option<u32>>,
}

/// A dwell that the crew cannot keep over a whole side.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Overrun {
    pub before: usize,
    pub waits_s: u32,
    pub longest_s: u32,
}

impl Sharing {
    fn new(problem: Problem, steps: Vec<String>) -> Sharing {
        let longest_s = problem.lags.iter().map(|lag| lag.max_s).collect();
        Sharing { problem, steps, longest_s }
    }

    /// Gives the dwell that leaves least room among these pieces more of it; false when none of them has a longest
    /// dwell.
    pub fn stretch(&mut self, pieces: &[usize]) -> bool {
        let forced = |lag: &Lag| forced_s(&self.problem, lag);
        let room = |lag: &Lag| Some(i64::from(lag.max_s?) - i64::from(forced(lag)));
        let concerned = |lag: &Lag| pieces.contains(&lag.before) && pieces.contains(&lag.after);
        let lags = self.problem.lags.iter().enumerate().filter(|(_, lag)| concerned(lag));
        let tightest = lags.filter_map(|(at, lag)| Some((room(lag)?, at))).min();
        let Some((_, at)) = tightest else { return false };
        let least_s = forced(&self.problem.lags[at]);
        let most_s = least_s + MOST_STRETCH * self.longest_s[at].unwrap_or(0);
        let lag = &mut self.problem.lags[at];
        let stretched_s = lag.max_s.map(|max_s| least_s.max(2 * max_s + TICK_S).div_ceil(TICK_S) * TICK_S);
        lag.max_s = stretched_s.filter(|&s| s <= most_s);
        lag.watched &= lag.max_s.is_some();
        lag.wet &= lag.max_s.is_some();
        true
    }

    /// Lets no dwell count as a piece of work: there are too many.
    pub fn leave_unwatched(&mut self) -> bool {
        let open = self.problem.lags.iter_mut().filter(|lag| lag.watched || lag.wet);
        open.map(|lag| (lag.watched, lag.wet) = (false, false)).count() > 0
    }

    /// The same with every longest dwell cut to this.
    #[cfg(test)]
    pub fn with_longest_dwells_of(&self, longest_s: u32) -> Sharing {
        let mut problem = self.problem.clone();
        for lag in problem.lags.iter_mut().filter(|lag| lag.max_s.is_some()) {
            lag.max_s = Some(longest_s);
        }
        Sharing::new(problem, self.steps.clone())
    }

    /// The dwells that a schedule does not keep.
    pub fn overruns(&self, made: &Schedule) -> Vec<Overrun> {
        let waits = |lag: &Lag| made.slots[lag.after].start_s.saturating_sub(made.slots[lag.before].finish_s);
        let lags = self.problem.lags.iter().zip(&self.longest_s);
        let overrun = |(lag, longest_s): (&Lag, &Option<u32>)| {
            let (waits_s, longest_s) = (waits(lag), (*longest_s)?);
            (waits_s > longest_s).then_some(Overrun { before: lag.before, waits_s, longest_s })
        };
        lags.filter_map(overrun).collect()
    }
}

/// A dwell is stretched up to so many times its length beyond what is forced, then given up (assumption).
const MOST_STRETCH: u32 = 8;

/// What has to be done between the two ends of a lag takes so long at least: pieces are numbered in an order that
/// every lag follows.
fn forced_s(problem: &Problem, of: &Lag) -> u32 {
    let shortest = |at: usize| problem.activities[at].crews.iter().map(|crew| crew.duration_s).min();
    let mut finish_s: Vec<Option<u32>> = vec![None; problem.activities.len()];
    finish_s[of.before] = Some(0);
    let mut start_s = 0;
    for at in of.before + 1..=of.after {
        let lags = problem.lags.iter().filter(|lag| lag.after == at);
        let Some(ready_s) = lags.filter_map(|lag| Some(finish_s[lag.before]? + lag.min_s)).max() else {
            continue;
        };
        start_s = ready_s;
        finish_s[at] = Some(ready_s + shortest(at).unwrap_or(0));
    }
    start_s
}

/// How two pieces of work stand to each other, the first being earlier in the plan.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Relation {
    Before,
    NotTogether,
    Free,
}

pub(super) fn sharing(draft: &Draft, places: &Places, parts: &[Part]) -> Sharing {
    let kit = Capacities::of(draft);
    let scene = Scene::new(draft, places, parts);
    let timed = timed_pairs(draft.facts);
    let mut problem = Problem {
        technicians: draft.facts.input.crew.len(),
        activities: parts.iter().map(|part| activity(draft, &kit, part)).collect(),
        capacities: kit.capacities(),
        ..Problem::default()
    };
    // Everything known to come before each piece, so that only what is new becomes a lag.
    let mut before: Vec<u128> = vec![0; parts.len()];
    for later in 0..parts.len() {
        for earlier in (0..later).rev() {
            let gap = gap_s(&timed, &draft.work[parts[earlier].work], &draft.work[parts[later].work]);
            match scene.relation(earlier, later) {
                Relation::Before if before[later] >> earlier & 1 == 0 || gap.is_some() => {
                    problem.lags.push(lag(earlier, later, gap.map_or(0, |s| s.div_ceil(TICK_S) * TICK_S)));
                    before[later] |= before[earlier] | 1 << earlier;
                }
                Relation::NotTogether => problem.exclusions.push((earlier, later)),
                _ => {}
            }
        }
    }
    limit_dwells(&scene, &mut problem);
    let steps = draft.work.iter().map(|work| work.step.id.clone()).collect();
    Sharing::new(problem, steps)
}

fn lag(before: usize, after: usize, min_s: u32) -> Lag {
    Lag { before, after, min_s, ..Lag::default() }
}

/// The pieces with what is asked of them again and again.
struct Scene<'a> {
    draft: &'a Draft<'a>,
    parts: &'a [Part],
    /// By piece: cells within two metres or dripped on.
    reached: Vec<Cells>,
    /// By step and step: a pair of the handbook that holds.
    pairs: Vec<Vec<Option<&'a Pair>>>,
}

impl<'a> Scene<'a> {
    fn new(draft: &'a Draft<'a>, places: &Places, parts: &'a [Part]) -> Scene<'a> {
        let count = draft.work.len();
        let mut pairs = vec![vec![None; count]; count];
        let position = |id: &str| draft.work.iter().position(|work| work.step.id == id);
        let explained = |at: usize, id: &str| draft.work[at].reasons.iter().any(|reason| reason.id == id);
        for pair in draft.facts.input.handbook.precedence.iter() {
            let (Some(first), Some(second)) = (position(&pair.before), position(&pair.after)) else {
                continue;
            };
            // The line that had to wait says so.
            let (first, second) =
                if pair.kind == PairKind::Forbidden { (second, first) } else { (first, second) };
            if explained(second, &pair.id) {
                pairs[first][second] = Some(pair);
            }
        }
        for (id, before, after) in implied(draft) {
            if let (Some(first), Some(second)) = (position(before), position(after)) {
                pairs[first][second] = draft.facts.handbook().precedence.get(id);
            }
        }
        let reached = parts.iter().map(|part| places.reached(part.cells)).collect();
        Scene { draft, parts, reached, pairs }
    }

    fn work(&self, part: usize) -> &'a Work<'a> {
        &self.draft.work[self.parts[part].work]
    }

    fn relation(&self, earlier: usize, later: usize) -> Relation {
        let (p, q) = (&self.parts[earlier], &self.parts[later]);
        let (first, second) = (self.work(earlier), self.work(later));
        if p.work == q.work {
            // Two sides of a step for one pair of hands come one after the other.
            return if first.step.hands_max > 1 { Relation::Free } else { Relation::Before };
        }
        let (a, b) = (first.step, second.step);
        let named = a.parallel_with.contains(&b.id) || b.parallel_with.contains(&a.id);
        let conflict = a.conflicts_with.contains(&b.id) || b.conflicts_with.contains(&a.id);
        let pair = self.pairs[p.work][q.work];
        if p.corners == 0 || q.corners == 0 {
            return if named { Relation::Free } else { Relation::Before };
        }
        if pair.is_some_and(|pair| pair.rinse_between) || conflict && !named {
            return Relation::Before;
        }
        if p.corners & q.corners == 0 {
            let apart = wet(first) && dry(b.phase)
                || a.conflicts_with_phases.contains(&b.phase)
                || b.conflicts_with_phases.contains(&a.phase);
            let meet = self.reached[earlier] & q.cells != 0 || self.reached[later] & p.cells != 0;
            return if apart && meet { Relation::Before } else { Relation::Free };
        }
        let touching = p.cells & q.cells != 0;
        match (pair.is_some(), named) {
            (true, _) => Relation::Before,
            (_, true) if conflict || touching && (wet(first) || wet(second)) => Relation::NotTogether,
            (_, true) => Relation::Free,
            _ if touching || a.phase != b.phase => Relation::Before,
            _ => Relation::Free,
        }
    }

    /// The piece that takes the product of `before` off again: the next wet step on the same cells.
    fn taken_off_by(&self, before: usize) -> Option<usize> {
        let from = &self.parts[before];
        let takes = |after: &usize| {
            let (part, work) = (&self.parts[*after], self.work(*after));
            part.work > from.work
                && part.cells & from.cells != 0
                && work.step.basis == Basis::PerM2
                && work.step.washer_l > 0.0
                && chemical(work.step.phase)
        };
        (0..self.parts.len()).find(takes)
    }
}

fn chemical(phase: Phase) -> bool {
    matches!(phase, Phase::Prewash | Phase::Wash | Phase::Decon | Phase::Mech)
}

fn wet(work: &Work) -> bool {
    chemical(work.step.phase) && (work.water_l > 0.0 || !work.products.is_empty())
}

/// Work that water would spoil.
fn dry(phase: Phase) -> bool {
    matches!(phase, Phase::Dry | Phase::Correct | Phase::Protect | Phase::Finish)
}

/// A product that waits on the panel for the next step: it has a longest dwell and no rinse of its own.
fn open(work: &Work) -> bool {
    work.step.basis == Basis::PerM2
        && work.step.washer_l < RINSES_ITSELF_L
        && chemical(work.step.phase)
        && !work.products.is_empty()
}

/// From the last panel of a piece to the first of the next no longer than the product may stay.
fn limit_dwells(scene: &Scene, problem: &mut Problem) {
    let mut spans = 0;
    for before in 0..scene.parts.len() {
        let work = scene.work(before);
        let Some(dwell) = work.dwell.as_ref().filter(|dwell| open(work) && dwell.max_s > 0) else { continue };
        let Some(after) = scene.taken_off_by(before) else { continue };
        let known = |lag: &&mut Lag| (lag.before, lag.after) == (before, after);
        let pair = scene.pairs[scene.parts[before].work][scene.parts[after].work];
        let max_s =
            pair.and_then(|pair| pair.max_gap_s).map_or(dwell.max_s, |most_s| most_s.min(dwell.max_s));
        let spanned = spans < MOST_SPANS;
        let limit = |lag: &mut Lag| {
            lag.max_s = Some((max_s / TICK_S * TICK_S).max(lag.min_s));
            lag.watched = spanned && max_s >= WATCHED_FROM_S;
            lag.wet = spanned && !work.step.conflicts_with_phases.is_empty();
        };
        match problem.lags.iter_mut().find(known) {
            Some(lag) => limit(lag),
            None => {
                let mut fresh = lag(before, after, 0);
                limit(&mut fresh);
                problem.lags.push(fresh);
            }
        }
        spans += usize::from(spanned);
    }
}

fn activity(draft: &Draft, kit: &Capacities, part: &Part) -> Activity {
    let work = &draft.work[part.work];
    Activity {
        crews: part.crews.clone(),
        able: part.able.clone(),
        helpers: part.helpers.clone(),
        demands: kit.demands(draft, work),
        not_before_s: 0,
        // Whoever is inside the cabin sees no panel.
        out_of_sight: work.is(&["I06"]),
    }
}

/// Machines on the van and places to plug them in.
struct Capacities {
    jets: u32,
    outlets: u32,
    polishers: u32,
}

impl Capacities {
    /// An entry of the van's list is one machine; a battery, a generator and the customer's socket feed one each
    /// (assumption). What the list does not hold is not counted: rules speak of what is missing.
    fn of(draft: &Draft) -> Capacities {
        let facts = draft.facts;
        let listed = |id: &str| facts.input.kit.equipment.iter().filter(|e| *e == id).count() as u32;
        let mains = u32::from(facts.input.site.mains == Some(true));
        let generators = if facts.has_generator() { listed("generator") } else { 0 };
        Capacities {
            jets: listed("pressure_washer").max(1),
            outlets: mains + listed("battery_pack") + generators,
            polishers: listed("polisher"),
        }
    }

    fn capacities(&self) -> Vec<u32> {
        vec![self.jets, self.outlets, self.polishers]
    }

    fn demands(&self, draft: &Draft, work: &Work) -> Vec<Demand> {
        let takes = |id: &str| work.step.equipment.iter().chain(&work.step.equipment_any).any(|e| e == id);
        let jet = takes("pressure_washer") || takes("hose");
        let plugged = work.step.power || jet && draft.facts.by_washer();
        let wanted = [(jet, self.jets), (plugged, self.outlets), (takes("polisher"), self.polishers)];
        let held = wanted.iter().enumerate().filter(|(_, (needs, there))| *needs && *there > 0);
        held.map(|(resource, _)| Demand { resource, units: 1 }).collect()
    }
}
