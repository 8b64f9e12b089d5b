//! Values made from the schemas of the OpenAPI document: the smallest that fits, and those that break one rule each.

use serde_json::{Map, Value, json};

/// An id that nothing has.
pub const NOBODY: &str = "01890000-0000-7000-8000-000000000000";
/// Longest list that is written out to show that it is too long.
const LONGEST: u64 = 2_000;
const DEEPEST: usize = 8;

/// A value that breaks one rule of its schema.
#[derive(Debug, Clone)]
pub struct Broken {
    /// Where, as a JSON pointer.
    pub pointer: String,
    /// The keyword of JSON Schema that is broken.
    pub rule: &'static str,
    pub value: Value,
    /// Below a choice of several shapes: which one was meant nobody can tell, so the place may be told less exactly.
    pub within_choice: bool,
}

/// The schema itself, where it is named by reference.
pub fn resolved(schema: &Value) -> &Value {
    match schema["$ref"].as_str() {
        Some(reference) => {
            let pointer = reference.trim_start_matches('#');
            resolved(api::openapi::document().pointer(pointer).expect("a reference that leads somewhere"))
        }
        None => schema,
    }
}

/// The smallest value that fits.
pub fn sample(schema: &Value) -> Value {
    let schema = resolved(schema);
    if let Some(choice) = choices(schema).first() {
        return sample(choice);
    }
    if let Some(words) = schema["enum"].as_array() {
        return words[0].clone();
    }
    match kind(schema) {
        "object" => {
            let required = schema["required"].as_array().into_iter().flatten().filter_map(Value::as_str);
            Value::Object(
                required.map(|name| (name.to_owned(), sample(&schema["properties"][name]))).collect(),
            )
        }
        "array" => {
            let least = schema["minItems"].as_u64().unwrap_or(0);
            Value::Array((0..least).map(|_| entry(schema)).collect())
        }
        "integer" => schema["minimum"].as_i64().map_or(json!(1), |least| json!(least)),
        "number" => schema["minimum"].as_f64().map_or(json!(1.0), |least| json!(least)),
        "boolean" => json!(false),
        "null" => Value::Null,
        _ => text(schema),
    }
}

/// An entry of a list.
fn entry(list: &Value) -> Value {
    list["example"].get(0).cloned().unwrap_or_else(|| sample(&list["items"]))
}

fn text(schema: &Value) -> Value {
    let example = schema["example"].as_str().or(schema["examples"][0].as_str());
    let least = schema["minLength"].as_u64().unwrap_or(1) as usize;
    json!(match (schema["format"].as_str(), example) {
        (Some("uuid"), _) => NOBODY.to_owned(),
        (Some("date"), None) => "2026-05-04".to_owned(),
        (Some("date-time"), None) => "2026-05-04T08:00:00Z".to_owned(),
        (Some("time"), None) => "08:00:00".to_owned(),
        (Some("email"), None) => "a@shop.test".to_owned(),
        (_, Some(example)) => example.to_owned(),
        _ => "a".repeat(least.max(1)),
    })
}

/// Values of this schema with this text in the place of one text each, wherever there may be one, and where that is; a map
/// has it as a name, too.
pub fn with_text(schema: &Value, text: &str) -> Vec<(String, Value)> {
    all_with_text(schema, text, DEEPEST)
}

fn all_with_text(schema: &Value, text: &str, deep: usize) -> Vec<(String, Value)> {
    let schema = resolved(schema);
    if deep == 0 {
        return Vec::new();
    }
    let below = |part: &Value| all_with_text(part, text, deep - 1);
    let choices = choices(schema);
    if !choices.is_empty() {
        return choices.into_iter().flat_map(below).collect();
    }
    match kind(schema) {
        "string" => vec![(String::new(), json!(text))],
        "array" => {
            let least = schema["minItems"].as_u64().unwrap_or(1).max(1) as usize;
            let in_list = |(pointer, value): (String, Value)| {
                let mut list = vec![entry(schema); least];
                list[0] = value;
                (format!("/0{pointer}"), Value::Array(list))
            };
            below(&schema["items"]).into_iter().map(in_list).collect()
        }
        "object" => {
            let whole = sample(schema);
            let named = |name: &str, (pointer, value): (String, Value)| {
                let mut object = whole.clone();
                object[name] = value;
                (format!("/{}{pointer}", escaped(name)), object)
            };
            let values = &schema["additionalProperties"];
            let fields = schema["properties"].as_object().into_iter().flatten();
            let in_fields =
                fields.flat_map(|(name, part)| below(part).into_iter().map(move |one| named(name, one)));
            let in_map = values.is_object().then(|| named(text, (String::new(), sample(values))));
            let in_values = below(values).into_iter().map(|one| named("name", one));
            in_fields.chain(in_map).chain(in_values).collect()
        }
        _ => Vec::new(),
    }
}

