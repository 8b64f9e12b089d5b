//! What can be seen to be wrong with a problem before any search.

use super::load::LANE_MAX;
use super::problem::{Activity, Infeasible, Lag, MAX_ACTIVITIES, MAX_TECHNICIANS, MAX_TIME_S, Problem};

/// Finds the first reason why a problem makes no sense or can never be staffed.
pub fn validate(problem: &Problem) -> Result<(), Infeasible> {
    let given = problem.activities.len();
    if given > MAX_ACTIVITIES {
        return Err(Infeasible::TooManyActivities { given });
    }
    if problem.technicians > MAX_TECHNICIANS {
        return Err(Infeasible::TooManyTechnicians { given: problem.technicians });
    }
    for (resource, &capacity) in problem.capacities.iter().enumerate() {
        if capacity > LANE_MAX {
            return Err(Infeasible::CapacityTooLarge { resource, capacity, limit: LANE_MAX });
        }
    }
    for (index, activity) in problem.activities.iter().enumerate() {
        check_names(problem, index, activity)?;
        check_staff(index, activity)?;
        check_demands(problem, index, activity)?;
    }
    for (index, lag) in problem.lags.iter().enumerate() {
        check_lag(problem, index, lag)?;
    }
    for (index, &(one, other)) in problem.exclusions.iter().enumerate() {
        known("exclusion", index, one, given)?;
        known("exclusion", index, other, given)?;
    }
    check_times(problem)
}

fn known(what: &'static str, index: usize, named: usize, count: usize) -> Result<(), Infeasible> {
    if named < count { Ok(()) } else { Err(Infeasible::Unknown { what, index, named }) }
}

fn check_names(problem: &Problem, index: usize, activity: &Activity) -> Result<(), Infeasible> {
    for &technician in activity.able.iter().chain(&activity.helpers) {
        known("activity", index, technician, problem.technicians)?;
    }
    for demand in &activity.demands {
        known("activity", index, demand.resource, problem.capacities.len())?;
    }
    Ok(())
}

fn check_staff(index: usize, activity: &Activity) -> Result<(), Infeasible> {
    let hands = activity.crews.iter().map(|crew| crew.hands).min();
    let hands = hands.ok_or(Infeasible::NoCrewSize { activity: index })?;
    let able = distinct(&activity.able);
    let helpers = distinct(&activity.helpers) & !able;
    let (able, helpers) = (able.count_ones() as usize, helpers.count_ones() as usize);
    if hands > 0 && (able == 0 || able + helpers < hands) {
        return Err(Infeasible::TooFewAble { activity: index, hands, able, helpers });
    }
    Ok(())
}

/// Technicians as a set of bits; names were checked before.
pub fn distinct(technicians: &[usize]) -> u32 {
    technicians.iter().fold(0, |set, &technician| set | 1 << (technician % 32))
}

fn check_demands(problem: &Problem, index: usize, activity: &Activity) -> Result<(), Infeasible> {
    for (resource, &capacity) in problem.capacities.iter().enumerate() {
        let units = units_of(activity, resource);
        if units > capacity {
            return Err(Infeasible::OverCapacity { activity: index, resource, units, capacity });
        }
    }
    Ok(())
}

/// Units of one resource an activity holds in all.
pub fn units_of(activity: &Activity, resource: usize) -> u32 {
    let demands = activity.demands.iter().filter(|demand| demand.resource == resource);
    demands.fold(0, |sum: u32, demand| sum.saturating_add(demand.units))
}

fn check_lag(problem: &Problem, index: usize, lag: &Lag) -> Result<(), Infeasible> {
    known("lag", index, lag.before, problem.activities.len())?;
    known("lag", index, lag.after, problem.activities.len())?;
    if let Some(max_s) = lag.max_s.filter(|&max_s| max_s < lag.min_s) {
        let (before, after, min_s) = (lag.before, lag.after, lag.min_s);
        return Err(Infeasible::LagContradicts { before, after, min_s, max_s });
    }
    let attended =
        |activity: &Activity| activity.crews.iter().all(|crew| crew.hands > 0 && crew.duration_s > 0);
    if (lag.watched || lag.wet) && (lag.max_s.is_none() || !attended(&problem.activities[lag.before])) {
        return Err(Infeasible::OpenDwell { lag: index });
    }
    Ok(())
}

/// One activity after the other with every lag waited for ends before the clock does.
fn check_times(problem: &Problem) -> Result<(), Infeasible> {
    let mut sum = 0_u64;
    for activity in &problem.activities {
        let longest = activity.crews.iter().map(|crew| u64::from(crew.duration_s)).max().unwrap_or(0);
        sum += longest + u64::from(activity.not_before_s);
    }
    for lag in &problem.lags {
        sum += u64::from(lag.min_s);
    }
    if sum > u64::from(MAX_TIME_S) { Err(Infeasible::TooLong) } else { Ok(()) }
}
