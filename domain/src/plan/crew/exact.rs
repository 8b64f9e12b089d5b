//! Exact depth-first search forward in time.
//!
//! At a decision time (something finishes, a lag or a release runs out) any set of ready activities may start, most
//! urgent first, then time moves to the next decision. What makes it short:
//! - bounds: critical path and pools of work (see `bounds`) against the best schedule known;
//! - left shift: an activity is not started where it could have been started earlier on the same path;
//! - dominance: a set of started activities reached before, no later and with nothing running longer, is not
//!   searched again (after Demeulemeester & Herroelen 1992, doi 10.1287/mnsc.38.12.1803, "cutset");
//! - twins: of activities equal in everything the one with the smaller index starts first.
//!
//! Why left shift and dominance together lose nothing: a schedule given up by left shift equals or betters itself
//! when the activity starts at the earlier decision time of the same path, and that branch was searched before,
//! because starting something always comes before letting time pass.
//!
//! A maximal lag can make it right to start an activity between decision times, but only so that the lag is tight:
//! its successor is then pinned to the last allowed moment.

use super::bounds::Pool;
use super::decode::Draft;
use super::load::Load;
use super::memo::Memo;
use super::net::{Alternative, NEVER, Net, Span, bits, members};

/// What a search ended with.
#[derive(Debug, Clone)]
pub struct Outcome {
    /// The best schedule shorter than the bound it was given.
    pub best: Option<Draft>,
    /// Whether every shorter schedule was ruled out.
    pub complete: bool,
    pub nodes: u64,
}

/// Share of the gap between bound and best, in eighths, asked for in each stage, and the share in percent of the
/// nodes left that the stage may use (tuned on generated jobs and on the j30 and j60 sets).
const STAGES: [(u32, u64); 4] = [(1, 10), (2, 20), (4, 30), (8, 100)];

/// Betters `best` and `lower_bound` until they meet or `nodes` are used, and returns the nodes used.
///
/// A makespan near the lower bound is asked for first, since that is soon found or ruled out, then longer ones.
/// With maximal lags each question is put without starts between decision times, which is quick but proves
/// nothing, then as it is.
pub fn improve(net: &Net, pools: &[Pool], best: &mut Draft, lower_bound: &mut u32, nodes: u64) -> u64 {
    let mut left = nodes;
    for (eighths, percent) in STAGES {
        let mut stage = left * percent / 100;
        for between in if net.is_tied() { &[false, true][..] } else { &[true] } {
            let gap = best.makespan - *lower_bound;
            if gap == 0 {
                return nodes - left;
            }
            let bound = *lower_bound + (gap * eighths).div_ceil(8);
            let limit = if *between { stage } else { stage / 3 };
            let search = Search::new(net, pools, everything(net), bound, limit);
            let outcome = Search { between: *between, ..search }.run();
            left -= outcome.nodes;
            stage -= outcome.nodes;
            if let Some(found) = outcome.best {
                *best = found;
            }
            if outcome.complete && *between {
                *lower_bound = bound.min(best.makespan);
            }
        }
    }
    nodes - left
}

/// The same for some of the activities, as if there were no others and no releases.
pub fn search_within(net: &Net, scope: u128, nodes: u64) -> Outcome {
    let mut search = Search::new(net, &[], scope, net.horizon() * 2 + 1, nodes);
    search.ready_at.fill(0);
    search.run()
}

fn everything(net: &Net) -> u128 {
    bits(0..net.count)
}

/// Use of everything at the end of a decision time, until the next.
#[derive(Debug, Clone, Copy)]
struct Level {
    time: u32,
    load: Load,
    active: u128,
}

