//! Partner apps and the hashes of their secrets.

use super::Db;
use super::kinds::{Doc, Id, Instant};
use super::schema::partner_app;
use crate::auth::Scope;
use crate::check::{Check, Checker};
use diesel::prelude::*;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// What the owner sets about a partner app.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema, Queryable, Selectable, Insertable)]
#[serde(deny_unknown_fields)]
#[diesel(table_name = partner_app)]
pub struct PartnerAppFields {
    #[schema(min_length = 1, max_length = 120)]
    pub name: String,
    /// What it may do, at most.
    #[schema(value_type = Vec<Scope>, min_items = 1, max_items = 4)]
    pub scopes: Doc<Vec<Scope>>,
}

#[derive(Debug, Clone, Serialize, ToSchema, Queryable, Selectable)]
#[diesel(table_name = partner_app)]
pub struct PartnerApp {
    pub id: Id,
    pub rev: i32,
    pub created_at: Instant,
    pub disabled_at: Option<Instant>,
    #[serde(flatten)]
    #[diesel(embed)]
    pub fields: PartnerAppFields,
}

/// What a token request is compared with.
#[derive(Queryable)]
pub struct Secrets {
    pub secret_hash: String,
    /// During a change of secrets both are valid.
    pub next_secret_hash: Option<String>,
    pub scopes: Doc<Vec<Scope>>,
}

impl Check for PartnerAppFields {
    fn check(&self, found: &mut Checker) {
        found.line("name", &self.name, 120);
        if self.scopes.0.is_empty() {
            found.refuse("scopes", "too_few", "an app needs at least one scope");
        }
        found.at_most("scopes", &self.scopes.0, 4);
    }
}

pub fn insert(db: &mut Db<'_>, id: Id, fields: &PartnerAppFields, secret_hash: &str) -> QueryResult<()> {
    let made = (
        partner_app::shop.eq(db.shop),
        partner_app::id.eq(id),
        fields,
        partner_app::secret_hash.eq(secret_hash),
        partner_app::rev.eq(1),
        partner_app::created_at.eq(db.now),
    );
    diesel::insert_into(partner_app::table).values(made).execute(db.conn).map(|_| ())
}

pub fn find(db: &mut Db<'_>, id: Id) -> QueryResult<Option<PartnerApp>> {
    partner_app::table.find((db.shop, id)).select(PartnerApp::as_select()).first(db.conn).optional()
}

pub fn list(db: &mut Db<'_>) -> QueryResult<Vec<PartnerApp>> {
    partner_app::table
        .filter(partner_app::shop.eq(db.shop))
        .order(partner_app::id)
        .select(PartnerApp::as_select())
        .load(db.conn)
}

/// The secrets of an app that is not disabled.
pub fn secrets(db: &mut Db<'_>, id: Id) -> QueryResult<Option<Secrets>> {
    partner_app::table
        .find((db.shop, id))
        .filter(partner_app::disabled_at.is_null())
        .select((partner_app::secret_hash, partner_app::next_secret_hash, partner_app::scopes))
        .first(db.conn)
        .optional()
}

pub fn is_enabled(db: &mut Db<'_>, id: Id) -> QueryResult<bool> {
    let found: Option<Id> = partner_app::table
        .find((db.shop, id))
        .filter(partner_app::disabled_at.is_null())
        .select(partner_app::id)
        .first(db.conn)
        .optional()?;
    Ok(found.is_some())
}

pub fn disable(db: &mut Db<'_>, id: Id) -> QueryResult<()> {
    let row = partner_app::table.find((db.shop, id)).filter(partner_app::disabled_at.is_null());
    let set = (partner_app::disabled_at.eq(db.now), partner_app::rev.eq(partner_app::rev + 1));
    diesel::update(row).set(set).execute(db.conn).map(|_| ())
}
