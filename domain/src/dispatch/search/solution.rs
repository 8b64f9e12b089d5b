//! Routes of all shifts, and the nodes that none serves. Changes can be taken back.

use super::model::{Link, Model};
use super::route::{Route, Stop};

/// No route, no place.
pub const NOWHERE: u32 = u32::MAX;

#[derive(Debug, Clone)]
pub struct Solution {
    /// One per shift, in the order of the model.
    pub routes: Vec<Route>,
    /// Route of each node.
    pub route_of: Vec<u32>,
    /// Place of each node in its route, from 0.
    pub place_of: Vec<u32>,
    /// Starts that are set: of frozen nodes and of nodes served together.
    pub pins: Vec<Option<i32>>,
    /// Cost of a unit of load above a shift's capacity; 0: nothing goes above it.
    pub penalty: i64,
    /// What is not opened for now, so that others get their turn.
    pub closed: Option<Closed>,
    /// In no order that means anything.
    pub absent: Vec<u32>,
    /// The route that uses each resource.
    user: Vec<u32>,
    versions: u32,
    undo: Undo,
    /// Room for [`Solution::changed_nodes`].
    ways: Vec<(u32, u32)>,
}

/// A shift that is not opened, and whether its people go apart, in any van, if they go at all.
#[derive(Debug, Clone, Copy)]
pub struct Closed {
    pub shift: usize,
    pub apart: bool,
}

impl Closed {
    fn bars(self, model: &Model, shift: usize) -> bool {
        let (own, other) = (model.shift(self.shift), model.shift(shift));
        let together = || own.crew.iter().filter(|person| other.crew.contains(person)).count() > 1;
        shift == self.shift || self.apart && own.day == other.day && together()
    }
}

/// What is needed to take back all changes since [`Solution::keep`].
#[derive(Debug, Clone, Default)]
struct Undo {
    touched: Vec<bool>,
    /// The first `count` hold routes as they were; the others are spare.
    saved: Vec<(usize, Route)>,
    count: usize,
    absent: Vec<u32>,
    pins: Vec<(u32, Option<i32>)>,
}

impl Solution {
    /// All nodes absent but the frozen ones.
    pub fn new(model: &Model) -> Solution {
        let count = model.len();
        let shifts = model.parts.shifts.len();
        let resources = model.parts.shifts.iter().flat_map(|shift| &shift.resources).max();
        let mut solution = Solution {
            routes: (0..shifts).map(|shift| Route::empty(model, shift)).collect(),
            route_of: vec![NOWHERE; count],
            place_of: vec![NOWHERE; count],
            pins: vec![None; count],
            penalty: 0,
            closed: None,
            absent: (0..count as u32).filter(|&node| model.frozen_of[node as usize].is_none()).collect(),
            user: vec![NOWHERE; resources.map_or(0, |&most| most as usize + 1)],
            versions: shifts as u32,
            ways: Vec::new(),
            undo: Undo { touched: vec![false; shifts], ..Undo::default() },
        };
        for (shift, route) in solution.routes.iter_mut().enumerate() {
            route.version = shift as u32;
        }
        for frozen in &model.parts.frozen {
            solution.pins[frozen.node as usize] = Some(frozen.start_s);
            let route = frozen.shift as usize;
            let at = solution.routes[route].len();
            solution.routes[route].insert(at, frozen.node);
            solution.refresh(model, route);
        }
        solution.keep();
        solution
    }

    /// Cost of all routes, of what is left out, and of links between shifts.
    pub fn cost(&self, model: &Model) -> i64 {
        let routes: i64 = self.routes.iter().map(|route| route.cost).sum();
        routes + self.skip_cost(model) + self.link_cost(model)
    }

    pub fn skip_cost(&self, model: &Model) -> i64 {
        self.absent.iter().map(|&node| model.parts.nodes[node as usize].skip_cost).sum()
    }

