//! Jobs: the customer's work, and who goes.

use super::Db;
use super::kinds::{Doc, Id, Instant, Word};
use super::schema::{customer, job, job_technician, shop};
use super::sync::{Kind, Touch};
use crate::check::{Check, Checker};
use crate::{locking, on_either};
use chrono::TimeDelta;
use diesel::prelude::*;
use domain::inspection::Finding;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};
use utoipa::ToSchema;

/// Longest window that can be promised, in days.
const LONGEST_WINDOW_DAYS: i64 = 31;

/// What the office can set about a job.
#[derive(
    Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema, Queryable, Selectable, Insertable, AsChangeset,
)]
#[serde(deny_unknown_fields)]
#[diesel(table_name = job, treat_none_as_null = true)]
pub struct JobFields {
    pub vehicle: Id,
    /// Package code of the handbook, for instance `P2`.
    #[schema(min_length = 1, max_length = 20)]
    pub package: String,
    /// Optional steps of the package that the customer wants.
    #[serde(default)]
    #[schema(value_type = Vec<String>, max_items = 40)]
    pub options: Doc<Vec<String>>,
    /// The window promised to the customer: the work begins and should end in it; dispatch says when it will not.
    pub window_from: Instant,
    /// Later than `window_from`, by 31 days at most.
    pub window_to: Instant,
    /// Soiling the customer told when booking: 0 none to 4 exceptional.
    #[serde(default = "typical")]
    #[schema(minimum = 0, maximum = 4)]
    pub booked_grade: i32,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 2000)]
    pub note: Option<String>,
    /// A finished job of the same vehicle whose work this one makes good.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rework_of: Option<Id>,
    /// For rounds that cannot serve everybody: 1 the most important to 5 the least.
    #[serde(default = "ordinary")]
    #[schema(minimum = 1, maximum = 5)]
    pub priority: i32,
    /// What its visit has to do with those of other jobs.
    #[serde(default)]
    #[schema(value_type = Vec<JobLink>, max_items = 10)]
    pub links: Doc<Vec<JobLink>>,
    /// Windows that the customer may choose instead, by the link in a message.
    #[serde(default)]
    #[schema(value_type = Vec<OtherWindow>, max_items = 8)]
    pub other_windows: Doc<Vec<OtherWindow>>,
}

/// A window that is offered beside the one that was promised.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct OtherWindow {
    pub from: Instant,
    /// Later than `from`, by 31 days at most.
    pub to: Instant,
}

/// What a visit has to do with that of another job.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct JobLink {
    pub kind: JobLinkKind,
    /// The other job.
    pub job: Id,
    /// For `after`: days between them, at least.
    #[serde(default)]
    #[schema(minimum = 0, maximum = 31)]
    pub least_days: u32,
    /// For `after`: days between them, at most.
    #[serde(default)]
    #[schema(minimum = 0, maximum = 31)]
    pub most_days: u32,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum JobLinkKind {
    /// It comes some days after the other.
    After,
    /// Both begin at the same time, in two vans.
    Together,
    /// The same technician is wanted.
    SamePerson,
}

pub(super) fn ordinary() -> i32 {
    3
}

pub(super) fn typical() -> i32 {
    2
}

/// Which van goes, when and with whom.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Assignment {
    pub van: Option<Id>,
    /// Planned start. Outside of the window it is stored, and told as a conflict.
    pub start_at: Option<Instant>,
    #[serde(default)]
    #[schema(max_items = 12)]
    pub technicians: Vec<Id>,
}

/// How far a job has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum JobStatus {
    Booked,
    Planned,
    Started,
    Finished,
    Cancelled,
}

impl JobStatus {
    /// Neither finished nor cancelled.
    pub const OPEN: [JobStatus; 3] = [JobStatus::Booked, JobStatus::Planned, JobStatus::Started];
}

