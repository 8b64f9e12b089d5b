//! Both databases have the same tables, and they go down and up again.

use api::db::{Database, Location};
use diesel::sql_types::Text;
use diesel::{Connection, PgConnection, QueryableByName, RunQueryDsl, SqliteConnection, sql_query};
use std::collections::BTreeSet;
use std::path::Path;
use tests::{Place, on_postgres};

/// One line of text about the schema.
#[derive(QueryableByName)]
struct Line {
    #[diesel(sql_type = Text)]
    line: String,
}

/// Each database is compared with the one `schema.rs`, so both are alike.
#[test]
fn the_migrations_make_the_tables_of_the_schema_and_take_them_back() {
    let place = Place::make();
    let location = place.owner();
    let database = Database::open(&location, 2).expect("it opens");
    assert_eq!(columns(&location), BTreeSet::new());
    for _ in 0..2 {
        database.migrate().expect("up");
        assert_eq!(columns(&location), of_the_schema());
        database.migrate().expect("up once more changes nothing");
        database.revert_all().expect("down");
        assert_eq!(columns(&location), BTreeSet::new());
    }
}

#[test]
fn both_trees_have_the_same_migrations_each_with_its_way_back() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../migrations");
    let names = |tree: &str| -> BTreeSet<String> {
        let entries = std::fs::read_dir(root.join(tree)).expect("a tree of migrations");
        entries.map(|entry| entry.expect("an entry").file_name().into_string().expect("text")).collect()
    };
    assert_eq!(names("sqlite"), names("postgres"));
    for tree in ["sqlite", "postgres"] {
        for name in names(tree) {
            for file in ["up.sql", "down.sql"] {
                assert!(root.join(tree).join(&name).join(file).exists(), "{tree}/{name}/{file}");
            }
        }
    }
}

/// `.cargo/config.toml` says why. Whoever builds without it gets a program that works and is slow.
#[test]
fn sqlite_is_compiled_to_keep_its_plans_and_to_wait_for_nobody() {
    let mut conn = SqliteConnection::establish(":memory:").expect("a database");
    let options = sql_query("SELECT compile_options AS line FROM pragma_compile_options");
    let options: Vec<Line> = options.load(&mut conn).expect("its options");
    let is_set = |name: &str| options.iter().any(|option| option.line == name);
    assert!(["ENABLE_QPSG", "THREADSAFE=2", "DEFAULT_MEMSTATUS=0"].into_iter().all(is_set));
    assert!(!is_set("ENABLE_MEMORY_MANAGEMENT"));
}

/// Shards split by shop: it comes first in every key, constraint and index (a foreign key's target is a key), nothing
/// counts across shops, and on PostgreSQL no table is without its policy. The catalogue is asked for whatever differs.
#[test]
fn the_shop_comes_first_in_every_key_and_index() {
    let place = Place::make();
    let location = place.owner();
    Database::open(&location, 2).and_then(|database| database.migrate()).expect("the tables");
    let indexes = lines(&location, SQLITE_INDEXES, POSTGRES_INDEXES);
    assert!(indexes.len() > 25, "{indexes:?}");
    let wrong: Vec<&String> = indexes
        .iter()
        .filter(|line| !line.ends_with(" shop") && !line.starts_with("signing_key ") && *line != "shop id")
        .collect();
    assert_eq!(wrong, Vec::<&String>::new());
}

fn columns(location: &Location) -> BTreeSet<String> {
    lines(location, SQLITE_COLUMNS, POSTGRES_COLUMNS)
}

fn lines(location: &Location, sqlite: &str, postgres: &str) -> BTreeSet<String> {
    let rows: Vec<Line> = match location {
        Location::Sqlite(file) => {
            assert!(!on_postgres());
            let mut conn = SqliteConnection::establish(&file.to_string_lossy()).expect("it opens");
            sql_query(sqlite).load(&mut conn).expect("the catalogue")
        }
        Location::Postgres(url) => {
            let mut conn = PgConnection::establish(url).expect("it opens");
            sql_query(postgres).load(&mut conn).expect("the catalogue")
        }
    };
    rows.into_iter().map(|row| row.line).collect()
}

