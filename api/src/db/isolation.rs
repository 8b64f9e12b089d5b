//! What keeps shops apart on PostgreSQL even where a statement forgets its shop: row-level security.
//!
//! The migrations force it upon every table with a shop. Each transaction says which shop it is for, until its end, so
//! that a pooled connection remembers nothing; a role that could look past the policies is refused at the start.

use super::OpenError;
use super::kinds::Id;
use diesel::connection::AnsiTransactionManager;
use diesel::prelude::*;
use diesel::sql_types::{Bool, Text};
use diesel::{PgConnection, QueryableByName, sql_query};

/// Begins a transaction that sees the rows of one shop, in one round trip. An id is digits and hyphens, nothing to quote.
pub fn begin(conn: &mut PgConnection, shop: Id, access: &str) -> QueryResult<()> {
    let sql = format!("BEGIN {access}; SET LOCAL lustrum.shop = '{shop}'");
    AnsiTransactionManager::begin_transaction_sql(conn, &sql)
}

/// Refuses a role that the policies do not bind, and tables without them.
pub fn admit(conn: &mut PgConnection) -> Result<(), OpenError> {
    let found: Standing =
        sql_query(STANDING).get_result(conn).map_err(|e| OpenError::Migrate(e.to_string()))?;
    let fault = [
        (found.above, "is, or can become, a superuser or a role with BYPASSRLS"),
        (found.owner, "owns tables, or can become their owner"),
        (found.bare, "finds tables that have a shop and no forced policy"),
    ];
    match fault.iter().find(|(holds, _)| *holds) {
        Some((_, why)) => Err(OpenError::UnsafeRole(found.role, why)),
        None => Ok(()),
    }
}

/// What a role could do beside the policies.
#[derive(QueryableByName)]
struct Standing {
    #[diesel(sql_type = Text)]
    role: String,
    #[diesel(sql_type = Bool)]
    above: bool,
    #[diesel(sql_type = Bool)]
    owner: bool,
    #[diesel(sql_type = Bool)]
    bare: bool,
}

const STANDING: &str = "
    SELECT current_user::text AS role,
        EXISTS (SELECT FROM pg_roles r WHERE (r.rolsuper OR r.rolbypassrls) AND pg_has_role(r.oid, 'MEMBER')) AS above,
        EXISTS (SELECT FROM pg_class c WHERE c.relnamespace = 'public'::regnamespace AND c.relkind IN ('r', 'p')
            AND pg_has_role(c.relowner, 'MEMBER')) AS owner,
        EXISTS (SELECT FROM pg_class c JOIN pg_attribute a ON a.attrelid = c.oid AND NOT a.attisdropped
            WHERE c.relnamespace = 'public'::regnamespace AND c.relkind IN ('r', 'p')
                AND a.attname = CASE c.relname WHEN 'shop' THEN 'id' ELSE 'shop' END
                AND NOT (c.relrowsecurity AND c.relforcerowsecurity)) AS bare";

/// The ids of all shops: the one question that looks beyond a shop.
pub fn all_shops(conn: &mut PgConnection) -> QueryResult<Vec<Id>> {
    #[derive(QueryableByName)]
    struct Shop {
        #[diesel(sql_type = Text)]
        id: String,
    }
    let shops: Vec<Shop> = sql_query("SELECT id FROM all_shops() AS shops (id)").load(conn)?;
    Ok(shops.iter().filter_map(|shop| shop.id.parse().ok()).collect())
}