/// A job as stored; who goes with it is in a table of its own.
#[derive(Debug, Clone, Serialize, ToSchema, Queryable, Selectable)]
#[schema(as = StoredJob)]
#[diesel(table_name = job)]
pub struct Job {
    pub id: Id,
    pub rev: i32,
    pub created_at: Instant,
    pub customer: Id,
    #[schema(value_type = JobStatus)]
    pub status: Word<JobStatus>,
    pub van: Option<Id>,
    pub start_at: Option<Instant>,
    /// When the crew set out, and when it should be there.
    pub set_out_at: Option<Instant>,
    pub arrives_at: Option<Instant>,
    pub finished_at: Option<Instant>,
    /// What was left when the job was finished.
    #[schema(value_type = Option<Vec<Finding>>)]
    pub grades_after: Option<Doc<Vec<Finding>>>,
    /// Version of the plan in force when its first step was recorded.
    #[serde(skip)]
    pub started_plan: Option<i32>,
    #[serde(flatten)]
    #[diesel(embed)]
    pub fields: JobFields,
}

/// Which jobs to list; every absent value allows all.
#[derive(Debug, Clone, Default, Serialize)]
pub struct JobFilter {
    /// Windows that end later.
    pub from: Option<Instant>,
    /// Windows that begin earlier.
    pub to: Option<Instant>,
    pub status: Option<JobStatus>,
    pub van: Option<Id>,
    pub vehicle: Option<Id>,
    pub customer: Option<Id>,
    pub technician: Option<Id>,
}

impl Check for JobFields {
    fn check(&self, found: &mut Checker) {
        found.line("package", &self.package, 20);
        found.at_most("options", &self.options.0, 40);
        for (i, option) in self.options.0.iter().enumerate() {
            found.within("options", |found| found.line(&i.to_string(), option, 40));
        }
        window(found, "window_to", "window_from", self.window_from, self.window_to);
        found.at_most("other_windows", &self.other_windows.0, 8);
        for (i, other) in self.other_windows.0.iter().enumerate().take(8) {
            found.within(format!("other_windows/{i}"), |found| {
                window(found, "to", "from", other.from, other.to)
            });
        }
        found.range("booked_grade", self.booked_grade, 0, 4);
        found.note("note", self.note.as_deref(), 2000);
        found.range("priority", self.priority, 1, 5);
        found.at_most("links", &self.links.0, 10);
        for (i, link) in self.links.0.iter().enumerate() {
            found.within(format!("links/{i}"), |found| {
                found.range("least_days", link.least_days, 0, 31);
                found.range("most_days", link.most_days, 0, 31);
            });
        }
    }
}

/// A window ends later than it begins, and soon enough to be a promise.
fn window(found: &mut Checker, end: &str, begin: &str, from: Instant, to: Instant) {
    if to <= from {
        found.refuse(end, "ends_before_start", format!("must be later than {begin}"));
    } else if to > from.plus(TimeDelta::days(LONGEST_WINDOW_DAYS)) {
        found.refuse(end, "out_of_range", format!("a window has at most {LONGEST_WINDOW_DAYS} days"));
    }
}

impl Check for Assignment {
    fn check(&self, found: &mut Checker) {
        found.at_most("technicians", &self.technicians, 12);
        for (i, id) in self.technicians.iter().enumerate() {
            if self.technicians[..i].contains(id) {
                found.refuse(format!("technicians/{i}"), "twice", "is already in the list");
            }
        }
    }
}

pub fn insert(db: &mut Db<'_>, id: Id, customer: Id, fields: &JobFields) -> QueryResult<()> {
    let made = (
        job::shop.eq(db.shop),
        job::id.eq(id),
        job::customer.eq(customer),
        fields,
        job::status.eq(Word(JobStatus::Booked)),
        job::rev.eq(1),
        job::created_at.eq(db.now),
    );
    diesel::insert_into(job::table).values(made).execute(db.conn).map(|_| ())
}

pub fn find(db: &mut Db<'_>, id: Id) -> QueryResult<Option<Job>> {
    job::table.find((db.shop, id)).select(Job::as_select()).first(db.conn).optional()
}

/// The same, and the time zone of its customer: theirs, else the shop's.
pub fn find_with_zone(db: &mut Db<'_>, id: Id) -> QueryResult<Option<(Job, String)>> {
    let row = job::table
        .inner_join(customer::table.on(customer::shop.eq(job::shop).and(customer::id.eq(job::customer))))
        .inner_join(shop::table.on(shop::id.eq(job::shop)))
        .filter(job::shop.eq(db.shop).and(job::id.eq(id)));
    let found: QueryResult<(Job, Option<String>, String)> = on_either!(db, |conn| row
        .select((Job::as_select(), customer::time_zone, shop::time_zone))
        .first(conn));
    Ok(found.optional()?.map(|(job, own, shop)| (job, own.unwrap_or(shop))))
}

