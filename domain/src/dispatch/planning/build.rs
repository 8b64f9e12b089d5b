//! From the words of the shop to the numbers of the search.

use super::crews::{Beside, Candidate, candidates};
use super::frozen::{Keeper, OwnClass, service_in_hours};
use super::hours::rests;
use super::kinds::{Class, Kind, kinds};
use super::problem::{Request, Rest, RoundsProblem, VisitLink};
use super::spans::{Doer, UNITS_PER_POINT, overtime_s, per_second, seconds, service, work_s};
use crate::dispatch::problem::usable;
use crate::dispatch::search::{Break, Leg, Link, Model, Node, Parts, RefillStop, Service, Shift};
use crate::dispatch::ways::{TravelMatrix, sound, way};
use crate::dispatch::{Place, Refill, Van};
use chrono::NaiveDate;
use std::collections::{BTreeMap, BTreeSet};

/// A model, and what its numbers stand for: nodes are the requests in their order, shifts the candidates.
pub struct Built {
    pub model: Model,
    pub candidates: Vec<Candidate>,
    /// What is wrong with the input beside single requests.
    pub faults: Vec<String>,
    /// Vans and crews that can do the same, one of each.
    pub kinds: Vec<Kind>,
    /// What shifts of each class are: a van, a crew, and the kind.
    classes: Vec<Class>,
    kind_of: Vec<usize>,
    /// The classes after these, of one shift each.
    own: Vec<OwnClass>,
    /// Days with candidates, ascending.
    days: Vec<NaiveDate>,
    /// Where shifts start, end and fill up: the nodes after the requests.
    depots: Vec<Place>,
    /// The kinds of load after energy everywhere and energy where no generator may run.
    products: Vec<String>,
}

/// A capacity that nothing exceeds.
const ENDLESS: i32 = i32::MAX / 4;
/// The largest load of one visit, of any kind: a thousand of them stay below [`ENDLESS`]. What is beyond any van is found
/// from the numbers as they were given.
const LARGEST_LOAD: f64 = 400_000.0;

pub fn build(problem: &RoundsProblem, beside: &Beside) -> Built {
    let candidates = candidates(problem, beside);
    let mut faults: Vec<String> = problem.matrix.iter().filter_map(|matrix| matrix.fault()).collect();
    let classes = classes(&candidates);
    let (kinds, kind_of) = kinds(problem, &classes);
    let mut days: Vec<NaiveDate> = candidates.iter().map(|candidate| candidate.on).collect();
    days.dedup();
    let mut built = Built {
        model: Model::new(Parts::default()),
        candidates,
        faults: Vec::new(),
        kinds,
        classes,
        kind_of,
        own: Vec::new(),
        days,
        depots: depots(problem),
        products: products(&problem.requests),
    };
    let mut parts = Parts {
        nodes: problem.requests.iter().map(|request| node(problem, &built.products, request)).collect(),
        services: built.services(problem, &problem.requests),
        legs: built.legs(problem),
        fairness: units(problem.weights.fairness.min(MOST_FAIRNESS)),
        ..Parts::default()
    };
    let shifts = built.candidates.iter().map(|candidate| shift(problem, candidate, &built));
    parts.shifts = shifts.collect();
    parts.placing = placing(problem, &built.candidates);
    parts.links = links(problem, &mut faults);
    let mut keeper = Keeper::new(problem, &built.candidates, parts, faults);
    keeper.keep();
    let Keeper { parts, own, mut faults, .. } = keeper;
    if problem.technicians.is_empty() && !problem.vans.is_empty() {
        faults.push("there are vans, but nobody to drive them.".into());
    }
    built.model = Model::new(parts);
    Built { faults, own, ..built }
}

/// Points for a squared hour, at most, so that no sum runs over.
const MOST_FAIRNESS: f64 = 100.0;

pub fn units(points: f64) -> i64 {
    (usable(points).min(1e9) * UNITS_PER_POINT).round() as i64
}

/// Those of candidates that are open to any visit: the others get classes of their own.
fn classes(candidates: &[Candidate]) -> Vec<Class> {
    let open = candidates.iter().filter(|candidate| !candidate.closed);
    let all: BTreeSet<Class> = open.map(|c| (c.van, c.crew.clone())).collect();
    all.into_iter().collect()
}

fn products<'a>(requests: impl IntoIterator<Item = &'a Request>) -> Vec<String> {
    let all: BTreeSet<&String> = requests.into_iter().flat_map(|r| r.visit.product_ml.keys()).collect();
    all.into_iter().cloned().collect()
}

fn whole(value: f64) -> i32 {
    usable(value).min(f64::from(ENDLESS)).ceil() as i32
}

