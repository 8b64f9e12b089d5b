//! Whether a solution keeps every rule of its problem, worked out without the search's own code.

use super::random_case::Case;
use domain::dispatch::search::{Event, Link, Model, Solution, timeline};

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
        let mut round = Round {
            at: spec.start,
            clock: spec.opens_s,
            water: spec.tank,
            rests: 0,
            rests_on_arrival: None,
            cost: spec.fixed_cost,
            served: Vec::new(),
        };
        for event in &timeline.events {
            round.follow(case, shift, *event, &mut wrong);
        }
        if round.served.iter().map(|(node, _)| *node).ne(nodes.iter().copied()) {
            wrong.push(format!("shift {shift} serves {:?} and not {nodes:?}", round.served));
        }
        let load: i32 = nodes.iter().map(|&node| parts.nodes[node as usize].load[0]).sum();
        if load > spec.capacity[0] {
            wrong.push(format!("shift {shift} carries {load} of {}", spec.capacity[0]));
        }
        let work: i64 = nodes.iter().map(|&node| i64::from(parts.nodes[node as usize].work_s)).sum();
        cost += round.cost + parts.fairness * i64::from(spec.people) * work * work / (3600 * 3600);
        for (node, start) in round.served {
            let before = shift_of[node as usize].replace(shift);
            start_of[node as usize] = Some(start);
            if before.is_some() {
                wrong.push(format!("node {node} is served twice"));
            }
            cost += parts.placing.get(shift).map_or(0, |costs| costs[node as usize]);
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
    rests: u32,
    /// A break on arrival: the way there is driven before it.
    rests_on_arrival: Option<(i32, i32)>,
    cost: i64,
    served: Vec<(u32, i32)>,
}

impl Round {
    fn follow(&mut self, case: &Case, shift: usize, event: Event, wrong: &mut Vec<String>) {
        let spec = &case.parts.shifts[shift];
        match event {
            Event::Visit { node, arrives_s, starts_s, finishes_s } => {
                let rested_until = self.rests_on_arrival.take();
                self.drive(case, node);
                if let Some((starts, finishes)) = rested_until {
                    if starts < self.clock {
                        wrong.push(format!("a break at node {node} before it is reached"));
                    }
                    self.clock = finishes;
                }
                if arrives_s < self.clock || starts_s < arrives_s {
                    wrong.push(format!("node {node} is reached at {arrives_s}, before {}", self.clock));
                }
                match &case.works[spec.class as usize][node as usize] {
                    Some(work) if work.finish_of(starts_s) == Some(finishes_s) => {
                        self.cost += work.late_cost(finishes_s)
                    }
                    _ => wrong.push(format!("node {node} cannot be served from {starts_s} to {finishes_s}")),
                }
                self.clock = finishes_s;
                self.water -= case.parts.nodes[node as usize].water;
                if self.water < 0 {
                    wrong.push(format!("node {node} is {} short of water", -self.water));
                }
                self.served.push((node, starts_s));
            }
            Event::Refill { arrives_s, finishes_s } => {
                let Some(refill) = spec.refill else { return wrong.push("a refill from nowhere".into()) };
                self.drive(case, refill.node);
                if arrives_s < self.clock || finishes_s != arrives_s + refill.length_s {
                    wrong.push(format!("a refill from {arrives_s} to {finishes_s}"));
                }
                (self.clock, self.water) = (finishes_s, spec.tank);
                self.cost += refill.cost;
            }
            Event::Rest { starts_s, finishes_s, on_arrival } => {
                let Some(rest) = spec.rest else { return wrong.push("a break that is not due".into()) };
                let inside = (rest.from_s..=rest.to_s).contains(&starts_s);
                if !inside || starts_s < self.clock || finishes_s != starts_s + rest.length_s {
                    wrong.push(format!("a break from {starts_s} to {finishes_s}"));
                }
                if on_arrival {
                    self.rests_on_arrival = Some((starts_s, finishes_s));
                } else {
                    self.clock = finishes_s;
                }
                self.rests += 1;
            }
            Event::Return { arrives_s } => {
                self.drive(case, spec.end);
                let rested = spec.rest.is_none_or(|rest| self.rests == 1 || arrives_s <= rest.to_s);
                if arrives_s < self.clock || arrives_s > spec.last_s || !rested {
                    wrong.push(format!("back at {arrives_s}, rested: {rested}"));
                }
                self.cost += i64::from((arrives_s - spec.closes_s).max(0)) * spec.overtime_cost_per_s;
            }
        }
    }

    fn drive(&mut self, case: &Case, to: u32) {
        let leg = case.parts.legs[self.at as usize * (case.parts.nodes.len() + 2) + to as usize];
        self.clock += leg.time_s;
        self.cost += i64::from(leg.cost);
        self.at = to;
    }
}
