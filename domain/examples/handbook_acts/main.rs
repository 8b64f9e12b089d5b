//! Every number and switch of the handbook acts: a shop that overrides it sees another plan, quote, estimate or
//! forecast. The walk goes over each column and, one by one, over each factor and rule parameter; a value that changes
//! nothing is a fault of the handbook, unless it stands on a list (`places.rs`) with the place where it is used.
//!
//! `cargo run --release -p domain --example handbook_acts`; about two minutes of one processor. Ends with an error
//! that names the values at fault.
#![allow(
    clippy::disallowed_methods,
    clippy::disallowed_macros,
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    dead_code,
    reason = "a program that tries and prints, on the tests' own jobs"
)]

mod places;
#[path = "../../tests/plan_cases/mod.rs"]
mod plan_cases;
#[path = "../../tests/plan/scene.rs"]
mod scene;
mod scenes;

use domain::handbook::Handbook;
use scenes::{Probe, probes};
use serde_json::{Map, Value, json};
use std::collections::BTreeSet;
use std::error::Error;
use std::sync::Mutex;
use std::thread;

/// A cell, or all cells of a column: `table/column`, `factors/id` or `rules/id/parameter`.
type Name = String;

/// An answer, without its record of what it rests on, which repeats any number.
fn outcome(probe: &Probe, handbook: &Handbook) -> Value {
    let mut answer = (probe.run)(handbook);
    if let Some(fields) = answer.as_object_mut() {
        fields.retain(|name, _| !["assumptions", "handbook"].contains(&name.as_str()));
    }
    answer
}

/// The handbook as a JSON document.
fn standard() -> Value {
    serde_json::to_value(Handbook::standard()).unwrap()
}

/// Every column with a number or a switch in it, and every factor and parameter, with the ways to change it.
fn names(tables: &Value) -> Vec<Name> {
    let mut names = BTreeSet::new();
    for (table, rows) in tables.as_object().unwrap().iter().filter(|(table, _)| *table != "version") {
        for (id, row) in rows.as_object().unwrap() {
            for (column, cell) in row.as_object().unwrap() {
                match (table.as_str(), cell) {
                    ("factors", Value::Number(_)) => drop(names.insert(format!("factors/{id}"))),
                    ("rules", Value::Object(parameters)) => {
                        names.extend(parameters.keys().map(|name| format!("rules/{id}/{name}")))
                    }
                    (_, Value::Number(_) | Value::Bool(_) | Value::Object(_)) => {
                        names.insert(format!("{table}/{column}"));
                    }
                    _ => {}
                }
            }
        }
    }
    names.into_iter().collect()
}

/// Other values for a cell: numbers in both directions, by little and by much; a switch has one.
fn others(cell: &Value) -> Vec<Value> {
    match cell {
        Value::Bool(on) => vec![json!(!on)],
        Value::Number(number) => {
            let now = number.as_f64().unwrap();
            let by = [1.5, 0.5, 3.0, 0.1].map(|factor| now * factor);
            let step = [now + 1.0, now - 1.0, now + 0.01, 0.0, now + 3.0];
            let whole = number.is_u64();
            let new = by.into_iter().chain(step).map(|new| if whole { new.round() } else { new });
            let new: Vec<f64> =
                new.filter(|new| *new >= 0.0 || now < 0.0).filter(|new| *new != now).collect();
            new.into_iter().map(|new| if whole { json!(new as u64) } else { json!(new) }).collect()
        }
        Value::Object(fields) => {
            let first = fields.iter().next();
            let changed =
                first.map(|(name, cell)| others(cell).into_iter().map(|new| json!({ name: new })).collect());
            changed.unwrap_or_default()
        }
        _ => Vec::new(),
    }
}

/// The documents of overrides that change a named value, one after the other.
fn overrides(tables: &Value, name: &str) -> Vec<Value> {
    let parts: Vec<&str> = name.split('/').collect();
    match parts[..] {
        ["factors", id] => {
            let now = &tables["factors"][id]["value"];
            others(now).into_iter().map(|new| json!({"factors": {id: {"value": new}}})).collect()
        }
        ["rules", id, parameter] => {
            let now = &tables["rules"][id]["parameters"][parameter];
            let one = |new| json!({"rules": {id: {"parameters": {parameter: new}}}});
            others(now).into_iter().map(one).collect()
        }
        [table, column] => {
            let rows = tables[table].as_object().unwrap();
            let ways = rows.values().map(|row| others(&row[column]).len()).max().unwrap_or(0);
            let way = |way: usize| {
                let cells = rows
                    .iter()
                    .filter_map(|(id, row)| Some((id.clone(), others(&row[column]).get(way)?.clone())));
                let cells: Map<String, Value> = cells.map(|(id, new)| (id, json!({ column: new }))).collect();
                json!({ table: cells })
            };
            // All rows at once, which seldom escapes notice; then each by itself, which fits the others sooner.
            let alone = rows.iter().flat_map(|(id, row)| {
                others(&row[column]).into_iter().map(move |new| json!({ table: { id: { column: new } } }))
            });
            (0..ways).map(way).chain(alone).collect()
        }
        _ => unreachable!("{name}"),
    }
}

