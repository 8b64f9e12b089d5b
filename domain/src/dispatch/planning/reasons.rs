//! Why a request is not served.

use super::answer::points;
use super::build::Built;
use super::crews;
use super::problem::{Barred, Request, RoundsProblem};
use super::spans::service;
use crate::dispatch::search::{Link, NOWHERE, Solution, insertion_cost, timeline};
use crate::dispatch::{Conflict, ConflictCode};
use crate::figure::Figure;

/// Why a node of the solution is left out: what bars it everywhere, else what bars it in the van that comes nearest,
/// else that the rounds are full.
pub fn unserved(problem: &RoundsProblem, built: &Built, solution: &Solution, nth: usize) -> Vec<Conflict> {
    let request = &problem.requests[nth];
    if built.candidates.is_empty() {
        return vec![say(request, ConflictCode::Unassigned, nobody(problem))];
    }
    let nearest = built.kinds.iter().map(|kind| kind.against(request)).min_by_key(Vec::len);
    if let Some(found) = nearest.filter(|found| !found.is_empty()) {
        return found;
    }
    let in_time = built.model.parts.services.iter().any(|of_class| of_class[nth].is_some());
    if !in_time {
        return no_time(problem, request);
    }
    if let Some(found) = waits_for(problem, built, solution, nth) {
        return vec![found];
    }
    let node = nth as u32;
    let possible: Vec<usize> = (0..built.candidates.len())
        .filter(|&shift| timeline(&built.model, shift, [node].into_iter(), &[]).is_some())
        .collect();
    if possible.is_empty() {
        out_of_hours(problem, built, request, nth)
    } else {
        vec![full(problem, built, solution, nth, &possible)]
    }
}

fn say(request: &Request, code: ConflictCode, text: String) -> Conflict {
    Conflict::of(code, &request.visit, text, Vec::new())
}

fn nobody(problem: &RoundsProblem) -> String {
    if problem.vans.is_empty() {
        "there is no van.".into()
    } else if problem.technicians.is_empty() {
        "there is nobody to drive a van.".into()
    } else {
        "no van goes out on these days: each is out or nobody is at work.".into()
    }
}

/// No hour of the window holds the work, whoever does it.
fn no_time(problem: &RoundsProblem, request: &Request) -> Vec<Conflict> {
    let visit = &request.visit;
    let most_people = visit.hands.max(request.work_people).max(crews::LARGEST);
    let without_bars = Request { barred: Vec::new(), closed_starts: Vec::new(), ..request.clone() };
    let mut bars: Vec<&Barred> = request.barred.iter().chain(&request.closed_starts).collect();
    bars.dedup_by(|a, b| a.rule == b.rule && a.text == b.text);
    let mut found: Vec<Conflict> = if service(problem, &without_bars, most_people, true).is_some() {
        bars.into_iter()
            .map(|bar| say(request, ConflictCode::Weather, format!("{} ({})", bar.text, bar.rule)))
            .collect()
    } else {
        crate::dispatch::time::window(visit).into_iter().collect()
    };
    if visit.site.saturday_allowed == Some(false) && found.is_empty() {
        found.push(say(
            request,
            ConflictCode::SaturdayForbidden,
            "no work is allowed there on Saturdays.".into(),
        ));
    }
    if let Some(hours) = visit.site.machine_hours.filter(|_| found.is_empty()) {
        let text = format!(
            "machines may run there {} to {} only, which leaves no time in its window.",
            hours.from, hours.to
        );
        found.push(say(request, ConflictCode::MachineHours, text));
    }
    if found.is_empty() {
        let text = format!(
            "its window {} to {} holds no time for {:.0} min of work on these days.",
            visit.window_from, visit.window_to, visit.work_min
        );
        found.push(say(request, ConflictCode::WindowTooShort, text));
    }
    found
}

fn out_of_hours(problem: &RoundsProblem, built: &Built, request: &Request, nth: usize) -> Vec<Conflict> {
    let able = built
        .candidates
        .iter()
        .enumerate()
        .filter(|(shift, _)| built.model.service(*shift, nth as u32).is_some());
    let mut crews: Vec<String> = able
        .map(|(_, candidate)| {
            let names: Vec<&str> =
                candidate.crew.iter().map(|&who| problem.technicians[who].technician.name.as_str()).collect();
            format!(
                "{} with {} {} {} to {}",
                problem.vans[candidate.van].van.id,
                names.join(" and "),
                candidate.on,
                candidate.hours.from,
                candidate.hours.to
            )
        })
        .collect();
    crews.truncate(6);
    let text = format!(
        "no one who can do it is at work long enough in its window with the way there and back ({}).",
        crews.join("; ")
    );
    vec![say(request, ConflictCode::OutsideHours, text)]
}

/// Another visit without which this one is not served; one that could do without it says nothing against it.
fn waits_for(problem: &RoundsProblem, built: &Built, solution: &Solution, nth: usize) -> Option<Conflict> {
    let absent = |node: u32| solution.route_of[node as usize] == NOWHERE;
    let needs = |link: &Link| match *link {
        Link::After { first, then, .. } => (then as usize == nth).then_some(first),
        Link::Together { one, other } => Some(if one as usize == nth { other } else { one }),
        Link::SamePerson { .. } => None,
    };
    let partner = built.model.links_of[nth].iter().filter_map(needs).find(|&node| absent(node))?;
    let other = &problem.requests[partner as usize].visit.job;
    Some(say(
        &problem.requests[nth],
        ConflictCode::Linked,
        format!("it goes only with {other}, which is not served either."),
    ))
}

/// It would fit into an empty round; what the rounds do instead is worth more, or its own way is.
fn full(
    problem: &RoundsProblem,
    built: &Built,
    solution: &Solution,
    nth: usize,
    possible: &[usize],
) -> Conflict {
    let request = &problem.requests[nth];
    let mut vans: Vec<&str> =
        possible.iter().map(|&shift| problem.vans[built.candidates[shift].van].van.id.as_str()).collect();
    vans.sort_unstable();
    vans.dedup();
    let node = &built.model.parts.nodes[nth];
    let mut figures = vec![Figure::new("work", f64::from(node.work_s) / 60.0, "min")];
    let open = possible.iter().filter(|&&shift| solution.may_use(&built.model, shift));
    let costs = open.filter_map(|&shift| insertion_cost(&built.model, solution, shift, nth as u32));
    let why = match costs.map(|insertion| insertion.cost).min() {
        Some(cost) if cost > node.skip_cost => {
            let (cost, skip) = (points(cost), points(node.skip_cost));
            figures.push(Figure::new("cost of serving it", cost, "points"));
            figures.push(Figure::new("cost of leaving it out", skip, "points"));
            format!("that would cost {cost:.0} points, and leaving it out costs {skip:.0}.")
        }
        _ => {
            "their rounds have no time, water or power left for it that would not cost more important visits."
                .to_owned()
        }
    };
    let text = format!("it could be served by {}, but {why}", vans.join(", "));
    Conflict::of(ConflictCode::NoRoom, &request.visit, text, figures)
}
