//! Every reason why a day as assigned cannot hold, with its numbers.

use super::problem::{NoticeOf, Van, Visit, usable};
use super::rounds::{Round, Stop, rounds, visits_of};
use super::{DayProblem, Place, links, materials, people, place_rules, time};
use crate::figure::Figure;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use utoipa::ToSchema;

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Conflict {
    pub code: ConflictCode,
    /// The jobs concerned.
    pub jobs: Vec<String>,
    /// One plain sentence.
    pub text: String,
    /// The numbers used.
    pub figures: Vec<Figure>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ConflictCode {
    /// A number that cannot be; it was taken as nothing.
    BadNumber,
    /// No van is set.
    Unassigned,
    UnknownVan,
    UnknownTechnician,
    NoTechnician,
    /// The same vehicle twice on one day.
    Duplicate,
    DayOff,
    OutsideHours,
    SkillMissing,
    CrewTooSmall,
    Seats,
    /// Work that nobody, or no trainee, does alone.
    LoneWork,
    /// The window ends before it starts, or is shorter than the work.
    WindowTooShort,
    /// Arrives after the start that was set.
    Travel,
    /// Ends after the window.
    Late,
    /// Begins before the window, and nobody told the customer so.
    Early,
    /// Outside the narrower window that the customer was told when the rounds were published.
    PromiseBroken,
    VanOverlap,
    TechnicianOverlap,
    TankShort,
    PowerShort,
    EquipmentMissing,
    StockShort,
    SaturdayForbidden,
    GeneratorForbidden,
    MachineHours,
    WaterRestriction,
    /// A notice of the planner about weather or heat.
    Weather,
    /// The planner says that the work cannot be done as it was ordered, whatever the hour.
    WorkBlocked,
    /// Another visit that it goes with has no place, or one that does not go with its own.
    Linked,
    /// It could be served alone, but not beside what is worth more, or at a higher cost than that of leaving it out.
    NoRoom,
}

/// A visit together with its place in a round.
pub(super) struct Placed<'a> {
    pub visit: &'a Visit,
    pub van: &'a Van,
    pub stop: &'a Stop,
}

/// All conflicts of the day, by job and kind. An empty answer: the day holds as far as its numbers are true.
pub fn conflicts(day: &DayProblem) -> Vec<Conflict> {
    let rounds = rounds(day);
    let placed: Vec<Placed> = rounds.iter().flat_map(|round| place(day, round)).collect();
    let mut found = assignment(day);
    found.extend(day.visits.iter().flat_map(|v| time::window(v).into_iter().chain(noticed(v))));
    found.extend(day.visits.iter().flat_map(|v| people::abilities(day, v)));
    found.extend(placed.iter().flat_map(|p| time::of(day, p).into_iter().chain(place_rules::of(p))));
    found.extend(time::overlaps(day, &placed));
    found.extend(links::of(day));
    found.extend(rounds.iter().filter_map(|r| people::seats(day, r)));
    found.extend(rounds.iter().flat_map(|r| time::way_home(day, r)));
    for van in &day.vans {
        let of_van: Vec<&Placed> = placed.iter().filter(|p| p.van.id == van.id).collect();
        found.extend(materials::of(day, van, &of_van));
    }
    found.sort_by(|a, b| (&a.jobs, a.code, &a.text).cmp(&(&b.jobs, b.code, &b.text)));
    found
}

/// The visits of a round beside their stops: both are in the same order.
fn place<'a>(day: &'a DayProblem, round: &'a Round) -> Vec<Placed<'a>> {
    let Some(van) = day.van(&round.van) else { return Vec::new() };
    let stops = round.stops.iter().filter(|s| s.job.is_some());
    visits_of(day, van).into_iter().zip(stops).map(|(visit, stop)| Placed { visit, van, stop }).collect()
}

impl Conflict {
    pub(super) fn of(code: ConflictCode, visit: &Visit, text: String, figures: Vec<Figure>) -> Conflict {
        Conflict { code, jobs: vec![visit.job.clone()], text: format!("{}: {text}", visit.job), figures }
    }
}

