//! Logins and their refresh tokens: one login is one family of tokens and dies as one.

use super::Db;
use super::kinds::{Id, Instant, Word};
use super::schema::{login, person, refresh_token};
use crate::auth::Role;
use crate::on_either;
use diesel::prelude::*;
use serde::Serialize;
use utoipa::ToSchema;

/// A refresh token as stored, with its login.
#[derive(Debug, Queryable)]
pub struct Refresh {
    pub login: Id,
    pub person: Id,
    pub role: Word<Role>,
    pub used_at: Option<Instant>,
    pub successor: Option<String>,
    pub expires_at: Instant,
    pub revoked_at: Option<Instant>,
    pub disabled_at: Option<Instant>,
}

/// A login as its person sees it.
#[derive(Debug, Clone, Serialize, ToSchema, Queryable, Selectable)]
#[diesel(table_name = login)]
pub struct Login {
    pub id: Id,
    pub created_at: Instant,
    /// When it last got a new access token, and from where.
    pub seen_at: Option<Instant>,
    pub expires_at: Instant,
    /// Address of the client; of IPv6 its network.
    pub address: Option<String>,
    /// What the client calls itself.
    pub client: Option<String>,
}

impl Login {
    /// It is made and ended, never changed; where it was seen last counts for nothing.
    pub const REV: i32 = 1;
}

/// Where a login was seen: address and client.
pub type Seen<'a> = (&'a str, Option<&'a str>);

pub fn insert(
    db: &mut Db<'_>,
    id: Id,
    of: Id,
    expires_at: Instant,
    (address, client): Seen<'_>,
) -> QueryResult<()> {
    let made = (
        login::shop.eq(db.shop),
        login::id.eq(id),
        login::person.eq(of),
        login::created_at.eq(db.now),
        login::expires_at.eq(expires_at),
        (login::seen_at.eq(db.now), login::address.eq(address), login::client.eq(client)),
    );
    diesel::insert_into(login::table).values(made).execute(db.conn).map(|_| ())
}

/// The role of the person behind a login that still holds.
pub fn live_role(db: &mut Db<'_>, id: Id, of: Id) -> QueryResult<Option<Role>> {
    let role = login::table
        .inner_join(person::table.on(person::shop.eq(login::shop).and(person::id.eq(login::person))))
        .filter(login::shop.eq(db.shop).and(login::id.eq(id)).and(login::person.eq(of)))
        .filter(login::revoked_at.is_null().and(person::disabled_at.is_null()))
        .select(person::role);
    let found: QueryResult<Word<Role>> = on_either!(db, |conn| role.first(conn));
    Ok(found.optional()?.map(|word| word.0))
}

/// Notes that it was used, and from where.
pub fn note_seen(db: &mut Db<'_>, id: Id, (address, client): Seen<'_>) -> QueryResult<()> {
    let set = (login::seen_at.eq(db.now), login::address.eq(address), login::client.eq(client));
    diesel::update(login::table.find((db.shop, id))).set(set).execute(db.conn).map(|_| ())
}

/// Those of a person that still hold, the newest first.
pub fn live(db: &mut Db<'_>, of: Id) -> QueryResult<Vec<Login>> {
    login::table
        .filter(login::shop.eq(db.shop).and(login::person.eq(of)))
        .filter(login::revoked_at.is_null().and(login::expires_at.gt(db.now)))
        .order(login::id.desc())
        .select(Login::as_select())
        .load(db.conn)
}

/// True if the person has logged in from this address since an instant.
pub fn has_come_from(db: &mut Db<'_>, of: Id, address: &str, since: Instant) -> QueryResult<bool> {
    let found: Option<Id> = login::table
        .filter(login::shop.eq(db.shop).and(login::person.eq(of)))
        .filter(login::address.eq(address).and(login::seen_at.ge(since)))
        .select(login::id)
        .first(db.conn)
        .optional()?;
    Ok(found.is_some())
}