pub(super) struct Search<'a> {
    net: &'a Net,
    pools: &'a [Pool],
    limit: u64,
    /// Whether tied activities may also start between decision times.
    between: bool,
    nodes: u64,
    bound: u32,
    best: Option<Draft>,
    /// Activities, most urgent first, predecessors before successors.
    rank: Vec<usize>,
    twin: Vec<Option<usize>>,
    /// Activities that a maximal lag or an open dwell follows: starting them earlier is not always better.
    tied: u128,
    deadlines: Vec<Deadline>,
    everything: u128,
    pub(super) started: u128,
    pub(super) running: u128,
    active: u128,
    load: Load,
    start: Vec<u32>,
    pub(super) finish: Vec<u32>,
    pub(super) way: Vec<usize>,
    pub(super) ready_at: Vec<u32>,
    pub(super) latest: Vec<u32>,
    waiting: Vec<usize>,
    pin: Vec<u32>,
    pinned: u128,
    levels: Vec<Level>,
    undo: Vec<(usize, u32, u32)>,
    memo: Memo,
}

/// A maximal lag, and how long at least each activity on the way to its end takes to get there.
struct Deadline {
    before: usize,
    after: usize,
    ways: Vec<(usize, u32)>,
}

impl<'a> Search<'a> {
    /// A search of the activities in `scope`.
    fn new(net: &'a Net, pools: &'a [Pool], scope: u128, bound: u32, limit: u64) -> Search<'a> {
        let mut place = vec![0; net.count];
        for (at, &activity) in net.order.iter().enumerate() {
            place[activity] = at;
        }
        let within = |at: &usize| scope >> *at & 1 == 1;
        let mut rank: Vec<usize> = net.order.iter().copied().filter(within).collect();
        rank.sort_by_key(|&activity| (std::cmp::Reverse(net.tail[activity]), place[activity]));
        let has_max = |&at: &usize| net.succs[at].iter().any(|link| link.max != NEVER);
        Search {
            net,
            pools,
            limit,
            between: true,
            nodes: 0,
            bound,
            best: None,
            rank,
            twin: (0..net.count)
                .map(|at| Some(at).filter(within).and_then(|at| twin(net, at, scope)))
                .collect(),
            tied: bits((0..net.count).filter(has_max)),
            deadlines: deadlines(net, scope),
            everything: scope,
            started: 0,
            running: 0,
            active: 0,
            load: Load::default(),
            start: vec![0; net.count],
            finish: vec![0; net.count],
            way: vec![0; net.count],
            ready_at: net.not_before.clone(),
            latest: vec![NEVER; net.count],
            waiting: net
                .preds
                .iter()
                .map(|links| links.iter().filter(|link| within(&link.other)).count())
                .collect(),
            pin: vec![NEVER; net.count],
            pinned: 0,
            levels: Vec::new(),
            undo: Vec::new(),
            memo: Memo::default(),
        }
    }

    fn run(mut self) -> Outcome {
        let complete = self.branch(0, 0);
        Outcome { best: self.best, complete, nodes: self.nodes.min(self.limit) }
    }

    /// Starts sets of activities from `first` in the ranking at this time, then lets time pass.
    /// False when the nodes are used up.
    fn branch(&mut self, time: u32, first: usize) -> bool {
        if self.started == self.everything {
            self.record();
            return true;
        }
        for at in first..self.rank.len() {
            let activity = self.rank[at];
            if self.is_ready(activity, time) && !self.start_each_way(activity, time, at) {
                return false;
            }
        }
        self.advance(time)
    }

    fn is_ready(&self, activity: usize, time: u32) -> bool {
        self.started >> activity & 1 == 0
            && self.waiting[activity] == 0
            && self.ready_at[activity] <= time
            && self.latest[activity] >= time
            && (self.pin[activity] == NEVER || self.pin[activity] == time)
            && self.twin[activity].is_none_or(|twin| self.started >> twin & 1 == 1)
    }

    fn start_each_way(&mut self, activity: usize, time: u32, at: usize) -> bool {
        let net = self.net;
        for (way, chosen) in net.alternatives[activity].iter().enumerate() {
            let finish = time + chosen.duration;
            if finish + net.post[activity] >= self.bound || !self.admits(activity, chosen) {
                continue;
            }
            let kept = if !self.could_start_earlier(activity, chosen, time) {
                self.step(activity, way, time, at)
            } else if self.tied >> activity & 1 == 1 {
                self.start_pinned(activity, way, time, at)
            } else {
                true
            };
            if !kept {
                return false;
            }
        }
        true
    }

    fn admits(&self, activity: usize, way: &Alternative) -> bool {
        let now = Level { time: 0, load: self.load, active: self.active };
        self.fits(activity, way, &now)
    }

    /// Whether the activity fits beside what is under way; the dwells that it ends itself do not count.
    fn fits(&self, activity: usize, way: &Alternative, level: &Level) -> bool {
        let (need, active) = (&way.need, level.active & !self.net.closes[activity]);
        let more = if active & self.net.site.watched == 0 { need.load } else { need.load_watched };
        way.duration == 0 || active & need.excluded == 0 && level.load.admits(more, self.net.site.capacity)
    }

    /// Whether on this path the activity would have fitted earlier, or for a tied one just before.
    fn could_start_earlier(&self, activity: usize, way: &Alternative, time: u32) -> bool {
        let tied = self.tied >> activity & 1 == 1;
        let mut until = time;
        let mut open_end = true;
        for level in self.levels.iter().rev() {
            if level.time < self.ready_at[activity] {
                // Becoming ready between two decision times is a decision time itself.
                return false;
            }
            if self.fits(activity, way, level) {
                if open_end || until - level.time >= way.duration {
                    return true;
                }
            } else {
                if tied {
                    return false;
                }
                (until, open_end) = (level.time, false);
            }
        }
        false
    }

    /// Starts an activity that could start earlier, for the sake of one of its maximal lags.
    fn start_pinned(&mut self, activity: usize, way: usize, time: u32, at: usize) -> bool {
        let net = self.net;
        let finish = time + net.alternatives[activity][way].duration;
        for link in net.succs[activity].iter().filter(|link| link.max != NEVER) {
            let (other, moment) = (link.other, finish + link.max);
            let free = self.pin[other] == NEVER || self.pin[other] == moment;
            if !free || moment + net.tail[other] >= self.bound {
                continue;
            }
            let (pin, pinned) = (self.pin[other], self.pinned);
            self.pin[other] = moment;
            self.pinned |= 1 << other;
            let kept = self.step(activity, way, time, at);
            (self.pin[other], self.pinned) = (pin, pinned);
            if !kept {
                return false;
            }
        }
        true
    }

    fn step(&mut self, activity: usize, way: usize, time: u32, at: usize) -> bool {
        self.nodes += 1;
        if self.nodes > self.limit {
            return false;
        }
        let (load, active, running, mark) = (self.load, self.active, self.running, self.undo.len());
        let closes = self.begin(activity, way, time);
        let kept = !self.meets_deadlines(time) || self.branch(time, if closes { 0 } else { at + 1 });
        (self.load, self.active, self.running) = (load, active, running);
        self.take_back(activity, mark);
        kept
    }

    /// Starts an activity; true if that closes an open dwell, so that others may have become possible.
    fn begin(&mut self, activity: usize, way: usize, time: u32) -> bool {
        let net = self.net;
        let chosen = &net.alternatives[activity][way];
        let finish = time + chosen.duration;
        (self.start[activity], self.finish[activity], self.way[activity]) = (time, finish, way);
        self.started |= 1 << activity;
        if chosen.duration > 0 {
            self.load = self.load.plus(chosen.need.load);
            self.active |= 1 << activity;
            self.running |= 1 << activity;
        }
        for link in &net.succs[activity] {
            self.undo.push((link.other, self.ready_at[link.other], self.latest[link.other]));
            self.waiting[link.other] -= 1;
            self.ready_at[link.other] = self.ready_at[link.other].max(finish + link.min);
            if link.max != NEVER {
                self.latest[link.other] = self.latest[link.other].min(finish + link.max);
            }
        }
        let closes = self.active & net.closes[activity] != 0;
        self.active &= !net.closes[activity];
        closes
    }

    fn take_back(&mut self, activity: usize, mark: usize) {
        self.started &= !(1 << activity);
        while self.undo.len() > mark {
            if let Some((other, ready_at, latest)) = self.undo.pop() {
                self.waiting[other] += 1;
                (self.ready_at[other], self.latest[other]) = (ready_at, latest);
            }
        }
    }

    fn span_bits(&self, wanted: impl Fn(&Span) -> bool) -> u128 {
        let spans = self.net.spans.iter().enumerate().filter(|(_, span)| wanted(span));
        bits(spans.map(|(at, _)| self.net.count + at))
    }

    /// Lets time pass to the next decision, with starts of tied activities in between.
    fn advance(&mut self, time: u32) -> bool {
        if members(self.pinned & !self.started).any(|at| self.pin[at] <= time) {
            return true;
        }
        let next = self.next_decision(time);
        if next == NEVER {
            return true;
        }
        let over = self.wasted_at(time);
        self.levels.push(Level { time, load: self.load, active: self.active });
        let mut kept = self.start_between(time, next.min(over));
        if kept && over > next {
            kept = self.enter(next);
        }
        self.levels.pop();
        kept
    }

    /// While a tied activity could start, a lag that runs down counts even if its end waits for that activity too.
    fn next_decision(&self, time: u32) -> u32 {
        let mut next = members(self.running).map(|at| self.finish[at]).min().unwrap_or(NEVER);
        let lingers = members(self.tied & !self.started).any(|at| self.is_ready(at, time));
        for at in members(self.everything & !self.started).filter(|&at| lingers || self.waiting[at] == 0) {
            if self.ready_at[at] > time {
                next = next.min(self.ready_at[at]);
            }
        }
        members(self.pinned & !self.started).map(|at| self.pin[at]).fold(next, u32::min)
    }

    /// First time by which an activity that is left lying would have been over: no use waiting that long.
    fn wasted_at(&self, time: u32) -> u32 {
        let left = self.everything & !self.started & !self.tied;
        let mut first = NEVER;
        for at in members(left).filter(|&at| self.is_ready(at, time)) {
            for way in self.net.alternatives[at].iter().filter(|way| self.admits(at, way)) {
                let open = |level: &&Level| level.time >= self.ready_at[at] && self.fits(at, way, level);
                let since = self.levels.iter().rev().take_while(open).last().map_or(time, |level| level.time);
                first = first.min(since + way.duration);
            }
        }
        first.max(time)
    }

    fn start_between(&mut self, time: u32, next: u32) -> bool {
        let tied = self.tied & !self.started;
        if !self.between || !members(tied).any(|at| self.is_ready(at, time)) {
            return true;
        }
        for moment in time + 1..next {
            for at in 0..self.rank.len() {
                let activity = self.rank[at];
                if tied >> activity & 1 == 1
                    && self.is_ready(activity, moment)
                    && !self.start_each_way(activity, moment, at)
                {
                    return false;
                }
            }
        }
        true
    }

    /// Ends what is over by `time` and decides there, unless it is hopeless or was decided before.
    fn enter(&mut self, time: u32) -> bool {
        let late = |at: usize| self.latest[at] < time;
        if members(self.everything & !self.started).any(late) {
            return true;
        }
        let (load, active, running) = (self.load, self.active, self.running);
        self.release(time);
        let mut kept = true;
        if self.is_hopeful(time) && !self.is_dominated(time) {
            kept = self.branch(time, 0);
            if kept && self.pinned & !self.started == 0 {
                let left = self.everything & !self.started;
                let mut memo = std::mem::take(&mut self.memo);
                memo.keep(self, time, left);
                self.memo = memo;
            }
        }
        (self.load, self.active, self.running) = (load, active, running);
        kept
    }

    fn is_dominated(&self, time: u32) -> bool {
        self.memo.dominates(self, time)
    }

    fn release(&mut self, time: u32) {
        for at in members(self.running).filter(|&at| self.finish[at] <= time).collect::<Vec<_>>() {
            let need = &self.net.alternatives[at][self.way[at]].need;
            self.load = self.load.minus(need.load);
            self.active &= !(1 << at);
            self.running &= !(1 << at);
            let started = self.started;
            self.active |= self.span_bits(|span| span.before == at && started >> span.after & 1 == 0);
        }
    }

    /// Whether the bounds leave room for a schedule shorter than the best.
    fn is_hopeful(&self, time: u32) -> bool {
        let left = self.everything & !self.started;
        let in_time = |at| time.max(self.ready_at[at]) + self.net.tail[at] < self.bound;
        members(left).all(in_time) && self.pools.iter().all(|pool| self.is_pool_hopeful(pool, time))
    }

    fn is_pool_hopeful(&self, pool: &Pool, time: u32) -> bool {
        let mut sum = 0;
        for &user in &pool.users {
            let more = if self.started >> user & 1 == 0 {
                pool.work[user]
            } else if self.running >> user & 1 == 1 {
                pool.units[user][self.way[user]] * u64::from(self.finish[user] - time)
            } else {
                continue;
            };
            sum += more;
            let room = i64::from(self.bound) - 1 - i64::from(time) - i64::from(self.net.post[user]);
            if more > 0 && sum as i64 > room * pool.capacity as i64 {
                return false;
            }
        }
        true
    }

    /// Whether everything that has to come before the end of each maximal lag still can.
    fn meets_deadlines(&self, time: u32) -> bool {
        let is_open =
            |lag: &&Deadline| self.started >> lag.before & 1 == 1 && self.started >> lag.after & 1 == 0;
        self.deadlines.iter().filter(is_open).all(|lag| {
            let in_time = |&(at, way): &(usize, u32)| {
                self.started >> at & 1 == 1 || time.max(self.ready_at[at]) + way <= self.latest[lag.after]
            };
            time <= self.latest[lag.after] && lag.ways.iter().all(in_time)
        })
    }

    fn record(&mut self) {
        let makespan = self.finish.iter().copied().max().unwrap_or(0);
        if makespan < self.bound {
            self.bound = makespan;
            self.best = Some(Draft { start: self.start.clone(), way: self.way.clone(), makespan });
        }
    }

    pub(super) fn load_of(&self, activity: usize, way: usize) -> Load {
        self.net.alternatives[activity][way].need.load
    }
}

