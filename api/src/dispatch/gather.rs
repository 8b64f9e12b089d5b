//! All that rounds are planned from. Rows are read in few statements however many visits there are; what the planner
//! looks at beside them is read visit by visit.

use super::facts::{self, Needs, carries, hours, place, visit};
use super::hours::{Detail, Ground};
use super::links;
use crate::auth::Role;
use crate::day::{ALL, span, zone_of_shop};
use crate::db::customers::{self, Customer};
use crate::db::held_offers::{self, HeldOffer};
use crate::db::jobs::{self, Job, JobStatus};
use crate::db::kinds::{Id, Instant};
use crate::db::people::{self, Person};
use crate::db::promises::{self, Promise};
use crate::db::round_asks::RoundsAsk;
use crate::db::round_plans::Stood;
use crate::db::shops::ShopSettings;
use crate::db::vans::{self, Van};
use crate::db::vehicles::{self, Vehicle};
use crate::db::{Db, plans, shops, travel_matrices};
use crate::error::ApiError;
use chrono::{NaiveDate, NaiveDateTime};
use chrono_tz::Tz;
use domain::dispatch::planning::{
    Published, Request, RosterDay, RosteredTechnician, RosteredVan, RoundsProblem, VisitLink,
};
use domain::dispatch::{Margins, Technician};
use domain::handbook::Handbook;
use domain::plan::JobPlan;
use std::collections::{BTreeMap, BTreeSet};

/// What a search is made from.
pub struct Gathered {
    pub problem: RoundsProblem,
    pub zone: Tz,
    /// Jobs that are to be planned, with their revisions.
    pub jobs: Vec<(Id, i32)>,
    /// All jobs that nobody has begun, with their revisions.
    pub open: Vec<(Id, i32)>,
    /// Where everything stood that was read.
    pub stood: Vec<Stood>,
    /// What is left out or taken more roughly.
    pub notes: Vec<String>,
    /// What tells how the hour changes the work, by the request's place.
    pub details: Vec<Detail>,
}

/// How much of the work is looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Depth {
    /// All visits, with what the hour of the day does to them.
    Whole,
    /// Only those that stand somewhere, each for itself: enough to see where another one fits.
    Standing,
}

/// Reads the days that are asked for.
pub fn gather(
    db: &mut Db<'_>,
    handbook: &Handbook,
    ask: &RoundsAsk,
    depth: Depth,
) -> Result<Gathered, ApiError> {
    let shop = shops::find(db)?.ok_or(ApiError::NotFound)?;
    let zone = zone_of_shop(&shop)?;
    let last = ask.days().last().copied().unwrap_or(ask.from_on);
    let (from, to) = span(ask.from_on, last, zone);
    let all = jobs::for_rounds(db, from, to)?;
    let mut rows = Rows::read(db, all, zone)?;
    if depth == Depth::Standing {
        rows.jobs
            .retain(|job| rows.crews.contains_key(&job.id) && job.start_at.is_some() && job.van.is_some());
    }
    let mut gathered = Gathered {
        problem: problem(db, handbook, &shop.fields.settings.0, &rows, ask)?,
        zone,
        jobs: Vec::new(),
        open: Vec::new(),
        stood: Vec::new(),
        notes: Vec::new(),
        details: Vec::new(),
    };
    let now = db.now.local(zone);
    if depth == Depth::Whole {
        gathered.problem.now = Some(now).filter(|now| gathered.problem.days.contains(&now.date()));
    }
    for job in &rows.jobs {
        gathered.add(&rows, handbook, job, (ask, now));
    }
    for held in held_offers::live(db)? {
        gathered.hold(db, handbook, &held)?;
    }
    if depth == Depth::Whole {
        links::link(&mut gathered, db, &rows.jobs)?;
    }
    gathered.look_closer(db, &rows, depth)?;
    Ok(gathered)
}

