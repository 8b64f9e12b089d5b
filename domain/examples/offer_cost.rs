//! How long an answer of windows takes: 100 published visits in 10 rounds on two days, and a new visit each time.
//!
//! `cargo run --release -p domain --example offer_cost -- [questions]`
//!
//! Prints the median, the 99th percentile and the longest, in milliseconds.

#![allow(
    clippy::disallowed_methods,
    clippy::disallowed_macros,
    reason = "a program that measures: it reads its arguments, asks the time and prints"
)]

use chrono::{NaiveDate, NaiveTime, TimeDelta};
use domain::dispatch::planning::{
    Published, Request, RosterDay, RosteredTechnician, RosteredVan, RoundsProblem, offers,
};
use domain::dispatch::{Place, Refill, Technician, Van, Visit};
use domain::site::{HourRange, Site};
use std::collections::BTreeMap;
use std::error::Error;
use std::time::Instant;

const VANS: usize = 5;
const VISITS_A_ROUND: usize = 10;

fn main() -> Result<(), Box<dyn Error>> {
    let questions: usize = std::env::args().nth(1).map_or(Ok(200), |text| text.parse())?;
    let problem = problem()?;
    let time = |hour| NaiveTime::from_hms_opt(hour, 0, 0).ok_or("no such hour");
    let windows = [
        HourRange { from: time(7)?, to: time(10)? },
        HourRange { from: time(10)?, to: time(13)? },
        HourRange { from: time(13)?, to: time(17)? },
    ];
    let mut ms: Vec<f64> = Vec::new();
    let mut offered = 0;
    for nth in 0..questions {
        let mut new = request(&problem.days, 1000 + nth, time(7)?, time(17)?);
        new.visit.window_to += TimeDelta::days(1);
        let began = Instant::now();
        offered += offers(&problem, &new, &windows, 5).len();
        ms.push(began.elapsed().as_secs_f64() * 1000.0);
    }
    ms.sort_by(f64::total_cmp);
    let at = |share: f64| ms[((ms.len() - 1) as f64 * share) as usize];
    println!(
        "{questions} questions, {offered} windows: p50 {:.1} ms, p99 {:.1} ms, longest {:.1} ms",
        at(0.5),
        at(0.99),
        at(1.0)
    );
    Ok(())
}

/// A place on a plane 8 km wide, by number.
fn place(nth: usize) -> Place {
    let x = (nth * 7919 % 200) as f64 / 25.0 - 4.0;
    let y = (nth * 104_729 % 200) as f64 / 25.0 - 4.0;
    Place::Plane { x_km: x, y_km: y }
}

fn problem() -> Result<RoundsProblem, Box<dyn Error>> {
    let first = NaiveDate::from_ymd_opt(2031, 3, 18).ok_or("no such day")?;
    let days = vec![first, first + TimeDelta::days(1)];
    let time = |hour| NaiveTime::from_hms_opt(hour, 0, 0).ok_or("no such hour");
    let hours = HourRange { from: time(6)?, to: time(20)? };
    let mut requests = Vec::new();
    for (day, on) in days.iter().enumerate() {
        for van in 0..VANS {
            for nth in 0..VISITS_A_ROUND {
                let number = (day * VANS + van) * VISITS_A_ROUND + nth;
                let mut request = request(&days, number, time(6)?, time(20)?);
                let start = on.and_time(time(7)?) + TimeDelta::minutes(nth as i64 * 70);
                (request.visit.window_from, request.visit.window_to) =
                    (on.and_time(time(6)?), on.and_time(time(20)?));
                request.published = Some(Published {
                    van: format!("V{van}"),
                    technicians: vec![format!("T{van}")],
                    start,
                    frozen: false,
                });
                requests.push(request);
            }
        }
    }
    let technician = |nth: usize| RosteredTechnician {
        technician: Technician {
            id: format!("T{nth}"),
            name: format!("T{nth}"),
            skills: vec!["wash".into()],
            trainee: false,
            hours: Vec::new(),
        },
        usual_van: Some(format!("V{}", nth % VANS)),
        roster: days.iter().map(|&on| RosterDay { on, hours: vec![hours] }).collect(),
    };
    let van = |nth: usize| RosteredVan {
        van: Van {
            id: format!("V{nth}"),
            seats: 2,
            tank_l: 400.0,
            home: None,
            refills: vec![Refill { place: place(0), minutes: 15.0 }],
            equipment: vec!["pressure_washer".into()],
            battery_kwh: 20.0,
            generator: false,
            stock_ml: BTreeMap::new(),
        },
        out_on: Vec::new(),
    };
    let depot = Place::Plane { x_km: 0.0, y_km: 0.0 };
    Ok(RoundsProblem {
        rest: None,
        technicians: (0..2 * VANS).map(technician).collect(),
        vans: (0..VANS).map(van).collect(),
        requests,
        ..RoundsProblem::new(days, depot)
    })
}

fn request(days: &[NaiveDate], number: usize, from: NaiveTime, to: NaiveTime) -> Request {
    let on = days.first().copied().unwrap_or_default();
    Request {
        visit: Visit {
            job: format!("J{number}"),
            vehicle: format!("K{number}"),
            package: "P1".into(),
            place: place(number),
            window_from: on.and_time(from),
            window_to: on.and_time(to),
            promised: None,
            start: None,
            van: None,
            technicians: Vec::new(),
            work_min: 20.0,
            hands: 1,
            steps: Vec::new(),
            platform: false,
            water_l: 60.0,
            machine_kwh: 0.2,
            product_ml: BTreeMap::new(),
            equipment: Vec::new(),
            site: Site::default(),
            notices: Vec::new(),
            partners: Vec::new(),
        },
        priority: 3,
        promised: false,
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
