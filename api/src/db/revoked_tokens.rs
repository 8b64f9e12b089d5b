//! Access tokens of partner apps that were ended before their time.

use super::Db;
use super::kinds::{Id, Instant};
use super::schema::revoked_token;
use crate::on_either;
use diesel::prelude::*;

/// Doing it twice is the same as once.
pub fn insert(db: &mut Db<'_>, id: Id, expires_at: Instant) -> QueryResult<()> {
    let row =
        (revoked_token::shop.eq(db.shop), revoked_token::id.eq(id), revoked_token::expires_at.eq(expires_at));
    on_either!(db, |conn| diesel::insert_into(revoked_token::table)
        .values(row)
        .on_conflict_do_nothing()
        .execute(conn))
    .map(|_| ())
}

pub fn is_revoked(db: &mut Db<'_>, id: Id) -> QueryResult<bool> {
    let found: Option<Id> =
        revoked_token::table.find((db.shop, id)).select(revoked_token::id).first(db.conn).optional()?;
    Ok(found.is_some())
}

/// Forgets those that have expired anyway.
pub fn delete_expired(db: &mut Db<'_>, before: Instant) -> QueryResult<usize> {
    let rows = revoked_token::table
        .filter(revoked_token::shop.eq(db.shop).and(revoked_token::expires_at.lt(before)));
    diesel::delete(rows).execute(db.conn)
}
