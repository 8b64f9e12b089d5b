//! When a round's visits begin and end, with its rests and its refill stops, at the least cost.
//!
//! Leaving as early as possible is never worse, for every later stop (see [`super::service`]). What is left to decide
//! is where to rest and where to fill up: labels (time, water left, rests taken, cost) are carried along the round, and
//! one that is nowhere better than another is dropped.

use super::model::{Break, Model, RefillStop, Shift};
use std::cmp::Reverse;

/// Start and finish of a visit for an arrival, as pinned if it is.
pub fn serve(
    model: &Model,
    shift: usize,
    node: u32,
    arrival_s: i32,
    pins: &[Option<i32>],
) -> Option<(i32, i32)> {
    let service = model.service(shift, node)?;
    match pins.get(node as usize).copied().flatten() {
        Some(pin) if arrival_s <= pin => service.pinned(pin),
        Some(_) => None,
        None => service.at(arrival_s),
    }
}

/// Latest arrival at a visit that lets one leave by a time; far in the past where there is none.
pub fn latest_arrival(model: &Model, shift: usize, node: u32, leave_by_s: i32, pins: &[Option<i32>]) -> i32 {
    let never = i32::MIN / 4;
    let Some(service) = model.service(shift, node) else { return never };
    match pins.get(node as usize).copied().flatten() {
        Some(pin) => service.pinned(pin).filter(|&(_, finish)| finish <= leave_by_s).map_or(never, |_| pin),
        None => service.latest_arrival(leave_by_s).unwrap_or(never),
    }
}

/// What happens on a round, in order.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Event {
    Visit {
        node: u32,
        arrives_s: i32,
        starts_s: i32,
        finishes_s: i32,
    },
    Refill {
        node: u32,
        arrives_s: i32,
        finishes_s: i32,
    },
    /// At a visit before its work, or where the van stands before it drives on.
    Rest {
        starts_s: i32,
        finishes_s: i32,
        on_arrival: bool,
    },
    Return {
        arrives_s: i32,
    },
}

/// A round in time.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Timeline {
    pub events: Vec<Event>,
    pub cost: RouteCost,
}

/// The cost of a round by name.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct RouteCost {
    pub travel: i64,
    pub late: i64,
    pub overtime: i64,
    pub refills: i64,
    pub change: i64,
    pub fairness: i64,
    pub fixed: i64,
}

impl RouteCost {
    pub fn total(&self) -> i64 {
        self.travel + self.late + self.overtime + self.refills + self.change + self.fairness + self.fixed
    }
}

impl std::ops::Add for RouteCost {
    type Output = RouteCost;

    fn add(self, other: RouteCost) -> RouteCost {
        RouteCost {
            travel: self.travel + other.travel,
            late: self.late + other.late,
            overtime: self.overtime + other.overtime,
            refills: self.refills + other.refills,
            change: self.change + other.change,
            fairness: self.fairness + other.fairness,
            fixed: self.fixed + other.fixed,
        }
    }
}

#[derive(Debug, Clone, Copy)]
struct Label {
    time_s: i32,
    water: i32,
    /// How many of the shift's rests have been taken.
    rests: usize,
    travel: i64,
    late: i64,
    refills: i64,
    overtime: i64,
    /// Place in the record of events; unused while only the cost is wanted.
    trail: usize,
}

impl Label {
    fn cost(&self) -> i64 {
        self.travel + self.late + self.refills + self.overtime
    }

    fn dominates(&self, other: &Label) -> bool {
        self.time_s <= other.time_s
            && self.water >= other.water
            && self.rests >= other.rests
            && self.cost() <= other.cost()
    }
}

/// Events as a tree: each with the one before it.
#[derive(Debug, Default)]
struct Record {
    keep: bool,
    events: Vec<(usize, Event)>,
}

impl Record {
    fn add(&mut self, label: &mut Label, event: Event) {
        if self.keep {
            self.events.push((label.trail, event));
            label.trail = self.events.len();
        }
    }
}

/// Cost of serving these nodes in this order in a shift; `None` where it cannot be.
pub fn cost(
    model: &Model,
    shift: usize,
    nodes: impl Iterator<Item = u32> + Clone,
    pins: &[Option<i32>],
) -> Option<i64> {
    walk(model, shift, nodes, pins, &mut Record::default()).map(|(_, cost)| cost.total())
}

