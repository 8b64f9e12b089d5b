//! Whether a solution keeps every rule of its problem, worked out without the search's own code.

use super::random_case::Case;
use domain::dispatch::search::{Event, Link, Model, Node, Solution, timeline};

/// What is broken, in words; nothing: all holds. The cost is reckoned from the events.
pub fn broken(case: &Case, model: &Model, solution: &Solution) -> Vec<String> {
    let parts = &case.parts;
    let mut wrong = Vec::new();
    let mut start_of = vec![None; parts.nodes.len()];
    let mut shift_of = vec![None; parts.nodes.len()];
    let mut used: Vec<u32> = Vec::new();
    let mut cost = 0;
    for (shift, route) in solution.routes.iter().enumerate().filter(|(_, route)| !route.is_empty()) {
        let spec = &parts.shifts[shift];
        if spec.resources.iter().any(|resource| used.contains(resource)) {
            wrong.push(format!("shift {shift} uses a van or a person twice"));
        }
        used.extend(&spec.resources);
        let nodes: Vec<u32> = route.visits().collect();
        let Some(timeline) = timeline(model, shift, nodes.iter().copied(), &solution.pins) else {
            wrong.push(format!("shift {shift} cannot be driven"));
            continue;
        };
        let round = drive(case, shift, &timeline.events, &mut wrong);
        if round.served.iter().map(|(node, _)| *node).ne(nodes.iter().copied()) {
            wrong.push(format!("shift {shift} serves {:?} and not {nodes:?}", round.served));
        }
        cost += round.cost + cost_beside_times(case, shift, &nodes, &mut wrong);
        for (node, start) in round.served {
            let before = shift_of[node as usize].replace(shift);
            start_of[node as usize] = Some(start);
            if before.is_some() {
                wrong.push(format!("node {node} is served twice"));
            }
        }
    }
    for (node, shift) in shift_of.iter().enumerate() {
        if shift.is_none() {
            cost += parts.nodes[node].skip_cost;
        }
        if shift.is_none() != solution.absent.contains(&(node as u32)) {
            wrong.push(format!("node {node} is both served and absent, or neither"));
        }
    }
    for frozen in &parts.frozen {
        let node = frozen.node as usize;
        if shift_of[node] != Some(frozen.shift as usize) || start_of[node] != Some(frozen.start_s) {
            wrong.push(format!("frozen node {node} has moved"));
        }
    }
    cost += links(case, &shift_of, &start_of, &mut wrong);
    if cost != solution.cost(model) {
        wrong.push(format!("the events cost {cost}, the solution says {}", solution.cost(model)));
    }
    wrong
}

fn drive(case: &Case, shift: usize, events: &[Event], wrong: &mut Vec<String>) -> Round {
    let spec = &case.parts.shifts[shift];
    let mut round = Round {
        at: spec.start,
        clock: spec.opens_s,
        water: spec.tank,
        rests: 0,
        rests_on_arrival: Vec::new(),
        cost: spec.fixed_cost,
        served: Vec::new(),
    };
    for event in events {
        round.follow(case, shift, *event, wrong);
    }
    round
}

/// The load is looked at, too.
fn cost_beside_times(case: &Case, shift: usize, nodes: &[u32], wrong: &mut Vec<String>) -> i64 {
    let (parts, spec) = (&case.parts, &case.parts.shifts[shift]);
    let visits = || nodes.iter().map(|&node| &parts.nodes[node as usize]);
    let load: i32 = visits().map(|visit| visit.load[0]).sum();
    if load > spec.capacity[0] {
        wrong.push(format!("shift {shift} carries {load} of {}", spec.capacity[0]));
    }
    // Where there is no number for so many people, the last one counts.
    let work_of = |visit: &Node| visit.work_s.iter().take(spec.people as usize).next_back().copied();
    let work: i64 = visits().filter_map(work_of).map(i64::from).sum();
    let placing = parts.placing.get(shift);
    let placing: i64 = nodes.iter().map(|&node| placing.map_or(0, |costs| costs[node as usize])).sum();
    placing + parts.fairness * i64::from(spec.people) * work * work / (3600 * 3600)
}

