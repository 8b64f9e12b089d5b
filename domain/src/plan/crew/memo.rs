//! States searched to the end, so that a worse one with the same activities started is left out.

use super::exact::Search;
use super::net::members;
use std::collections::HashMap;
use std::hash::{BuildHasherDefault, Hasher};

/// States kept for one set of started activities, and in all (assumption: about 100 MB at most).
const PER_SET: usize = 12;
const IN_ALL: usize = 400_000;

#[derive(Default)]
pub struct Memo {
    states: HashMap<u128, Vec<State>, BuildHasherDefault<Fold>>,
    count: usize,
}

struct State {
    time: u32,
    /// Activity, alternative and finish of what is still running.
    running: Vec<(usize, usize, u32)>,
    /// Activities that become ready only later.
    ready_at: Vec<(usize, u32)>,
    latest: Vec<(usize, u32)>,
}

impl Memo {
    /// Whether some kept state allows whatever the present one allows, no later.
    pub fn dominates(&self, now: &Search, time: u32) -> bool {
        self.states.get(&now.started).is_some_and(|kept| kept.iter().any(|state| state.allows(now, time)))
    }

    pub fn keep(&mut self, now: &Search, time: u32, left: u128) {
        if self.count >= IN_ALL {
            return;
        }
        let kept = self.states.entry(now.started).or_default();
        if kept.len() < PER_SET {
            self.count += 1;
            kept.push(State {
                time,
                running: members(now.running).map(|at| (at, now.way[at], now.finish[at])).collect(),
                ready_at: members(left)
                    .filter(|&at| now.ready_at[at] > time)
                    .map(|at| (at, now.ready_at[at]))
                    .collect(),
                latest: members(left)
                    .filter(|&at| now.latest[at] < u32::MAX)
                    .map(|at| (at, now.latest[at]))
                    .collect(),
            });
        }
    }
}

impl State {
    fn allows(&self, now: &Search, time: u32) -> bool {
        let still = |&(at, way, finish): &(usize, usize, u32)| {
            let less = || way == now.way[at] || now.load_of(at, way).at_most(now.load_of(at, now.way[at]));
            finish <= time || (now.running >> at & 1 == 1 && now.finish[at] >= finish && less())
        };
        self.time <= time
            && self.running.iter().all(still)
            && self.ready_at.iter().all(|&(at, ready_at)| ready_at <= now.ready_at[at].max(time))
            && self.latest.iter().all(|&(at, latest)| latest >= now.latest[at])
    }
}

/// Folds the set of started activities; multiplier from the golden ratio (Knuth, The Art of Computer Programming 3, 6.4).
#[derive(Default)]
pub struct Fold(u64);

impl Hasher for Fold {
    fn finish(&self) -> u64 {
        self.0
    }

    fn write(&mut self, bytes: &[u8]) {
        for &byte in bytes {
            self.write_u128(u128::from(byte));
        }
    }

    fn write_u128(&mut self, set: u128) {
        let mixed = (self.0 ^ set as u64).wrapping_mul(0x9e37_79b9_7f4a_7c15);
        let mixed = (mixed.rotate_left(29) ^ (set >> 64) as u64).wrapping_mul(0x9e37_79b9_7f4a_7c15);
        self.0 = mixed ^ (mixed >> 32);
    }
}
