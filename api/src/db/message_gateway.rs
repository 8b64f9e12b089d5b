//! Where a shop's text messages are handed over, and the secret by which that gateway and we know each other.

use super::Db;
use super::kinds::Instant;
use super::schema::message_gateway;
use super::webhooks::{OVERLAP, Secrets};
use crate::check::{Check, Checker};
use diesel::prelude::*;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// What the owner sets about it.
#[derive(
    Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema, Queryable, Selectable, Insertable, AsChangeset,
)]
#[serde(deny_unknown_fields)]
#[diesel(table_name = message_gateway, treat_none_as_null = true)]
pub struct GatewayFields {
    /// Takes text messages: an HTTPS address on the public internet, on port 443 or above 1023. Absent: no text messages
    /// go out; what customers answer may still come in.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(format = "uri", min_length = 1, max_length = 500, example = "https://gateway.example/messages")]
    pub text_url: Option<String>,
}

#[derive(Debug, Clone, Serialize, ToSchema, Queryable, Selectable)]
#[diesel(table_name = message_gateway)]
pub struct MessageGateway {
    pub rev: i32,
    pub created_at: Instant,
    /// Until when the secret before this one counts too.
    pub old_secret_until: Option<Instant>,
    #[serde(flatten)]
    #[diesel(embed)]
    pub fields: GatewayFields,
}

impl Check for GatewayFields {
    fn check(&self, found: &mut Checker) {
        found.line_if_given("text_url", self.text_url.as_deref(), 500);
    }
}

pub fn find(db: &mut Db<'_>) -> QueryResult<Option<MessageGateway>> {
    message_gateway::table.find(db.shop).select(MessageGateway::as_select()).first(db.conn).optional()
}

pub fn secrets(db: &mut Db<'_>) -> QueryResult<Option<Secrets>> {
    let columns = (message_gateway::secret, message_gateway::old_secret, message_gateway::old_secret_until);
    message_gateway::table.find(db.shop).select(columns).first(db.conn).optional()
}

/// Stores the fields; the first time with this secret.
pub fn store(db: &mut Db<'_>, fields: &GatewayFields, secret: &str) -> QueryResult<()> {
    let again = (fields, message_gateway::rev.eq(message_gateway::rev + 1));
    if diesel::update(message_gateway::table.find(db.shop)).set(again).execute(db.conn)? == 1 {
        return Ok(());
    }
    let made = (
        message_gateway::shop.eq(db.shop),
        fields,
        message_gateway::secret.eq(secret),
        message_gateway::rev.eq(1),
        message_gateway::created_at.eq(db.now),
    );
    diesel::insert_into(message_gateway::table).values(made).execute(db.conn).map(|_| ())
}

/// Gives it another secret; the one before counts for a while.
pub fn change_secret(db: &mut Db<'_>, secret: &str) -> QueryResult<()> {
    let set = (
        message_gateway::old_secret.eq(message_gateway::secret.nullable()),
        message_gateway::old_secret_until.eq(db.now.plus(OVERLAP)),
        message_gateway::secret.eq(secret),
        message_gateway::rev.eq(message_gateway::rev + 1),
    );
    diesel::update(message_gateway::table.find(db.shop)).set(set).execute(db.conn).map(|_| ())
}
