//! Vans and crews that can do the same: what speaks against a visit at any hour is judged once for each kind, not once
//! for each pair of a van and a crew.

use super::problem::{Request, RoundsProblem};
use crate::dispatch::{Conflict, DayProblem, Technician, Van, at_any_hour};
use chrono::NaiveDate;

/// A van and a crew.
pub type Class = (usize, Vec<usize>);

/// One van with one crew, standing for all that are like it.
pub struct Kind {
    /// A day without visits on which only these people are there.
    day: DayProblem,
    van: Van,
}

impl Kind {
    fn of(problem: &RoundsProblem, (van, crew): &Class) -> Kind {
        let technicians = crew.iter().map(|&who| problem.technicians[who].technician.clone()).collect();
        Kind {
            day: DayProblem {
                on: problem.days.first().copied().unwrap_or(NaiveDate::MIN),
                depot: problem.depot,
                travel: problem.travel,
                matrix: None,
                margins: problem.margins,
                technicians,
                vans: Vec::new(),
                visits: Vec::new(),
            },
            van: problem.vans[*van].van.clone(),
        }
    }

    /// What speaks against a visit whatever the hour: skills, hands, kit, water, power, stock, the place's rules.
    pub fn against(&self, request: &Request) -> Vec<Conflict> {
        let mut visit = request.visit.clone();
        visit.technicians = self.day.technicians.iter().map(|technician| technician.id.clone()).collect();
        at_any_hour(&self.day, &self.van, &visit)
    }
}

/// The kinds in the order in which the classes come to them, and the kind of each class.
pub fn kinds(problem: &RoundsProblem, classes: &[Class]) -> (Vec<Kind>, Vec<usize>) {
    let vans = like(problem.vans.iter().map(|rostered| {
        let van = &rostered.van;
        let base = van.home.unwrap_or(problem.depot);
        let like_it = Van {
            id: String::new(),
            home: None,
            // A place that is no number is not like itself.
            refills: van.places_to_refill().cloned().collect(),
            ..van.clone()
        };
        (base.is_sound(), std::mem::discriminant(&base), like_it)
    }));
    let people = like(problem.technicians.iter().map(|rostered| Technician {
        id: String::new(),
        name: String::new(),
        hours: Vec::new(),
        ..rostered.technician.clone()
    }));
    let alike = |(van, crew): &Class| {
        let mut crew: Vec<usize> = crew.iter().map(|&who| people[who]).collect();
        crew.sort_unstable();
        (vans[*van], crew)
    };
    let mut known: Vec<(usize, Vec<usize>)> = Vec::new();
    let mut kinds = Vec::new();
    let kind_of = classes.iter().map(|class| {
        let alike = alike(class);
        known.iter().position(|known| *known == alike).unwrap_or_else(|| {
            known.push(alike);
            kinds.push(Kind::of(problem, class));
            known.len() - 1
        })
    });
    let kind_of = kind_of.collect();
    (kinds, kind_of)
}

/// For each thing the place of the first that is the same; one that is not even like itself is alone.
fn like<T: PartialEq>(things: impl Iterator<Item = T>) -> Vec<usize> {
    let all: Vec<T> = things.collect();
    let first = |(nth, one): (usize, &T)| all.iter().position(|other| other == one).unwrap_or(nth);
    all.iter().enumerate().map(first).collect()
}
