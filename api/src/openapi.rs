//! The OpenAPI document: made from the routes, finished here with what holds for all of them.

use crate::auth::access;
use crate::conventions::seen::{Asks, asks, takes_key};
use crate::conventions::sunset;
use crate::error::{FieldError, Problem, WindowOffer};
use crate::route::Route;
use crate::routes;
use crate::routes::sync::shown;
use actix_web::App;
use serde_json::{Map, Value, json};
use std::sync::LazyLock;
use utoipa::OpenApi;
use utoipa_actix_web::AppExt;

/// Answers that a server gave, by the names of their schemas; a test makes and checks them.
const ANSWERS: &str = include_str!("../../openapi/answers.json");

const PARTNER_APPS: &str = include_str!("../../openapi/partner-apps.md");
const IN_TYPESCRIPT: &str = include_str!("../../openapi/examples/typescript/pull_plans.ts");
const IN_PYTHON: &str = include_str!("../../openapi/examples/python/pull_plans.py");

static DOCUMENT: LazyLock<Value> = LazyLock::new(make);
static TEXT: LazyLock<String> = LazyLock::new(|| {
    let text = serde_json::to_string_pretty(&*DOCUMENT).unwrap_or_default();
    format!("{text}\n")
});

#[derive(OpenApi)]
#[openapi(
    info(
        title = "Lustrum",
        description = "Backend for a mobile vehicle-detailing business: jobs planned from trade tables, upkeep \
            forecasts, reminders, rounds and throughput.",
        license(name = "MIT OR Apache-2.0", identifier = "MIT OR Apache-2.0"),
        contact(name = "Lustrum")
    ),
    servers((url = "/", description = "This installation")),
    tags(
        (name = "access", description = "Tokens"),
        (name = "shop", description = "The shop itself"),
        (name = "people", description = "Who logs in and who works"),
        (name = "partner apps", description = "Other programs"),
        (name = "webhooks", description = "Events told to other programs as they happen (Standard Webhooks 1.0.0)"),
        (name = "customers", description = "Customers and what they allowed"),
        (name = "vehicles", description = "What customers drive"),
        (name = "vans", description = "What the shop drives"),
        (name = "jobs", description = "The customer's work"),
        (name = "bookings", description = "Jobs that partner apps propose"),
        (name = "calendars", description = "Visits as iCalendar, to subscribe to"),
        (name = "rounds", description = "Who is where when, and what stands against it"),
        (name = "offers", description = "Windows for a job that is not booked yet: offered, held, taken"),
        (name = "throughput", description = "What the crews get through, told fairly"),
        (name = "reminders", description = "What customers hear from the shop"),
        (name = "messages", description = "How customers hear from the shop, and what they answer"),
        (name = "audit", description = "Who changed what and when"),
        (name = "tasks", description = "Background work"),
        (name = "sync", description = "Phones that work out of reach, and the office's inbox"),
        (name = "plans", description = "What to do on a vehicle, step by step, and why"),
        (name = "upkeep", description = "When a vehicle needs what next"),
        (name = "handbook", description = "The trade tables, and the weather"),
        (name = "service", description = "This service")
    ),
    components(schemas(Problem, FieldError, WindowOffer))
)]
struct Frame;

/// The document as it is served and committed.
pub fn document_text() -> &'static str {
    &TEXT
}

pub fn document() -> &'static Value {
    &DOCUMENT
}

/// A schema, also where it is only named.
pub fn resolved(schema: &Value) -> &Value {
    let named = schema["$ref"].as_str().and_then(|name| DOCUMENT.pointer(name.trim_start_matches('#')));
    named.map_or(schema, resolved)
}

/// What the document says of a route.
pub fn operation(route: &Route) -> &'static Value {
    &DOCUMENT["paths"][route.path][route.method.to_lowercase()]
}

/// The names that the query string of a route may have.
pub fn query_names(route: &Route) -> Vec<&'static str> {
    let parameters = operation(route)["parameters"].as_array().into_iter().flatten();
    parameters.filter(|one| one["in"] == "query").filter_map(|one| one["name"].as_str()).collect()
}

fn make() -> Value {
    let mut frame = Frame::openapi();
    frame.merge(shown::Arguments::openapi());
    let (_, frame) = App::new().into_utoipa_app().openapi(frame).configure(routes::routes).split_for_parts();
    let mut document = serde_json::to_value(frame).unwrap_or_default();
    flatten_schemas(&mut document);
    name_entries(&mut document);
    tell_local_times(&mut document["components"]["schemas"]);
    name_choices(&mut document);
    add_security(&mut document);
    tell_whom(&mut document);
    tell_commands(&mut document);
    finish_operations(&mut document);
    add_patch_schemas(&mut document);
    show_answers(&mut document);
    drop_unused_schemas(&mut document);
    document
}

