//! Attacks 29 to 31: from one shop into another below HTTP. Every statement names its shop, and on PostgreSQL row-level
//! security holds even where one forgets it.

use super::shops::things;
use api::app::App;
use api::clock::Clock;
use api::db::customers;
use api::db::kinds::Id;
use api::db::{Database, Location, OpenError, Sight, shops};
use diesel::connection::InstrumentationEvent;
use diesel::prelude::*;
use diesel::sql_query;
use diesel::sql_types::BigInt;
use std::collections::BTreeSet;
use tests::statements::forgets_the_shop;
use tests::{Place, TestApp, on_postgres, on_server};

#[test]
fn a_statement_that_forgets_its_shop_is_seen() {
    for (sql, forgets) in [
        (
            "SELECT \"job\".\"id\" FROM \"job\" WHERE ((\"job\".\"shop\" = $1) AND (\"job\".\"id\" = $2))",
            false,
        ),
        ("SELECT \"job\".\"shop\" FROM \"job\" WHERE (\"job\".\"id\" = $2)", true),
        ("SELECT count(*) FROM `customer`", true),
        (
            "SELECT `a`.`id` FROM (`job` INNER JOIN `van` ON (`van`.`shop` = `job`.`shop`)) WHERE (`job`.`shop` = ?)",
            false,
        ),
        (
            "SELECT `job`.`id` FROM (`job` INNER JOIN `van` ON (`van`.`id` = `job`.`van`)) WHERE (`job`.`shop` = ?)",
            true,
        ),
        ("INSERT INTO `van` (`shop`, `id`) VALUES (?, ?)", false),
        ("INSERT INTO `van` (`id`, `name`) VALUES ('shop', ?)", true),
        ("UPDATE upkeep_state s SET basis = $2 FROM unnest($4) AS n WHERE s.shop = $1", false),
        ("UPDATE upkeep_state s SET basis = $2 FROM unnest($4) AS n WHERE s.vehicle = $1", true),
        ("DELETE FROM `outbox` WHERE (`outbox`.`status` = ?)", true),
        ("SELECT `shop`.`name` FROM `shop` WHERE (`shop`.`id` = ?)", false),
        ("SELECT `shop`.`name` FROM `shop`", true),
        ("SELECT `shop`.`id` FROM `shop` ORDER BY `shop`.`id`", false),
        ("SELECT `signing_key`.`kid` FROM `signing_key`", false),
    ] {
        assert_eq!(forgets_the_shop(sql), forgets, "{sql}");
    }
}

#[derive(QueryableByName)]
struct Count {
    #[diesel(sql_type = BigInt)]
    count: i64,
}

/// The rows that a statement without any shop sees, on behalf of a shop.
fn seen(database: &Database, shop: Id, sql: &str) -> QueryResult<i64> {
    let now = Clock::System.now();
    database.read(shop, now, Sight::Latest, |db| match &mut *db.conn {
        api::db::Conn::Pg(conn) => sql_query(sql).get_result::<Count>(conn).map(|row| row.count),
        api::db::Conn::Sqlite(conn) => sql_query(sql).get_result::<Count>(conn).map(|row| row.count),
    })
}

