//! What a visit asks for, and what vans and people bring: rows made into what dispatch takes.

use crate::db::customers::Customer;
use crate::db::jobs::Job;
use crate::db::kinds::Id;
use crate::db::people::{Person, WorkDay};
use crate::db::promises::Promise;
use crate::db::vans;
use chrono::{Datelike, NaiveDate, NaiveDateTime, NaiveTime};
use chrono_tz::Tz;
use domain::dispatch::{Place, PromisedWindow, Refill, Technician, Van, Visit, VisitNotice, VisitStep};
use domain::handbook::{Handbook, Reach, Severity, estimate};
use domain::inspection::Grade;
use domain::plan::JobPlan;
use domain::site::{HourRange, Site};
use domain::vehicle::VehicleClass;
use std::collections::BTreeMap;

/// Rules of these kinds speak about the hour of the work; the others are judged from van, crew and address.
const OF_THE_HOUR: [&str; 10] =
    ["heat", "sun", "evaporation", "wind", "cold", "freeze", "rain", "humidity", "stop", "time"];
/// Minutes of a refill where the handbook has no flow of a hose (assumption).
const REFILL_MIN: f64 = 15.0;

/// What the work of a visit asks for.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Needs {
    /// Minutes on site for `people`.
    pub work_min: f64,
    pub people: u32,
    steps: Vec<VisitStep>,
    platform: bool,
    water_l: f64,
    machine_kwh: f64,
    product_ml: BTreeMap<String, f64>,
    hands: u32,
    equipment: Vec<String>,
}

impl Needs {
    /// What a plan says of the work.
    pub fn of_plan(handbook: &Handbook, plan: &JobPlan) -> Needs {
        let class = plan.vehicle_class;
        let reach = |zone| handbook.zone(class, zone).map(|row| row.reach);
        let mut people: Vec<&str> =
            plan.lines.iter().flat_map(|line| &line.turns).map(|turn| turn.technician.as_str()).collect();
        people.sort_unstable();
        people.dedup();
        let needs = Needs {
            work_min: plan.totals.elapsed_minutes,
            people: people.len().max(1) as u32,
            steps: plan.lines.iter().filter_map(|line| VisitStep::read(handbook, &line.step)).collect(),
            platform: plan
                .lines
                .iter()
                .flat_map(|line| &line.zones)
                .any(|zone| reach(*zone) == Some(Reach::Platform)),
            water_l: plan.totals.water_l,
            machine_kwh: plan.totals.machine_kwh,
            product_ml: plan.totals.product_ml.clone(),
            ..Needs::default()
        };
        needs.with_hands(handbook)
    }

    /// What the norms say of a booked grade, where nobody has planned yet. So many people are taken to share the time
    /// evenly (assumption).
    pub fn by_norms(
        handbook: &Handbook,
        package: &str,
        grade: i32,
        class: VehicleClass,
        people: u32,
    ) -> Needs {
        let grade = u8::try_from(grade).ok().and_then(Grade::new).unwrap_or(Grade::TYPICAL);
        let people = people.max(1);
        let mut needs = Needs { people, ..Needs::default() };
        if let Ok(estimate) = estimate(handbook, package, class, grade) {
            needs.work_min = estimate.work_min / f64::from(people);
            needs.water_l = estimate.water_washer_l;
        }
        let usual = handbook.steps_of(package).filter(|row| row.in_estimate);
        needs.steps = usual.filter_map(|row| VisitStep::read(handbook, &row.step)).collect();
        needs.platform =
            handbook.zones_of(class).any(|zone| zone.in_envelope && zone.reach == Reach::Platform);
        needs.with_hands(handbook)
    }

    /// Hands and machines of the steps. Hand tools are taken to be on every van (assumption).
    fn with_hands(mut self, handbook: &Handbook) -> Needs {
        let steps: Vec<_> = self.steps.iter().filter_map(|step| handbook.step(&step.id)).collect();
        let is_machine = |id: &&String| handbook.equipment.get(id).is_some_and(|row| row.power_kw.is_some());
        let mut machines: Vec<String> =
            steps.iter().flat_map(|step| step.equipment.iter().filter(is_machine)).cloned().collect();
        machines.sort();
        machines.dedup();
        self.hands = steps.iter().map(|step| step.hands_min).max().unwrap_or(1);
        self.equipment = machines;
        self
    }

