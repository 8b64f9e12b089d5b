//! What a visit asks for, and what vans and people bring: rows made into what dispatch takes.

use crate::db::customers::Customer;
use crate::db::jobs::Job;
use crate::db::kinds::Id;
use crate::db::people::{Person, WorkDay};
use crate::db::promises::Promise;
use crate::db::round_settings::RoundSettings;
use crate::db::vans;
use chrono::{Datelike, NaiveDate, NaiveDateTime, NaiveTime};
use chrono_tz::Tz;
use domain::dispatch::{
    NoticeOf, Place, PromisedWindow, Refill, Technician, Van, Visit, VisitNotice, VisitStep,
};
use domain::handbook::{Estimate, Handbook, NoEstimate, Reach, Severity, estimate};
use domain::inspection::Grade;
use domain::plan::{JobPlan, Notice};
use domain::site::{HourRange, Site};
use domain::vehicle::VehicleClass;
use std::collections::BTreeMap;

/// Rules of these kinds speak about the hour of the work; the others are judged from van, crew and address.
const OF_THE_HOUR: [&str; 10] =
    ["heat", "sun", "evaporation", "wind", "cold", "freeze", "rain", "humidity", "stop", "time"];
/// Rules of these kinds are about what dispatch knows of the vans, crews and addresses themselves.
const JUDGED_HERE: [&str; 5] = ["water", "power", "crew", "neighbour", "product"];
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
    /// evenly (assumption). Work that the norms refuse has minutes that are no number: dispatch tells that, and sends
    /// nobody.
    pub fn by_norms(
        handbook: &Handbook,
        package: &str,
        grade: i32,
        class: VehicleClass,
        people: u32,
    ) -> Needs {
        let people = people.max(1);
        let mut needs = Needs { people, work_min: f64::NAN, ..Needs::default() };
        if let Ok(estimate) = estimated(handbook, package, grade, class) {
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

/// What the norms say of a package at a booked grade, or why they refuse it.
pub fn estimated(
    handbook: &Handbook,
    package: &str,
    grade: i32,
    class: VehicleClass,
) -> Result<Estimate, NoEstimate> {
    let grade = u8::try_from(grade).ok().and_then(Grade::new).unwrap_or(Grade::TYPICAL);
    estimate(handbook, package, class, grade)
}

/// Whether a rule of the planner speaks about the hour of the work.
pub fn is_of_the_hour(handbook: &Handbook, rule: &str) -> bool {
    handbook.rule(rule).is_some_and(|rule| OF_THE_HOUR.contains(&rule.category.as_str()))
}

/// Whether it speaks about the work as it was ordered; what dispatch judges from van, crew and address is left to it.
fn is_of_the_work(handbook: &Handbook, rule: &str) -> bool {
    match handbook.rule(rule) {
        Some(rule) => !JUDGED_HERE.contains(&rule.category.as_str()),
        // A package says itself what it is not for.
        None => handbook.package(rule).is_some(),
    }
}

/// What a plan says against weather and heat at its time, and against the work itself.
pub fn notices(handbook: &Handbook, plan: &JobPlan) -> Vec<VisitNotice> {
    let told = |notice: &Notice| {
        if is_of_the_hour(handbook, &notice.rule) {
            (notice.severity >= Severity::Warn).then_some(NoticeOf::Hour)
        } else {
            let blocks = notice.severity == Severity::Block && is_of_the_work(handbook, &notice.rule);
            blocks.then_some(NoticeOf::Work)
        }
    };
    let notices = plan.notices.iter().filter_map(|notice| Some((told(notice)?, notice)));
    notices
        .map(|(of, notice)| VisitNotice { of, rule: notice.rule.clone(), text: notice.text.clone() })
        .collect()
}

/// What a plan says against the work itself.
pub fn of_the_work(handbook: &Handbook, plan: &JobPlan) -> Vec<VisitNotice> {
    let mut notices = notices(handbook, plan);
    notices.retain(|notice| notice.of == NoticeOf::Work);
    notices
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
        partners: Vec::new(),
    }
}

/// The window that a customer was told.
pub fn told(promise: &Promise, zone: Tz) -> PromisedWindow {
    PromisedWindow { from: promise.promised_from.local(zone), to: promise.promised_to.local(zone) }
}

/// What a van brings. It fills up at the base, as fast as a hose flows, and where else the shop says.
pub fn carries(handbook: &Handbook, van: &vans::Van, depot: Place, settings: &RoundSettings) -> Van {
    let kit = &van.fields.kit.0;
    let by_hose_min = filling_min(handbook, kit.tank_l);
    let at_base = Refill { place: depot, minutes: by_hose_min };
    let elsewhere = settings.refill_places.iter().map(|there| Refill {
        place: place(Some((there.latitude, there.longitude))),
        minutes: there.minutes.unwrap_or(by_hose_min),
    });
    Van {
        id: van.id.to_string(),
        seats: u32::try_from(van.fields.seats).unwrap_or(1),
        tank_l: kit.tank_l,
        home: van.fields.home.as_ref().map(|home| place(Some((home.0.latitude, home.0.longitude)))),
        refills: std::iter::once(at_base).chain(elsewhere).collect(),
        equipment: kit.equipment.clone(),
        battery_kwh: kit.battery_kwh,
        generator: kit.equipment.iter().any(|id| id == "generator"),
        stock_ml: kit.stock_ml.clone(),
    }
}

/// Minutes of a hose for a tank.
fn filling_min(handbook: &Handbook, tank_l: f64) -> f64 {
    let hose = handbook.equipment.get("hose").and_then(|hose| hose.flow_l_min);
    let flow_l_min = hose.filter(|flow| *flow > 0.0);
    flow_l_min.map_or(REFILL_MIN, |flow| (tank_l / flow).min(600.0))
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

/// The spans of work of the day; who has no fixed hours is there all day. None on a day off.
pub fn hours(person: &Person, on: NaiveDate) -> Vec<HourRange> {
    let week: &[WorkDay] = &person.fields.hours.0;
    if person.fields.days_off.0.contains(&on) {
        return Vec::new();
    }
    if week.is_empty() {
        let end = NaiveTime::from_hms_opt(23, 59, 59).unwrap_or(NaiveTime::MIN);
        return vec![HourRange { from: NaiveTime::MIN, to: end }];
    }
    let today = week.iter().filter(|day| u32::from(day.weekday) == on.weekday().number_from_monday());
    let spans = joined(today.map(|day| (day.from, day.to)).collect());
    spans.into_iter().map(|(from, to)| HourRange { from, to }).collect()
}

/// The same spans in order, with those that touch or overlap made one.
pub fn joined<T: Copy + Ord>(mut spans: Vec<(T, T)>) -> Vec<(T, T)> {
    spans.sort_unstable();
    let mut apart: Vec<(T, T)> = Vec::new();
    for (from, to) in spans {
        match apart.last_mut() {
            Some(last) if from <= last.1 => last.1 = last.1.max(to),
            _ => apart.push((from, to)),
        }
    }
    apart
}

/// A place nobody knows is no place: dispatch reports it.
pub fn place(degrees: Option<(f64, f64)>) -> Place {
    let (latitude, longitude) = degrees.unwrap_or((f64::NAN, f64::NAN));
    Place::Globe { latitude, longitude }
}
