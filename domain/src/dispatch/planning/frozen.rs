//! What stays where it is: frozen visits in their shifts, whatever speaks against them, and departures that are past.

use super::alone::alone;
use super::crews::{Candidate, shift_of};
use super::problem::{Request, RoundsProblem};
use super::spans::{instant, length_s, overtime_s, seconds, service_within};
use crate::dispatch::search::{Break, Event, Frozen, Node, Parts, Service, timeline};

/// The numbers of the search while they are made to hold what stays.
pub struct Keeper<'a> {
    pub(super) problem: &'a RoundsProblem,
    pub(super) candidates: &'a [Candidate],
    pub(super) parts: Parts,
    /// Those of the classes after the ones of vans and crews.
    pub(super) own: Vec<OwnClass>,
    pub(super) faults: Vec<String>,
    /// How many classes of vans and crews there are.
    shared: usize,
}

/// The class of a single shift, in which visits that are not frozen there are served otherwise than in the class of its
/// van and crew.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OwnClass {
    /// Not at all.
    Closed,
    /// In the hours of its crew and their longest overtime, as only what is frozen goes beyond them.
    InHours { shift: usize, class: usize },
}

/// A visit in the hours of a candidate's crew.
pub fn service_in_hours(
    problem: &RoundsProblem,
    candidate: &Candidate,
    request: &Request,
) -> Option<Service> {
    let at = |time| seconds(problem, candidate.on.and_time(time));
    let mut hours: Vec<(i32, i32)> =
        candidate.hours.iter().map(|span| (at(span.from), at(span.to))).collect();
    if let Some((_, closes_s)) = hours.last_mut() {
        *closes_s += overtime_s(problem);
    }
    service_within(problem, request, candidate.doer(problem, request), &hours)
}

/// No frozen visit begins later than this, some 17 years from the first day: sums of seconds stay within bounds.
const LATEST_S: i32 = i32::MAX / 4;

