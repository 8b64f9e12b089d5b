//! Replies to requests with an idempotency key, kept for whoever repeats the request.

use super::Db;
use super::kinds::{Id, Instant};
use super::schema::kept_reply;
use crate::on_either;
use diesel::prelude::*;

/// What a key belongs to, beside the shop.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Queryable)]
pub struct Place {
    /// The person or partner app.
    pub principal: Id,
    /// Method and path.
    pub operation: String,
    /// A hash of the key.
    pub key: String,
}

/// A row, as far as it is asked for.
#[derive(Debug, Queryable)]
pub struct Kept {
    pub fingerprint: String,
    /// Sealed; absent only within the transaction that makes it.
    pub reply: Option<String>,
}

/// The row, if it was made after `since`.
pub fn find(db: &mut Db<'_>, place: &Place, since: Instant) -> QueryResult<Option<Kept>> {
    kept_reply::table
        .find((db.shop, place.principal, place.operation.clone(), place.key.clone()))
        .filter(kept_reply::created_at.gt(since))
        .select((kept_reply::fingerprint, kept_reply::reply))
        .first(db.conn)
        .optional()
}

/// Takes the place; false if it was taken.
pub fn insert_if_none(db: &mut Db<'_>, place: &Place, fingerprint: &str) -> QueryResult<bool> {
    let row = (
        kept_reply::shop.eq(db.shop),
        kept_reply::principal.eq(place.principal),
        kept_reply::operation.eq(place.operation.clone()),
        kept_reply::key.eq(place.key.clone()),
        kept_reply::fingerprint.eq(fingerprint.to_owned()),
        kept_reply::created_at.eq(db.now),
    );
    let made = on_either!(db, |conn| diesel::insert_into(kept_reply::table)
        .values(row)
        .on_conflict_do_nothing()
        .execute(conn))?;
    Ok(made == 1)
}

/// Keeps the reply at a place that was taken; false if nobody has taken it.
pub fn set_reply(db: &mut Db<'_>, place: &Place, reply: &str) -> QueryResult<bool> {
    let row = kept_reply::table.find((db.shop, place.principal, place.operation.clone(), place.key.clone()));
    Ok(diesel::update(row).set(kept_reply::reply.eq(reply)).execute(db.conn)? == 1)
}

/// Frees a place that was taken before an instant.
pub fn forget(db: &mut Db<'_>, place: &Place, before: Instant) -> QueryResult<()> {
    let row = kept_reply::table.find((db.shop, place.principal, place.operation.clone(), place.key.clone()));
    diesel::delete(row.filter(kept_reply::created_at.le(before))).execute(db.conn).map(|_| ())
}

/// Forgets all that was kept before an instant.
pub fn delete_before(db: &mut Db<'_>, before: Instant) -> QueryResult<usize> {
    let rows = kept_reply::table.filter(kept_reply::shop.eq(db.shop).and(kept_reply::created_at.le(before)));
    diesel::delete(rows).execute(db.conn)
}

/// Something that replies may tell of, and when it was made.
pub type Concern = (Id, Instant);

/// Forgets the replies that tell of these: their operations name them, or made them, as both happened at one instant.
/// The place that this transaction took holds none yet, and stays.
pub fn forget_about(db: &mut Db<'_>, concerns: &[Concern]) -> QueryResult<()> {
    let rows: Vec<(Place, Instant)> = kept_reply::table
        .filter(kept_reply::shop.eq(db.shop).and(kept_reply::reply.is_not_null()))
        .select(((kept_reply::principal, kept_reply::operation, kept_reply::key), kept_reply::created_at))
        .load(db.conn)?;
    let concerned = |place: &Place, at: Instant| {
        concerns.iter().any(|(id, made_at)| at == *made_at || place.operation.contains(id.as_str()))
    };
    for (place, _) in rows.into_iter().filter(|(place, at)| concerned(place, *at)) {
        let row = kept_reply::table.find((db.shop, place.principal, place.operation, place.key));
        diesel::delete(row).execute(db.conn)?;
    }
    Ok(())
}
