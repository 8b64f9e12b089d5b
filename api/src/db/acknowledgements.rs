//! Who took note of which warning of a plan, and when.

use super::Db;
use super::kinds::{Id, Instant};
use super::schema::{acknowledgement, person};
use diesel::prelude::*;
use serde::Serialize;
use utoipa::ToSchema;

/// A person who took note of a rule's warning.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema, Queryable)]
pub struct Acknowledgement {
    /// The rule of the notice.
    #[schema(example = "R09")]
    pub rule: String,
    pub person: Id,
    /// What the person is called now.
    pub name: String,
    pub at: Instant,
}

/// Stores that `person` took note now. The job must be locked, and the person not have done so before.
pub fn insert(db: &mut Db<'_>, job: Id, version: i32, rule: &str, person: Id) -> QueryResult<()> {
    let made = (
        acknowledgement::shop.eq(db.shop),
        acknowledgement::job.eq(job),
        acknowledgement::version.eq(version),
        acknowledgement::rule.eq(rule),
        acknowledgement::person.eq(person),
        acknowledgement::at.eq(db.now),
    );
    diesel::insert_into(acknowledgement::table).values(made).execute(db.conn).map(|_| ())
}

/// Those of one version of a job's plan, the oldest first.
pub fn list(db: &mut Db<'_>, job: Id, version: i32) -> QueryResult<Vec<Acknowledgement>> {
    let of = person::shop.eq(acknowledgement::shop).and(person::id.eq(acknowledgement::person));
    acknowledgement::table
        .inner_join(person::table.on(of))
        .filter(acknowledgement::shop.eq(db.shop))
        .filter(acknowledgement::job.eq(job).and(acknowledgement::version.eq(version)))
        .order((acknowledgement::at, acknowledgement::rule, acknowledgement::person))
        .select((acknowledgement::rule, acknowledgement::person, person::name, acknowledgement::at))
        .load(db.conn)
}