/// The round as it is driven.
pub fn timeline(
    model: &Model,
    shift: usize,
    nodes: impl Iterator<Item = u32> + Clone,
    pins: &[Option<i32>],
) -> Option<Timeline> {
    let mut record = Record { keep: true, events: Vec::new() };
    let (label, cost) = walk(model, shift, nodes, pins, &mut record)?;
    let (mut events, mut at) = (Vec::new(), label.trail);
    while at > 0 {
        let (before, event) = record.events[at - 1];
        events.push(event);
        at = before;
    }
    events.reverse();
    Some(Timeline { events, cost })
}

/// Starts that a visit of the round could have, whatever is decided about rests and fillings on the way to it; some of
/// them more than once.
pub fn starts(
    model: &Model,
    shift: usize,
    nodes: impl Iterator<Item = u32> + Clone,
    node: u32,
    pins: &[Option<i32>],
) -> Vec<i32> {
    let mut record = Record { keep: true, events: Vec::new() };
    // What has been served counts, even where the round cannot be driven to its end.
    walk(model, shift, nodes, pins, &mut record);
    let start = |(_, event): &(usize, Event)| match *event {
        Event::Visit { node: served, starts_s, .. } if served == node => Some(starts_s),
        _ => None,
    };
    record.events.iter().filter_map(start).collect()
}

fn walk(
    model: &Model,
    shift: usize,
    nodes: impl Iterator<Item = u32> + Clone,
    pins: &[Option<i32>],
    record: &mut Record,
) -> Option<(Label, RouteCost)> {
    let spec = model.shift(shift);
    let mut cost = RouteCost { fixed: spec.fixed_cost, ..RouteCost::default() };
    let (mut thirst, mut work_s) = (0, 0_i64);
    for node in nodes.clone() {
        let facts = &model.parts.nodes[node as usize];
        thirst += facts.water;
        work_s += model.work_s(shift, node);
        cost.change += model.placing_cost(shift, node);
    }
    cost.fairness = fairness_cost(model.parts.fairness, spec.people, work_s);
    let walk = Walk { model, shift, spec, pins };
    let first = Label {
        time_s: spec.opens_s,
        water: spec.tank,
        rests: 0,
        travel: 0,
        late: 0,
        refills: 0,
        overtime: 0,
        trail: 0,
    };
    let label = if spec.rests.is_empty() && (spec.refills.is_empty() || thirst <= spec.tank) {
        walk.alone(first, nodes, record)?
    } else {
        walk.branching(first, nodes, thirst, record)?
    };
    cost.travel = label.travel;
    cost.late = label.late;
    cost.refills = label.refills;
    cost.overtime = label.overtime;
    Some((label, cost))
}

/// `weight` for each person's hours squared.
pub fn fairness_cost(weight: i64, people: u32, work_s: i64) -> i64 {
    const HOUR_SQUARED: i64 = 3600 * 3600;
    let each = weight * i64::from(people);
    let square = work_s.checked_mul(work_s).and_then(|square| square.checked_mul(each));
    square.map_or_else(
        // Work of many days.
        || (i128::from(work_s) * i128::from(work_s) * i128::from(each) / i128::from(HOUR_SQUARED)) as i64,
        |square| square / HOUR_SQUARED,
    )
}

struct Walk<'a> {
    model: &'a Model,
    shift: usize,
    spec: &'a Shift,
    pins: &'a [Option<i32>],
}

