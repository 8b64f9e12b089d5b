//! Bytes that come in pieces.

use super::Db;
use super::kinds::{Id, Instant};
use super::schema::{photo, upload, upload_part};
use chrono::TimeDelta;
use diesel::dsl::{exists, not};
use diesel::prelude::*;

/// So long a photo's command may come after its bytes (assumption: half as long again as the 30 days for which phones keep
/// what they may have to send again).
pub const UNNAMED_KEPT: TimeDelta = TimeDelta::days(45);

/// What is known of bytes that are here or on their way.
#[derive(Debug, Clone, PartialEq, Queryable, Selectable)]
#[diesel(table_name = upload)]
pub struct Upload {
    pub id: Id,
    pub person: Id,
    pub media_type: String,
    /// `Upload-Metadata` as it came.
    pub metadata: String,
    pub length_bytes: i64,
    pub received_bytes: i64,
    /// When it is given up unless all of it is here; none once it is.
    pub expires_at: Option<Instant>,
}

impl Upload {
    pub fn is_whole(&self) -> bool {
        self.received_bytes == self.length_bytes
    }
}

pub fn insert(db: &mut Db<'_>, new: &Upload) -> QueryResult<()> {
    let made = (
        (upload::shop.eq(db.shop), upload::id.eq(new.id), upload::person.eq(new.person)),
        (upload::media_type.eq(new.media_type.clone()), upload::length_bytes.eq(new.length_bytes)),
        (upload::received_bytes.eq(new.received_bytes), upload::expires_at.eq(new.expires_at)),
        (upload::created_at.eq(db.now), upload::metadata.eq(new.metadata.clone())),
    );
    diesel::insert_into(upload::table).values(made).execute(db.conn).map(|_| ())
}

/// What was given up is not found any more, whether it was swept away yet or not.
pub fn find(db: &mut Db<'_>, id: Id) -> QueryResult<Option<Upload>> {
    upload::table
        .find((db.shop, id))
        .filter(is_here(db.now))
        .select(Upload::as_select())
        .first(db.conn)
        .optional()
}

/// The same, and nobody else adds to it until the transaction ends.
pub fn find_locked(db: &mut Db<'_>, id: Id) -> QueryResult<Option<Upload>> {
    let row = upload::table.find((db.shop, id));
    // Setting a column to itself takes the row's lock on PostgreSQL; SQLite's writer is alone anyway.
    diesel::update(row).set(upload::received_bytes.eq(upload::received_bytes)).execute(db.conn)?;
    find(db, id)
}

/// Adds bytes behind those that are here. It must be locked.
pub fn append(db: &mut Db<'_>, to: &Upload, bytes: &[u8]) -> QueryResult<Upload> {
    let received_bytes = to.received_bytes + i64::try_from(bytes.len()).unwrap_or(i64::MAX);
    let made = (
        (upload_part::shop.eq(db.shop), upload_part::upload.eq(to.id)),
        (upload_part::from_byte.eq(to.received_bytes), upload_part::bytes.eq(bytes.to_vec())),
    );
    diesel::insert_into(upload_part::table).values(made).execute(db.conn)?;
    let expires_at = to.expires_at.filter(|_| received_bytes < to.length_bytes);
    let set = (upload::received_bytes.eq(received_bytes), upload::expires_at.eq(expires_at));
    diesel::update(upload::table.find((db.shop, to.id))).set(set).execute(db.conn)?;
    Ok(Upload { received_bytes, expires_at, ..to.clone() })
}

/// The piece that holds this byte and those behind it.
pub fn part(db: &mut Db<'_>, id: Id, from_byte: i64) -> QueryResult<Option<Vec<u8>>> {
    upload_part::table.find((db.shop, id, from_byte)).select(upload_part::bytes).first(db.conn).optional()
}

pub fn delete(db: &mut Db<'_>, id: Id) -> QueryResult<()> {
    let parts = upload_part::table.filter(upload_part::shop.eq(db.shop).and(upload_part::upload.eq(id)));
    diesel::delete(parts).execute(db.conn)?;
    diesel::delete(upload::table.find((db.shop, id))).execute(db.conn).map(|_| ())
}

/// Deletes the upload with this id if it was given up.
pub fn make_way(db: &mut Db<'_>, id: Id) -> QueryResult<()> {
    let given_up = upload::expires_at.lt(Some(db.now)).assume_not_null();
    let row = upload::table.find((db.shop, id)).filter(given_up).select(upload::id);
    match row.first::<Id>(db.conn).optional()? {
        Some(id) => delete(db, id),
        None => Ok(()),
    }
}

/// Those that were given up.
pub fn expired(db: &mut Db<'_>, limit: i64) -> QueryResult<Vec<Id>> {
    upload::table
        .filter(upload::shop.eq(db.shop))
        .filter(upload::expires_at.lt(Some(db.now)).assume_not_null())
        .order(upload::expires_at)
        .limit(limit)
        .select(upload::id)
        .load(db.conn)
}

/// Whole ones that no photo has named for so long, nor one of `but`.
pub fn never_named(db: &mut Db<'_>, but: &[Id], limit: i64) -> QueryResult<Vec<Id>> {
    upload::table
        .filter(upload::shop.eq(db.shop).and(upload::created_at.lt(db.now.plus(-UNNAMED_KEPT))))
        .filter(upload::expires_at.is_null().and(upload::id.ne_all(but.to_vec())))
        .filter(not(exists(naming())))
        .order(upload::created_at)
        .limit(limit)
        .select(upload::id)
        .load(db.conn)
}

/// The lengths of a person's uploads that no photo names yet, whole or not.
pub fn unnamed_lengths(db: &mut Db<'_>, person: Id) -> QueryResult<Vec<i64>> {
    upload::table
        .filter(upload::shop.eq(db.shop).and(upload::person.eq(person)))
        .filter(upload::created_at.ge(db.now.plus(-UNNAMED_KEPT)))
        .filter(is_here(db.now))
        .filter(not(exists(naming())))
        .select(upload::length_bytes)
        .load(db.conn)
}

/// Whole, or not given up yet.
#[diesel::dsl::auto_type(no_type_alias)]
fn is_here(now: Instant) -> _ {
    let now: Option<Instant> = Some(now);
    upload::expires_at.is_null().or(upload::expires_at.ge(now).assume_not_null())
}

/// The photos that name an upload: of who sent it. One of somebody else may have been there before its bytes.
#[diesel::dsl::auto_type(no_type_alias)]
fn naming() -> _ {
    let of_upload = photo::shop.eq(upload::shop).and(photo::upload.eq(upload::id));
    photo::table.filter(of_upload.and(photo::by_person.eq(upload::person)))
}

/// The jobs whose photos these bytes are.
pub fn jobs_of(db: &mut Db<'_>, id: Id) -> QueryResult<Vec<Id>> {
    let of_upload = upload::shop.eq(photo::shop).and(upload::id.eq(photo::upload));
    photo::table
        .inner_join(upload::table.on(of_upload.and(upload::person.eq(photo::by_person))))
        .filter(photo::shop.eq(db.shop).and(photo::upload.eq(id)))
        .select(photo::job)
        .load(db.conn)
}
