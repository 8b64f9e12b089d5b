//! What would break a client that was written for an earlier OpenAPI document: what it may send is refused, or what it
//! counts on in an answer is gone. More words in answers, more fields in answers and more that may be sent break nobody.

use serde_json::{Map, Value};
use std::collections::BTreeSet;
use std::sync::LazyLock;

/// Whether clients write or read a value.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Way {
    Sent,
    Answered,
}

/// Every break, each with its place.
pub fn breaks(before: &Value, after: &Value) -> Vec<String> {
    let (before, after) = (&flat(before, before), &flat(after, after));
    let mut found = Comparison { before, after, found: Vec::new(), seen: BTreeSet::new() };
    for (path, operations) in object(&before["paths"]) {
        for (method, operation) in object(operations) {
            let place = format!("{} {path}", method.to_uppercase());
            match after["paths"][path].get(method) {
                Some(new) => found.operation(&place, operation, new),
                None => found.add(&place, "is gone"),
            }
        }
    }
    found.found
}

struct Comparison<'a> {
    before: &'a Value,
    after: &'a Value,
    found: Vec<String>,
    /// Pairs of named schemas that were compared already: some are made of themselves.
    seen: BTreeSet<(String, String, Way)>,
}

impl Comparison<'_> {
    fn add(&mut self, place: &str, what: &str) {
        self.found.push(format!("{place} {what}"));
    }

    fn operation(&mut self, place: &str, before: &Value, after: &Value) {
        if before["operationId"] != after["operationId"] {
            self.add(place, "has another operationId");
        }
        self.parameters(place, before, after);
        if after["requestBody"]["required"] == true && before["requestBody"]["required"] != true {
            self.add(place, "needs a body");
        }
        let (old, new) = (&before["requestBody"]["content"], &after["requestBody"]["content"]);
        self.contents(place, Way::Sent, old, new);
        for (status, old) in object(&before["responses"]).iter().filter(|(status, _)| status.starts_with('2'))
        {
            let place = format!("{place} {status}");
            match after["responses"].get(status) {
                Some(new) => self.contents(&place, Way::Answered, &old["content"], &new["content"]),
                None => self.add(&place, "is gone"),
            }
        }
        for who in ["security", "x-roles"] {
            let lost = list(&before[who]).iter().find(|one| !list(&after[who]).contains(one));
            if let Some(lost) = lost {
                self.add(place, &format!("is closed to {lost}"));
            }
        }
    }

    fn parameters(&mut self, place: &str, before: &Value, after: &Value) {
        let key = |one: &Value| (one["in"].clone(), one["name"].clone());
        let (old, new) = (list(&before["parameters"]), list(&after["parameters"]));
        for one in old {
            let place = format!("{place} {}", text(&one["name"]));
            match new.iter().find(|other| key(other) == key(one)) {
                Some(other) => self.schema(&place, Way::Sent, &one["schema"], &other["schema"]),
                // Whatever a client sends in a header that nobody reads is ignored.
                None if one["in"] == "header" => {}
                None => self.add(&place, "is gone"),
            }
        }
        for one in new.iter().filter(|one| one["required"] == true) {
            if !old.iter().any(|other| key(other) == key(one) && other["required"] == true) {
                self.add(&format!("{place} {}", text(&one["name"])), "is needed");
            }
        }
    }

    fn contents(&mut self, place: &str, way: Way, before: &Value, after: &Value) {
        for (kind, old) in object(before) {
            match after.get(kind) {
                Some(new) => self.schema(place, way, &old["schema"], &new["schema"]),
                None => self.add(place, &format!("has no {kind} any more")),
            }
        }
    }

    fn schema(&mut self, place: &str, way: Way, before: &Value, after: &Value) {
        if let (Some(old), Some(new)) = (before["$ref"].as_str(), after["$ref"].as_str())
            && !self.seen.insert((old.to_owned(), new.to_owned(), way))
        {
            return;
        }
        // What was the only shape may be one of several that can be sent.
        let same = |choice: &&Value| before["$ref"].is_string() && choice["$ref"] == before["$ref"];
        if let Some(choice) = list(&after["anyOf"]).iter().find(same).filter(|_| way == Way::Sent) {
            return self.schema(place, way, before, choice);
        }
        let (old, new) = (resolved(self.before, before), resolved(self.after, after));
        self.types(place, way, old, new);
        self.words(place, way, old, new);
        if way == Way::Sent {
            self.limits(place, old, new);
        }
        self.choices(place, way, old, new);
        self.properties(place, way, old, new);
        self.values(place, way, old, new);
        if old["items"].is_object() && new["items"].is_object() {
            self.schema(&format!("{place}[]"), way, &old["items"], &new["items"]);
        }
    }

    fn types(&mut self, place: &str, way: Way, old: &Value, new: &Value) {
        let (before, after) = (types(old), types(new));
        let fits = match way {
            Way::Sent => after.is_empty() || (!before.is_empty() && before.is_subset(&after)),
            Way::Answered => before.is_empty() || (!after.is_empty() && after.is_subset(&before)),
        };
        if !fits {
            self.add(place, &format!("is {after:?} and was {before:?}"));
        }
        if old["format"] != new["format"] && (way == Way::Answered || !new["format"].is_null()) {
            self.add(place, &format!("has the format {} and had {}", new["format"], old["format"]));
        }
    }

    fn words(&mut self, place: &str, way: Way, old: &Value, new: &Value) {
        let (before, after) = (list(&old["enum"]), list(&new["enum"]));
        if way == Way::Answered || after.is_empty() {
            return;
        }
        if before.is_empty() {
            self.add(place, "takes some words only");
        }
        for lost in before.iter().filter(|word| !after.contains(word)) {
            self.add(place, &format!("does not take {lost} any more"));
        }
    }

    fn limits(&mut self, place: &str, old: &Value, new: &Value) {
        let number = |of: &Value, keyword: &str| of[keyword].as_f64();
        for keyword in ["maximum", "exclusiveMaximum", "maxLength", "maxItems", "maxProperties"] {
            let Some(after) = number(new, keyword) else { continue };
            if number(old, keyword).is_none_or(|before| after < before) {
                self.add(place, &format!("has a lower {keyword}"));
            }
        }
        for keyword in ["minimum", "exclusiveMinimum", "minLength", "minItems", "minProperties", "multipleOf"]
        {
            let Some(after) = number(new, keyword) else { continue };
            if number(old, keyword).is_none_or(|before| after > before) {
                self.add(place, &format!("has a higher {keyword}"));
            }
        }
        for keyword in ["pattern", "const", "uniqueItems"] {
            if !new[keyword].is_null() && new[keyword] != old[keyword] {
                self.add(place, &format!("has another {keyword}"));
            }
        }
    }

    /// Shapes are known by what they look like: one that can be sent no more, or another that may be answered where there
    /// was only one.
    fn choices(&mut self, place: &str, way: Way, old: &Value, new: &Value) {
        for keyword in ["oneOf", "anyOf"] {
            let (before, after) = (list(&old[keyword]), list(&new[keyword]));
            if before.len() == 1 && after.len() == 1 {
                self.schema(place, way, &before[0], &after[0]);
                continue;
            }
            if before.is_empty() != after.is_empty() {
                self.add(
                    place,
                    &format!("has a choice (`{keyword}`) where there was none, or none where there was"),
                );
            }
            for one in before {
                let mark = mark(self.before, one);
                match after.iter().find(|other| self::mark(self.after, other) == mark) {
                    Some(other) => self.schema(&format!("{place} ({mark})"), way, one, other),
                    None if way == Way::Sent => self.add(place, &format!("does not take ({mark}) any more")),
                    None => {}
                }
            }
        }
    }

    fn properties(&mut self, place: &str, way: Way, old: &Value, new: &Value) {
        let needed = |of: &Value, name: &str| list(&of["required"]).iter().any(|one| one == name);
        for (name, before) in object(&old["properties"]) {
            let place = format!("{place}.{name}");
            match new["properties"].get(name) {
                Some(after) => self.schema(&place, way, before, after),
                None => self.add(&place, "is gone"),
            }
            if way == Way::Answered && needed(old, name) && !needed(new, name) {
                self.add(&place, "may be missing");
            }
        }
        if way == Way::Sent {
            for name in list(&new["required"]).iter().filter_map(Value::as_str) {
                if !needed(old, name) {
                    self.add(&format!("{place}.{name}"), "is needed");
                }
            }
            if new["additionalProperties"] == false && old["additionalProperties"] != false {
                self.add(place, "refuses unknown fields");
            }
        }
    }

    /// What a map has under any name. Where nothing is said of it, it may be anything.
    fn values(&mut self, place: &str, way: Way, old: &Value, new: &Value) {
        let (before, after) = (&old["additionalProperties"], &new["additionalProperties"]);
        let is_map = before.is_object() || after.is_object();
        if is_map && *before != false && *after != false {
            self.schema(&format!("{place}.*"), way, before, after);
        }
    }
}

