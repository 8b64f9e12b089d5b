//! Runs the search for rounds on public instances of vehicle routing with time windows (Solomon 1987, Gehring &
//! Homberger 1999; also with refills or with skills) and prints how far it stays from the best-known distances.
//!
//! `cargo run --release -p domain --example vrptw -- <folder> <best.csv> <seconds> [first seed] [seeds] [name, or part of it]`
//!
//! Distances follow the DIMACS convention: truncated to one decimal. `best.csv`: instance, distance. One line per run:
//! instance, seed, distance, gap in percent, iterations, processor seconds, vans used.

#![allow(
    clippy::disallowed_methods,
    clippy::disallowed_macros,
    reason = "a program that measures: it reads files, asks the time and prints"
)]

mod read;

use domain::dispatch::search::{Model, Options, Watch, search};
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
    let exact = instances.iter().any(|(name, ..)| name == part);
    let wanted = |name: &str| if exact { name == part } else { name.contains(part) };
    for (name, model, known) in instances.iter().filter(|(name, ..)| wanted(name)) {
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
        if iterations.is_multiple_of(16) {
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
        let names =
            [file.rsplit_once('.').map_or("", |(stem, _)| stem), file.split('.').next().unwrap_or("")];
        if let Some((name, &distance)) = names.iter().find_map(|name| known.get_key_value(*name)) {
            instances.push((name.clone(), read::model(&std::fs::read_to_string(&path)?)?, distance));
        }
    }
    instances.sort_by(|one, other| one.0.cmp(&other.0));
    Ok(instances)
}