/// Writes a schema that is made of parts as the one object it is: the parts refuse unknown fields, so that a value
/// could never fit all of them.
fn flatten_schemas(document: &mut Value) {
    let Some(schemas) = document["components"]["schemas"].as_object().cloned() else { return };
    for (name, schema) in &schemas {
        if let Some(flat) = flat(schema, &schemas) {
            document["components"]["schemas"][name] = flat;
        }
    }
}

fn flat(schema: &Value, schemas: &Map<String, Value>) -> Option<Value> {
    let parts = schema.get("allOf")?.as_array()?;
    let mut whole = json!({ "type": "object", "required": [], "properties": {} });
    if let Some(text) = schema.get("description") {
        whole["description"] = text.clone();
    }
    for part in parts {
        let named = part["$ref"].as_str().and_then(|name| schemas.get(name.rsplit('/').next()?));
        let part = named.unwrap_or(part);
        let part = flat(part, schemas).unwrap_or_else(|| part.clone());
        if let (Some(to), Some(from)) = (whole["properties"].as_object_mut(), part["properties"].as_object())
        {
            to.extend(from.clone());
        }
        if let (Some(to), Some(from)) = (whole["required"].as_array_mut(), part["required"].as_array()) {
            to.extend(from.clone());
        }
    }
    Some(whole)
}

/// What a page holds has a name of its own.
fn name_entries(document: &mut Value) {
    let Some(before) = document["components"]["schemas"].as_object().cloned() else { return };
    for (page, schema) in before.iter().filter(|(name, _)| name.starts_with("Page_")) {
        let entry = page.trim_start_matches("Page_");
        let written = &schema["properties"]["items"]["items"];
        let schemas = &mut document["components"]["schemas"];
        if !before.contains_key(entry) {
            schemas[entry] = flat(written, &before).unwrap_or_else(|| written.clone());
        }
        let reference = json!({ "$ref": format!("#/components/schemas/{entry}") });
        schemas[page]["properties"]["items"]["items"] = reference;
    }
}

/// An instant is always named as one; what else is made a date-time is a time of the shop's clock, without an offset.
fn tell_local_times(schemas: &mut Value) {
    let instant = schemas["Instant"].take();
    without_offset(schemas);
    schemas["Instant"] = instant;
}

fn without_offset(schema: &mut Value) {
    match schema {
        Value::Object(fields) => {
            if fields.get("format").is_some_and(|format| format == "date-time") {
                fields.remove("format");
                let text = fields.get("description").and_then(Value::as_str).unwrap_or_default();
                let text = format!("{text} By the shop's clock, without an offset.").trim().to_owned();
                fields.insert("description".into(), json!(text));
            }
            fields.values_mut().for_each(without_offset);
        }
        Value::Array(all) => all.iter_mut().for_each(without_offset),
        _ => {}
    }
}

/// Gives objects within a choice names of their own, as tools that make clients need one for each.
fn name_choices(document: &mut Value) {
    let Some(schemas) = document["components"]["schemas"].as_object_mut() else { return };
    let mut named = Map::new();
    for (name, schema) in schemas.iter_mut() {
        let choices = schema.get_mut("oneOf").and_then(Value::as_array_mut).into_iter().flatten();
        let fields = choices.filter_map(|choice| choice.get_mut("properties")?.as_object_mut()).flatten();
        for (field, object) in fields.filter(|(_, value)| value.get("properties").is_some()) {
            let own = format!("{name}_{field}");
            let reference = json!({ "$ref": format!("#/components/schemas/{own}") });
            named.insert(own, std::mem::replace(object, reference));
        }
    }
    schemas.extend(named);
}

fn add_security(document: &mut Value) {
    document["components"]["securitySchemes"] = json!({
        "person": { "type": "http", "scheme": "bearer", "bearerFormat": "JWT",
            "description": "The access token of a login." },
        "partner_app": { "type": "oauth2", "description": "For partner apps.", "flows": { "clientCredentials": {
            "tokenUrl": "/oauth/token",
            "scopes": { "plans:read": "Read job plans", "upkeep:read": "Read upkeep forecasts",
                "offers:write": "Propose jobs, and see what became of them", "webhooks": "Receive events" } } } }
    });
}

