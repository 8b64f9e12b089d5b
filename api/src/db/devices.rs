//! Phones, each of one person.

use super::Db;
use super::kinds::{Id, Instant, Word};
use super::schema::device;
use crate::check::{Check, Checker};
use diesel::prelude::*;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// The shape of the rows that this server sends.
pub const ROW_SCHEMA: i32 = 1;

/// What a phone says of itself.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct DeviceFields {
    /// How its person calls it.
    #[serde(default)]
    #[schema(min_length = 1, max_length = 80)]
    pub name: Option<String>,
    /// The shape of the rows that it understands.
    #[serde(default = "first_schema")]
    #[schema(minimum = 1, maximum = 1000)]
    pub row_schema: i32,
    /// The number of the last command that was acknowledged to it; 0: none.
    #[serde(default)]
    #[schema(minimum = 0, maximum = 9_000_000_000_000_000_i64)]
    pub acknowledged_n: i64,
    /// The timeline that it is on; absent: it knows none yet.
    #[serde(default)]
    #[schema(min_length = 1, max_length = 60)]
    pub epoch: Option<String>,
}

fn first_schema() -> i32 {
    ROW_SCHEMA
}

/// Whether a phone may still speak.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum DeviceState {
    Active,
    /// Told to forget everything; what it had not sent yet still comes to the inbox.
    Wiped,
    /// Refused.
    Barred,
}

/// A phone as stored.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema, Queryable, Selectable)]
#[diesel(table_name = device)]
pub struct Device {
    pub id: Id,
    pub person: Id,
    pub name: Option<String>,
    pub row_schema: i32,
    /// The number of the last command that was taken from it.
    pub last_n: i64,
    #[schema(value_type = DeviceState)]
    pub state: Word<DeviceState>,
    /// When it last spoke.
    pub seen_at: Instant,
    pub rev: i32,
    pub created_at: Instant,
}

impl Check for DeviceFields {
    fn check(&self, found: &mut Checker) {
        found.line_if_given("name", self.name.as_deref(), 80);
        found.range("row_schema", self.row_schema, 1, 1000);
        found.line_if_given("epoch", self.epoch.as_deref(), 60);
        found.range("acknowledged_n", self.acknowledged_n, 0, 9_000_000_000_000_000);
    }
}

pub fn insert(db: &mut Db<'_>, id: Id, person: Id, fields: &DeviceFields) -> QueryResult<()> {
    let made = (
        (device::shop.eq(db.shop), device::id.eq(id), device::person.eq(person)),
        (device::name.eq(fields.name.clone()), device::row_schema.eq(fields.row_schema)),
        (device::last_n.eq(0_i64), device::state.eq(Word(DeviceState::Active))),
        (device::seen_at.eq(db.now), device::rev.eq(1), device::created_at.eq(db.now)),
    );
    diesel::insert_into(device::table).values(made).execute(db.conn).map(|_| ())
}

pub fn find(db: &mut Db<'_>, id: Id) -> QueryResult<Option<Device>> {
    device::table.find((db.shop, id)).select(Device::as_select()).first(db.conn).optional()
}

/// The same, noting that it spoke; nothing else of it is taken until the transaction ends.
pub fn find_locked(db: &mut Db<'_>, id: Id) -> QueryResult<Option<Device>> {
    diesel::update(device::table.find((db.shop, id))).set(device::seen_at.eq(db.now)).execute(db.conn)?;
    find(db, id)
}

/// What it says of itself, said anew.
pub fn update(db: &mut Db<'_>, id: Id, fields: &DeviceFields) -> QueryResult<()> {
    let set = (device::name.eq(fields.name.clone()), device::row_schema.eq(fields.row_schema));
    diesel::update(device::table.find((db.shop, id)))
        .set((set, device::seen_at.eq(db.now)))
        .execute(db.conn)
        .map(|_| ())
}

pub fn set_last_n(db: &mut Db<'_>, id: Id, last_n: i64) -> QueryResult<()> {
    diesel::update(device::table.find((db.shop, id)))
        .set(device::last_n.eq(last_n))
        .execute(db.conn)
        .map(|_| ())
}

/// Stores the state if the device still has the revision `seen`.
pub fn set_state(db: &mut Db<'_>, id: Id, seen: i32, state: DeviceState) -> QueryResult<bool> {
    let row = device::table.find((db.shop, id)).filter(device::rev.eq(seen));
    let set = (device::state.eq(Word(state)), device::rev.eq(seen + 1));
    Ok(diesel::update(row).set(set).execute(db.conn)? == 1)
}

/// By id, which the phones chose; of everybody, or of one person.
pub fn list(db: &mut Db<'_>, of: Option<Id>, after: Option<Id>, limit: i64) -> QueryResult<Vec<Device>> {
    let mut rows = device::table.filter(device::shop.eq(db.shop)).into_boxed();
    if let Some(person) = of {
        rows = rows.filter(device::person.eq(person));
    }
    if let Some(after) = after {
        rows = rows.filter(device::id.gt(after));
    }
    rows.order(device::id).limit(limit).select(Device::as_select()).load(db.conn)
}
