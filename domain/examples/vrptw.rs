//! Runs the search for rounds on public instances of vehicle routing with time windows (Solomon 1987, Gehring &
//! Homberger 1999) and prints how far it stays from the best-known distances.
//!
//! `cargo run --release -p domain --example vrptw -- <folder> <best.csv> <seconds> [first seed] [seeds] [name part]`
//!
//! Distances follow the DIMACS convention: truncated to one decimal. `best.csv`: instance, distance. One line per run:
//! instance, seed, distance, gap in percent, iterations, processor seconds, vans used.

#![allow(
    clippy::disallowed_methods,
    clippy::disallowed_macros,
    reason = "a program that measures: it reads files, asks the time and prints"
)]

use domain::dispatch::search::{Leg, Model, Node, Options, Parts, Service, Shift, Watch, search};
use std::collections::BTreeMap;
use std::error::Error;
use std::path::Path;

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [folder, best, seconds, rest @ ..] = arguments.as_slice() else {
        return Err("usage: vrptw <folder> <best.csv> <seconds> [first seed] [seeds] [name part]".into());
    };
    let number = |nth: usize, usual: u64| rest.get(nth).map_or(Ok(usual), |text| text.parse());
    let (first, count) = (number(0, 1)?, number(1, 1)?);
    let part = rest.get(2).map_or("", String::as_str);
    let instances = instances(Path::new(folder), &std::fs::read_to_string(best)?)?;
    let mut classes: BTreeMap<String, Vec<f64>> = BTreeMap::new();
    for (name, model, known) in instances.iter().filter(|(name, ..)| name.contains(part)) {
        for seed in first..first + count {
            let mut watch = Seconds { began: processor_seconds(), limit: seconds.parse()?, share: 0.0 };
            let options = options(seed)?;
            let (found, iterations) = search(model, &options, &mut watch);
            let distance = found.cost(model) as f64 / 10.0;
            let gap = (distance / known - 1.0) * 100.0;
            let spent = processor_seconds() - watch.began;
            println!("{name},{seed},{distance:.1},{gap:.3},{iterations},{spent:.2},{}", found.used());
            classes.entry(class_of(name)).or_default().push(gap);
            classes.entry("all".into()).or_default().push(gap);
        }
    }
    for (class, gaps) in &classes {
        println!("# {class:<4} {:.3}", gaps.iter().sum::<f64>() / gaps.len() as f64);
    }
    Ok(())
}

/// `R1` of `R101` and of `R1_2_3`.
fn class_of(name: &str) -> String {
    let first_digit = name.find(|letter: char| letter.is_ascii_digit()).unwrap_or(0);
    name.chars().take(first_digit + 1).collect()
}

fn options(seed: u64) -> Result<Options, Box<dyn Error>> {
    let mut options = Options { seed, ..Options::default() };
    let set = |name: &str, value: &mut f64| -> Result<(), Box<dyn Error>> {
        if let Ok(text) = std::env::var(name) {
            *value = text.parse()?;
        }
        Ok(())
    };
    set("HOT", &mut options.hot)?;
    set("COLD", &mut options.cold)?;
    let mut starts = options.starts as f64;
    set("STARTS", &mut starts)?;
    options.starts = starts as u64;
    set("REMOVALS", &mut options.ruin.removals)?;
    set("LONGEST", &mut options.ruin.longest)?;
    Ok(options)
}

/// Processor seconds of this process: on a busy machine the clock on the wall says nothing.
fn processor_seconds() -> f64 {
    let spent = std::fs::read_to_string("/proc/self/schedstat").unwrap_or_default();
    spent.split(' ').next().and_then(|nanoseconds| nanoseconds.parse::<f64>().ok()).unwrap_or(f64::NAN) * 1e-9
}

struct Seconds {
    began: f64,
    limit: f64,
    share: f64,
}

impl Watch for Seconds {
    fn spent(&mut self, iterations: u64) -> Option<f64> {
        if iterations.is_multiple_of(256) {
            self.share = (processor_seconds() - self.began) / self.limit;
        }
        (self.share < 1.0).then_some(self.share)
    }
}

/// Name, model and best-known distance.
type Instance = (String, Model, f64);