/// What every operation has: its errors, and who may use it.
fn finish_operations(document: &mut Value) {
    let problem = |text: &str| {
        json!({ "description": text, "content": { "application/problem+json": {
            "schema": { "$ref": "#/components/schemas/Problem" } } } })
    };
    let Some(paths) = document["paths"].as_object_mut() else { return };
    for (path, item) in paths {
        let Some(item) = item.as_object_mut() else { continue };
        for (method, operation) in item {
            operation["responses"]["4XX"] = problem("The request cannot be served as it is");
            operation["responses"]["5XX"] = problem("Something failed on our side");
            finish_content(&mut operation["responses"]);
            let row = access::TABLE.iter().find(|row| row.0.eq_ignore_ascii_case(method) && row.1 == path);
            operation["security"] = match row {
                None => json!([]),
                Some((_, _, _, None)) => json!([{ "person": [] }]),
                Some((_, _, 0, Some(scope))) => json!([{ "partner_app": [scope.word()] }]),
                Some((_, _, _, Some(scope))) => json!([{ "person": [] }, { "partner_app": [scope.word()] }]),
            };
            describe_parameters(operation);
            add_conditions(operation, &method.to_uppercase(), path);
            if sunset::is_leaving(sunset::LEAVING, method, path) {
                operation["deprecated"] = json!(true);
            }
            if let Some(row) = row {
                operation["x-roles"] = json!(access::roles(row));
            }
            let whom =
                row.map_or("Needs no access token.".into(), |row| format!("For: {}.", access::words(row)));
            let text =
                operation["description"].as_str().map(|text| format!("{text}\n\n")).unwrap_or_default();
            operation["description"] = json!(text + &whom);
        }
    }
}

/// Whoever reads a page is told in a page what went wrong. Of a stream OpenAPI 3.1 cannot say what one event is.
fn finish_content(responses: &mut Value) {
    let page = responses["200"]["content"]["text/html"].clone();
    if page.is_object() {
        for status in ["4XX", "5XX"] {
            responses[status]["content"]["text/html"] = page.clone();
        }
    }
    if let Some(stream) = responses.pointer_mut("/200/content/text~1event-stream") {
        *stream = json!({});
    }
}

/// The table of roles and how a partner app begins, below what the document says of itself.
fn tell_whom(document: &mut Value) {
    let text = document["info"]["description"].as_str().unwrap_or_default();
    document["info"]["description"] = json!(format!(
        "{text}\n\n## Who may do what\n\nOf their own shop, and a technician within it of their own work. What is not here \
         needs no token.\n\n{}\n## Partner apps\n\n{PARTNER_APPS}\n### In TypeScript\n\n```ts\n{IN_TYPESCRIPT}```\n\n\
         ### In Python\n\n```python\n{IN_PYTHON}```\n",
        access::table()
    ));
}

/// What phones can say: a table below what the document says of pushing, and a schema for each command. Anything else of the
/// same form is taken, too, and rejected alone.
fn tell_commands(document: &mut Value) {
    let operation = &mut document["paths"]["/v1/sync/push"]["post"];
    let text = operation["description"].as_str().unwrap_or_default();
    operation["description"] = json!(format!("{text}\n\n{}", shown::table()));
    let schemas = &mut document["components"]["schemas"];
    if let Some(known) = schemas.as_object_mut() {
        let made = shown::schemas(known);
        known.extend(made);
    }
    let named = |name: &str| json!({ "$ref": format!("#/components/schemas/{name}") });
    let choice = json!({ "anyOf": [named("PushedMutation"), named(shown::COMMAND)] });
    schemas["Push"]["properties"]["mutations"]["items"] = choice;
}

/// What parameters mean that have the same name in many operations.
fn describe_parameters(operation: &mut Value) {
    let parameters = operation.get_mut("parameters").and_then(Value::as_array_mut);
    for parameter in parameters.into_iter().flatten().filter(|one| one.get("description").is_none()) {
        let text = match parameter["name"].as_str().unwrap_or_default() {
            "id" => "Whose id it is says the address before it.",
            "record" => "The record below it.",
            "token" => "The secret of the address.",
            "date" => "A day of the shop's calendar.",
            "week" => "A week by ISO 8601.",
            "status" => "Only those in this state.",
            "kind" => "Only those of this kind.",
            "van" => "Only those of this van.",
            "vehicle" => "Only those of this vehicle.",
            "customer" => "Only those of this customer.",
            "technician" => "Only those of this technician.",
            _ => continue,
        };
        parameter["description"] = json!(text);
    }
}

