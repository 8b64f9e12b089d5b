//! The least cost by trying everything: every assignment, order, refill and break, every common start.

use super::random_case::{Case, STEP};
use domain::dispatch::search::Link;
use std::collections::BTreeMap;

/// Where nothing is possible.
const NEVER: i64 = i64::MAX / 8;

pub fn least_cost(case: &Case) -> i64 {
    let pair = case.parts.links.iter().find_map(|link| match *link {
        Link::Together { one, other } => Some([one, other]),
        _ => None,
    });
    let mut least = Search::new(case, None).assign(0);
    if let Some(nodes) = pair {
        // Both at once, at every time of the grid; or neither, which is above.
        for start in (0..48 * 3600).step_by(STEP as usize) {
            let can = |node: u32| {
                case.works
                    .iter()
                    .any(|of| of[node as usize].as_ref().is_some_and(|w| w.finish_of(start).is_some()))
            };
            if nodes.iter().all(|&node| can(node)) {
                least = least.min(Search::new(case, Some((nodes, start))).assign(0));
            }
        }
    }
    least
}

struct Search<'a> {
    case: &'a Case,
    /// Two visits at once, and when.
    together: Option<([u32; 2], i32)>,
    shift_of: Vec<Option<usize>>,
    known: BTreeMap<(usize, u32), i64>,
}

