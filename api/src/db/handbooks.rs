//! What the shop changed in the trade tables, version by version.

use super::Db;
use super::kinds::{Doc, Id, Instant};
use super::schema::handbook_override;
use super::sync::Touch;
use crate::check::{Check, Checker};
use diesel::prelude::*;
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};
use utoipa::ToSchema;

/// Cells by table, row and column; what is not named is as in the standard tables.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(value_type = Object)]
pub struct Overrides(pub Map<String, Value>);

/// One version of the shop's changes.
#[derive(Debug, Clone, Serialize, ToSchema, Queryable, Selectable)]
#[diesel(table_name = handbook_override)]
pub struct StoredOverrides {
    /// 1, 2, ...; the greatest is in force.
    pub version: i32,
    pub by_person: Id,
    pub created_at: Instant,
    #[schema(value_type = Overrides)]
    pub document: Doc<Overrides>,
}

/// Whether the cells exist and fit is for the handbook to say.
impl Check for Overrides {
    fn check(&self, _: &mut Checker) {}
}

/// The number of the version in force; none while the shop works by the standard tables.
pub fn newest_version(db: &mut Db<'_>) -> QueryResult<Option<i32>> {
    handbook_override::table
        .filter(handbook_override::shop.eq(db.shop))
        .select(diesel::dsl::max(handbook_override::version))
        .first(db.conn)
}

pub fn find(db: &mut Db<'_>, version: i32) -> QueryResult<Option<StoredOverrides>> {
    handbook_override::table
        .find((db.shop, version))
        .select(StoredOverrides::as_select())
        .first(db.conn)
        .optional()
}

/// Fails as taken when somebody else stored this version meanwhile.
pub fn insert(db: &mut Db<'_>, version: i32, by_person: Id, document: &Overrides) -> QueryResult<()> {
    db.touch(Touch::Handbook);
    let made = (
        handbook_override::shop.eq(db.shop),
        handbook_override::version.eq(version),
        handbook_override::document.eq(Doc(document.clone())),
        handbook_override::by_person.eq(by_person),
        handbook_override::created_at.eq(db.now),
    );
    diesel::insert_into(handbook_override::table).values(made).execute(db.conn).map(|_| ())
}
