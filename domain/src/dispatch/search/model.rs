//! What the search works on: nodes, legs, shifts, all numbers whole. Times are seconds from the first midnight.

use super::service::Service;

/// Way from one node to another.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Leg {
    pub cost: i32,
    pub time_s: i32,
}

/// Rest that is due on a round.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Break {
    /// It begins in these bounds; where both are the same, it is a gap in the hours.
    pub from_s: i32,
    pub to_s: i32,
    pub length_s: i32,
}

/// A place to fill up on the way.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct RefillStop {
    pub node: u32,
    pub length_s: i32,
    pub cost: i64,
}

/// A van with its crew on one day.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Shift {
    /// Nodes where it starts and ends.
    pub start: u32,
    pub end: u32,
    pub opens_s: i32,
    /// Hours end here; what is later is overtime.
    pub closes_s: i32,
    /// No return after this.
    pub last_s: i32,
    pub overtime_cost_per_s: i64,
    /// Cost of being used at all.
    pub fixed_cost: i64,
    /// One number for each kind of load.
    pub capacity: Vec<i32>,
    /// Water that can be given between two fillings.
    pub tank: i32,
    pub refills: Vec<RefillStop>,
    /// In this order, each once. A round that is back by a rest's `to_s` needs neither that one nor those after it.
    pub rests: Vec<Break>,
    /// Shifts of one class serve a node in the same way.
    pub class: u32,
    /// Of what each there is one: a van on a day, a technician on a day. Used shifts share none.
    pub resources: Vec<u32>,
    pub day: u32,
    pub people: u32,
    /// Who is on it, the same numbers on every day.
    pub crew: Vec<u32>,
}

/// A visit to be served.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Node {
    pub load: Vec<i32>,
    pub water: i32,
    /// Cost of leaving it out.
    pub skip_cost: i64,
    /// Seconds of work that count for fairness if one, two, … people do it; the last counts for more people.
    pub work_s: Vec<i32>,
}

/// Two nodes that depend on each other.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Link {
    /// `then` is served from `least` to `most` days after `first`, and not without it.
    After { first: u32, then: u32, least: u32, most: u32 },
    /// Both begin at the same time, in two shifts, or neither is served.
    Together { one: u32, other: u32 },
    /// Costs `cost` unless one technician is in both shifts.
    SamePerson { one: u32, other: u32, cost: i64 },
}

/// A visit that stays where it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Frozen {
    pub node: u32,
    pub shift: u32,
    pub start_s: i32,
}

/// The parts of a [`Model`]; [`Model::new`] completes them.
#[derive(Debug, Clone, Default)]
pub struct Parts {
    pub nodes: Vec<Node>,
    /// Row by row, from every node and then every depot to every other.
    pub legs: Vec<Leg>,
    pub shifts: Vec<Shift>,
    /// `services[class][node]`; `None`: shifts of that class cannot serve it.
    pub services: Vec<Vec<Option<Service>>>,
    /// Cost of serving a node in a shift, beside all else: `placing[shift][node]`; empty: none.
    pub placing: Vec<Vec<i64>>,
    pub links: Vec<Link>,
    /// In the order in which each shift serves them.
    pub frozen: Vec<Frozen>,
    /// Cost of a squared hour of each person's work in a shift.
    pub fairness: i64,
}

/// Immutable once made: many searches may read it.
#[derive(Debug, Clone)]
pub struct Model {
    pub parts: Parts,
    /// Nodes and depots.
    pub places: usize,
    /// The legs with rows and columns exchanged.
    legs_in: Vec<Leg>,
    /// All that counts is travel in hard windows, so that every change is judged in constant time.
    pub plain: bool,
    /// Ways cost the same in both directions.
    pub symmetric: bool,
    /// Whether a shift is the same as the one before it.
    pub twin: Vec<bool>,
    /// Per node, the shifts that can serve it if they serve nothing else.
    pub able: Vec<Vec<u32>>,
    /// Per node, the other nodes, nearest first.
    pub near: Vec<Vec<u32>>,
    /// Per node, the nodes that are good to go to next: near, and with little waiting between.
    pub next: Vec<Vec<u32>>,
    /// Per node, the cost of the way from the first depot.
    pub depot_distance: Vec<i64>,
    /// Per node, its links.
    pub links_of: Vec<Vec<Link>>,
    pub frozen_of: Vec<Option<Frozen>>,
}