impl Walk<'_> {
    /// Nothing to decide: one label.
    fn alone(
        &self,
        mut label: Label,
        nodes: impl Iterator<Item = u32>,
        record: &mut Record,
    ) -> Option<Label> {
        let mut at = self.spec.start;
        for node in nodes {
            label = self.drive(label, at, node);
            label = self.serve(label, node, record)?;
            at = node;
        }
        self.finish(self.drive(label, at, self.spec.end), record)
    }

    fn branching(
        &self,
        first: Label,
        nodes: impl Iterator<Item = u32>,
        mut thirst: i32,
        record: &mut Record,
    ) -> Option<Label> {
        let (mut labels, mut next) = (vec![first], Vec::new());
        let mut at = self.spec.start;
        for node in nodes {
            for &label in &labels {
                self.ways(label, at, node, thirst, record, &mut next);
            }
            labels.clear();
            for label in next.drain(..) {
                let mut arrived = Some(label);
                while let Some(label) = arrived {
                    if let Some(served) = self.serve(label, node, record) {
                        admit(&mut labels, served);
                    }
                    arrived = self.rest(label, true, record);
                }
            }
            thirst -= self.model.parts.nodes[node as usize].water;
            at = node;
        }
        for &label in &labels {
            self.ways(label, at, self.spec.end, 0, record, &mut next);
        }
        let finished = next.drain(..).filter_map(|label| self.finish(label, record));
        finished.min_by_key(|label| (label.cost(), label.time_s, label.trail))
    }

    /// On to `node`: at once or after one or more rests here, straight or by way of a refill stop.
    fn ways(
        &self,
        label: Label,
        at: u32,
        node: u32,
        thirst: i32,
        record: &mut Record,
        ways: &mut Vec<Label>,
    ) {
        let mut leaves = Some(label);
        while let Some(label) = leaves {
            let first = ways.len();
            ways.push(self.drive(label, at, node));
            let can_fill = label.water < thirst && label.water < self.spec.tank;
            for refill in self.spec.refills.iter().filter(|_| can_fill) {
                let full = self.fill_up(label, at, node, refill, record);
                // Another place may be nearer and no dearer.
                if !ways[first..].iter().any(|other| other.dominates(&full)) {
                    ways.push(full);
                }
            }
            leaves = self.rest(label, false, record);
        }
    }

    fn drive(&self, mut label: Label, from: u32, to: u32) -> Label {
        let leg = self.model.leg(from, to);
        label.time_s = label.time_s.saturating_add(leg.time_s);
        label.travel += i64::from(leg.cost);
        label
    }

    fn fill_up(&self, label: Label, at: u32, node: u32, refill: &RefillStop, record: &mut Record) -> Label {
        let mut label = self.drive(label, at, refill.node);
        let arrives_s = label.time_s;
        label.time_s = arrives_s.saturating_add(refill.length_s);
        label.water = self.spec.tank;
        label.refills += refill.cost;
        let finishes_s = label.time_s;
        record.add(&mut label, Event::Refill { node: refill.node, arrives_s, finishes_s });
        self.drive(label, refill.node, node)
    }

    /// The next rest, if it may begin now; it waits for the first moment at which it may.
    fn rest(&self, mut label: Label, on_arrival: bool, record: &mut Record) -> Option<Label> {
        let &Break { from_s, to_s, length_s } = self.spec.rests.get(label.rests)?;
        let starts_s = label.time_s.max(from_s);
        if starts_s > to_s {
            return None;
        }
        label.time_s = starts_s + length_s;
        label.rests += 1;
        let finishes_s = label.time_s;
        record.add(&mut label, Event::Rest { starts_s, finishes_s, on_arrival });
        Some(label)
    }

    fn serve(&self, mut label: Label, node: u32, record: &mut Record) -> Option<Label> {
        let water = self.model.parts.nodes[node as usize].water;
        if water > label.water {
            return None;
        }
        let service = self.model.service(self.shift, node)?;
        let (starts_s, finishes_s) = serve(self.model, self.shift, node, label.time_s, self.pins)?;
        let arrives_s = label.time_s;
        label.time_s = finishes_s;
        label.water -= water;
        label.late += service.late_cost(finishes_s);
        record.add(&mut label, Event::Visit { node, arrives_s, starts_s, finishes_s });
        Some(label)
    }

    /// Back at the depot: in time, and early enough to take there what rests are left.
    fn finish(&self, mut label: Label, record: &mut Record) -> Option<Label> {
        let rests_at_home = self.spec.rests.get(label.rests).is_none_or(|rest| label.time_s <= rest.to_s);
        if label.time_s > self.spec.last_s || !rests_at_home {
            return None;
        }
        label.overtime =
            i64::from((label.time_s - self.spec.closes_s).max(0)) * self.spec.overtime_cost_per_s;
        let arrives_s = label.time_s;
        record.add(&mut label, Event::Return { arrives_s });
        Some(label)
    }
}

/// Keeps what no other label beats; in the order of time, so that answers do not depend on chance.
fn admit(labels: &mut Vec<Label>, label: Label) {
    if labels.iter().any(|other| other.dominates(&label)) {
        return;
    }
    labels.retain(|other| !label.dominates(other));
    let key = |label: &Label| (label.time_s, Reverse(label.water), label.rests);
    let at = labels.partition_point(|other| key(other) <= key(&label));
    labels.insert(at, label);
}
