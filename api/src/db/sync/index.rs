//! One row for each thing and each person who may see it, or could until lately, with the number of the change that
//! touched it last. It is updated in place, so nothing grows.

use super::{Kind, clock, scopes};
use crate::db::Db;
use crate::db::kinds::{Id, Instant};
use crate::db::schema::sync_index;
use crate::on_either;
use diesel::prelude::*;
use domain::sync::{Digest, Place};
use std::collections::{BTreeMap, BTreeSet};

/// A row that is to be written.
#[derive(Debug, Clone, PartialEq)]
pub struct Change {
    pub kind: Kind,
    pub id: String,
    /// The job that it belongs to.
    pub job: Option<Id>,
    /// Whether the person may see it.
    pub present: bool,
}

impl Change {
    pub fn made(kind: Kind, id: &str, job: Option<Id>) -> Change {
        Change { kind, id: id.to_owned(), job, present: true }
    }
}

/// A row of a page.
#[derive(Debug, Clone, PartialEq, Queryable)]
pub struct Row {
    pub kind: String,
    pub id: String,
    pub job: Option<Id>,
    pub seq: i64,
    pub present: bool,
}

/// Writes rows under the number of this transaction, and keeps the digest.
pub fn write(db: &mut Db<'_>, person: Id, seq: i64, changes: &[Change]) -> QueryResult<()> {
    let Some(scope) = scopes::find(db, person)?.filter(|_| !changes.is_empty()) else { return Ok(()) };
    let before = stored(db, person, changes)?;
    let mut digest = scope.digest();
    let newest: BTreeMap<(&str, &str), &Change> =
        changes.iter().map(|change| ((change.kind.word(), change.id.as_str()), change)).collect();
    let mut made = Vec::new();
    for ((kind, id), change) in newest {
        let known = before.get(&(kind.to_owned(), id.to_owned()));
        let was = known.filter(|(_, present)| *present);
        if was.is_none() && !change.present {
            continue;
        }
        if let Some((rev, _)) = was {
            digest.remove(kind, id, *rev);
        }
        if change.present {
            digest.add(kind, id, seq);
        }
        // A row that is there no longer, though it was just now, is made anew: the digest has it.
        if known.is_none() || !update(db, person, seq, change)? {
            made.push(change);
        }
    }
    // SQLite takes 32,766 values in one statement.
    made.chunks(1_000).try_for_each(|some| insert(db, person, seq, some))?;
    scopes::set_digest(db, person, digest)
}

fn update(db: &mut Db<'_>, person: Id, seq: i64, change: &Change) -> QueryResult<bool> {
    let row = sync_index::table.find((db.shop, person, change.kind.word(), &change.id));
    let set =
        (sync_index::seq.eq(seq), sync_index::present.eq(change.present), sync_index::touched_at.eq(db.now));
    Ok(on_either!(db, |conn| diesel::update(row).set(set).execute(conn))? == 1)
}

fn insert(db: &mut Db<'_>, person: Id, seq: i64, changes: &[&Change]) -> QueryResult<()> {
    let made = |change: &&Change| {
        (
            (sync_index::shop.eq(db.shop), sync_index::person.eq(person)),
            (sync_index::kind.eq(change.kind.word()), sync_index::id.eq(change.id.clone())),
            (sync_index::job.eq(change.job), sync_index::seq.eq(seq)),
            (sync_index::present.eq(change.present), sync_index::touched_at.eq(db.now)),
        )
    };
    let made: Vec<_> = changes.iter().map(made).collect();
    on_either!(db, |conn| diesel::insert_into(sync_index::table).values(made).execute(conn)).map(|_| ())
}

/// Number and presence of the rows that are there of these changes.
fn stored(
    db: &mut Db<'_>,
    person: Id,
    changes: &[Change],
) -> QueryResult<BTreeMap<(String, String), (i64, bool)>> {
    let mut found = BTreeMap::new();
    let kinds: BTreeSet<Kind> = changes.iter().map(|change| change.kind).collect();
    // One kind at a time, as the key has it before the id: else all rows of the person would be looked through.
    for kind in kinds {
        let ids: Vec<&str> =
            changes.iter().filter(|one| one.kind == kind).map(|one| one.id.as_str()).collect();
        // SQLite takes 32,766 values in one statement.
        for part in ids.chunks(1_000) {
            let rows: Vec<(String, i64, bool)> = of_person(db.shop, person)
                .filter(sync_index::kind.eq(kind.word()).and(sync_index::id.eq_any(part.to_vec())))
                .select((sync_index::id, sync_index::seq, sync_index::present))
                .load(db.conn)?;
            found.extend(
                rows.into_iter().map(|(id, seq, present)| ((kind.word().to_owned(), id), (seq, present))),
            );
        }
    }
    Ok(found)
}

#[diesel::dsl::auto_type(no_type_alias)]
fn of_person(shop: Id, person: Id) -> _ {
    sync_index::table.filter(sync_index::shop.eq(shop).and(sync_index::person.eq(person)))
}

