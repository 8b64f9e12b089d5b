//! Who may see what: the one place that says. A person's phone holds the handbook, their jobs of the days around today
//! with all that belongs to them, and of these jobs only the customers, vehicles and vans.

use super::{HANDBOOK, Kind, scopes};
use crate::db::Db;
use crate::db::kinds::{Id, Instant};
use crate::db::schema::{
    arrival, crew_note, extra_work, inspection, job, job_comment, job_technician, photo, plan, step_record,
    step_state, waiver,
};
use chrono::NaiveDate;
use diesel::prelude::*;
use domain::sync::window;
use std::collections::BTreeMap;

/// Each thing, with the job that it belongs to.
pub type View = BTreeMap<(Kind, String), Option<Id>>;

/// A job with what it brings with it.
type Placed = (Id, Id, Id, Option<Id>);

/// Rows of one kind that are read at once: more only if a single job has more.
const MOST_AT_ONCE: i64 = 5_000;

/// What a person may see on a day.
pub fn of(db: &mut Db<'_>, person: Id, today: NaiveDate) -> QueryResult<View> {
    let mut view = View::new();
    in_parts(db, person, today, &mut |_, mut part| {
        view.append(&mut part);
        Ok(())
    })?;
    Ok(view)
}

/// Takes a part of a view.
type Take<'t> = &'t mut dyn FnMut(&mut Db<'_>, View) -> QueryResult<()>;

/// The same in parts that have nothing in common: first the jobs with their customers, vehicles and vans, then what belongs
/// to them, of which no more is in memory at a time than of a small view.
pub fn in_parts(db: &mut Db<'_>, person: Id, today: NaiveDate, take: Take<'_>) -> QueryResult<()> {
    let mut view = View::from([((Kind::Handbook, HANDBOOK.to_owned()), None)]);
    let jobs = jobs(db, person, today)?;
    for (job, customer, vehicle, van) in &jobs {
        view.insert((Kind::Job, job.to_string()), Some(*job));
        view.insert((Kind::Customer, customer.to_string()), None);
        view.insert((Kind::Vehicle, vehicle.to_string()), None);
        if let Some(van) = van {
            view.insert((Kind::Van, van.to_string()), None);
        }
    }
    take(db, view)?;
    let ids: Vec<Id> = jobs.iter().map(|placed| placed.0).collect();
    // SQLite takes 32,766 values in one statement.
    ids.chunks(1_000).try_for_each(|part| of_jobs(db, part, take))
}

/// Reads what belongs to these jobs: of all at once, or of the halves one after the other where that is too much.
fn of_jobs(db: &mut Db<'_>, jobs: &[Id], take: Take<'_>) -> QueryResult<()> {
    let most = if jobs.len() > 1 { MOST_AT_ONCE } else { i64::MAX };
    if let Some(part) = at_once(db, jobs, most)? {
        return take(db, part);
    }
    let (some, others) = jobs.split_at(jobs.len() / 2);
    of_jobs(db, some, take)?;
    of_jobs(db, others, take)
}

/// The jobs that a person goes to, by planned start, else by window.
fn jobs(db: &mut Db<'_>, person: Id, today: NaiveDate) -> QueryResult<Vec<Placed>> {
    let (from, to) = window(today, scopes::zone(db)?);
    let (from, to) = (Instant::from_utc(from.naive_utc()), Instant::from_utc(to.naive_utc()));
    let theirs = job_technician::shop.eq(job::shop).and(job_technician::job.eq(job::id));
    let starts = job::start_at.ge(from).and(job::start_at.lt(to)).assume_not_null();
    let overlaps = job::window_to.ge(from).and(job::window_from.lt(to));
    job::table
        .inner_join(job_technician::table.on(theirs))
        .filter(job::shop.eq(db.shop).and(job_technician::person.eq(person)))
        .filter(job::start_at.is_not_null().and(starts).or(job::start_at.is_null().and(overlaps)))
        .select((job::id, job::customer, job::vehicle, job::van))
        .load(db.conn)
}

/// Adds what has a row of its own under its job.
macro_rules! add {
    ($view:ident, $db:ident, $jobs:ident, $most:ident, $($table:ident.$id:ident => $kind:expr),+ $(,)?) => {$(
        let rows: Vec<(Id, Id)> = $table::table
            .filter($table::shop.eq($db.shop).and($table::job.eq_any($jobs.to_vec())))
            .select(($table::job, $table::$id))
            .distinct()
            .limit($most)
            .load($db.conn)?;
        if is_full(&rows, $most) {
            return Ok(None);
        }
        $view.extend(rows.into_iter().map(|(job, id)| (($kind, id.to_string()), Some(job))));
    )+};
}

/// What belongs to these jobs; none: of some kind there are `most`, and maybe more.
fn at_once(db: &mut Db<'_>, jobs: &[Id], most: i64) -> QueryResult<Option<View>> {
    let mut view = View::new();
    add!(view, db, jobs, most,
        plan.job => Kind::Plan,
        inspection.id => Kind::Inspection,
        step_record.id => Kind::Record,
        arrival.job => Kind::Arrival,
        extra_work.id => Kind::ExtraWork,
        waiver.id => Kind::Waiver,
        job_comment.id => Kind::Comment,
        crew_note.job => Kind::Note,
        photo.id => Kind::Photo,
    );
    let steps: Vec<(Id, String)> = step_state::table
        .filter(step_state::shop.eq(db.shop).and(step_state::job.eq_any(jobs.to_vec())))
        .select((step_state::job, step_state::step))
        .limit(most)
        .load(db.conn)?;
    if is_full(&steps, most) {
        return Ok(None);
    }
    view.extend(steps.into_iter().map(|(job, step)| ((Kind::Step, step_key(job, &step)), Some(job))));
    Ok(Some(view))
}

fn is_full<T>(rows: &[T], most: i64) -> bool {
    i64::try_from(rows.len()).is_ok_and(|rows| rows >= most)
}

/// The id of a step of a job.
pub fn step_key(job: Id, step: &str) -> String {
    format!("{job}/{step}")
}
