//! Windows for a job that is not booked yet: what each would cost the rounds as they stand, who holds one, and whether it
//! still holds.
//!
//! An offer names the van, the people and the day it counts on, and a fingerprint of all that stands there. Whoever comes
//! first changes that; the next one's offer then no longer holds.

use super::facts::{Needs, bare_visit, estimated};
use super::gather::{Depth, Gathered, gather, request, who_goes};
use super::hours::{Detail, Ground};
use super::publish::assign;
use crate::app::App;
use crate::auth::Caller;
use crate::conventions::tags::digest;
use crate::day::{instant, span, zone_of_shop};
use crate::db::customers::Customer;
use crate::db::held_offers::{self, HeldFields};
use crate::db::jobs::{self, Assignment, Job, JobFields, JobStatus};
use crate::db::kinds::{Doc, Id, Instant, Word};
use crate::db::promises::{self, Promise};
use crate::db::round_asks::RoundsAsk;
use crate::db::vehicles::Vehicle;
use crate::db::{Db, audit, customers, handbooks, people, shops, vans, vehicles};
use crate::error::ApiError;
use chrono::{NaiveDate, NaiveDateTime, TimeDelta};
use chrono_tz::Tz;
use domain::dispatch::planning::{Offer, Request, Standing};
use domain::handbook::Handbook;
use domain::site::HourRange;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, HashMap};
use std::sync::{Arc, Mutex, PoisonError};

/// How long an offer is held.
pub const HELD: TimeDelta = TimeDelta::minutes(15);
/// An offer that is older is asked for again (assumption).
pub const GOOD_FOR: TimeDelta = TimeDelta::minutes(60);
/// More windows than are asked for, as weather may forbid some.
const SPARE: usize = 6;
/// Shops whose rounds are kept ready.
const MOST_KEPT: usize = 64;

/// What the windows are for.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Wanted {
    pub vehicle: Id,
    pub package: String,
    pub options: Vec<String>,
    pub booked_grade: i32,
    pub from_on: NaiveDate,
    pub days: u32,
    pub windows: Option<Vec<HourRange>>,
    pub most: usize,
    /// A job whose place counts as free, as it is to move.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub instead_of: Option<Id>,
}

/// A window with all that it counts on; sealed, it is what a client shows to hold it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Ticket {
    pub wanted: Wanted,
    pub from: Instant,
    pub to: Instant,
    pub van: Id,
    pub technicians: Vec<Id>,
    pub start: Instant,
    pub finish: Instant,
    pub cost: f64,
    pub offered_at: Instant,
    /// Of all that stands with the van and the people on the day.
    pub basis: String,
}

/// The rounds of shops as they stand, made ready once and used until something changes.
#[derive(Clone, Default)]
pub struct StandingRounds(Arc<Mutex<Kept>>);

/// By shop.
type Kept = HashMap<Id, (Basis, Arc<Standing>)>;

/// What standing rounds were made from: every change by a person or an app has its number.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Basis {
    change: i32,
    handbook: Option<i32>,
    from_on: NaiveDate,
    days: u32,
    holds: Vec<Id>,
    without: Option<Id>,
}

/// All that windows are looked for with.
struct Search {
    wanted: Wanted,
    zone: Tz,
    handbook: Arc<Handbook>,
    windows: Vec<HourRange>,
    new: Request,
    /// Why the norms do not know how long it takes, if they do not.
    refused: Option<String>,
    detail: Option<Detail>,
    basis: Basis,
    ready: Result<Arc<Standing>, Box<Gathered>>,
    shop: Id,
}

impl StandingRounds {
    fn kept(&self, shop: Id, basis: &Basis) -> Option<Arc<Standing>> {
        let all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        all.get(&shop).filter(|(of, _)| of == basis).map(|(_, standing)| standing.clone())
    }

    fn keep(&self, shop: Id, basis: Basis, standing: Arc<Standing>) {
        let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if all.len() >= MOST_KEPT && !all.contains_key(&shop) {
            all.clear();
        }
        all.insert(shop, (basis, standing));
    }
}