    pub fn link_cost(&self, model: &Model) -> i64 {
        let cost = |link: &Link| match *link {
            Link::SamePerson { one, other, cost } => {
                let (one, other) = (self.route_of[one as usize], self.route_of[other as usize]);
                if one == NOWHERE || other == NOWHERE || share_person(model, one, other) { 0 } else { cost }
            }
            _ => 0,
        };
        model.parts.links.iter().map(cost).sum()
    }

    /// Shifts with visits.
    pub fn used(&self) -> usize {
        self.routes.iter().filter(|route| !route.is_empty()).count()
    }

    /// Load above capacities.
    pub fn excess(&self) -> i64 {
        self.routes.iter().map(|route| route.excess).sum()
    }

    /// Sets another penalty. Changes can no longer be taken back.
    pub fn set_penalty(&mut self, model: &Model, penalty: i64) {
        self.penalty = penalty;
        for shift in 0..self.routes.len() {
            if !self.routes[shift].is_empty() {
                self.refresh(model, shift);
            }
        }
        self.keep();
    }

    /// Takes over another solution; what can be taken back in this one is lost.
    pub fn copy_from(&mut self, other: &Solution) {
        for (mine, theirs) in self.routes.iter_mut().zip(&other.routes) {
            if mine.version != theirs.version {
                mine.copy_from(theirs);
            }
        }
        self.route_of.clone_from(&other.route_of);
        self.place_of.clone_from(&other.place_of);
        self.pins.clone_from(&other.pins);
        self.absent.clone_from(&other.absent);
        self.user.clone_from(&other.user);
        (self.penalty, self.closed) = (other.penalty, other.closed);
        self.keep();
    }

    /// Makes the present state the one to go back to.
    pub fn keep(&mut self) {
        for nth in 0..self.undo.count {
            self.undo.touched[self.undo.saved[nth].0] = false;
        }
        self.undo.count = 0;
        self.undo.pins.clear();
        self.undo.absent.clone_from(&self.absent);
    }

    /// Goes back to the state last kept.
    pub fn take_back(&mut self, model: &Model) {
        for &(node, pin) in self.undo.pins.iter().rev() {
            self.pins[node as usize] = pin;
        }
        self.undo.pins.clear();
        for nth in 0..self.undo.count {
            let shift = self.undo.saved[nth].0;
            for place in 1..self.routes[shift].stops.len() - 1 {
                self.forget(self.routes[shift].stops[place].node);
            }
            self.mark(model, shift, false);
        }
        for nth in 0..self.undo.count {
            let (shift, saved) = &mut self.undo.saved[nth];
            let shift = *shift;
            std::mem::swap(&mut self.routes[shift], saved);
            self.undo.touched[shift] = false;
        }
        for nth in 0..self.undo.count {
            let shift = self.undo.saved[nth].0;
            self.locate(shift);
            if !self.routes[shift].is_empty() {
                self.mark(model, shift, true);
            }
        }
        self.undo.count = 0;
        self.absent.clone_from(&self.undo.absent);
    }

