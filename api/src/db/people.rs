//! The people of a shop: who logs in, who works.

use super::Db;
use super::kinds::{Doc, Id, Instant, Word};
use super::schema::person;
use crate::auth::Role;
use crate::check::{Check, Checker};
use crate::locking;
use chrono::{NaiveDate, NaiveTime};
use diesel::prelude::*;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use utoipa::ToSchema;

/// What the owner can set about a person.
#[derive(
    Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema, Queryable, Selectable, Insertable, AsChangeset,
)]
#[serde(deny_unknown_fields)]
#[diesel(table_name = person, treat_none_as_null = true)]
pub struct PersonFields {
    #[schema(min_length = 1, max_length = 120)]
    pub name: String,
    /// The login name; one person per address and shop.
    #[schema(format = "email", max_length = 254)]
    pub email: String,
    #[schema(value_type = Role)]
    pub role: Word<Role>,
    /// `wash`, `decon`, `clay`, `polish`, `coating`, `soft_top`, `rinseless`, `acid_mild`, `platform`.
    #[serde(default)]
    #[schema(value_type = Vec<String>, max_items = 32)]
    pub skills: Doc<Vec<String>>,
    /// Works only beside somebody who is not a trainee.
    #[serde(default)]
    pub trainee: bool,
    /// The working week; empty: no fixed hours.
    #[serde(default)]
    #[schema(value_type = Vec<WorkDay>, max_items = 28)]
    pub hours: Doc<Vec<WorkDay>>,
    /// The van this person usually goes with.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub home_van: Option<Id>,
    /// Days of the shop's calendar on which they do not work, whatever their week says.
    #[serde(default)]
    #[schema(value_type = Vec<String>, max_items = 366, example = json!(["2026-05-14"]))]
    pub days_off: Doc<Vec<NaiveDate>>,
}

/// Working hours on one day of the week, local time of the shop.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct WorkDay {
    /// 1 Monday to 7 Sunday (ISO 8601).
    #[schema(minimum = 1, maximum = 7)]
    pub weekday: u8,
    #[schema(value_type = String, example = "08:00:00")]
    pub from: NaiveTime,
    #[schema(value_type = String, example = "16:30:00")]
    pub to: NaiveTime,
}

#[derive(Debug, Clone, Serialize, ToSchema, Queryable, Selectable)]
#[diesel(table_name = person)]
pub struct Person {
    pub id: Id,
    pub rev: i32,
    pub created_at: Instant,
    /// Since when the person can no longer log in.
    pub disabled_at: Option<Instant>,
    #[serde(flatten)]
    #[diesel(embed)]
    pub fields: PersonFields,
}

/// What a login needs to know.
#[derive(Queryable, Selectable)]
#[diesel(table_name = person)]
pub struct Credentials {
    pub id: Id,
    pub role: Word<Role>,
    pub password_hash: Option<String>,
    pub disabled_at: Option<Instant>,
}

impl Check for PersonFields {
    fn check(&self, found: &mut Checker) {
        found.line("name", &self.name, 120);
        found.email("email", &self.email);
        found.at_most("skills", &self.skills.0, 32);
        for (i, skill) in self.skills.0.iter().enumerate() {
            found.within("skills", |found| found.line(&i.to_string(), skill, 40));
        }
        found.at_most("days_off", &self.days_off.0, 366);
        found.at_most("hours", &self.hours.0, 28);
        for (i, day) in self.hours.0.iter().enumerate() {
            found.within(format!("hours/{i}"), |found| {
                found.range("weekday", day.weekday, 1, 7);
                if day.to <= day.from {
                    found.refuse("to", "ends_before_start", "must be later than from");
                }
            });
        }
    }
}

pub fn insert(
    db: &mut Db<'_>,
    id: Id,
    fields: &PersonFields,
    password_hash: Option<&str>,
) -> QueryResult<()> {
    let made = (
        person::shop.eq(db.shop),
        person::id.eq(id),
        fields,
        person::password_hash.eq(password_hash),
        person::rev.eq(1),
        person::created_at.eq(db.now),
    );
    diesel::insert_into(person::table).values(made).execute(db.conn).map(|_| ())
}

