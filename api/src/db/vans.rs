//! Vans and their kits.

use super::Db;
use super::kinds::{Doc, Id, Instant};
use super::schema::van;
use super::shops::Place;
use super::sync::{Kind, Touch};
use crate::check::{Check, Checker};
use chrono::NaiveDate;
use diesel::prelude::*;
use domain::plan::Kit;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// What the office can set about a van.
#[derive(
    Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema, Queryable, Selectable, Insertable, AsChangeset,
)]
#[serde(deny_unknown_fields)]
#[diesel(table_name = van, treat_none_as_null = true)]
pub struct VanFields {
    #[schema(min_length = 1, max_length = 80)]
    pub name: String,
    /// What it carries.
    #[schema(value_type = Kit)]
    pub kit: Doc<Kit>,
    /// People it takes to the customer.
    #[schema(minimum = 1, maximum = 9)]
    pub seats: i32,
    /// Days of the shop's calendar on which it cannot go out.
    #[serde(default)]
    #[schema(value_type = Vec<String>, max_items = 366, example = json!(["2026-05-14"]))]
    pub out_on: Doc<Vec<NaiveDate>>,
    /// Where it stands in the morning and in the evening; absent: at the shop's base.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<Place>)]
    pub home: Option<Doc<Place>>,
    /// Set when it is no longer used.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub retired_at: Option<Instant>,
}

#[derive(Debug, Clone, Serialize, ToSchema, Queryable, Selectable)]
#[diesel(table_name = van)]
pub struct Van {
    pub id: Id,
    pub rev: i32,
    pub created_at: Instant,
    #[serde(flatten)]
    #[diesel(embed)]
    pub fields: VanFields,
}

impl Check for VanFields {
    fn check(&self, found: &mut Checker) {
        found.line("name", &self.name, 80);
        found.range("seats", self.seats, 1, 9);
        found.at_most("out_on", &self.out_on.0, 366);
        if let Some(home) = &self.home {
            found.within("home", |found| home.0.check(found));
        }
        found.within("kit", |found| self.kit.0.check(found));
    }
}

impl Check for Kit {
    fn check(&self, found: &mut Checker) {
        found.range("tank_l", self.tank_l, 0.0, 10_000.0);
        found.range("battery_kwh", self.battery_kwh, 0.0, 1000.0);
        found.at_most("equipment", &self.equipment, 200);
        for (product, ml) in &self.stock_ml {
            found.within("stock_ml", |found| found.range(product, *ml, 0.0, 1e6));
        }
    }
}

pub fn insert(db: &mut Db<'_>, id: Id, fields: &VanFields) -> QueryResult<()> {
    let made = (van::shop.eq(db.shop), van::id.eq(id), fields, van::rev.eq(1), van::created_at.eq(db.now));
    diesel::insert_into(van::table).values(made).execute(db.conn).map(|_| ())
}

pub fn find(db: &mut Db<'_>, id: Id) -> QueryResult<Option<Van>> {
    van::table.find((db.shop, id)).select(Van::as_select()).first(db.conn).optional()
}

/// Those of the ids that are there, in no order.
pub fn among(db: &mut Db<'_>, ids: &[Id]) -> QueryResult<Vec<Van>> {
    van::table
        .filter(van::shop.eq(db.shop).and(van::id.eq_any(ids.to_vec())))
        .select(Van::as_select())
        .load(db.conn)
}

pub fn list(db: &mut Db<'_>, after: Option<Id>, limit: i64) -> QueryResult<Vec<Van>> {
    let mut rows = van::table.filter(van::shop.eq(db.shop)).into_boxed();
    if let Some(after) = after {
        rows = rows.filter(van::id.gt(after));
    }
    rows.order(van::id).limit(limit).select(Van::as_select()).load(db.conn)
}

/// Stores the fields if the van still has the revision `seen`.
pub fn update(db: &mut Db<'_>, id: Id, seen: i32, fields: &VanFields) -> QueryResult<bool> {
    db.touch(Touch::Row(Kind::Van, id));
    let row = van::table.find((db.shop, id)).filter(van::rev.eq(seen));
    Ok(diesel::update(row).set((fields, van::rev.eq(seen + 1))).execute(db.conn)? == 1)
}
