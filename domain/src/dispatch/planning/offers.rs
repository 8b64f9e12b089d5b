//! Windows for a new visit: what each would cost the rounds as they stand.

use super::answer::points;
use super::build::{Built, build, road};
use super::crews::{Beside, Taken, published_span, van_and_crew};
use super::hours::on_day;
use super::problem::{Published, Request, RoundsProblem};
use super::replan::published_solution;
use super::spans;
use crate::dispatch::search::{Event, NOWHERE, Solution, insertion_cost, timeline};
use crate::site::HourRange;
use chrono::{NaiveDateTime, TimeDelta};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// A window that can be promised.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Offer {
    pub from: NaiveDateTime,
    pub to: NaiveDateTime,
    /// What it adds to the cost of the rounds, in points.
    pub cost: f64,
    pub van: String,
    pub technicians: Vec<String>,
    /// When the work would begin and end.
    pub start: NaiveDateTime,
    pub finish: NaiveDateTime,
}

/// Rounds as they stand, made ready once to be asked for windows often.
pub struct Standing {
    problem: RoundsProblem,
    built: Built,
    /// The published visits of each shift that has some, in order.
    routes: Vec<(usize, Vec<u32>)>,
}

impl Standing {
    /// What stands keeps its hour: who takes an offer moves nobody else. A new visit may need two people.
    pub fn new(mut problem: RoundsProblem) -> Standing {
        let published = problem.requests.iter_mut().filter_map(|request| request.published.as_mut());
        published.for_each(|published| published.frozen = true);
        let built = build(&problem, &Beside { two_hands: true, taken: taken(&problem) });
        let solution = published_solution(&problem, &built);
        let routes = solution.routes.iter().enumerate().filter(|(_, route)| !route.is_empty());
        let routes = routes.map(|(shift, route)| (shift, route.visits().collect())).collect();
        Standing { problem, built, routes }
    }

    pub fn problem(&self) -> &RoundsProblem {
        &self.problem
    }

    /// The windows in which the new visit costs least, cheapest first, at most `most`. `windows` are the times of a day
    /// that the shop offers; published visits keep their vans and crews.
    pub fn offers(&self, new: &Request, windows: &[HourRange], most: usize) -> Vec<Offer> {
        let known = self.problem.requests.len();
        let mut asked = self.problem.clone();
        asked.requests.extend(one_for_each_window(&self.problem, new, windows));
        let built = self.built.extended(&asked, known);
        let solution = self.stand(&built);
        let new = known..asked.requests.len();
        let mut found: Vec<Offer> =
            new.filter_map(|nth| cheapest(&asked, &built, &solution, nth as u32)).collect();
        found.sort_by(|a, b| a.cost.total_cmp(&b.cost).then(a.from.cmp(&b.from)));
        found.truncate(most);
        found
    }

    fn stand(&self, built: &Built) -> Solution {
        let mut solution = Solution::new(&built.model);
        for (shift, nodes) in &self.routes {
            solution.replace(&built.model, *shift, nodes);
        }
        solution.absent.retain(|&node| solution.route_of[node as usize] == NOWHERE);
        solution.keep();
        solution
    }
}

/// The windows for one new visit: see [`Standing::offers`].
pub fn offers(problem: &RoundsProblem, new: &Request, windows: &[HourRange], most: usize) -> Vec<Offer> {
    Standing::new(problem.clone()).offers(new, windows, most)
}

/// Visits that stand, but in a van or with people of whom some are not known here, cannot be rounds: those who are known
/// get nothing in their hours, with the way there and back.
fn taken(problem: &RoundsProblem) -> Vec<Taken> {
    let is_lost = |published: &&Published| van_and_crew(problem, published).is_none();
    let taken = |request: &Request| {
        let published = request.published.as_ref().filter(is_lost)?;
        let on = published.start.date();
        let van = problem.vans.iter().position(|rostered| rostered.van.id == published.van);
        let is_set = |who: &usize| published.technicians.contains(&problem.technicians[*who].technician.id);
        let home = van.and_then(|van| problem.vans[van].van.home).unwrap_or(problem.depot);
        let way = |from, to| TimeDelta::seconds((road(problem, from, to).1.min(1440.0) * 60.0) as i64);
        let (there, back) = (way(&home, &request.visit.place), way(&request.visit.place, &home));
        let (start, finish) = published_span(request, published);
        let leaves = start.checked_sub_signed(there).unwrap_or(start);
        let returns = finish.checked_add_signed(back).unwrap_or(finish);
        let people = (0..problem.technicians.len()).filter(is_set).collect();
        Some(Taken { on, hours: on_day(on, leaves, returns), van, people })
    };
    problem.requests.iter().filter_map(taken).collect()
}

/// One request for each window of each day; they share a place.
fn one_for_each_window(problem: &RoundsProblem, new: &Request, windows: &[HourRange]) -> Vec<Request> {
    let mut all = Vec::new();
    for &on in &problem.days {
        for window in windows {
            let mut request = new.clone();
            request.promised = true;
            request.published = None;
            request.visit.job = format!("{} {on} {}", new.visit.job, window.from);
            request.visit.window_from = on.and_time(window.from).max(new.visit.window_from);
            request.visit.window_to = on.and_time(window.to).min(new.visit.window_to);
            if request.visit.window_from < request.visit.window_to {
                all.push(request);
            }
        }
    }
    all
}

/// The shift and the place in it that cost least.
fn cheapest(asked: &RoundsProblem, built: &Built, solution: &Solution, node: u32) -> Option<Offer> {
    let model = &built.model;
    let costs = (0..built.candidates.len()).filter_map(|shift| {
        let open = solution.may_use(model, shift);
        let insertion = open.then(|| insertion_cost(model, solution, shift, node))??;
        Some((insertion.cost, shift, insertion.at))
    });
    let (cost, shift, at) = costs.min()?;
    let route = &solution.routes[shift];
    let nodes = route.visits().take(at).chain([node]).chain(route.visits().skip(at));
    let timeline = timeline(model, shift, nodes, &solution.pins)?;
    let (start_s, finish_s) = timeline.events.iter().find_map(|event| match *event {
        Event::Visit { node: of, starts_s, finishes_s, .. } if of == node => Some((starts_s, finishes_s)),
        _ => None,
    })?;
    let (request, candidate) = (&asked.requests[node as usize], &built.candidates[shift]);
    let name = |&who: &usize| asked.technicians[who].technician.id.clone();
    Some(Offer {
        from: request.visit.window_from,
        to: request.visit.window_to,
        cost: points(cost),
        van: asked.vans[candidate.van].van.id.clone(),
        technicians: candidate.crew.iter().map(name).collect(),
        start: spans::instant(asked, start_s),
        finish: spans::instant(asked, finish_s),
    })
}