/// The offers of now, cheapest first, and the shop's zone. Nothing is stored.
pub async fn look(app: &App, caller: &Caller, wanted: Wanted) -> Result<(Vec<Ticket>, Tz), ApiError> {
    let (handbooks, kept) = (app.handbooks.clone(), app.standing.clone());
    let search = app
        .read(caller, move |db| {
            let handbook = handbooks.of(db)?;
            known_package(&handbook, &wanted)?;
            prepare(db, handbook, &kept, wanted)
        })
        .await?;
    let kept = app.standing.clone();
    let (found, wanted, zone) = app.planning(move || search.windows(&kept)).await?;
    let tickets = app.read(caller, move |db| tickets(db, &found, &wanted, zone)).await?;
    Ok((tickets, zone))
}

fn known_package(handbook: &Handbook, wanted: &Wanted) -> Result<(), ApiError> {
    match handbook.package(&wanted.package) {
        Some(_) => Ok(()),
        None => {
            let text = format!("the handbook has no package {:?}", wanted.package);
            Err(ApiError::field("/package", "unknown", text))
        }
    }
}

/// Reads what windows are looked for with.
fn prepare(
    db: &mut Db<'_>,
    handbook: Arc<Handbook>,
    kept: &StandingRounds,
    wanted: Wanted,
) -> Result<Search, ApiError> {
    let shop = shops::find(db)?.ok_or(ApiError::NotFound)?;
    let zone = zone_of_shop(&shop)?;
    let unknown = || ApiError::field("/vehicle", "unknown", "there is no such vehicle");
    let vehicle = vehicles::find(db, wanted.vehicle)?.ok_or_else(unknown)?;
    if !db.reaches(vehicle.fields.customer) {
        return Err(unknown());
    }
    let customer = customers::find(db, vehicle.fields.customer)?.ok_or(ApiError::NotFound)?;
    let ask = asked_of(&wanted);
    let basis = Basis {
        change: audit::newest(db)?,
        handbook: handbooks::newest_version(db)?,
        from_on: wanted.from_on,
        days: wanted.days,
        holds: held_offers::live(db)?.iter().map(|held| held.id).collect(),
        without: wanted.instead_of,
    };
    let ready = match kept.kept(db.shop, &basis) {
        Some(standing) => Ok(standing),
        None => {
            let mut gathered = gather(db, &handbook, &ask, Depth::Standing)?;
            wanted.instead_of.into_iter().for_each(|job| {
                gathered.leave_out(&job.to_string());
            });
            Err(Box::new(gathered))
        }
    };
    let new = new_request(&handbook, &wanted, (&vehicle, &customer), (zone, db.now));
    let windows = wanted.windows.clone().unwrap_or(shop.fields.settings.0.rounds.windows);
    let (vans, people) = who_goes(db, &[], &BTreeMap::new())?;
    let last = ask.days().last().copied().unwrap_or(wanted.from_on);
    let job = stand_in(&wanted, &vehicle, (wanted.from_on, zone));
    let ground = Ground::read(db, (&vans, &people), (wanted.from_on, last))?;
    let detail = ground.detail(db, &job, &[], (0, false))?;
    let class = vehicle.fields.document.0.class;
    let refused = estimated(&handbook, &wanted.package, wanted.booked_grade, class).err();
    let refused = refused.map(|why| why.to_string());
    Ok(Search { wanted, zone, handbook, windows, new, refused, detail, basis, ready, shop: db.shop })
}

fn asked_of(wanted: &Wanted) -> RoundsAsk {
    RoundsAsk {
        from_on: wanted.from_on,
        days: wanted.days,
        seed: 1,
        iterations: 1,
        seconds: 1,
        keep_assigned: true,
        happened: Vec::new(),
        weights: None,
        matrix: None,
    }
}

