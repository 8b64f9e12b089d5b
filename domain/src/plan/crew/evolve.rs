//! A small genetic search over activity lists, every child justified backward and forward.
//!
//! After Valls, Ballestín & Quintanilla 2008 (doi 10.1016/j.ejor.2006.12.033): two-point crossover of activity lists,
//! each schedule improved by a backward and a forward pass (double justification).

use super::decode::{Choice, Decoder, Direction, Draft};
use super::net::Net;
use super::random::Random;

/// Members kept (tuned on generated jobs and on the j30 and j60 sets).
const POPULATION: usize = 20;
/// How sharply random sampling prefers the latest finish first.
const BIAS: u64 = 2;

#[derive(Debug, Clone, Default)]
struct Member {
    order: Vec<usize>,
    choices: Vec<Choice>,
    makespan: u32,
}

/// Generates at most about `schedules` schedules and returns the shortest; stops early at `lower_bound`.
pub fn evolve(net: &Net, decoder: &mut Decoder, schedules: u64, seed: u64, lower_bound: u32) -> Draft {
    let mut search = Evolution::new(net, seed);
    let first = search.founder(0);
    search.admit(decoder, first);
    while decoder.schedules < schedules && search.best.makespan > lower_bound {
        let child = if search.members.len() < POPULATION {
            search.founder(search.members.len())
        } else {
            search.child()
        };
        search.admit(decoder, child);
    }
    search.best
}

struct Evolution<'a> {
    net: &'a Net,
    random: Random,
    members: Vec<Member>,
    best: Draft,
    /// Place of each activity in the order of precedence.
    place: Vec<usize>,
    draft: Draft,
}

impl<'a> Evolution<'a> {
    fn new(net: &'a Net, seed: u64) -> Evolution<'a> {
        let mut place = vec![0; net.count];
        for (at, &activity) in net.order.iter().enumerate() {
            place[activity] = at;
        }
        let best = Draft { makespan: u32::MAX, ..Draft::default() };
        Evolution {
            net,
            random: Random::new(seed),
            members: Vec::new(),
            best,
            place,
            draft: Draft::default(),
        }
    }

    /// The first is plain latest finish with every crew size open; the others are random around it.
    fn founder(&mut self, index: usize) -> Member {
        let mut choices: Vec<Choice> =
            self.net.alternatives.iter().map(|ways| (0, ways.len() as u16)).collect();
        if index == 0 {
            let mut order = self.net.order.clone();
            order.sort_by_key(|&activity| std::cmp::Reverse(self.net.post[activity]));
            return Member { order, choices, makespan: 0 };
        }
        for activity in 0..self.net.count {
            if index == 1 || self.random.chance(50) {
                choices[activity] = self.choice(activity, index == 1);
            }
        }
        Member { order: self.sampled_order(), choices, makespan: 0 }
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
            let weight = |&at: &usize| u64::from(net.post[at] - least + 1).min(1 << 20).pow(BIAS as u32);
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

    /// Two parents, each the better of two; a stretch of the mother's list within the father's.
    fn child(&mut self) -> Member {
        let (father, mother) = (self.parent(), self.parent());
        let count = self.net.count;
        let (one, other) = (self.random.below(count + 1), self.random.below(count + 1));
        let (from, to) = (one.min(other), one.max(other));
        let (father, mother) = (&self.members[father], &self.members[mother]);
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
        let mut child = Member { order, choices, makespan: 0 };
        self.mutate(&mut child);
        child
    }

    fn parent(&mut self) -> usize {
        let (one, other) = (self.random.below(self.members.len()), self.random.below(self.members.len()));
        if self.members[one].makespan <= self.members[other].makespan { one } else { other }
    }

    fn mutate(&mut self, child: &mut Member) {
        for at in 1..child.order.len() {
            let (one, other) = (child.order[at - 1], child.order[at]);
            if self.net.after[one] >> other & 1 == 0 && self.random.chance(5) {
                child.order.swap(at - 1, at);
            }
        }
        for activity in 0..self.net.count {
            if self.net.alternatives[activity].len() > 1 && self.random.chance(5) {
                child.choices[activity] = self.choice(activity, false);
            }
        }
    }

    /// Decodes, justifies both ways and takes the member in if it is better than the worst.
    fn admit(&mut self, decoder: &mut Decoder, mut member: Member) {
        decoder.decode(Direction::Forward, &member.order, &member.choices, &mut self.draft);
        self.keep_best();
        self.by_finish(&mut member.order);
        decoder.decode(Direction::Backward, &member.order, &member.choices, &mut self.draft);
        self.by_start(&mut member.order);
        decoder.decode(Direction::Forward, &member.order, &member.choices, &mut self.draft);
        self.keep_best();
        self.by_start(&mut member.order);
        member.makespan = self.draft.makespan;
        if self.members.len() < POPULATION {
            self.members.push(member);
            return;
        }
        let worst = (0..self.members.len()).max_by_key(|&at| self.members[at].makespan).unwrap_or(0);
        let known = self.members.iter().any(|other| other.order == member.order);
        if !known && member.makespan <= self.members[worst].makespan {
            self.members[worst] = member;
        }
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
