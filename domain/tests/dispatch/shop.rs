//! A small invented shop: two vans, two technicians, two days, on a plane.

use chrono::{NaiveDate, NaiveDateTime, NaiveTime};
use domain::dispatch::planning::{
    CostSplit, Published, Request, RosterDay, RosteredTechnician, RosteredVan, RoundsPlan, RoundsProblem,
    StopKind,
};
use domain::dispatch::{Place, Refill, Technician, Van, Visit, VisitStep};
use domain::handbook::Handbook;
use domain::site::{HourRange, Site};

/// A Wednesday and a Thursday.
pub fn days() -> Vec<NaiveDate> {
    ["2031-03-19", "2031-03-20"].map(|day| day.parse().expect("a date")).to_vec()
}

pub fn clock(time: &str) -> NaiveTime {
    NaiveTime::parse_from_str(time, "%H:%M").expect("a time")
}

/// On the first day.
pub fn at(time: &str) -> NaiveDateTime {
    days()[0].and_time(clock(time))
}

pub fn hours(from: &str, to: &str) -> HourRange {
    HourRange { from: clock(from), to: clock(to) }
}

pub fn plane(x_km: f64, y_km: f64) -> Place {
    Place::Plane { x_km, y_km }
}

pub fn words(list: &[&str]) -> Vec<String> {
    list.iter().map(|word| word.to_string()).collect()
}

pub fn steps(ids: &[&str]) -> Vec<VisitStep> {
    ids.iter().map(|id| VisitStep::read(Handbook::standard(), id).expect("a step of the handbook")).collect()
}

pub fn technician(id: &str, usual_van: &str) -> RosteredTechnician {
    RosteredTechnician {
        technician: Technician {
            id: id.into(),
            name: id.into(),
            skills: words(&["wash", "decon", "clay"]),
            trainee: false,
            hours: Vec::new(),
        },
        usual_van: Some(usual_van.into()),
        roster: days().into_iter().map(|on| RosterDay { on, hours: vec![hours("07:00", "16:00")] }).collect(),
    }
}

pub fn van(id: &str, tank_l: f64) -> RosteredVan {
    RosteredVan {
        van: Van {
            id: id.into(),
            seats: 2,
            tank_l,
            home: None,
            refills: vec![Refill { place: plane(0.0, 0.0), minutes: 15.0 }],
            equipment: words(&["pressure_washer", "runoff_kit"]),
            battery_kwh: 5.0,
            generator: false,
            stock_ml: [("iron_remover".to_owned(), 2000.0)].into(),
        },
        out_on: Vec::new(),
    }
}

pub fn request(job: &str, place: Place, from: &str, to: &str) -> Request {
    Request {
        visit: Visit {
            job: job.into(),
            vehicle: format!("vehicle of {job}"),
            package: "P2".into(),
            place,
            window_from: at(from),
            window_to: at(to),
            promised: None,
            start: None,
            van: None,
            technicians: Vec::new(),
            work_min: 90.0,
            hands: 1,
            steps: steps(&["B05", "C02", "C03", "D03", "D05"]),
            platform: false,
            water_l: 120.0,
            machine_kwh: 0.5,
            product_ml: [("iron_remover".to_owned(), 400.0)].into(),
            equipment: Vec::new(),
            site: Site::default(),
            notices: Vec::new(),
            partners: Vec::new(),
        },
        priority: 3,
        promised: true,
        work_people: 1,
        crew_min: Vec::new(),
        work_spans: Vec::new(),
        barred: Vec::new(),
        closed_starts: Vec::new(),
        linked_days: Vec::new(),
        wanted: Vec::new(),
        published: None,
    }
}

pub fn problem(requests: Vec<Request>) -> RoundsProblem {
    RoundsProblem {
        technicians: vec![technician("Nimbo", "V1"), technician("Obbin", "V2")],
        vans: vec![van("V1", 400.0), van("V2", 250.0)],
        requests,
        ..RoundsProblem::new(days(), plane(0.0, 0.0))
    }
}

/// Five visits that two vans serve in a day.
pub fn sound() -> RoundsProblem {
    problem(vec![
        request("J1", plane(3.0, 4.0), "08:00", "11:00"),
        request("J2", plane(4.0, 4.0), "09:00", "13:00"),
        request("J3", plane(-3.0, 4.0), "08:00", "12:00"),
        request("J4", plane(-4.0, 3.0), "10:00", "16:00"),
        request("J5", plane(3.0, -4.0), "11:00", "16:00"),
    ])
}

/// A place on the first day.
pub fn stands(van: &str, technicians: &[&str], start: &str) -> Published {
    Published { van: van.into(), technicians: words(technicians), start: at(start), frozen: false }
}

/// The rounds of a plan become the published ones.
pub fn publish(problem: &mut RoundsProblem, plan: &RoundsPlan) {
    for round in &plan.rounds {
        for stop in round.stops.iter().filter(|stop| stop.kind == StopKind::Visit) {
            let mut requests = problem.requests.iter_mut();
            let request =
                requests.find(|request| stop.job.as_ref() == Some(&request.visit.job)).expect("a request");
            request.published = Some(Published {
                van: round.van.clone(),
                technicians: round.technicians.clone(),
                start: stop.starts_at,
                frozen: false,
            });
        }
    }
}

/// The named parts of a cost, added up.
pub fn parts_of(cost: &CostSplit) -> f64 {
    cost.travel
        + cost.late
        + cost.overtime
        + cost.refills
        + cost.change
        + cost.fairness
        + cost.parted
        + cost.unserved
}
