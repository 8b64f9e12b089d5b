//! From the words of the shop to the numbers of the search.

use super::crews::{Candidate, candidates};
use super::problem::{Request, RoundsProblem, VisitLink};
use super::spans::{UNITS_PER_POINT, per_second, seconds, service, work_s};
use super::ways::way;
use super::{reasons, spans};
use crate::dispatch::problem::usable;
use crate::dispatch::search::{
    Break, Frozen, Leg, Link, Model, Node, Parts, RefillStop, Service, Shift, timeline,
};
use crate::dispatch::{Conflict, Place, Travel, Van};
use std::collections::{BTreeMap, BTreeSet};

/// A model, and what its numbers stand for: nodes are the requests in their order, shifts the candidates.
pub struct Built {
    pub model: Model,
    pub candidates: Vec<Candidate>,
    /// What is wrong with the input beside single requests.
    pub faults: Vec<String>,
    /// Per class of shifts and request, what speaks against it in every hour.
    pub against: Vec<Vec<Vec<Conflict>>>,
}

/// A capacity that nothing exceeds.
const ENDLESS: i32 = i32::MAX / 4;

pub fn build(problem: &RoundsProblem) -> Built {
    let candidates = candidates(problem);
    let mut faults: Vec<String> = problem.matrix.iter().filter_map(|matrix| matrix.fault()).collect();
    let classes = classes(&candidates);
    let against: Vec<Vec<Vec<Conflict>>> = classes
        .iter()
        .map(|(van, crew)| problem.requests.iter().map(|r| reasons::always(problem, r, *van, crew)).collect())
        .collect();
    let mut parts = Parts {
        nodes: nodes(problem),
        services: services(problem, &classes, &against),
        fairness: units(problem.weights.fairness),
        ..Parts::default()
    };
    let places = places(problem);
    parts.legs = legs(problem, &places);
    parts.shifts = candidates.iter().map(|candidate| shift(problem, candidate, &classes, &places)).collect();
    parts.placing = placing(problem, &candidates);
    parts.links = links(problem, &mut faults);
    let model = freeze(problem, &candidates, parts, &mut faults);
    if problem.technicians.is_empty() && !problem.vans.is_empty() {
        faults.push("there are vans, but nobody to drive them.".into());
    }
    Built { model, candidates, faults, against }
}

pub fn units(points: f64) -> i64 {
    (usable(points).min(1e9) * UNITS_PER_POINT).round() as i64
}

type Class = (usize, Vec<usize>);

fn classes(candidates: &[Candidate]) -> Vec<Class> {
    let all: BTreeSet<Class> = candidates.iter().map(|c| (c.van, c.crew.clone())).collect();
    all.into_iter().collect()
}

/// Kinds of load: energy everywhere, energy where no generator may run, then each product.
fn products(problem: &RoundsProblem) -> Vec<&str> {
    let all: BTreeSet<&str> =
        problem.requests.iter().flat_map(|r| r.visit.product_ml.keys()).map(String::as_str).collect();
    all.into_iter().collect()
}

fn whole(value: f64) -> i32 {
    usable(value).min(f64::from(ENDLESS)).ceil() as i32
}

fn nodes(problem: &RoundsProblem) -> Vec<Node> {
    let products = products(problem);
    let node = |request: &Request| {
        let visit = &request.visit;
        let energy = if visit.site.mains == Some(true) { 0 } else { whole(visit.machine_kwh * 1000.0) };
        let quiet = if visit.site.generator_allowed == Some(false) { energy } else { 0 };
        let mut load = vec![energy, quiet];
        let factor = usable(problem.margins.stock_factor);
        load.extend(
            products.iter().map(|&p| whole(visit.product_ml.get(p).copied().unwrap_or(0.0) * factor)),
        );
        let level = usize::from(request.priority.clamp(1, 5)) - 1;
        Node {
            load,
            water: whole(visit.tank_need_l() * 10.0),
            skip_cost: units(problem.weights.unserved[level]).max(1),
            work_s: work_s(request, 1),
        }
    };
    problem.requests.iter().map(node).collect()
}

fn services(
    problem: &RoundsProblem,
    classes: &[Class],
    against: &[Vec<Vec<Conflict>>],
) -> Vec<Vec<Option<Service>>> {
    let mut known: BTreeMap<(usize, u32, bool), Option<Service>> = BTreeMap::new();
    let mut of_class = |(van, crew): &Class, against: &Vec<Vec<Conflict>>| {
        let van = &problem.vans[*van].van;
        let one = |nth: usize| {
            let request = &problem.requests[nth];
            if !against[nth].is_empty() {
                return None;
            }
            let key = (nth, crew.len() as u32, is_noisy(request, van));
            known.entry(key).or_insert_with(|| service(problem, request, key.1, key.2)).clone()
        };
        (0..problem.requests.len()).map(one).collect()
    };
    classes.iter().zip(against).map(|(class, against)| of_class(class, against)).collect()
}

/// Machines run there: the steps' own, or the van's washer (rule R26, common practice).
pub fn is_noisy(request: &Request, van: &Van) -> bool {
    let washer = van.has("pressure_washer");
    request.visit.steps.iter().any(|step| step.machine || washer && step.runs_water)
}