/// Ends every login of a person but one.
pub fn revoke_others(db: &mut Db<'_>, of: Id, kept: Id) -> QueryResult<()> {
    let rows = login::table
        .filter(login::shop.eq(db.shop).and(login::person.eq(of)).and(login::revoked_at.is_null()))
        .filter(login::id.ne(kept));
    diesel::update(rows).set(login::revoked_at.eq(db.now)).execute(db.conn).map(|_| ())
}

pub fn revoke(db: &mut Db<'_>, id: Id) -> QueryResult<()> {
    let row = login::table.find((db.shop, id)).filter(login::revoked_at.is_null());
    diesel::update(row).set(login::revoked_at.eq(db.now)).execute(db.conn).map(|_| ())
}

/// Ends every login of a person.
pub fn revoke_all(db: &mut Db<'_>, of: Id) -> QueryResult<()> {
    let rows = login::table
        .filter(login::shop.eq(db.shop).and(login::person.eq(of)).and(login::revoked_at.is_null()));
    diesel::update(rows).set(login::revoked_at.eq(db.now)).execute(db.conn).map(|_| ())
}

pub fn insert_token(db: &mut Db<'_>, of: Id, hash: &str) -> QueryResult<()> {
    let made = (
        refresh_token::shop.eq(db.shop),
        refresh_token::hash.eq(hash),
        refresh_token::login.eq(of),
        refresh_token::created_at.eq(db.now),
    );
    diesel::insert_into(refresh_token::table).values(made).execute(db.conn).map(|_| ())
}

/// The token with its login. Its row is locked until the transaction ends: two refreshes of one token take turns.
pub fn find_token_locked(db: &mut Db<'_>, hash: &str) -> QueryResult<Option<Refresh>> {
    let row = refresh_token::table.find((db.shop, hash));
    // Setting a column to itself takes the row's lock on PostgreSQL; SQLite's writer is alone anyway.
    if diesel::update(row).set(refresh_token::used_at.eq(refresh_token::used_at)).execute(db.conn)? == 0 {
        return Ok(None);
    }
    refresh_token::table
        .inner_join(
            login::table.on(login::shop.eq(refresh_token::shop).and(login::id.eq(refresh_token::login))),
        )
        .inner_join(person::table.on(person::shop.eq(login::shop).and(person::id.eq(login::person))))
        .filter(refresh_token::shop.eq(db.shop).and(refresh_token::hash.eq(hash)))
        .select((
            login::id,
            login::person,
            person::role,
            refresh_token::used_at,
            refresh_token::successor,
            login::expires_at,
            login::revoked_at,
            person::disabled_at,
        ))
        .first(db.conn)
        .optional()
}

/// Notes that the token was used and which one took its place.
pub fn use_token(db: &mut Db<'_>, hash: &str, successor: &str) -> QueryResult<()> {
    let row = refresh_token::table.find((db.shop, hash));
    let used = (refresh_token::used_at.eq(db.now), refresh_token::successor.eq(successor));
    diesel::update(row).set(used).execute(db.conn).map(|_| ())
}

/// Takes back a successor that nobody has used; false if it has been used.
pub fn withdraw_unused(db: &mut Db<'_>, hash: &str) -> QueryResult<bool> {
    let row = refresh_token::table.find((db.shop, hash)).filter(refresh_token::used_at.is_null());
    Ok(diesel::delete(row).execute(db.conn)? == 1)
}

/// Forgets logins that expired or were revoked before an instant, with their tokens.
pub fn delete_ended(db: &mut Db<'_>, before: Instant) -> QueryResult<usize> {
    let ended = login::expires_at.lt(before).or(login::revoked_at.lt(before).assume_not_null());
    let ids: Vec<Id> =
        login::table.filter(login::shop.eq(db.shop)).filter(ended).select(login::id).load(db.conn)?;
    let tokens = refresh_token::table
        .filter(refresh_token::shop.eq(db.shop).and(refresh_token::login.eq_any(ids.clone())));
    diesel::delete(tokens).execute(db.conn)?;
    let logins = login::table.filter(login::shop.eq(db.shop).and(login::id.eq_any(ids)));
    diesel::delete(logins).execute(db.conn)
}
