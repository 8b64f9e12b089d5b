//! The least cost without the search: every order of every set of visits in every shift, with every choice of where to
//! rest and where to fill up; then every way to give the visits to the shifts; both for every common start.
//!
//! A set of visits in a shift is judged once. Of two vans that have served the same visits and stand at the same one,
//! only the one that is in nothing worse is followed; [`least_cost_of_all`] follows both.

use super::random_case::{Case, STEP};
use domain::dispatch::search::{Link, Parts, Shift};

/// Where nothing is possible.
const NEVER: i64 = i64::MAX / 8;

pub fn least_cost(case: &Case) -> i64 {
    Exhaustive { case, pair: pair(case), drops_worse: true }.least_cost()
}

/// The same without dropping any van: for few visits, as there are many.
pub fn least_cost_of_all(case: &Case) -> i64 {
    Exhaustive { case, pair: pair(case), drops_worse: false }.least_cost()
}

/// The two visits at once; none: the empty set.
fn pair(case: &Case) -> usize {
    let together = case.parts.links.iter().filter(|link| matches!(link, Link::Together { .. }));
    set_of(together.flat_map(|link| link.nodes()))
}

/// A set of visits: a bit for each.
fn set_of(nodes: impl Iterator<Item = u32>) -> usize {
    nodes.fold(0, |set, node| set | 1 << node)
}

fn members(set: usize) -> impl Iterator<Item = usize> {
    (0..usize::BITS as usize).filter(move |node| set >> node & 1 == 1)
}

struct Exhaustive<'a> {
    case: &'a Case,
    pair: usize,
    /// Whether a van that is in nothing better than another is dropped.
    drops_worse: bool,
}

/// A van that has served some visits: where it stands, and what it took.
#[derive(Clone, Copy)]
struct Van {
    at: u32,
    clock: i32,
    water: i32,
    rests: usize,
    cost: i64,
}

