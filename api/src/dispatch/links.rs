//! What a visit has to do with those of other jobs: with one that is planned here, too, and with one that stands
//! elsewhere.

use super::gather::Gathered;
use crate::day::span;
use crate::db::Db;
use crate::db::jobs::{self, Job, JobLink, JobLinkKind, JobStatus};
use crate::db::kinds::Id;
use crate::error::ApiError;
use chrono::{Days, NaiveDate};
use domain::dispatch::planning::{LinkedDays, VisitLink};
use std::collections::{BTreeMap, BTreeSet};

/// Puts the links of these jobs into what is planned from. One with a job that is not planned here leaves a visit some
/// days and no others, or wants the technicians of that job.
pub fn link(gathered: &mut Gathered, db: &mut Db<'_>, rows: &[Job]) -> Result<(), ApiError> {
    let requests = gathered.problem.requests.iter();
    let planned: BTreeSet<Id> = requests.filter_map(|request| request.visit.job.parse().ok()).collect();
    let mut here: Vec<&Job> = rows.iter().filter(|job| planned.contains(&job.id)).collect();
    let links = here.iter().flat_map(|job| job.fields.links.0.iter().map(move |link| (job.id, link)));
    let links = links.filter(|(_, link)| planned.contains(&link.job));
    gathered.problem.links = links.map(|(job, link)| between(job, link)).collect();
    here.retain(|job| gathered.moving(job.id).is_some());
    after_others(gathered, db, &here, &planned)?;
    let mut linking = linking_to(gathered, db, &planned)?;
    linking.retain(|job| !planned.contains(&job.id));
    before_others(gathered, &linking, &planned);
    beside_others(gathered, db, (&here, &linking), &planned)
}

/// Jobs that name one of those that are planned.
fn linking_to(gathered: &Gathered, db: &mut Db<'_>, planned: &BTreeSet<Id>) -> Result<Vec<Job>, ApiError> {
    let days = &gathered.problem.days;
    let (Some(&first), Some(&last)) = (days.first(), days.last()) else { return Ok(Vec::new()) };
    Ok(jobs::linking_to(db, planned, span(first, last, gathered.zone))?)
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
fn before_others(gathered: &mut Gathered, thens: &[Job], planned: &BTreeSet<Id>) {
    for then in thens {
        let Some(on) = day(then, gathered) else { continue };
        for link in followed(then).filter(|link| planned.contains(&link.job)) {
            let days = (earlier(on, most_days(link)), earlier(on, link.least_days));
            bind(gathered, link.job, then, days);
        }
    }
}

/// Who begins at the same time as a job elsewhere has its day; who wants the same technician wants those who go there.
fn beside_others(
    gathered: &mut Gathered,
    db: &mut Db<'_>,
    (here, linking): (&[&Job], &[Job]),
    planned: &BTreeSet<Id>,
) -> Result<(), ApiError> {
    let beside = |link: &&JobLink| link.kind != JobLinkKind::After;
    let own = here.iter().flat_map(|job| job.fields.links.0.iter().map(|link| (job.id, link.job, link)));
    let theirs =
        linking.iter().flat_map(|job| job.fields.links.0.iter().map(|link| (link.job, job.id, link)));
    let pairs: Vec<(Id, Id, JobLinkKind)> = own
        .chain(theirs)
        .filter(|(job, other, link)| beside(link) && planned.contains(job) && !planned.contains(other))
        .map(|(job, other, link)| (job, other, link.kind))
        .collect();
    let ids: Vec<Id> = pairs.iter().map(|(_, other, _)| *other).collect();
    let mut others: BTreeMap<Id, Job> =
        jobs::among(db, &ids)?.into_iter().map(|other| (other.id, other)).collect();
    others.retain(|_, other| other.status.0 != JobStatus::Cancelled);
    let crews = jobs::technicians(db, &ids)?;
    for (job, id, kind) in pairs {
        let Some(other) = others.get(&id) else { continue };
        match (kind, day(other, gathered)) {
            (JobLinkKind::Together, Some(on)) => bind(gathered, job, other, (on, on)),
            (JobLinkKind::Together, None) => gathered.notes.push(format!(
                "{job}: it begins at the same time as {id}, which has no day yet; it was planned without that."
            )),
            _ => {
                let crew = crews.get(&id).into_iter().flatten().map(Id::to_string);
                if let Some(request) = gathered.moving(job) {
                    request.wanted.extend(crew);
                }
            }
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
