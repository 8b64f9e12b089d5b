//! Times below which no schedule can end: the critical path, and work shared by too few.
//!
//! A pool is anything that can serve only so much at once: a group of technicians, a resource, or a set of activities
//! of which no two may overlap (a clique, capacity 1). Its activities finish no earlier than their summed work over
//! its capacity, and whatever has to follow them comes on top.

use super::load::LANES;
use super::net::{Net, members};

/// Largest cliques kept (assumption: more cost more than they prune).
const CLIQUES: usize = 6;

/// Work that has to go through one bottleneck.
#[derive(Debug, Clone)]
pub struct Pool {
    pub capacity: u64,
    /// Activities with work in the pool, longest way to the end after the finish first.
    pub users: Vec<usize>,
    /// Least work (units × time) of each activity, whatever alternative is taken.
    pub work: Vec<u64>,
    /// Units each alternative of each activity holds.
    pub units: Vec<Vec<u64>>,
}

/// Every pool of the problem in which not all can be served at once.
pub fn pools(net: &Net) -> Vec<Pool> {
    let mut pools: Vec<Pool> = lane_groups(net).iter().filter_map(|lanes| lane_pool(net, lanes)).collect();
    for clique in cliques(net) {
        let units =
            (0..net.count).map(|at| vec![(clique >> at & 1) as u64; net.alternatives[at].len()]).collect();
        pools.push(Pool::new(net, 1, units));
    }
    pools.retain(|pool| pool.users.len() > 1);
    pools
}

/// The best bound seen from the start: for every pool, work between its latest heads and longest tails.
pub fn at_start(net: &Net, pools: &[Pool]) -> u32 {
    let path = (0..net.count).map(|at| net.head[at] + net.tail[at]).max().unwrap_or(0);
    pools.iter().map(|pool| pool.at_start(net)).fold(path, u32::max)
}

impl Pool {
    fn new(net: &Net, capacity: u64, units: Vec<Vec<u64>>) -> Pool {
        let least = |at: usize| {
            let ways = net.alternatives[at].iter().zip(&units[at]);
            ways.map(|(way, &units)| units * u64::from(way.duration)).min().unwrap_or(0)
        };
        let work: Vec<u64> = (0..net.count).map(least).collect();
        let mut users: Vec<usize> = (0..net.count).filter(|&at| work[at] > 0).collect();
        users.sort_by_key(|&at| std::cmp::Reverse(net.post[at]));
        Pool { capacity, users, work, units }
    }

    fn at_start(&self, net: &Net) -> u32 {
        let mut best = 0;
        for &first in &self.users {
            let mut sum = 0;
            for &user in self.users.iter().filter(|&&user| net.head[user] >= net.head[first]) {
                sum += self.work[user];
                best = best.max(net.head[first] + self.time_for(sum) + net.post[user]);
            }
        }
        best
    }

    /// Time the pool needs for so much work.
    pub fn time_for(&self, work: u64) -> u32 {
        u32::try_from(work.div_ceil(self.capacity)).unwrap_or(u32::MAX / 4)
    }
}

/// All technicians, the technicians of each set that some activity is restricted to, and each single lane.
fn lane_groups(net: &Net) -> Vec<Vec<usize>> {
    let kinds = net.kinds.len();
    let mut groups: Vec<Vec<usize>> = vec![(0..kinds).collect()];
    for ways in &net.alternatives {
        let used = |&kind: &usize| ways.iter().any(|way| way.kinds[kind] > 0);
        groups.push((0..kinds).filter(used).collect());
    }
    groups.extend((kinds..LANES).filter(|&lane| net.site.capacity.lane(lane) > 0).map(|lane| vec![lane]));
    groups.sort();
    groups.dedup();
    groups
}

fn lane_pool(net: &Net, lanes: &[usize]) -> Option<Pool> {
    let capacity: u64 = lanes.iter().map(|&lane| u64::from(net.site.capacity.lane(lane))).sum();
    let held =
        |ways: &super::net::Alternative| lanes.iter().map(|&lane| u64::from(ways.need.load.lane(lane))).sum();
    let units = net.alternatives.iter().map(|ways| ways.iter().map(held).collect()).collect();
    (capacity > 0).then(|| Pool::new(net, capacity, units))
}

/// Sets of activities of which no two can overlap, grown from each activity by the longest that still fits.
fn cliques(net: &Net) -> Vec<u128> {
    let apart: Vec<u128> = (0..net.count).map(|at| kept_apart(net, at)).collect();
    let mut longest: Vec<usize> = (0..net.count).filter(|&at| net.shortest(at) > 0).collect();
    longest.sort_by_key(|&at| std::cmp::Reverse(net.shortest(at)));
    let mut found: Vec<(u64, u128)> = Vec::new();
    for &seed in &longest {
        let mut clique = 1_u128 << seed;
        for &other in &longest {
            if clique & !apart[other] == 0 {
                clique |= 1 << other;
            }
        }
        let length = members(clique).map(|at| u64::from(net.shortest(at))).sum();
        if !found.contains(&(length, clique)) {
            found.push((length, clique));
        }
    }
    found.sort_by_key(|&(length, clique)| (std::cmp::Reverse(length), clique));
    found.into_iter().take(CLIQUES).map(|(_, clique)| clique).collect()
}

/// Activities that can never overlap with one: by precedence, exclusion, or because together they are too much.
fn kept_apart(net: &Net, one: usize) -> u128 {
    let mut apart = net.excluded[one];
    for other in (0..net.count).filter(|&other| other != one) {
        let beside = |way: &super::net::Alternative| {
            net.alternatives[other].iter().any(|with| way.need.load.admits(with.need.load, net.site.capacity))
        };
        let follows = net.after[one] >> other & 1 == 1 || net.after[other] >> one & 1 == 1;
        if follows || !net.alternatives[one].iter().any(beside) {
            apart |= 1 << other;
        }
    }
    apart
}