/// Values of this schema that break one rule each; without `required`, what may be left out of a merge patch is no rule.
pub fn broken(schema: &Value, required: bool) -> Vec<Broken> {
    all_broken(schema, required, DEEPEST)
}

fn all_broken(schema: &Value, required: bool, deep: usize) -> Vec<Broken> {
    let schema = resolved(schema);
    if deep == 0 {
        return Vec::new();
    }
    let choices = choices(schema);
    if !choices.is_empty() {
        let several = choices.len() > 1;
        let all = choices.iter().flat_map(|choice| all_broken(choice, required, deep - 1));
        // Of several shapes one may take what another does not.
        let all = all.filter(|one| {
            !several || !matches!(one.rule, "type" | "enum" | "const" | "additionalProperties")
        });
        return all.map(|one| Broken { within_choice: one.within_choice || several, ..one }).collect();
    }
    let mut found: Vec<Broken> = itself(schema)
        .into_iter()
        .map(|(rule, value)| Broken { pointer: String::new(), rule, value, within_choice: false })
        .collect();
    match kind(schema) {
        "object" => in_object(schema, required, deep, &mut found),
        "array" => {
            let least = schema["minItems"].as_u64().unwrap_or(1).max(1) as usize;
            for one in all_broken(&schema["items"], true, deep - 1) {
                let mut list = vec![entry(schema); least];
                list[0] = one.value;
                found.push(Broken {
                    pointer: format!("/0{}", one.pointer),
                    value: Value::Array(list),
                    ..one
                });
            }
        }
        _ => {}
    }
    found
}

fn in_object(schema: &Value, required: bool, deep: usize, found: &mut Vec<Broken>) {
    let whole = sample(schema);
    let mut add = |pointer: String, rule, value: Value, within_choice| {
        found.push(Broken { pointer, rule, value, within_choice });
    };
    let none = Map::new();
    for (name, property) in schema["properties"].as_object().unwrap_or(&none) {
        for one in all_broken(property, required, deep - 1) {
            let mut value = whole.clone();
            value[name] = one.value;
            add(format!("/{}{}", escaped(name), one.pointer), one.rule, value, one.within_choice);
        }
    }
    if schema["additionalProperties"] == json!(false) {
        let mut value = whole.clone();
        value["no_such_field"] = json!(1);
        add("/no_such_field".into(), "additionalProperties", value, false);
    }
    let needed = schema["required"].as_array().into_iter().flatten().filter_map(Value::as_str);
    for name in needed.filter(|_| required) {
        let mut value = whole.clone();
        value.as_object_mut().expect("an object").remove(name);
        add(format!("/{name}"), "required", value, false);
    }
}

/// A name as a JSON pointer has it (RFC 6901, section 3).
fn escaped(name: &str) -> String {
    name.replace('~', "~0").replace('/', "~1")
}

/// Values in the place of this one that break what is written here.
fn itself(schema: &Value) -> Vec<(&'static str, Value)> {
    let mut found = Vec::new();
    let number = |keyword: &str| schema[keyword].as_f64();
    let whole = kind(schema) == "integer";
    let beside = |value: f64, by: f64| if whole { json!((value + by) as i64) } else { json!(value + by) };
    for (rule, by) in
        [("minimum", -1.0), ("maximum", 1.0), ("exclusiveMinimum", 0.0), ("exclusiveMaximum", 0.0)]
    {
        found.extend(number(rule).map(|limit| (rule, beside(limit, by))));
    }
    if let Some(least) = schema["minLength"].as_u64().filter(|least| *least > 0) {
        found.push(("minLength", json!("a".repeat(least as usize - 1))));
    }
    if let Some(most) = schema["maxLength"].as_u64() {
        found.push(("maxLength", json!("a".repeat(most as usize + 1))));
    }
    if let Some(least) = schema["minItems"].as_u64().filter(|least| *least > 0) {
        found.push(("minItems", Value::Array(vec![entry(schema); least as usize - 1])));
    }
    if let Some(most) = schema["maxItems"].as_u64().filter(|most| *most < LONGEST) {
        found.push(("maxItems", Value::Array(vec![entry(schema); most as usize + 1])));
    }
    if schema["enum"].is_array() {
        found.push(("enum", json!("no_such_word")));
    }
    if schema["pattern"].is_string() {
        found.push(("pattern", json!("~ ~")));
    }
    if matches!(schema["format"].as_str(), Some("uuid" | "date" | "date-time" | "email" | "time")) {
        found.push(("format", json!("nonsense")));
    }
    match kind(schema) {
        "" => {}
        "string" => found.push(("type", json!(5))),
        _ => found.push(("type", json!("text"))),
    }
    found
}

