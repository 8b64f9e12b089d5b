//! Windows for a new visit: what each would cost the rounds as they stand.

use super::answer::points;
use super::build::build;
use super::problem::{Request, RoundsProblem};
use super::replan::published_solution;
use super::spans;
use crate::dispatch::search::{Event, insertion_cost, timeline};
use crate::site::HourRange;
use chrono::NaiveDateTime;
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
    /// When the work would begin.
    pub start: NaiveDateTime,
}

/// The windows in which the new visit costs least, cheapest first, at most `most`. `windows` are the times of a day that
/// the shop offers; published visits keep their vans and crews.
pub fn offers(problem: &RoundsProblem, new: &Request, windows: &[HourRange], most: usize) -> Vec<Offer> {
    let count = problem.requests.len();
    let mut asked = problem.clone();
    // One request for each window of each day; they share a place.
    for &on in &problem.days {
        for window in windows {
            let mut request = new.clone();
            request.promised = true;
            request.published = None;
            request.visit.job = format!("{} {on} {}", new.visit.job, window.from);
            request.visit.window_from = on.and_time(window.from).max(new.visit.window_from);
            request.visit.window_to = on.and_time(window.to).min(new.visit.window_to);
            if request.visit.window_from < request.visit.window_to {
                asked.requests.push(request);
            }
        }
    }
    let built = build(&asked);
    let solution = published_solution(&asked, &built);
    let mut found: Vec<Offer> = (count..asked.requests.len())
        .filter_map(|nth| {
            let node = nth as u32;
            let costs = (0..built.candidates.len()).filter_map(|shift| {
                let open = solution.may_use(&built.model, shift);
                let insertion = open.then(|| insertion_cost(&built.model, &solution, shift, node))??;
                Some((insertion.cost, shift, insertion.at))
            });
            let (cost, shift, at) = costs.min()?;
            let route = &solution.routes[shift];
            let nodes = route.visits().take(at).chain([node]).chain(route.visits().skip(at));
            let timeline = timeline(&built.model, shift, nodes, &solution.pins)?;
            let start_s = timeline.events.iter().find_map(|event| match *event {
                Event::Visit { node: of, starts_s, .. } if of == node => Some(starts_s),
                _ => None,
            })?;
            let (request, candidate) = (&asked.requests[nth], &built.candidates[shift]);
            let name = |&who: &usize| problem.technicians[who].technician.id.clone();
            Some(Offer {
                from: request.visit.window_from,
                to: request.visit.window_to,
                cost: points(cost),
                van: problem.vans[candidate.van].van.id.clone(),
                technicians: candidate.crew.iter().map(name).collect(),
                start: spans::instant(problem, start_s),
            })
        })
        .collect();
    found.sort_by(|a, b| a.cost.total_cmp(&b.cost).then(a.from.cmp(&b.from)));
    found.truncate(most);
    found
}
