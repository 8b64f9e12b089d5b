//! A day of the shop as dispatch sees it, gathered from jobs, plans, vans, people and addresses: as it is assigned, or as a
//! draft would have it. This is the one judge of rounds, whoever made them.

use crate::db::customers;
use crate::db::jobs::{self, Job, JobLinkKind, JobStatus};
use crate::db::kinds::{Id, Instant};
use crate::db::shops::Shop;
use crate::db::vehicles::Vehicle;
use crate::db::{Db, people, plans, promises, shops, travel_matrices, vans, vehicles};
use crate::dispatch::facts::{self, Needs, carries, notices, place, technician};
use crate::error::ApiError;
use crate::norms;
use crate::plan_input::{self, known_zone};
use chrono::{NaiveDate, NaiveTime};
use chrono_tz::Tz;
use domain::dispatch::planning::{PlannedRound, RoundsPlan};
use domain::dispatch::{Conflict, DayProblem, Margins, Partner, PartnerKind};
use domain::handbook::Handbook;
use domain::plan::{ExtraWork, JobPlan, Norms, PlanFacts, Start};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// More vans or people than any shop has.
pub const ALL: i64 = 10_000;

/// The problem of a day and the names of what is in it.
pub struct Day {
    pub problem: DayProblem,
    /// What people call the jobs, vans and people, by id.
    pub names: BTreeMap<String, String>,
    /// What the visits are planned from, by their place in the problem.
    pub planned_from: BTreeMap<usize, PlanFacts>,
    /// Their plans, where there are some.
    pub plans: BTreeMap<usize, Arc<JobPlan>>,
    /// Revision of each job, and when it was booked.
    pub revisions: BTreeMap<String, (i32, Instant)>,
    /// The visits that have no plan for their time and crew.
    unplanned: Vec<(usize, Start)>,
    norms: Arc<Norms>,
}

/// The zone of the shop.
pub fn zone_of_shop(shop: &Shop) -> Result<Tz, ApiError> {
    known_zone(&shop.fields.time_zone)
}

/// The day on which a job stands: that of its planned start, else of its window's beginning.
pub fn day_of(job: &Job, zone: Tz) -> NaiveDate {
    job.start_at.unwrap_or(job.fields.window_from).local(zone).date()
}

/// Reads a day of the shop's calendar as it is assigned. What takes long is left to [`Day::complete`].
pub fn read(db: &mut Db<'_>, handbook: &Handbook, on: NaiveDate) -> Result<Day, ApiError> {
    read_with(db, handbook, on, None)
}

/// Rounds that nobody goes yet, and the jobs that they were made for.
pub struct Draft<'a> {
    pub plan: &'a RoundsPlan,
    pub jobs: BTreeSet<Id>,
}

/// The same as a draft would have it: its jobs stand where it puts them, or nowhere.
pub fn read_with(
    db: &mut Db<'_>,
    handbook: &Handbook,
    on: NaiveDate,
    draft: Option<&Draft<'_>>,
) -> Result<Day, ApiError> {
    let shop = shops::find(db)?.ok_or(ApiError::NotFound)?;
    let zone = zone_of_shop(&shop)?;
    let mut people = people::list(db, None, ALL)?;
    people.retain(|person| person.disabled_at.is_none());
    let mut vans = vans::list(db, None, ALL)?;
    vans.retain(|van| van.fields.retired_at.is_none());
    let settings = shop.fields.settings.0;
    let depot = place(settings.base.map(|base| (base.latitude, base.longitude)));
    let usable = vans.iter().filter(|van| !van.fields.out_on.0.contains(&on));
    let mut day = Day {
        problem: DayProblem {
            on,
            depot,
            travel: settings.rounds.travel,
            matrix: travel_matrices::find(db)?.map(|stored| stored.document.0),
            margins: Margins::read(handbook),
            technicians: people.iter().map(|person| technician(person, on)).collect(),
            vans: usable.map(|van| carries(handbook, van, depot, &settings.rounds)).collect(),
            visits: Vec::new(),
        },
        names: vans.into_iter().map(|van| (van.id.to_string(), van.fields.name)).collect(),
        planned_from: BTreeMap::new(),
        plans: BTreeMap::new(),
        revisions: BTreeMap::new(),
        unplanned: Vec::new(),
        norms: norms::learned(db)?,
    };
    let rows = standing(db, on, zone, draft)?;
    let ids: Vec<Id> = rows.iter().map(|(job, _)| job.id).collect();
    let told = promises::among(db, &ids)?;
    let others = linked(db, &rows, zone, draft)?;
    let mut partners = partners(&rows, &others, zone);
    day.name_others(db, &others)?;
    for (job, crew) in &rows {
        let names = people.iter().filter(|p| crew.contains(&p.id)).map(|p| p.fields.name.as_str());
        day.add(db, handbook, (job, crew), names.collect(), zone)?;
        if let Some(visit) = day.problem.visits.last_mut() {
            visit.promised = told.get(&job.id).map(|promise| facts::told(promise, zone));
            visit.partners = partners.remove(&job.id).unwrap_or_default();
        }
    }
    day.names.extend(people.into_iter().map(|person| (person.id.to_string(), person.fields.name)));
    Ok(day)
}

