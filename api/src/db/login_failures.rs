//! How often logins failed lately, by what they count against.

use super::Db;
use super::kinds::Instant;
use super::schema::login_failure;
use crate::on_either;
use diesel::prelude::*;

/// How many there were, and when the last one was, unless that was before `since`.
pub fn find(db: &mut Db<'_>, source: &str, since: Instant) -> QueryResult<Option<(i32, Instant)>> {
    login_failure::table
        .find((db.shop, source))
        .filter(login_failure::last_at.ge(since))
        .select((login_failure::failures, login_failure::last_at))
        .first(db.conn)
        .optional()
}

/// Counts one more of what was locked before; what was before `since` is forgotten.
pub fn add(db: &mut Db<'_>, source: &str, since: Instant) -> QueryResult<()> {
    let row = login_failure::table.find((db.shop, source));
    let more = (login_failure::failures.eq(login_failure::failures + 1), login_failure::last_at.eq(db.now));
    let lately = row.filter(login_failure::last_at.ge(since));
    if diesel::update(lately).set(more).execute(db.conn)? == 1 {
        return Ok(());
    }
    let first = (login_failure::failures.eq(1), login_failure::last_at.eq(db.now));
    diesel::update(row).set(first).execute(db.conn).map(|_| ())
}

/// Nobody else counts against these until the transaction ends.
pub fn lock(db: &mut Db<'_>, source: &str) -> QueryResult<()> {
    let made = (
        login_failure::shop.eq(db.shop),
        login_failure::source.eq(source),
        login_failure::failures.eq(0),
        login_failure::last_at.eq(db.now),
    );
    on_either!(db, |conn| diesel::insert_into(login_failure::table)
        .values(made)
        .on_conflict((login_failure::shop, login_failure::source))
        .do_update()
        .set(login_failure::failures.eq(login_failure::failures))
        .execute(conn))
    .map(|_| ())
}

pub fn delete(db: &mut Db<'_>, source: &str) -> QueryResult<()> {
    diesel::delete(login_failure::table.find((db.shop, source))).execute(db.conn).map(|_| ())
}

/// Forgets what was before an instant.
pub fn delete_old(db: &mut Db<'_>, before: Instant) -> QueryResult<usize> {
    let rows =
        login_failure::table.filter(login_failure::shop.eq(db.shop).and(login_failure::last_at.lt(before)));
    diesel::delete(rows).execute(db.conn)
}