/// The nearest activity of the scope before this one that could change places with it in every schedule.
fn twin(net: &Net, activity: usize, scope: u128) -> Option<usize> {
    let own_spans = |at: usize| net.spans.iter().any(|span| span.before == at || span.after == at);
    let sorted = |links: &[super::net::Link]| {
        let mut links = links.to_vec();
        links.sort_unstable();
        links
    };
    (0..activity).rev().filter(|other| scope >> other & 1 == 1).find(|&other| {
        let pair = 1_u128 << other | 1 << activity;
        let alike = net.alternatives[other].len() == net.alternatives[activity].len()
            && net.alternatives[other].iter().zip(&net.alternatives[activity]).all(|(one, with)| {
                one.duration == with.duration && one.kinds == with.kinds && one.need.load == with.need.load
            });
        alike
            && net.not_before[other] == net.not_before[activity]
            && net.excluded[other] & !pair == net.excluded[activity] & !pair
            && !own_spans(other)
            && !own_spans(activity)
            && sorted(&net.preds[other]) == sorted(&net.preds[activity])
            && sorted(&net.succs[other]) == sorted(&net.succs[activity])
    })
}

/// The maximal lags among some activities; what lies outside is done by itself and waits for nobody here.
fn deadlines(net: &Net, scope: u128) -> Vec<Deadline> {
    let mut deadlines = Vec::new();
    for before in members(scope) {
        let within = |link: &&super::net::Link| link.max != NEVER && scope >> link.other & 1 == 1;
        for link in net.succs[before].iter().filter(within) {
            let mut ways = ways_to(net, link.other, scope);
            ways.retain(|&(at, _)| at != before && net.after[at] >> before & 1 == 0);
            deadlines.push(Deadline { before, after: link.other, ways });
        }
    }
    deadlines
}

/// Every activity that must come before `end`, with the least time from its start to the start of `end`.
fn ways_to(net: &Net, end: usize, scope: u128) -> Vec<(usize, u32)> {
    let mut longest: Vec<Option<u32>> = vec![None; net.count];
    longest[end] = Some(0);
    for &at in net.order.iter().rev().filter(|&&at| at != end && scope >> at & 1 == 1) {
        let via = net.succs[at].iter().filter_map(|link| longest[link.other].map(|way| link.min + way));
        longest[at] = via.max().map(|way| way + net.shortest(at));
    }
    (0..net.count).filter(|&at| at != end).filter_map(|at| longest[at].map(|way| (at, way))).collect()
}