/// Requests, the depot, then each van's home and refill place.
fn places(problem: &RoundsProblem) -> Vec<Place> {
    let mut places: Vec<Place> = problem.requests.iter().map(|request| request.visit.place).collect();
    places.push(problem.depot);
    let homes = problem.vans.iter().filter_map(|van| van.home);
    let refills = problem.vans.iter().filter_map(|van| van.van.refill.as_ref().map(|refill| refill.place));
    for place in homes.chain(refills) {
        if !places[problem.requests.len()..].contains(&place) {
            places.push(place);
        }
    }
    places
}

fn node_of(problem: &RoundsProblem, places: &[Place], place: &Place) -> u32 {
    let depots = &places[problem.requests.len()..];
    (problem.requests.len() + depots.iter().position(|known| known == place).unwrap_or(0)) as u32
}

fn legs(problem: &RoundsProblem, places: &[Place]) -> Vec<Leg> {
    let matrix = problem.matrix.as_ref().filter(|matrix| matrix.fault().is_none());
    let mut legs = Vec::with_capacity(places.len() * places.len());
    for from in places {
        for to in places {
            let (_, minutes) = way(&problem.travel, matrix, from, to);
            let time_s = (minutes.min(10_000.0) * 60.0).round() as i32;
            let cost = i64::from(time_s) * per_second(problem.weights.travel);
            legs.push(Leg { cost: cost.min(i64::from(ENDLESS)) as i32, time_s });
        }
    }
    legs
}

/// Travel where the matrix is unsound or silent.
pub fn kilometres(problem: &RoundsProblem, from: &Place, to: &Place) -> f64 {
    let matrix = problem.matrix.as_ref().filter(|matrix| matrix.fault().is_none());
    let travel: &Travel = &problem.travel;
    way(travel, matrix, from, to).0
}

fn shift(problem: &RoundsProblem, candidate: &Candidate, classes: &[Class], places: &[Place]) -> Shift {
    let rostered = &problem.vans[candidate.van];
    let van = &rostered.van;
    let day = problem.days.iter().position(|day| *day == candidate.on).unwrap_or(0);
    let at = |time| seconds(problem, candidate.on.and_time(time));
    let home = node_of(problem, places, rostered.home.as_ref().unwrap_or(&problem.depot));
    let (opens_s, closes_s) = (at(candidate.hours.from), at(candidate.hours.to));
    // Who begins after the hours of the break has had it.
    let rest = problem.rest.filter(|rest| opens_s <= at(rest.begins.to));
    let battery = whole(van.battery_kwh * 1000.0);
    let mut capacity = vec![if van.generator { ENDLESS } else { battery }, battery];
    let stock = |product: &str| van.stock_ml.get(product).map_or(ENDLESS, |&ml| whole(ml));
    capacity.extend(products(problem).into_iter().map(stock));
    let share = 1.0 - usable(problem.margins.tank_reserve_share).min(1.0);
    let class = (candidate.van, candidate.crew.clone());
    let (vans, people) = (problem.vans.len(), problem.technicians.len());
    let resource = |nth: usize| (day * (vans + people) + nth) as u32;
    Shift {
        start: home,
        end: home,
        opens_s,
        closes_s,
        last_s: closes_s + (usable(problem.weights.overtime_most_min).min(480.0) * 60.0) as i32,
        overtime_cost_per_s: per_second(problem.weights.overtime),
        fixed_cost: 0,
        capacity,
        tank: (usable(van.tank_l) * share * 10.0) as i32,
        refill: van.refill.as_ref().map(|refill| RefillStop {
            node: node_of(problem, places, &refill.place),
            length_s: (usable(refill.minutes).min(600.0) * 60.0) as i32,
            cost: units(problem.weights.refill),
        }),
        rest: rest.map(|rest| Break {
            from_s: at(rest.begins.from),
            to_s: at(rest.begins.to),
            length_s: (rest.minutes.min(240) * 60) as i32,
        }),
        class: classes.binary_search(&class).unwrap_or(0) as u32,
        resources: std::iter::once(resource(candidate.van))
            .chain(candidate.crew.iter().map(|&who| resource(vans + who)))
            .collect(),
        day: (candidate.on - problem.days[0]).num_days().max(0) as u32,
        people: candidate.crew.len() as u32,
        crew: candidate.crew.iter().map(|&who| who as u32).collect(),
    }
}

/// What it costs to put a published visit elsewhere.
fn placing(problem: &RoundsProblem, candidates: &[Candidate]) -> Vec<Vec<i64>> {
    if problem.requests.iter().all(|request| request.published.is_none()) {
        return Vec::new();
    }
    let cost = |candidate: &Candidate, request: &Request| {
        let Some(published) = &request.published else { return 0 };
        let crew: Vec<&str> =
            candidate.crew.iter().map(|&who| problem.technicians[who].technician.id.as_str()).collect();
        let others = published.technicians.iter().filter(|id| !crew.contains(&id.as_str())).count();
        let same_shift =
            problem.vans[candidate.van].van.id == published.van && candidate.on == published.start.date();
        let shift = if same_shift { 0 } else { units(problem.weights.other_shift) };
        others as i64 * units(problem.weights.other_technician) + shift
    };
    candidates.iter().map(|candidate| problem.requests.iter().map(|r| cost(candidate, r)).collect()).collect()
}

