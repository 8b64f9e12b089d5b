//! What handlers take from a request: checked bodies, merge patches, queries, ids, conditions.

use crate::body::{
    Coding, Later, coding, has_media, limit, read_any, read_bytes, read_sent, unpacked, unsupported,
};
use crate::check::{Check, check};
use crate::conventions::shape::{body_schema, keeps_shape};
use crate::db::kinds::Id;
use crate::error::{ApiError, FieldError};
use actix_web::dev::Payload;
use actix_web::http::header;
use actix_web::web::Bytes;
use actix_web::{FromRequest, HttpRequest};
use chrono::{Datelike, NaiveDate};
use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::{Map, Value};
use std::future::{Ready, ready};

/// A JSON body (`application/json`), read strictly and checked.
pub struct Body<T>(pub T);

impl<T: DeserializeOwned + Check + 'static> FromRequest for Body<T> {
    type Error = ApiError;
    type Future = Later<Body<T>>;

    fn from_request(request: &HttpRequest, payload: &mut Payload) -> Self::Future {
        let (bytes, schema) = (read_bytes(request, payload, "application/json"), body_schema(request));
        Box::pin(async move { Ok(Body(read_body(schema, &bytes.await?)?)) })
    }
}

/// The same, and it may come packed by gzip.
pub struct MaybePacked<T>(pub T);

impl<T: DeserializeOwned + Check + 'static> FromRequest for MaybePacked<T> {
    type Error = ApiError;
    type Future = Later<MaybePacked<T>>;

    fn from_request(request: &HttpRequest, payload: &mut Payload) -> Self::Future {
        let (wanted, schema) = ("application/json", body_schema(request));
        let is_packed = match coding(request) {
            Coding::Identity => false,
            Coding::Gzip => true,
            Coding::Other => return unsupported("the body without a content coding, or packed by gzip"),
        };
        if !has_media(request, wanted) {
            return unsupported(wanted);
        }
        let (sent, limit) = (read_sent(request, payload), limit(request));
        Box::pin(async move {
            let sent = sent.await?;
            let bytes = if is_packed { unpacked(&sent, limit.bytes)? } else { sent };
            Ok(MaybePacked(read_body(schema, &bytes)?))
        })
    }
}

/// JSON, read strictly and checked.
fn read_body<T: DeserializeOwned + Check>(schema: Option<&Value>, bytes: &[u8]) -> Result<T, ApiError> {
    keeps_shape(schema, bytes)?;
    let body: T = parse(bytes)?;
    check(&body)?;
    Ok(body)
}

/// A JSON body as it came, with what Standard Webhooks 1.0.0 says of its signature; the handler checks both.
pub struct SignedBody {
    pub id: String,
    pub at_unix: i64,
    pub signature: String,
    pub body: Bytes,
}

impl FromRequest for SignedBody {
    type Error = ApiError;
    type Future = Later<SignedBody>;

    fn from_request(request: &HttpRequest, payload: &mut Payload) -> Self::Future {
        let header = |name: &str| {
            let value = request.headers().get(name).and_then(|value| value.to_str().ok());
            value.unwrap_or_default().chars().take(1000).collect::<String>()
        };
        let (id, signature) = (header("webhook-id"), header("webhook-signature"));
        // What is no time is the oldest there is.
        let at_unix = header("webhook-timestamp").parse().unwrap_or(0);
        let body = read_bytes(request, payload, "application/json");
        Box::pin(async move { Ok(SignedBody { id, at_unix, signature, body: body.await? }) })
    }
}

/// A JSON body that may be left out or null.
pub struct Optional<T>(pub T);

impl<T: DeserializeOwned + Check + Default + 'static> FromRequest for Optional<T> {
    type Error = ApiError;
    type Future = Later<Optional<T>>;

    fn from_request(request: &HttpRequest, payload: &mut Payload) -> Self::Future {
        let (named, schema) = (request.headers().contains_key(header::CONTENT_TYPE), body_schema(request));
        let wanted = "application/json";
        let bytes = if named { read_bytes(request, payload, wanted) } else { read_any(request, payload) };
        Box::pin(async move {
            let bytes = bytes.await?;
            if bytes.is_empty() {
                return Ok(Optional(T::default()));
            }
            if !named {
                return Err(ApiError::UnsupportedMedia { wanted });
            }
            keeps_shape(schema, &bytes)?;
            let body = parse::<Option<T>>(&bytes)?.unwrap_or_default();
            check(&body)?;
            Ok(Optional(body))
        })
    }
}

