//! All that rounds are planned from, read in few statements however many visits there are.

use super::facts::{self, Needs, carries, hours, place, visit};
use super::hours::Detail;
use crate::auth::Role;
use crate::day::{ALL, span, zone_of_shop};
use crate::db::customers::{self, Customer};
use crate::db::held_offers::{self, HeldOffer};
use crate::db::jobs::{self, Job, JobLinkKind, JobStatus};
use crate::db::kinds::{Id, Instant};
use crate::db::people::{self, Person};
use crate::db::promises::{self, Promise};
use crate::db::round_asks::RoundsAsk;
use crate::db::vans::{self, Van};
use crate::db::vehicles::{self, Vehicle};
use crate::db::{Db, plans, shops, travel_matrices};
use crate::error::ApiError;
use crate::norms;
use chrono::{NaiveDate, NaiveDateTime};
use chrono_tz::Tz;
use domain::dispatch::planning::{
    Published, Request, RosterDay, RosteredTechnician, RosteredVan, RoundsProblem, VisitLink,
};
use domain::dispatch::{Margins, Technician};
use domain::handbook::Handbook;
use domain::plan::JobPlan;
use std::collections::BTreeMap;

/// What a search is made from.
pub struct Gathered {
    pub problem: RoundsProblem,
    pub zone: Tz,
    /// Jobs that are to be planned, with their revisions.
    pub jobs: Vec<(Id, i32)>,
    /// What is left out or taken more roughly.
    pub notes: Vec<String>,
    /// What tells how the hour changes the work, by the request's place.
    pub details: Vec<Detail>,
    pub vans: Vec<Van>,
    pub people: Vec<Person>,
}

/// How much of the work is looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Depth {
    /// All visits, with what the hour of the day does to them.
    Whole,
    /// Only those that stand somewhere, each for itself: enough to see where another one fits.
    Standing,
}

/// More visits than this are planned with the minutes of their plans and norms, whatever the hour (assumption: each costs
/// some plans of its own).
const DETAILED_UP_TO: usize = 200;

/// Reads the days that are asked for.
pub fn gather(
    db: &mut Db<'_>,
    handbook: &Handbook,
    ask: &RoundsAsk,
    depth: Depth,
) -> Result<Gathered, ApiError> {
    let shop = shops::find(db)?.ok_or(ApiError::NotFound)?;
    let zone = zone_of_shop(&shop)?;
    let days = ask.days();
    let last = days.last().copied().unwrap_or(ask.from_on);
    let (from, to) = span(ask.from_on, last, zone);
    let all = jobs::for_rounds(db, from, to)?;
    let mut rows = Rows::read(db, all, zone)?;
    if depth == Depth::Standing {
        rows.jobs
            .retain(|job| rows.crews.contains_key(&job.id) && job.start_at.is_some() && job.van.is_some());
    }
    let matrix = match ask.matrix.clone() {
        Some(matrix) => Some(matrix),
        None => travel_matrices::find(db)?.map(|stored| stored.document.0),
    };
    let now = db.now.local(zone);
    let settings = &shop.fields.settings.0;
    let depot = place(settings.base.map(|base| (base.latitude, base.longitude)));
    let mut gathered = Gathered {
        problem: RoundsProblem {
            depot,
            travel: settings.rounds.travel,
            matrix,
            margins: Margins::read(handbook),
            weights: ask.weights.unwrap_or(settings.rounds.weights),
            rest: Some(settings.rounds.rest).filter(|rest| rest.minutes > 0),
            technicians: rows.people.iter().map(|person| rostered(person, &days)).collect(),
            vans: rows
                .vans
                .iter()
                .map(|van| RosteredVan {
                    van: carries(handbook, van, depot),
                    home: van
                        .fields
                        .home
                        .as_ref()
                        .map(|home| place(Some((home.0.latitude, home.0.longitude)))),
                    out_on: van.fields.out_on.0.clone(),
                })
                .collect(),
            requests: Vec::new(),
            links: Vec::new(),
            now: (depth == Depth::Whole).then_some(now).filter(|now| days.contains(&now.date())),
            days,
        },
        zone,
        jobs: Vec::new(),
        notes: Vec::new(),
        details: Vec::new(),
        vans: Vec::new(),
        people: Vec::new(),
    };
    for job in &rows.jobs {
        gathered.add(&rows, handbook, job, (ask, now));
    }
    for held in held_offers::live(db)? {
        gathered.hold(db, handbook, &held)?;
    }
    if depth == Depth::Whole {
        gathered.link(&rows);
        gathered.look_closer(db, &rows)?;
    }
    (gathered.vans, gathered.people) = (rows.vans, rows.people);
    Ok(gathered)
}