fn links(problem: &RoundsProblem, faults: &mut Vec<String>) -> Vec<Link> {
    let node = |job: &String| problem.requests.iter().position(|r| r.visit.job == *job).map(|nth| nth as u32);
    let mut links = Vec::new();
    for link in &problem.links {
        let (a, b) = match link {
            VisitLink::After { first, then, .. } => (first, then),
            VisitLink::Together { one, other } | VisitLink::SamePerson { one, other } => (one, other),
        };
        let (Some(one), Some(other)) = (node(a), node(b)) else {
            faults.push(format!(
                "{a} and {b} are linked, but one of them is not to be planned; the link was left out."
            ));
            continue;
        };
        if one == other {
            faults.push(format!("{a} is linked with itself; the link was left out."));
            continue;
        }
        links.push(match *link {
            VisitLink::After { least_days, most_days, .. } => {
                Link::After { first: one, then: other, least: least_days, most: most_days.max(least_days) }
            }
            VisitLink::Together { .. } => Link::Together { one, other },
            VisitLink::SamePerson { .. } => {
                Link::SamePerson { one, other, cost: units(problem.weights.parted) }
            }
        });
    }
    links
}

/// Frozen visits stay where they are, whatever speaks against them; where that is not possible, a fault says so.
fn freeze(
    problem: &RoundsProblem,
    candidates: &[Candidate],
    mut parts: Parts,
    faults: &mut Vec<String>,
) -> Model {
    let mut frozen: Vec<Frozen> = Vec::new();
    for (nth, request) in problem.requests.iter().enumerate() {
        let Some(published) = request.published.as_ref().filter(|published| published.frozen) else {
            continue;
        };
        let is_there = |candidate: &Candidate| {
            let mut crew: Vec<&String> =
                candidate.crew.iter().map(|&who| &problem.technicians[who].technician.id).collect();
            let mut wanted: Vec<&String> = published.technicians.iter().collect();
            crew.sort();
            wanted.sort();
            problem.vans[candidate.van].van.id == published.van
                && candidate.on == published.start.date()
                && crew == wanted
        };
        match candidates.iter().position(is_there) {
            Some(shift) => frozen.push(Frozen {
                node: nth as u32,
                shift: shift as u32,
                start_s: seconds(problem, published.start),
            }),
            None => faults.push(format!(
                "{}: van {} does not go with this crew on {}, so the visit could not be kept there.",
                request.visit.job,
                published.van,
                published.start.date()
            )),
        }
    }
    frozen.sort_by_key(|frozen| (frozen.shift, frozen.start_s, frozen.node));
    for frozen in frozen {
        let shift = frozen.shift as usize;
        let (class, node) = (parts.shifts[shift].class as usize, frozen.node as usize);
        let length = work_s(&problem.requests[node], parts.shifts[shift].people);
        let before =
            (parts.services[class][node].take(), parts.shifts[shift].clone(), parts.nodes[node].water);
        parts.services[class][node] = Some(Service::fixed(frozen.start_s, frozen.start_s, length));
        parts.frozen.push(frozen);
        if holds(&parts, shift) || holds_when_eased(&mut parts, shift, node) {
            continue;
        }
        parts.frozen.pop();
        parts.nodes[node].water = before.2;
        parts.shifts[shift] = before.1;
        parts.services[class][node] = before.0;
        faults.push(format!(
            "{}: it cannot be kept at {} beside the other visits of its van.",
            problem.requests[node].visit.job,
            spans::instant(problem, frozen.start_s)
        ));
    }
    Model::new(parts)
}

/// Without a break, with as much overtime and water as it takes: what is frozen has been decided.
fn holds_when_eased(parts: &mut Parts, shift: usize, node: usize) -> bool {
    parts.shifts[shift].rest = None;
    if holds(parts, shift) {
        return true;
    }
    parts.shifts[shift].last_s += 12 * 3600;
    parts.shifts[shift].opens_s -= 6 * 3600;
    parts.nodes[node].water = 0;
    holds(parts, shift)
}

fn holds(parts: &Parts, shift: usize) -> bool {
    let model = Model::new(parts.clone());
    let of_shift = || parts.frozen.iter().filter(|frozen| frozen.shift as usize == shift);
    let mut pins = vec![None; parts.nodes.len()];
    for frozen in of_shift() {
        pins[frozen.node as usize] = Some(frozen.start_s);
    }
    let load = of_shift().fold(vec![0; parts.shifts[shift].capacity.len()], |mut sum, frozen| {
        sum.iter_mut().zip(&parts.nodes[frozen.node as usize].load).for_each(|(sum, load)| *sum += load);
        sum
    });
    let fits = load.iter().zip(&parts.shifts[shift].capacity).all(|(load, most)| load <= most);
    fits && timeline(&model, shift, of_shift().map(|frozen| frozen.node), &pins).is_some()
}