/// A merge patch (RFC 7396, `application/merge-patch+json`).
pub struct Patch(Map<String, Value>);

impl Patch {
    /// What `before` becomes by this patch, checked like a body.
    pub fn apply<T: Serialize + DeserializeOwned + Check>(self, before: &T) -> Result<T, ApiError> {
        let mut value = serde_json::to_value(before)?;
        merge(&mut value, Value::Object(self.0));
        let after: T = serde_path_to_error::deserialize(value).map_err(|e| unfit(&e))?;
        check(&after)?;
        Ok(after)
    }
}

impl FromRequest for Patch {
    type Error = ApiError;
    type Future = Later<Patch>;

    fn from_request(request: &HttpRequest, payload: &mut Payload) -> Self::Future {
        let media = "application/merge-patch+json";
        let (bytes, schema) = (read_bytes(request, payload, media), body_schema(request));
        Box::pin(async move {
            let bytes = bytes.await?;
            keeps_shape(schema, &bytes)?;
            match parse(&bytes)? {
                Value::Object(fields) => Ok(Patch(fields)),
                _ => Err(ApiError::field("", "wrong_type", "a patch is a JSON object")),
            }
        })
    }
}

/// RFC 7396, section 2.
fn merge(target: &mut Value, patch: Value) {
    let Value::Object(patch) = patch else {
        *target = patch;
        return;
    };
    if !target.is_object() {
        *target = Value::Object(Map::new());
    }
    if let Value::Object(target) = target {
        for (name, value) in patch {
            if value.is_null() {
                target.remove(&name);
            } else {
                merge(target.entry(name).or_insert(Value::Null), value);
            }
        }
    }
}

/// A form (`application/x-www-form-urlencoded`).
pub struct Form<T>(pub T);

impl<T: DeserializeOwned + 'static> FromRequest for Form<T> {
    type Error = ApiError;
    type Future = Later<Form<T>>;

    fn from_request(request: &HttpRequest, payload: &mut Payload) -> Self::Future {
        let bytes = read_bytes(request, payload, "application/x-www-form-urlencoded");
        Box::pin(async move {
            let bytes = bytes.await?;
            let text = std::str::from_utf8(&bytes).map_err(|e| ApiError::BadQuery(e.to_string()))?;
            let form = actix_web::web::Query::<T>::from_query(text)
                .map_err(|e| ApiError::BadQuery(e.to_string()))?;
            Ok(Form(form.into_inner()))
        })
    }
}

/// Bytes of an upload (`application/offset+octet-stream`).
pub struct Octets(pub Bytes);

impl FromRequest for Octets {
    type Error = ApiError;
    type Future = Later<Octets>;

    fn from_request(request: &HttpRequest, payload: &mut Payload) -> Self::Future {
        let bytes = read_bytes(request, payload, "application/offset+octet-stream");
        Box::pin(async move { Ok(Octets(bytes.await?)) })
    }
}

/// A query string, read strictly and checked.
pub struct Query<T>(pub T);

impl<T: DeserializeOwned + Check> FromRequest for Query<T> {
    type Error = ApiError;
    type Future = Ready<Result<Query<T>, ApiError>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        let read = || {
            let query = actix_web::web::Query::<T>::from_query(request.query_string())
                .map_err(|e| ApiError::BadQuery(e.to_string()))?
                .into_inner();
            check(&query).map_err(|e| ApiError::BadQuery(e.to_string()))?;
            Ok(Query(query))
        };
        ready(read())
    }
}

/// The `{id}` of the address. What is no id cannot exist: 404, as for an unknown one.
#[derive(Clone, Copy)]
pub struct Key(pub Id);

impl FromRequest for Key {
    type Error = ApiError;
    type Future = Ready<Result<Key, ApiError>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        ready(id_in_address(request, "id").map(Key))
    }
}

/// The `{record}` of the address: one of the things that belong to what `{id}` names.
#[derive(Clone, Copy)]
pub struct RecordKey(pub Id);

impl FromRequest for RecordKey {
    type Error = ApiError;
    type Future = Ready<Result<RecordKey, ApiError>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        ready(id_in_address(request, "record").map(RecordKey))
    }
}

fn id_in_address(request: &HttpRequest, name: &str) -> Result<Id, ApiError> {
    request.match_info().get(name).and_then(|id| id.parse().ok()).ok_or(ApiError::NotFound)
}