fn node(problem: &RoundsProblem, products: &[String], request: &Request) -> Node {
    let visit = &request.visit;
    let load_of = |value: f64| whole(value.min(LARGEST_LOAD));
    let energy = if visit.site.mains == Some(true) { 0 } else { load_of(visit.machine_kwh * 1000.0) };
    let quiet = if visit.site.generator_allowed == Some(false) { energy } else { 0 };
    let mut load = vec![energy, quiet];
    let factor = usable(problem.margins.stock_factor);
    load.extend(products.iter().map(|p| load_of(visit.product_ml.get(p).copied().unwrap_or(0.0) * factor)));
    let level = usize::from(request.priority.clamp(1, 5)) - 1;
    Node {
        load,
        water: load_of(visit.tank_need_l() * 10.0),
        skip_cost: units(problem.weights.unserved[level]).max(1),
        work_s: vec![work_s(request, 1), work_s(request, 2)],
    }
}

impl Built {
    /// Per class, when each of these requests can be served.
    fn services(&self, problem: &RoundsProblem, requests: &[Request]) -> Vec<Vec<Option<Service>>> {
        let mut services = vec![Vec::with_capacity(requests.len()); self.classes.len()];
        for request in requests {
            let able: Vec<bool> = self.kinds.iter().map(|kind| kind.against(request).is_empty()).collect();
            let mut bars = request.barred.iter().chain(&request.closed_starts);
            let by_van = bars.any(|bar| !bar.vans.is_empty());
            let mut known: BTreeMap<(usize, bool, Option<usize>), Option<Service>> = BTreeMap::new();
            for (class, (nth, crew)) in self.classes.iter().enumerate() {
                let by = Doer::of(problem, request, *nth, crew.len());
                let key = (crew.len(), by.noisy, by_van.then_some(*nth));
                let mut timed = || {
                    let make = || service(problem, request, by);
                    known.entry(key).or_insert_with(make).clone()
                };
                services[class].push(if able[self.kind_of[class]] { timed() } else { None });
            }
        }
        services
    }

    /// Requests, then depots.
    fn places<'a>(&'a self, problem: &'a RoundsProblem) -> impl Iterator<Item = &'a Place> {
        problem.requests.iter().map(|request| &request.visit.place).chain(&self.depots)
    }

    fn legs(&self, problem: &RoundsProblem) -> Vec<Leg> {
        let ways = Ways::of(problem, self.places(problem));
        let all = 0..ways.len();
        all.clone()
            .flat_map(|from| all.clone().map(move |to| (from, to)))
            .map(|(from, to)| ways.leg(from, to))
            .collect()
    }

    /// What can be done by the van and the crew of a candidate that is open to any visit.
    pub fn kind_of(&self, candidate: usize) -> Option<usize> {
        let candidate = self.candidates.get(candidate).filter(|candidate| !candidate.closed)?;
        let class = self.classes.binary_search(&(candidate.van, candidate.crew.clone())).ok()?;
        self.kind_of.get(class).copied()
    }

    /// The place of a node after those of requests.
    pub fn depot(&self, node: u32) -> Option<Place> {
        self.depots.get((node as usize).checked_sub(self.model.len())?).copied()
    }

    /// The node of a depot beside so many requests.
    fn node_of(&self, requests: usize, place: &Place) -> u32 {
        (requests + self.depots.iter().position(|known| known == place).unwrap_or(0)) as u32
    }

    /// The same with more requests at the end of the problem's, without judging the first `known` again. What is new is
    /// neither linked nor published.
    pub fn extended(&self, problem: &RoundsProblem, known: usize) -> Built {
        let new = &problem.requests[known..];
        let mut products = self.products.clone();
        products.extend(products_of_new(&self.products, new));
        let mut parts = self.model.parts.clone();
        let more = products.len() - self.products.len();
        for node in &mut parts.nodes {
            node.load.extend(std::iter::repeat_n(0, more));
        }
        parts.nodes.extend(new.iter().map(|request| node(problem, &products, request)));
        for (shift, candidate) in parts.shifts.iter_mut().zip(&self.candidates) {
            let van = &problem.vans[candidate.van].van;
            shift.capacity.extend(products[self.products.len()..].iter().map(|p| stock(van, p)));
            let depots = [&mut shift.start, &mut shift.end].into_iter();
            let depots = depots.chain(shift.refills.iter_mut().map(|refill| &mut refill.node));
            depots.for_each(|node| *node += new.len() as u32);
        }
        self.serve_more(problem, new, &mut parts.services);
        for costs in &mut parts.placing {
            costs.extend(std::iter::repeat_n(0, new.len()));
        }
        parts.legs = self.more_legs(problem, known, new.len());
        Built {
            model: Model::new(parts),
            candidates: self.candidates.clone(),
            faults: self.faults.clone(),
            kinds: Vec::new(),
            classes: Vec::new(),
            kind_of: Vec::new(),
            own: Vec::new(),
            days: self.days.clone(),
            depots: self.depots.clone(),
            products,
        }
    }

