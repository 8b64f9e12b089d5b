//! Visits that have to do with those of other jobs: on another day, at the same time, with the same technician.

use super::DayProblem;
use super::conflict::{Conflict, ConflictCode};
use super::problem::{Partner, PartnerKind, Visit};
use super::rounds::minutes_between;
use crate::figure::Figure;
use chrono::{NaiveDate, NaiveDateTime};

/// Links that do not hold. Of two visits on the day both know of their link; it is told once.
pub(super) fn of(day: &DayProblem) -> Vec<Conflict> {
    let mut found: Vec<Conflict> = Vec::new();
    // That no van is set has been told; nothing else is asked of such a visit.
    for visit in day.visits.iter().filter(|visit| visit.van.is_some()) {
        let others = visit.partners.iter().filter(|partner| partner.job != visit.job);
        for conflict in others.filter_map(|partner| broken(visit, partner)) {
            if !found.contains(&conflict) {
                found.push(conflict);
            }
        }
    }
    found
}

/// In the same words whichever of the two is asked.
fn broken(visit: &Visit, partner: &Partner) -> Option<Conflict> {
    let own = (&visit.job, visit.start.map(|start| start.date()));
    let other = (&partner.job, partner.start.map(|start| start.date()));
    match partner.kind {
        PartnerKind::After { least_days, most_days } => days_apart(own, other, least_days, most_days),
        // A visit can do without the one that is to come after it.
        PartnerKind::Before { .. } if partner.start.is_none() => None,
        PartnerKind::Before { least_days, most_days } => days_apart(other, own, least_days, most_days),
        PartnerKind::Together => together(visit, partner),
        PartnerKind::SamePerson => same_person(visit, partner),
    }
}

/// A job, and the day on which it begins.
type Dated<'a> = (&'a String, Option<NaiveDate>);

fn days_apart((then, then_on): Dated, (first, first_on): Dated, least: u32, most: u32) -> Option<Conflict> {
    let (least, most) = (i64::from(least), i64::from(most.max(least)));
    let wanted = match (least, most) {
        (0, 0) => "on the day of".to_owned(),
        _ if least == most => format!("{} after", count(least)),
        _ => format!("{least} to {} after", count(most)),
    };
    let days = then_on.zip(first_on).map(|(then, first)| (then - first).num_days());
    let is = match days {
        Some(days) if (least..=most).contains(&days) => return None,
        Some(0) => "but both are on one day".to_owned(),
        Some(days) if days < 0 => format!("but comes {} before it", count(-days)),
        Some(days) => format!("but comes {} after it", count(days)),
        None if first_on.is_none() => "which has no start".to_owned(),
        None => "but has no start".to_owned(),
    };
    let named = [("least", Some(least)), ("most", Some(most)), ("apart", days)];
    let figures = named.into_iter().filter_map(|(name, days)| Some(Figure::new(name, days? as f64, "days")));
    Some(linked([then, first], format!("{then} goes {wanted} {first}, {is}."), figures.collect()))
}

fn count(days: i64) -> String {
    if days == 1 { "1 day".into() } else { format!("{days} days") }
}

fn together(visit: &Visit, partner: &Partner) -> Option<Conflict> {
    let mut both = [(&visit.job, visit.start), (&partner.job, partner.start)];
    both.sort();
    let [(one, starts), (other, other_starts)] = both;
    let mut figures = Vec::new();
    let why = match (starts, other_starts) {
        (None, _) => format!("but {one} has no start"),
        (_, None) => format!("but {other} has no start"),
        (Some(a), Some(b)) if a != b => {
            figures.push(Figure::new("apart", minutes_between(a.min(b), a.max(b)), "min"));
            format!("but are set to {} and {}", moment(a), moment(b))
        }
        _ => {
            let van = visit.van.as_ref().filter(|van| partner.van.as_ref() == Some(*van))?;
            format!("in two vans, but van {van} is set to both")
        }
    };
    Some(linked([one, other], format!("{one} and {other} begin at the same time, {why}."), figures))
}

fn moment(at: NaiveDateTime) -> String {
    at.format("%d %b %H:%M").to_string()
}

/// Nobody is missed where a crew is not known yet.
fn same_person(visit: &Visit, partner: &Partner) -> Option<Conflict> {
    let (crew, others) = (&visit.technicians, &partner.technicians);
    let shared = crew.is_empty() || others.is_empty() || crew.iter().any(|id| others.contains(id));
    let mut both = [&visit.job, &partner.job];
    both.sort();
    let text = format!("{} and {} want the same technician, and nobody goes to both.", both[0], both[1]);
    (!shared).then(|| linked(both, text, Vec::new()))
}

fn linked(jobs: [&String; 2], text: String, figures: Vec<Figure>) -> Conflict {
    Conflict { code: ConflictCode::Linked, jobs: jobs.map(String::clone).to_vec(), text, figures }
}