/// The `{date}` of the address, as in `2026-05-04`. What is no day cannot exist.
#[derive(Clone, Copy)]
pub struct Day(pub NaiveDate);

impl FromRequest for Day {
    type Error = ApiError;
    type Future = Ready<Result<Day, ApiError>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        let day = request.match_info().get("date").and_then(|date| date.parse::<NaiveDate>().ok());
        // What both databases and four-digit years can hold.
        let day = day.filter(|day| (1970..=2199).contains(&day.year()));
        ready(day.map(Day).ok_or(ApiError::NotFound))
    }
}

/// An `{id}` that the client chose for something new: a UUID of version 7, so that ids go on sorting by creation. It
/// must come with `If-None-Match: *`, so that nothing can be overwritten by it.
#[derive(Clone, Copy)]
pub struct NewKey(pub Id);

impl FromRequest for NewKey {
    type Error = ApiError;
    type Future = Ready<Result<NewKey, ApiError>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        let read = || {
            let id: Option<Id> = request.match_info().get("id").and_then(|id| id.parse().ok());
            let id = id.filter(Id::is_v7);
            let id =
                id.ok_or_else(|| ApiError::field("", "not_a_uuid_v7", "the id in the address is no UUIDv7"))?;
            match Seen::of(request)? {
                Seen::Nothing => Ok(NewKey(id)),
                Seen::Tags(_) => Err(ApiError::Unconditional("`If-None-Match: *`")),
            }
        };
        ready(read())
    }
}

/// The revision that the client has seen of what it changes, by `If-Match` (RFC 9110, 13.1.1), so that nobody overwrites
/// what they have not read. `*` names whatever there is.
pub struct IfMatch(String);

impl IfMatch {
    /// What stands behind a point in a tag changes by itself and bars no change.
    pub fn allows(&self, rev: i32) -> Result<(), ApiError> {
        let (whole, begun) = (format!("\"{rev}\""), format!("\"{rev}."));
        let named = |tag: &str| tag == "*" || tag == whole || (tag.starts_with(&begun) && tag.ends_with('"'));
        if self.0.split(',').map(str::trim).any(named) { Ok(()) } else { Err(ApiError::Stale) }
    }
}

impl FromRequest for IfMatch {
    type Error = ApiError;
    type Future = Ready<Result<IfMatch, ApiError>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        ready(match Seen::of(request) {
            Ok(Seen::Tags(seen)) => Ok(seen),
            _ => Err(ApiError::Unconditional("`If-Match` with the ETag that you have read")),
        })
    }
}

/// What the client has seen at an address where there may be something or not.
pub enum Seen {
    /// `If-Match`.
    Tags(IfMatch),
    /// `If-None-Match: *`: there is nothing yet.
    Nothing,
}

impl Seen {
    pub fn allows(&self, rev: Option<i32>) -> Result<(), ApiError> {
        match (self, rev) {
            (Seen::Tags(seen), Some(rev)) => seen.allows(rev),
            (Seen::Tags(_), None) => Err(ApiError::Stale),
            (Seen::Nothing, None) => Ok(()),
            (Seen::Nothing, Some(_)) => Err(ApiError::Exists),
        }
    }

    fn of(request: &HttpRequest) -> Result<Seen, ApiError> {
        let all = |name| {
            let values = request.headers().get_all(name).filter_map(|value| value.to_str().ok());
            values.collect::<Vec<_>>().join(",")
        };
        match (all(header::IF_MATCH), all(header::IF_NONE_MATCH)) {
            (tags, _) if !tags.is_empty() => Ok(Seen::Tags(IfMatch(tags))),
            (_, none) if none.trim() == "*" => Ok(Seen::Nothing),
            _ => Err(ApiError::Unconditional(
                "`If-Match` with the ETag that you have read, or `If-None-Match: *` if there is nothing yet",
            )),
        }
    }
}

impl FromRequest for Seen {
    type Error = ApiError;
    type Future = Ready<Result<Seen, ApiError>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        ready(Seen::of(request))
    }
}

