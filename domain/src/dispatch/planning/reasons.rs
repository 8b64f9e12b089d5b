//! Why a request is not served.

use super::alone::alone;
use super::answer::points;
use super::build::Built;
use super::crews;
use super::problem::{LinkedDays, Request, RoundsProblem};
use super::spans::{Doer, service, work_s};
use crate::dispatch::search::{Link, NOWHERE, Solution, insertion_cost, timeline};
use crate::dispatch::{Conflict, ConflictCode};
use crate::figure::Figure;
use std::cmp::Ordering;
use std::collections::BTreeSet;

/// Why a node of the solution is left out: what bars it everywhere, else what bars it in the van that comes nearest,
/// else that the rounds are full.
pub fn unserved(problem: &RoundsProblem, built: &Built, solution: &Solution, nth: usize) -> Vec<Conflict> {
    let request = &problem.requests[nth];
    if built.candidates.iter().all(|candidate| candidate.closed) {
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
    let anybody = Doer { people: most_people, van: None, noisy: true };
    let has_time = |asked: &Request| service(problem, asked, anybody).is_some();
    let mut found = narrowed(request, has_time);
    if found.is_empty() {
        found.extend(crate::dispatch::time::window(visit));
    }
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

/// Weather, and days that other jobs leave, where it would fit without them.
fn narrowed(request: &Request, fits: impl Fn(&Request) -> bool) -> Vec<Conflict> {
    let dry = Request { barred: Vec::new(), closed_starts: Vec::new(), ..request.clone() };
    let free = Request { linked_days: Vec::new(), ..request.clone() };
    let both = Request { linked_days: Vec::new(), ..dry.clone() };
    let (weather, linked) = (weather(request), linked(request));
    match (weather.is_empty(), linked.is_empty()) {
        (false, _) if fits(&dry) => weather,
        (_, false) if fits(&free) => linked,
        (false, false) if fits(&both) => weather.into_iter().chain(linked).collect(),
        _ => Vec::new(),
    }
}

fn weather(request: &Request) -> Vec<Conflict> {
    let mut told = BTreeSet::new();
    let bars = request.barred.iter().chain(&request.closed_starts);
    bars.filter(|bar| told.insert((&bar.rule, &bar.text)))
        .map(|bar| say(request, ConflictCode::Weather, format!("{} ({})", bar.text, bar.rule)))
        .collect()
}

fn linked(request: &Request) -> Vec<Conflict> {
    let text = |LinkedDays { with, from, to }: &LinkedDays| {
        let when = match from.cmp(to) {
            Ordering::Less => format!("it may only be from {from} to {to}"),
            Ordering::Equal => format!("it may only be on {from}"),
            Ordering::Greater => "there is no day for it".to_owned(),
        };
        format!("{when}, because of {with}.")
    };
    request.linked_days.iter().map(|days| say(request, ConflictCode::Linked, text(days))).collect()
}

/// There is time in its window, but not while those who can do it are at work.
fn out_of_hours(problem: &RoundsProblem, built: &Built, request: &Request, nth: usize) -> Vec<Conflict> {
    let narrowed = narrowed(request, |asked| could_be_driven(problem, built, asked, nth));
    if !narrowed.is_empty() {
        return narrowed;
    }
    if could_be_driven(problem, built, request, nth) {
        let text =
            "those who can do it have visits that stay, and nothing can be put beside them.".to_owned();
        return vec![say(request, ConflictCode::NoRoom, text)];
    }
    let crews = able(built, request).take(6).map(|shift| crew_in_words(problem, built, shift));
    let text = format!(
        "no one who can do it is at work long enough in its window with the way there and back ({}).",
        crews.collect::<Vec<String>>().join("; ")
    );
    vec![say(request, ConflictCode::OutsideHours, text)]
}

/// The candidates that can do it, times aside.
fn able<'a>(built: &'a Built, request: &Request) -> impl Iterator<Item = usize> + use<'a> {
    let able: Vec<bool> = built.kinds.iter().map(|kind| kind.against(request).is_empty()).collect();
    (0..built.candidates.len()).filter(move |&shift| built.kind_of(shift).is_some_and(|kind| able[kind]))
}

/// Whether some van could serve it alone, were it asked for like this.
fn could_be_driven(problem: &RoundsProblem, built: &Built, asked: &Request, nth: usize) -> bool {
    able(built, asked).any(|shift| {
        let candidate = &built.candidates[shift];
        let mut model = alone(&built.model.parts, shift, &[nth as u32]);
        model.parts.services = vec![vec![service(problem, asked, candidate.doer(problem, asked))]];
        timeline(&model, 0, [0].into_iter(), &[]).is_some()
    })
}

fn crew_in_words(problem: &RoundsProblem, built: &Built, shift: usize) -> String {
    let candidate = &built.candidates[shift];
    let name = |&who: &usize| problem.technicians[who].technician.name.as_str();
    let names: Vec<&str> = candidate.crew.iter().map(name).collect();
    let hours: Vec<String> =
        candidate.hours.iter().map(|span| format!("{} to {}", span.from, span.to)).collect();
    format!(
        "{} with {} {} {}",
        problem.vans[candidate.van].van.id,
        names.join(" and "),
        candidate.on,
        hours.join(" and ")
    )
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
    let mut figures = vec![Figure::new("work", f64::from(work_s(request, 1)) / 60.0, "min")];
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