/// The visit that is looked for a place, with what the norms say of its work. It begins when the offer is too old to be
/// held at the earliest: what begins sooner could be gone before anybody has chosen it.
fn new_request(
    handbook: &Handbook,
    wanted: &Wanted,
    (vehicle, customer): (&Vehicle, &Customer),
    (zone, now): (Tz, Instant),
) -> Request {
    let first = wanted.from_on.and_time(chrono::NaiveTime::MIN).max(now.plus(GOOD_FOR).local(zone));
    let last = asked_of(wanted).days().last().and_then(|day| day.succ_opt()).unwrap_or(wanted.from_on);
    let window = (first, last.and_time(chrono::NaiveTime::MIN));
    let site = &customer.fields.site.0;
    let mut visit = bare_visit(Id::new(now), wanted.vehicle, &wanted.package, site, window);
    let class = vehicle.fields.document.0.class;
    Needs::by_norms(handbook, &wanted.package, wanted.booked_grade, class, 1).apply(&mut visit);
    Request { promised: true, ..request(visit, None) }
}

/// A job as it would be, for the planner to look at.
fn stand_in(wanted: &Wanted, vehicle: &Vehicle, (on, zone): (NaiveDate, Tz)) -> Job {
    let (from, to) = span(on, on, zone);
    Job {
        set_out_at: None,
        arrives_at: None,
        // No job has it.
        id: wanted.vehicle,
        rev: 0,
        created_at: from,
        customer: vehicle.fields.customer,
        status: Word(JobStatus::Booked),
        van: None,
        start_at: None,
        finished_at: None,
        grades_after: None,
        started_plan: None,
        fields: fields_of(wanted, (from, to)),
    }
}

fn fields_of(wanted: &Wanted, (window_from, window_to): (Instant, Instant)) -> JobFields {
    JobFields {
        other_windows: Doc(Vec::new()),
        vehicle: wanted.vehicle,
        package: wanted.package.clone(),
        options: Doc(wanted.options.clone()),
        window_from,
        window_to,
        booked_grade: wanted.booked_grade,
        note: None,
        rework_of: None,
        priority: 3,
        links: Doc(Vec::new()),
    }
}

impl Search {
    /// The windows that cost least, cheapest first, each with what the weather does not forbid. Outside any transaction.
    fn windows(mut self, kept: &StandingRounds) -> Result<(Vec<Offer>, Wanted, Tz), ApiError> {
        if let Some(detail) = &self.detail {
            detail.tell_work(&self.handbook, &asked_of(&self.wanted).days(), &mut self.new);
        }
        if !self.new.visit.work_min.is_finite() {
            return self.without_length();
        }
        let standing = match self.ready {
            Ok(standing) => standing,
            Err(mut gathered) => {
                gathered.tell_work(&self.handbook);
                let standing = Arc::new(Standing::new(gathered.problem));
                if self.basis.without.is_none() {
                    kept.keep(self.shop, self.basis, standing.clone());
                }
                standing
            }
        };
        let most = self.wanted.most;
        let mut offers = standing.offers(&self.new, &self.windows, most + SPARE);
        if let Some(detail) = &self.detail {
            let mut found = 0;
            offers.retain(|offer| {
                let people = u32::try_from(offer.technicians.len()).unwrap_or(1);
                let open = found < most
                    && detail.forbidden_at(&self.handbook, offer.start, (people, &offer.van)).is_none();
                found += usize::from(open);
                open
            });
        }
        offers.truncate(most);
        Ok((offers, self.wanted, self.zone))
    }

    /// What nobody knows the length of is offered no window. Who asks for it can ask for something else; a job that is
    /// booked is what it is.
    fn without_length(self) -> Result<(Vec<Offer>, Wanted, Tz), ApiError> {
        match self.wanted.instead_of {
            Some(_) => Ok((Vec::new(), self.wanted, self.zone)),
            None => {
                let why = self.refused.unwrap_or_else(|| "nobody knows how long this work takes".into());
                Err(ApiError::field("/package", "not_possible", why))
            }
        }
    }
}