pub fn find(db: &mut Db<'_>, id: Id) -> QueryResult<Option<Person>> {
    person::table.find((db.shop, id)).select(Person::as_select()).first(db.conn).optional()
}

/// By id, which is by the time they were added.
pub fn list(db: &mut Db<'_>, after: Option<Id>, limit: i64) -> QueryResult<Vec<Person>> {
    let mut rows = person::table.filter(person::shop.eq(db.shop)).into_boxed();
    if let Some(after) = after {
        rows = rows.filter(person::id.gt(after));
    }
    rows.order(person::id).limit(limit).select(Person::as_select()).load(db.conn)
}

/// Stores the fields if the person still has the revision `seen`.
pub fn update(db: &mut Db<'_>, id: Id, seen: i32, fields: &PersonFields) -> QueryResult<bool> {
    let row = person::table.find((db.shop, id)).filter(person::rev.eq(seen));
    Ok(diesel::update(row).set((fields, person::rev.eq(seen + 1))).execute(db.conn)? == 1)
}

/// Ends (or lifts, with none) the person's access, if they still have the revision `seen`.
pub fn set_disabled(db: &mut Db<'_>, id: Id, seen: i32, at: Option<Instant>) -> QueryResult<bool> {
    let row = person::table.find((db.shop, id)).filter(person::rev.eq(seen));
    let set = (person::disabled_at.eq(at), person::rev.eq(seen + 1));
    Ok(diesel::update(row).set(set).execute(db.conn)? == 1)
}

/// Stores the hash of another password, if the person still has the revision `seen`.
pub fn set_password(db: &mut Db<'_>, id: Id, seen: i32, hash: &str) -> QueryResult<bool> {
    let row = person::table.find((db.shop, id)).filter(person::rev.eq(seen));
    let set = (person::password_hash.eq(hash), person::rev.eq(seen + 1));
    Ok(diesel::update(row).set(set).execute(db.conn)? == 1)
}

pub fn credentials(db: &mut Db<'_>, email: &str) -> QueryResult<Option<Credentials>> {
    person::table
        .filter(person::shop.eq(db.shop).and(person::email.eq(email)))
        .select(Credentials::as_select())
        .first(db.conn)
        .optional()
}

/// The person whose password was proved by these, if it is still theirs and they may log in. Proving takes its turn, so
/// that much may have happened since; from here on nobody changes them until the transaction ends.
pub fn admitted(db: &mut Db<'_>, proved: &Credentials) -> QueryResult<Option<Credentials>> {
    let row = person::table.find((db.shop, proved.id));
    let now: Option<Credentials> = locking!(db, row.select(Credentials::as_select()), first).optional()?;
    Ok(now.filter(|now| now.password_hash == proved.password_hash && now.disabled_at.is_none()))
}

/// The names of these people, in the order of their ids.
pub fn names(db: &mut Db<'_>, ids: &[Id]) -> QueryResult<Vec<String>> {
    person::table
        .filter(person::shop.eq(db.shop).and(person::id.eq_any(ids.to_vec())))
        .order(person::id)
        .select(person::name)
        .load(db.conn)
}

/// What these people are called.
pub fn named(db: &mut Db<'_>, ids: &[Id]) -> QueryResult<BTreeMap<Id, String>> {
    let rows: Vec<(Id, String)> = person::table
        .filter(person::shop.eq(db.shop).and(person::id.eq_any(ids.to_vec())))
        .select((person::id, person::name))
        .load(db.conn)?;
    Ok(rows.into_iter().collect())
}

/// Those of `ids` who are in the shop and not disabled.
pub fn active_among(db: &mut Db<'_>, ids: &[Id]) -> QueryResult<Vec<Id>> {
    person::table
        .filter(
            person::shop.eq(db.shop).and(person::id.eq_any(ids.to_vec())).and(person::disabled_at.is_null()),
        )
        .select(person::id)
        .load(db.conn)
}

/// How many owners can still log in.
pub fn active_owners(db: &mut Db<'_>) -> QueryResult<i64> {
    person::table
        .filter(
            person::shop
                .eq(db.shop)
                .and(person::disabled_at.is_null())
                .and(person::role.eq(Word(Role::Owner))),
        )
        .count()
        .get_result(db.conn)
}
