//! The slow truth for a handful of activities: every start, every crew size, every choice of technicians.

use super::check::check;
use super::problem::{Activity, Problem};
use super::schedule::{Proof, Schedule, Slot};

/// Shortest makespan below `bound`, by trying everything; none if there is no such schedule.
pub fn shortest(problem: &Problem, bound: u32) -> Option<u32> {
    let mut slots: Vec<Option<Slot>> = vec![None; problem.activities.len()];
    let mut best = bound;
    place(problem, &tails(problem), &mut slots, &mut best);
    (best < bound).then_some(best)
}

fn place(problem: &Problem, tails: &[u32], slots: &mut Vec<Option<Slot>>, best: &mut u32) {
    let is_next = |&at: &usize| {
        slots[at].is_none() && problem.lags.iter().all(|lag| lag.after != at || slots[lag.before].is_some())
    };
    let is_urgent = |&at: &usize| {
        let mut lags = problem.lags.iter().filter(|lag| lag.after == at && lag.max_s.is_some());
        is_next(&at) && lags.any(|lag| slots[lag.before].is_some())
    };
    let next = (0..slots.len()).find(is_urgent).or_else(|| (0..slots.len()).find(is_next));
    let Some(next) = next else {
        if slots.iter().all(Option::is_some) {
            *best = (*best).min(checked(problem, slots).unwrap_or(*best));
        }
        return;
    };
    let activity = &problem.activities[next];
    for crew in &activity.crews {
        for technicians in crews(problem.technicians, activity, crew.hands) {
            let mut start_s = activity.not_before_s;
            while start_s + tails[next].max(crew.duration_s) < *best {
                let finish_s = start_s + crew.duration_s;
                let slot = Slot { start_s, finish_s, technicians: technicians.clone() };
                if fits(problem, slots, next, &slot) {
                    slots[next] = Some(slot);
                    place(problem, tails, slots, best);
                    slots[next] = None;
                }
                start_s += 1;
            }
        }
    }
}

/// Makespan of a full schedule, if the checker finds nothing wrong with it.
fn checked(problem: &Problem, slots: &[Option<Slot>]) -> Option<u32> {
    let slots: Vec<Slot> = slots.iter().flatten().cloned().collect();
    let makespan_s = slots.iter().map(|slot| slot.finish_s).max().unwrap_or(0);
    let (proof, schedules, nodes) = (Proof::OutOfBudget, 0, 0);
    let schedule = Schedule { slots, makespan_s, lower_bound_s: 0, proof, schedules, nodes };
    check(problem, &schedule).is_empty().then_some(makespan_s)
}

/// The conditions between the newest slot and the others that are cheap to see early.
fn fits(problem: &Problem, slots: &[Option<Slot>], next: usize, slot: &Slot) -> bool {
    let lags = problem.lags.iter().filter(|lag| lag.after == next);
    let in_time = lags.filter_map(|lag| slots[lag.before].as_ref().map(|before| (lag, before.finish_s)));
    let mut in_time = in_time.map(|(lag, from_s)| (lag.min_s, lag.max_s, slot.start_s.checked_sub(from_s)));
    in_time.all(|(min_s, max_s, waited)| {
        waited.is_some_and(|waited| waited >= min_s && max_s.is_none_or(|max_s| waited <= max_s))
    }) && slots.iter().enumerate().all(|(at, other)| {
        other.as_ref().is_none_or(|other| {
            let apart = slot.start_s.max(other.start_s) >= slot.finish_s.min(other.finish_s);
            let pair = |&(one, with): &(usize, usize)| (one, with) == (at, next) || (one, with) == (next, at);
            let shared = slot.technicians.iter().any(|one| other.technicians.contains(one));
            apart || !shared && !problem.exclusions.iter().any(pair)
        })
    })
}

/// Least time from the start of each activity to the end of all that must follow.
fn tails(problem: &Problem) -> Vec<u32> {
    let shortest = |activity: &Activity| activity.crews.iter().map(|crew| crew.duration_s).min().unwrap_or(0);
    let mut tails: Vec<u32> = problem.activities.iter().map(shortest).collect();
    for _ in 0..problem.activities.len() {
        for lag in &problem.lags {
            let way = shortest(&problem.activities[lag.before]) + lag.min_s + tails[lag.after];
            tails[lag.before] = tails[lag.before].max(way);
        }
    }
    tails
}

fn crews(technicians: usize, activity: &Activity, hands: usize) -> Vec<Vec<usize>> {
    let sets = (0..1_usize << technicians).filter(|set| set.count_ones() as usize == hands);
    let members = sets.map(|set| (0..technicians).filter(|one| set >> one & 1 == 1).collect::<Vec<_>>());
    let may = |crew: &Vec<usize>| {
        let led = crew.is_empty() || crew.iter().any(|one| activity.able.contains(one));
        led && crew.iter().all(|one| activity.able.contains(one) || activity.helpers.contains(one))
    };
    members.filter(may).collect()
}
