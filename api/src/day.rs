//! A day of the shop as dispatch sees it, gathered from jobs, plans, vans, people and addresses.

use crate::db::customers::{self, Customer};
use crate::db::jobs::{self, Job, JobStatus};
use crate::db::kinds::{Id, Instant};
use crate::db::people::{self, Person, WorkDay};
use crate::db::shops::Shop;
use crate::db::vehicles::{self, Vehicle};
use crate::db::{Db, plans, shops, vans};
use crate::error::ApiError;
use crate::norms;
use crate::plan_input;
use chrono::{Datelike, NaiveDate, NaiveTime};
use chrono_tz::Tz;
use domain::dispatch::{
    Conflict, DayProblem, Margins, Place, Refill, Technician, Travel, Van, Visit, VisitNotice, VisitStep,
};
use domain::handbook::{Handbook, Reach, Severity, estimate};
use domain::inspection::Grade;
use domain::plan::{ExtraWork, JobPlan, Norms, PlanFacts, Start};
use domain::site::HourRange;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// Rules of these kinds speak about the hour of the work; the others are judged from van, crew and address.
const OF_THE_HOUR: [&str; 10] =
    ["heat", "sun", "evaporation", "wind", "cold", "freeze", "rain", "humidity", "stop", "time"];
/// Minutes of a refill where the handbook has no flow of a hose (assumption).
const REFILL_MIN: f64 = 15.0;
/// More vans or people than any shop has.
const ALL: i64 = 10_000;

/// The problem of a day and the names of what is in it.
pub struct Day {
    pub problem: DayProblem,
    /// What people call the jobs and vans, by id.
    names: BTreeMap<String, String>,
    /// What is needed to plan the visits that have no plan for their time and crew, by their place in the problem.
    unplanned: Vec<(usize, PlanFacts, Start)>,
    norms: Arc<Norms>,
}

/// The zone of the shop.
pub fn zone_of_shop(shop: &Shop) -> Result<Tz, ApiError> {
    let name = &shop.fields.time_zone;
    name.parse().map_err(|_| ApiError::Internal(format!("stored time zone {name:?}")))
}

/// The day on which a job stands: that of its planned start, else of its window's beginning.
pub fn day_of(job: &Job, zone: Tz) -> NaiveDate {
    job.start_at.unwrap_or(job.fields.window_from).local(zone).date()
}

/// Reads a day of the shop's calendar. What takes long is left to [`Day::complete`].
pub fn read(db: &mut Db<'_>, handbook: &Handbook, on: NaiveDate) -> Result<Day, ApiError> {
    let shop = shops::find(db)?.ok_or(ApiError::NotFound)?;
    let zone = zone_of_shop(&shop)?;
    let mut people = people::list(db, None, ALL)?;
    people.retain(|person| person.disabled_at.is_none());
    let mut vans = vans::list(db, None, ALL)?;
    vans.retain(|van| van.fields.retired_at.is_none());
    let depot = place(shop.fields.settings.0.base.map(|base| (base.latitude, base.longitude)));
    let mut day = Day {
        problem: DayProblem {
            on,
            depot,
            travel: Travel::default(),
            margins: Margins::read(handbook),
            technicians: people.iter().map(|person| technician(person, on)).collect(),
            vans: vans.iter().map(|van| carries(handbook, van, depot)).collect(),
            visits: Vec::new(),
        },
        names: vans.into_iter().map(|van| (van.id.to_string(), van.fields.name)).collect(),
        unplanned: Vec::new(),
        norms: norms::learned(db)?,
    };
    let (from, to) = span(on, on, zone);
    let rows = jobs::of_day(db, from, to)?;
    let ids: Vec<Id> = rows.iter().map(|job| job.id).collect();
    let mut crews = jobs::technicians(db, &ids)?;
    for job in &rows {
        let crew = crews.remove(&job.id).unwrap_or_default();
        let names = people.iter().filter(|p| crew.contains(&p.id)).map(|p| p.fields.name.as_str());
        day.add(db, handbook, job, &crew, names.collect(), zone)?;
    }
    Ok(day)
}

/// The instants at which the first day begins and the last one ends.
pub fn span(first: NaiveDate, last: NaiveDate, zone: Tz) -> (Instant, Instant) {
    let begins = |day: NaiveDate| {
        Instant::from_utc(domain::civil::resolve(day.and_time(NaiveTime::MIN), zone).naive_utc())
    };
    (begins(first), begins(last.succ_opt().unwrap_or(last)))
}