impl Exhaustive<'_> {
    fn least_cost(&self) -> i64 {
        let parts = &self.case.parts;
        let frozen = set_of(parts.frozen.iter().map(|frozen| frozen.node));
        // Neither of two visits at once,
        let without: Vec<Vec<i64>> = (0..parts.shifts.len()).map(|shift| self.rounds(shift, None)).collect();
        let mut least = Sharing::least(parts, &without, frozen, NEVER);
        // or both, at every time of the grid.
        for start in (0..48 * 3600).step_by(STEP as usize).filter(|&start| self.both_can_begin(start)) {
            let mut costs = without.clone();
            for (shift, spec) in parts.shifts.iter().enumerate() {
                if (spec.opens_s..=spec.last_s).contains(&start) {
                    costs[shift] = self.rounds(shift, Some(start));
                }
            }
            least = Sharing::least(parts, &costs, frozen | self.pair, least);
        }
        least
    }

    fn both_can_begin(&self, start: i32) -> bool {
        let can = |node: usize| {
            let mut works = self.case.works.iter().filter_map(|of_class| of_class[node].as_ref());
            works.any(|work| work.finish_of(start).is_some())
        };
        self.pair != 0 && members(self.pair).all(can)
    }

    /// What it costs a shift at best to serve each set of visits, with the two visits at once beginning at `start`, or
    /// without them.
    fn rounds(&self, shift: usize, start: Option<i32>) -> Vec<i64> {
        let spec = &self.case.parts.shifts[shift];
        let sets = 1 << self.case.parts.nodes.len();
        let mut costs = vec![NEVER; sets];
        // Vans that have served just these visits. A larger set has a larger number.
        let mut vans: Vec<Vec<Van>> = vec![Vec::new(); sets];
        vans[0].push(Van { at: spec.start, clock: spec.opens_s, water: spec.tank, rests: 0, cost: 0 });
        for set in 0..sets {
            if !self.may_have(shift, set, start) {
                continue;
            }
            let here = std::mem::take(&mut vans[set]);
            if let Some(least) = here.iter().filter_map(|&van| self.home(spec, van)).min() {
                costs[set] = least + self.cost_of_set(shift, set);
            }
            for node in members(!set & (sets - 1)) {
                for served in here.iter().flat_map(|&van| self.served(spec, van, node, start)) {
                    self.keep(&mut vans[set | 1 << node], served);
                }
            }
        }
        costs
    }

    /// Whether a shift can have these visits, times aside.
    fn may_have(&self, shift: usize, set: usize, start: Option<i32>) -> bool {
        let parts = &self.case.parts;
        let load: i32 = members(set).map(|node| parts.nodes[node].load[0]).sum();
        let others = parts.frozen.iter().filter(|frozen| frozen.shift as usize != shift);
        let most_of_pair = usize::from(start.is_some());
        load <= parts.shifts[shift].capacity[0]
            && set_of(others.map(|frozen| frozen.node)) & set == 0
            && members(set & self.pair).count() <= most_of_pair
    }

    /// What does not depend on times.
    fn cost_of_set(&self, shift: usize, set: usize) -> i64 {
        let parts = &self.case.parts;
        let spec = &parts.shifts[shift];
        let nth = usize::from(spec.people > 1);
        let work: i64 = members(set).map(|node| i64::from(parts.nodes[node].work_s[nth])).sum();
        let placing: i64 =
            members(set).map(|node| parts.placing.get(shift).map_or(0, |costs| costs[node])).sum();
        let fairness = parts.fairness * i64::from(spec.people) * work * work / (3600 * 3600);
        spec.fixed_cost + placing + fairness
    }

    fn keep(&self, vans: &mut Vec<Van>, van: Van) {
        if self.drops_worse {
            if vans.iter().any(|other| other.is_in_nothing_worse(&van)) {
                return;
            }
            vans.retain(|other| !van.is_in_nothing_worse(other));
        }
        vans.push(van);
    }

    /// Every way to go on to a visit and serve it: rests before leaving, straight or by way of a place to fill up, and
    /// rests before the work.
    fn served(&self, spec: &Shift, van: Van, node: usize, start: Option<i32>) -> impl Iterator<Item = Van> {
        van.with_rests(spec)
            .flat_map(move |van| self.ways(spec, van, node as u32))
            .flat_map(move |van| van.with_rests(spec))
            .filter_map(move |van| self.work(spec, van, node, start))
    }

    fn ways(&self, spec: &Shift, van: Van, to: u32) -> impl Iterator<Item = Van> {
        let filled = spec.refills.iter().map(move |refill| {
            let there = self.drive(van, refill.node);
            let (clock, cost) = (there.clock + refill.length_s, there.cost + refill.cost);
            self.drive(Van { clock, cost, water: spec.tank, ..there }, to)
        });
        std::iter::once(self.drive(van, to)).chain(filled)
    }

    fn drive(&self, van: Van, to: u32) -> Van {
        let leg = self.case.leg(van.at, to);
        Van { at: to, clock: van.clock + leg.time_s, cost: van.cost + i64::from(leg.cost), ..van }
    }

    fn work(&self, spec: &Shift, van: Van, node: usize, start: Option<i32>) -> Option<Van> {
        let work = self.case.works[spec.class as usize][node].as_ref()?;
        let finish = match self.set_start(node, start) {
            Some(start) if van.clock <= start => work.finish_of(start),
            Some(_) => None,
            None => work.finish(van.clock),
        }?;
        let water = van.water - self.case.parts.nodes[node].water;
        (water >= 0).then(|| Van { clock: finish, water, cost: van.cost + work.late_cost(finish), ..van })
    }

    /// When a visit has to begin, if that is set.
    fn set_start(&self, node: usize, start: Option<i32>) -> Option<i32> {
        let frozen = self.case.parts.frozen.iter().find(|frozen| frozen.node as usize == node);
        frozen.map(|frozen| frozen.start_s).or(start.filter(|_| self.pair >> node & 1 == 1))
    }

    /// The cost when it goes home from here; none where it is back too late, or too late for a rest that it left out.
    fn home(&self, spec: &Shift, van: Van) -> Option<i64> {
        let backs = van.with_rests(spec).map(|van| self.drive(van, spec.end));
        let in_time = backs.filter(|back| {
            let left_out = &spec.rests[back.rests..];
            back.clock <= spec.last_s && left_out.iter().all(|rest| back.clock <= rest.to_s)
        });
        let cost =
            |back: Van| back.cost + i64::from((back.clock - spec.closes_s).max(0)) * spec.overtime_cost_per_s;
        in_time.map(cost).min()
    }
}