impl Search<'_> {
    fn new(case: &Case, together: Option<([u32; 2], i32)>) -> Search<'_> {
        Search { case, together, shift_of: vec![None; case.parts.nodes.len()], known: BTreeMap::new() }
    }

    fn pin(&self, node: u32) -> Option<i32> {
        let frozen =
            self.case.parts.frozen.iter().find(|frozen| frozen.node == node).map(|frozen| frozen.start_s);
        frozen.or(self.together.filter(|(nodes, _)| nodes.contains(&node)).map(|(_, start)| start))
    }

    /// Cost of the best way to go on from the node `nth`.
    fn assign(&mut self, nth: usize) -> i64 {
        let parts = &self.case.parts;
        if nth == parts.nodes.len() {
            return self.cost();
        }
        let node = nth as u32;
        let frozen =
            parts.frozen.iter().find(|frozen| frozen.node == node).map(|frozen| frozen.shift as usize);
        let linked =
            parts.links.iter().any(|l| matches!(l, Link::Together { .. }) && l.nodes().contains(&node));
        let (must, may_not) =
            (frozen.is_some() || self.together.is_some() && linked, self.together.is_none() && linked);
        let mut least = NEVER;
        if !must {
            self.shift_of[nth] = None;
            least = self.assign(nth + 1);
        }
        for shift in 0..parts.shifts.len() {
            if may_not || frozen.is_some_and(|only| only != shift) {
                continue;
            }
            self.shift_of[nth] = Some(shift);
            least = least.min(self.assign(nth + 1));
        }
        self.shift_of[nth] = None;
        least
    }

    fn cost(&mut self) -> i64 {
        let parts = &self.case.parts;
        let Some(mut cost) = self.link_cost() else { return NEVER };
        let mut used = Vec::new();
        for shift in 0..parts.shifts.len() {
            let set = (0..parts.nodes.len())
                .filter(|&node| self.shift_of[node] == Some(shift))
                .fold(0, |set, node| set | 1 << node);
            if set == 0 {
                continue;
            }
            if parts.shifts[shift].resources.iter().any(|resource| used.contains(resource)) {
                return NEVER;
            }
            used.extend(&parts.shifts[shift].resources);
            let known = self.known.get(&(shift, set)).copied();
            let round = known.unwrap_or_else(|| self.round(shift, set));
            self.known.insert((shift, set), round);
            if round >= NEVER {
                return NEVER;
            }
            cost += round;
        }
        let skipped = parts.nodes.iter().zip(&self.shift_of).filter(|(_, shift)| shift.is_none());
        cost + skipped.map(|(node, _)| node.skip_cost).sum::<i64>()
    }

    fn link_cost(&self) -> Option<i64> {
        let parts = &self.case.parts;
        let of = |node: u32| self.shift_of[node as usize].map(|shift| &parts.shifts[shift]);
        let mut cost = 0;
        for link in &parts.links {
            match *link {
                Link::After { first, then, least, most } => match (of(first), of(then)) {
                    (None, Some(_)) => return None,
                    (Some(a), Some(b)) if b.day < a.day + least || b.day > a.day + most => return None,
                    _ => {}
                },
                Link::Together { one, other } => {
                    let [one, other] = [one, other].map(|node| self.shift_of[node as usize]);
                    if one.is_some() != other.is_some() || one.is_some() && one == other {
                        return None;
                    }
                }
                Link::SamePerson { one, other, cost: parted } => {
                    if let (Some(a), Some(b)) = (of(one), of(other))
                        && !a.crew.iter().any(|person| b.crew.contains(person))
                    {
                        cost += parted;
                    }
                }
            }
        }
        Some(cost)
    }

    /// The cheapest order of a set of visits in a shift.
    fn round(&self, shift: usize, set: u32) -> i64 {
        let parts = &self.case.parts;
        let spec = &parts.shifts[shift];
        let inside = |node: &usize| set >> node & 1 == 1;
        let nodes: Vec<usize> = (0..parts.nodes.len()).filter(inside).collect();
        if nodes.iter().map(|&node| parts.nodes[node].load[0]).sum::<i32>() > spec.capacity[0] {
            return NEVER;
        }
        let placing: i64 =
            nodes.iter().map(|&node| parts.placing.get(shift).map_or(0, |costs| costs[node])).sum();
        let work: i64 = nodes.iter().map(|&node| i64::from(parts.nodes[node].work_s)).sum();
        let fairness = parts.fairness * i64::from(spec.people) * work * work / (3600 * 3600);
        let state =
            State { at: spec.start, clock: spec.opens_s, water: spec.tank, rested: spec.rest.is_none() };
        let mut least = NEVER;
        self.drive(shift, set, state, 0, &mut least);
        if least >= NEVER { NEVER } else { least + placing + fairness + spec.fixed_cost }
    }

    fn drive(&self, shift: usize, left: u32, state: State, cost: i64, least: &mut i64) {
        let spec = &self.case.parts.shifts[shift];
        if cost >= *least {
            return;
        }
        if let Some(rested) = state.rest(spec.rest) {
            self.go(shift, left, rested, cost, least);
        }
        self.go(shift, left, state, cost, least);
    }

    /// On the road: straight, or by way of the refill place.
    fn go(&self, shift: usize, left: u32, state: State, cost: i64, least: &mut i64) {
        self.reach(shift, left, state, cost, least);
        let spec = &self.case.parts.shifts[shift];
        if let Some(refill) = spec.refill
            && state.water < spec.tank
        {
            let (ways, time) = self.leg(state.at, refill.node);
            let full = State {
                at: refill.node,
                clock: state.clock + time + refill.length_s,
                water: spec.tank,
                ..state
            };
            self.reach(shift, left, full, cost + ways + refill.cost, least);
        }
    }

    fn leg(&self, from: u32, to: u32) -> (i64, i32) {
        let leg = self.case.parts.legs[from as usize * (self.case.parts.nodes.len() + 2) + to as usize];
        (i64::from(leg.cost), leg.time_s)
    }

    fn reach(&self, shift: usize, left: u32, state: State, cost: i64, least: &mut i64) {
        let parts = &self.case.parts;
        let spec = &parts.shifts[shift];
        if left == 0 {
            let (ways, time) = self.leg(state.at, spec.end);
            let back = state.clock + time;
            let rested = state.rested || spec.rest.is_none_or(|rest| back <= rest.to_s);
            if back <= spec.last_s && rested {
                let overtime = i64::from((back - spec.closes_s).max(0)) * spec.overtime_cost_per_s;
                *least = (*least).min(cost + ways + overtime);
            }
            return;
        }
        for node in (0..parts.nodes.len()).filter(|node| left >> node & 1 == 1) {
            let (ways, time) = self.leg(state.at, node as u32);
            let there = State { at: node as u32, clock: state.clock + time, ..state };
            for arrived in [Some(there), there.rest(spec.rest)].into_iter().flatten() {
                let Some(work) = &self.case.works[spec.class as usize][node] else { continue };
                let finish = match self.pin(node as u32) {
                    Some(start) if arrived.clock <= start => work.finish_of(start),
                    Some(_) => None,
                    None => work.finish(arrived.clock),
                };
                let Some(finish) = finish.filter(|_| arrived.water >= parts.nodes[node].water) else {
                    continue;
                };
                let after =
                    State { clock: finish, water: arrived.water - parts.nodes[node].water, ..arrived };
                self.drive(shift, left & !(1 << node), after, cost + ways + work.late_cost(finish), least);
            }
        }
    }
}

#[derive(Clone, Copy)]
struct State {
    at: u32,
    clock: i32,
    water: i32,
    rested: bool,
}

impl State {
    fn rest(self, rest: Option<domain::dispatch::search::Break>) -> Option<State> {
        let rest = rest.filter(|_| !self.rested)?;
        let begins = self.clock.max(rest.from_s);
        (begins <= rest.to_s).then(|| State { clock: begins + rest.length_s, rested: true, ..self })
    }
}
