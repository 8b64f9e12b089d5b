//! A small genetic search over activity lists in two populations, one generated forward in time and one backward.
//!
//! A child of two forward schedules is generated backward and the other way round, so that every generation is also
//! a justification of its parents (Debels & Vanhoucke 2007, doi 10.1287/opre.1060.0358). The children enter one by
//! one in place of the worst.

use super::decode::{Choice, Decoder, Direction, Draft};
use super::net::Net;
use crate::random::Random;

/// Members of each population: the square root of this many times the schedules allowed
/// (tuned on the j30 and j60 sets and on generated jobs).
const SIZE_FACTOR: u64 = 3;
/// Smallest population.
const SMALLEST: usize = 8;
/// How sharply random sampling prefers the latest finish first.
const BIAS: u32 = 2;
/// Share in percent of activities whose crew size is fixed at random in the founders, by turns.
const FIXED: [usize; 3] = [15, 50, 85];
/// Chance in percent that a neighbour pair is swapped, or a choice of crew drawn anew.
const MUTATION: usize = 3;

#[derive(Debug, Clone, Default)]
struct Member {
    /// For generation in the opposite direction.
    order: Vec<usize>,
    choices: Vec<Choice>,
    /// Makespan, then the sum of starts: the smaller the better.
    rank: (u32, u64),
}

/// Generates at most `schedules` schedules and returns the shortest; stops early at `lower_bound`.
pub fn evolve(net: &Net, decoder: &mut Decoder, schedules: u64, seed: u64, lower_bound: u32) -> Draft {
    let size = ((SIZE_FACTOR.saturating_mul(schedules)).isqrt() as usize).max(SMALLEST);
    let mut search = Evolution::new(net, seed, size);
    let mut direction = Direction::Forward;
    for index in 0.. {
        let member = match index {
            _ if index < size => search.founder(index),
            _ if index < 2 * size => search.members[0][index - size].clone(),
            _ => search.child(direction),
        };
        search.admit(decoder, direction, member);
        if decoder.schedules >= schedules || search.best.makespan <= lower_bound {
            break;
        }
        direction = match direction {
            Direction::Forward if index + 1 >= size => Direction::Backward,
            Direction::Backward if index + 1 >= 2 * size => Direction::Forward,
            same => same,
        };
    }
    search.best
}

struct Evolution<'a> {
    net: &'a Net,
    random: Random,
    size: usize,
    /// Results of forward and of backward generation.
    members: [Vec<Member>; 2],
    best: Draft,
    /// Place of each activity in the order of precedence.
    place: Vec<usize>,
    draft: Draft,
}