impl Van {
    /// Now, and after each rest that can be taken here before anything else is done.
    fn with_rests(self, spec: &Shift) -> impl Iterator<Item = Van> {
        std::iter::successors(Some(self), move |van| {
            let rest = spec.rests.get(van.rests)?;
            let begins = van.clock.max(rest.from_s);
            (begins <= rest.to_s).then(|| Van { clock: begins + rest.length_s, rests: van.rests + 1, ..*van })
        })
    }

    /// Whatever another at the same place can still do, this one can at no higher cost: it may wait.
    fn is_in_nothing_worse(&self, other: &Van) -> bool {
        self.at == other.at
            && self.clock <= other.clock
            && self.water >= other.water
            && self.rests >= other.rests
            && self.cost <= other.cost
    }
}

/// Gives the visits to the shifts in every way.
struct Sharing<'a> {
    parts: &'a Parts,
    /// Per shift, of each set of visits.
    costs: &'a [Vec<i64>],
    /// Visits that may not be left out.
    must: usize,
    /// The visits of each shift so far.
    given: Vec<usize>,
    least: i64,
}

impl Sharing<'_> {
    /// The least cost, if it is below `bound`; else that.
    fn least(parts: &Parts, costs: &[Vec<i64>], must: usize, bound: i64) -> i64 {
        let given = vec![0; parts.shifts.len()];
        let mut sharing = Sharing { parts, costs, must, given, least: bound };
        sharing.give(0, (1 << parts.nodes.len()) - 1, 0);
        sharing.least
    }

    /// Tries every set of the visits that are left for the shift `nth`, and so on for those after it.
    fn give(&mut self, nth: usize, left: usize, cost: i64) {
        if cost >= self.least {
            return;
        }
        if nth == self.given.len() {
            if left & self.must == 0
                && let Some(link_cost) = self.link_cost()
            {
                let skipped: i64 = members(left).map(|node| self.parts.nodes[node].skip_cost).sum();
                self.least = self.least.min(cost + skipped + link_cost);
            }
            return;
        }
        // Every number that has only bits of `left`, falling.
        let mut set = if self.is_free(nth) { left } else { 0 };
        while set > 0 {
            if self.costs[nth][set] < NEVER {
                self.given[nth] = set;
                self.give(nth + 1, left & !set, cost + self.costs[nth][set]);
            }
            set = (set - 1) & left;
        }
        self.given[nth] = 0;
        self.give(nth + 1, left, cost);
    }

    /// Whether no shift before it uses the same van or person.
    fn is_free(&self, nth: usize) -> bool {
        let mut before = self.parts.shifts[..nth].iter().zip(&self.given).filter(|(_, given)| **given != 0);
        let mine = &self.parts.shifts[nth].resources;
        before.all(|(spec, _)| spec.resources.iter().all(|resource| !mine.contains(resource)))
    }

    /// The cost of all links; none where one is broken. Two visits at once are never in one shift, see
    /// [`Exhaustive::may_have`].
    fn link_cost(&self) -> Option<i64> {
        let of = |node: u32| {
            let nth = self.given.iter().position(|given| given >> node & 1 == 1);
            nth.map(|nth| &self.parts.shifts[nth])
        };
        let mut cost = 0;
        for link in &self.parts.links {
            match *link {
                Link::After { first, then, least, most } => match (of(first), of(then)) {
                    (None, Some(_)) => return None,
                    (Some(a), Some(b)) if b.day < a.day + least || b.day > a.day + most => return None,
                    _ => {}
                },
                Link::SamePerson { one, other, cost: parted } => {
                    if let (Some(a), Some(b)) = (of(one), of(other))
                        && !a.crew.iter().any(|person| b.crew.contains(person))
                    {
                        cost += parted;
                    }
                }
                Link::Together { .. } => {}
            }
        }
        Some(cost)
    }
}