impl Draft<'_> {
    /// The rounds that its jobs are on, and when they begin there. What has begun or stays was not to be planned: it
    /// stands where it was assigned.
    fn places(&self, zone: Tz) -> BTreeMap<Id, (&PlannedRound, Instant)> {
        let stops =
            self.plan.rounds.iter().flat_map(|round| round.stops.iter().map(move |stop| (round, stop)));
        let places = stops.filter_map(|(round, stop)| {
            let job: Id = stop.job.as_ref()?.parse().ok()?;
            self.jobs.contains(&job).then(|| (job, (round, instant(stop.starts_at, zone))))
        });
        places.collect()
    }
}

/// A job and who goes.
type Standing = (Job, Vec<Id>);

/// As a draft would have it; without a place: nowhere.
fn drafted(job: Job, place: Option<&(&PlannedRound, Instant)>) -> Standing {
    let Some((round, start)) = place else { return (Job { van: None, start_at: None, ..job }, Vec::new()) };
    let crew = round.technicians.iter().filter_map(|id| id.parse().ok()).collect();
    (Job { van: round.van.parse().ok(), start_at: Some(*start), ..job }, crew)
}

/// As it is assigned.
fn assigned(db: &mut Db<'_>, jobs: Vec<Job>) -> Result<Vec<Standing>, ApiError> {
    let ids: Vec<Id> = jobs.iter().map(|job| job.id).collect();
    let mut crews = jobs::technicians(db, &ids)?;
    let with_crew = |job: Job| {
        let crew = crews.remove(&job.id).unwrap_or_default();
        (job, crew)
    };
    Ok(jobs.into_iter().map(with_crew).collect())
}

/// The jobs that stand on the day.
fn standing(
    db: &mut Db<'_>,
    on: NaiveDate,
    zone: Tz,
    draft: Option<&Draft<'_>>,
) -> Result<Vec<Standing>, ApiError> {
    let (from, to) = span(on, on, zone);
    let mut jobs = jobs::of_day(db, from, to)?;
    jobs.retain(|job| draft.is_none_or(|draft| !draft.jobs.contains(&job.id)));
    let mut standing = assigned(db, jobs)?;
    let Some(draft) = draft else { return Ok(standing) };
    let mut places = draft.places(zone);
    places.retain(|_, (round, _)| round.on == on);
    let ids: Vec<Id> = places.keys().copied().collect();
    standing.extend(jobs::among(db, &ids)?.into_iter().map(|job| {
        let place = places.get(&job.id);
        drafted(job, place)
    }));
    standing.sort_by_key(|(job, _)| (job.fields.window_from, job.id));
    Ok(standing)
}

