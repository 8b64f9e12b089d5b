//! What customers answered to messages, how it was read, and whether a person has seen to it.

use super::Db;
use super::kinds::{Id, Instant, Word};
use super::schema::customer_reply;
use crate::on_either;
use diesel::prelude::*;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// By which way it came.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ReplyWay {
    Mail,
    Text,
    /// By the page behind the link of a message.
    Link,
}

/// What it was taken for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ReplyReading {
    /// Messages by this way have ended.
    Stop,
    /// Messages about upkeep have ended; a person must ask what of the booking.
    StopAndAskPerson,
    /// For a person to read.
    AskPerson,
    /// The customer chose another of the offered windows; the job has it.
    WindowChosen,
    /// The customer would like a visit.
    VisitWanted,
}

#[derive(Debug, Clone, Serialize, ToSchema, Queryable, Selectable)]
#[diesel(table_name = customer_reply)]
pub struct CustomerReply {
    pub id: Id,
    pub rev: i32,
    pub created_at: Instant,
    /// Null where nobody of the shop's customers has this address or number.
    pub customer: Option<Id>,
    pub job: Option<Id>,
    #[schema(value_type = ReplyWay)]
    pub way: Word<ReplyWay>,
    /// Address or number that it came from.
    pub sender: String,
    pub text: String,
    #[schema(value_type = ReplyReading)]
    pub reading: Word<ReplyReading>,
    /// When a person had seen to it, or at once where there was nothing left to do.
    pub handled_at: Option<Instant>,
    pub handled_by: Option<Id>,
}

/// A reply that came in.
#[derive(Debug, Clone)]
pub struct NewReply {
    pub customer: Option<Id>,
    pub job: Option<Id>,
    pub way: ReplyWay,
    pub sender: String,
    pub text: String,
    pub reading: ReplyReading,
    /// The same reply has the same key, however often it comes.
    pub message_key: String,
}

/// Which replies to list; absent values allow all.
#[derive(Debug, Clone, Default, Serialize)]
pub struct ReplyFilter {
    /// True: those that wait for a person.
    pub open: Option<bool>,
    pub customer: Option<Id>,
}

/// Adds it, unless it came before; tells whether it did.
pub fn insert(db: &mut Db<'_>, new: &NewReply) -> QueryResult<bool> {
    // What stops messages has been done when it is stored.
    let handled_at = (new.reading == ReplyReading::Stop).then_some(db.now);
    let made = (
        (customer_reply::shop.eq(db.shop), customer_reply::id.eq(Id::new(db.now))),
        (customer_reply::customer.eq(new.customer), customer_reply::job.eq(new.job)),
        (customer_reply::way.eq(Word(new.way)), customer_reply::sender.eq(&new.sender)),
        (customer_reply::text.eq(&new.text), customer_reply::reading.eq(Word(new.reading))),
        (customer_reply::message_key.eq(&new.message_key), customer_reply::handled_at.eq(handled_at)),
        (customer_reply::rev.eq(1), customer_reply::created_at.eq(db.now)),
    );
    let added = on_either!(db, |conn| diesel::insert_into(customer_reply::table)
        .values(made)
        .on_conflict_do_nothing()
        .execute(conn))?;
    Ok(added == 1)
}

pub fn find(db: &mut Db<'_>, id: Id) -> QueryResult<Option<CustomerReply>> {
    customer_reply::table.find((db.shop, id)).select(CustomerReply::as_select()).first(db.conn).optional()
}

/// The newest first.
pub fn list(
    db: &mut Db<'_>,
    filter: &ReplyFilter,
    before: Option<Id>,
    limit: i64,
) -> QueryResult<Vec<CustomerReply>> {
    let mut rows = customer_reply::table.filter(customer_reply::shop.eq(db.shop)).into_boxed();
    if let Some(before) = before {
        rows = rows.filter(customer_reply::id.lt(before));
    }
    match filter.open {
        Some(true) => rows = rows.filter(customer_reply::handled_at.is_null()),
        Some(false) => rows = rows.filter(customer_reply::handled_at.is_not_null()),
        None => {}
    }
    if let Some(customer) = filter.customer {
        rows = rows.filter(customer_reply::customer.eq(customer));
    }
    rows.order(customer_reply::id.desc()).limit(limit).select(CustomerReply::as_select()).load(db.conn)
}

/// All of a customer, the oldest first.
pub fn of_customer(db: &mut Db<'_>, of: Id) -> QueryResult<Vec<CustomerReply>> {
    customer_reply::table
        .filter(customer_reply::shop.eq(db.shop).and(customer_reply::customer.eq(of)))
        .order(customer_reply::id)
        .select(CustomerReply::as_select())
        .load(db.conn)
}

/// Notes that a person has seen to it, if it still has the revision `seen`.
pub fn set_handled(db: &mut Db<'_>, id: Id, seen: i32, by: Id) -> QueryResult<bool> {
    let row = customer_reply::table.find((db.shop, id)).filter(customer_reply::rev.eq(seen));
    let set = (
        customer_reply::handled_at.eq(db.now),
        customer_reply::handled_by.eq(by),
        customer_reply::rev.eq(seen + 1),
    );
    Ok(diesel::update(row).set(set).execute(db.conn)? == 1)
}