/// Those of these, in no order.
pub fn among(db: &mut Db<'_>, ids: &[Id]) -> QueryResult<Vec<Job>> {
    job::table
        .filter(job::shop.eq(db.shop).and(job::id.eq_any(ids.to_vec())))
        .select(Job::as_select())
        .load(db.conn)
}

/// All ids in their order, after a given one.
pub fn ids(db: &mut Db<'_>, after: Option<Id>, limit: i64) -> QueryResult<Vec<Id>> {
    let mut rows = job::table.filter(job::shop.eq(db.shop)).into_boxed();
    if let Some(after) = after {
        rows = rows.filter(job::id.gt(after));
    }
    rows.order(job::id).limit(limit).select(job::id).load(db.conn)
}

/// Jobs, not cancelled, that make good what one of these left, in the order of their windows.
pub fn reworks(db: &mut Db<'_>, of: &[Id]) -> QueryResult<Vec<Job>> {
    job::table
        .filter(job::shop.eq(db.shop).and(job::rework_of.eq_any(of.to_vec())))
        .filter(job::status.ne(Word(JobStatus::Cancelled)))
        .order((job::window_from, job::id))
        .select(Job::as_select())
        .load(db.conn)
}

/// Cancelled jobs with windows that begin from `from` to `to`.
pub fn cancelled_between(db: &mut Db<'_>, from: Instant, to: Instant) -> QueryResult<Vec<Id>> {
    job::table
        .filter(job::shop.eq(db.shop).and(job::window_from.between(from, to)))
        .filter(job::status.eq(Word(JobStatus::Cancelled)))
        .order(job::id)
        .select(job::id)
        .load(db.conn)
}

/// Customers who booked from `from` to `to`, and when.
pub fn booked_between(db: &mut Db<'_>, from: Instant, to: Instant) -> QueryResult<Vec<(Id, Instant)>> {
    job::table
        .filter(job::shop.eq(db.shop).and(job::created_at.between(from, to)))
        .select((job::customer, job::created_at))
        .load(db.conn)
}

/// A job, when it was said to be finished and by whom, and the end that was told.
pub type EndTold = (Id, Instant, Option<Id>, Instant);

/// Those of these jobs of which it was said after `after` that they were finished.
pub fn finished_after(db: &mut Db<'_>, ids: &[Id], after: Instant) -> QueryResult<Vec<EndTold>> {
    job::table
        .filter(job::shop.eq(db.shop).and(job::id.eq_any(ids.to_vec())))
        .filter(job::finish_recorded_at.gt(after).and(job::finished_at.is_not_null()))
        .select((
            job::id,
            job::finish_recorded_at.assume_not_null(),
            job::finish_recorded_by,
            job::finished_at.assume_not_null(),
        ))
        .load(db.conn)
}

/// When a job was booked and finished, how far it has come, and when its window begins.
pub type Stay = (Instant, Option<Instant>, Word<JobStatus>, Instant);

/// The stays in the books of the jobs that were in them on or after `from`.
pub fn stays(db: &mut Db<'_>, from: Instant) -> QueryResult<Vec<Stay>> {
    job::table
        .filter(job::shop.eq(db.shop).and(job::window_to.ge(from)))
        .select((job::created_at, job::finished_at, job::status, job::window_from))
        .load(db.conn)
}

/// The jobs that a person goes with.
pub fn of_technician(db: &mut Db<'_>, person: Id) -> QueryResult<Vec<Id>> {
    job_technician::table
        .filter(job_technician::shop.eq(db.shop).and(job_technician::person.eq(person)))
        .select(job_technician::job)
        .load(db.conn)
}

/// The ids of a vehicle's jobs.
pub fn of_vehicle(db: &mut Db<'_>, vehicle: Id) -> QueryResult<Vec<Id>> {
    job::table.filter(job::shop.eq(db.shop).and(job::vehicle.eq(vehicle))).select(job::id).load(db.conn)
}

