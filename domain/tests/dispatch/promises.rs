//! What holds for every problem and seed.

use super::random_case::Chance;
use domain::dispatch::search::{Iterations, Leg, Model, Node, Options, Parts, Service, Shift, Watch, search};

/// What an unserved visit costs says nothing of how dear the others are: the search goes the same way.
#[test]
fn what_nobody_serves_does_not_heat_the_search() {
    for seed in 1..=2 {
        assert_eq!(way(1, seed), way(1_000_000_000_000, seed), "seed {seed}");
    }
}

struct Way {
    unserved_cost: i64,
    improvements: Vec<(u64, i64)>,
}

impl Watch for Way {
    fn spent(&mut self, iterations: u64) -> Option<f64> {
        Iterations(400).spent(iterations)
    }

    fn improved(&mut self, iterations: u64, cost: i64) {
        self.improvements.push((iterations, cost - self.unserved_cost));
    }
}

/// The improvements and rounds of a search with twenty visits that three shifts can serve, and one that nobody can.
fn way(unserved_cost: i64, seed: u64) -> (Vec<(u64, i64)>, Vec<Vec<u32>>) {
    const SERVED: usize = 20;
    const HOUR: i32 = 3600;
    let mut chance = Chance::new(seed);
    let at: Vec<(i32, i32)> = (0..SERVED + 2).map(|_| (chance.below(30), chance.below(30))).collect();
    let leg = |a: &(i32, i32), b: &(i32, i32)| {
        let steps = (a.0 - b.0).abs() + (a.1 - b.1).abs();
        Leg { cost: steps * 1000, time_s: steps * 60 }
    };
    let node = |nth| Node {
        load: vec![1],
        skip_cost: if nth < SERVED { 1_000_000 } else { unserved_cost },
        ..Node::default()
    };
    let shift = |nth: u32| Shift {
        start: SERVED as u32 + 1,
        end: SERVED as u32 + 1,
        opens_s: 8 * HOUR,
        closes_s: 20 * HOUR,
        last_s: 20 * HOUR,
        capacity: vec![10],
        resources: vec![nth],
        people: 1,
        ..Shift::default()
    };
    let service = |nth| (nth < SERVED).then(|| Service::fixed(8 * HOUR, 18 * HOUR, HOUR / 2));
    let model = Model::new(Parts {
        nodes: (0..=SERVED).map(node).collect(),
        legs: at.iter().flat_map(|a| at.iter().map(move |b| leg(a, b))).collect(),
        shifts: (0..3).map(shift).collect(),
        services: vec![(0..=SERVED).map(service).collect()],
        ..Parts::default()
    });
    assert!(!model.plain);
    let mut way = Way { unserved_cost, improvements: Vec::new() };
    let found = search(&model, &Options { seed, ..Options::default() }, &mut way).0;
    assert_eq!(found.absent, [SERVED as u32]);
    (way.improvements, found.routes.iter().map(|route| route.visits().collect()).collect())
}