impl<'a> Keeper<'a> {
    pub fn new(
        problem: &'a RoundsProblem,
        candidates: &'a [Candidate],
        parts: Parts,
        faults: Vec<String>,
    ) -> Keeper<'a> {
        let shared = parts.services.len();
        let mut keeper = Keeper { problem, candidates, parts, own: Vec::new(), faults, shared };
        for (shift, _) in candidates.iter().enumerate().filter(|(_, candidate)| candidate.closed) {
            keeper.close(shift);
        }
        keeper
    }

    /// Puts frozen visits into their shifts, parts shifts that share a van or a person, and lets nobody depart in the
    /// past.
    pub fn keep(&mut self) {
        self.freeze();
        self.part_sharing_shifts();
        self.depart_from_now();
    }

    fn freeze(&mut self) {
        let problem = self.problem;
        for (nth, request) in problem.requests.iter().enumerate() {
            let Some(published) = request.published.as_ref().filter(|published| published.frozen) else {
                continue;
            };
            match shift_of(problem, self.candidates, published) {
                Some(shift) => self.parts.frozen.push(Frozen {
                    node: nth as u32,
                    shift: shift as u32,
                    start_s: seconds(problem, published.start),
                }),
                None => self.faults.push(format!(
                    "{}: its van {} or its crew of {} is not known here, so the visit could not be kept there.",
                    request.visit.job,
                    published.van,
                    published.start.date()
                )),
            }
        }
        self.parts.frozen.sort_by_key(|frozen| (frozen.shift, frozen.start_s, frozen.node));
        for shift in self.shifts_with_frozen() {
            self.keep_in(shift);
        }
    }

    /// Ascending.
    pub(super) fn shifts_with_frozen(&self) -> Vec<usize> {
        let mut shifts: Vec<usize> = self.parts.frozen.iter().map(|frozen| frozen.shift as usize).collect();
        shifts.dedup();
        shifts
    }

    fn frozen_in(&self, shift: usize) -> impl Iterator<Item = &Frozen> {
        self.parts.frozen.iter().filter(move |frozen| frozen.shift as usize == shift)
    }

    fn keep_in(&mut self, shift: usize) {
        self.serve_in_turn(shift);
        if self.returns(shift).is_none() {
            self.ease(shift);
            self.keep_hours(shift);
        }
    }

    /// Each at its start. Where the van is still on the way by then, the visit stays in its round and begins as soon as
    /// it can, so that nothing else is put there.
    fn serve_in_turn(&mut self, shift: usize) {
        let (class, people) = (self.parts.shifts[shift].class as usize, self.parts.shifts[shift].people);
        let mut before: Option<(u32, i32)> = None;
        for nth in 0..self.parts.frozen.len() {
            let Frozen { node, start_s, .. } = self.parts.frozen[nth];
            if self.parts.frozen[nth].shift as usize != shift {
                continue;
            }
            let request = &self.problem.requests[node as usize];
            let length_s = length_s(request, people, instant(self.problem, start_s));
            let reached_s =
                before.map_or(start_s, |(at, left_s)| left_s.saturating_add(self.way_s(at, node)));
            let begins_s = start_s.max(reached_s).min(LATEST_S);
            if begins_s - start_s >= 60 {
                self.faults.push(format!(
                    "{}: it is set to {}, but its van cannot be there before {}; it stays in its round, that much \
                     later.",
                    request.visit.job,
                    instant(self.problem, start_s),
                    instant(self.problem, begins_s)
                ));
            }
            self.parts.frozen[nth].start_s = begins_s;
            self.parts.services[class][node as usize] = Some(Service::fixed(begins_s, begins_s, length_s));
            before = Some((node, begins_s + length_s));
        }
    }

    /// Without rests, with as much overtime, water and load as it takes: what is frozen has been decided. The shift is
    /// eased no further than that, as others may be put beside it.
    fn ease(&mut self, shift: usize) {
        let usual = self.parts.shifts[shift].clone();
        let nodes: Vec<usize> = self.frozen_in(shift).map(|frozen| frozen.node as usize).collect();
        let needs: Vec<Node> = nodes.iter().map(|&node| self.parts.nodes[node].clone()).collect();
        for &node in &nodes {
            self.parts.nodes[node].water = 0;
            self.parts.nodes[node].load.fill(0);
        }
        let departs_s = self.departure(shift).unwrap_or(usual.opens_s);
        let eased = &mut self.parts.shifts[shift];
        eased.rests.clear();
        eased.opens_s = usual.opens_s.min(departs_s);
        eased.last_s = i32::MAX / 2;
        let returns_s = loop {
            match self.returns(shift) {
                Some(returns_s) => break returns_s,
                None => self.give_up_last(shift),
            }
        };
        self.parts.shifts[shift].last_s = usual.last_s.max(returns_s);
        for (node, needs) in nodes.into_iter().zip(needs) {
            let eased = std::mem::replace(&mut self.parts.nodes[node], needs);
            if self.returns(shift).is_none() {
                self.parts.nodes[node] = eased;
            }
        }
        self.rest_where_possible(shift, usual.rests);
    }

    /// Only where numbers run over: see [`LATEST_S`].
    fn give_up_last(&mut self, shift: usize) {
        let Some(nth) = self.parts.frozen.iter().rposition(|frozen| frozen.shift as usize == shift) else {
            return;
        };
        let node = self.parts.frozen.remove(nth).node as usize;
        let class = self.parts.shifts[shift].class as usize;
        self.parts.services[class][node] = None;
        self.faults.push(format!(
            "{}: it cannot be kept beside the other visits of its van.",
            self.problem.requests[node].visit.job
        ));
    }

    /// Gives a shift those of these rests that its frozen visits leave time for, the first ones first.
    pub(super) fn rest_where_possible(&mut self, shift: usize, rests: Vec<Break>) {
        self.parts.shifts[shift].rests.clear();
        for rest in rests {
            self.parts.shifts[shift].rests.push(rest);
            if self.returns(shift).is_none() {
                self.parts.shifts[shift].rests.pop();
            }
        }
    }

    /// A shift that was eased serves others in its crew's hours still.
    fn keep_hours(&mut self, shift: usize) {
        let class = self.parts.shifts[shift].class as usize;
        if class >= self.shared {
            return;
        }
        let candidate = &self.candidates[shift];
        let in_hours = |(nth, service): (usize, &Option<Service>)| {
            service
                .as_ref()
                .and_then(|_| service_in_hours(self.problem, candidate, &self.problem.requests[nth]))
        };
        let row: Vec<Option<Service>> = self.parts.services[class].iter().enumerate().map(in_hours).collect();
        self.give_class(shift, row, OwnClass::InHours { shift, class });
    }

    /// From now on the shift serves nothing but its frozen visits.
    pub(super) fn close(&mut self, shift: usize) {
        let row = vec![None; self.parts.nodes.len()];
        self.give_class(shift, row, OwnClass::Closed);
    }

    /// Gives a shift a class of its own, in which its frozen visits are served as before.
    fn give_class(&mut self, shift: usize, mut row: Vec<Option<Service>>, own: OwnClass) {
        let class = self.parts.shifts[shift].class as usize;
        for frozen in self.frozen_in(shift) {
            let node = frozen.node as usize;
            row[node].clone_from(&self.parts.services[class][node]);
        }
        match class.checked_sub(self.shared).and_then(|nth| self.own.get_mut(nth)) {
            Some(known) => {
                *known = own;
                self.parts.services[class] = row;
            }
            None => {
                self.parts.shifts[shift].class = self.parts.services.len() as u32;
                self.parts.services.push(row);
                self.own.push(own);
            }
        }
    }

    pub(super) fn way_s(&self, from: u32, to: u32) -> i32 {
        self.parts.legs[from as usize * self.parts.legs.len().isqrt() + to as usize].time_s
    }

    /// When the shift has to depart for its first frozen visit.
    pub(super) fn departure(&self, shift: usize) -> Option<i32> {
        let first = self.frozen_in(shift).next()?;
        Some(first.start_s - self.way_s(self.parts.shifts[shift].start, first.node))
    }

    /// What the frozen visits of a shift take of each kind of load.
    pub(super) fn carried(&self, shift: usize) -> Vec<i32> {
        let mut sum = vec![0_i32; self.parts.shifts[shift].capacity.len()];
        for frozen in self.frozen_in(shift) {
            let load = &self.parts.nodes[frozen.node as usize].load;
            sum.iter_mut().zip(load).for_each(|(sum, load)| *sum = sum.saturating_add(*load));
        }
        sum
    }

    /// When the shift is back from its frozen visits alone; none where it cannot serve them.
    pub(super) fn returns(&self, shift: usize) -> Option<i32> {
        let (nodes, pins): (Vec<u32>, Vec<Option<i32>>) =
            self.frozen_in(shift).map(|frozen| (frozen.node, Some(frozen.start_s))).unzip();
        let capacity = &self.parts.shifts[shift].capacity;
        if self.carried(shift).iter().zip(capacity).any(|(load, most)| load > most) {
            return None;
        }
        let driven = timeline(&alone(&self.parts, shift, &nodes), 0, 0..nodes.len() as u32, &pins)?;
        driven.events.iter().find_map(|event| match *event {
            Event::Return { arrives_s } => Some(arrives_s),
            _ => None,
        })
    }
}
