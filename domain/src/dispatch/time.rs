//! Windows, promised starts, working hours and overlaps.

use super::conflict::{Conflict, ConflictCode, Placed};
use super::problem::{Span, Visit, usable};
use super::rounds::{Round, Stop, later, minutes_between};
use super::{DayProblem, Technician};
use crate::figure::Figure;
use chrono::NaiveDateTime;

/// A window that cannot hold its work, wherever the van is.
pub(super) fn window(visit: &Visit) -> Option<Conflict> {
    let (window, work) = (minutes_between(visit.window_from, visit.window_to), usable(visit.work_min));
    let text = if window <= 0.0 {
        format!("the window ends at {} and starts at {}.", visit.window_to, visit.window_from)
    } else if work > window {
        format!("the window is {window:.0} min and the work takes {work:.0} min.")
    } else {
        return None;
    };
    let figures = vec![Figure::new("window", window, "min"), Figure::new("work", work, "min")];
    Some(Conflict::of(ConflictCode::WindowTooShort, visit, text, figures))
}

pub(super) fn of(day: &DayProblem, placed: &Placed) -> Vec<Conflict> {
    let mut found: Vec<Conflict> =
        late(placed).into_iter().chain(early(placed)).chain(too_far(placed)).collect();
    found.extend(promise(placed));
    for technician in placed.visit.crew(day) {
        found.extend(hours(day, placed, technician));
    }
    found
}

/// Ends after the window, although the window is long enough; or starts after it.
fn late(placed: &Placed) -> Option<Conflict> {
    let Placed { visit, stop, .. } = placed;
    let window = minutes_between(visit.window_from, visit.window_to);
    let fits = usable(visit.work_min) <= window;
    if stop.finishes_at <= visit.window_to || window <= 0.0 || (!fits && stop.starts_at <= visit.window_to) {
        return None;
    }
    let late = minutes_between(visit.window_to, stop.finishes_at);
    let text = format!(
        "arrives {}, starts {}, ends {}, which is {late:.0} min after its window.",
        clock(stop.arrives_at),
        clock(stop.starts_at),
        clock(stop.finishes_at)
    );
    let figures = vec![Figure::new("late", late, "min"), Figure::new("travel", stop.travel_min, "min")];
    Some(Conflict::of(ConflictCode::Late, visit, text, figures))
}

/// Begins before the window, unless the customer was told so.
fn early(placed: &Placed) -> Option<Conflict> {
    let Placed { visit, stop, .. } = placed;
    let early = minutes_between(stop.starts_at, visit.window_from);
    let told = visit.promised.is_some_and(|told| told.from <= stop.starts_at);
    (early > 0.0 && !told).then(|| {
        let text = format!("starts {}, {early:.0} min before its window opens.", clock(stop.starts_at));
        Conflict::of(ConflictCode::Early, visit, text, vec![Figure::new("early", early, "min")])
    })
}

/// Outside what the customer was told.
fn promise(placed: &Placed) -> Option<Conflict> {
    let Placed { visit, stop, .. } = placed;
    let told = visit.promised?;
    let (early, late) =
        (minutes_between(stop.starts_at, told.from), minutes_between(told.to, stop.finishes_at));
    (early > 0.0 || late > 0.0).then(|| {
        let text = format!(
            "the customer was told {} to {}; it is {} to {}.",
            told.from.format("%d %b %H:%M"),
            clock(told.to),
            stop.starts_at.format("%d %b %H:%M"),
            clock(stop.finishes_at)
        );
        let figures = vec![Figure::new("outside the promise", early.max(late), "min")];
        Conflict::of(ConflictCode::PromiseBroken, visit, text, figures)
    })
}

/// Cannot be there at the start that was set.
fn too_far(placed: &Placed) -> Option<Conflict> {
    let Placed { visit, stop, .. } = placed;
    let start = visit.start.filter(|&start| stop.arrives_at > start)?;
    let late = minutes_between(start, stop.arrives_at);
    let text = format!(
        "set to start at {}, but the van arrives at {} after {:.0} min of travel, {late:.0} min late.",
        clock(start),
        clock(stop.arrives_at),
        stop.travel_min
    );
    let figures = vec![Figure::new("late", late, "min"), Figure::new("travel", stop.travel_min, "min")];
    Some(Conflict::of(ConflictCode::Travel, visit, text, figures))
}

