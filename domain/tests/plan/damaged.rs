//! Jobs thrown by one number whose documents were damaged as text: values replaced, removed, doubled or taken from
//! elsewhere, numbers that are none, a shop's own tables with any cell changed.

use crate::scene::Scene;
use crate::thrown::{Dice, any_number, sane};
use domain::handbook::Handbook;
use domain::inspection::Grade;
use domain::plan::{FinishedStep, Norms, PlanFacts, Start};
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value, json};
use std::sync::{Arc, LazyLock};

/// What a request holds, and what the shop has recorded.
#[derive(Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Documents {
    facts: PlanFacts,
    start: Start,
    finished: Vec<FinishedStep>,
}

/// Where a damaged job was stopped before there was anything to plan.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stopped {
    /// The text is no document of this shape.
    Unreadable,
    /// The shop's tables do not fit together.
    Handbook,
}

/// A sane job of which some values of the documents were changed.
pub fn damaged(seed: u64) -> Result<Scene, Stopped> {
    let scene = sane(seed);
    let dice = &mut Dice(seed ^ 0xda3e_39cb);
    let mut value = serde_json::to_value(documents(dice, &scene)).map_err(|_| Stopped::Unreadable)?;
    let donor = value.clone();
    for _ in 0..1 + dice.below(3) {
        damage(dice, &mut value, &donor);
    }
    let text = in_text(dice, value.to_string());
    let read: Documents = serde_json::from_str(&text).map_err(|_| Stopped::Unreadable)?;
    let norms = Arc::new(Norms::learn(&read.finished));
    let Start { at: start, utc_offset_min, window_end } = read.start;
    let facts = PlanFacts { norms, ..read.facts };
    Ok(Scene { handbook: scene.handbook, facts, start, utc_offset_min, window_end })
}

/// A sane job of a shop that has changed some cells of the handbook, circles among the pairs included.
pub fn overridden(seed: u64) -> Result<Scene, Stopped> {
    let mut scene = sane(seed);
    let dice = &mut Dice(seed ^ 0x7a11_3ab1);
    let mut overrides = Map::new();
    for _ in 0..1 + dice.below(4) {
        let (table, row, cells) = if dice.chance(20) { turned_pair(dice) } else { changed_cell(dice) };
        if let Value::Object(rows) = overrides.entry(table).or_insert(json!({})) {
            rows.insert(row, cells);
        }
    }
    scene.handbook = scene.handbook.with_overrides(&overrides.into()).map_err(|_| Stopped::Handbook)?;
    Ok(scene)
}

fn documents(dice: &mut Dice, scene: &Scene) -> Documents {
    let steps: Vec<&str> = scene.handbook.steps.iter().map(|step| step.id.as_str()).collect();
    let finished = (0..dice.below(12)).map(|_| FinishedStep {
        step: dice.of(&steps).into(),
        grade: dice.of(&[Grade::LIGHT, Grade::TYPICAL, Grade::HEAVY]),
        technician: "Nimbo".into(),
        norm_minutes: dice.number(0.0, 30.0),
        minutes: dice.number(0.0, 60.0),
    });
    let start = Start::of(&scene.input());
    Documents { facts: scene.facts.clone(), start, finished: finished.collect() }
}

// ---- one value ----

/// Goes down a random way and changes what it meets.
fn damage(dice: &mut Dice, value: &mut Value, donor: &Value) {
    let children = match value {
        Value::Object(cells) => cells.len(),
        Value::Array(items) => items.len(),
        _ => 0,
    };
    if children == 0 || dice.chance(10) {
        *value = replaced(dice, value, donor);
        return;
    }
    let at = dice.below(children);
    match value {
        Value::Object(cells) => {
            let key = cells.keys().nth(at).cloned().unwrap_or_default();
            match dice.below(20) {
                0 => drop(cells.remove(&key)),
                1 => drop(cells.insert("unheard_of".into(), json!(1))),
                _ => cells.get_mut(&key).into_iter().for_each(|child| damage(dice, child, donor)),
            }
        }
        Value::Array(items) => match dice.below(20) {
            0 => drop(items.remove(at)),
            1 => items.extend(vec![items[at].clone(); 1 + dice.below(60)]),
            2 => items.reverse(),
            _ => damage(dice, &mut items[at], donor),
        },
        _ => {}
    }
}

