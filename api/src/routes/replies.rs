//! What customers answer: handed in by the shop's gateway, read at once, and listed for a person.

use super::{Answer, Shared, listed, unless_stale};
use crate::auth::Caller;
use crate::check::{Check, Checker, check};
use crate::db::customer_replies::{self, CustomerReply, ReplyFilter, ReplyWay};
use crate::db::kinds::Id;
use crate::db::message_gateway;
use crate::error::ApiError;
use crate::extract::{IfMatch, Key, Query, SignedBody, parse};
use crate::outbound::signature;
use crate::page::{self, Page};
use crate::replies::{self, Incoming};
use crate::reply::Reply;
use actix_web::web::Path;
use actix_web::{HttpResponse, get, post};
use serde::Deserialize;
use utoipa::{IntoParams, ToSchema};

/// Replies that a gateway may hand in for one shop in a minute; an assumption.
const PER_MIN: u32 = 600;

/// A reply of a customer.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct IncomingReply {
    #[schema(value_type = IncomingWay)]
    pub way: IncomingWay,
    /// The address or number that it came from.
    #[schema(min_length = 1, max_length = 254, example = "+43 660 1234567")]
    pub from: String,
    /// What it says, without what was quoted.
    #[schema(max_length = 4000, example = "STOP")]
    pub text: String,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum IncomingWay {
    Mail,
    Text,
}

impl Check for IncomingReply {
    fn check(&self, found: &mut Checker) {
        found.line("from", &self.from, 254);
        found.note("text", Some(&self.text), 4000);
    }
}

/// Takes a reply of a customer. It is signed by Standard Webhooks 1.0.0 with the secret of the shop's message gateway;
/// handed in again under the same `webhook-id` it has no further effect.
///
/// A stop word or a plain sentence ends messages by this way at once. What is not clear, such as "cancel" of somebody who
/// has a booking, goes to a person.
#[utoipa::path(
    tag = "messages",
    params(
        ("shop" = Id, Path, description = "The shop"),
        ("webhook-id" = String, Header, description = "The gateway's id of the reply"),
        ("webhook-timestamp" = i64, Header, description = "Seconds since 1970, five minutes from now at most"),
        ("webhook-signature" = String, Header, description = "`v1,` and the signature, one or more")
    ),
    request_body = IncomingReply,
    responses((status = 204, description = "Taken"))
)]
#[post("/replies/{shop}")]
pub async fn take_reply(app: Shared, signed: SignedBody, shop: Path<String>) -> Answer {
    let reply: IncomingReply = parse(&signed.body)?;
    check(&reply)?;
    let shop: Id = shop.parse().map_err(|_| ApiError::NotFound)?;
    let house = Caller::house(shop);
    let secrets = app.read(&house, |db| Ok(message_gateway::secrets(db)?)).await?;
    let (now, claimed) = (app.clock.now(), (signed.id.as_str(), signed.at_unix, signed.signature.as_str()));
    let live = secrets.map(|secrets| secrets.live(now)).unwrap_or_default();
    if !signature::is_genuine(&live, claimed, &signed.body, now.unix()) {
        return Err(ApiError::Unauthenticated("the signature is not that of the shop's message gateway"));
    }
    // Only then: whoever forges replies must not use up what the gateway may hand in.
    app.link_pace.admit((shop, shop), PER_MIN, now)?;
    app.write(&house, move |db| {
        let way = match reply.way {
            IncomingWay::Mail => ReplyWay::Mail,
            IncomingWay::Text => ReplyWay::Text,
        };
        let message_key = format!("reply:{}", signed.id);
        replies::take(db, &Incoming { way, from: &reply.from, text: &reply.text, message_key })
    })
    .await?;
    Ok(HttpResponse::NoContent().finish())
}

/// Which replies, and which page of them.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
pub struct ReplyQuery {
    /// `next_cursor` of the page before.
    #[param(max_length = 400)]
    pub cursor: Option<String>,
    /// Entries per page.
    #[param(minimum = 1, maximum = 200, default = 50)]
    pub limit: Option<i64>,
    /// True: only those that wait for a person.
    pub open: Option<bool>,
    pub customer: Option<Id>,
}

impl Check for ReplyQuery {
    fn check(&self, found: &mut Checker) {
        found.range_if_given("limit", self.limit, 1, page::MAX_LIMIT);
    }
}

/// What customers answered, the newest first, with how it was read.
#[utoipa::path(tag = "messages", params(ReplyQuery), responses((status = 200, body = Page<CustomerReply>, description = "A page")))]
#[get("/v1/replies")]
pub async fn list_replies(app: Shared, caller: Caller, query: Query<ReplyQuery>) -> Answer {
    let Query(query) = query;
    let filter = ReplyFilter { open: query.open, customer: query.customer };
    let list = format!("{} replies {}", caller.shop, serde_json::to_string(&filter)?);
    let before = page::unseal::<Id>(&app.keys, &list, query.cursor.as_deref())?;
    let limit = query.limit.unwrap_or(page::DEFAULT_LIMIT);
    let rows =
        app.read(&caller, move |db| Ok(customer_replies::list(db, &filter, before, limit + 1)?)).await?;
    listed(&Page::cut(rows, limit, &app.keys, &list, |row| row.id)?)
}

/// Notes that a person has seen to a reply.
#[utoipa::path(tag = "messages", params(("id" = Id, Path)), responses((status = 200, body = CustomerReply, description = "Noted")))]
#[post("/v1/replies/{id}/handled")]
pub async fn handle_reply(app: Shared, caller: Caller, key: Key, seen: IfMatch) -> Answer {
    let by = caller.person()?;
    app.once(
        &caller,
        move |db| {
            let before = customer_replies::find(db, key.0)?.ok_or(ApiError::NotFound)?;
            seen.allows(before.rev)?;
            if before.handled_at.is_none() {
                unless_stale(customer_replies::set_handled(db, key.0, before.rev, by)?)?;
            }
            customer_replies::find(db, key.0)?.ok_or(ApiError::NotFound)
        },
        move |reply| Reply::ok(reply, reply.rev),
    )
    .await
}
