//! What each person's phones may hold, kept up to date in the transaction of every change.
//!
//! A statement that changes what a phone may hold says so with [`Db::touch`]. When the transaction's work is done,
//! [`settle`] takes the shop's next number and writes the rows of all people concerned under it. The row of the clock stays
//! locked until the commit, so that the order of the numbers is the order of the commits; hence it is taken last.
//!
//! Reading order: [`Kind`] and [`Touch`], [`settle`], [`view`] (who may see what: the one place that says), [`index`] (one
//! row for each thing and person), [`scopes`] (how much it is), [`clock`].

pub mod clock;
pub mod held;
pub mod index;
pub mod scopes;
pub mod view;

use super::Db;
use super::kinds::Id;
use super::schema::job;
use chrono::NaiveDate;
use diesel::prelude::*;
use index::Change;
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;
use std::collections::btree_map::{BTreeMap, Entry};
use utoipa::ToSchema;

/// What a phone holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
#[schema(as = SyncKind)]
pub enum Kind {
    Job,
    Customer,
    Vehicle,
    Van,
    Plan,
    Inspection,
    Record,
    Step,
    Arrival,
    ExtraWork,
    Waiver,
    Comment,
    Note,
    Photo,
    Handbook,
}

impl Kind {
    pub fn word(self) -> &'static str {
        match self {
            Kind::Job => "job",
            Kind::Customer => "customer",
            Kind::Vehicle => "vehicle",
            Kind::Van => "van",
            Kind::Plan => "plan",
            Kind::Inspection => "inspection",
            Kind::Record => "record",
            Kind::Step => "step",
            Kind::Arrival => "arrival",
            Kind::ExtraWork => "extra_work",
            Kind::Waiver => "waiver",
            Kind::Comment => "comment",
            Kind::Note => "note",
            Kind::Photo => "photo",
            Kind::Handbook => "handbook",
        }
    }

    pub fn from_word(word: &str) -> Option<Kind> {
        serde_json::from_value(serde_json::Value::String(word.to_owned())).ok()
    }
}

/// The one thing of its kind.
pub const HANDBOOK: &str = "handbook";

/// What a transaction changed of what phones hold.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Touch {
    /// Something of a job was made or changed.
    OfJob(Id, Kind, String),
    /// Something of a job is gone.
    Gone(Id, Kind, String),
    /// Who goes to a job, when, or with which van.
    Placed(Id),
    /// Everything that belongs to a job.
    WholeJob(Id),
    /// A customer, vehicle or van.
    Row(Kind, Id),
    Handbook,
    /// All jobs look different: the shop's own time zone is another one.
    Shop,
    /// The person has a phone, or the days have moved on.
    Person(Id),
    /// Another timeline begins.
    Epoch,
    /// The same, because a phone knows more than the server.
    EpochAsked,
}

/// Somebody's phones have something to fetch.
#[derive(Debug, Clone)]
pub struct Poke {
    pub shop: Id,
    pub people: Vec<Id>,
    pub seq: i64,
}

impl Db<'_> {
    /// Notes that a transaction changes something that phones may hold.
    pub fn touch(&mut self, touch: Touch) {
        self.touched.insert(touch);
    }

    /// The same for something of a job that has an id of its own.
    pub fn touch_of_job(&mut self, job: Id, kind: Kind, id: Id) {
        self.touch(Touch::OfJob(job, kind, id.to_string()));
    }
}

/// Brings the rows of everybody concerned up to date with what the transaction did.
pub fn settle(db: &mut Db<'_>) -> QueryResult<Option<Poke>> {
    let touched = std::mem::take(&mut db.touched);
    if touched.is_empty() {
        return Ok(None);
    }
    let Some(seq) = clock::next(db)? else { return Ok(None) };
    let asked = touched.contains(&Touch::EpochAsked);
    if asked || touched.contains(&Touch::Epoch) {
        clock::begin_epoch(db, asked)?;
    }
    if touched.contains(&Touch::Handbook) {
        clock::tell_standard(db)?;
    }
    let mut all = scopes::people(db)?;
    let mut people = BTreeSet::new();
    for touch in &touched {
        if let Touch::Person(person) = touch
            && scopes::insert_if_none(db, *person)?
        {
            all.insert(*person);
        }
    }
    if all.is_empty() {
        return Ok(None);
    }
    for (person, today) in to_review(db, &touched, &all)? {
        if review(db, person, today, seq)? {
            people.insert(person);
        }
    }
    for (person, changes) in changes(db, &touched)? {
        index::write(db, person, seq, &changes)?;
        people.insert(person);
    }
    let people: Vec<Id> = people.into_iter().collect();
    Ok((!people.is_empty()).then_some(Poke { shop: db.shop, people, seq }))
}

