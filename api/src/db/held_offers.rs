//! Windows that somebody holds for some minutes until they take them.

use super::kinds::{Doc, Id, Instant, Word};
use super::schema::{held_offer, vehicle};
use super::{Db, MultiBackend};
use diesel::prelude::*;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum HeldStatus {
    /// Until it expires.
    Held,
    /// It is a job now.
    Taken,
    /// Given back.
    Released,
}

/// What is held, and who would do it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, Queryable, Selectable, Insertable)]
#[diesel(table_name = held_offer)]
pub struct HeldFields {
    pub vehicle: Id,
    pub package: String,
    pub options: Doc<Vec<String>>,
    pub booked_grade: i32,
    pub window_from: Instant,
    pub window_to: Instant,
    pub van: Id,
    pub technicians: Doc<Vec<Id>>,
    pub start_at: Instant,
    pub finish_at: Instant,
    pub cost: f64,
}

#[derive(Debug, Clone, Queryable, Selectable)]
#[diesel(table_name = held_offer)]
pub struct HeldOffer {
    pub id: Id,
    pub rev: i32,
    pub created_at: Instant,
    /// Who holds it: a person, or a partner app.
    pub person: Option<Id>,
    pub app: Option<Id>,
    pub status: Word<HeldStatus>,
    pub expires_at: Instant,
    pub job: Option<Id>,
    #[diesel(embed)]
    pub fields: HeldFields,
}

impl HeldOffer {
    pub fn is_live(&self, now: Instant) -> bool {
        self.status.0 == HeldStatus::Held && now < self.expires_at
    }
}

pub fn insert(
    db: &mut Db<'_>,
    id: Id,
    (person, app): (Option<Id>, Option<Id>),
    fields: &HeldFields,
    expires_at: Instant,
) -> QueryResult<()> {
    let made = (
        held_offer::shop.eq(db.shop),
        held_offer::id.eq(id),
        held_offer::person.eq(person),
        held_offer::app.eq(app),
        fields,
        held_offer::status.eq(Word(HeldStatus::Held)),
        held_offer::expires_at.eq(expires_at),
        held_offer::rev.eq(1),
        held_offer::created_at.eq(db.now),
    );
    diesel::insert_into(held_offer::table).values(made).execute(db.conn).map(|_| ())
}

/// Those for vehicles of customers for whom the caller may act.
fn reached(db: &Db<'_>) -> held_offer::BoxedQuery<'static, MultiBackend> {
    let rows = held_offer::table.filter(held_offer::shop.eq(db.shop)).into_boxed();
    let Some(granted) = db.granted.clone() else { return rows };
    let vehicles = vehicle::table.filter(vehicle::shop.eq(db.shop).and(vehicle::customer.eq_any(granted)));
    rows.filter(held_offer::vehicle.eq_any(vehicles.select(vehicle::id)))
}

/// A held offer, if the caller may act for its customer.
pub fn find(db: &mut Db<'_>, id: Id) -> QueryResult<Option<HeldOffer>> {
    reached(db).filter(held_offer::id.eq(id)).select(HeldOffer::as_select()).first(db.conn).optional()
}

/// Those of customers for whom the caller may act, the newest first; of an app or all.
pub fn list(db: &mut Db<'_>, app: Option<Id>, before: Option<Id>, limit: i64) -> QueryResult<Vec<HeldOffer>> {
    let mut rows = reached(db);
    if let Some(app) = app {
        rows = rows.filter(held_offer::app.eq(app));
    }
    if let Some(before) = before {
        rows = rows.filter(held_offer::id.lt(before));
    }
    rows.order(held_offer::id.desc()).limit(limit).select(HeldOffer::as_select()).load(db.conn)
}

/// Those that are held now, whoever asks: their places are taken for everybody.
pub fn live(db: &mut Db<'_>) -> QueryResult<Vec<HeldOffer>> {
    held_offer::table
        .filter(held_offer::shop.eq(db.shop).and(held_offer::status.eq(Word(HeldStatus::Held))))
        .filter(held_offer::expires_at.gt(db.now))
        .order(held_offer::id)
        .select(HeldOffer::as_select())
        .load(db.conn)
}

/// Ends a hold; false where it was taken or given back before.
pub fn settle(db: &mut Db<'_>, id: Id, status: HeldStatus, job: Option<Id>) -> QueryResult<bool> {
    let row = held_offer::table.find((db.shop, id)).filter(held_offer::status.eq(Word(HeldStatus::Held)));
    let set = (
        held_offer::status.eq(Word(status)),
        held_offer::job.eq(job),
        held_offer::rev.eq(held_offer::rev + 1),
    );
    Ok(diesel::update(row).set(set).execute(db.conn)? == 1)
}
