//! Every statement that a server sends in any test is read. It must name the shop of each table that has one: on SQLite
//! nothing else keeps shops apart, and on PostgreSQL this is the first line before row-level security. And a transaction
//! that changes what phones hold must take the shop's next number, as then they are told.

use diesel::connection::{Instrumentation, InstrumentationEvent, set_default_instrumentation};
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write;
use std::hash::{DefaultHasher, Hash, Hasher};
use std::sync::{LazyLock, Mutex, Once, PoisonError};

/// What is said across shops, as SQLite hears it: the worker's question which there are, and that another timeline begins
/// in a file, which is restored with all of them.
const ACROSS: [&str; 2] =
    ["SELECT `shop`.`id` FROM `shop` ORDER BY `shop`.`id`", "UPDATE sync_clock SET epoch = ?"];

static SHOPLESS: Mutex<BTreeSet<String>> = Mutex::new(BTreeSet::new());
static UNTOLD: Mutex<BTreeSet<String>> = Mutex::new(BTreeSet::new());

/// What phones hold, or see a job by.
const HELD: [&str; 16] = [
    "arrival",
    "crew_note",
    "customer",
    "extra_work",
    "handbook_override",
    "inspection",
    "job",
    "job_comment",
    "job_technician",
    "photo",
    "plan",
    "step_record",
    "step_state",
    "van",
    "vehicle",
    "waiver",
];
/// A new one is on no phone before somebody goes there.
const ON_NO_PHONE_YET: [&str; 5] = ["customer", "job", "shop", "van", "vehicle"];

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
    ONCE.call_once(|| {
        set_default_instrumentation(|| Some(Box::new(Reader::default()))).expect("nobody holds it")
    });
}

/// Reads what one connection sends.
#[derive(Default)]
struct Reader {
    /// What its transaction has written of what phones hold since they were told last.
    untold: Vec<String>,
    /// How much that was when each part of the transaction began that is still open.
    parts: Vec<usize>,
}

impl Instrumentation for Reader {
    fn on_connection_event(&mut self, event: InstrumentationEvent<'_>) {
        match event {
            InstrumentationEvent::StartQuery { query, .. } => {
                let mut text = UpToValues(String::new());
                // It ends with an error where the values begin.
                write!(text, "{query}").ok();
                self.read(text.0.split(" -- binds").next().unwrap_or_default());
            }
            InstrumentationEvent::BeginTransaction { .. } => self.parts.push(self.untold.len()),
            InstrumentationEvent::RollbackTransaction { .. } => {
                self.untold.truncate(self.parts.pop().unwrap_or(0));
            }
            InstrumentationEvent::CommitTransaction { .. } => {
                self.parts.pop();
                if self.parts.is_empty() && !self.untold.is_empty() {
                    UNTOLD.lock().unwrap_or_else(PoisonError::into_inner).extend(self.untold.drain(..));
                }
            }
            _ => {}
        }
    }
}

impl Reader {
    fn read(&mut self, sql: &str) {
        match Meaning::of(sql) {
            Meaning::Other => {}
            Meaning::TellsPhones => self.untold.clear(),
            Meaning::ChangesPhones => self.untold.push(sql.to_owned()),
        }
    }
}

/// What a statement is to phones.
#[derive(Clone, Copy)]
enum Meaning {
    Other,
    TellsPhones,
    ChangesPhones,
}

impl Meaning {
    /// Reads a statement the first time that it is sent; there are some hundred of them, sent a million times.
    fn of(sql: &str) -> Meaning {
        static KNOWN: LazyLock<Mutex<BTreeMap<u64, Meaning>>> = LazyLock::new(Mutex::default);
        let mut hasher = DefaultHasher::new();
        sql.hash(&mut hasher);
        let mut known = KNOWN.lock().unwrap_or_else(PoisonError::into_inner);
        *known.entry(hasher.finish()).or_insert_with(|| Meaning::read(sql))
    }

    fn read(sql: &str) -> Meaning {
        if forgets_the_shop(sql) {
            SHOPLESS.lock().unwrap_or_else(PoisonError::into_inner).insert(sql.to_owned());
        }
        // Scripts of several statements are migrations, or a test's own.
        let words = if sql.contains(';') { Vec::new() } else { words(sql) };
        match words.starts_with(&["UPDATE", "sync_clock", "SET", "seq"]) {
            true => Meaning::TellsPhones,
            false if changes_phones(&words) => Meaning::ChangesPhones,
            false => Meaning::Other,
        }
    }
}

/// What was found so far, in all tests of this process.
pub fn shopless() -> Vec<String> {
    SHOPLESS.lock().unwrap_or_else(PoisonError::into_inner).iter().cloned().collect()
}

/// Changes of what phones hold that no phone was told of, in all tests of this process.
pub fn untold() -> Vec<String> {
    UNTOLD.lock().unwrap_or_else(PoisonError::into_inner).iter().cloned().collect()
}

/// True for a statement that changes what phones may hold.
fn changes_phones(words: &[&str]) -> bool {
    match words {
        ["INSERT", "INTO", table, ..] => HELD.contains(table) && !ON_NO_PHONE_YET.contains(table),
        ["DELETE", "FROM", table, ..] => HELD.contains(table),
        // Counted for the owner's sheet, and no part of what anybody reads of a step.
        ["UPDATE", "step_record", "SET", "counted_ms", ..] => false,
        ["UPDATE", table, ..] => HELD.contains(table),
        _ => false,
    }
}

/// The words of a statement without its quotes; the point between a table and its column is one.
fn words(sql: &str) -> Vec<&str> {
    let ends = |c: char| c.is_whitespace() || "(),\"`".contains(c);
    sql.split(ends).filter(|word| !word.is_empty()).collect()
}

/// True if a table with a shop is named and its shop is not.
pub fn forgets_the_shop(sql: &str) -> bool {
    // Scripts of several statements are migrations.
    if ACROSS.contains(&sql) || sql.contains(';') {
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
        if text.contains("-- binds") { Err(std::fmt::Error) } else { Ok(()) }
    }
}