impl Day {
    fn add(
        &mut self,
        db: &mut Db<'_>,
        handbook: &Handbook,
        job: &Job,
        crew: &[Id],
        crew_names: BTreeSet<&str>,
        zone: Tz,
    ) -> Result<(), ApiError> {
        let vehicle = vehicles::find(db, job.fields.vehicle)?.ok_or(ApiError::NotFound)?;
        let customer = customers::find(db, job.customer)?.ok_or(ApiError::NotFound)?;
        let mut visit = visit(job, &customer, crew, zone);
        let stored = plans::find(db, job.id, None)?.map(|plan| plan.document.0);
        match &stored {
            Some(plan) => by_plan(&mut visit, handbook, plan),
            None => by_norms(&mut visit, handbook, job, &vehicle, crew.len()),
        }
        if matches!(job.status.0, JobStatus::Booked | JobStatus::Planned) {
            match plan_input::gather(db, job, ExtraWork::default(), &self.norms) {
                Ok((facts, start)) => {
                    if !stored.is_some_and(|plan| fits(&plan, &start, &crew_names)) {
                        self.unplanned.push((self.problem.visits.len(), facts, start));
                    }
                }
                // No van or no crew: there is nothing to plan with.
                Err(ApiError::Conflict { .. }) => {}
                Err(error) => return Err(error),
            }
        }
        self.names.insert(visit.job.clone(), format!("{} for {}", visit.package, vehicle.fields.label));
        self.problem.visits.push(visit);
        Ok(())
    }