/// The rows of jobs, vehicles, customers, plans and promises, each kind in one statement.
struct Rows {
    zone: Tz,
    jobs: Vec<Job>,
    crews: BTreeMap<Id, Vec<Id>>,
    vehicles: BTreeMap<Id, Vehicle>,
    customers: BTreeMap<Id, Customer>,
    plans: BTreeMap<Id, JobPlan>,
    promises: BTreeMap<Id, Promise>,
    vans: Vec<Van>,
    /// Who goes to customers.
    people: Vec<Person>,
}

impl Rows {
    fn read(db: &mut Db<'_>, jobs: Vec<Job>, zone: Tz) -> Result<Rows, ApiError> {
        let ids: Vec<Id> = jobs.iter().map(|job| job.id).collect();
        let mut vehicle_ids: Vec<Id> = jobs.iter().map(|job| job.fields.vehicle).collect();
        let mut customer_ids: Vec<Id> = jobs.iter().map(|job| job.customer).collect();
        for list in [&mut vehicle_ids, &mut customer_ids] {
            list.sort_unstable();
            list.dedup();
        }
        let mut vans = vans::list(db, None, ALL)?;
        vans.retain(|van| van.fields.retired_at.is_none());
        let mut people = people::list(db, None, ALL)?;
        people.retain(|person| person.disabled_at.is_none() && goes_out(person));
        Ok(Rows {
            zone,
            crews: jobs::technicians(db, &ids)?,
            vehicles: vehicles::among(db, &vehicle_ids)?.into_iter().map(|v| (v.id, v)).collect(),
            customers: customers::those(db, &customer_ids)?.into_iter().map(|c| (c.id, c)).collect(),
            plans: plans::in_force(db, &ids)?,
            promises: promises::among(db, &ids)?,
            jobs,
            vans,
            people,
        })
    }

    fn crew(&self, job: Id) -> &[Id] {
        self.crews.get(&job).map_or(&[], Vec::as_slice)
    }
}

/// Owners and dispatchers stay in the office unless they have learned some of the work.
fn goes_out(person: &Person) -> bool {
    matches!(person.fields.role.0, Role::Lead | Role::Technician) || !person.fields.skills.0.is_empty()
}

fn rostered(person: &Person, days: &[NaiveDate]) -> RosteredTechnician {
    let at_work = days.iter().filter_map(|&on| Some(RosterDay { on, hours: hours(person, on)? }));
    RosteredTechnician {
        technician: Technician {
            id: person.id.to_string(),
            name: person.fields.name.clone(),
            skills: person.fields.skills.0.clone(),
            trainee: person.fields.trainee,
            hours: None,
        },
        usual_van: person.fields.home_van.map(|van| van.to_string()),
        roster: at_work.collect(),
    }
}

impl Gathered {
    fn add(&mut self, rows: &Rows, handbook: &Handbook, job: &Job, (ask, now): (&RoundsAsk, NaiveDateTime)) {
        let (Some(vehicle), Some(customer)) =
            (rows.vehicles.get(&job.fields.vehicle), rows.customers.get(&job.customer))
        else {
            return;
        };
        let mut visit = visit(job, customer, rows.zone);
        let needs = match rows.plans.get(&job.id) {
            Some(plan) => Needs::of_plan(handbook, plan),
            None => {
                let class = vehicle.fields.document.0.class;
                Needs::by_norms(handbook, &job.fields.package, job.fields.booked_grade, class, 1)
            }
        };
        needs.apply(&mut visit);
        let promise = rows.promises.get(&job.id);
        if let Some(promise) = promise {
            let told = facts::told(promise, rows.zone);
            (visit.window_from, visit.window_to) = (told.from, told.to);
            visit.promised = Some(told);
        }
        let published = published(rows, job, promise, ask.keep_assigned);
        let stays = published.as_ref().is_some_and(|published| published.frozen);
        if !stays && visit.window_to <= now {
            self.notes.push(format!("{}: its window is over; it is left out.", job.id));
            return;
        }
        if !stays {
            visit.window_from = visit.window_from.max(now);
            self.jobs.push((job.id, job.rev));
        }
        self.problem.requests.push(Request {
            priority: u8::try_from(job.fields.priority).unwrap_or(3),
            promised: promise.is_some(),
            work_people: needs.people,
            ..request(visit, published)
        });
    }