impl<'a> Evolution<'a> {
    fn new(net: &'a Net, seed: u64, size: usize) -> Evolution<'a> {
        let mut place = vec![0; net.count];
        for (at, &activity) in net.order.iter().enumerate() {
            place[activity] = at;
        }
        let best = Draft { makespan: u32::MAX, ..Draft::default() };
        let (random, members, draft) = (Random::new(seed), Default::default(), Draft::default());
        Evolution { net, random, size, members, best, place, draft }
    }

    /// The first is plain latest finish with every crew size open; the others are random around it.
    fn founder(&mut self, index: usize) -> Member {
        let mut choices: Vec<Choice> =
            self.net.alternatives.iter().map(|ways| (0, ways.len() as u16)).collect();
        if index == 0 {
            let mut order = self.net.order.clone();
            order.sort_by_key(|&activity| std::cmp::Reverse(self.net.post[activity]));
            return Member { order, choices, rank: (0, 0) };
        }
        for (activity, chosen) in choices.iter_mut().enumerate() {
            if index == 1 || self.random.chance(FIXED[index % FIXED.len()]) {
                *chosen = self.choice(activity, index == 1);
            }
        }
        Member { order: self.sampled_order(), choices, rank: (0, 0) }
    }

    /// One crew size, or one alternative.
    fn choice(&mut self, activity: usize, smallest: bool) -> Choice {
        let ways = &self.net.alternatives[activity];
        let way = if smallest { 0 } else { self.random.below(ways.len()) };
        if ways.len() > 1 && self.random.chance(50) {
            return (way as u16, way as u16 + 1);
        }
        let same = |other: &usize| ways[*other].hands == ways[way].hands;
        let first = (0..way).find(same).unwrap_or(way);
        let last = (way..ways.len()).rev().find(same).unwrap_or(way);
        (first as u16, last as u16 + 1)
    }

    /// Next is drawn from the ready ones with a weight by how late each may finish.
    fn sampled_order(&mut self) -> Vec<usize> {
        let net = self.net;
        let mut waiting: Vec<usize> = net.preds.iter().map(Vec::len).collect();
        let mut ready: Vec<usize> = (0..net.count).filter(|&at| waiting[at] == 0).collect();
        let mut order = Vec::with_capacity(net.count);
        while !ready.is_empty() {
            let least = ready.iter().map(|&at| net.post[at]).min().unwrap_or(0);
            let weight = |&at: &usize| u64::from(net.post[at] - least + 1).min(1 << 20).pow(BIAS);
            let sum: u64 = ready.iter().map(weight).sum();
            let mut draw = self.random.below(sum as usize) as u64;
            let drawn = |at: &usize| {
                let weight = weight(at);
                let hit = draw < weight;
                draw = draw.saturating_sub(weight);
                hit
            };
            let next = ready.iter().position(drawn).unwrap_or(0);
            let activity = ready.swap_remove(next);
            order.push(activity);
            for link in &net.succs[activity] {
                waiting[link.other] -= 1;
                if waiting[link.other] == 0 {
                    ready.push(link.other);
                }
            }
        }
        order
    }

    /// Two parents from the other direction, each the better of two; a stretch of the mother's list within the father's.
    fn child(&mut self, direction: Direction) -> Member {
        let from_other = 1 - direction as usize;
        let (father, mother) = (self.parent(from_other), self.parent(from_other));
        let count = self.net.count;
        let (one, other) = (self.random.below(count + 1), self.random.below(count + 1));
        let (from, to) = (one.min(other), one.max(other));
        let (father, mother) = (&self.members[from_other][father], &self.members[from_other][mother]);
        let mut order: Vec<usize> = father.order[..from].to_vec();
        let mut taken = order.iter().fold(0_u128, |set, at| set | 1 << at);
        let mut choices = father.choices.clone();
        for &activity in &mother.order {
            if order.len() < to && taken >> activity & 1 == 0 {
                taken |= 1 << activity;
                order.push(activity);
                choices[activity] = mother.choices[activity];
            }
        }
        order.extend(father.order.iter().filter(|&&activity| taken >> activity & 1 == 0));
        let mut child = Member { order, choices, rank: (0, 0) };
        self.mutate(&mut child, direction);
        child
    }

    fn parent(&mut self, side: usize) -> usize {
        let count = self.members[side].len();
        let (one, other) = (self.random.below(count), self.random.below(count));
        if self.members[side][one].rank <= self.members[side][other].rank { one } else { other }
    }

    fn mutate(&mut self, child: &mut Member, direction: Direction) {
        for at in 1..child.order.len() {
            let (one, other) = (child.order[at - 1], child.order[at]);
            let (first, second) = if direction == Direction::Forward { (one, other) } else { (other, one) };
            if self.net.after[first] >> second & 1 == 0 && self.random.chance(MUTATION) {
                child.order.swap(at - 1, at);
            }
        }
        for activity in 0..self.net.count {
            if self.net.alternatives[activity].len() > 1 && self.random.chance(MUTATION) {
                child.choices[activity] = self.choice(activity, false);
            }
        }
    }

    /// Decodes a member and takes it in if it is better than the worst of its side.
    fn admit(&mut self, decoder: &mut Decoder, direction: Direction, mut member: Member) {
        decoder.decode(direction, &member.order, &member.choices, &mut self.draft);
        if direction == Direction::Forward {
            self.keep_best();
            self.by_finish(&mut member.order);
        } else {
            self.by_start(&mut member.order);
        }
        member.rank = (self.draft.makespan, self.sum(direction));
        let side = &mut self.members[direction as usize];
        if side.len() < self.size {
            side.push(member);
            return;
        }
        let worst = (0..side.len()).max_by_key(|&at| side[at].rank).unwrap_or(0);
        let known = side.iter().any(|other| other.rank == member.rank);
        if !known && member.rank <= side[worst].rank {
            side[worst] = member;
        }
    }

    /// Sum of the starts, or of the distances of the starts from the end.
    fn sum(&self, direction: Direction) -> u64 {
        let start = |&start: &u32| match direction {
            Direction::Forward => u64::from(start),
            Direction::Backward => u64::from(self.draft.makespan - start),
        };
        self.draft.start.iter().map(start).sum()
    }

    fn keep_best(&mut self) {
        if self.draft.makespan < self.best.makespan {
            self.best.clone_from(&self.draft);
        }
    }

    fn by_start(&self, order: &mut [usize]) {
        order.sort_unstable_by_key(|&at| (self.draft.start[at], self.place[at]));
    }

    fn by_finish(&self, order: &mut [usize]) {
        let finish =
            |at: usize| self.draft.start[at] + self.net.alternatives[at][self.draft.way[at]].duration;
        order.sort_unstable_by_key(|&at| std::cmp::Reverse((finish(at), self.place[at])));
    }
}
