//! Random problems against trying everything, and properties every answer has.

use super::brute::shortest;
use super::*;
use crate::random::Random;

const PROVE: Budget = Budget { schedules: 30, nodes: 2_000_000 };

/// Up to seven activities with every feature switched on now and then.
fn small(seed: u64) -> Problem {
    let mut random = Random::new(seed);
    let technicians = 1 + random.below(3);
    let count = 3 + random.below(5);
    let mut problem = Problem { technicians, capacities: vec![1, 3], ..Problem::default() };
    for _ in 0..count {
        problem.activities.push(small_activity(&mut random, technicians));
    }
    for after in 1..count {
        for before in 0..after {
            if random.chance(25) {
                let min_s = random.below(4) as u32;
                let max_s = random.chance(40).then(|| min_s + random.below(3) as u32);
                let attended = problem.activities[before]
                    .crews
                    .iter()
                    .all(|crew| crew.hands * crew.duration_s as usize > 0);
                let open = max_s.is_some() && attended;
                let (watched, wet) = (open && random.chance(50), open && random.chance(50));
                problem.lags.push(Lag { before, after, min_s, max_s, watched, wet });
            } else if random.chance(15) {
                problem.exclusions.push((before, after));
            }
        }
    }
    problem
}

fn small_activity(random: &mut Random, technicians: usize) -> Activity {
    let hands = random.below(10).div_ceil(5).min(technicians);
    let duration_s = if random.chance(5) { 0 } else { 1 + random.below(5) as u32 };
    let mut crews = vec![CrewSize { hands, duration_s }];
    if hands == 1 && technicians > 1 && random.chance(30) {
        crews.push(CrewSize { hands: 2, duration_s: duration_s.div_ceil(2) });
    }
    let mut able: Vec<usize> = (0..technicians).filter(|_| random.chance(75)).collect();
    if able.is_empty() {
        able.push(random.below(technicians));
    }
    let helpers = (0..technicians).filter(|_| random.chance(50)).collect();
    let mut demands = Vec::new();
    for resource in 0..2 {
        if random.chance(20) {
            demands.push(Demand { resource, units: 1 + random.below(1 + resource) as u32 });
        }
    }
    let not_before_s = if random.chance(10) { random.below(6) as u32 } else { 0 };
    Activity { crews, able, helpers, demands, not_before_s, out_of_sight: random.chance(25) }
}

/// The activities named and what ties them to each other: if they cannot be done alone, the whole cannot.
fn part_of(problem: &Problem, activities: &[usize]) -> Problem {
    let index = |at: usize| activities.iter().position(|&other| other == at);
    let mut part = problem.clone();
    part.activities = activities.iter().map(|&at| problem.activities[at].clone()).collect();
    part.lags = problem
        .lags
        .iter()
        .copied()
        .filter(|lag| index(lag.before).and(index(lag.after)).is_some())
        .collect();
    part.exclusions.retain(|&(one, other)| index(one).and(index(other)).is_some());
    for lag in &mut part.lags {
        (lag.before, lag.after) = (index(lag.before).unwrap_or(0), index(lag.after).unwrap_or(0));
    }
    for (one, other) in &mut part.exclusions {
        (*one, *other) = (index(*one).unwrap_or(0), index(*other).unwrap_or(0));
    }
    part
}

/// Long enough for every small problem, one activity after the other.
fn ample(problem: &Problem) -> u32 {
    let longest = |activity: &Activity| activity.crews.iter().map(|crew| crew.duration_s).max().unwrap_or(0);
    let work: u32 = problem.activities.iter().map(|activity| longest(activity) + activity.not_before_s).sum();
    work + problem.lags.iter().map(|lag| lag.min_s).sum::<u32>() + 1
}

#[test]
fn agrees_with_trying_everything_on_small_problems() {
    let (mut solved, mut impossible, mut delayed) = (0, 0, 0);
    for seed in 0..700 {
        let problem = small(seed);
        match schedule(&problem, PROVE, seed) {
            Ok(found) => {
                assert_eq!(check(&problem, &found), vec![], "seed {seed}");
                assert_eq!(found.proof, Proof::Optimal, "seed {seed}");
                assert_eq!(shortest(&problem, found.makespan_s), None, "seed {seed}: {found:?}");
                solved += 1;
                delayed += usize::from(found.nodes > 0);
            }
            Err(Infeasible::TooFewAble { activity, hands, .. }) => {
                let wanted = &problem.activities[activity];
                assert!(wanted.able.len() + wanted.helpers.len() < 2 * hands, "seed {seed}");
            }
            Err(Infeasible::LagsImpossible { activities }) => {
                let part = part_of(&problem, &activities);
                assert_eq!(shortest(&part, ample(&part)), None, "seed {seed}");
                impossible += 1;
            }
            Err(other) => panic!("seed {seed}: {other}"),
        }
    }
    assert!(solved >= 400 && impossible >= 10 && delayed >= 30, "{solved} {impossible} {delayed}");
}