/// The same, and nobody else changes it until the transaction ends.
pub fn find_locked(db: &mut Db<'_>, id: Id) -> QueryResult<Option<Job>> {
    let row = job::table.find((db.shop, id));
    locking!(db, row.select(Job::as_select()), first).optional()
}

pub fn exists(db: &mut Db<'_>, id: Id) -> QueryResult<bool> {
    let row = job::table.find((db.shop, id)).select(job::rev);
    let found: Option<i32> = on_either!(db, |conn| row.first(conn)).optional()?;
    Ok(found.is_some())
}

/// True if the technician goes with this job.
pub fn is_done_by(db: &mut Db<'_>, id: Id, technician: Id) -> QueryResult<bool> {
    let row = job_technician::table.find((db.shop, id, technician));
    Ok(row.select(job_technician::job).first::<Id>(db.conn).optional()?.is_some())
}

/// By window and id, after a given place in that order.
pub fn list(
    db: &mut Db<'_>,
    filter: &JobFilter,
    after: Option<(Instant, Id)>,
    limit: i64,
) -> QueryResult<Vec<Job>> {
    let mut rows = job::table.filter(job::shop.eq(db.shop)).into_boxed();
    if let Some((window_from, id)) = after {
        rows = rows.filter(
            job::window_from.gt(window_from).or(job::window_from.eq(window_from).and(job::id.gt(id))),
        );
    }
    if let Some(from) = filter.from {
        rows = rows.filter(job::window_to.gt(from));
    }
    if let Some(to) = filter.to {
        rows = rows.filter(job::window_from.lt(to));
    }
    if let Some(status) = filter.status {
        rows = rows.filter(job::status.eq(Word(status)));
    }
    if let Some(van) = filter.van {
        rows = rows.filter(job::van.eq(van));
    }
    if let Some(vehicle) = filter.vehicle {
        rows = rows.filter(job::vehicle.eq(vehicle));
    }
    if let Some(customer) = filter.customer {
        rows = rows.filter(job::customer.eq(customer));
    }
    if let Some(technician) = filter.technician {
        let theirs = job_technician::table
            .filter(job_technician::shop.eq(db.shop).and(job_technician::person.eq(technician)))
            .select(job_technician::job);
        rows = rows.filter(job::id.eq_any(theirs));
    }
    rows.order((job::window_from, job::id)).limit(limit).select(Job::as_select()).load(db.conn)
}

/// Stores the fields and the planned start if the job still has the revision `seen`.
pub fn update(
    db: &mut Db<'_>,
    id: Id,
    seen: i32,
    (fields, start_at): (&JobFields, Option<Instant>),
) -> QueryResult<bool> {
    db.touch(Touch::Placed(id));
    let row = job::table.find((db.shop, id)).filter(job::rev.eq(seen));
    let set = (fields, job::start_at.eq(start_at), job::rev.eq(seen + 1));
    Ok(diesel::update(row).set(set).execute(db.conn)? == 1)
}

pub fn set_status(db: &mut Db<'_>, id: Id, seen: i32, status: JobStatus) -> QueryResult<bool> {
    db.touch_of_job(id, Kind::Job, id);
    let row = job::table.find((db.shop, id)).filter(job::rev.eq(seen));
    Ok(diesel::update(row).set((job::status.eq(Word(status)), job::rev.eq(seen + 1))).execute(db.conn)? == 1)
}

/// Begins the job, with the plan in force, if it still has the revision `seen`.
pub fn begin(db: &mut Db<'_>, id: Id, seen: i32, plan_version: Option<i32>) -> QueryResult<bool> {
    db.touch_of_job(id, Kind::Job, id);
    let row = job::table.find((db.shop, id)).filter(job::rev.eq(seen));
    let set =
        (job::status.eq(Word(JobStatus::Started)), job::started_plan.eq(plan_version), job::rev.eq(seen + 1));
    Ok(diesel::update(row).set(set).execute(db.conn)? == 1)
}

