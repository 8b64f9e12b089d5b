//! What SQLite is told about the sizes of the tables.
//!
//! Without statistics it takes a shop for ten rows and prefers to walk all of them in the order that a statement asks
//! for, however few an index would find. Counting (`ANALYZE`) would tell it of the database as it was that day, and
//! other connections nothing. So it is told once what a shop looks like after some years: of the rows with one value in
//! the index's first column there are many, with one in the second too there are few
//! (<https://www.sqlite.org/fileformat2.html#the_sqlite_stat1_table> says what the numbers mean).

use diesel::connection::SimpleConnection;
use diesel::{QueryResult, SqliteConnection};

/// Tells it for every index that begins with the shop. The numbers are assumptions; only their order matters.
pub fn tell(conn: &mut SqliteConnection) -> QueryResult<()> {
    conn.batch_execute(
        "ANALYZE sqlite_schema;
         DELETE FROM sqlite_stat1;
         INSERT INTO sqlite_stat1 (tbl, idx, stat)
         SELECT tbl, idx, '1000000 200000'
             || substr(' 20 2 2 2 2 2 2 2 2', 1, max(0, 2 * (columns - 1 - is_unique) + (columns - 1 > is_unique)))
             || CASE is_unique WHEN 1 THEN ' 1' ELSE '' END
         FROM (SELECT t.name AS tbl, i.name AS idx, i.\"unique\" AS is_unique,
                      (SELECT count(*) FROM pragma_index_info(i.name)) AS columns
               FROM sqlite_schema t JOIN pragma_index_list(t.name) i
               WHERE t.type = 'table'
                 AND (SELECT name FROM pragma_index_info(i.name) WHERE seqno = 0) = 'shop')
         WHERE columns > 1;
         ANALYZE sqlite_schema;",
    )
}

#[cfg(test)]
mod tests {
    use diesel::prelude::*;
    use diesel::sql_types::Text;

    #[derive(QueryableByName)]
    struct Way {
        #[diesel(sql_type = Text)]
        detail: String,
    }

    /// Also the connection that was told, which has read the tables before.
    #[test]
    fn few_rows_are_found_by_their_index_and_sorted() {
        let mut conn = SqliteConnection::establish(":memory:").expect("a database");
        let tables = "CREATE TABLE visit (shop TEXT, id TEXT, car TEXT, at TEXT, PRIMARY KEY (shop, id));
            CREATE INDEX visit_at ON visit (shop, at); CREATE INDEX visit_car ON visit (shop, car);";
        diesel::connection::SimpleConnection::batch_execute(&mut conn, tables).expect("tables");
        let way = |conn: &mut SqliteConnection| {
            let asked =
                "EXPLAIN QUERY PLAN SELECT id FROM visit WHERE shop = '1' AND car IN ('1', '2') ORDER BY at";
            let ways: Vec<Way> = diesel::sql_query(asked).load(conn).expect("a way");
            ways.into_iter().map(|way| way.detail).collect::<String>()
        };
        assert!(way(&mut conn).contains("visit_at"), "untold it walks the whole shop");
        super::tell(&mut conn).expect("told");
        assert!(way(&mut conn).contains("visit_car"), "{}", way(&mut conn));
    }

    /// Else every statement with a limit of its own is prepared anew whenever it is sent, as a limit could mean another
    /// way; as the sizes are always the same, it never does.
    #[test]
    fn a_statement_is_prepared_once() {
        let mut conn = SqliteConnection::establish(":memory:").expect("a database");
        let options = diesel::sql_query("SELECT compile_options AS detail FROM pragma_compile_options");
        let options: Vec<Way> = options.load(&mut conn).expect("options");
        let stable = options.iter().any(|option| option.detail == "ENABLE_QPSG");
        assert!(stable, "SQLite was built without what .cargo/config.toml asks for");
    }
}
