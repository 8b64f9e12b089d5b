//! Who can do a visit, and with whom.

use super::conflict::{Conflict, ConflictCode};
use super::problem::Visit;
use super::rounds::{Round, visits_of};
use super::{DayProblem, Technician};
use crate::figure::Figure;
use crate::handbook::Skill;
use std::collections::BTreeSet;

/// Skills, number of hands, and work that is not done alone.
pub(super) fn abilities(day: &DayProblem, visit: &Visit) -> Vec<Conflict> {
    let crew: Vec<&Technician> = visit.crew(day).collect();
    if crew.is_empty() {
        return Vec::new();
    }
    let mut found: Vec<Conflict> = skills(visit, &crew).into_iter().chain(hands(visit, &crew)).collect();
    found.extend(lone_work(visit, &crew));
    found
}

fn skills(visit: &Visit, crew: &[&Technician]) -> Vec<Conflict> {
    let mut needed: BTreeSet<Skill> = visit.steps.iter().filter_map(|step| step.skill).collect();
    needed.extend(visit.platform.then_some(Skill::Platform));
    let names = names(crew);
    let missing = needed.into_iter().filter(|need| !crew.iter().any(|t| need.is_met_by(&t.skills)));
    missing
        .map(|need| {
            let text = format!("{} needs the skill {}, which {names} lacks.", visit.package, need.word());
            Conflict::of(ConflictCode::SkillMissing, visit, text, Vec::new())
        })
        .collect()
}

fn hands(visit: &Visit, crew: &[&Technician]) -> Option<Conflict> {
    let (need, have) = (visit.hands, crew.len() as u32);
    (have < need).then(|| {
        let text = format!("needs {need} people and has {have}.");
        let figures = vec![
            Figure::new("people needed", f64::from(need), "persons"),
            Figure::new("people set", f64::from(have), "persons"),
        ];
        Conflict::of(ConflictCode::CrewTooSmall, visit, text, figures)
    })
}

/// No platform alone (rule R31, common practice); no acid, iron or platform by trainees alone.
fn lone_work(visit: &Visit, crew: &[&Technician]) -> Vec<Conflict> {
    let mut found = Vec::new();
    let mut say = |text: String| found.push(Conflict::of(ConflictCode::LoneWork, visit, text, Vec::new()));
    if visit.platform && crew.len() < 2 {
        say(format!("a platform needs a second person beside {} (R31).", names(crew)));
    }
    let barred: Vec<&str> = visit.steps.iter().filter(|s| !s.trainee_alone).map(|s| s.id.as_str()).collect();
    if crew.iter().all(|t| t.trainee) && (visit.platform || !barred.is_empty()) {
        let what = if barred.is_empty() { "a platform".to_owned() } else { barred.join(", ") };
        say(format!("{} is in training and does not do {what} alone.", names(crew)));
    }
    found
}

/// More people at once than the van has seats. Where its next visit is another crew's, who share nobody with those
/// before them, the van has been handed over.
pub(super) fn seats(day: &DayProblem, round: &Round) -> Option<Conflict> {
    let van = day.van(&round.van)?;
    let visits = visits_of(day, van);
    let same_trip = |one: &&Visit, next: &&Visit| {
        let (one, next) = (&one.technicians, &next.technicians);
        one.is_empty() || next.is_empty() || one.iter().any(|id| next.contains(id))
    };
    let on_board = |trip: &[&Visit]| -> usize {
        let people: BTreeSet<&String> = trip.iter().flat_map(|visit| &visit.technicians).collect();
        people.len()
    };
    let fullest = visits.chunk_by(same_trip).max_by_key(|trip| on_board(trip))?;
    let people = on_board(fullest) as u32;
    (people > van.seats).then(|| Conflict {
        code: ConflictCode::Seats,
        jobs: fullest.iter().map(|visit| visit.job.clone()).collect(),
        text: format!("Van {} has {} seats and {people} people are set to it.", van.id, van.seats),
        figures: vec![
            Figure::new("seats", f64::from(van.seats), "persons"),
            Figure::new("people", f64::from(people), "persons"),
        ],
    })
}

fn names(crew: &[&Technician]) -> String {
    crew.iter().map(|t| t.name.as_str()).collect::<Vec<_>>().join(" and ")
}