/// Ends the job, as `by` says, if it still has the revision `seen`.
pub fn finish(
    db: &mut Db<'_>,
    id: Id,
    seen: i32,
    (at, by): (Instant, Option<Id>),
    left: &[Finding],
) -> QueryResult<bool> {
    db.touch_of_job(id, Kind::Job, id);
    let row = job::table.find((db.shop, id)).filter(job::rev.eq(seen));
    let set = (
        job::status.eq(Word(JobStatus::Finished)),
        (job::finished_at.eq(at), job::finish_recorded_by.eq(by), job::finish_recorded_at.eq(db.now)),
        job::grades_after.eq(Doc(left.to_vec())),
        job::rev.eq(seen + 1),
    );
    Ok(diesel::update(row).set(set).execute(db.conn)? == 1)
}

/// Stores who goes if the job still has the revision `seen`.
pub fn assign(db: &mut Db<'_>, id: Id, seen: i32, to: &Assignment) -> QueryResult<bool> {
    db.touch(Touch::Placed(id));
    let row = job::table.find((db.shop, id)).filter(job::rev.eq(seen));
    let set = (job::van.eq(to.van), job::start_at.eq(to.start_at), job::rev.eq(seen + 1));
    if diesel::update(row).set(set).execute(db.conn)? == 0 {
        return Ok(false);
    }
    if to.van.is_none() {
        // Nobody is on the way to it any more.
        let row = job::table.find((db.shop, id));
        let nobody = (job::set_out_at.eq(None::<Instant>), job::arrives_at.eq(None::<Instant>));
        diesel::update(row).set(nobody).execute(db.conn)?;
    }
    let before =
        job_technician::table.filter(job_technician::shop.eq(db.shop).and(job_technician::job.eq(id)));
    diesel::delete(before).execute(db.conn)?;
    for person in &to.technicians {
        let made = (
            job_technician::shop.eq(db.shop),
            job_technician::job.eq(id),
            job_technician::person.eq(*person),
        );
        diesel::insert_into(job_technician::table).values(made).execute(db.conn)?;
    }
    Ok(true)
}

/// The technicians of one job, in the order of their ids.
pub fn technicians_of(db: &mut Db<'_>, id: Id) -> QueryResult<Vec<Id>> {
    let people = job_technician::table
        .filter(job_technician::shop.eq(db.shop).and(job_technician::job.eq(id)))
        .order(job_technician::person)
        .select(job_technician::person);
    on_either!(db, |conn| people.load(conn))
}

/// The technicians of each of these jobs, in the order of their ids.
pub fn technicians(db: &mut Db<'_>, jobs: &[Id]) -> QueryResult<BTreeMap<Id, Vec<Id>>> {
    let rows: Vec<(Id, Id)> = job_technician::table
        .filter(job_technician::shop.eq(db.shop).and(job_technician::job.eq_any(jobs.to_vec())))
        .order((job_technician::job, job_technician::person))
        .select((job_technician::job, job_technician::person))
        .load(db.conn)?;
    let mut by_job: BTreeMap<Id, Vec<Id>> = BTreeMap::new();
    for (job, person) in rows {
        by_job.entry(job).or_default().push(person);
    }
    Ok(by_job)
}

/// How far apart the windows of linked jobs begin, at most: a longest window, and the most days of a link.
const LINKED_WITHIN: TimeDelta = TimeDelta::days(LONGEST_WINDOW_DAYS + 31);

/// Jobs, not cancelled, with a link that names one of these, which have windows between `from` and `to`.
pub fn linking_to(
    db: &mut Db<'_>,
    jobs: &BTreeSet<Id>,
    (from, to): (Instant, Instant),
) -> QueryResult<Vec<Job>> {
    let mut linked: Vec<Job> = job::table
        .filter(job::shop.eq(db.shop).and(job::links.ne(Doc(Vec::<JobLink>::new()))))
        .filter(job::status.ne(Word(JobStatus::Cancelled)))
        .filter(job::window_from.between(from.plus(-LINKED_WITHIN), to.plus(LINKED_WITHIN)))
        .order(job::id)
        .select(Job::as_select())
        .load(db.conn)?;
    linked.retain(|job| job.fields.links.0.iter().any(|link| jobs.contains(&link.job)));
    Ok(linked)
}