/// The offers as tickets, each with what stands at its place now.
fn tickets(db: &mut Db<'_>, offers: &[Offer], wanted: &Wanted, zone: Tz) -> Result<Vec<Ticket>, ApiError> {
    let mut tickets = Vec::with_capacity(offers.len());
    for offer in offers {
        let Ok(van) = offer.van.parse::<Id>() else { continue };
        let technicians: Vec<Id> = offer.technicians.iter().filter_map(|id| id.parse().ok()).collect();
        let at = |local: NaiveDateTime| instant(local, zone);
        let (start, finish) = (at(offer.start), at(offer.finish));
        tickets.push(Ticket {
            wanted: wanted.clone(),
            from: at(offer.from),
            to: at(offer.to),
            basis: basis(db, (van, &technicians), start, zone)?,
            van,
            technicians,
            start,
            finish,
            cost: offer.cost,
            offered_at: db.now,
        });
    }
    Ok(tickets)
}

/// A fingerprint of the van, the people, and all that stands with one of them on the day.
fn basis(
    db: &mut Db<'_>,
    (van, technicians): (Id, &[Id]),
    start: Instant,
    zone: Tz,
) -> Result<String, ApiError> {
    let on = start.local(zone).date();
    let (from, to) = span(on, on, zone);
    let day = jobs::of_day(db, from, to)?;
    let ids: Vec<Id> = day.iter().map(|job| job.id).collect();
    let crews = jobs::technicians(db, &ids)?;
    let shared = |crew: &[Id]| crew.iter().any(|id| technicians.contains(id));
    let mut standing: Vec<String> = Vec::new();
    for job in &day {
        if job.van == Some(van) || shared(crews.get(&job.id).map_or(&[], Vec::as_slice)) {
            standing.push(format!("{} {}", job.id, job.rev));
        }
    }
    for held in held_offers::live(db)? {
        let there = held.fields.start_at >= from && held.fields.start_at < to;
        if there && (held.fields.van == van || shared(&held.fields.technicians.0)) {
            standing.push(held.id.to_string());
        }
    }
    let van = vans::find(db, van)?.map(|van| (van.id, van.rev, van.fields.retired_at));
    let mut people = Vec::with_capacity(technicians.len());
    for id in technicians {
        people.push(people::find(db, *id)?.map(|person| (person.id, person.rev)));
    }
    let all = serde_json::to_vec(&(standing, van, people))?;
    Ok(digest(all))
}

impl Ticket {
    pub fn held(&self) -> HeldFields {
        HeldFields {
            vehicle: self.wanted.vehicle,
            package: self.wanted.package.clone(),
            options: Doc(self.wanted.options.clone()),
            booked_grade: self.wanted.booked_grade,
            window_from: self.from,
            window_to: self.to,
            van: self.van,
            technicians: Doc(self.technicians.clone()),
            start_at: self.start,
            finish_at: self.finish,
            cost: self.cost,
        }
    }

    /// Gives its place to a job.
    pub fn take(&self, db: &mut Db<'_>, job: &Job) -> Result<(), ApiError> {
        self.held().settle(db, job)
    }

    /// Nothing has changed where it counts on.
    pub fn still_holds(&self, db: &mut Db<'_>, zone: Tz) -> Result<bool, ApiError> {
        if db.now > self.offered_at.plus(GOOD_FOR) || self.start <= db.now {
            return Ok(false);
        }
        Ok(basis(db, (self.van, &self.technicians), self.start, zone)? == self.basis)
    }
}

impl HeldFields {
    /// Says who goes to a job and when, as it was offered, and promises the window.
    pub fn settle(&self, db: &mut Db<'_>, job: &Job) -> Result<(), ApiError> {
        let to = Assignment {
            van: Some(self.van),
            start_at: Some(self.start_at),
            technicians: self.technicians.0.clone(),
        };
        assign(db, job, &to)?;
        let promise = Promise {
            job: job.id,
            plan: None,
            promised_from: self.window_from,
            promised_to: self.window_to,
            frozen: false,
            made_at: db.now,
        };
        Ok(promises::put(db, &promise)?)
    }

    /// The job that it becomes.
    pub fn job(&self) -> JobFields {
        JobFields {
            other_windows: Doc(Vec::new()),
            vehicle: self.vehicle,
            package: self.package.clone(),
            options: self.options.clone(),
            window_from: self.window_from,
            window_to: self.window_to,
            booked_grade: self.booked_grade,
            note: None,
            rework_of: None,
            priority: 3,
            links: Doc(Vec::new()),
        }
    }
}
