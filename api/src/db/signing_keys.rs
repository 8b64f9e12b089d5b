//! The key pair of the installation.

use super::Db;
use super::schema::signing_key::dsl;
use crate::on_either;
use diesel::prelude::*;

#[derive(Queryable)]
pub struct SigningKey {
    pub kid: String,
    /// Private and public key, PKCS#8, base64.
    pub pkcs8: String,
}

pub fn find(db: &mut Db<'_>) -> QueryResult<Option<SigningKey>> {
    dsl::signing_key.order(dsl::number.desc()).select((dsl::kid, dsl::pkcs8)).first(db.conn).optional()
}

/// Stores the first pair; a pair that another replica stored meanwhile stays.
pub fn insert_if_none(db: &mut Db<'_>, kid: &str, pkcs8: &str) -> QueryResult<()> {
    let row = (dsl::number.eq(1), dsl::kid.eq(kid), dsl::pkcs8.eq(pkcs8), dsl::created_at.eq(db.now));
    on_either!(db, |conn| diesel::insert_into(dsl::signing_key)
        .values(row)
        .on_conflict_do_nothing()
        .execute(conn))
    .map(|_| ())
}