/// The shop's handbook; rows whose new cell does not fit the others keep the old one.
fn shop(mut overrides: Value) -> Option<Handbook> {
    for _ in 0..4 {
        let faults = match Handbook::standard().with_overrides(&overrides) {
            Ok(handbook) => return Some(handbook),
            Err(faults) => faults,
        };
        for fault in faults {
            let mut parts = fault.pointer.split('/').skip(1);
            let (table, row) = (parts.next()?, parts.next()?);
            // A fault elsewhere is of the same making: the change does not fit at all.
            overrides.get_mut(table)?.as_object_mut()?.remove(row)?;
        }
        if overrides.as_object()?.values().all(|rows| rows.as_object().is_some_and(Map::is_empty)) {
            return None;
        }
    }
    None
}

struct Walk {
    tables: Value,
    probes: Vec<Probe>,
    before: Vec<Value>,
    /// The answers before as text, to be searched for names.
    texts: Vec<String>,
}

impl Walk {
    fn new() -> Walk {
        let probes = probes();
        let before: Vec<Value> = probes.iter().map(|probe| outcome(probe, Handbook::standard())).collect();
        let refused = before.iter().find(|answer| answer.get("refused").is_some());
        assert_eq!(refused, None, "a question that has no answer");
        let texts = before.iter().map(Value::to_string).collect();
        Walk { tables: standard(), probes, before, texts }
    }

    /// Whether any other value of it changes any answer.
    fn acts(&self, name: &str) -> bool {
        let order = self.likely_first(name);
        let mut handbooks = overrides(&self.tables, name).into_iter().filter_map(shop);
        handbooks.any(|handbook| order.iter().any(|&at| self.changed(at, &handbook)))
    }

    fn changed(&self, at: usize, handbook: &Handbook) -> bool {
        outcome(&self.probes[at], handbook) != self.before[at]
    }

    /// Probes that look at the table at all, those first whose answer names the rule or the row.
    fn likely_first(&self, name: &str) -> Vec<usize> {
        let mut parts = name.split('/');
        let table = parts.next().unwrap_or_default();
        let id = parts.next().unwrap_or_default();
        let mut order: Vec<usize> =
            (0..self.probes.len()).filter(|&at| self.probes[at].reads(table)).collect();
        let word = format!("\"{id}\"");
        let names = |at: usize| self.texts[at].contains(&word);
        order.sort_by_cached_key(|&at| (!names(at), self.probes[at].dear));
        order
    }
}

fn listed() -> impl Iterator<Item = &'static str> {
    places::ELSEWHERE.iter().chain(places::PROSE).map(|(name, _)| *name)
}

/// The names of which something holds, found on all processors.
fn those(names: &[Name], holds: impl Fn(&str) -> bool + Sync) -> Vec<Name> {
    let (next, found) = (Mutex::new(names.iter()), Mutex::new(Vec::new()));
    let workers = thread::available_parallelism().map_or(1, |count| count.get());
    thread::scope(|scope| {
        for _ in 0..workers {
            scope.spawn(|| {
                while let Some(name) = { next.lock().unwrap().next() } {
                    if holds(name) {
                        found.lock().unwrap().push(name.clone());
                    }
                }
            });
        }
    });
    let mut found = found.into_inner().unwrap();
    found.sort();
    found
}

fn main() -> Result<(), Box<dyn Error>> {
    let walk = Walk::new();
    let all = names(&walk.tables);
    let (listed, judged): (Vec<Name>, Vec<Name>) =
        all.iter().cloned().partition(|name| listed().any(|one| one == name));
    let mut faults = unknown(&all);
    faults.extend(inert(&walk, &judged));
    faults.extend(acting(&walk, &listed));
    println!("{} values act, {} are listed, {} are at fault", judged.len(), listed.len(), faults.len());
    if faults.is_empty() { Ok(()) } else { Err(faults.join("\n").into()) }
}

fn unknown(all: &[Name]) -> Vec<String> {
    let gone = listed().filter(|name| !all.iter().any(|known| known == name));
    gone.map(|name| format!("{name} is listed and not in the handbook")).collect()
}

fn inert(walk: &Walk, judged: &[Name]) -> Vec<String> {
    let inert = those(judged, |name| !walk.acts(name));
    inert.iter().map(|name| format!("{name} changes nothing")).collect()
}

/// What is listed does nothing here: else it is struck off the list and watched.
fn acting(walk: &Walk, listed: &[Name]) -> Vec<String> {
    let first = |name: &str| overrides(&walk.tables, name).into_iter().find_map(shop);
    let acts = |name: &str| {
        first(name)
            .is_some_and(|handbook| walk.likely_first(name).iter().any(|&at| walk.changed(at, &handbook)))
    };
    those(listed, acts).iter().map(|name| format!("{name} is listed and acts")).collect()
}