/// The shop's days without visits.
fn problem(
    db: &mut Db<'_>,
    handbook: &Handbook,
    settings: &ShopSettings,
    rows: &Rows,
    ask: &RoundsAsk,
) -> Result<RoundsProblem, ApiError> {
    let matrix = match ask.matrix.clone() {
        Some(matrix) => Some(matrix),
        None => travel_matrices::find(db)?.map(|stored| stored.document.0),
    };
    let (days, rounds) = (ask.days(), &settings.rounds);
    let depot = place(settings.base.map(|base| (base.latitude, base.longitude)));
    let vans = rows
        .vans
        .iter()
        .map(|van| RosteredVan { van: carries(handbook, van, depot, rounds), out_on: out_on(van, &days) });
    Ok(RoundsProblem {
        travel: rounds.travel,
        matrix,
        margins: Margins::read(handbook),
        weights: ask.weights.unwrap_or(rounds.weights),
        rest: Some(rounds.rest).filter(|rest| rest.minutes > 0),
        technicians: rows.people.iter().map(|person| rostered(person, &days)).collect(),
        vans: vans.collect(),
        ..RoundsProblem::new(days, depot)
    })
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
        let crews = jobs::technicians(db, &ids)?;
        let (vans, people) = who_goes(db, &jobs, &crews)?;
        Ok(Rows {
            zone,
            crews,
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

/// The vans that are in use and the people who go to customers, with those who were put on one of these jobs all the same.
pub fn who_goes(
    db: &mut Db<'_>,
    jobs: &[Job],
    crews: &BTreeMap<Id, Vec<Id>>,
) -> Result<(Vec<Van>, Vec<Person>), ApiError> {
    let used: BTreeSet<Id> = jobs.iter().filter_map(|job| job.van).collect();
    let named: BTreeSet<Id> = crews.values().flatten().copied().collect();
    let mut vans = vans::list(db, None, ALL)?;
    vans.retain(|van| van.fields.retired_at.is_none() || used.contains(&van.id));
    let mut people = people::list(db, None, ALL)?;
    people.retain(|person| goes_out(person) || named.contains(&person.id));
    Ok((vans, people))
}

/// Owners and dispatchers stay in the office unless they have learned some of the work.
fn goes_out(person: &Person) -> bool {
    let learned =
        matches!(person.fields.role.0, Role::Lead | Role::Technician) || !person.fields.skills.0.is_empty();
    learned && person.disabled_at.is_none()
}

/// Who does not go out is there for what they were put on, and for nothing else.
fn rostered(person: &Person, days: &[NaiveDate]) -> RosteredTechnician {
    let days = if goes_out(person) { days } else { &[] };
    let all_days = days.iter().map(|&on| RosterDay { on, hours: hours(person, on) });
    RosteredTechnician {
        technician: Technician {
            id: person.id.to_string(),
            name: person.fields.name.clone(),
            skills: person.fields.skills.0.clone(),
            trainee: person.fields.trainee,
            hours: Vec::new(),
        },
        usual_van: person.fields.home_van.map(|van| van.to_string()),
        roster: all_days.filter(|day| !day.hours.is_empty()).collect(),
    }
}

/// A van that was given up is there for what it was put on, and for nothing else.
fn out_on(van: &Van, days: &[NaiveDate]) -> Vec<NaiveDate> {
    if van.fields.retired_at.is_some() { days.to_vec() } else { van.fields.out_on.0.clone() }
}

impl Gathered {
    fn add(&mut self, rows: &Rows, handbook: &Handbook, job: &Job, (ask, now): (&RoundsAsk, NaiveDateTime)) {
        let people = rows.crew(job.id).to_vec();
        self.stood.push(Stood { id: job.id, van: job.van, start_at: job.start_at, people });
        if !has_begun(job) {
            self.open.push((job.id, job.rev));
        }
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
        visit.notices =
            rows.plans.get(&job.id).map_or_else(Vec::new, |plan| facts::of_the_work(handbook, plan));
        let promise = rows.promises.get(&job.id);
        if let Some(promise) = promise {
            let told = facts::told(promise, rows.zone);
            (visit.window_from, visit.window_to) = (told.from, told.to);
            visit.promised = Some(told);
        }
        let published = published(rows, job, promise, ask.keep_assigned);
        let stays = published.as_ref().is_some_and(|published| published.frozen);
        if !stays && let Some(why) = left_out(job, (visit.window_to, now)) {
            self.notes.push(format!("{}: {why}; it is left out.", job.id));
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
        let (van, start_at) = (Some(held.fields.van), Some(held.fields.start_at));
        let people = held.fields.technicians.0.clone();
        self.stood.push(Stood { id: held.id, van, start_at, people });
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

    /// What visits are planned from where the planner knows more of them than is known here.
    fn look_closer(&mut self, db: &mut Db<'_>, rows: &Rows, depth: Depth) -> Result<(), ApiError> {
        let days = (self.problem.days.first().copied(), self.problem.days.last().copied());
        let (Some(first), Some(last)) = days else { return Ok(()) };
        let requests = self.problem.requests.iter().enumerate();
        let nths: BTreeMap<&str, usize> =
            requests.map(|(nth, request)| (request.visit.job.as_str(), nth)).collect();
        let mut closer: Vec<(&Job, usize, bool)> = Vec::new();
        for job in &rows.jobs {
            let Some(&nth) = nths.get(job.id.as_str()) else { continue };
            let is_planned = rows.plans.contains_key(&job.id);
            if is_worth_a_look(job, &self.problem.requests[nth], is_planned, depth) {
                closer.push((job, nth, is_planned));
            }
        }
        if closer.is_empty() {
            return Ok(());
        }
        let ground = Ground::read(db, (&rows.vans, &rows.people), (first, last))?;
        for (job, nth, is_planned) in closer {
            self.details.extend(ground.detail(db, job, rows.crew(job.id), (nth, is_planned))?);
        }
        Ok(())
    }

    /// Puts in what the planner says of the work, without a look at other hours.
    pub fn tell_work(&mut self, handbook: &Handbook) {
        for detail in &self.details {
            if let Some(request) = self.problem.requests.get_mut(detail.nth) {
                detail.tell_work(handbook, &self.problem.days, request);
            }
        }
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
        self.problem.requests.iter_mut().find(|request| request.visit.job == job.as_str())
    }

    /// The same, unless it stays where it is.
    pub fn moving(&mut self, job: Id) -> Option<&mut Request> {
        self.visit(job).filter(|request| !stays(request))
    }
}

/// It is exactly where it will be.
pub fn stays(request: &Request) -> bool {
    request.published.as_ref().is_some_and(|place| place.frozen)
}

fn has_begun(job: &Job) -> bool {
    matches!(job.status.0, JobStatus::Started | JobStatus::Finished)
}

/// Why nobody is to be sent there, if so.
fn left_out(job: &Job, (window_to, now): (NaiveDateTime, NaiveDateTime)) -> Option<&'static str> {
    match job.status.0 {
        // Somebody works there, nobody knows with which van or since when.
        JobStatus::Started => Some("it has begun without a van, people or a start"),
        JobStatus::Finished => Some("it is finished"),
        _ => (window_to <= now).then_some("its window is over"),
    }
}

/// What has begun is not planned anew. Of what stays only the length counts, and a plan in force says that; of what
/// merely stands it is looked for only where the norms do not count what was booked.
fn is_worth_a_look(job: &Job, request: &Request, is_planned: bool, depth: Depth) -> bool {
    let beyond_norms = !job.fields.options.0.is_empty() || !request.visit.work_min.is_finite();
    let more = match depth {
        Depth::Whole => !is_planned || !stays(request),
        Depth::Standing => !is_planned && beyond_norms,
    };
    more && !has_begun(job)
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
        linked_days: Vec::new(),
        wanted: Vec::new(),
        published,
    }
}

/// Where a job stands. It stays there if it has begun, if its crew has set out on that day, or if somebody has put it
/// where neither its window nor its promise lets a search put it: they know why.
fn published(rows: &Rows, job: &Job, promise: Option<&Promise>, keep: bool) -> Option<Published> {
    let crew = rows.crew(job.id);
    let (van, start) = job.van.zip(job.start_at)?;
    let day = |at: Instant| at.local(rows.zone).date();
    let set_out = job.set_out_at.is_some_and(|at| day(at) == day(start));
    let fields = &job.fields;
    let by_hand = !(fields.window_from..=fields.window_to).contains(&start)
        && !promise.is_some_and(|told| (told.promised_from..=told.promised_to).contains(&start));
    let fixed = promise.is_some_and(|promise| promise.frozen);
    let frozen = has_begun(job) || set_out || fixed || keep && by_hand;
    (!crew.is_empty() && (keep || frozen)).then(|| Published {
        van: van.to_string(),
        technicians: crew.iter().map(Id::to_string).collect(),
        start: start.local(rows.zone),
        frozen,
    })
}
