//! Whether a schedule keeps the problem, told without any of the searches' machinery.

use super::problem::{Lag, Problem};
use super::schedule::{Schedule, Slot};
use super::validate::units_of;

/// One broken condition. Activities, lags, resources and technicians are named by index.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Violation {
    WrongCount {
        slots: usize,
        activities: usize,
    },
    /// No crew size of the activity has these hands and this length.
    NotACrewSize {
        activity: usize,
    },
    NotAble {
        activity: usize,
        technician: usize,
    },
    /// Only helpers, nobody who may lead.
    NobodyLeads {
        activity: usize,
    },
    TooEarly {
        activity: usize,
    },
    BrokenLag {
        lag: usize,
    },
    Overlap {
        one: usize,
        other: usize,
    },
    TechnicianTwice {
        technician: usize,
        one: usize,
        other: usize,
    },
    OverCapacity {
        resource: usize,
        at_s: u32,
    },
    Unwatched {
        lag: usize,
        at_s: u32,
    },
    WetZoneEntered {
        lag: usize,
        activity: usize,
    },
    WrongMakespan {
        told_s: u32,
        is_s: u32,
    },
    BoundAboveMakespan,
}

/// All conditions a schedule breaks; none for a valid one.
pub fn check(problem: &Problem, schedule: &Schedule) -> Vec<Violation> {
    let slots = &schedule.slots;
    if slots.len() != problem.activities.len() {
        return vec![Violation::WrongCount { slots: slots.len(), activities: problem.activities.len() }];
    }
    let mut broken = Vec::new();
    for (activity, slot) in slots.iter().enumerate() {
        staffing(problem, activity, slot, &mut broken);
    }
    for one in 0..slots.len() {
        for other in one + 1..slots.len() {
            pair(problem, slots, (one, other), &mut broken);
        }
    }
    for (index, lag) in problem.lags.iter().enumerate() {
        lags(problem, slots, (index, lag), &mut broken);
    }
    capacities(problem, slots, &mut broken);
    let is_s = slots.iter().map(|slot| slot.finish_s).max().unwrap_or(0);
    if is_s != schedule.makespan_s {
        broken.push(Violation::WrongMakespan { told_s: schedule.makespan_s, is_s });
    }
    if schedule.lower_bound_s > is_s {
        broken.push(Violation::BoundAboveMakespan);
    }
    broken
}

fn staffing(problem: &Problem, activity: usize, slot: &Slot, broken: &mut Vec<Violation>) {
    let wanted = &problem.activities[activity];
    let sizes = |hands, length| {
        wanted.crews.iter().any(|crew| crew.hands == hands && Some(crew.duration_s) == length)
    };
    if !sizes(slot.technicians.len(), slot.finish_s.checked_sub(slot.start_s)) {
        broken.push(Violation::NotACrewSize { activity });
    }
    for &technician in &slot.technicians {
        if !wanted.able.contains(&technician) && !wanted.helpers.contains(&technician) {
            broken.push(Violation::NotAble { activity, technician });
        }
    }
    let leads = slot.technicians.iter().any(|technician| wanted.able.contains(technician));
    if !slot.technicians.is_empty() && !leads {
        broken.push(Violation::NobodyLeads { activity });
    }
    if slot.start_s < wanted.not_before_s {
        broken.push(Violation::TooEarly { activity });
    }
    for (at, technician) in slot.technicians.iter().enumerate() {
        if slot.technicians[..at].contains(technician) {
            broken.push(Violation::TechnicianTwice {
                technician: *technician,
                one: activity,
                other: activity,
            });
        }
    }
}

/// Something goes on in both at once; work of no length is never under way.
fn overlaps(one: &Slot, other: &Slot) -> bool {
    one.start_s.max(other.start_s) < one.finish_s.min(other.finish_s)
}

fn pair(problem: &Problem, slots: &[Slot], (one, other): (usize, usize), broken: &mut Vec<Violation>) {
    if !overlaps(&slots[one], &slots[other]) {
        return;
    }
    if problem.exclusions.iter().any(|&pair| pair == (one, other) || pair == (other, one)) {
        broken.push(Violation::Overlap { one, other });
    }
    for technician in &slots[one].technicians {
        if slots[other].technicians.contains(technician) {
            broken.push(Violation::TechnicianTwice { technician: *technician, one, other });
        }
    }
}

fn lags(problem: &Problem, slots: &[Slot], (index, lag): (usize, &Lag), broken: &mut Vec<Violation>) {
    let (from_s, to_s) = (slots[lag.before].finish_s, slots[lag.after].start_s);
    let late = lag.max_s.is_some_and(|max_s| to_s > from_s.saturating_add(max_s));
    if to_s < from_s.saturating_add(lag.min_s) || late {
        broken.push(Violation::BrokenLag { lag: index });
        return;
    }
    let dwell = Slot { start_s: from_s, finish_s: to_s, technicians: Vec::new() };
    if lag.watched {
        let instants = slots.iter().map(|slot| slot.start_s).chain([from_s]);
        let within = instants.filter(|at_s| (from_s..to_s).contains(at_s));
        for at_s in within.filter(|&at_s| in_sight(problem, slots, at_s) == 0) {
            broken.push(Violation::Unwatched { lag: index, at_s });
        }
    }
    if lag.wet {
        for activity in (0..slots.len()).filter(|&activity| overlaps(&slots[activity], &dwell)) {
            let pair = |&(one, other): &(usize, usize)| {
                (one, other) == (lag.before, activity) || (one, other) == (activity, lag.before)
            };
            let between = follows(problem, lag.before, activity) && follows(problem, activity, lag.after);
            if activity != lag.before && problem.exclusions.iter().any(pair) && !between {
                broken.push(Violation::WetZoneEntered { lag: index, activity });
            }
        }
    }
}

/// Technicians on site who are not doing something out of sight.
fn in_sight(problem: &Problem, slots: &[Slot], at_s: u32) -> usize {
    let away = |(activity, slot): (usize, &Slot)| {
        let gone = problem.activities[activity].out_of_sight && (slot.start_s..slot.finish_s).contains(&at_s);
        if gone { slot.technicians.len() } else { 0 }
    };
    problem.technicians.saturating_sub(slots.iter().enumerate().map(away).sum())
}

/// Whether the lags lead from one activity to the other.
fn follows(problem: &Problem, one: usize, other: usize) -> bool {
    let mut reached = vec![false; problem.activities.len()];
    reached[one] = true;
    for _ in 0..problem.activities.len() {
        for lag in &problem.lags {
            reached[lag.after] |= reached[lag.before];
        }
    }
    one != other && reached[other]
}

fn capacities(problem: &Problem, slots: &[Slot], broken: &mut Vec<Violation>) {
    for (resource, &capacity) in problem.capacities.iter().enumerate() {
        for at_s in slots.iter().map(|slot| slot.start_s) {
            let held = |(activity, slot): (usize, &Slot)| {
                let running = (slot.start_s..slot.finish_s).contains(&at_s);
                if running { u64::from(units_of(&problem.activities[activity], resource)) } else { 0 }
            };
            if slots.iter().enumerate().map(held).sum::<u64>() > u64::from(capacity) {
                broken.push(Violation::OverCapacity { resource, at_s });
            }
        }
    }
}
