//! What each route asks its client to have seen before it changes something (RFC 9110, 13), and which requests may be
//! repeated with a key. The extractors ask it; this is for the document, and tests hold both against each other.

/// A header that must come with the request.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Asks {
    /// `If-Match`: there is a row, and it is changed.
    Match,
    /// `If-None-Match: *`: something is made under the client's id.
    NoneMatch,
    /// One of both: there may be a row or not.
    Either,
}

/// Makes something under the id of the address.
const NEW: [&str; 5] =
    ["/v1/people/{id}", "/v1/customers/{id}", "/v1/vehicles/{id}", "/v1/vans/{id}", "/v1/jobs/{id}"];
const EITHER: [&str; 4] =
    ["/v1/jobs/{id}/arrival", "/v1/weather/{date}", "/v1/travel-matrix", "/v1/message-gateway"];
/// Adds a decision; those before it stay. Or says again what is so.
/// An upload has its own condition, how much is there.
const FREE: [&str; 3] = ["/v1/norms/veto", "/v1/devices/{id}", "/v1/uploads/{id}"];
/// The POSTs that change a row that is there. All others add one.
const CHANGES: [&str; 26] = [
    "/v1/devices/{id}/revoke",
    "/v1/inbox/{id}/accept",
    "/v1/inbox/{id}/discard",
    "/v1/people/{id}/disable",
    "/v1/people/{id}/enable",
    "/v1/partner-apps/{id}/disable",
    "/v1/partner-apps/{id}/secret",
    "/v1/partner-apps/{id}/secret/retire",
    "/v1/webhooks/{id}/enable",
    "/v1/webhooks/{id}/secret",
    "/v1/webhooks/{id}/deliveries/{record}/replay",
    "/v1/customers/{id}/erase",
    "/v1/bookings/{id}/accept",
    "/v1/bookings/{id}/decline",
    "/v1/bookings/{id}/withdraw",
    "/v1/held-offers/{id}/take",
    "/v1/round-plans/{id}/cancel",
    "/v1/round-plans/{id}/publish",
    "/v1/message-gateway/secret",
    "/v1/replies/{id}/handled",
    "/v1/jobs/{id}/on-the-way",
    "/v1/jobs/{id}/cancel",
    "/v1/jobs/{id}/finish",
    "/v1/jobs/{id}/steps/{record}/correction",
    "/v1/jobs/{id}/steps/{record}/void",
    "/v1/tasks/{id}/replay",
];
/// They answer and store nothing, or take everything once by ids of its own.
const ANSWERS: [&str; 6] = [
    "/v1/offers",
    "/v1/plans/preview",
    "/v1/jobs/{id}/plan/compare",
    "/v1/message-previews",
    "/v1/sync/push",
    "/v1/uploads",
];

pub fn asks(method: &str, path: &str) -> Option<Asks> {
    match method {
        "PUT" if NEW.contains(&path) => Some(Asks::NoneMatch),
        "PUT" if EITHER.contains(&path) => Some(Asks::Either),
        _ if FREE.contains(&path) => None,
        "PUT" | "PATCH" | "DELETE" => Some(Asks::Match),
        "POST" if CHANGES.contains(&path) => Some(Asks::Match),
        _ => None,
    }
}

/// True for a POST of a caller that has an effect: it takes an `Idempotency-Key`.
pub fn takes_key(method: &str, path: &str) -> bool {
    method == "POST" && !ANSWERS.contains(&path)
}