    /// Routes changed since the state last kept.
    pub fn touched(&self) -> impl Iterator<Item = usize> + '_ {
        self.undo.saved[..self.undo.count].iter().map(|(shift, _)| *shift)
    }

    /// What the changed routes cost more than before.
    pub fn route_change(&self) -> i64 {
        let saved = &self.undo.saved[..self.undo.count];
        saved.iter().map(|(shift, before)| self.routes[*shift].cost - before.cost).sum()
    }

    /// Nodes of changed routes that have another node before or after them than in the state last kept.
    pub fn changed_nodes(&mut self, out: &mut Vec<u32>) {
        self.ways.resize(self.route_of.len(), (NOWHERE, NOWHERE));
        let saved = &self.undo.saved[..self.undo.count];
        for stops in saved.iter().flat_map(|(_, before)| before.stops.windows(3)) {
            self.ways[stops[1].node as usize] = (stops[0].node, stops[2].node);
        }
        for (shift, _) in saved {
            for stops in self.routes[*shift].stops.windows(3) {
                if self.ways[stops[1].node as usize] != (stops[0].node, stops[2].node) {
                    out.push(stops[1].node);
                }
            }
        }
    }

    /// To be called before a route is changed.
    pub fn touch(&mut self, shift: usize) {
        if self.undo.touched[shift] {
            return;
        }
        self.undo.touched[shift] = true;
        if self.undo.saved.len() == self.undo.count {
            self.undo.saved.push((shift, Route::default()));
        }
        let saved = &mut self.undo.saved[self.undo.count];
        saved.0 = shift;
        saved.1.copy_from(&self.routes[shift]);
        self.undo.count += 1;
    }

    pub fn pin(&mut self, node: u32, start_s: Option<i32>) {
        let before = std::mem::replace(&mut self.pins[node as usize], start_s);
        self.undo.pins.push((node, before));
    }

    /// Puts an absent node into a route. The caller refreshes the list of absent nodes.
    pub fn insert(&mut self, model: &Model, shift: usize, at: usize, node: u32) {
        self.touch(shift);
        self.routes[shift].insert(at, node);
        self.refresh(model, shift);
    }

    /// Takes out the nodes of a route that are marked by the test; they are not added to the absent ones.
    pub fn remove(&mut self, model: &Model, shift: usize, leaves: impl Fn(u32) -> bool) {
        self.touch(shift);
        let last = self.routes[shift].stops.len() - 1;
        let mut kept = 1;
        for place in 1..=last {
            let stop = self.routes[shift].stops[place];
            if place < last && leaves(stop.node) {
                self.forget(stop.node);
            } else {
                self.routes[shift].stops[kept] = stop;
                kept += 1;
            }
        }
        self.routes[shift].stops.truncate(kept);
        self.refresh(model, shift);
    }

    /// Gives a route another order or other visits.
    pub fn replace(&mut self, model: &Model, shift: usize, nodes: &[u32]) {
        self.touch(shift);
        let route = &mut self.routes[shift];
        let end = route.stops[route.stops.len() - 1];
        route.stops.truncate(1);
        route.stops.extend(nodes.iter().map(|&node| Stop { node, ..Stop::default() }));
        route.stops.push(end);
        self.refresh(model, shift);
    }

    /// After a change: times, cost, and where the route's nodes are.
    fn refresh(&mut self, model: &Model, shift: usize) {
        let route = &mut self.routes[shift];
        route.refresh(model, shift, &self.pins, self.penalty);
        route.version = if route.is_empty() {
            shift as u32
        } else {
            self.versions += 1;
            self.versions
        };
        self.locate(shift);
        self.mark(model, shift, !self.routes[shift].is_empty());
    }

    fn locate(&mut self, shift: usize) {
        let stops = &self.routes[shift].stops;
        for (place, stop) in stops[1..stops.len() - 1].iter().enumerate() {
            self.route_of[stop.node as usize] = shift as u32;
            self.place_of[stop.node as usize] = place as u32;
        }
    }

    fn forget(&mut self, node: u32) {
        self.route_of[node as usize] = NOWHERE;
        self.place_of[node as usize] = NOWHERE;
    }

    fn mark(&mut self, model: &Model, shift: usize, used: bool) {
        for &resource in &model.shift(shift).resources {
            let user = &mut self.user[resource as usize];
            if used {
                *user = shift as u32;
            } else if *user == shift as u32 {
                *user = NOWHERE;
            }
        }
    }

    /// Whether a shift is used, or could be.
    pub fn may_use(&self, model: &Model, shift: usize) -> bool {
        !self.routes[shift].is_empty() || self.is_free(model, shift)
    }

    /// Whether an empty shift could be used: nobody and nothing of it is in another.
    pub fn is_free(&self, model: &Model, shift: usize) -> bool {
        self.closed.is_none_or(|closed| !closed.bars(model, shift))
            && model.shift(shift).resources.iter().all(|&resource| self.user[resource as usize] == NOWHERE)
    }
}

/// Whether one of the technicians of a shift is also in another.
pub fn share_person(model: &Model, one: u32, other: u32) -> bool {
    let people = |shift: u32| &model.shift(shift as usize).crew;
    people(one).iter().any(|person| people(other).contains(person))
}
