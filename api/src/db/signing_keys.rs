//! The key pairs of the installation. All are kept: what the first one stamped (links in old mail) stays good.

use super::Db;
use super::kinds::Instant;
use super::schema::signing_key::dsl;
use crate::on_either;
use diesel::prelude::*;

#[derive(Debug, Clone)]
pub struct SigningKey {
    pub number: i32,
    pub kid: String,
    /// Private and public key, PKCS#8, base64.
    pub pkcs8: String,
    pub signs_from: Instant,
}

/// Oldest first.
pub fn list(db: &mut Db<'_>) -> QueryResult<Vec<SigningKey>> {
    let rows: Vec<(i32, String, String, Instant, Option<Instant>)> = dsl::signing_key
        .order(dsl::number)
        .select((dsl::number, dsl::kid, dsl::pkcs8, dsl::created_at, dsl::signs_from))
        .load(db.conn)?;
    let key = |(number, kid, pkcs8, created_at, signs_from): (_, _, _, _, Option<Instant>)| SigningKey {
        number,
        kid,
        pkcs8,
        signs_from: signs_from.unwrap_or(created_at),
    };
    Ok(rows.into_iter().map(key).collect())
}

/// Stores a pair; one with the same number that another replica stored meanwhile stays.
pub fn insert(db: &mut Db<'_>, key: &SigningKey) -> QueryResult<()> {
    let row = (
        dsl::number.eq(key.number),
        dsl::kid.eq(&key.kid),
        dsl::pkcs8.eq(&key.pkcs8),
        dsl::created_at.eq(db.now),
        dsl::signs_from.eq(key.signs_from),
    );
    on_either!(db, |conn| diesel::insert_into(dsl::signing_key)
        .values(row)
        .on_conflict_do_nothing()
        .execute(conn))
    .map(|_| ())
}
