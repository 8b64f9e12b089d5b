//! What serde takes although the document has it otherwise: a list for an object, its fields by place, and numbers beyond
//! 32 bits with a sign. Both are refused, and so is a body where the document has none.

use crate::error::ApiError;
use crate::openapi;
use crate::route::Route;
use actix_web::HttpRequest;
use serde_json::Value;

/// The schema of an operation's body.
pub fn body_schema(request: &HttpRequest) -> Option<&'static Value> {
    let content = openapi::operation(Route::of(request)?)["requestBody"]["content"].as_object()?;
    Some(&content.values().next()?["schema"])
}

/// Refuses the first value of another shape. What cannot be read is told by whoever reads it.
pub fn keeps_shape(schema: Option<&Value>, bytes: &[u8]) -> Result<(), ApiError> {
    let long_number = |part: &[u8]| part.iter().all(u8::is_ascii_digit);
    let suspect = bytes.contains(&b'[') || bytes.windows(DIGITS).any(long_number);
    let (Some(schema), true) = (schema, suspect) else { return Ok(()) };
    let Ok(body) = serde_json::from_slice::<Value>(bytes) else { return Ok(()) };
    match misfit(schema, &body, "") {
        Some((pointer, code, text)) => Err(ApiError::field(pointer, code, text)),
        None => Ok(()),
    }
}

/// Refuses a body where none is taken: it would be dropped unread. Blanks, null and an object without fields say nothing.
pub fn must_say_nothing(body: &[u8]) -> Result<(), ApiError> {
    let said = body.trim_ascii();
    let fields = said.strip_prefix(b"{").and_then(|rest| rest.strip_suffix(b"}"));
    let has_none = fields.is_some_and(|fields| fields.trim_ascii().is_empty());
    match said.is_empty() || said == b"null" || has_none {
        true => Ok(()),
        false => Err(ApiError::field("", "no_body", "this operation takes no body")),
    }
}

/// Digits of the largest number of 32 bits.
const DIGITS: usize = 10;

type Misfit = (String, &'static str, &'static str);

/// Where a value is not as the document has it. Of several shapes it must be so in all of them.
fn misfit(schema: &Value, value: &Value, pointer: &str) -> Option<Misfit> {
    let schema = openapi::resolved(schema);
    if let Some(choices) = schema["oneOf"].as_array().or(schema["anyOf"].as_array()) {
        let mut found =
            choices.iter().filter(|one| one["type"] != "null").map(|one| misfit(one, value, pointer));
        let first = found.next()??;
        return found.all(|other| other.is_some()).then_some(first);
    }
    match value {
        Value::Array(_) if is_object(schema) => {
            Some((pointer.to_owned(), "wrong_type", "is an object, not a list"))
        }
        Value::Array(entries) => {
            let mut entries = entries.iter().enumerate();
            entries.find_map(|(nth, entry)| misfit(&schema["items"], entry, &format!("{pointer}/{nth}")))
        }
        Value::Object(fields) => fields.iter().find_map(|(name, value)| {
            let of = schema["properties"].get(name).unwrap_or(&schema["additionalProperties"]);
            let name = name.replace('~', "~0").replace('/', "~1");
            misfit(of, value, &format!("{pointer}/{name}"))
        }),
        Value::Number(number) if schema["format"] == "int32" => {
            let fits = number.as_f64().is_none_or(|number| number <= f64::from(i32::MAX));
            (!fits).then(|| (pointer.to_owned(), "out_of_range", "is more than 2147483647"))
        }
        _ => None,
    }
}

fn is_object(schema: &Value) -> bool {
    match &schema["type"] {
        Value::Array(kinds) => kinds.iter().any(|kind| kind == "object"),
        kind => kind == "object",
    }
}

#[cfg(test)]
mod tests {
    use super::{misfit, must_say_nothing};
    use serde_json::{Value, json};

    #[test]
    fn what_says_nothing_may_be_sent_anywhere() {
        for nothing in ["", " \n", "null", "\tnull ", "{}", "{ \n}", " {} "] {
            assert!(must_say_nothing(nothing.as_bytes()).is_ok(), "{nothing:?}");
        }
        for something in ["{\"a\":1}", "[]", "0", "{", "}", "{{}}", "null null", "a=b"] {
            assert!(must_say_nothing(something.as_bytes()).is_err(), "{something:?}");
        }
    }

    #[test]
    fn a_list_stands_for_no_object_and_a_number_keeps_its_bits() {
        let object = json!({ "type": ["object", "null"], "properties": { "a/b": { "type": "object" } } });
        let schema = json!({ "type": "object", "properties": {
            "count": { "type": "integer", "format": "int32" },
            "one": object, "many": { "type": "array", "items": object }, "free": {},
            "either": { "oneOf": [object, { "type": "null" }] },
            "or": { "oneOf": [object, { "type": "array", "items": { "type": "integer" } }] } } });
        let found = |value: Value| misfit(&schema, &value, "").map(|(pointer, _, _)| pointer);
        for fine in [
            json!({ "one": {}, "many": [{}, null], "free": [[1]], "or": [1], "either": null, "other": [] }),
            json!(5),
            json!({ "count": 2_147_483_647, "free": 1e300 }),
        ] {
            assert_eq!(found(fine), None);
        }
        for (wrong, pointer) in [
            (json!([]), ""),
            (json!({ "count": 2_147_483_648_u32 }), "/count"),
            (json!({ "one": [] }), "/one"),
            (json!({ "one": { "a/b": [1] } }), "/one/a~1b"),
            (json!({ "many": [{}, []] }), "/many/1"),
            (json!({ "either": [null] }), "/either"),
        ] {
            assert_eq!(found(wrong).as_deref(), Some(pointer));
        }
    }
}