/// `schema.rs` in the words of the catalogue queries: table, column, type, and whether it may be empty.
fn of_the_schema() -> BTreeSet<String> {
    let mut found = BTreeSet::new();
    let mut table = String::new();
    for line in include_str!("../api/src/db/schema.rs").lines().map(str::trim) {
        if let Some((name, _)) = line.split_once(" (").filter(|_| line.ends_with(") {")) {
            table = name.to_owned();
        } else if let Some((column, kind)) = line.trim_end_matches(',').split_once(" -> ") {
            let inner = kind.strip_prefix("Nullable<").map(|kind| kind.trim_end_matches('>'));
            let null = if inner.is_some() { "null" } else { "not null" };
            found.insert(format!("{table} {column} {} {null}", inner.unwrap_or(kind).to_lowercase()));
        }
    }
    assert!(found.len() > 100);
    found
}

const SQLITE_COLUMNS: &str = "
    SELECT t.name || ' ' || c.name || ' ' ||
        CASE c.type WHEN 'DOUBLE PRECISION' THEN 'double' WHEN 'BOOLEAN' THEN 'bool' WHEN 'BLOB' THEN 'binary'
            ELSE lower(c.type) END ||
        CASE c.\"notnull\" WHEN 1 THEN ' not null' ELSE ' null' END AS line
    FROM sqlite_master t JOIN pragma_table_xinfo(t.name) c
    WHERE t.type = 'table' AND t.name NOT LIKE 'sqlite_%' AND t.name NOT LIKE '\\_\\_%' ESCAPE '\\'";

const POSTGRES_COLUMNS: &str = "
    SELECT table_name || ' ' || column_name || ' ' ||
        CASE data_type WHEN 'timestamp without time zone' THEN 'timestamp' WHEN 'double precision' THEN 'double'
            WHEN 'boolean' THEN 'bool' WHEN 'bytea' THEN 'binary' ELSE data_type END ||
        CASE is_nullable WHEN 'NO' THEN ' not null' ELSE ' null' END AS line
    FROM information_schema.columns WHERE table_schema = 'public' AND table_name NOT LIKE '\\_\\_%'";

const SQLITE_INDEXES: &str = "
    SELECT t.name || ' ' || i.name || ' ' || c.name AS line
    FROM sqlite_master t JOIN pragma_index_list(t.name) i JOIN pragma_index_info(i.name) c
    WHERE t.type = 'table' AND t.name NOT LIKE '\\_\\_%' ESCAPE '\\' AND c.seqno = 0 AND t.name <> 'shop'
    UNION ALL
    SELECT t.name || ' -> ' || f.\"table\" || ' ' || f.\"from\" AS line
    FROM sqlite_master t JOIN pragma_foreign_key_list(t.name) f
    WHERE t.type = 'table' AND f.seq = 0";

const POSTGRES_INDEXES: &str = "
    SELECT t.relname || ' ' || i.relname || ' ' || a.attname AS line
    FROM pg_index x JOIN pg_class t ON t.oid = x.indrelid JOIN pg_class i ON i.oid = x.indexrelid
    JOIN pg_namespace n ON n.oid = t.relnamespace
    JOIN pg_attribute a ON a.attrelid = t.oid AND a.attnum = x.indkey[0]
    WHERE n.nspname = 'public' AND t.relname NOT LIKE '\\_\\_%' AND t.relname <> 'shop'
    UNION ALL
    SELECT t.relname || ' -> ' || c.conname || ' ' || a.attname AS line
    FROM pg_constraint c JOIN pg_class t ON t.oid = c.conrelid
    JOIN pg_attribute a ON a.attrelid = t.oid AND a.attnum = c.conkey[1]
    WHERE c.contype = 'f'
    UNION ALL
    SELECT 'sequence ' || relname FROM pg_class WHERE relkind = 'S'
    UNION ALL
    SELECT 'without policy: ' || t.relname FROM pg_class t
    WHERE t.relnamespace = 'public'::regnamespace AND t.relkind IN ('r', 'p')
        AND t.relname NOT IN ('__diesel_schema_migrations', 'signing_key')
        AND NOT (t.relrowsecurity AND t.relforcerowsecurity AND EXISTS (
            SELECT FROM pg_policy p WHERE p.polrelid = t.oid AND p.polname = 'of_the_shop'))";