/// The type, without the null that stands for "absent".
fn kind(schema: &Value) -> &str {
    match &schema["type"] {
        Value::String(kind) => kind,
        Value::Array(kinds) => {
            kinds.iter().filter_map(Value::as_str).find(|kind| *kind != "null").unwrap_or("null")
        }
        _ if schema["properties"].is_object() => "object",
        _ => "",
    }
}

/// The shapes that a value may have, without null and without those of commands: what is wrong with one is told of it alone.
fn choices(schema: &Value) -> Vec<&Value> {
    let all = ["oneOf", "anyOf"].into_iter().filter_map(|keyword| schema[keyword].as_array()).flatten();
    all.filter(|choice| choice["type"] != "null" && choice["$ref"] != "#/components/schemas/Command")
        .collect()
}

/// Where ids stand in a value of this schema, as JSON pointers; the first entry of each list.
pub fn ids(schema: &Value) -> Vec<String> {
    all_ids(schema, DEEPEST)
}

fn all_ids(schema: &Value, deep: usize) -> Vec<String> {
    let schema = resolved(schema);
    if deep == 0 {
        return Vec::new();
    }
    let below = |name: &str, part: &Value| -> Vec<String> {
        all_ids(part, deep - 1).iter().map(|pointer| format!("/{name}{pointer}")).collect()
    };
    let mut found: Vec<String> =
        choices(schema).iter().flat_map(|choice| all_ids(choice, deep - 1)).collect();
    if schema["format"] == "uuid" {
        found.push(String::new());
    }
    if let Some(properties) = schema["properties"].as_object() {
        found.extend(properties.iter().flat_map(|(name, part)| below(name, part)));
    }
    if schema["items"].is_object() {
        found.extend(below("0", &schema["items"]));
    }
    found
}

/// The commands of phones, each with the schema of its arguments.
pub fn commands() -> Vec<(&'static str, &'static Value)> {
    let choice = resolved_name("Command")["oneOf"].as_array().expect("commands");
    let commands = choice.iter().map(|command| {
        let properties = &resolved(command)["properties"];
        (properties["type"]["enum"][0].as_str().expect("a word"), &properties["args"])
    });
    commands.collect()
}

fn resolved_name(name: &str) -> &'static Value {
    &api::openapi::document()["components"]["schemas"][name]
}

/// One operation of the document.
pub struct Operation {
    pub method: String,
    pub path: String,
    pub of: &'static Value,
}

/// All of them.
pub fn operations() -> Vec<Operation> {
    let paths = api::openapi::document()["paths"].as_object().expect("paths");
    let all = paths.iter().flat_map(|(path, item)| {
        let methods = item.as_object().expect("operations").iter();
        methods.map(move |(method, of)| Operation { method: method.to_uppercase(), path: path.clone(), of })
    });
    all.collect()
}

impl Operation {
    pub fn name(&self) -> String {
        format!("{} {}", self.method, self.path)
    }

    /// Media type and schema of the body, if there is one.
    pub fn body(&self) -> Option<(&'static str, &'static Value)> {
        let (kind, content) = self.of["requestBody"]["content"].as_object()?.iter().next()?;
        Some((kind.as_str(), &content["schema"]))
    }

    /// The example that the document shows, else the smallest body.
    pub fn example(&self) -> Option<Value> {
        let (kind, schema) = self.body()?;
        let shown = &self.of["requestBody"]["content"][kind]["example"];
        Some(if shown.is_object() { shown.clone() } else { sample(schema) })
    }

    pub fn parameters(&self, place: &'static str) -> impl Iterator<Item = (&'static str, &'static Value)> {
        let all =
            self.of["parameters"].as_array().into_iter().flatten().filter(move |one| one["in"] == place);
        all.filter_map(|one| Some((one["name"].as_str()?, &one["schema"])))
    }

    /// True if it needs a token.
    pub fn is_guarded(&self) -> bool {
        self.of["security"].as_array().is_some_and(|all| !all.is_empty())
    }
}
