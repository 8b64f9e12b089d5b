//! Serial schedule generation: activities in a given order, each at the earliest time it fits.
//!
//! Activities tied by maximal lags are placed together. If the first of them was placed too early for the last,
//! it is moved later and the block is placed again; a block that still does not come together is put down in one
//! rigid piece, which always succeeds once everything else is over.

use super::load::Load;
use super::net::{Alternative, Link, NEVER, Net, bits};
use super::timeline::Timeline;

/// Attempts to fit a block together before it is put down rigidly (assumption: more seldom helps).
const BLOCK_ATTEMPTS: usize = 40;

/// Start and chosen alternative of every activity, in the units of the net.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Draft {
    pub start: Vec<u32>,
    pub way: Vec<usize>,
    pub makespan: u32,
}

/// The alternatives an activity may be placed with, as a range of their indices.
pub type Choice = (u16, u16);

/// From the first activity to the last, or mirrored in time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Direction {
    Forward,
    Backward,
}

/// A way to do all activities of one block by themselves, from time 0.
#[derive(Debug, Clone, Default)]
pub struct Template {
    pub start: Vec<u32>,
    pub way: Vec<usize>,
    pub length: u32,
}

/// Working memory of the generation, used again for every schedule.
pub struct Decoder<'a> {
    net: &'a Net,
    /// One for each block with more than one activity.
    templates: &'a [Template],
    direction: Direction,
    timeline: Timeline,
    saved: Timeline,
    placed: u128,
    start: Vec<u32>,
    way: Vec<usize>,
    lower: Vec<u32>,
    /// Number of schedules generated so far.
    pub schedules: u64,
}

