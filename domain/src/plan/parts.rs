//! The pieces of work that are given to hands: a step, or one side of it.

use super::crew::CrewSize;
use super::draft::{Draft, Work};
use super::places::{Cells, Places, Side, corners};
use crate::handbook::{Basis, Chemistry, Phase, Reach};

/// A step shorter than this is not shared, minutes (assumption: handing over takes longer than it saves).
const SHARED_FROM_MIN: f64 = 4.0;
/// Pieces beyond which only longer steps are shared, so that the answer still comes at once.
const MOST_PARTS: usize = 72;

/// One activity of the scheduler.
pub(super) struct Part {
    /// Position of its step in the draft.
    pub work: usize,
    pub side: Side,
    pub cells: Cells,
    /// Corners its cells lie in; none for work that has no place on the vehicle.
    pub corners: u8,
    pub crews: Vec<CrewSize>,
    /// Technicians who may do it alone or lead it, and those who may only help.
    pub able: Vec<usize>,
    pub helpers: Vec<usize>,
}

/// Steps are cut into left and right, wheels into front and rear.
pub(super) fn parts(draft: &Draft, places: &Places) -> Vec<Part> {
    let mut from_min = SHARED_FROM_MIN;
    loop {
        let parts: Vec<Part> =
            (0..draft.work.len()).flat_map(|at| of_step(draft, places, at, from_min)).collect();
        if parts.len() <= MOST_PARTS || from_min > 1e6 {
            return parts;
        }
        from_min *= 1.5;
    }
}

fn of_step(draft: &Draft, places: &Places, at: usize, from_min: f64) -> Vec<Part> {
    let work = &draft.work[at];
    let (able, helpers) = hands(draft, work);
    let overhead = draft.facts.factor("second_person_overhead");
    let part = |side: Side, crews: Vec<CrewSize>| {
        let cells = if work.treats_zones() { places.cells(&work.zones, side) } else { 0 };
        let (able, helpers) = (able.clone(), helpers.clone());
        Part { work: at, side, cells, corners: corners(cells), crews, able, helpers }
    };
    if work.minutes <= 0.0 {
        return vec![part(Side::All, vec![size(0, 0.0)])];
    }
    let two = work.step.hands_max > 1;
    let long = work.minutes >= from_min;
    // One leads, the other holds the platform or learns.
    if on_platform(draft, work) && two && able.len() + helpers.len() > 1 {
        return vec![part(Side::All, vec![size(2, work.minutes / 2.0 * overhead)])];
    }
    if two && long && (able.len() < 2 || !work.treats_zones()) {
        return vec![part(Side::All, sizes(work.minutes, overhead, able.len() + helpers.len()))];
    }
    let on_vehicle = !matches!(work.step.phase, Phase::Arrive | Phase::Finish) || two;
    if !long || !work.treats_zones() || !on_vehicle {
        return vec![part(Side::All, vec![size(1, work.minutes)])];
    }
    let sides = if work.step.basis == Basis::PerWheel {
        [Side::Front, Side::Rear]
    } else {
        [Side::Left, Side::Right]
    };
    let shares = sides.map(|side| share(draft, places, work, side));
    if shares.iter().any(|&share| share <= 0.0) {
        return vec![part(Side::All, vec![size(1, work.minutes)])];
    }
    let factor = if two { overhead } else { 1.0 };
    let sum = shares[0] + shares[1];
    let minutes = |share: f64| work.minutes * share / sum * factor;
    sides.iter().zip(shares).map(|(&side, share)| part(side, vec![size(1, minutes(share))])).collect()
}

/// Area of the step on one side.
fn share(draft: &Draft, places: &Places, work: &Work, side: Side) -> f64 {
    let area = |zone| draft.facts.zone(zone).map_or(0.0, |z| z.row.area_m2);
    work.zones.iter().map(|&zone| area(zone) * places.share(zone, side)).sum()
}

/// Times are counted in steps of this many seconds: finer ones cost search and mean nothing.
pub(super) const TICK_S: u32 = 5;

fn size(hands: usize, minutes: f64) -> CrewSize {
    let ticks = (minutes * 60.0 / f64::from(TICK_S)).round().clamp(0.0, 1e6);
    CrewSize { hands, duration_s: ticks as u32 * TICK_S }
}

fn sizes(minutes: f64, overhead: f64, people: usize) -> Vec<CrewSize> {
    let alone = size(1, minutes);
    if people > 1 { vec![alone, size(2, minutes / 2.0 * overhead)] } else { vec![alone] }
}

fn on_platform(draft: &Draft, work: &Work) -> bool {
    let high = |zone| draft.facts.zone(zone).is_some_and(|z| z.row.reach == Reach::Platform);
    work.zones.iter().any(|&zone| high(zone))
}

/// Who may do or lead a step: whoever has its skills, but no trainee where acid, iron or a platform is in play.
fn hands(draft: &Draft, work: &Work) -> (Vec<usize>, Vec<usize>) {
    let crew = draft.facts.input.crew;
    let hazardous = draft.facts.uses_chemistry(work, &[Chemistry::Acid, Chemistry::Thioglycolate])
        || on_platform(draft, work) && work.step.hands_max > 1;
    (0..crew.len()).partition(|&at| {
        let skilled = work.step.skill.is_none_or(|skill| skill.is_met_by(&crew[at].skills));
        skilled && !(hazardous && crew[at].trainee)
    })
}

/// The technicians who may do or lead a step.
pub(super) fn leaders(draft: &Draft, work: &Work) -> Vec<usize> {
    hands(draft, work).0
}
