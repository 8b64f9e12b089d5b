//! Every statement that a server sends in any test is read, and must name the shop of each table that has one: on SQLite
//! nothing else keeps shops apart, and on PostgreSQL this is the first line before row-level security.

use diesel::connection::{InstrumentationEvent, set_default_instrumentation};
use std::collections::BTreeSet;
use std::fmt::Write;
use std::sync::{LazyLock, Mutex, Once, PoisonError};

/// The one question across shops, as SQLite is asked it: the worker's list of them.
const ACROSS: &str = "SELECT `shop`.`id` FROM `shop` ORDER BY `shop`.`id`";

static SHOPLESS: Mutex<BTreeSet<String>> = Mutex::new(BTreeSet::new());

static TABLES: LazyLock<Vec<(String, &'static str)>> = LazyLock::new(|| {
    let keys =
        include_str!("../api/src/db/schema.rs").lines().filter_map(|line| line.trim().split_once(" ("));
    let tables = keys.filter_map(|(table, key)| match key.split([',', ')']).next()? {
        "shop" => Some((table.to_owned(), "shop")),
        _ if table == "shop" => Some((table.to_owned(), "id")),
        _ => None,
    });
    tables.collect()
});

/// The tables that have a shop, each with the column that holds it.
pub fn tables() -> &'static [(String, &'static str)] {
    &TABLES
}

/// Reads the statements of every connection that is opened from now on.
pub fn watch() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| set_default_instrumentation(|| Some(Box::new(read))).expect("nobody holds it"));
}

fn read(event: InstrumentationEvent<'_>) {
    let InstrumentationEvent::StartQuery { query, .. } = event else { return };
    let mut text = UpToValues(String::new());
    // It ends with an error where the values begin.
    write!(text, "{query}").ok();
    let sql = text.0.split(" -- binds").next().unwrap_or_default();
    if forgets_the_shop(sql) {
        SHOPLESS.lock().unwrap_or_else(PoisonError::into_inner).insert(sql.to_owned());
    }
}

/// What was found so far, in all tests of this process.
pub fn shopless() -> Vec<String> {
    SHOPLESS.lock().unwrap_or_else(PoisonError::into_inner).iter().cloned().collect()
}

/// True if a table with a shop is named and its shop is not.
pub fn forgets_the_shop(sql: &str) -> bool {
    // Scripts of several statements are migrations.
    if sql == ACROSS || sql.contains(';') {
        return false;
    }
    let plain: String = sql.chars().map(|c| if "\"`".contains(c) { ' ' } else { c }).collect();
    let plain = plain.replace(" . ", ".");
    let words =
        plain.split(|c: char| c.is_whitespace() || "(),;".contains(c)).filter(|word| !word.is_empty());
    // The last table may be the last word.
    let words: Vec<&str> = words.chain([";"]).collect();
    let named = |column: &str| words.windows(2).any(|two| two == [column, "="] || two == ["=", column]);
    words.windows(3).any(|three| {
        let (verb, name, next) = (three[0].to_uppercase(), three[1], three[2]);
        if !["FROM", "JOIN", "INTO", "UPDATE"].contains(&verb.as_str()) {
            return false;
        }
        let Some((_, shop)) = TABLES.iter().find(|(table, _)| table == name) else { return false };
        match verb.as_str() {
            "INTO" => {
                !words.iter().take_while(|word| !word.eq_ignore_ascii_case("values")).any(|word| word == shop)
            }
            // A statement of our own may give the table another name.
            _ => !named(&format!("{name}.{shop}")) && !named(&format!("{next}.{shop}")),
        }
    })
}

/// Text until a statement's values begin: they may be long.
struct UpToValues(String);

impl Write for UpToValues {
    fn write_str(&mut self, text: &str) -> std::fmt::Result {
        self.0.push_str(text);
        if self.0.contains("-- binds") { Err(std::fmt::Error) } else { Ok(()) }
    }
}