/// Those whose whole view may be another one now, each with the day that it is for.
fn to_review(
    db: &mut Db<'_>,
    touched: &BTreeSet<Touch>,
    all: &BTreeSet<Id>,
) -> QueryResult<Vec<(Id, NaiveDate)>> {
    let mut found = BTreeMap::new();
    for touch in touched {
        match touch {
            Touch::Person(person) => {
                found.insert(*person, Some(scopes::today(db)?));
            }
            // It may be another day there.
            Touch::Shop => {
                let today = scopes::today(db)?;
                found.extend(all.iter().map(|person| (*person, Some(today))));
            }
            Touch::Placed(job) => {
                let before = index::holders(db, Kind::Job, job.as_str())?;
                let after = super::jobs::technicians_of(db, *job)?;
                for person in before.into_iter().chain(after).filter(|person| all.contains(person)) {
                    found.entry(person).or_insert(None);
                }
            }
            _ => {}
        }
    }
    let mut whole = Vec::new();
    for (person, day) in found {
        // A job that moves says nothing of the days: they move on when the phone asks.
        let day = match (day, scopes::find(db, person)?) {
            (Some(day), _) => day,
            (None, Some(scope)) => scope.as_of,
            (None, None) => scopes::today(db)?,
        };
        whole.push((person, day));
    }
    Ok(whole)
}

/// Compares a person's rows with what they may see, and writes the difference.
fn review(db: &mut Db<'_>, person: Id, today: NaiveDate, seq: i64) -> QueryResult<bool> {
    scopes::set_as_of(db, person, today)?;
    let mut held = index::present(db, person)?;
    let mut any = false;
    view::in_parts(db, person, today, &mut |db, part| {
        let new = part.into_iter().filter(|(key, _)| !held.remove(key));
        let new: Vec<Change> = new.map(|((kind, id), job)| Change { kind, id, job, present: true }).collect();
        any |= !new.is_empty();
        index::write(db, person, seq, &new)
    })?;
    // What is left of it is held and not seen any more.
    let gone = held.into_iter().map(|(kind, id)| Change { kind, id, job: None, present: false });
    let gone: Vec<Change> = gone.collect();
    index::write(db, person, seq, &gone)?;
    Ok(any || !gone.is_empty())
}

/// Mends the rows and the digest of a person where they are not as they should be, and tells how many were not: a change
/// that told nobody.
pub fn reconcile(db: &mut Db<'_>, person: Id) -> QueryResult<usize> {
    clock::lock(db)?;
    let differing = differing(db, person)?;
    if differing > 0 {
        let digest = index::recount(db, person)?;
        scopes::set_digest(db, person, digest)?;
        db.touch(Touch::Person(person));
    }
    Ok(differing)
}

/// How many rows of a person are not as they should be, and the digest if it is not. A view of another day is left to the
/// next pull, which brings it up to date anyway.
pub fn differing(db: &mut Db<'_>, person: Id) -> QueryResult<usize> {
    let today = scopes::today(db)?;
    let Some(scope) = scopes::find(db, person)?.filter(|scope| scope.as_of == today) else { return Ok(0) };
    let view: BTreeSet<(Kind, String)> = view::of(db, person, today)?.into_keys().collect();
    let rows = index::present(db, person)?.symmetric_difference(&view).count();
    Ok(rows + usize::from(index::recount(db, person)? != scope.digest()))
}

/// The rows of single things that were touched, by person.
fn changes(db: &mut Db<'_>, touched: &BTreeSet<Touch>) -> QueryResult<BTreeMap<Id, Vec<Change>>> {
    let mut found: BTreeMap<Id, Vec<Change>> = BTreeMap::new();
    let mut of_jobs: BTreeMap<Id, Vec<Id>> = BTreeMap::new();
    for touch in touched {
        let rows: Vec<Change> = match touch {
            Touch::OfJob(job, kind, id) => vec![Change::made(*kind, id, Some(*job))],
            Touch::Gone(job, kind, id) => {
                vec![Change { present: false, ..Change::made(*kind, id, Some(*job)) }]
            }
            Touch::Placed(job) => vec![Change::made(Kind::Job, job.as_str(), Some(*job))],
            Touch::WholeJob(job) => index::rows_of(db, *job)?,
            Touch::Row(Kind::Customer, id) => {
                // A job tells its times where the customer is.
                let jobs = jobs_of(db, *id)?;
                let jobs = jobs.iter().map(|job| Change::made(Kind::Job, job.as_str(), Some(*job)));
                jobs.chain([Change::made(Kind::Customer, id.as_str(), None)]).collect()
            }
            Touch::Row(kind, id) => vec![Change::made(*kind, id.as_str(), None)],
            Touch::Handbook => vec![Change::made(Kind::Handbook, HANDBOOK, None)],
            Touch::Shop => index::held_jobs(db)?
                .into_iter()
                .map(|job| Change::made(Kind::Job, job.as_str(), Some(job)))
                .collect(),
            Touch::Person(_) | Touch::Epoch | Touch::EpochAsked => Vec::new(),
        };
        for row in rows {
            let holders = match row.job {
                Some(job) => match of_jobs.entry(job) {
                    Entry::Occupied(known) => known.into_mut(),
                    Entry::Vacant(place) => place.insert(index::holders(db, Kind::Job, job.as_str())?),
                },
                None => &index::holders(db, row.kind, &row.id)?,
            };
            for person in holders {
                found.entry(*person).or_default().push(row.clone());
            }
        }
    }
    Ok(found)
}

fn jobs_of(db: &mut Db<'_>, customer: Id) -> QueryResult<Vec<Id>> {
    let held = index::held_jobs(db)?;
    job::table
        .filter(job::shop.eq(db.shop).and(job::customer.eq(customer)).and(job::id.eq_any(held)))
        .select(job::id)
        .load(db.conn)
}