    /// Adds to the services of each class those of new requests.
    fn serve_more(&self, problem: &RoundsProblem, new: &[Request], services: &mut [Vec<Option<Service>>]) {
        let more = self.services(problem, new);
        let (shared, own) = services.split_at_mut(self.classes.len());
        for (row, &class) in own.iter_mut().zip(&self.own) {
            row.extend(new.iter().enumerate().map(|(nth, request)| {
                match class {
                    OwnClass::Closed => None,
                    OwnClass::InHours { shift, class } => more[class][nth]
                        .as_ref()
                        .and_then(|_| service_in_hours(problem, &self.candidates[shift], request)),
                }
            }));
        }
        for (row, more) in shared.iter_mut().zip(more) {
            row.extend(more);
        }
    }

    /// The legs with so many new places between those of the `known` requests and the depots.
    fn more_legs(&self, problem: &RoundsProblem, known: usize, new: usize) -> Vec<Leg> {
        let ways = Ways::of(problem, self.places(problem));
        let places = ways.len();
        let before = |place: usize| match place {
            place if place < known => Some(place),
            place if place < known + new => None,
            place => Some(place - new),
        };
        let pairs = (0..places * places).map(|at| (at / places, at % places));
        let leg = |(from, to)| match (before(from), before(to)) {
            (Some(a), Some(b)) => self.model.leg(a as u32, b as u32),
            _ => ways.leg(from, to),
        };
        pairs.map(leg).collect()
    }
}

fn products_of_new(known: &[String], new: &[Request]) -> Vec<String> {
    products(new).into_iter().filter(|product| !known.contains(product)).collect()
}

/// Machines run there: the steps' own, or the van's washer (rule R26, common practice).
pub fn is_noisy(request: &Request, van: &Van) -> bool {
    let washer = van.has("pressure_washer");
    request.visit.steps.iter().any(|step| step.machine || washer && step.runs_water)
}

/// The depot, then each van's home and refill places.
fn depots(problem: &RoundsProblem) -> Vec<Place> {
    let mut depots = vec![problem.depot];
    let homes = problem.vans.iter().filter_map(|rostered| rostered.van.home);
    let refills = problem.vans.iter().flat_map(|rostered| rostered.van.places_to_refill());
    let refills = refills.map(|refill| refill.place);
    for place in homes.chain(refills) {
        if !depots.contains(&place) {
            depots.push(place);
        }
    }
    depots
}

/// Ways between places that are known by number.
struct Ways<'a> {
    problem: &'a RoundsProblem,
    matrix: Option<&'a TravelMatrix>,
    places: Vec<&'a Place>,
    /// Where the matrix has each place.
    rows: Vec<Option<usize>>,
}

impl<'a> Ways<'a> {
    fn of(problem: &'a RoundsProblem, places: impl Iterator<Item = &'a Place>) -> Ways<'a> {
        let matrix = sound(problem.matrix.as_ref());
        let places: Vec<&Place> = places.collect();
        let row = |place: &&Place| matrix?.places.iter().position(|known| known.is_same(place));
        Ways { problem, matrix, rows: places.iter().map(row).collect(), places }
    }

    fn len(&self) -> usize {
        self.places.len()
    }

    fn leg(&self, from: usize, to: usize) -> Leg {
        let given = self.matrix.zip(self.rows[from].zip(self.rows[to]));
        let minutes = match given {
            Some((matrix, (row, column))) => matrix.minutes[row][column],
            None => way(&self.problem.travel, None, self.places[from], self.places[to]).1,
        };
        let time_s = (minutes.min(10_000.0) * 60.0).round() as i32;
        let cost = i64::from(time_s) * per_second(self.problem.weights.travel);
        Leg { cost: cost.min(i64::from(ENDLESS)) as i32, time_s }
    }
}

fn stock(van: &Van, product: &str) -> i32 {
    van.stock_ml.get(product).map_or(ENDLESS, |&ml| whole(ml))
}

/// Kilometres and minutes, by coordinates where the matrix is unsound or silent.
pub fn road(problem: &RoundsProblem, from: &Place, to: &Place) -> (f64, f64) {
    way(&problem.travel, sound(problem.matrix.as_ref()), from, to)
}