fn replaced(dice: &mut Dice, value: &Value, donor: &Value) -> Value {
    let strange =
        [json!(null), json!(true), json!([]), json!({}), json!(""), json!(-1), json!(0), json!(u64::MAX)];
    match (dice.below(4), value) {
        (0, _) => dice.of(&strange),
        (1, _) => picked(dice, donor),
        (2, Value::Number(number)) => json!(number.as_f64().unwrap_or(0.0) * dice.number(-3.0, 3.0)),
        (_, Value::Number(_)) => json!(any_number(dice)),
        (_, Value::String(text)) => json!(text.chars().rev().collect::<String>()),
        (_, Value::Bool(yes)) => json!(!yes),
        _ => dice.of(&strange),
    }
}

/// A value from somewhere else in the documents.
fn picked(dice: &mut Dice, donor: &Value) -> Value {
    let child = match donor {
        Value::Object(cells) if !cells.is_empty() => cells.values().nth(dice.below(cells.len())),
        Value::Array(items) if !items.is_empty() => items.get(dice.below(items.len())),
        _ => None,
    };
    match child {
        Some(child) if dice.chance(80) => picked(dice, child),
        _ => donor.clone(),
    }
}

/// What only text can hold: numbers too large, words that are no JSON, an end in the middle.
fn in_text(dice: &mut Dice, text: String) -> String {
    match dice.below(40) {
        0 => text.replacen("0.", "1e999", 1),
        1 => text.replacen("0.", "NaN", 1),
        2 => text.chars().take(dice.below(text.len().max(1))).collect(),
        3 => text.replacen(':', ":[", dice.below(200)),
        _ => text,
    }
}

// ---- the shop's tables ----

static STANDARD: LazyLock<Value> =
    LazyLock::new(|| serde_json::to_value(Handbook::standard()).unwrap_or_default());

type Cell = (String, String, Value);

/// One cell of any table: a little otherwise, or something else entirely.
fn changed_cell(dice: &mut Dice) -> Cell {
    let (table, rows) = child(dice, &STANDARD);
    let (row, cells) = child(dice, rows);
    let (column, cell) = child(dice, cells);
    let changed = match cell {
        Value::Number(number) if dice.chance(70) => {
            let scaled = number.as_f64().unwrap_or(0.0) * dice.number(0.5, 2.0);
            if number.is_f64() { json!(scaled) } else { json!(scaled.round() as i64) }
        }
        Value::Object(_) => {
            let mut changed = cell.clone();
            damage(dice, &mut changed, &STANDARD["factors"]);
            changed
        }
        other => replaced(dice, other, &STANDARD["rules"]),
    };
    (table, row, json!({ column: changed }))
}

fn child<'a>(dice: &mut Dice, of: &'a Value) -> (String, &'a Value) {
    let cells = of.as_object().filter(|cells| !cells.is_empty());
    let drawn = cells.and_then(|cells| cells.iter().nth(dice.below(cells.len())));
    drawn.map_or((String::new(), &Value::Null), |(key, value)| (key.clone(), value))
}

/// A pair that comes to hold between other steps, or the other way round.
fn turned_pair(dice: &mut Dice) -> Cell {
    let (id, pair) = child(dice, &STANDARD["precedence"]);
    let (other, _) = child(dice, &STANDARD["steps"]);
    let cells = match dice.below(3) {
        0 => json!({ "before": pair["after"], "after": pair["before"] }),
        1 => json!({ "before": other }),
        _ => json!({ "after": other, "kind": "hard" }),
    };
    ("precedence".into(), id, cells)
}
