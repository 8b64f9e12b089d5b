//! Ways that a shop knows better than by coordinates: one matrix for each shop.

use super::Db;
use super::kinds::{Doc, Instant};
use super::schema::travel_matrix;
use crate::locking;
use diesel::prelude::*;
use domain::dispatch::{Place, TravelMatrix};
use serde::Serialize;
use utoipa::ToSchema;

/// The matrix of a shop.
#[derive(Debug, Clone, Serialize, ToSchema, Queryable, Selectable)]
#[diesel(table_name = travel_matrix)]
pub struct StoredMatrix {
    pub rev: i32,
    pub changed_at: Instant,
    #[serde(flatten)]
    #[schema(value_type = TravelMatrix)]
    pub document: Doc<TravelMatrix>,
}

pub fn find(db: &mut Db<'_>) -> QueryResult<Option<StoredMatrix>> {
    travel_matrix::table.find(db.shop).select(StoredMatrix::as_select()).first(db.conn).optional()
}

/// The same, and nobody else stores another one until the transaction ends.
pub fn find_locked(db: &mut Db<'_>) -> QueryResult<Option<StoredMatrix>> {
    let row = travel_matrix::table.find(db.shop);
    locking!(db, row.select(StoredMatrix::as_select()), first).optional()
}

/// Stores the matrix in place of the one of revision `before`, if there was one; false if somebody was faster.
pub fn store(db: &mut Db<'_>, before: Option<i32>, matrix: &TravelMatrix) -> QueryResult<bool> {
    let set = (
        travel_matrix::document.eq(Doc(matrix.clone())),
        travel_matrix::changed_at.eq(db.now),
        travel_matrix::rev.eq(before.unwrap_or(0) + 1),
    );
    let count = match before {
        Some(seen) => diesel::update(travel_matrix::table.find(db.shop).filter(travel_matrix::rev.eq(seen)))
            .set(set)
            .execute(db.conn)?,
        None => diesel::insert_into(travel_matrix::table)
            .values((travel_matrix::shop.eq(db.shop), set))
            .execute(db.conn)?,
    };
    Ok(count == 1)
}

/// Takes a place out of a matrix that was found locked; how old the others' ways are stays.
pub fn take_out(db: &mut Db<'_>, stored: StoredMatrix, place: &Place) -> QueryResult<()> {
    let matrix = stored.document.0.without(place);
    let set = (travel_matrix::document.eq(Doc(matrix)), travel_matrix::rev.eq(stored.rev + 1));
    diesel::update(travel_matrix::table.find(db.shop)).set(set).execute(db.conn).map(|_| ())
}

pub fn delete(db: &mut Db<'_>) -> QueryResult<()> {
    diesel::delete(travel_matrix::table.find(db.shop)).execute(db.conn).map(|_| ())
}