    /// Plans what has no plan for its time and crew yet, so that minutes, water and weather are those of this day.
    /// The plans are not stored: that is for whoever plans the job.
    pub fn complete(mut self, handbook: &Handbook) -> Day {
        for (place, facts, start) in std::mem::take(&mut self.unplanned) {
            // What contradicts itself cannot be planned; then the visit keeps what is known of it.
            if let (Ok(plan), Some(visit)) =
                (facts.plan(handbook, &start), self.problem.visits.get_mut(place))
            {
                by_plan(visit, handbook, &plan);
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
            for (id, name) in &self.names {
                if conflict.text.contains(id) {
                    conflict.text = conflict.text.replace(id, name);
                }
            }
        }
        conflicts
    }
}

/// The visit without its work.
fn visit(job: &Job, customer: &Customer, crew: &[Id], zone: Tz) -> Visit {
    let site = customer.fields.site.0.clone();
    Visit {
        job: job.id.to_string(),
        vehicle: job.fields.vehicle.to_string(),
        package: job.fields.package.clone(),
        place: place(site.latitude.zip(site.longitude)),
        window_from: job.fields.window_from.local(zone),
        window_to: job.fields.window_to.local(zone),
        start: job.start_at.map(|at| at.local(zone)),
        van: job.van.map(|van| van.to_string()),
        technicians: crew.iter().map(Id::to_string).collect(),
        work_min: 0.0,
        hands: 1,
        steps: Vec::new(),
        platform: false,
        water_l: 0.0,
        machine_kwh: 0.0,
        product_ml: BTreeMap::new(),
        equipment: Vec::new(),
        site,
        notices: Vec::new(),
    }
}

/// The plan was made for this start and these people.
fn fits(plan: &JobPlan, start: &Start, crew: &BTreeSet<&str>) -> bool {
    let turns = plan.lines.iter().flat_map(|line| &line.turns);
    plan.start == start.at && turns.map(|turn| turn.technician.as_str()).collect::<BTreeSet<_>>() == *crew
}

/// What a plan says of the work. Notices are kept when they speak about weather and heat at this time.
fn by_plan(visit: &mut Visit, handbook: &Handbook, plan: &JobPlan) {
    let class = plan.vehicle_class;
    let reach = |zone| handbook.zone(class, zone).map(|row| row.reach);
    visit.work_min = plan.totals.elapsed_minutes;
    visit.steps = plan.lines.iter().filter_map(|line| VisitStep::read(handbook, &line.step)).collect();
    visit.platform =
        plan.lines.iter().flat_map(|line| &line.zones).any(|zone| reach(*zone) == Some(Reach::Platform));
    visit.water_l = plan.totals.water_l;
    visit.machine_kwh = plan.totals.machine_kwh;
    visit.product_ml = plan.totals.product_ml.clone();
    let of_the_hour =
        |rule: &str| handbook.rule(rule).is_some_and(|rule| OF_THE_HOUR.contains(&rule.category.as_str()));
    let notices = plan.notices.iter().filter(|n| n.severity >= Severity::Warn && of_the_hour(&n.rule));
    visit.notices = notices.map(|n| VisitNotice { rule: n.rule.clone(), text: n.text.clone() }).collect();
    needs(visit, handbook);
}

/// What the norms say of the booked grade, where nobody has planned yet. Two people are taken to halve the time
/// (assumption).
fn by_norms(visit: &mut Visit, handbook: &Handbook, job: &Job, vehicle: &Vehicle, crew: usize) {
    let class = vehicle.fields.document.0.class;
    let grade = u8::try_from(job.fields.booked_grade).ok().and_then(Grade::new).unwrap_or(Grade::TYPICAL);
    if let Ok(estimate) = estimate(handbook, &job.fields.package, class, grade) {
        visit.work_min = estimate.work_min / crew.max(1) as f64;
        visit.water_l = estimate.water_washer_l;
    }
    let usual = handbook.steps_of(&job.fields.package).filter(|row| row.in_estimate);
    visit.steps = usual.filter_map(|row| VisitStep::read(handbook, &row.step)).collect();
    visit.platform = handbook.zones_of(class).any(|zone| zone.in_envelope && zone.reach == Reach::Platform);
    needs(visit, handbook);
}

/// Hands and machines of the steps. Hand tools are taken to be on every van (assumption).
fn needs(visit: &mut Visit, handbook: &Handbook) {
    let steps: Vec<_> = visit.steps.iter().filter_map(|step| handbook.step(&step.id)).collect();
    let is_machine = |id: &&String| handbook.equipment.get(id).is_some_and(|row| row.power_kw.is_some());
    let mut machines: Vec<String> =
        steps.iter().flat_map(|step| step.equipment.iter().filter(is_machine)).cloned().collect();
    machines.sort();
    machines.dedup();
    visit.hands = steps.iter().map(|step| step.hands_min).max().unwrap_or(1);
    visit.equipment = machines;
}

/// A van fills up at the base, as fast as a hose flows.
fn carries(handbook: &Handbook, van: &vans::Van, depot: Place) -> Van {
    let kit = &van.fields.kit.0;
    let hose = handbook.equipment.get("hose").and_then(|hose| hose.flow_l_min);
    let flow_l_min = hose.filter(|flow| *flow > 0.0);
    Van {
        id: van.id.to_string(),
        seats: u32::try_from(van.fields.seats).unwrap_or(1),
        tank_l: kit.tank_l,
        refill: Some(Refill {
            place: depot,
            minutes: flow_l_min.map_or(REFILL_MIN, |flow| (kit.tank_l / flow).min(600.0)),
        }),
        equipment: kit.equipment.clone(),
        battery_kwh: kit.battery_kwh,
        generator: kit.equipment.iter().any(|id| id == "generator"),
        stock_ml: kit.stock_ml.clone(),
    }
}

fn technician(person: &Person, on: NaiveDate) -> Technician {
    Technician {
        id: person.id.to_string(),
        name: person.fields.name.clone(),
        skills: person.fields.skills.0.clone(),
        trainee: person.fields.trainee,
        hours: hours(&person.fields.hours.0, on),
    }
}

/// From the first to the last hour of the day; who has no fixed hours is there all day.
fn hours(week: &[WorkDay], on: NaiveDate) -> Option<HourRange> {
    if week.is_empty() {
        let end = NaiveTime::from_hms_opt(23, 59, 59).unwrap_or(NaiveTime::MIN);
        return Some(HourRange { from: NaiveTime::MIN, to: end });
    }
    let today = week.iter().filter(|day| u32::from(day.weekday) == on.weekday().number_from_monday());
    let from = today.clone().map(|day| day.from).min()?;
    Some(HourRange { from, to: today.map(|day| day.to).max()? })
}

/// A place nobody knows is no place: dispatch reports it.
fn place(degrees: Option<(f64, f64)>) -> Place {
    let (latitude, longitude) = degrees.unwrap_or((f64::NAN, f64::NAN));
    Place::Globe { latitude, longitude }
}
