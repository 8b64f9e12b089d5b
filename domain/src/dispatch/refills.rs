//! Where a van fills up on its round.
//!
//! The order and the starts of its visits are given. What is left to choose is on which ways to fill up, and at which
//! place: so that least water is short, then visits are late by least, then least time goes by on the road and filling.
//! Labels (time, water in the tank, what it has cost) are carried from visit to visit, and one that is nowhere better
//! than another is dropped. Of the others at most [`MOST_LABELS`] go on from each visit, those that have cost least. As
//! each of them may fill up on the next way, no water is short because of that bound.

use super::problem::{Refill, Van, Visit, usable};
use super::rounds::Times;
use super::ways::Ways;
use super::{DayProblem, Place};
use chrono::NaiveDateTime;

/// Labels that go on from a visit (assumption: the round of a day has a handful).
const MOST_LABELS: usize = 64;

/// What counts, the first first.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Cost {
    pub short_ml: i64,
    pub late_s: i64,
    /// On the road and filling up.
    pub busy_s: i64,
}

impl std::ops::Add for Cost {
    type Output = Cost;

    fn add(self, more: Cost) -> Cost {
        Cost {
            short_ml: self.short_ml.saturating_add(more.short_ml),
            late_s: self.late_s.saturating_add(more.late_s),
            busy_s: self.busy_s.saturating_add(more.busy_s),
        }
    }
}

impl Cost {
    /// What it costs to come to a visit at this time with so much water.
    pub(super) fn of_visit(day: &DayProblem, van: &Van, visit: &Visit, tank_l: f64, times: &Times) -> Cost {
        let due = visit.promised.map_or(visit.window_to, |told| told.to.min(visit.window_to));
        let after_start = visit.start.map_or(0, |start| seconds(start, times.starts_at));
        Cost {
            short_ml: (day.short_l(van, visit, tank_l) * 1000.0).ceil() as i64,
            late_s: after_start.max(0) + seconds(due, times.finishes_at).max(0),
            busy_s: 0,
        }
    }

    pub(super) fn busy(from: NaiveDateTime, to: NaiveDateTime) -> Cost {
        Cost { busy_s: seconds(from, to), ..Cost::default() }
    }
}

fn seconds(from: NaiveDateTime, to: NaiveDateTime) -> i64 {
    (to - from).num_seconds()
}

/// The round up to some place.
#[derive(Debug, Clone, Copy)]
struct Label {
    clock: NaiveDateTime,
    tank_l: f64,
    cost: Cost,
    /// The last filling, by its place in the record.
    filling: Option<usize>,
}

/// On the way to which visit a label has filled up and where, and the filling before that.
struct Filling<'a> {
    visit: usize,
    refill: &'a Refill,
    before: Option<usize>,
}

/// What there is to fill up at on the way to each of these visits.
pub(super) fn refills<'a>(
    day: &DayProblem,
    ways: Ways,
    van: &'a Van,
    visits: &[&Visit],
    departs_at: NaiveDateTime,
) -> Vec<Option<&'a Refill>> {
    let (full_l, reserve_l) = (usable(van.tank_l), day.reserve_l(van));
    let mut thirst_l: f64 = visits.iter().map(|visit| visit.tank_need_l()).sum();
    let mut labels = vec![Label { clock: departs_at, tank_l: full_l, cost: Cost::default(), filling: None }];
    let mut record: Vec<Filling> = Vec::new();
    let mut at = day.base_of(van);
    for (nth, visit) in visits.iter().enumerate() {
        let minutes = |from: &Place, to: &Place| ways.between(from, to).1;
        let by_way_of =
            |refill: &'a Refill| (refill, minutes(&at, &refill.place), minutes(&refill.place, &visit.place));
        let detours: Vec<(&Refill, f64, f64)> = van.places_to_refill().map(by_way_of).collect();
        let direct_min = minutes(&at, &visit.place);
        let mut next = Vec::new();
        for label in labels {
            admit(&mut next, label.serve(day, van, visit, direct_min));
            // Full, or with all in the tank that is still needed, nothing is won.
            if label.tank_l >= full_l || label.tank_l - reserve_l >= thirst_l {
                continue;
            }
            for &(refill, there_min, on_min) in &detours {
                let filled = label.fill(refill, there_min, full_l, record.len());
                record.push(Filling { visit: nth, refill, before: label.filling });
                admit(&mut next, filled.serve(day, van, visit, on_min));
            }
        }
        labels = next;
        thirst_l -= visit.tank_need_l();
        at = visit.place;
    }
    let mut chosen = vec![None; visits.len()];
    let mut filling = labels.first().and_then(|best| best.filling);
    while let Some(Filling { visit, refill, before }) = filling.and_then(|nth| record.get(nth)) {
        chosen[*visit] = Some(*refill);
        filling = *before;
    }
    chosen
}

impl Label {
    fn serve(self, day: &DayProblem, van: &Van, visit: &Visit, travel_min: f64) -> Label {
        let times = Times::of_visit(visit, self.clock, travel_min);
        let cost = self.cost + Cost::busy(self.clock, times.arrives_at);
        Label {
            clock: times.finishes_at,
            tank_l: (self.tank_l - visit.tank_need_l()).max(0.0),
            cost: cost + Cost::of_visit(day, van, visit, self.tank_l, &times),
            ..self
        }
    }

    fn fill(self, refill: &Refill, travel_min: f64, full_l: f64, filling: usize) -> Label {
        let clock = Times::of_refill(refill, self.clock, travel_min).finishes_at;
        let cost = self.cost + Cost::busy(self.clock, clock);
        Label { clock, tank_l: full_l, cost, filling: Some(filling) }
    }

    fn dominates(&self, other: &Label) -> bool {
        self.clock <= other.clock && self.tank_l >= other.tank_l && self.cost <= other.cost
    }
}

/// Keeps what no other label beats, the cheapest first, so that answers do not depend on chance.
fn admit(labels: &mut Vec<Label>, label: Label) {
    if labels.iter().any(|other| other.dominates(&label)) {
        return;
    }
    labels.retain(|other| !label.dominates(other));
    let at = labels.partition_point(|other| (other.cost, other.clock) <= (label.cost, label.clock));
    labels.insert(at, label);
    labels.truncate(MOST_LABELS);
}