/// Reads JSON; what is wrong is told with the pointer to it.
pub fn parse<T: DeserializeOwned>(bytes: &[u8]) -> Result<T, ApiError> {
    // serde would take a list for an object, its fields by place.
    if bytes.trim_ascii_start().starts_with(b"[") {
        return Err(ApiError::field("", "wrong_type", "the body is a JSON object, not a list"));
    }
    let mut source = serde_json::Deserializer::from_slice(bytes);
    let value = serde_path_to_error::deserialize(&mut source).map_err(|e| {
        if e.inner().is_data() { unfit(&e) } else { ApiError::BrokenJson(field_error(&e, "broken_json")) }
    })?;
    source.end().map_err(|e| ApiError::BrokenJson(FieldError::new("", "broken_json", e.to_string())))?;
    Ok(value)
}

/// Reads a value that is part of a body, and checks it; pointers lead from the value on.
pub fn read_value<T: DeserializeOwned + Check>(value: Value) -> Result<T, ApiError> {
    if !value.is_object() {
        return Err(ApiError::field("", "wrong_type", "this is a JSON object"));
    }
    let value: T = serde_path_to_error::deserialize(value).map_err(|e| unfit(&e))?;
    check(&value)?;
    Ok(value)
}

fn unfit(error: &serde_path_to_error::Error<serde_json::Error>) -> ApiError {
    let text = error.inner().to_string();
    let code = [
        ("unknown field", "unknown_field"),
        ("missing field", "missing_field"),
        ("duplicate field", "duplicate_field"),
        ("unknown variant", "unknown_word"),
        ("invalid type", "wrong_type"),
        ("invalid length", "wrong_length"),
    ];
    let code =
        code.iter().find(|(start, _)| text.starts_with(start)).map_or("invalid_value", |(_, code)| code);
    ApiError::Invalid(vec![field_error(error, code)])
}

fn field_error(error: &serde_path_to_error::Error<serde_json::Error>, code: &str) -> FieldError {
    use serde_path_to_error::Segment;
    let text = error.inner().to_string();
    let mut pointer = String::new();
    for segment in error.path() {
        match segment {
            Segment::Seq { index } => pointer.push_str(&format!("/{index}")),
            // A word with something to say is written as an object with that word as its name.
            Segment::Map { key: name } | Segment::Enum { variant: name } => {
                pointer.push_str(&format!("/{}", escaped(name)));
            }
            Segment::Unknown => {}
        }
    }
    // The field that is missing or there twice is not in the path.
    let unnamed = text.strip_prefix("missing field `").or(text.strip_prefix("duplicate field `"));
    if let Some(name) = unnamed.and_then(|rest| rest.split('`').next()) {
        pointer.push_str(&format!("/{}", escaped(name)));
    }
    FieldError::new(pointer, code, text)
}

/// RFC 6901, section 3.
fn escaped(key: &str) -> String {
    key.replace('~', "~0").replace('/', "~1")
}

#[cfg(test)]
mod tests {
    use super::merge;
    use serde_json::{Value, json};

    /// The examples of RFC 7396, appendix A.
    #[test]
    fn merges_as_the_rfc_shows() {
        let cases: [(Value, Value, Value); 15] = [
            (json!({"a":"b"}), json!({"a":"c"}), json!({"a":"c"})),
            (json!({"a":"b"}), json!({"b":"c"}), json!({"a":"b","b":"c"})),
            (json!({"a":"b"}), json!({"a":null}), json!({})),
            (json!({"a":"b","b":"c"}), json!({"a":null}), json!({"b":"c"})),
            (json!({"a":["b"]}), json!({"a":"c"}), json!({"a":"c"})),
            (json!({"a":"c"}), json!({"a":["b"]}), json!({"a":["b"]})),
            (json!({"a":{"b":"c"}}), json!({"a":{"b":"d","c":null}}), json!({"a":{"b":"d"}})),
            (json!({"a":[{"b":"c"}]}), json!({"a":[1]}), json!({"a":[1]})),
            (json!(["a", "b"]), json!(["c", "d"]), json!(["c", "d"])),
            (json!({"a":"b"}), json!(["c"]), json!(["c"])),
            (json!({"a":"foo"}), Value::Null, Value::Null),
            (json!({"a":"foo"}), json!("bar"), json!("bar")),
            (json!({"e":null}), json!({"a":1}), json!({"e":null,"a":1})),
            (json!([1, 2]), json!({"a":"b","c":null}), json!({"a":"b"})),
            (json!({}), json!({"a":{"bb":{"ccc":null}}}), json!({"a":{"bb":{}}})),
        ];
        for (mut target, patch, expected) in cases {
            merge(&mut target, patch.clone());
            assert_eq!(target, expected, "patch {patch}");
        }
    }
}
