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
#[derive(
    Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema, Queryable, Selectable, Insertable, AsChangeset,
)]
#[serde(deny_unknown_fields)]
#[diesel(table_name = partner_app, treat_none_as_null = true)]
pub struct PartnerAppFields {
    #[schema(min_length = 1, max_length = 120)]
    pub name: String,
    /// What it may do, at most.
    #[schema(value_type = Vec<Scope>, min_items = 1, max_items = 4)]
    pub scopes: Doc<Vec<Scope>>,
    /// The customers it may act for; absent: all of the shop.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<Vec<Id>>, max_items = 1000)]
    pub customers: Option<Doc<Vec<Id>>>,
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

/// What an app may do, and for which customers; none: all.
#[derive(Queryable)]
pub struct Grant {
    pub scopes: Doc<Vec<Scope>>,
    pub customers: Option<Doc<Vec<Id>>>,
}

impl Check for PartnerAppFields {
    fn check(&self, found: &mut Checker) {
        found.line("name", &self.name, 120);
        if self.scopes.0.is_empty() {
            found.refuse("scopes", "too_few", "an app needs at least one scope");
        }
        found.at_most("scopes", &self.scopes.0, 4);
        if let Some(customers) = &self.customers {
            found.at_most("customers", &customers.0, 1000);
        }
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

/// What an app may do now; nothing if it is disabled or unknown.
pub fn grant(db: &mut Db<'_>, id: Id) -> QueryResult<Option<Grant>> {
    partner_app::table
        .find((db.shop, id))
        .filter(partner_app::disabled_at.is_null())
        .select((partner_app::scopes, partner_app::customers))
        .first(db.conn)
        .optional()
}

/// Stores the fields if the app still has the revision `seen`.
pub fn update(db: &mut Db<'_>, id: Id, seen: i32, fields: &PartnerAppFields) -> QueryResult<bool> {
    let row = partner_app::table.find((db.shop, id)).filter(partner_app::rev.eq(seen));
    Ok(diesel::update(row).set((fields, partner_app::rev.eq(seen + 1))).execute(db.conn)? == 1)
}

/// Adds a second secret; false if there are two already.
pub fn add_secret(db: &mut Db<'_>, id: Id, hash: &str) -> QueryResult<bool> {
    let row = partner_app::table.find((db.shop, id)).filter(partner_app::next_secret_hash.is_null());
    let set = (partner_app::next_secret_hash.eq(hash), partner_app::rev.eq(partner_app::rev + 1));
    Ok(diesel::update(row).set(set).execute(db.conn)? == 1)
}

/// Ends the older of two secrets; false if there is only one.
pub fn retire_secret(db: &mut Db<'_>, id: Id) -> QueryResult<bool> {
    let row = partner_app::table.find((db.shop, id)).filter(partner_app::next_secret_hash.is_not_null());
    let set = (
        partner_app::secret_hash.eq(partner_app::next_secret_hash.assume_not_null()),
        partner_app::next_secret_hash.eq(None::<String>),
        partner_app::rev.eq(partner_app::rev + 1),
    );
    Ok(diesel::update(row).set(set).execute(db.conn)? == 1)
}

/// An app and the customers it may act for; none: all.
pub type Granted = (Id, Option<Doc<Vec<Id>>>);

/// The apps that are not disabled and have this scope.
pub fn with_scope(db: &mut Db<'_>, scope: Scope) -> QueryResult<Vec<Granted>> {
    let rows: Vec<(Doc<Vec<Scope>>, Granted)> = partner_app::table
        .filter(partner_app::shop.eq(db.shop).and(partner_app::disabled_at.is_null()))
        .select((partner_app::scopes, (partner_app::id, partner_app::customers)))
        .load(db.conn)?;
    Ok(rows.into_iter().filter(|(scopes, _)| scopes.0.contains(&scope)).map(|(_, app)| app).collect())
}

pub fn disable(db: &mut Db<'_>, id: Id) -> QueryResult<()> {
    let row = partner_app::table.find((db.shop, id)).filter(partner_app::disabled_at.is_null());
    let set = (partner_app::disabled_at.eq(db.now), partner_app::rev.eq(partner_app::rev + 1));
    diesel::update(row).set(set).execute(db.conn).map(|_| ())
}
