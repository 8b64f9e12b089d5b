//! What a van held when somebody counted: clay, towels, products.

use super::Db;
use super::kinds::{Doc, Id, Instant};
use super::schema::van_check;
use crate::check::{Check, Checker};
use chrono::NaiveDate;
use diesel::prelude::*;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// One count of a van.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct VanCheckFields {
    pub checked_at: Instant,
    #[schema(min_items = 1, max_items = 200)]
    pub items: Vec<CountedItem>,
}

/// One thing counted.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CountedItem {
    /// Id of the handbook's equipment, counted in pieces, or of its product classes, measured in ml.
    #[schema(example = "clay_towel")]
    pub item: String,
    /// What is in the van now and fit for use.
    #[schema(minimum = 0.0, maximum = 1000000.0)]
    pub left: f64,
    /// What was worn out, thrown away or used up since the last count.
    #[serde(default)]
    #[schema(minimum = 0.0, maximum = 1000000.0)]
    pub gone: f64,
}

/// A count as stored.
#[derive(Debug, Clone, Serialize, ToSchema, Queryable, Selectable)]
#[diesel(table_name = van_check)]
pub struct VanCheck {
    pub id: Id,
    pub van: Id,
    /// The day of the shop's calendar.
    pub checked_on: NaiveDate,
    pub by_person: Id,
    #[serde(flatten)]
    #[schema(value_type = VanCheckFields)]
    pub document: Doc<VanCheckFields>,
}

impl Check for VanCheckFields {
    fn check(&self, found: &mut Checker) {
        if self.items.is_empty() {
            found.refuse("items", "too_few", "must name at least one thing");
        }
        found.at_most("items", &self.items, 200);
        for (i, counted) in self.items.iter().enumerate() {
            found.within(format!("items/{i}"), |found| {
                found.line("item", &counted.item, 40);
                found.range("left", counted.left, 0.0, 1e6);
                found.range("gone", counted.gone, 0.0, 1e6);
                if self.items[..i].iter().any(|before| before.item == counted.item) {
                    found.refuse("item", "twice", "is already in the list");
                }
            });
        }
    }
}

pub fn insert(
    db: &mut Db<'_>,
    van: Id,
    by_person: Id,
    checked_on: NaiveDate,
    fields: &VanCheckFields,
) -> QueryResult<VanCheck> {
    let id = Id::new(db.now);
    let document = Doc(fields.clone());
    let made = (
        (van_check::shop.eq(db.shop), van_check::van.eq(van), van_check::id.eq(id)),
        (van_check::document.eq(&document), van_check::checked_on.eq(checked_on)),
        (van_check::checked_at.eq(fields.checked_at), van_check::by_person.eq(by_person)),
    );
    diesel::insert_into(van_check::table).values(made).execute(db.conn)?;
    Ok(VanCheck { id, van, checked_on, by_person, document })
}

/// Those of a van, the newest first.
pub fn list(db: &mut Db<'_>, van: Id, before: Option<Id>, limit: i64) -> QueryResult<Vec<VanCheck>> {
    let mut rows =
        van_check::table.filter(van_check::shop.eq(db.shop).and(van_check::van.eq(van))).into_boxed();
    if let Some(before) = before {
        rows = rows.filter(van_check::id.lt(before));
    }
    rows.order(van_check::id.desc()).limit(limit).select(VanCheck::as_select()).load(db.conn)
}

/// Those of all vans on the days from `from` to `to`, in the order of time.
pub fn between(db: &mut Db<'_>, from: NaiveDate, to: NaiveDate) -> QueryResult<Vec<VanCheck>> {
    van_check::table
        .filter(van_check::shop.eq(db.shop).and(van_check::checked_on.between(from, to)))
        .order((van_check::checked_at, van_check::id))
        .select(VanCheck::as_select())
        .load(db.conn)
}