/// With the parts of a schema (`allOf`) put together.
fn flat(document: &Value, value: &Value) -> Value {
    match value {
        Value::Array(all) => all.iter().map(|one| flat(document, one)).collect(),
        Value::Object(fields) => {
            let mut whole: Map<String, Value> =
                fields.iter().map(|(name, value)| (name.clone(), flat(document, value))).collect();
            let Some(Value::Array(parts)) = whole.remove("allOf") else { return Value::Object(whole) };
            let mut whole = Value::Object(whole);
            parts.iter().for_each(|part| put_together(&mut whole, &flat(document, resolved(document, part))));
            // A part alone may refuse what another has.
            whole.as_object_mut().map(|whole| whole.remove("additionalProperties"));
            whole
        }
        other => other.clone(),
    }
}

fn put_together(whole: &mut Value, part: &Value) {
    for (name, value) in object(part) {
        match (&mut whole[name], value) {
            (Value::Object(to), Value::Object(from)) => to.extend(from.clone()),
            (Value::Array(to), Value::Array(from)) => to.extend(from.clone()),
            (to @ Value::Null, _) => *to = value.clone(),
            _ => {}
        }
    }
}

/// What tells one shape of a choice from the others: its name, its constant words, or its fields.
fn mark(document: &Value, choice: &Value) -> String {
    if let Some(name) = choice["$ref"].as_str() {
        return name.rsplit('/').next().unwrap_or_default().to_owned();
    }
    let schema = resolved(document, choice);
    let constants = object(&schema["properties"]).into_iter().filter_map(|(name, property)| {
        let words = list(&property["enum"]);
        (words.len() == 1).then(|| format!("{name} {}", words[0]))
    });
    let constants: Vec<String> = constants.collect();
    if !constants.is_empty() {
        return constants.join(", ");
    }
    let names: Vec<&str> = object(&schema["properties"]).keys().map(String::as_str).collect();
    format!("{:?} {} {}", types(schema), schema["enum"], names.join(" "))
}

fn resolved<'a>(document: &'a Value, schema: &'a Value) -> &'a Value {
    match schema["$ref"].as_str().and_then(|name| document.pointer(name.trim_start_matches('#'))) {
        Some(named) => resolved(document, named),
        None => schema,
    }
}

fn types(schema: &Value) -> BTreeSet<&str> {
    match &schema["type"] {
        Value::Array(all) => all.iter().filter_map(Value::as_str).collect(),
        one => one.as_str().into_iter().collect(),
    }
}

fn object(value: &Value) -> &Map<String, Value> {
    static NONE: LazyLock<Map<String, Value>> = LazyLock::new(Map::new);
    value.as_object().unwrap_or(&NONE)
}

fn list(value: &Value) -> &[Value] {
    value.as_array().map_or(&[], Vec::as_slice)
}

fn text(value: &Value) -> &str {
    value.as_str().unwrap_or_default()
}
