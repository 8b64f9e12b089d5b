//! Invented rounds of any size for measuring: the same numbers give the same shop, visits and days.

use chrono::{NaiveDate, NaiveDateTime, NaiveTime, TimeDelta};
use domain::dispatch::planning::{
    Request, RosterDay, RosteredTechnician, RosteredVan, RoundsProblem, VisitLink, WorkSpan,
};
use domain::dispatch::{Place, Refill, Technician, Van, Visit};
use domain::site::{HourRange, Site};
use std::collections::BTreeMap;

/// How much is invented.
#[derive(Debug, Clone, Copy)]
pub struct Size {
    pub visits: usize,
    pub vans: usize,
    pub days: usize,
}

/// Xorshift (Marsaglia 2003, doi 10.18637/jss.v008.i14).
struct Chance(u64);

impl Chance {
    fn below(&mut self, bound: u64) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 33) % bound.max(1)
    }

    fn percent(&mut self, share: u64) -> bool {
        self.below(100) < share
    }

    /// On a plane 30 km wide, a third of it in the middle 6 km.
    fn place(&mut self) -> Place {
        let half = if self.percent(33) { 30 } else { 150 };
        let mut km = || (self.below(2 * half + 1) as f64 - half as f64) / 10.0;
        Place::Plane { x_km: km(), y_km: km() }
    }
}

/// A shop with one technician for each van and a second one for every other, five days of work each in seven.
pub fn problem(size: Size, seed: u64) -> RoundsProblem {
    let mut chance = Chance(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1);
    let days: Vec<NaiveDate> = (0..size.days as i64).map(|day| first_day() + TimeDelta::days(day)).collect();
    RoundsProblem {
        technicians: (0..size.vans + size.vans / 2).map(|nth| technician(nth, size.vans, &days)).collect(),
        vans: (0..size.vans).map(|nth| van(nth, &mut chance)).collect(),
        requests: (0..size.visits).map(|nth| request(nth, &days, &mut chance)).collect(),
        links: (1..size.visits / 50).map(|nth| link(nth * 50)).collect(),
        ..RoundsProblem::new(days, Place::Plane { x_km: 0.0, y_km: 0.0 })
    }
}

/// A Monday.
fn first_day() -> NaiveDate {
    NaiveDate::from_ymd_opt(2031, 3, 17).unwrap_or_default()
}

fn clock(hour: u32) -> NaiveTime {
    NaiveTime::from_hms_opt(hour, 0, 0).unwrap_or_default()
}

fn technician(nth: usize, vans: usize, days: &[NaiveDate]) -> RosteredTechnician {
    let skills: &[&str] =
        if nth.is_multiple_of(3) { &["wash", "decon", "polish"] } else { &["wash", "decon"] };
    let at_work = HourRange { from: clock(7 + (nth % 2) as u32), to: clock(16 + (nth % 2) as u32) };
    let works = |(day, _): &(usize, &NaiveDate)| (day + nth) % 7 < 5;
    RosteredTechnician {
        technician: Technician {
            id: format!("T{nth}"),
            name: format!("T{nth}"),
            skills: skills.iter().map(|skill| skill.to_string()).collect(),
            trainee: false,
            hours: Vec::new(),
        },
        usual_van: Some(format!("V{}", nth % vans)),
        roster: days
            .iter()
            .enumerate()
            .filter(works)
            .map(|(_, &on)| RosterDay { on, hours: vec![at_work] })
            .collect(),
    }
}

fn van(nth: usize, chance: &mut Chance) -> RosteredVan {
    RosteredVan {
        van: Van {
            id: format!("V{nth}"),
            seats: 2,
            tank_l: 300.0 + chance.below(3) as f64 * 100.0,
            home: chance.percent(30).then(|| chance.place()),
            refills: vec![Refill { place: Place::Plane { x_km: 0.0, y_km: 0.0 }, minutes: 15.0 }],
            equipment: vec!["pressure_washer".into()],
            battery_kwh: 10.0,
            generator: nth.is_multiple_of(2),
            stock_ml: [("iron_remover".to_owned(), 2000.0)].into(),
        },
        out_on: Vec::new(),
    }
}

/// Half in a window of three hours, most others on one day, some at any time; work gets longer in the afternoon for some.
fn request(nth: usize, days: &[NaiveDate], chance: &mut Chance) -> Request {
    let on = days[chance.below(days.len() as u64) as usize];
    let begins = 7 + chance.below(7) as u32;
    let (from, to) = match chance.below(10) {
        0..5 => (on.and_time(clock(begins)), on.and_time(clock(begins + 4))),
        5..9 => (on.and_time(clock(7)), on.and_time(clock(18))),
        _ => (days[0].and_time(clock(7)), days[days.len() - 1].and_time(clock(18))),
    };
    let heat = |day: &NaiveDate| WorkSpan {
        from: day.and_time(clock(12)),
        to: day.and_time(clock(17)),
        factor_from: 1.0,
        factor_to: 1.3,
    };
    let slower: Vec<WorkSpan> = if chance.percent(30) { days.iter().map(heat).collect() } else { Vec::new() };
    Request {
        visit: visit(nth, chance, from, to),
        priority: 1 + chance.below(5) as u8,
        promised: chance.percent(50),
        work_people: 1,
        crew_min: Vec::new(),
        work_spans: slower,
        barred: Vec::new(),
        closed_starts: Vec::new(),
        linked_days: Vec::new(),
        wanted: Vec::new(),
        published: None,
    }
}

fn visit(nth: usize, chance: &mut Chance, from: NaiveDateTime, to: NaiveDateTime) -> Visit {
    Visit {
        job: format!("J{nth}"),
        vehicle: format!("K{nth}"),
        package: "P1".into(),
        place: chance.place(),
        window_from: from,
        window_to: to,
        promised: None,
        start: None,
        van: None,
        technicians: Vec::new(),
        work_min: 40.0 + chance.below(12) as f64 * 10.0,
        hands: 1,
        steps: Vec::new(),
        platform: false,
        water_l: 40.0 + chance.below(12) as f64 * 10.0,
        machine_kwh: 0.5,
        product_ml: BTreeMap::from([("iron_remover".to_owned(), 100.0 * chance.below(4) as f64)]),
        equipment: Vec::new(),
        site: Site::default(),
        notices: Vec::new(),
        partners: Vec::new(),
    }
}

fn link(nth: usize) -> VisitLink {
    VisitLink::SamePerson { one: format!("J{nth}"), other: format!("J{}", nth - 1) }
}
