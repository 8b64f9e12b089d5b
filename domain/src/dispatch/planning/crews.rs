//! Which crews could drive which van on which day.

use super::problem::{RosteredTechnician, RosteredVan, RoundsProblem};
use crate::site::HourRange;
use chrono::NaiveDate;

/// A van with a crew on a day, as a candidate: used shifts share neither van nor people.
#[derive(Debug, Clone, PartialEq)]
pub struct Candidate {
    pub on: NaiveDate,
    pub van: usize,
    /// Ascending places in the problem's list.
    pub crew: Vec<usize>,
    /// When all of them are at work.
    pub hours: HourRange,
}

/// Where there are at most this many technicians, every crew of one or two is tried in every van; otherwise those who
/// usually drive it (assumption: more would not be searched well).
const EVERYBODY_UP_TO: usize = 6;
/// Of how many people crews are tried for a van whose usual people are all away (assumption).
const STAND_INS: usize = 4;
/// Largest crew that is put together; larger ones only where they were published (assumption).
pub const LARGEST: u32 = 2;

/// In the order of days, vans and crews.
pub fn candidates(problem: &RoundsProblem) -> Vec<Candidate> {
    let mut all = Vec::new();
    for &on in &problem.days {
        for (nth, van) in problem.vans.iter().enumerate() {
            if van.out_on.contains(&on) {
                continue;
            }
            for crew in crews(problem, van, on) {
                let hours = crew.iter().filter_map(|&who| at_work(&problem.technicians[who], on));
                let range = hours.reduce(|a, b| HourRange { from: a.from.max(b.from), to: a.to.min(b.to) });
                if let Some(hours) = range.filter(|range| range.from < range.to) {
                    all.push(Candidate { on, van: nth, crew, hours });
                }
            }
        }
    }
    all
}

fn at_work(technician: &RosteredTechnician, on: NaiveDate) -> Option<HourRange> {
    technician.roster.iter().find(|day| day.on == on).map(|day| day.hours)
}

/// Who takes a van whose usual people are away: first those without a van of their own on that day, then those who are
/// not alone in theirs.
fn stand_ins(problem: &RoundsProblem, people: &[usize], on: NaiveDate) -> Vec<usize> {
    let own_van = |who: usize| problem.technicians[who].usual_van.as_deref();
    let goes = |id: &str| problem.vans.iter().any(|van| van.van.id == id && !van.out_on.contains(&on));
    let shared = |id: &str| people.iter().filter(|&&who| own_van(who) == Some(id)).count() > 1;
    let mut order = people.to_vec();
    order.sort_by_cached_key(|&who| {
        let own = own_van(who).filter(|id| goes(id));
        (own.is_some(), own.is_some_and(|id| !shared(id)), who)
    });
    order.truncate(STAND_INS);
    order.sort_unstable();
    order
}

fn crews(problem: &RoundsProblem, van: &RosteredVan, on: NaiveDate) -> Vec<Vec<usize>> {
    let seats = van.van.seats as usize;
    let there = |&who: &usize| at_work(&problem.technicians[who], on).is_some();
    let usual = |&who: &usize| problem.technicians[who].usual_van.as_deref() == Some(&van.van.id);
    let mut people: Vec<usize> = (0..problem.technicians.len()).filter(there).collect();
    if problem.technicians.len() > EVERYBODY_UP_TO {
        if people.iter().any(usual) {
            people.retain(usual);
        } else {
            people = stand_ins(problem, &people, on);
        }
    }
    let mut crews: Vec<Vec<usize>> = people.iter().map(|&who| vec![who]).collect();
    if van.van.seats.min(LARGEST) >= 2 {
        for (nth, &one) in people.iter().enumerate() {
            crews.extend(people[nth + 1..].iter().map(|&other| vec![one, other]));
        }
    }
    let published = problem.requests.iter().filter_map(|request| request.published.as_ref());
    for place in published.filter(|place| place.van == van.van.id && place.start.date() == on) {
        let position = |id: &String| problem.technicians.iter().position(|who| who.technician.id == *id);
        let mut crew: Vec<usize> = place.technicians.iter().filter_map(position).collect();
        crew.sort_unstable();
        crew.dedup();
        if !crew.is_empty() && crew.len() <= seats && crew.iter().all(there) && !crews.contains(&crew) {
            crews.push(crew);
        }
    }
    crews.retain(|crew| crew.len() <= seats);
    crews
}

#[cfg(test)]
mod tests {
    use super::super::problem::RosterDay;
    use super::*;
    use crate::dispatch::{Place, Technician, Van};
    use chrono::NaiveTime;

    fn van(nth: usize) -> RosteredVan {
        let van = Van {
            id: format!("V{nth}"),
            seats: 2,
            tank_l: 300.0,
            refill: None,
            equipment: Vec::new(),
            battery_kwh: 0.0,
            generator: false,
            stock_ml: Default::default(),
        };
        RosteredVan { van, home: None, out_on: Vec::new() }
    }

    fn technician(nth: usize, usual_van: Option<usize>, roster: &[RosterDay]) -> RosteredTechnician {
        let id = format!("T{nth}");
        RosteredTechnician {
            technician: Technician { name: id.clone(), id, skills: Vec::new(), trainee: false, hours: None },
            usual_van: usual_van.map(|nth| format!("V{nth}")),
            roster: roster.to_vec(),
        }
    }

    /// Ten people in five vans, two of no van, and the only driver of the sixth van away.
    fn shop() -> RoundsProblem {
        let on = NaiveDate::default();
        let hours = HourRange { from: NaiveTime::MIN, to: NaiveTime::from_hms_opt(9, 0, 0).expect("a time") };
        let work = [RosterDay { on, hours }];
        let mut technicians: Vec<_> = (0..10).map(|nth| technician(nth, Some(1 + nth / 2), &work)).collect();
        technicians.extend([technician(10, None, &work), technician(11, None, &work)]);
        technicians.push(technician(12, Some(6), &[]));
        let depot = Place::Plane { x_km: 0.0, y_km: 0.0 };
        RoundsProblem { technicians, vans: (1..=6).map(van).collect(), ..RoundsProblem::new(vec![on], depot) }
    }

    #[test]
    fn a_van_without_its_people_gets_few_stand_ins() {
        let all = candidates(&shop());
        let crews =
            |van| -> Vec<&[usize]> { all.iter().filter(|c| c.van == van).map(|c| &c.crew[..]).collect() };
        let usual: [&[usize]; 3] = [&[0], &[1], &[0, 1]];
        assert_eq!(crews(0), usual);
        // Those of no van, then the first of those who are not alone in theirs.
        let stand_ins: [&[usize]; 10] =
            [&[0], &[1], &[10], &[11], &[0, 1], &[0, 10], &[0, 11], &[1, 10], &[1, 11], &[10, 11]];
        assert_eq!(crews(5), stand_ins);
    }
}