fn assignment(day: &DayProblem) -> Vec<Conflict> {
    let mut found = Vec::new();
    for visit in &day.visits {
        let mut say = |code, text: String| found.push(Conflict::of(code, visit, text, Vec::new()));
        match &visit.van {
            None => say(ConflictCode::Unassigned, "no van is set.".into()),
            Some(id) if day.van(id).is_none() => {
                say(ConflictCode::UnknownVan, format!("there is no van {id} on this day."));
            }
            Some(_) => {}
        }
        if visit.technicians.is_empty() {
            say(ConflictCode::NoTechnician, "no technician is set.".into());
        }
        for id in visit.technicians.iter().filter(|id| day.technician(id).is_none()) {
            say(ConflictCode::UnknownTechnician, format!("there is no technician {id}."));
        }
    }
    for visit in &day.visits {
        let van = visit.van.as_ref().and_then(|id| day.van(id));
        found.extend(unusable(visit, van.map_or(day.depot, |van| day.base_of(van))));
    }
    found.extend(duplicates(day));
    found
}

/// Numbers that cannot be, and a way from the base that nobody can reckon.
fn unusable(visit: &Visit, base: Place) -> Vec<Conflict> {
    let numbers = bad_numbers(visit).into_iter();
    let mut texts: Vec<String> =
        numbers.map(|(name, value)| format!("{name} is {value} and was taken as nothing.")).collect();
    if !visit.place.is_sound() || !base.is_sound() || !comparable(&base, &visit.place) {
        texts.push("its place or its van's base cannot be used, so travel counts as none.".into());
    }
    let say = |text| Conflict::of(ConflictCode::BadNumber, visit, text, Vec::new());
    texts.into_iter().map(say).collect()
}

/// What speaks against one visit by this van and the crew it names at any hour, with a full tank: what is left out
/// depends on the hour, or on the other visits of the day.
pub(super) fn at_any_hour(day: &DayProblem, van: &Van, visit: &Visit) -> Vec<Conflict> {
    let (at, tank_l) = (visit.window_from, usable(van.tank_l));
    let stop = Stop {
        job: Some(visit.job.clone()),
        place: visit.place,
        travel_km: 0.0,
        travel_min: 0.0,
        arrives_at: at,
        starts_at: at,
        finishes_at: at,
        wait_min: 0.0,
        tank_before_l: tank_l,
        tank_after_l: tank_l,
    };
    let placed = Placed { visit, van, stop: &stop };
    let mut found = unusable(visit, day.base_of(van));
    found.extend(people::abilities(day, visit));
    found.extend(materials::of(day, van, &[&placed]));
    found.extend(place_rules::water(&placed));
    found.sort_by(|a, b| (a.code, &a.text).cmp(&(b.code, &b.text)));
    found
}

fn bad_numbers(visit: &Visit) -> Vec<(&'static str, f64)> {
    let mut numbers =
        vec![("work_min", visit.work_min), ("water_l", visit.water_l), ("machine_kwh", visit.machine_kwh)];
    numbers.extend(visit.product_ml.values().map(|&ml| ("product_ml", ml)));
    numbers.retain(|(_, value)| !value.is_finite() || *value < 0.0);
    numbers
}

/// Both on the globe, or both on the plane.
fn comparable(one: &Place, other: &Place) -> bool {
    std::mem::discriminant(one) == std::mem::discriminant(other)
}

fn duplicates(day: &DayProblem) -> Vec<Conflict> {
    let mut by_vehicle: BTreeMap<&str, Vec<&Visit>> = BTreeMap::new();
    for visit in &day.visits {
        by_vehicle.entry(&visit.vehicle).or_default().push(visit);
    }
    let twice = by_vehicle.into_iter().filter(|(_, visits)| visits.len() > 1);
    twice
        .map(|(vehicle, visits)| {
            let jobs: Vec<String> = visits.iter().map(|v| v.job.clone()).collect();
            Conflict {
                code: ConflictCode::Duplicate,
                text: format!("Vehicle {vehicle} has {} jobs on one day: {}.", jobs.len(), jobs.join(", ")),
                figures: vec![Figure::new("jobs", jobs.len() as f64, "jobs")],
                jobs,
            }
        })
        .collect()
}

fn noticed(visit: &Visit) -> Vec<Conflict> {
    let notices = visit.notices.iter();
    notices
        .map(|notice| {
            let code = match notice.of {
                NoticeOf::Hour => ConflictCode::Weather,
                NoticeOf::Work => ConflictCode::WorkBlocked,
            };
            Conflict::of(code, visit, format!("{} ({})", notice.text, notice.rule), Vec::new())
        })
        .collect()
}