/// The headers that go with an operation: what must have been seen, what may be repeated, what need not be sent again.
fn add_conditions(operation: &mut Value, method: &str, path: &str) {
    let mut headers = Vec::new();
    let mut header = |name: &str, required: bool, text: &str| {
        headers.push(json!({ "name": name, "in": "header", "required": required, "description": text,
            "schema": { "type": "string" } }));
    };
    match asks(method, path) {
        Some(Asks::Match) => header("If-Match", true, "The ETag that you have read; `*`: whatever there is."),
        Some(Asks::NoneMatch) => header("If-None-Match", true, "`*`: only if nothing has this id."),
        Some(Asks::Either) => {
            header("If-Match", false, "The ETag that you have read; needed where there is something.");
            header("If-None-Match", false, "`*`: needed where there is nothing yet.");
        }
        None => {}
    }
    if takes_key(method, path) && access::OPEN.iter().all(|open| *open != (method, path)) {
        header(
            "Idempotency-Key",
            false,
            "Any text of your own, the same again when you repeat the request: it then has its effect once, and within \
             24 hours the same answer.",
        );
    }
    if method == "GET" && path.starts_with("/v1/") {
        header("If-None-Match", false, "The ETag that you hold: if it is still the one, the answer is 304.");
        operation["responses"]["304"] = json!({ "description": "What you hold is what there is" });
        operation["responses"]["200"]["headers"]["ETag"] =
            json!({ "description": "Names this revision", "schema": { "type": "string" } });
    }
    match operation.get_mut("parameters").and_then(Value::as_array_mut) {
        Some(parameters) => parameters.extend(headers),
        None if headers.is_empty() => {}
        None => operation["parameters"] = json!(headers),
    }
}

/// A merge patch has the fields of the whole, and needs none of them.
fn add_patch_schemas(document: &mut Value) {
    let mut patches = Map::new();
    let schemas = document["components"]["schemas"].clone();
    for operation in operations_mut(document) {
        let pointer = "/requestBody/content/application~1merge-patch+json/schema/$ref";
        let Some(body) = operation.pointer_mut(pointer) else { continue };
        let Some(name) = body.as_str().and_then(|path| path.rsplit('/').next()).map(str::to_owned) else {
            continue;
        };
        let mut patch = schemas[&name].clone();
        if let Some(patch) = patch.as_object_mut() {
            patch.remove("required");
        }
        let patch_name = name.replace("Fields", "Patch");
        *body = json!(format!("#/components/schemas/{patch_name}"));
        patches.insert(patch_name, patch);
    }
    if let Some(all) = document["components"]["schemas"].as_object_mut() {
        all.extend(patches);
    }
}

/// Shows with each answer one that was given.
fn show_answers(document: &mut Value) {
    let answers: Map<String, Value> = serde_json::from_str(ANSWERS).unwrap_or_default();
    for operation in operations_mut(document) {
        let Some(responses) = operation["responses"].as_object_mut() else { continue };
        for content in responses.values_mut().filter_map(|one| one.get_mut("content")?.as_object_mut()) {
            for body in content.values_mut() {
                let name = body["schema"]["$ref"].as_str().and_then(|path| path.rsplit('/').next());
                if let Some(name) = name.filter(|name| answers.contains_key(*name)) {
                    body["examples"] =
                        json!({ "given": { "$ref": format!("#/components/examples/{name}") } });
                }
            }
        }
    }
    let shown = answers.into_iter().map(|(name, answer)| (name, json!({ "value": answer })));
    document["components"]["examples"] = Value::Object(shown.collect());
}

/// What only served to make other schemas is not shown.
fn drop_unused_schemas(document: &mut Value) {
    loop {
        let text = document.to_string();
        let Some(schemas) = document["components"]["schemas"].as_object_mut() else { return };
        let before = schemas.len();
        schemas.retain(|name, _| text.contains(&format!("\"#/components/schemas/{name}\"")));
        if schemas.len() == before {
            return;
        }
    }
}

fn operations_mut(document: &mut Value) -> impl Iterator<Item = &mut Value> {
    let items = document["paths"].as_object_mut().into_iter().flat_map(|paths| paths.values_mut());
    items.filter_map(Value::as_object_mut).flat_map(|item| item.values_mut())
}

#[cfg(test)]
mod tests {
    use crate::routes;
    use std::collections::BTreeMap;

    /// The document would keep one of them, and lie of the other.
    #[test]
    fn no_two_types_share_a_name() {
        let mut named = BTreeMap::new();
        for (name, schema) in routes::table().schemas() {
            let told = serde_json::to_value(schema).expect("a schema");
            let first = named.entry(name).or_insert_with(|| told.clone());
            assert_eq!(*first, told, "{name}");
        }
    }
}
