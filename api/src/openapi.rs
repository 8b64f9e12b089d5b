//! The OpenAPI document: made from the routes, finished here with what holds for all of them.

use crate::auth::access;
use crate::error::{FieldError, Problem};
use crate::routes;
use actix_web::App;
use serde_json::{Map, Value, json};
use std::sync::LazyLock;
use utoipa::OpenApi;
use utoipa_actix_web::AppExt;

const METHODS: [&str; 5] = ["get", "post", "put", "patch", "delete"];

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
        (name = "customers", description = "Customers and what they allowed"),
        (name = "vehicles", description = "What customers drive"),
        (name = "vans", description = "What the shop drives"),
        (name = "jobs", description = "The customer's work"),
        (name = "rounds", description = "Who is where when, and what stands against it"),
        (name = "throughput", description = "What the crews get through, told fairly"),
        (name = "reminders", description = "What customers hear from the shop"),
        (name = "tasks", description = "Background work"),
        (name = "plans", description = "What to do on a vehicle, step by step, and why"),
        (name = "upkeep", description = "When a vehicle needs what next"),
        (name = "handbook", description = "The trade tables, and the weather"),
        (name = "service", description = "This service")
    ),
    components(schemas(Problem, FieldError))
)]
struct Frame;

/// The document as it is served and committed.
pub fn document_text() -> &'static str {
    &TEXT
}

pub fn document() -> &'static Value {
    &DOCUMENT
}

/// The methods of a path, if it has any: what `Allow` says.
pub fn methods_of(path: &str) -> Vec<String> {
    let Some(paths) = DOCUMENT["paths"].as_object() else { return Vec::new() };
    let fits = |template: &str| {
        let (mut given, mut wanted) = (path.split('/'), template.split('/'));
        loop {
            match (given.next(), wanted.next()) {
                (None, None) => return true,
                (Some(g), Some(w)) if g == w || (w.starts_with('{') && !g.is_empty()) => {}
                _ => return false,
            }
        }
    };
    let found = paths.iter().filter(|(template, _)| fits(template)).filter_map(|(_, item)| item.as_object());
    let mut methods: Vec<String> = found
        .flat_map(|item| {
            item.keys().filter(|key| METHODS.contains(&key.as_str())).map(|key| key.to_uppercase())
        })
        .collect();
    methods.sort();
    methods.dedup();
    methods
}

fn make() -> Value {
    let (_, frame) =
        App::new().into_utoipa_app().openapi(Frame::openapi()).configure(routes::routes).split_for_parts();
    let mut document = serde_json::to_value(frame).unwrap_or_default();
    flatten_schemas(&mut document);
    add_security(&mut document);
    finish_operations(&mut document);
    add_patch_schemas(&mut document);
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

fn add_security(document: &mut Value) {
    document["components"]["securitySchemes"] = json!({
        "person": { "type": "http", "scheme": "bearer", "bearerFormat": "JWT",
            "description": "The access token of a login." },
        "partner_app": { "type": "oauth2", "description": "For partner apps.", "flows": { "clientCredentials": {
            "tokenUrl": "/oauth/token",
            "scopes": { "plans:read": "Read job plans", "upkeep:read": "Read upkeep forecasts",
                "offers:write": "Offer and book windows", "webhooks": "Receive events" } } } }
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
            let row = access::TABLE.iter().find(|row| row.0.eq_ignore_ascii_case(method) && row.1 == path);
            operation["security"] = match row {
                None => json!([]),
                Some((_, _, _, None)) => json!([{ "person": [] }]),
                Some((_, _, _, Some(scope))) => json!([{ "person": [] }, { "partner_app": [scope.word()] }]),
            };
            if let Some(row) = row {
                let text =
                    operation["description"].as_str().map(|text| format!("{text}\n\n")).unwrap_or_default();
                operation["description"] = json!(format!("{text}For: {}.", access::words(row)));
            }
        }
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
