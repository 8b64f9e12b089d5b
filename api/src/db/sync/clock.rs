//! The one number of a shop that orders all changes, and the timeline it belongs to.

use crate::db::Db;
use crate::db::kinds::Id;
use crate::db::schema::sync_clock;
use crate::locking;
use diesel::prelude::*;
use domain::handbook::Handbook;

/// Starts the clock of a new shop.
pub fn start(db: &mut Db<'_>) -> QueryResult<()> {
    let epoch = Id::new(db.now).to_string();
    let made = (
        (sync_clock::shop.eq(db.shop), sync_clock::epoch.eq(epoch), sync_clock::seq.eq(0_i64)),
        sync_clock::handbook.eq(standard()),
    );
    diesel::insert_into(sync_clock::table).values(made).execute(db.conn).map(|_| ())
}

/// The next number. Whoever asks for one, too, waits until this transaction ends; none: there is no such shop.
pub fn next(db: &mut Db<'_>) -> QueryResult<Option<i64>> {
    let row = sync_clock::table.find(db.shop);
    if diesel::update(row).set(sync_clock::seq.eq(sync_clock::seq + 1)).execute(db.conn)? == 0 {
        return Ok(None);
    }
    Ok(Some(now(db)?.1))
}

/// Keeps the number from being taken until this transaction ends, without taking it.
pub fn lock(db: &mut Db<'_>) -> QueryResult<()> {
    let row = sync_clock::table.find(db.shop).select(sync_clock::seq);
    let found: QueryResult<i64> = locking!(db, row, first);
    found.optional().map(|_| ())
}

/// The timeline and the number of the last change.
pub fn now(db: &mut Db<'_>) -> QueryResult<(String, i64)> {
    sync_clock::table.find(db.shop).select((sync_clock::epoch, sync_clock::seq)).first(db.conn)
}

/// A timeline that began because of what a phone knows has this before the second in which it did, and an id.
const ASKED: &str = "asked-";
/// So long such a one lasts at least (assumption: nobody restores twice an hour without saying so).
const LEAST_EPOCH_S: i64 = 3_600;

/// For how many seconds more no phone can have another timeline begin.
pub fn rests_for_s(db: &mut Db<'_>) -> QueryResult<Option<i64>> {
    let epoch = now(db)?.0;
    let began = epoch.strip_prefix(ASKED).and_then(|rest| rest.split_once('-')?.0.parse::<i64>().ok());
    let rest = began.map(|began| LEAST_EPOCH_S - (db.now.unix() - began));
    Ok(rest.filter(|rest| (1..=LEAST_EPOCH_S).contains(rest)))
}

/// Begins another timeline: what was acknowledged on the old one may be lost here.
pub fn begin_epoch(db: &mut Db<'_>, asked: bool) -> QueryResult<()> {
    let id = Id::new(db.now);
    let epoch = if asked { format!("{ASKED}{}-{id}", db.now.unix()) } else { id.to_string() };
    diesel::update(sync_clock::table.find(db.shop))
        .set(sync_clock::epoch.eq(epoch))
        .execute(db.conn)
        .map(|_| ())
}

/// Whether phones were told of the standard tables of this release.
pub fn knows_standard(db: &mut Db<'_>) -> QueryResult<bool> {
    let told: String = sync_clock::table.find(db.shop).select(sync_clock::handbook).first(db.conn)?;
    Ok(told == standard())
}

/// Notes that they are told of them now.
pub fn tell_standard(db: &mut Db<'_>) -> QueryResult<()> {
    let row = sync_clock::table.find(db.shop);
    diesel::update(row).set(sync_clock::handbook.eq(standard())).execute(db.conn).map(|_| ())
}

fn standard() -> &'static str {
    &Handbook::standard().version
}