fn instances(folder: &Path, best: &str) -> Result<Vec<Instance>, Box<dyn Error>> {
    let mut known: BTreeMap<String, f64> = BTreeMap::new();
    for line in best.lines().skip(1) {
        let mut fields = line.split(',');
        let (Some(name), Some(distance)) = (fields.next(), fields.next()) else { continue };
        known.insert(name.to_uppercase(), distance.parse()?);
    }
    let mut instances = Vec::new();
    for entry in std::fs::read_dir(folder)? {
        let path = entry?.path();
        let file = path.file_name().and_then(|name| name.to_str()).unwrap_or_default().to_uppercase();
        let name = file.split('.').next().unwrap_or_default().to_owned();
        if let Some(&distance) = known.get(&name) {
            instances.push((name, read(&std::fs::read_to_string(&path)?)?, distance));
        }
    }
    instances.sort_by(|one, other| one.0.cmp(&other.0));
    Ok(instances)
}

/// Place, demand, window and service time of the depot and then of every customer.
struct Row {
    x: f64,
    y: f64,
    demand: i32,
    ready: f64,
    due: f64,
    service: f64,
}

fn read(text: &str) -> Result<Model, Box<dyn Error>> {
    if text.contains("NODE_COORD_SECTION") { keyed(text) } else { solomon(text) }
}

fn solomon(text: &str) -> Result<Model, Box<dyn Error>> {
    let lines =
        text.lines().map(|line| line.split_whitespace().map(str::parse).collect::<Result<Vec<f64>, _>>());
    let lines: Vec<Vec<f64>> = lines.filter_map(Result::ok).collect();
    let [vehicles, capacity] = lines.iter().find(|line| line.len() == 2).ok_or("no vehicles")?[..] else {
        return Err("no capacity".into());
    };
    let rows = lines.iter().filter(|line| line.len() == 7);
    let row =
        |l: &Vec<f64>| Row { x: l[1], y: l[2], demand: l[3] as i32, ready: l[4], due: l[5], service: l[6] };
    Ok(model(vehicles as usize, capacity as i32, &rows.map(row).collect::<Vec<_>>()))
}

/// Lines of numbers.
type Lines = Vec<Vec<f64>>;

/// Files with a keyword for each section.
fn keyed(text: &str) -> Result<Model, Box<dyn Error>> {
    let value = |key: &str| -> Result<f64, Box<dyn Error>> {
        let line = text.lines().find(|line| line.starts_with(key)).ok_or_else(|| format!("no {key}"))?;
        Ok(line.rsplit(':').next().unwrap_or_default().trim().parse()?)
    };
    let section = |key: &str| -> Lines {
        let lines = text.lines().skip_while(|line| !line.starts_with(key)).skip(1);
        let numbers = |line: &str| line.split_whitespace().map(str::parse).collect::<Result<Vec<f64>, _>>();
        lines
            .map(numbers)
            .take_while(|l| l.as_ref().is_ok_and(|l| l.len() > 1))
            .filter_map(Result::ok)
            .collect()
    };
    let (places, demands, windows) =
        (section("NODE_COORD_SECTION"), section("DEMAND_SECTION"), section("TIME_WINDOW_SECTION"));
    let service = value("SERVICE_TIME")?;
    let row = |nth: usize, place: &[f64], demand: &[f64], window: &[f64]| Row {
        x: place[1],
        y: place[2],
        demand: demand[1] as i32,
        ready: window[1],
        due: window[2],
        service: if nth == 0 { 0.0 } else { service },
    };
    let rows = places.iter().zip(&demands).zip(&windows).enumerate();
    let rows = rows.map(|(nth, ((place, demand), window))| row(nth, place, demand, window));
    Ok(model(50, value("CAPACITY")? as i32, &rows.collect::<Vec<_>>()))
}

/// Tenths of a unit throughout.
fn model(vehicles: usize, capacity: i32, rows: &[Row]) -> Model {
    let tenths = |value: f64| (value * 10.0) as i32;
    let customers = || rows[1..].iter();
    let order: Vec<&Row> = customers().chain([&rows[0]]).collect();
    let leg = |a: &Row, b: &Row| {
        let length = tenths((a.x - b.x).hypot(a.y - b.y));
        Leg { cost: length, time_s: length }
    };
    let service = |row: &Row| Some(Service::fixed(tenths(row.ready), tenths(row.due), tenths(row.service)));
    let depot = (rows.len() - 1) as u32;
    let shift = Shift {
        start: depot,
        end: depot,
        closes_s: tenths(rows[0].due),
        last_s: tenths(rows[0].due),
        capacity: vec![capacity],
        ..Shift::default()
    };
    Model::new(Parts {
        nodes: customers()
            .map(|row| Node { load: vec![row.demand], skip_cost: 100_000_000, ..Node::default() })
            .collect(),
        legs: order.iter().flat_map(|a| order.iter().map(|b| leg(a, b))).collect(),
        shifts: vec![shift; vehicles],
        services: vec![customers().map(service).collect()],
        ..Parts::default()
    })
}