fn shift(problem: &RoundsProblem, candidate: &Candidate, built: &Built) -> Shift {
    let van = &problem.vans[candidate.van].van;
    let home = built.node_of(problem.requests.len(), &van.home.unwrap_or(problem.depot));
    let at = |time| seconds(problem, candidate.on.and_time(time));
    let spans: Vec<(i32, i32)> = candidate.hours.iter().map(|span| (at(span.from), at(span.to))).collect();
    let opens_s = spans.first().map_or(0, |span| span.0);
    let closes_s = spans.last().map_or(0, |span| span.1);
    let rest = problem.rest.map(|Rest { begins, minutes }| Break {
        from_s: at(begins.from),
        to_s: at(begins.to),
        length_s: (minutes.min(240) * 60) as i32,
    });
    let class = (candidate.van, candidate.crew.clone());
    let first_day = built.days.first().copied().unwrap_or(candidate.on);
    let shift = Shift {
        start: home,
        end: home,
        opens_s,
        closes_s,
        last_s: closes_s + overtime_s(problem),
        overtime_cost_per_s: per_second(problem.weights.overtime),
        fixed_cost: 0,
        capacity: capacity(van, &built.products),
        // What a share cannot be told exactly takes nothing away.
        tank: (usable(van.tank_l) * share_given(problem) * 10.0 + 1e-6) as i32,
        refills: refills(problem, van, built),
        rests: rests(&spans, rest),
        // A closed shift gets a class of its own.
        class: built.classes.binary_search(&class).map_or(u32::MAX, |nth| nth as u32),
        resources: resources(problem, candidate, built),
        day: (candidate.on - first_day).num_days() as u32,
        people: candidate.crew.len() as u32,
        crew: candidate.crew.iter().map(|&who| who as u32).collect(),
    };
    if candidate.closed {
        // Nobody's hours are known for it.
        return Shift { rests: Vec::new(), overtime_cost_per_s: 0, ..shift };
    }
    shift
}

/// Share of the tank that is not kept in reserve.
fn share_given(problem: &RoundsProblem) -> f64 {
    1.0 - usable(problem.margins.tank_reserve_share).min(1.0)
}

/// Energy everywhere and where no generator may run, then products.
fn capacity(van: &Van, products: &[String]) -> Vec<i32> {
    let battery = whole(van.battery_kwh * 1000.0);
    let energy = [if van.generator { ENDLESS } else { battery }, battery];
    energy.into_iter().chain(products.iter().map(|product| stock(van, product))).collect()
}

fn refills(problem: &RoundsProblem, van: &Van, built: &Built) -> Vec<RefillStop> {
    let stop = |refill: &Refill| RefillStop {
        node: built.node_of(problem.requests.len(), &refill.place),
        length_s: (usable(refill.minutes).min(600.0) * 60.0) as i32,
        cost: units(problem.weights.refill),
    };
    van.places_to_refill().map(stop).collect()
}

/// The van and the people of a candidate, each a number of its own on each day.
fn resources(problem: &RoundsProblem, candidate: &Candidate, built: &Built) -> Vec<u32> {
    let (vans, people) = (problem.vans.len(), problem.technicians.len());
    let day = built.days.binary_search(&candidate.on).unwrap_or(0);
    let number = |nth: usize| (day * (vans + people) + nth) as u32;
    let crew = candidate.crew.iter().map(|&who| number(vans + who));
    std::iter::once(number(candidate.van)).chain(crew).collect()
}

/// What it costs to put a published visit elsewhere, and any visit with others than those who are wanted.
fn placing(problem: &RoundsProblem, candidates: &[Candidate]) -> Vec<Vec<i64>> {
    if problem.requests.iter().all(|request| request.published.is_none() && request.wanted.is_empty()) {
        return Vec::new();
    }
    let cost = |candidate: &Candidate, request: &Request| {
        let crew: Vec<&str> =
            candidate.crew.iter().map(|&who| problem.technicians[who].technician.id.as_str()).collect();
        let is_parted =
            !request.wanted.is_empty() && !request.wanted.iter().any(|id| crew.contains(&id.as_str()));
        let parted = if is_parted { units(problem.weights.parted) } else { 0 };
        let Some(published) = &request.published else { return parted };
        let others = published.technicians.iter().filter(|id| !crew.contains(&id.as_str())).count();
        let same_shift =
            problem.vans[candidate.van].van.id == published.van && candidate.on == published.start.date();
        let shift = if same_shift { 0 } else { units(problem.weights.other_shift) };
        others as i64 * units(problem.weights.other_technician) + shift + parted
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