/// Everybody whose phones hold a thing.
pub fn holders(db: &mut Db<'_>, kind: Kind, id: &str) -> QueryResult<Vec<Id>> {
    sync_index::table
        .filter(sync_index::shop.eq(db.shop).and(sync_index::kind.eq(kind.word())))
        .filter(sync_index::id.eq(id.to_owned()).and(sync_index::present.eq(true)))
        .select(sync_index::person)
        .load(db.conn)
}

/// The jobs that anybody's phone holds.
pub fn held_jobs(db: &mut Db<'_>) -> QueryResult<Vec<Id>> {
    let jobs: Vec<Option<Id>> = sync_index::table
        .filter(sync_index::shop.eq(db.shop).and(sync_index::kind.eq(Kind::Job.word())))
        .filter(sync_index::present.eq(true))
        .select(sync_index::job)
        .distinct()
        .load(db.conn)?;
    Ok(jobs.into_iter().flatten().collect())
}

/// What phones hold of a job.
pub fn rows_of(db: &mut Db<'_>, of: Id) -> QueryResult<Vec<Change>> {
    let rows: Vec<(String, String)> = sync_index::table
        .filter(sync_index::shop.eq(db.shop).and(sync_index::job.eq(Some(of))))
        .filter(sync_index::present.eq(true))
        .select((sync_index::kind, sync_index::id))
        .distinct()
        .load(db.conn)?;
    let change = |(kind, id): (String, String)| Some(Change::made(Kind::from_word(&kind)?, &id, Some(of)));
    Ok(rows.into_iter().filter_map(change).collect())
}

/// True if the job is, or was until lately, on the person's phones.
pub fn once_held(db: &mut Db<'_>, person: Id, job: Id) -> QueryResult<bool> {
    let row = sync_index::table.find((db.shop, person, Kind::Job.word(), job.as_str()));
    Ok(row.select(sync_index::seq).first::<i64>(db.conn).optional()?.is_some())
}

/// What a person's phones may hold.
pub fn present(db: &mut Db<'_>, person: Id) -> QueryResult<BTreeSet<(Kind, String)>> {
    let rows: Vec<(String, String)> = of_person(db.shop, person)
        .filter(sync_index::present.eq(true))
        .select((sync_index::kind, sync_index::id))
        .load(db.conn)?;
    Ok(rows.into_iter().filter_map(|(kind, id)| Some((Kind::from_word(&kind)?, id))).collect())
}

/// The same with the number of each row.
pub fn present_rows(db: &mut Db<'_>, person: Id) -> QueryResult<BTreeMap<(String, String), i64>> {
    let rows: Vec<(String, String, i64)> = of_person(db.shop, person)
        .filter(sync_index::present.eq(true))
        .select((sync_index::kind, sync_index::id, sync_index::seq))
        .load(db.conn)?;
    Ok(rows.into_iter().map(|(kind, id, seq)| ((kind, id), seq)).collect())
}

/// The digest as the rows themselves give it.
pub fn recount(db: &mut Db<'_>, person: Id) -> QueryResult<Digest> {
    let mut digest = Digest::default();
    present_rows(db, person)?.iter().for_each(|((kind, id), seq)| digest.add(kind, id, *seq));
    Ok(digest)
}

/// The rows behind a place, in their order. A copy that is made for the first time never had what left the view before it was
/// begun, and is not told of it.
pub fn page(db: &mut Db<'_>, person: Id, after: &Place, limit: i64) -> QueryResult<Vec<Row>> {
    let mut rows = of_person(db.shop, person).into_boxed();
    if let Some(began) = after.began {
        rows = rows.filter(sync_index::present.eq(true).or(sync_index::seq.gt(began)));
    }
    rows = match after.row.clone() {
        None => rows.filter(sync_index::seq.gt(after.seq)),
        Some((kind, id)) => {
            let same_kind = sync_index::kind.eq(kind.clone()).and(sync_index::id.gt(id));
            let same = sync_index::seq.eq(after.seq).and(sync_index::kind.gt(kind).or(same_kind));
            // Said twice, as an index is entered by the first and not by the second.
            rows.filter(sync_index::seq.ge(after.seq)).filter(sync_index::seq.gt(after.seq).or(same))
        }
    };
    rows.order((sync_index::seq, sync_index::kind, sync_index::id))
        .limit(limit)
        .select((sync_index::kind, sync_index::id, sync_index::job, sync_index::seq, sync_index::present))
        .load(db.conn)
}

/// Forgets what left somebody's view before an instant; a phone that was away for longer begins anew. No change writes rows
/// meanwhile: one that brings back what is being forgotten waits for it.
pub fn forget_before(db: &mut Db<'_>, before: Instant) -> QueryResult<usize> {
    clock::lock(db)?;
    let old = sync_index::present.eq(false).and(sync_index::touched_at.lt(before));
    for person in scopes::people(db)? {
        let newest: Option<i64> = of_person(db.shop, person)
            .filter(old)
            .select(diesel::dsl::max(sync_index::seq))
            .first(db.conn)?;
        if let Some(seq) = newest {
            scopes::raise_floor(db, person, seq)?;
        }
    }
    let rows = sync_index::table.filter(sync_index::shop.eq(db.shop).and(old));
    diesel::delete(rows).execute(db.conn)
}
