//! Agreement with the exhaustive search on small problems.

use super::brute::least_cost;
use super::checker::broken;
use super::random_case::case;
use domain::dispatch::search::{Options, Watch, search};

/// Stops when the least cost is reached, or after so many iterations.
struct Until {
    target: i64,
    iterations: u64,
    cost: i64,
}

impl Watch for Until {
    fn spent(&mut self, iterations: u64) -> Option<f64> {
        (self.cost > self.target && iterations < self.iterations)
            .then(|| iterations as f64 / self.iterations as f64)
    }

    fn improved(&mut self, _: u64, cost: i64) {
        self.cost = cost;
    }
}

/// How many of the 500 problems have how many visits: an exhaustive search takes its time.
const SIZES: [(usize, u64); 8] = [(1, 20), (2, 90), (3, 190), (4, 150), (5, 40), (6, 7), (7, 2), (8, 1)];
const ITERATIONS: u64 = 4000;

#[test]
fn finds_what_trying_everything_finds() {
    let mut wrong = Vec::new();
    let mut tried = 0;
    for (count, problems) in SIZES {
        for nth in 0..problems {
            let seed = count as u64 * 1000 + nth;
            let case = case(seed, count);
            let least = least_cost(&case);
            let model = case.model();
            // A heuristic: where chance was against it, it gets another two.
            let mut answer = (i64::MAX, Vec::new());
            for seed in 1..=3 {
                let mut watch = Until { target: least, iterations: ITERATIONS, cost: i64::MAX };
                let found = search(&model, &Options { seed, ..Options::default() }, &mut watch).0;
                answer = (found.cost(&model), broken(&case, &model, &found));
                if answer.0 <= least || !answer.1.is_empty() {
                    break;
                }
            }
            let (cost, faults) = answer;
            if !faults.is_empty() || cost != least {
                wrong.push(format!("{count} visits, seed {seed}: {cost} for {least}; {faults:?}"));
            }
            tried += 1;
        }
    }
    assert_eq!(tried, 500);
    assert!(wrong.is_empty(), "{} of {tried} differ:\n{}", wrong.len(), wrong.join("\n"));
}
