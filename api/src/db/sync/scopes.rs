//! People with phones: up to where what left their view was forgotten, and the digest of what they may hold.

use crate::db::Db;
use crate::db::kinds::Id;
use crate::db::schema::{shop, sync_scope};
use chrono::NaiveDate;
use chrono_tz::Tz;
use diesel::prelude::*;
use domain::sync::Digest;
use std::collections::BTreeSet;

/// How much a person may see.
#[derive(Debug, Clone, Queryable, Selectable)]
#[diesel(table_name = sync_scope)]
pub struct Scope {
    pub floor_seq: i64,
    pub row_count: i64,
    row_sum: i64,
    /// The day of the shop's calendar for which it was last looked through.
    pub as_of: NaiveDate,
}

impl Scope {
    pub fn digest(&self) -> Digest {
        Digest { count: self.row_count, sum: self.row_sum.cast_unsigned() }
    }
}

/// Everybody with a phone.
pub fn people(db: &mut Db<'_>) -> QueryResult<BTreeSet<Id>> {
    let all: Vec<Id> =
        sync_scope::table.filter(sync_scope::shop.eq(db.shop)).select(sync_scope::person).load(db.conn)?;
    Ok(all.into_iter().collect())
}

pub fn find(db: &mut Db<'_>, person: Id) -> QueryResult<Option<Scope>> {
    sync_scope::table.find((db.shop, person)).select(Scope::as_select()).first(db.conn).optional()
}

/// Begins to keep what a person may see; tells whether it was not kept before.
pub fn insert_if_none(db: &mut Db<'_>, person: Id) -> QueryResult<bool> {
    if find(db, person)?.is_some() {
        return Ok(false);
    }
    let made = (
        (sync_scope::shop.eq(db.shop), sync_scope::person.eq(person)),
        (sync_scope::floor_seq.eq(0_i64), sync_scope::row_count.eq(0_i64), sync_scope::row_sum.eq(0_i64)),
        sync_scope::as_of.eq(db.now.utc().date()),
    );
    diesel::insert_into(sync_scope::table).values(made).execute(db.conn)?;
    Ok(true)
}

pub fn set_digest(db: &mut Db<'_>, person: Id, digest: Digest) -> QueryResult<()> {
    let set = (sync_scope::row_count.eq(digest.count), sync_scope::row_sum.eq(digest.sum.cast_signed()));
    diesel::update(sync_scope::table.find((db.shop, person))).set(set).execute(db.conn).map(|_| ())
}

pub fn set_as_of(db: &mut Db<'_>, person: Id, day: NaiveDate) -> QueryResult<()> {
    let row = sync_scope::table.find((db.shop, person));
    diesel::update(row).set(sync_scope::as_of.eq(day)).execute(db.conn).map(|_| ())
}

/// What left the view up to and with this number is forgotten.
pub fn raise_floor(db: &mut Db<'_>, person: Id, seq: i64) -> QueryResult<()> {
    let row = sync_scope::table.find((db.shop, person)).filter(sync_scope::floor_seq.lt(seq));
    diesel::update(row).set(sync_scope::floor_seq.eq(seq)).execute(db.conn).map(|_| ())
}

/// The zone of the shop.
pub fn zone(db: &mut Db<'_>) -> QueryResult<Tz> {
    let name: Option<String> = shop::table.find(db.shop).select(shop::time_zone).first(db.conn).optional()?;
    Ok(name.and_then(|name| name.parse().ok()).unwrap_or(Tz::UTC))
}

/// The day by the calendar of the shop.
pub fn today(db: &mut Db<'_>) -> QueryResult<NaiveDate> {
    let now = db.now;
    Ok(now.local(zone(db)?).date())
}