    /// A held offer takes its place like a visit that stays.
    fn hold(&mut self, db: &mut Db<'_>, handbook: &Handbook, held: &HeldOffer) -> Result<(), ApiError> {
        let (from, to) = (held.fields.window_from.local(self.zone), held.fields.window_to.local(self.zone));
        if !self.problem.days.contains(&from.date()) {
            return Ok(());
        }
        let Some(vehicle) = vehicles::find(db, held.fields.vehicle)? else { return Ok(()) };
        let Some(customer) = customers::find(db, vehicle.fields.customer)? else { return Ok(()) };
        let of = &held.fields;
        let mut visit =
            facts::bare_visit(held.id, of.vehicle, &of.package, &customer.fields.site.0, (from, to));
        let people = u32::try_from(of.technicians.0.len()).unwrap_or(1);
        let class = vehicle.fields.document.0.class;
        Needs::by_norms(handbook, &of.package, of.booked_grade, class, people).apply(&mut visit);
        let (start, finish) = (of.start_at.local(self.zone), of.finish_at.local(self.zone));
        visit.work_min = (finish - start).num_seconds() as f64 / 60.0;
        let published = Published {
            van: of.van.to_string(),
            technicians: of.technicians.0.iter().map(Id::to_string).collect(),
            start,
            frozen: true,
        };
        let request = request(visit, Some(published));
        self.problem.requests.push(Request { promised: true, work_people: people, ..request });
        Ok(())
    }

    fn link(&mut self, rows: &Rows) {
        let planned = |id: &Id| self.problem.requests.iter().any(|one| one.visit.job == id.to_string());
        let both = rows.jobs.iter().flat_map(|job| job.fields.links.0.iter().map(move |link| (job.id, link)));
        let links = both.filter(|(job, link)| planned(job) && planned(&link.job)).map(|(job, link)| {
            let (one, other) = (job.to_string(), link.job.to_string());
            match link.kind {
                JobLinkKind::After => VisitLink::After {
                    first: other,
                    then: one,
                    least_days: link.least_days,
                    most_days: link.most_days.max(link.least_days),
                },
                JobLinkKind::Together => VisitLink::Together { one, other },
                JobLinkKind::SamePerson => VisitLink::SamePerson { one, other },
            }
        });
        self.problem.links = links.collect();
    }

    /// What each visit is planned from, so that the hour of the day can be looked at.
    fn look_closer(&mut self, db: &mut Db<'_>, rows: &Rows) -> Result<(), ApiError> {
        if self.jobs.len() > DETAILED_UP_TO {
            self.notes.push(format!(
                "These are more than {DETAILED_UP_TO} visits, so heat, rain and the size of the crew do not change their minutes."
            ));
            return Ok(());
        }
        let days = (self.problem.days.first().copied(), self.problem.days.last().copied());
        let (Some(first), Some(last)) = days else { return Ok(()) };
        let norms = norms::learned(db)?;
        for job in &rows.jobs {
            let id = job.id.to_string();
            let Some(nth) = self.problem.requests.iter().position(|one| one.visit.job == id) else {
                continue;
            };
            if self.problem.requests[nth].published.as_ref().is_some_and(|place| place.frozen) {
                continue;
            }
            let crew = rows.crew(job.id);
            if let Some(detail) =
                Detail::read(db, nth, job, crew, (&rows.vans, &rows.people), (first, last), &norms)?
            {
                self.details.push(detail);
            }
        }
        Ok(())
    }

    /// As if a job were not there; false where it is not.
    pub fn leave_out(&mut self, job: &str) -> bool {
        let Some(nth) = self.problem.requests.iter().position(|one| one.visit.job == job) else {
            return false;
        };
        self.problem.requests.remove(nth);
        self.details.retain(|detail| detail.nth != nth);
        self.details.iter_mut().filter(|detail| detail.nth > nth).for_each(|detail| detail.nth -= 1);
        self.problem.links.retain(|link| {
            let (VisitLink::After { first: one, then: other, .. }
            | VisitLink::Together { one, other }
            | VisitLink::SamePerson { one, other }) = link;
            one != job && other != job
        });
        true
    }

    /// The request of a job.
    pub fn visit(&mut self, job: Id) -> Option<&mut Request> {
        let job = job.to_string();
        self.problem.requests.iter_mut().find(|request| request.visit.job == job)
    }
}

/// A request with nothing said of its hours yet.
pub fn request(visit: domain::dispatch::Visit, published: Option<Published>) -> Request {
    Request {
        visit,
        priority: 3,
        promised: false,
        work_people: 1,
        crew_min: Vec::new(),
        work_spans: Vec::new(),
        barred: Vec::new(),
        closed_starts: Vec::new(),
        published,
    }
}

/// Where a job stands; what has begun, or whose crew has set out on that day, stays there.
fn published(rows: &Rows, job: &Job, promise: Option<&Promise>, keep: bool) -> Option<Published> {
    let crew = rows.crew(job.id);
    let (van, start) = job.van.zip(job.start_at)?;
    let day = |at: Instant| at.local(rows.zone).date();
    let set_out = job.set_out_at.is_some_and(|at| day(at) == day(start));
    let begun = matches!(job.status.0, JobStatus::Started | JobStatus::Finished);
    let frozen = begun || set_out || promise.is_some_and(|promise| promise.frozen);
    (!crew.is_empty() && (keep || frozen)).then(|| Published {
        van: van.to_string(),
        technicians: crew.iter().map(Id::to_string).collect(),
        start: start.local(rows.zone),
        frozen,
    })
}