/// As if every tenant predicate were gone: row-level security still shows and changes nothing of other shops. SQLite has
/// no second line: there the guard that reads every statement of every test is what sees that one is gone.
#[test]
fn attack_29_a_statement_without_its_tenant_predicate() {
    if !on_postgres() {
        let all = tests::statements::tables();
        assert!(all.len() > 30, "{all:?}");
        for (table, column) in all.iter().filter(|(table, _)| table != "shop") {
            let sql = format!("SELECT `{table}`.`{column}` FROM `{table}` WHERE (`{table}`.`{column}` = ?)");
            assert!(!forgets_the_shop(&sql), "{sql}");
            assert!(forgets_the_shop(sql.split(" WHERE").next().expect("a statement")), "{sql}");
        }
        return;
    }
    let app = TestApp::start();
    let (mut ours, mut theirs) = (app.shop("Shine"), app.shop("Gleam"));
    things(&app, &mut ours);
    things(&app, &mut theirs);
    // The statements below are meant to forget the shop, so they go over connections that nobody reads.
    let Location::Postgres(url) = app.app.config.location() else { panic!("a server") };
    let mut conn = PgConnection::establish(&url).expect("the server answers");
    conn.set_instrumentation(|_: InstrumentationEvent<'_>| {});
    let Location::Postgres(owner) = app.place.owner() else { panic!("a server") };
    let mut owner = PgConnection::establish(&owner).expect("the server answers");
    owner.set_instrumentation(|_: InstrumentationEvent<'_>| {});
    sql_query("SET lustrum.shop = '*'").execute(&mut owner).expect("a setting");
    let run = |conn: &mut PgConnection, sql: &str| sql_query(sql).execute(conn);
    let count =
        |conn: &mut PgConnection, sql: &str| sql_query(sql).get_result::<Count>(conn).expect("a count").count;
    let (mut filled, mut left) = (0, Vec::new());
    for (table, column) in tests::statements::tables() {
        let all = format!("SELECT count(*) AS count FROM {table}");
        let of = |shop: Id| format!("{all} WHERE {column} = '{shop}'");
        assert_eq!(count(&mut conn, &all), 0, "{table}: without a shop there are no rows");
        conn.test_transaction::<_, diesel::result::Error, _>(|conn| {
            run(conn, &format!("SET LOCAL lustrum.shop = '{}'", ours.id))?;
            assert_eq!(count(conn, &all), count(conn, &of(ours.id)), "{table}");
            assert_eq!(count(conn, &of(theirs.id)), 0, "{table}");
            assert_eq!(
                run(
                    conn,
                    &format!("UPDATE {table} SET {column} = {column} WHERE {column} = '{}'", theirs.id)
                )?,
                0
            );
            assert_eq!(run(conn, &format!("DELETE FROM {table} WHERE {column} = '{}'", theirs.id))?, 0);
            filled += i64::from(count(conn, &all) > 0);
            Ok(())
        });
        // The star is for whoever owns the tables.
        conn.test_transaction::<_, diesel::result::Error, _>(|conn| {
            run(conn, "SET LOCAL lustrum.shop = '*'")?;
            assert_eq!(count(conn, &all), 0, "{table}");
            Ok(())
        });
        left.push(count(&mut owner, &of(theirs.id)));
    }
    assert!(filled > 15 && left.iter().filter(|rows| **rows > 0).count() > 15, "{filled}, {left:?}");
    let moved = conn.test_transaction::<_, diesel::result::Error, _>(|conn| {
        run(conn, &format!("SET LOCAL lustrum.shop = '{}'", ours.id))?;
        Ok(run(conn, &format!("UPDATE van SET shop = '{}'", theirs.id)))
    });
    assert!(
        moved.is_err_and(|error| error.to_string().contains("row-level security")),
        "a row was given away"
    );
}

/// Two shops by turns over few connections, with errors and panics in between: nobody sees the other's rows.
#[test]
fn attack_31_ten_thousand_turns_of_two_shops_over_pooled_connections() {
    let app = TestApp::start_with(|config| config.pool_size = 2);
    let shops = [app.shop("Shine"), app.shop("Gleam")];
    for (shop, many) in shops.iter().zip([1, 3]) {
        (0..many).for_each(|n| drop(shop.customer(&format!("{many} {n}"))));
    }
    let (database, now) = (&app.app.database, app.clock.now());
    let look = |turn: usize| {
        let (shop, many) = [(&shops[0], 1), (&shops[1], 3)][turn % 2];
        let found =
            database.read(shop.id, now, Sight::Latest, |db| customers::list(db, None, 10)).expect("a list");
        assert!(
            found.len() == many && found.iter().all(|one| one.fields.name.starts_with(&many.to_string())),
            "turn {turn}"
        );
        if turn % 100 == 7 {
            let lost: QueryResult<()> =
                database.write(shop.id, now, |_| Err(diesel::result::Error::RollbackTransaction));
            assert!(lost.is_err());
        }
        if on_postgres() && turn % 10 == 3 {
            let all = seen(
                database,
                shop.id,
                "SELECT count(*) AS count FROM customer WHERE customer.shop = customer.shop",
            );
            assert_eq!(all.expect("a count"), many as i64, "turn {turn}");
        }
    };
    std::thread::scope(|scope| {
        for thread in 0..4 {
            let look = &look;
            scope.spawn(move || (0..2_500).for_each(|turn| look(turn + thread)));
        }
    });
}

/// Whoever could look past the policies may not serve.
#[test]
fn attack_30_started_as_a_role_that_row_level_security_does_not_bind() {
    // With roles of its own, as these are changed here.
    let place = Place::make();
    Database::open(&place.owner(), 1).and_then(|owner| owner.migrate()).expect("the tables");
    let open = |url: Option<&str>| {
        let mut config = place.config();
        config.database_url = url.map(str::to_owned).or(config.database_url);
        App::open(config, Clock::System).map(|_| ())
    };
    open(None).expect("the role that is meant to serve, or SQLite, which has none");
    let Some(superuser) = place.superuser() else { return };
    let refused = |url: Option<&str>, why: &str| match open(url) {
        Err(OpenError::UnsafeRole(_, told)) => assert!(told.contains(why), "{told}"),
        other => panic!("{other:?} instead of a refusal for {why}"),
    };
    let Location::Postgres(owner) = place.owner() else { panic!("a server") };
    refused(Some(&superuser), "superuser");
    refused(Some(&owner), "owns tables");
    let role = superuser.rsplit('/').next().expect("the name of the database and of its role");
    let change = |statements: &str| on_server(&superuser, statements);
    change(&format!("ALTER ROLE {role} BYPASSRLS"));
    refused(None, "BYPASSRLS");
    change(&format!("ALTER ROLE {role} NOBYPASSRLS; GRANT {role}_owner TO {role}"));
    refused(None, "owns tables");
    change(&format!("REVOKE {role}_owner FROM {role}; ALTER TABLE van NO FORCE ROW LEVEL SECURITY"));
    refused(None, "no forced policy");
    change("ALTER TABLE van FORCE ROW LEVEL SECURITY");
    open(None).expect("all is well again");
    change("DELETE FROM __diesel_schema_migrations WHERE version LIKE '%15'");
    assert!(matches!(open(None), Err(OpenError::Outdated)));
}

/// What the worker asks: that shops exist, and nothing else of them.
#[test]
fn the_list_of_shops_tells_ids_only() {
    let app = TestApp::start();
    let made = BTreeSet::from([app.shop("Shine").id, app.shop("Gleam").id]);
    let now = app.clock.now();
    let listed = app.app.database.read(Id::new(now), now, Sight::Latest, |db| {
        let all = shops::all(db)?;
        assert_eq!(shops::find(db)?.map(|shop| shop.id), None, "the list leaves nothing open behind it");
        Ok::<_, diesel::result::Error>(all)
    });
    assert_eq!(listed.expect("the shops").into_iter().collect::<BTreeSet<Id>>(), made);
}