fn links(case: &Case, shift_of: &[Option<usize>], start_of: &[Option<i32>], wrong: &mut Vec<String>) -> i64 {
    let mut cost = 0;
    let spec = |node: u32| shift_of[node as usize].map(|shift| &case.parts.shifts[shift]);
    for link in &case.parts.links {
        match *link {
            Link::After { first, then, least, most } => match (spec(first), spec(then)) {
                (None, Some(_)) => wrong.push(format!("{then} is served without {first}")),
                (Some(a), Some(b)) if !(a.day + least..=a.day + most).contains(&b.day) => {
                    wrong.push(format!("{then} is on day {} after {}", b.day, a.day));
                }
                _ => {}
            },
            Link::Together { one, other } => {
                let apart = start_of[one as usize] != start_of[other as usize];
                let same =
                    shift_of[one as usize].is_some() && shift_of[one as usize] == shift_of[other as usize];
                if apart || same {
                    wrong.push(format!("{one} and {other} are not served at once by two"));
                }
            }
            Link::SamePerson { one, other, cost: parted } => {
                if let (Some(a), Some(b)) = (spec(one), spec(other))
                    && !a.crew.iter().any(|person| b.crew.contains(person))
                {
                    cost += parted;
                }
            }
        }
    }
    cost
}

struct Round {
    at: u32,
    clock: i32,
    water: i32,
    /// How many of the shift's rests it has had.
    rests: usize,
    /// Rests on arrival: the way there is driven before them.
    rests_on_arrival: Vec<(i32, i32)>,
    cost: i64,
    served: Vec<(u32, i32)>,
}

impl Round {
    fn follow(&mut self, case: &Case, shift: usize, event: Event, wrong: &mut Vec<String>) {
        let spec = &case.parts.shifts[shift];
        match event {
            Event::Visit { node, arrives_s, starts_s, finishes_s } => {
                self.visit(case, shift, node, [arrives_s, starts_s, finishes_s], wrong);
            }
            Event::Refill { node, arrives_s, finishes_s } => {
                let Some(refill) = spec.refills.iter().find(|refill| refill.node == node) else {
                    return wrong.push(format!("a refill at {node}, where there is none"));
                };
                self.drive(case, node);
                if arrives_s < self.clock || finishes_s != arrives_s + refill.length_s {
                    wrong.push(format!("a refill from {arrives_s} to {finishes_s}"));
                }
                (self.clock, self.water) = (finishes_s, spec.tank);
                self.cost += refill.cost;
            }
            Event::Rest { starts_s, finishes_s, on_arrival } => {
                let Some(rest) = spec.rests.get(self.rests) else {
                    return wrong.push("a break that is not due".into());
                };
                let inside = (rest.from_s..=rest.to_s).contains(&starts_s);
                if !inside || starts_s < self.clock || finishes_s != starts_s + rest.length_s {
                    wrong.push(format!("a break from {starts_s} to {finishes_s}"));
                }
                if on_arrival {
                    self.rests_on_arrival.push((starts_s, finishes_s));
                } else {
                    self.clock = finishes_s;
                }
                self.rests += 1;
            }
            Event::Return { arrives_s } => {
                self.drive(case, spec.end);
                let missed = spec.rests.iter().skip(self.rests).any(|rest| rest.to_s < arrives_s);
                if arrives_s < self.clock || arrives_s > spec.last_s || missed {
                    wrong.push(format!("back at {arrives_s}, after {} of its rests", self.rests));
                }
                if !self.rests_on_arrival.is_empty() {
                    wrong.push("a break on arrival where nothing is served".into());
                }
                self.cost += i64::from((arrives_s - spec.closes_s).max(0)) * spec.overtime_cost_per_s;
            }
        }
    }

    fn visit(
        &mut self,
        case: &Case,
        shift: usize,
        node: u32,
        [arrives, starts, finishes]: [i32; 3],
        wrong: &mut Vec<String>,
    ) {
        self.drive(case, node);
        for (begins, ends) in std::mem::take(&mut self.rests_on_arrival) {
            if begins < self.clock {
                wrong.push(format!(
                    "a break at node {node} before it is reached, or before the last one ends"
                ));
            }
            self.clock = ends;
        }
        if arrives < self.clock || starts < arrives {
            wrong.push(format!("node {node} is reached at {arrives}, before {}", self.clock));
        }
        let class = case.parts.shifts[shift].class as usize;
        match &case.works[class][node as usize] {
            Some(work) if work.finish_of(starts) == Some(finishes) => self.cost += work.late_cost(finishes),
            _ => wrong.push(format!("node {node} cannot be served from {starts} to {finishes}")),
        }
        self.clock = finishes;
        self.water -= case.parts.nodes[node as usize].water;
        if self.water < 0 {
            wrong.push(format!("node {node} is {} short of water", -self.water));
        }
        self.served.push((node, starts));
    }

    fn drive(&mut self, case: &Case, to: u32) {
        let leg = case.leg(self.at, to);
        self.clock += leg.time_s;
        self.cost += i64::from(leg.cost);
        self.at = to;
    }
}
