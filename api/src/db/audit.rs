//! Who changed what and when. Entries hold ids and addresses of things, never what was written into them, so that
//! nobody's erasure has to reach in here.
//!
//! Each entry's hash covers the one before, and the head of a shop names its last entry: one that was edited, or is
//! missing, shows. Whoever can rewrite the whole chain is found out by a hash noted elsewhere.

use super::Db;
use super::kinds::{Id, Instant, Word};
use super::schema::{audit_entry, audit_head};
use crate::on_either;
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use diesel::prelude::*;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use utoipa::ToSchema;

/// Entries that are checked at once.
const STRETCH: i64 = 1000;
/// What the first entry follows.
const BEGINNING: &str = "";

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ActorKind {
    Person,
    App,
    /// The command line.
    House,
}

/// What somebody did.
#[derive(Debug, Clone, PartialEq)]
pub struct Act {
    pub by_kind: ActorKind,
    pub by_id: Option<Id>,
    /// Method and address as the documentation has it.
    pub operation: String,
    /// The address that was asked.
    pub subject: String,
    pub request: String,
}

#[derive(Debug, Clone, PartialEq, Serialize, ToSchema, Queryable, Selectable, Insertable)]
#[diesel(table_name = audit_entry)]
pub struct AuditEntry {
    /// 1, 2, 3 … of the shop, without a gap.
    pub number: i32,
    pub at: Instant,
    #[schema(value_type = ActorKind)]
    pub by_kind: Word<ActorKind>,
    /// The person or the partner app.
    pub by_id: Option<Id>,
    #[schema(example = "PATCH /v1/customers/{id}")]
    pub operation: String,
    /// The address that was asked, with its ids.
    pub subject: String,
    /// The answer's `x-request-id`, which the log has too.
    pub request: String,
    /// SHA-256 of the hash before and of this entry, base64url.
    pub hash: String,
}

/// Whether the chain of a shop is whole.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct AuditState {
    pub entries: i32,
    pub whole: bool,
    /// The first thing that is wrong.
    pub fault: Option<String>,
    /// Hash of the last entry; note it elsewhere.
    pub hash: String,
}

/// Adds an entry. Call it as late as possible in a transaction: until its end the shop's other changes wait.
pub fn append(db: &mut Db<'_>, act: &Act) -> QueryResult<()> {
    let (last, before) = locked_head(db)?;
    let mut entry = AuditEntry {
        number: last + 1,
        at: db.now,
        by_kind: Word(act.by_kind),
        by_id: act.by_id,
        operation: act.operation.clone(),
        subject: act.subject.clone(),
        request: act.request.clone(),
        hash: String::new(),
    };
    entry.hash = chained(db.shop, &before, &entry);
    let made = (audit_entry::shop.eq(db.shop), &entry);
    diesel::insert_into(audit_entry::table).values(made).execute(db.conn)?;
    let head = (audit_head::number.eq(entry.number), audit_head::hash.eq(&entry.hash));
    diesel::update(audit_head::table.find(db.shop)).set(head).execute(db.conn).map(|_| ())
}

/// The newest first.
pub fn list(db: &mut Db<'_>, before: Option<i32>, limit: i64) -> QueryResult<Vec<AuditEntry>> {
    let mut rows = audit_entry::table.filter(audit_entry::shop.eq(db.shop)).into_boxed();
    if let Some(before) = before {
        rows = rows.filter(audit_entry::number.lt(before));
    }
    rows.order(audit_entry::number.desc()).limit(limit).select(AuditEntry::as_select()).load(db.conn)
}

/// Follows the chain from its beginning to its head.
pub fn check(db: &mut Db<'_>) -> QueryResult<AuditState> {
    let (mut last, mut hash, mut fault) = (0, BEGINNING.to_owned(), None);
    while fault.is_none() {
        let rows: Vec<AuditEntry> = audit_entry::table
            .filter(audit_entry::shop.eq(db.shop).and(audit_entry::number.gt(last)))
            .order(audit_entry::number)
            .limit(STRETCH)
            .select(AuditEntry::as_select())
            .load(db.conn)?;
        if rows.is_empty() {
            break;
        }
        for entry in rows {
            if entry.number != last + 1 {
                fault = Some(format!("entry {} is missing", last + 1));
                break;
            }
            if entry.hash != chained(db.shop, &hash, &entry) {
                fault = Some(format!("entry {} was changed", entry.number));
                break;
            }
            (last, hash) = (entry.number, entry.hash);
        }
    }
    let head = head(db)?.unwrap_or((0, BEGINNING.to_owned()));
    if fault.is_none() && head != (last, hash.clone()) {
        let text = if head.0 > last {
            format!("entry {} is missing", last + 1)
        } else {
            "the head was changed".into()
        };
        fault = Some(text);
    }
    Ok(AuditState { entries: last, whole: fault.is_none(), fault, hash })
}

/// The number of the shop's last entry: as long as it is the same, nobody has changed anything.
pub fn newest(db: &mut Db<'_>) -> QueryResult<i32> {
    Ok(head(db)?.map_or(0, |(number, _)| number))
}

fn head(db: &mut Db<'_>) -> QueryResult<Option<(i32, String)>> {
    audit_head::table.find(db.shop).select((audit_head::number, audit_head::hash)).first(db.conn).optional()
}

/// Number and hash of the last entry; nobody else adds one until the transaction ends.
fn locked_head(db: &mut Db<'_>) -> QueryResult<(i32, String)> {
    let row = audit_head::table.find(db.shop);
    // Setting a column to itself takes the row's lock on PostgreSQL; SQLite's writer is alone anyway.
    if diesel::update(row).set(audit_head::number.eq(audit_head::number)).execute(db.conn)? == 0 {
        let first = (audit_head::shop.eq(db.shop), audit_head::number.eq(0), audit_head::hash.eq(BEGINNING));
        on_either!(db, |conn| diesel::insert_into(audit_head::table)
            .values(first)
            .on_conflict_do_nothing()
            .execute(conn))?;
        diesel::update(row).set(audit_head::number.eq(audit_head::number)).execute(db.conn)?;
    }
    Ok(head(db)?.unwrap_or((0, BEGINNING.to_owned())))
}

/// The hash of an entry after another. A JSON list leaves no doubt where one value ends and the next begins.
fn chained(shop: Id, before: &str, entry: &AuditEntry) -> String {
    let content = serde_json::json!([
        before,
        shop,
        entry.number,
        entry.at,
        entry.by_kind,
        entry.by_id,
        entry.operation,
        entry.subject,
        entry.request
    ]);
    URL_SAFE_NO_PAD.encode(Sha256::digest(content.to_string().as_bytes()))
}