/// Jobs, not cancelled, that start in the time given, or whose window begins in it where no start is set.
pub fn of_day(db: &mut Db<'_>, from: Instant, to: Instant) -> QueryResult<Vec<Job>> {
    let starts = job::start_at.ge(from).and(job::start_at.lt(to)).assume_not_null();
    let begins = job::window_from.ge(from).and(job::window_from.lt(to));
    job::table
        .filter(job::shop.eq(db.shop).and(job::status.ne(Word(JobStatus::Cancelled))))
        .filter(job::start_at.is_not_null().and(starts).or(job::start_at.is_null().and(begins)))
        .order((job::window_from, job::id))
        .select(Job::as_select())
        .load(db.conn)
}

/// Jobs, neither finished nor cancelled, whose window or start lies in the time given, with those that are finished.
pub fn for_rounds(db: &mut Db<'_>, from: Instant, to: Instant) -> QueryResult<Vec<Job>> {
    let starts = job::start_at.ge(from).and(job::start_at.lt(to)).assume_not_null();
    let open = job::window_from.lt(to).and(job::window_to.gt(from));
    job::table
        .filter(job::shop.eq(db.shop).and(job::status.ne(Word(JobStatus::Cancelled))))
        .filter(job::start_at.is_not_null().and(starts).or(job::start_at.is_null().and(open)))
        .order((job::window_from, job::id))
        .select(Job::as_select())
        .load(db.conn)
}

/// The jobs of these customers that are neither finished nor cancelled, by window.
pub fn open_of(db: &mut Db<'_>, customers: &[Id]) -> QueryResult<Vec<Job>> {
    let open = JobStatus::OPEN.map(Word);
    job::table
        .filter(job::shop.eq(db.shop).and(job::customer.eq_any(customers.to_vec())))
        .filter(job::status.eq_any(open))
        .order((job::window_from, job::id))
        .select(Job::as_select())
        .load(db.conn)
}

/// The jobs of these customers that were finished after `since`.
pub fn finished_of(db: &mut Db<'_>, customers: &[Id], since: Instant) -> QueryResult<Vec<Job>> {
    job::table
        .filter(job::shop.eq(db.shop).and(job::customer.eq_any(customers.to_vec())))
        .filter(job::finished_at.is_not_null().and(job::finished_at.gt(since).assume_not_null()))
        .order(job::id)
        .select(Job::as_select())
        .load(db.conn)
}

/// Notes that the crew has set out, if the job still has the revision `seen`.
pub fn set_out(db: &mut Db<'_>, id: Id, seen: i32, arrives_at: Instant) -> QueryResult<bool> {
    db.touch_of_job(id, Kind::Job, id);
    let row = job::table.find((db.shop, id)).filter(job::rev.eq(seen));
    let set = (job::set_out_at.eq(db.now), job::arrives_at.eq(arrives_at), job::rev.eq(seen + 1));
    Ok(diesel::update(row).set(set).execute(db.conn)? == 1)
}

/// Another window, with no start set in it yet, if the job still has the revision `seen`.
pub fn move_to(db: &mut Db<'_>, id: Id, seen: i32, fields: &JobFields) -> QueryResult<bool> {
    db.touch(Touch::Placed(id));
    let row = job::table.find((db.shop, id)).filter(job::rev.eq(seen));
    let set = (fields, job::start_at.eq(None::<Instant>), job::rev.eq(seen + 1));
    Ok(diesel::update(row).set(set).execute(db.conn)? == 1)
}

/// Another job of the vehicle, not cancelled, whose window overlaps `from` to `to`.
pub fn overlapping(
    db: &mut Db<'_>,
    vehicle: Id,
    from: Instant,
    to: Instant,
    except: Option<Id>,
) -> QueryResult<Option<Job>> {
    let mut rows = job::table
        .filter(job::shop.eq(db.shop).and(job::vehicle.eq(vehicle)))
        .filter(job::status.ne(Word(JobStatus::Cancelled)))
        .filter(job::window_from.lt(to).and(job::window_to.gt(from)))
        .into_boxed();
    if let Some(except) = except {
        rows = rows.filter(job::id.ne(except));
    }
    rows.select(Job::as_select()).first(db.conn).optional()
}