/// On the way there or at work outside every span of somebody's hours. Who has time before the start may drive later:
/// what lies between two spans counts only where nobody can wait through it.
fn hours(day: &DayProblem, placed: &Placed, technician: &Technician) -> Option<Conflict> {
    let Placed { visit, stop, .. } = placed;
    let name = &technician.name;
    let spans: Vec<Span> = technician.spans(day.on).collect();
    let (Some(first), Some(last)) = (spans.first(), spans.last()) else {
        let text = format!("{name} has the day off.");
        return Some(Conflict::of(ConflictCode::DayOff, visit, text, Vec::new()));
    };
    let (way, work) = ((leaves(stop), stop.arrives_at), (stop.starts_at, stop.finishes_at));
    let drives =
        |span: &Span| minutes_between(span.0.max(way.0), span.1.min(work.0)) >= minutes_between(way.0, way.1);
    let works = spans.iter().any(|span| span.0 <= work.0 && work.1 <= span.1);
    if works && spans.iter().any(drives) {
        return None;
    }
    let (early, over) = (minutes_between(way.0, first.0), minutes_between(last.1, work.1));
    let (text, outside) = if over > 0.0 {
        (format!("ends {}, {over:.0} min after {name}'s hours.", clock(work.1)), over.max(early))
    } else if early > 0.0 {
        (format!("leaves {}, {early:.0} min before {name}'s hours.", clock(way.0)), early)
    } else {
        let (doing, busy) = if works { ("is on the way", way) } else { ("works", work) };
        let (gap, minutes) = spans.windows(2).find_map(|pair| {
            let gap = (pair[0].1, pair[1].0);
            Some((gap, shared_minutes(gap, busy)?))
        })?;
        let [from, to, off, on] = [busy.0, busy.1, gap.0, gap.1].map(clock);
        (format!("{doing} {from} to {to}, but {name} is not at work {off} to {on}."), minutes)
    };
    let figures = vec![Figure::new("outside hours", outside, "min")];
    Some(Conflict::of(ConflictCode::OutsideHours, visit, text, figures))
}

/// The last visit ends within hours, the way home does not.
pub(super) fn way_home(day: &DayProblem, round: &Round) -> Vec<Conflict> {
    let Some((last, van)) = round.stops.last().zip(day.van(&round.van)) else { return Vec::new() };
    let Some(visit) = day.visits.iter().find(|v| last.job.as_ref() == Some(&v.job)) else {
        return Vec::new();
    };
    let back = if van.home.is_some() { "back home" } else { "back at the depot" };
    let way_min = minutes_between(last.finishes_at, round.returns_at);
    let late = |technician: &Technician| {
        let ahead = || technician.spans(day.on).filter(|span| last.finishes_at <= span.1);
        let (_, to) = ahead().next()?;
        // Who is off meanwhile may wait there and drive afterwards.
        let home = ahead().any(|(from, to)| later(from.max(last.finishes_at), way_min) <= to);
        let minutes = minutes_between(to, round.returns_at);
        (!home).then(|| {
            let at = clock(round.returns_at);
            let text = format!("{back} {at}, {minutes:.0} min after {}'s hours.", technician.name);
            let figures = vec![Figure::new("outside hours", minutes, "min")];
            Conflict::of(ConflictCode::OutsideHours, visit, text, figures)
        })
    };
    visit.crew(day).filter_map(late).collect()
}

/// One van, or one person in two vans, at two places at once.
pub(super) fn overlaps(day: &DayProblem, placed: &[Placed]) -> Vec<Conflict> {
    let mut found = Vec::new();
    for (i, a) in placed.iter().enumerate() {
        for b in &placed[i + 1..] {
            if a.van.id == b.van.id {
                found.extend(same_van(a, b));
            } else {
                found.extend(same_people(day, a, b));
            }
        }
    }
    found
}

/// Both starts were set, and the second lies within the first.
fn same_van(a: &Placed, b: &Placed) -> Option<Conflict> {
    let set = |p: &Placed| p.visit.start.map(|start| (start, later(start, usable(p.visit.work_min))));
    let minutes = shared_minutes(set(a)?, set(b)?)?;
    let text = format!("van {} is set to both for {minutes:.0} min.", a.van.id);
    Some(pair(ConflictCode::VanOverlap, a, b, &text, minutes))
}

fn same_people(day: &DayProblem, a: &Placed, b: &Placed) -> Vec<Conflict> {
    let busy = |p: &Placed| (leaves(p.stop), p.stop.finishes_at);
    let Some(minutes) = shared_minutes(busy(a), busy(b)) else { return Vec::new() };
    let both = a.visit.technicians.iter().filter(|id| b.visit.technicians.contains(id));
    both.map(|id| {
        let name = day.technician(id).map_or(id, |t| &t.name);
        let text = format!("{name} is set to vans {} and {} for {minutes:.0} min.", a.van.id, b.van.id);
        pair(ConflictCode::TechnicianOverlap, a, b, &text, minutes)
    })
    .collect()
}

/// When the way to a stop begins.
fn leaves(stop: &Stop) -> NaiveDateTime {
    later(stop.arrives_at, -stop.travel_min)
}

fn shared_minutes(a: Span, b: Span) -> Option<f64> {
    Some(minutes_between(a.0.max(b.0), a.1.min(b.1))).filter(|&minutes| minutes > 0.0)
}

fn pair(code: ConflictCode, a: &Placed, b: &Placed, text: &str, minutes: f64) -> Conflict {
    let jobs = vec![a.visit.job.clone(), b.visit.job.clone()];
    let text = format!("{} and {}: {text}", jobs[0], jobs[1]);
    Conflict { code, jobs, text, figures: vec![Figure::new("overlap", minutes, "min")] }
}

pub(super) fn clock(at: NaiveDateTime) -> String {
    at.format("%H:%M").to_string()
}