    pub fn apply(&self, visit: &mut Visit) {
        let needs = self.clone();
        visit.work_min = needs.work_min;
        visit.steps = needs.steps;
        visit.platform = needs.platform;
        visit.water_l = needs.water_l;
        visit.machine_kwh = needs.machine_kwh;
        visit.product_ml = needs.product_ml;
        visit.hands = needs.hands;
        visit.equipment = needs.equipment;
    }
}

/// Whether a rule of the planner speaks about the hour of the work.
pub fn is_of_the_hour(handbook: &Handbook, rule: &str) -> bool {
    handbook.rule(rule).is_some_and(|rule| OF_THE_HOUR.contains(&rule.category.as_str()))
}

/// What a plan says against weather and heat at its time.
pub fn notices(handbook: &Handbook, plan: &JobPlan) -> Vec<VisitNotice> {
    let serious =
        plan.notices.iter().filter(|n| n.severity >= Severity::Warn && is_of_the_hour(handbook, &n.rule));
    serious.map(|n| VisitNotice { rule: n.rule.clone(), text: n.text.clone() }).collect()
}

/// A visit without its work, whoever goes.
pub fn visit(job: &Job, customer: &Customer, zone: Tz) -> Visit {
    let window = (job.fields.window_from.local(zone), job.fields.window_to.local(zone));
    bare_visit(job.id, job.fields.vehicle, &job.fields.package, &customer.fields.site.0, window)
}

/// The same for something that is no job yet.
pub fn bare_visit(
    id: Id,
    vehicle: Id,
    package: &str,
    site: &Site,
    (window_from, window_to): (NaiveDateTime, NaiveDateTime),
) -> Visit {
    Visit {
        job: id.to_string(),
        vehicle: vehicle.to_string(),
        package: package.to_owned(),
        place: place(site.latitude.zip(site.longitude)),
        window_from,
        window_to,
        promised: None,
        start: None,
        van: None,
        technicians: Vec::new(),
        work_min: 0.0,
        hands: 1,
        steps: Vec::new(),
        platform: false,
        water_l: 0.0,
        machine_kwh: 0.0,
        product_ml: BTreeMap::new(),
        equipment: Vec::new(),
        // Whom to ask for the gate is no matter of the rounds.
        site: Site { access_note: None, ..site.clone() },
        notices: Vec::new(),
    }
}

/// The window that a customer was told.
pub fn told(promise: &Promise, zone: Tz) -> PromisedWindow {
    PromisedWindow { from: promise.promised_from.local(zone), to: promise.promised_to.local(zone) }
}

/// A van fills up at the base, as fast as a hose flows.
pub fn carries(handbook: &Handbook, van: &vans::Van, depot: Place) -> Van {
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

/// Somebody on a day.
pub fn technician(person: &Person, on: NaiveDate) -> Technician {
    Technician {
        id: person.id.to_string(),
        name: person.fields.name.clone(),
        skills: person.fields.skills.0.clone(),
        trainee: person.fields.trainee,
        hours: hours(person, on),
    }
}

/// From the first to the last hour of the day; who has no fixed hours is there all day. None on a day off.
pub fn hours(person: &Person, on: NaiveDate) -> Option<HourRange> {
    let week: &[WorkDay] = &person.fields.hours.0;
    if person.fields.days_off.0.contains(&on) {
        return None;
    }
    if week.is_empty() {
        let end = NaiveTime::from_hms_opt(23, 59, 59).unwrap_or(NaiveTime::MIN);
        return Some(HourRange { from: NaiveTime::MIN, to: end });
    }
    let today = week.iter().filter(|day| u32::from(day.weekday) == on.weekday().number_from_monday());
    let from = today.clone().map(|day| day.from).min()?;
    Some(HourRange { from, to: today.map(|day| day.to).max()? })
}

/// A place nobody knows is no place: dispatch reports it.
pub fn place(degrees: Option<(f64, f64)>) -> Place {
    let (latitude, longitude) = degrees.unwrap_or((f64::NAN, f64::NAN));
    Place::Globe { latitude, longitude }
}
