//! Instance files as models of the search. All numbers become tenths of a unit, distances truncated (DIMACS convention).

use domain::dispatch::search::{Leg, Model, Node, Parts, RefillStop, Service, Shift};
use std::collections::BTreeMap;
use std::error::Error;

type Failure = Box<dyn Error>;

/// Place, demand, window and service time of the depot and then of every customer.
struct Row {
    x: f64,
    y: f64,
    demand: i32,
    ready: f64,
    due: f64,
    service: f64,
}

struct Van {
    capacity: i32,
    /// Rows that it may serve; `None`: all.
    allowed: Option<Vec<usize>>,
}

struct Instance {
    rows: Vec<Row>,
    vans: Vec<Van>,
    /// Vans may fill up at the depot on the way.
    refills: bool,
}

pub fn model(text: &str) -> Result<Model, Failure> {
    let instance = if text.contains("NODE_COORD_SECTION") { keyed(text) } else { solomon(text) };
    instance.map(|instance| instance.model())
}

fn numbers(line: &str) -> Option<Vec<f64>> {
    line.split_whitespace().map(|word| word.parse().ok()).collect()
}

fn solomon(text: &str) -> Result<Instance, Failure> {
    let lines: Vec<Vec<f64>> = text.lines().filter_map(numbers).collect();
    let fleet = lines.iter().find(|line| line.len() == 2).ok_or("no vehicles")?;
    let rows = lines.iter().filter(|line| line.len() == 7);
    let row =
        |l: &Vec<f64>| Row { x: l[1], y: l[2], demand: l[3] as i32, ready: l[4], due: l[5], service: l[6] };
    Ok(Instance { rows: rows.map(row).collect(), vans: alike(fleet[0] as usize, fleet[1]), refills: false })
}

fn alike(count: usize, capacity: f64) -> Vec<Van> {
    (0..count).map(|_| Van { capacity: capacity as i32, allowed: None }).collect()
}

/// Files with a keyword for each section.
fn keyed(text: &str) -> Result<Instance, Failure> {
    let value = |key: &str| {
        text.lines().find_map(|line| line.strip_prefix(key)?.rsplit(':').next()?.trim().parse().ok())
    };
    // Numbers behind the number of each line of a section.
    let section = |key: &str| -> Vec<Vec<f64>> {
        let lines = text.lines().skip_while(|line| line.trim() != key).skip(1);
        lines.map_while(numbers).take_while(|line| !line.is_empty()).map(|line| line[1..].to_vec()).collect()
    };
    let first = |lines: &[Vec<f64>], nth: usize| lines.get(nth).and_then(|line| line.first()).copied();
    let (demands, services) = (section("DEMAND_SECTION"), section("SERVICE_TIME_SECTION"));
    let places = section("NODE_COORD_SECTION");
    let mut rows = Vec::new();
    for (nth, (place, window)) in places.iter().zip(section("TIME_WINDOW_SECTION")).enumerate() {
        let same_service: Option<f64> =
            if nth == 0 { Some(0.0) } else { value("SERVICE_TIME ").or(value("SERVICE_TIME:")) };
        rows.push(Row {
            x: place[0],
            y: place[1],
            demand: first(&demands, nth).unwrap_or(0.0) as i32,
            ready: window[0],
            due: window[1],
            service: first(&services, nth).or(same_service).ok_or("no service time")?,
        });
    }
    Ok(Instance {
        rows,
        vans: vans(text, value("CAPACITY"), &section)?,
        refills: text.contains("RELOAD_DEPOT_SECTION"),
    })
}

/// Where all vans carry the same, the distance objective of Gehring & Homberger's instances uses 50.
fn vans(
    text: &str,
    capacity: Option<f64>,
    section: &dyn Fn(&str) -> Vec<Vec<f64>>,
) -> Result<Vec<Van>, Failure> {
    let allowed = section("VEHICLES_ALLOWED_CLIENTS_SECTION");
    let refills = section("VEHICLES_RELOAD_DEPOT_SECTION");
    if !text.contains("\nCAPACITY_SECTION") {
        return Ok(alike(
            if refills.is_empty() { 50 } else { refills.len() },
            capacity.ok_or("no capacity")?,
        ));
    }
    let rows = |nth: usize| allowed.get(nth).map(|line| line.iter().map(|row| *row as usize - 1).collect());
    let of = |(nth, line): (usize, &Vec<f64>)| Van { capacity: line[0] as i32, allowed: rows(nth) };
    Ok(section("CAPACITY_SECTION").iter().enumerate().map(of).collect())
}

fn tenths(value: f64) -> i32 {
    (value * 10.0) as i32
}

impl Instance {
    fn model(&self) -> Model {
        let customers = &self.rows[1..];
        let order: Vec<&Row> = customers.iter().chain([&self.rows[0]]).collect();
        let leg = |a: &Row, b: &Row| {
            let length = tenths((a.x - b.x).hypot(a.y - b.y));
            Leg { cost: length, time_s: length }
        };
        let mut classes: BTreeMap<&Option<Vec<usize>>, u32> = BTreeMap::new();
        let shifts = self.vans.iter().map(|van| {
            let next = classes.len() as u32;
            self.shift(van, *classes.entry(&van.allowed).or_insert(next))
        });
        let shifts = shifts.collect();
        let mut services = vec![Vec::new(); classes.len()];
        for (allowed, class) in classes {
            let may = |row: usize| allowed.as_ref().is_none_or(|rows| rows.contains(&row));
            let service = |row: &Row| Service::fixed(tenths(row.ready), tenths(row.due), tenths(row.service));
            services[class as usize] =
                customers.iter().enumerate().map(|(nth, row)| may(nth + 1).then(|| service(row))).collect();
        }
        Model::new(Parts {
            nodes: customers.iter().map(|row| self.node(row)).collect(),
            legs: order.iter().flat_map(|a| order.iter().map(|b| leg(a, b))).collect(),
            shifts,
            services,
            ..Parts::default()
        })
    }

    fn node(&self, row: &Row) -> Node {
        let (load, water) = if self.refills { (0, row.demand) } else { (row.demand, 0) };
        Node { load: vec![load], water, skip_cost: 100_000_000, ..Node::default() }
    }

    fn shift(&self, van: &Van, class: u32) -> Shift {
        let depot = (self.rows.len() - 1) as u32;
        let (opens_s, closes_s) = (tenths(self.rows[0].ready), tenths(self.rows[0].due));
        let refill = self.refills.then_some(RefillStop { node: depot, length_s: 0, cost: 0 });
        Shift {
            start: depot,
            end: depot,
            opens_s,
            closes_s,
            last_s: closes_s,
            capacity: vec![van.capacity],
            tank: van.capacity,
            refills: refill.into_iter().collect(),
            class,
            ..Shift::default()
        }
    }
}
