//! Two routes exchange a segment each: relocate, swap and 2-opt* are all of this form.

use super::model::Model;
use super::route::{Route, Stop};
use super::solution::Solution;
use super::timing;

/// `length` visits of a route from the place `at`; a length of 0 is the gap before `at`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Segment {
    pub shift: usize,
    pub at: usize,
    pub length: usize,
}

/// A route cut at a segment.
struct Cut<'a> {
    route: &'a Route,
    shift: usize,
    before: &'a Stop,
    inner: &'a [Stop],
    after: &'a Stop,
    is_tail: bool,
}

impl<'a> Cut<'a> {
    fn new(solution: &'a Solution, segment: Segment) -> Cut<'a> {
        let route = &solution.routes[segment.shift];
        let end = segment.at + 1 + segment.length;
        Cut {
            route,
            shift: segment.shift,
            before: &route.stops[segment.at],
            inner: &route.stops[segment.at + 1..end],
            after: &route.stops[end],
            is_tail: end + 1 == route.stops.len(),
        }
    }

    /// Cost of the ways at both ends of the segment.
    fn ends(&self) -> i32 {
        self.before.onward + self.inner.last().map_or(0, |last| last.onward)
    }

    /// The same with another segment in its place.
    fn ends_with(&self, model: &Model, other: &[Stop]) -> i32 {
        let cost = |from: u32, to: u32| model.leg(from, to).cost;
        match (other.first(), other.last()) {
            (Some(first), Some(last)) => {
                cost(self.before.node, first.node) + cost(last.node, self.after.node)
            }
            _ => cost(self.before.node, self.after.node),
        }
    }

    /// Load above the capacity with another segment in this one's place.
    fn excess_with(&self, model: &Model, segment: Segment, theirs: Segment, other: &Cut) -> i64 {
        let kinds = self.route.load.len();
        let sum = |route: &Route, segment: Segment, kind: usize| {
            let up_to = |at: usize| route.load_up_to[at * kinds + kind];
            up_to(segment.at + segment.length) - up_to(segment.at)
        };
        let excess = |(kind, most): (usize, &i32)| {
            let load =
                self.route.load[kind] - sum(self.route, segment, kind) + sum(other.route, theirs, kind);
            i64::from((load - most).max(0))
        };
        model.shift(self.shift).capacity.iter().enumerate().map(excess).sum()
    }

    /// What the route costs at least with another segment in this one's place.
    fn least_cost_with(&self, model: &Model, other: &Cut) -> i64 {
        if other.inner.is_empty() && self.inner.len() == self.route.len() {
            return 0;
        }
        let travel = |of: &Cut| of.inner.windows(2).map(|pair| i64::from(pair[0].onward)).sum::<i64>();
        let work = |of: &Cut| of.inner.iter().map(|stop| model.work_s(self.shift, stop.node)).sum::<i64>();
        let placing =
            |of: &Cut| of.inner.iter().map(|stop| model.placing_cost(self.shift, stop.node)).sum::<i64>();
        let ends = i64::from(self.ends_with(model, other.inner) - self.ends());
        let change =
            [ends + travel(other) - travel(self), work(other) - work(self), placing(other) - placing(self)];
        self.route.least_cost(model, self.shift, change)
    }

    /// Whether there is time for another segment in this one's place.
    fn has_time_for(&self, model: &Model, other: &Cut) -> bool {
        let mut clock = self.before.depart_s;
        let mut at = self.before.node;
        if let Some(first) = other.inner.first()
            && other.is_tail
            && self.is_tail
            && model.same_kind(self.shift, other.shift)
        {
            return clock + model.leg(at, first.node).time_s <= first.latest_s;
        }
        for stop in other.inner {
            let arrival = clock + model.leg(at, stop.node).time_s;
            let Some((_, finish)) =
                model.service(self.shift, stop.node).and_then(|service| service.at(arrival))
            else {
                return false;
            };
            clock = finish;
            at = stop.node;
        }
        clock + model.leg(at, self.after.node).time_s <= self.after.latest_s
    }
}

/// What exchanging two segments of different routes changes in cost, if it is less than nothing and possible.
pub fn gain(model: &Model, solution: &Solution, one: Segment, other: Segment) -> Option<i64> {
    if !model.plain {
        return gain_timed(model, solution, one, other);
    }
    let (a, b) = (Cut::new(solution, one), Cut::new(solution, other));
    let travel = a.ends_with(model, b.inner) + b.ends_with(model, a.inner) - a.ends() - b.ends();
    let before = a.route.excess + b.route.excess;
    if i64::from(travel) >= before * solution.penalty {
        return None;
    }
    let after = a.excess_with(model, one, other, &b) + b.excess_with(model, other, one, &a);
    if after > 0 && solution.penalty == 0 {
        return None;
    }
    let change = i64::from(travel) + (after - before) * solution.penalty;
    (change < 0 && a.has_time_for(model, &b) && b.has_time_for(model, &a)).then_some(change)
}

/// By the cost of both whole rounds, where what is known without times leaves hope.
fn gain_timed(model: &Model, solution: &Solution, one: Segment, other: Segment) -> Option<i64> {
    let (a, b) = (Cut::new(solution, one), Cut::new(solution, other));
    let before = a.route.cost + b.route.cost;
    let stays = |cut: &Cut| cut.inner.iter().any(|stop| model.stays(stop.node));
    let excess = || a.excess_with(model, one, other, &b) + b.excess_with(model, other, one, &a);
    if a.least_cost_with(model, &b) + b.least_cost_with(model, &a) >= before
        || !a.has_time_for(model, &b)
        || !b.has_time_for(model, &a)
        || stays(&a)
        || stays(&b)
        || excess() > 0
    {
        return None;
    }
    let cost = |mine: &Cut, at: Segment, theirs: &Cut| {
        let nodes = mine.route.visits().take(at.at).chain(theirs.inner.iter().map(|stop| stop.node));
        let mut nodes = nodes.chain(mine.route.visits().skip(at.at + at.length)).peekable();
        let is_empty = nodes.peek().is_none();
        if is_empty { Some(0) } else { timing::cost(model, mine.shift, nodes, &solution.pins) }
    };
    let change = cost(&a, one, &b)? + cost(&b, other, &a)? - before;
    (change < 0).then_some(change)
}

pub fn apply(model: &Model, solution: &mut Solution, one: Segment, other: Segment) {
    let with = |mine: Segment, theirs: Segment| -> Vec<u32> {
        let mut nodes: Vec<u32> = solution.routes[mine.shift].visits().collect();
        let inner = solution.routes[theirs.shift].visits().skip(theirs.at).take(theirs.length);
        nodes.splice(mine.at..mine.at + mine.length, inner);
        nodes
    };
    let (a, b) = (with(one, other), with(other, one));
    solution.replace(model, one.shift, &a);
    solution.replace(model, other.shift, &b);
}