impl Model {
    pub fn new(parts: Parts) -> Model {
        let count = parts.nodes.len();
        let places = parts.legs.len().isqrt();
        let legs_in: Vec<Leg> =
            (0..places * places).map(|i| parts.legs[i % places * places + i / places]).collect();
        let symmetric =
            parts.legs.iter().zip(&legs_in).all(|(out, back): (&Leg, &Leg)| out.cost == back.cost);
        let twin = (0..parts.shifts.len())
            .map(|nth| nth > 0 && parts.shifts[nth] == parts.shifts[nth - 1] && parts.frozen.is_empty());
        let twin = twin.collect();
        let mut links_of = vec![Vec::new(); count];
        for link in &parts.links {
            for node in link.nodes() {
                links_of[node as usize].push(*link);
            }
        }
        let mut frozen_of = vec![None; count];
        for frozen in &parts.frozen {
            frozen_of[frozen.node as usize] = Some(*frozen);
        }
        let plain = is_plain(&parts);
        let mut model = Model {
            parts,
            places,
            legs_in,
            plain,
            symmetric,
            twin,
            able: Vec::new(),
            near: Vec::new(),
            next: Vec::new(),
            depot_distance: Vec::new(),
            links_of,
            frozen_of,
        };
        model.able = (0..count as u32).map(|node| model.able_alone(node)).collect();
        model.near = (0..count).map(|node| model.nearest(node)).collect();
        let depot = model.parts.shifts.first().map_or(0, |shift| shift.start);
        model.depot_distance = (0..count as u32).map(|node| i64::from(model.leg(depot, node).cost)).collect();
        model.next = (0..count as u32).map(|node| model.best_next(node)).collect();
        model
    }

    pub fn len(&self) -> usize {
        self.parts.nodes.len()
    }

    pub fn is_empty(&self) -> bool {
        self.parts.nodes.is_empty()
    }

    pub fn leg(&self, from: u32, to: u32) -> Leg {
        self.parts.legs[from as usize * self.places + to as usize]
    }

    /// Legs from a node to every other.
    pub fn legs_from(&self, node: u32) -> &[Leg] {
        let at = node as usize * self.places;
        &self.parts.legs[at..at + self.places]
    }

    /// Legs to a node from every other.
    pub fn legs_to(&self, node: u32) -> &[Leg] {
        let at = node as usize * self.places;
        &self.legs_in[at..at + self.places]
    }

    pub fn shift(&self, shift: usize) -> &Shift {
        &self.parts.shifts[shift]
    }

    /// Whether two shifts serve in the same way to the same end.
    pub fn same_kind(&self, one: usize, other: usize) -> bool {
        let (one, other) = (self.shift(one), self.shift(other));
        (one.class, one.end, one.last_s) == (other.class, other.end, other.last_s)
    }

    /// Whether a node keeps its shift: it is frozen, or linked with another.
    pub fn stays(&self, node: u32) -> bool {
        self.frozen_of[node as usize].is_some() || !self.links_of[node as usize].is_empty()
    }

    pub fn service(&self, shift: usize, node: u32) -> Option<&Service> {
        self.parts.services[self.parts.shifts[shift].class as usize][node as usize].as_ref()
    }

    /// The service in the first class of shifts that can serve the node.
    pub fn service_anywhere(&self, node: u32) -> Option<&Service> {
        self.parts.services.iter().find_map(|of_class| of_class[node as usize].as_ref())
    }