impl<'a> Decoder<'a> {
    pub fn new(net: &'a Net, templates: &'a [Template]) -> Decoder<'a> {
        Decoder {
            net,
            templates,
            direction: Direction::Forward,
            timeline: Timeline::default(),
            saved: Timeline::default(),
            placed: 0,
            start: vec![0; net.count],
            way: vec![0; net.count],
            lower: vec![0; net.count],
            schedules: 0,
        }
    }

    /// Any order is accepted; predecessors are pulled forward where it breaks precedence.
    pub fn decode(&mut self, direction: Direction, order: &[usize], choices: &[Choice], draft: &mut Draft) {
        self.direction = direction;
        self.timeline.clear();
        self.placed = 0;
        self.schedules += 1;
        for &activity in order {
            self.reach(activity, order, choices);
        }
        draft.way.clone_from(&self.way);
        draft.start.clone_from(&self.start);
        let finish = (0..self.net.count).map(|at| self.finish(at)).max().unwrap_or(0);
        draft.makespan = finish;
        if direction == Direction::Backward {
            for at in 0..self.net.count {
                draft.start[at] = finish - self.finish(at);
            }
        }
    }

    fn before(&self, activity: usize) -> &'a [Link] {
        match self.direction {
            Direction::Forward => &self.net.preds[activity],
            Direction::Backward => &self.net.succs[activity],
        }
    }

    fn release(&self, activity: usize) -> u32 {
        if self.direction == Direction::Forward { self.net.not_before[activity] } else { 0 }
    }

    fn finish(&self, activity: usize) -> u32 {
        self.start[activity] + self.net.alternatives[activity][self.way[activity]].duration
    }

    fn is_placed(&self, activity: usize) -> bool {
        self.placed >> activity & 1 == 1
    }

    /// Places the block of an activity after the blocks it waits for.
    fn reach(&mut self, activity: usize, order: &[usize], choices: &[Choice]) {
        if self.is_placed(activity) {
            return;
        }
        let net = self.net;
        let block = &net.blocks[net.block_of[activity]];
        for &member in block {
            for link in self.before(member) {
                if net.block_of[link.other] != net.block_of[activity] {
                    self.reach(link.other, order, choices);
                }
            }
            self.lower[member] = self.release(member);
        }
        if let [only] = block[..] {
            let lower = self.ready(only);
            self.place(only, lower, choices[only]);
        } else {
            self.place_block(net.block_of[activity], order, choices);
        }
    }

    /// Earliest time after the lower limit at which all links from placed activities have run down.
    fn ready(&self, activity: usize) -> u32 {
        let links = self.before(activity).iter().filter(|link| self.is_placed(link.other));
        links.map(|link| self.finish(link.other) + link.min).fold(self.lower[activity], u32::max)
    }

    /// The alternative that finishes first, hands that it takes more than another counted as time lost elsewhere;
    /// the one that takes less versatile hands on a tie.
    fn place(&mut self, activity: usize, lower: u32, (first, last): Choice) {
        let (mut best, mut chosen) = (NEVER, (0, 0));
        for way in usize::from(first)..usize::from(last) {
            let Alternative { duration, need, surplus, .. } = &self.net.alternatives[activity][way];
            let cost = duration + surplus;
            let limit = best.saturating_sub(cost);
            if let Some(start) = self.timeline.earliest((lower, limit), *duration, need, &self.net.site) {
                (best, chosen) = (start + cost, (start, way));
            }
        }
        self.occupy(activity, chosen.0, chosen.1);
    }

    fn occupy(&mut self, activity: usize, start: u32, way: usize) {
        let Alternative { duration, need, .. } = &self.net.alternatives[activity][way];
        let (load, hands) = (need.load, need.hands);
        self.timeline.occupy((start, start + duration), (load, hands), 1 << activity, &self.net.site);
        (self.start[activity], self.way[activity]) = (start, way);
        self.placed |= 1 << activity;
    }

    fn place_block(&mut self, block: usize, order: &[usize], choices: &[Choice]) {
        self.saved.copy_from(&self.timeline);
        let members: Vec<usize> = self.sorted_members(block, order);
        let set = bits(members.iter().copied());
        for _ in 0..BLOCK_ATTEMPTS {
            match self.attempt(&members, choices) {
                Ok(()) => return,
                Err((early, lower)) => self.lower[early] = lower,
            }
            self.timeline.copy_from(&self.saved);
            self.placed &= !set;
        }
        for &member in &members {
            self.lower[member] = self.release(member);
        }
        self.place_rigidly(block);
    }

    /// Members by their place in the order, each after its predecessors.
    fn sorted_members(&self, block: usize, order: &[usize]) -> Vec<usize> {
        let net = self.net;
        let mut waiting: Vec<usize> = order.iter().copied().filter(|&at| net.block_of[at] == block).collect();
        let mut sorted = Vec::with_capacity(waiting.len());
        let mut left = bits(waiting.iter().copied());
        while !waiting.is_empty() {
            let free = |&at: &usize| self.before(at).iter().all(|link| left >> link.other & 1 == 0);
            let next = waiting.iter().position(free).unwrap_or(0);
            let member = waiting.remove(next);
            left &= !(1 << member);
            sorted.push(member);
        }
        sorted
    }

    /// Places all members, or names one that must start later, and when.
    fn attempt(&mut self, members: &[usize], choices: &[Choice]) -> Result<(), (usize, u32)> {
        for &member in members {
            let lower = self.ready(member);
            self.place(member, lower, choices[member]);
            for link in self.before(member).iter().filter(|link| link.max != NEVER) {
                let slack = self.finish(link.other) + link.max;
                if self.start[member] > slack {
                    return Err((link.other, self.start[link.other] + self.start[member] - slack));
                }
            }
        }
        for span in 0..self.net.spans.len() {
            self.open_span(span, members)?;
        }
        Ok(())
    }

    /// Keeps an open dwell of this block watched and dry work out of it.
    fn open_span(&mut self, span: usize, members: &[usize]) -> Result<(), (usize, u32)> {
        let (first, second) = self.ends(span);
        if !members.contains(&first) {
            return Ok(());
        }
        let need = &self.net.spans[span].need;
        let (from, to) = (self.finish(first), self.start[second]);
        if let Some(end) = self.timeline.last_clash(from, to, need, &self.net.site) {
            return Err((first, self.start[first] + end - from));
        }
        self.occupy_span(span, from, to);
        Ok(())
    }

    /// The two activities around a span, in the direction of generation.
    fn ends(&self, span: usize) -> (usize, usize) {
        let span = &self.net.spans[span];
        match self.direction {
            Direction::Forward => (span.before, span.after),
            Direction::Backward => (span.after, span.before),
        }
    }

    /// Watching loads nobody by itself: the load of those out of sight is compared when they are placed.
    fn occupy_span(&mut self, span: usize, from: u32, to: u32) {
        let bit = 1 << (self.net.count + span);
        self.timeline.occupy((from, to), (Load::default(), 0), bit, &self.net.site);
    }

    fn place_rigidly(&mut self, block: usize) {
        let net = self.net;
        let template = &self.templates[block];
        let members = &net.blocks[block];
        let offsets: Vec<u32> = (0..members.len()).map(|at| self.offset(block, at)).collect();
        let mut origin = 0;
        for (&member, &offset) in members.iter().zip(&offsets) {
            origin = origin.max(self.ready(member).saturating_sub(offset));
        }
        while let Some(later) = self.pushed(template, members, &offsets, origin) {
            origin = later;
        }
        for (at, &member) in members.iter().enumerate() {
            self.occupy(member, origin + offsets[at], template.way[at]);
        }
        for span in 0..net.spans.len() {
            let (first, second) = self.ends(span);
            if members.contains(&first) {
                self.occupy_span(span, self.finish(first), self.start[second]);
            }
        }
    }

    fn offset(&self, block: usize, at: usize) -> u32 {
        let template = &self.templates[block];
        let member = self.net.blocks[block][at];
        let duration = self.net.alternatives[member][template.way[at]].duration;
        match self.direction {
            Direction::Forward => template.start[at],
            Direction::Backward => template.length - template.start[at] - duration,
        }
    }

    /// A later origin for the rigid block, if it does not fit at this one.
    fn pushed(&self, template: &Template, members: &[usize], offsets: &[u32], origin: u32) -> Option<u32> {
        let net = self.net;
        let place = |member: usize| members.iter().position(|&other| other == member);
        for (at, &member) in members.iter().enumerate() {
            let chosen = &net.alternatives[member][template.way[at]];
            let wanted = origin + offsets[at];
            let fits = self.timeline.earliest((wanted, NEVER), chosen.duration, &chosen.need, &net.site);
            if fits != Some(wanted) {
                return Some(origin + fits.map_or(1, |fits| fits - wanted));
            }
        }
        for span in 0..net.spans.len() {
            let (first, second) = self.ends(span);
            let (Some(first), Some(second)) = (place(first), place(second)) else { continue };
            let duration = net.alternatives[members[first]][template.way[first]].duration;
            let (from, to) = (origin + offsets[first] + duration, origin + offsets[second]);
            if let Some(end) = self.timeline.last_clash(from, to, &net.spans[span].need, &net.site) {
                return Some(origin + end - from);
            }
        }
        None
    }
}