/// The other jobs that have to do with those of the day, wherever they stand. One that is cancelled has not.
fn linked(
    db: &mut Db<'_>,
    rows: &[Standing],
    zone: Tz,
    draft: Option<&Draft<'_>>,
) -> Result<Vec<Standing>, ApiError> {
    let windows = || rows.iter().map(|(job, _)| job.fields.window_from);
    let Some(between) = windows().min().zip(windows().max()) else { return Ok(Vec::new()) };
    let ids: BTreeSet<Id> = rows.iter().map(|(job, _)| job.id).collect();
    let named: Vec<Id> = rows.iter().flat_map(|(job, _)| &job.fields.links.0).map(|link| link.job).collect();
    let mut jobs = jobs::linking_to(db, &ids, between)?;
    if !named.is_empty() {
        jobs.extend(jobs::among(db, &named)?);
    }
    jobs.retain(|job| job.status.0 != JobStatus::Cancelled && !ids.contains(&job.id));
    jobs.sort_by_key(|job| job.id);
    jobs.dedup_by_key(|job| job.id);
    if jobs.is_empty() {
        return Ok(Vec::new());
    }
    let standing = assigned(db, jobs)?;
    let Some(draft) = draft else { return Ok(standing) };
    let places = draft.places(zone);
    let as_drafted = |(job, crew): Standing| {
        let place = places.get(&job.id);
        if draft.jobs.contains(&job.id) { drafted(job, place) } else { (job, crew) }
    };
    Ok(standing.into_iter().map(as_drafted).collect())
}

/// For each of these jobs those that it is linked with, from either side.
fn partners(rows: &[Standing], others: &[Standing], zone: Tz) -> BTreeMap<Id, Vec<Partner>> {
    let all: BTreeMap<Id, &Standing> = rows.iter().chain(others).map(|one| (one.0.id, one)).collect();
    let as_partner = |kind, (job, crew): &Standing| Partner {
        kind,
        job: job.id.to_string(),
        // What was done without a planned start stands where it ended.
        start: job.start_at.or(job.finished_at).map(|at| at.local(zone)),
        van: job.van.map(|van| van.to_string()),
        technicians: crew.iter().map(Id::to_string).collect(),
    };
    let mut partners: BTreeMap<Id, Vec<Partner>> = BTreeMap::new();
    for &one in all.values() {
        for link in &one.0.fields.links.0 {
            let Some(&other) = all.get(&link.job) else { continue };
            let (least_days, most_days) = (link.least_days, link.most_days);
            let (own, theirs) = match link.kind {
                JobLinkKind::After => (
                    PartnerKind::After { least_days, most_days },
                    PartnerKind::Before { least_days, most_days },
                ),
                JobLinkKind::Together => (PartnerKind::Together, PartnerKind::Together),
                JobLinkKind::SamePerson => (PartnerKind::SamePerson, PartnerKind::SamePerson),
            };
            partners.entry(one.0.id).or_default().push(as_partner(own, other));
            partners.entry(other.0.id).or_default().push(as_partner(theirs, one));
        }
    }
    partners
}

/// What people call a job.
fn called(job: &Job, vehicle: &Vehicle) -> String {
    format!("{} for {}", job.fields.package, vehicle.fields.label)
}

/// The instant of a wall-clock time in a zone.
pub fn instant(at: chrono::NaiveDateTime, zone: Tz) -> Instant {
    Instant::from_utc(domain::civil::resolve(at, zone).naive_utc())
}

/// The instants at which the first day begins and the last one ends.
pub fn span(first: NaiveDate, last: NaiveDate, zone: Tz) -> (Instant, Instant) {
    let begins = |day: NaiveDate| instant(day.and_time(NaiveTime::MIN), zone);
    (begins(first), begins(last.succ_opt().unwrap_or(last)))
}

impl Day {
    /// What jobs are called that are not of this day, but linked with one of it.
    fn name_others(&mut self, db: &mut Db<'_>, others: &[Standing]) -> Result<(), ApiError> {
        let ids: Vec<Id> = others.iter().map(|(job, _)| job.fields.vehicle).collect();
        if ids.is_empty() {
            return Ok(());
        }
        let vehicles = vehicles::among(db, &ids)?;
        for (job, _) in others {
            if let Some(vehicle) = vehicles.iter().find(|vehicle| vehicle.id == job.fields.vehicle) {
                self.names.insert(job.id.to_string(), called(job, vehicle));
            }
        }
        Ok(())
    }