    /// Work that counts for fairness if this shift does it.
    pub fn work_s(&self, shift: usize, node: u32) -> i64 {
        let by_people = &self.parts.nodes[node as usize].work_s;
        let people = self.parts.shifts[shift].people.max(1) as usize;
        people.min(by_people.len()).checked_sub(1).map_or(0, |nth| i64::from(by_people[nth]))
    }

    /// Breaks and refills are left out.
    fn able_alone(&self, node: u32) -> Vec<u32> {
        let alone = |shift: &u32| {
            let spec = self.shift(*shift as usize);
            let arrival = spec.opens_s.saturating_add(self.leg(spec.start, node).time_s);
            let served = self.service(*shift as usize, node).and_then(|service| service.at(arrival));
            served.is_some_and(|(_, finish)| finish + self.leg(node, spec.end).time_s <= spec.last_s)
        };
        (0..self.parts.shifts.len() as u32).filter(alone).collect()
    }

    pub fn placing_cost(&self, shift: usize, node: u32) -> i64 {
        self.parts.placing.get(shift).map_or(0, |costs| costs[node as usize])
    }

    /// Nodes by the mean cost of the ways there and back, and waiting that cannot be avoided between them.
    fn nearest(&self, node: usize) -> Vec<u32> {
        let key = |&other: &u32| {
            let (out, back) =
                (self.legs_from(node as u32)[other as usize], self.legs_to(node as u32)[other as usize]);
            (i64::from(out.cost) + i64::from(back.cost), other)
        };
        let mut others: Vec<u32> = (0..self.len() as u32).filter(|&other| other as usize != node).collect();
        others.sort_by_key(key);
        others
    }
}

/// Length of the lists of good next nodes (granular neighbourhood; Vidal et al. 2013, doi 10.1016/j.cor.2012.07.018).
const GRANULAR: usize = 40;
/// Cost of a second of waiting that no schedule avoids, beside a second's travel (the same paper).
const WAITING: f64 = 0.2;

impl Model {
    /// By the cost of the way, and of the waiting between the two that no schedule avoids. Who cannot follow is left out.
    fn best_next(&self, node: u32) -> Vec<u32> {
        let Some(service) = self.service_anywhere(node) else { return Vec::new() };
        let legs = self.legs_from(node);
        let cost_per_s = {
            let (cost, time) = legs
                .iter()
                .fold((0.0, 1.0), |(c, t), leg| (c + f64::from(leg.cost), t + f64::from(leg.time_s)));
            cost / time
        };
        let mut others: Vec<(i64, u32)> = Vec::new();
        for other in (0..self.len() as u32).filter(|&other| other != node) {
            let Some(then) = self.service_anywhere(other) else { continue };
            let leg = legs[other as usize];
            if service.open_s + service.length_s + leg.time_s > then.close_s {
                continue;
            }
            let waiting = (then.open_s - leg.time_s - service.length_s - service.close_s).max(0);
            let key = f64::from(leg.cost) + WAITING * cost_per_s * f64::from(waiting);
            others.push((key as i64, other));
        }
        others.sort_unstable();
        others.truncate(GRANULAR);
        others.into_iter().map(|(_, other)| other).collect()
    }
}

impl Link {
    pub fn nodes(self) -> [u32; 2] {
        match self {
            Link::After { first, then, .. } => [first, then],
            Link::Together { one, other } | Link::SamePerson { one, other, .. } => [one, other],
        }
    }
}

fn is_plain(parts: &Parts) -> bool {
    let services = || parts.services.iter().flatten().flatten();
    parts.links.is_empty()
        && parts.frozen.is_empty()
        && parts.placing.is_empty()
        && parts.fairness == 0
        && services().all(Service::is_plain)
        && parts.nodes.iter().all(|node| node.water == 0)
        && parts.shifts.iter().all(|s| {
            s.rests.is_empty()
                && s.resources.is_empty()
                && (s.closes_s >= s.last_s || s.overtime_cost_per_s == 0)
        })
}
