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

/// What a person may see on a day.
pub fn of(db: &mut Db<'_>, person: Id, today: NaiveDate) -> QueryResult<View> {
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
    let ids: Vec<Id> = jobs.iter().map(|placed| placed.0).collect();
    // SQLite takes 32,766 values in one statement.
    for part in ids.chunks(1_000) {
        of_jobs(db, part, &mut view)?;
    }
    Ok(view)
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
    ($view:ident, $db:ident, $jobs:ident, $($table:ident.$id:ident => $kind:expr),+ $(,)?) => {$(
        let rows: Vec<(Id, Id)> = $table::table
            .filter($table::shop.eq($db.shop).and($table::job.eq_any($jobs.to_vec())))
            .select(($table::job, $table::$id))
            .distinct()
            .load($db.conn)?;
        $view.extend(rows.into_iter().map(|(job, id)| (($kind, id.to_string()), Some(job))));
    )+};
}

fn of_jobs(db: &mut Db<'_>, jobs: &[Id], view: &mut View) -> QueryResult<()> {
    add!(view, db, jobs,
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
        .load(db.conn)?;
    view.extend(steps.into_iter().map(|(job, step)| ((Kind::Step, step_key(job, &step)), Some(job))));
    Ok(())
}

/// The id of a step of a job.
pub fn step_key(job: Id, step: &str) -> String {
    format!("{job}/{step}")
}