    fn add(
        &mut self,
        db: &mut Db<'_>,
        handbook: &Handbook,
        (job, crew): (&Job, &[Id]),
        crew_names: BTreeSet<&str>,
        zone: Tz,
    ) -> Result<(), ApiError> {
        let vehicle = vehicles::find(db, job.fields.vehicle)?.ok_or(ApiError::NotFound)?;
        let customer = customers::find(db, job.customer)?.ok_or(ApiError::NotFound)?;
        let mut visit = facts::visit(job, &customer, zone);
        visit.start = job.start_at.map(|at| at.local(zone));
        visit.van = job.van.map(|van| van.to_string());
        visit.technicians = crew.iter().map(Id::to_string).collect();
        let nth = self.problem.visits.len();
        let stored = plans::find(db, job.id, None)?.map(|plan| Arc::new(plan.document.0));
        match &stored {
            Some(plan) => {
                Needs::of_plan(handbook, plan).apply(&mut visit);
                visit.notices = notices(handbook, plan);
                self.plans.insert(nth, plan.clone());
            }
            None => {
                let class = vehicle.fields.document.0.class;
                let people = u32::try_from(crew.len()).unwrap_or(1);
                Needs::by_norms(handbook, &job.fields.package, job.fields.booked_grade, class, people)
                    .apply(&mut visit);
            }
        }
        if matches!(job.status.0, JobStatus::Booked | JobStatus::Planned) {
            match plan_input::gather_for(db, job, crew, ExtraWork::default(), &self.norms) {
                Ok((facts, start)) => {
                    if !stored.is_some_and(|plan| fits(&plan, &start, &crew_names)) {
                        self.unplanned.push((nth, start));
                    }
                    self.planned_from.insert(nth, facts);
                }
                // No van or no crew: there is nothing to plan with.
                Err(ApiError::Conflict { .. }) => {}
                Err(error) => return Err(error),
            }
        }
        self.revisions.insert(visit.job.clone(), (job.rev, job.created_at));
        self.names.insert(visit.vehicle.clone(), vehicle.fields.label.clone());
        self.names.insert(visit.job.clone(), called(job, &vehicle));
        self.problem.visits.push(visit);
        Ok(())
    }

    /// Plans what has no plan for its time and crew yet, so that minutes, water and weather are those of this day.
    /// The plans are not stored: that is for whoever plans the job.
    pub fn complete(mut self, handbook: &Handbook) -> Day {
        for (nth, start) in std::mem::take(&mut self.unplanned) {
            let plan = self.planned_from.get(&nth).map(|facts| facts.plan(handbook, &start));
            // What contradicts itself cannot be planned; then the visit keeps what is known of it.
            if let (Some(Ok(plan)), Some(visit)) = (plan, self.problem.visits.get_mut(nth)) {
                Needs::of_plan(handbook, &plan).apply(visit);
                visit.notices = notices(handbook, &plan);
                self.plans.insert(nth, Arc::new(plan));
            }
        }
        self
    }

    /// All conflicts, in the names people use.
    pub fn conflicts(&self) -> Vec<Conflict> {
        self.named(domain::dispatch::conflicts(&self.problem))
    }

    /// The conflicts that a job has, or that others have because of it.
    pub fn conflicts_made_by(&self, job: Id) -> Vec<Conflict> {
        let job = job.to_string();
        let mut without = self.problem.clone();
        without.visits.retain(|visit| visit.job != job);
        let before = domain::dispatch::conflicts(&without);
        let mut found = domain::dispatch::conflicts(&self.problem);
        found.retain(|conflict| {
            conflict.jobs.contains(&job)
                || !before.iter().any(|old| old.code == conflict.code && old.jobs == conflict.jobs)
        });
        self.named(found)
    }

    /// The rules speak of ids; people have names for them.
    fn named(&self, mut conflicts: Vec<Conflict>) -> Vec<Conflict> {
        for conflict in &mut conflicts {
            conflict.text = crate::dispatch::spoken::spoken(&conflict.text, &self.names);
        }
        conflicts
    }
}

/// The plan was made for this start and these people.
fn fits(plan: &JobPlan, start: &Start, crew: &BTreeSet<&str>) -> bool {
    let turns = plan.lines.iter().flat_map(|line| &line.turns);
    plan.start == start.at && turns.map(|turn| turn.technician.as_str()).collect::<BTreeSet<_>>() == *crew
}
