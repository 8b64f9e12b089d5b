//! What was seen, measured or heard of a vehicle outside a job. It is never changed: a mistaken one is withdrawn.

use super::Db;
use super::kinds::{Doc, Id, Instant};
use super::schema::observation;
use diesel::prelude::*;
use domain::upkeep::History;
use serde::Serialize;
use utoipa::ToSchema;

/// What one person noted of a vehicle at one time.
#[derive(Debug, Clone, Serialize, ToSchema, Queryable, Selectable)]
#[diesel(table_name = observation)]
pub struct ObservationRecord {
    pub id: Id,
    pub vehicle: Id,
    pub by_person: Id,
    pub at: Instant,
    /// Set when it was a mistake: it is kept and no longer counts.
    pub withdrawn_at: Option<Instant>,
    #[serde(flatten)]
    #[schema(value_type = History)]
    pub document: Doc<History>,
}

impl ObservationRecord {
    /// It changes once: when it is withdrawn.
    pub fn rev(&self) -> i32 {
        if self.withdrawn_at.is_none() { 1 } else { 2 }
    }
}

pub fn insert(db: &mut Db<'_>, vehicle: Id, id: Id, by_person: Id, document: &History) -> QueryResult<()> {
    let made = (
        observation::shop.eq(db.shop),
        observation::vehicle.eq(vehicle),
        observation::id.eq(id),
        observation::document.eq(Doc(document.clone())),
        observation::by_person.eq(by_person),
        observation::at.eq(db.now),
    );
    diesel::insert_into(observation::table).values(made).execute(db.conn).map(|_| ())
}

pub fn find(db: &mut Db<'_>, id: Id) -> QueryResult<Option<ObservationRecord>> {
    observation::table.find((db.shop, id)).select(ObservationRecord::as_select()).first(db.conn).optional()
}

/// Those of a vehicle, oldest first, withdrawn ones too.
pub fn list(db: &mut Db<'_>, vehicle: Id) -> QueryResult<Vec<ObservationRecord>> {
    observation::table
        .filter(observation::shop.eq(db.shop).and(observation::vehicle.eq(vehicle)))
        .order((observation::at, observation::id))
        .select(ObservationRecord::as_select())
        .load(db.conn)
}

/// Those of these vehicles that count, oldest first.
pub fn in_force(db: &mut Db<'_>, vehicles: &[Id]) -> QueryResult<Vec<(Id, Doc<History>)>> {
    observation::table
        .filter(observation::shop.eq(db.shop).and(observation::vehicle.eq_any(vehicles.to_vec())))
        .filter(observation::withdrawn_at.is_null())
        .order((observation::at, observation::id))
        .select((observation::vehicle, observation::document))
        .load(db.conn)
}

/// Keeps it and lets it count no longer.
pub fn withdraw(db: &mut Db<'_>, id: Id) -> QueryResult<()> {
    let row = observation::table.find((db.shop, id)).filter(observation::withdrawn_at.is_null());
    diesel::update(row).set(observation::withdrawn_at.eq(db.now)).execute(db.conn).map(|_| ())
}
