//! What a visit has to do with those of other jobs: with one that is planned here, too, and with one that stands
//! elsewhere.

use super::gather::Gathered;
use crate::db::Db;
use crate::db::jobs::{self, Job, JobLink, JobLinkKind, JobStatus};
use crate::db::kinds::Id;
use crate::error::ApiError;
use chrono::{Days, NaiveDate};
use domain::dispatch::planning::{LinkedDays, VisitLink};
use std::collections::{BTreeMap, BTreeSet};

/// Puts the links of these jobs into what is planned from. One with a job that is not planned here leaves a visit some
/// days and no others.
pub fn link(gathered: &mut Gathered, db: &mut Db<'_>, rows: &[Job]) -> Result<(), ApiError> {
    let requests = gathered.problem.requests.iter();
    let planned: BTreeSet<Id> = requests.filter_map(|request| request.visit.job.parse().ok()).collect();
    let mut here: Vec<&Job> = rows.iter().filter(|job| planned.contains(&job.id)).collect();
    let links = here.iter().flat_map(|job| job.fields.links.0.iter().map(move |link| (job.id, link)));
    let links = links.filter(|(_, link)| planned.contains(&link.job));
    gathered.problem.links = links.map(|(job, link)| between(job, link)).collect();
    here.retain(|job| gathered.moving(job.id).is_some());
    after_others(gathered, db, &here, &planned)?;
    before_others(gathered, db, &planned)
}

fn between(job: Id, link: &JobLink) -> VisitLink {
    let (one, other) = (job.to_string(), link.job.to_string());
    match link.kind {
        JobLinkKind::After => VisitLink::After {
            first: other,
            then: one,
            least_days: link.least_days,
            most_days: most_days(link),
        },
        JobLinkKind::Together => VisitLink::Together { one, other },
        JobLinkKind::SamePerson => VisitLink::SamePerson { one, other },
    }
}

fn most_days(link: &JobLink) -> u32 {
    link.most_days.max(link.least_days)
}

/// The links of a job to others that it comes after.
fn followed(job: &Job) -> impl Iterator<Item = &JobLink> {
    job.fields.links.0.iter().filter(|link| link.kind == JobLinkKind::After)
}

/// The days that are left to jobs by others before them.
fn after_others(
    gathered: &mut Gathered,
    db: &mut Db<'_>,
    here: &[&Job],
    planned: &BTreeSet<Id>,
) -> Result<(), ApiError> {
    let links = || here.iter().flat_map(|then| followed(then).map(move |link| (then.id, link)));
    let elsewhere: Vec<Id> =
        links().map(|(_, link)| link.job).filter(|first| !planned.contains(first)).collect();
    let mut firsts: BTreeMap<Id, Job> =
        jobs::among(db, &elsewhere)?.into_iter().map(|first| (first.id, first)).collect();
    firsts.retain(|_, first| first.status.0 != JobStatus::Cancelled);
    for (then, link) in links() {
        let Some(first) = firsts.get(&link.job) else { continue };
        match day(first, gathered) {
            Some(on) => bind(gathered, then, first, (later(on, link.least_days), later(on, most_days(link)))),
            None => gathered.notes.push(format!(
                "{then}: it comes some days after {}, which has no day yet; it was planned without that.",
                first.id
            )),
        }
    }
    Ok(())
}

/// The days that are left to jobs by others after them, which have a day already.
fn before_others(gathered: &mut Gathered, db: &mut Db<'_>, planned: &BTreeSet<Id>) -> Result<(), ApiError> {
    let ids: Vec<Id> = planned.iter().copied().collect();
    let mut thens = jobs::linking_to(db, &ids)?;
    thens.retain(|then| !planned.contains(&then.id));
    for then in &thens {
        let Some(on) = day(then, gathered) else { continue };
        for link in followed(then).filter(|link| planned.contains(&link.job)) {
            let days = (earlier(on, most_days(link)), earlier(on, link.least_days));
            bind(gathered, link.job, then, days);
        }
    }
    Ok(())
}

/// The day on which a job is to be done; what was done without a start stands where it ended.
fn day(job: &Job, gathered: &Gathered) -> Option<NaiveDate> {
    job.start_at.or(job.finished_at).map(|at| at.local(gathered.zone).date())
}

fn bind(gathered: &mut Gathered, job: Id, with: &Job, (from, to): (NaiveDate, NaiveDate)) {
    if let Some(request) = gathered.moving(job) {
        request.linked_days.push(LinkedDays { with: with.id.to_string(), from, to });
    }
}

fn later(on: NaiveDate, days: u32) -> NaiveDate {
    on.checked_add_days(Days::new(u64::from(days))).unwrap_or(NaiveDate::MAX)
}

fn earlier(on: NaiveDate, days: u32) -> NaiveDate {
    on.checked_sub_days(Days::new(u64::from(days))).unwrap_or(NaiveDate::MIN)
}
