//! Which crews could drive which van on which day.

use super::hours::{common, on_day, tidy, without};
use super::problem::{Published, Request, RosteredTechnician, RosteredVan, RoundsProblem};
use super::spans::{Doer, length_s};
use crate::site::HourRange;
use chrono::{NaiveDate, NaiveDateTime, TimeDelta};

/// A van with a crew on a day, as a candidate: used shifts share neither van nor people.
#[derive(Debug, Clone, PartialEq)]
pub struct Candidate {
    pub on: NaiveDate,
    pub van: usize,
    /// Ascending places in the problem's list.
    pub crew: Vec<usize>,
    /// When all of them are at work: ascending and apart, and never none.
    pub hours: Vec<HourRange>,
    /// For its frozen visits alone: the roster does not have this crew in this van on that day.
    pub closed: bool,
}

impl Candidate {
    /// As one who would do a visit.
    pub fn doer<'a>(&self, problem: &'a RoundsProblem, request: &Request) -> Doer<'a> {
        Doer::of(problem, request, self.van, self.crew.len())
    }

    fn is(&self, on: NaiveDate, van: usize, crew: &[usize]) -> bool {
        (self.on, self.van) == (on, van) && self.crew == crew
    }
}

/// What is asked of candidates beside the problem itself.
#[derive(Debug, Clone, Default)]
pub struct Beside {
    /// A visit that needs two people may come in on any day.
    pub two_hands: bool,
    pub taken: Vec<Taken>,
}

/// Hours in which a van and people are busy with what cannot be a round of theirs.
#[derive(Debug, Clone)]
pub struct Taken {
    pub on: NaiveDate,
    pub hours: HourRange,
    pub van: Option<usize>,
    pub people: Vec<usize>,
}

/// Where there are at most this many technicians, every crew of one or two is tried in every van; otherwise those who
/// usually drive it (assumption: more would not be searched well).
const EVERYBODY_UP_TO: usize = 6;
/// Of how many people crews are tried for a van whose usual people are all away, and how many are tried as second hands
/// for the only one who usually drives it (assumption). It bounds the candidates: their number grows with that of the
/// vans alone, not with that of vans times people, and the search asks each of them for each visit.
const STAND_INS: usize = 4;
/// Largest crew that is put together; larger ones only where they were published (assumption).
pub const LARGEST: u32 = 2;
/// Frozen visits of days that are not planned are kept where they are this near to the first planned day: beyond, times
/// in seconds would not hold them.
const KEPT_WITHIN_DAYS: i64 = 366;

/// In the order of days, vans and crews.
pub fn candidates(problem: &RoundsProblem, beside: &Beside) -> Vec<Candidate> {
    let mut all = Vec::new();
    for &on in &problem.days {
        let two_hands = beside.two_hands || needs_two(problem, on);
        for (nth, van) in problem.vans.iter().enumerate().filter(|(_, van)| !van.out_on.contains(&on)) {
            for crew in crews(problem, van, on, two_hands) {
                let hours = hours_of(problem, beside, on, nth, &crew);
                if !hours.is_empty() {
                    all.push(Candidate { on, van: nth, crew, hours, closed: false });
                }
            }
        }
    }
    for kept in of_frozen(problem) {
        if !all.iter().any(|known| known.is(kept.on, kept.van, &kept.crew)) {
            all.push(kept);
        }
    }
    all.sort_by_key(|candidate| (candidate.on, candidate.van));
    all
}

/// When somebody is at work on a day.
pub fn at_work(technician: &RosteredTechnician, on: NaiveDate) -> Vec<HourRange> {
    let day = technician.roster.iter().find(|day| day.on == on);
    day.map(|day| tidy(&day.hours)).unwrap_or_default()
}

/// The van and the crew of a place in published rounds; none where one of them is not known, or nobody is set.
pub fn van_and_crew(problem: &RoundsProblem, published: &Published) -> Option<(usize, Vec<usize>)> {
    let van = problem.vans.iter().position(|rostered| rostered.van.id == published.van)?;
    let who = |id: &String| problem.technicians.iter().position(|rostered| rostered.technician.id == *id);
    let mut crew: Vec<usize> = published.technicians.iter().map(who).collect::<Option<_>>()?;
    crew.sort_unstable();
    crew.dedup();
    (!crew.is_empty()).then_some((van, crew))
}

/// The candidate that a place in published rounds is of.
pub fn shift_of(problem: &RoundsProblem, candidates: &[Candidate], published: &Published) -> Option<usize> {
    let (van, crew) = van_and_crew(problem, published)?;
    candidates.iter().position(|candidate| candidate.is(published.start.date(), van, &crew))
}

/// When a published visit begins and ends.
pub fn published_span(request: &Request, published: &Published) -> (NaiveDateTime, NaiveDateTime) {
    let mut people: Vec<&String> = published.technicians.iter().collect();
    people.sort_unstable();
    people.dedup();
    let length = TimeDelta::seconds(i64::from(length_s(request, people.len() as u32, published.start)));
    (published.start, published.start.checked_add_signed(length).unwrap_or(published.start))
}

/// The crews of frozen visits as candidates for just these, whatever the roster says.
fn of_frozen(problem: &RoundsProblem) -> Vec<Candidate> {
    let is_near = |on: NaiveDate| {
        problem.days.first().is_some_and(|&first| (on - first).num_days().abs() <= KEPT_WITHIN_DAYS)
    };
    let mut all: Vec<Candidate> = Vec::new();
    for request in &problem.requests {
        let frozen = request.published.as_ref().filter(|place| place.frozen && is_near(place.start.date()));
        let Some((place, (van, crew))) =
            frozen.and_then(|place| Some((place, van_and_crew(problem, place)?)))
        else {
            continue;
        };
        let on = place.start.date();
        let (from, to) = published_span(request, place);
        let hours = on_day(on, from, to);
        match all.iter().position(|known| known.is(on, van, &crew)) {
            Some(nth) => all[nth].hours.push(hours),
            None => all.push(Candidate { on, van, crew, hours: vec![hours], closed: true }),
        }
    }
    for kept in &mut all {
        kept.hours = from_first_to_last(&kept.hours);
    }
    all
}

/// One span that holds all of these.
fn from_first_to_last(hours: &[HourRange]) -> Vec<HourRange> {
    let (from, to) = (hours.iter().map(|span| span.from).min(), hours.iter().map(|span| span.to).max());
    from.zip(to).map(|(from, to)| HourRange { from, to }).into_iter().collect()
}

/// When a whole crew is at work, without what is taken of it or of its van.
fn hours_of(
    problem: &RoundsProblem,
    beside: &Beside,
    on: NaiveDate,
    van: usize,
    crew: &[usize],
) -> Vec<HourRange> {
    let each = crew.iter().map(|&who| at_work(&problem.technicians[who], on));
    let mut hours = each.reduce(|one, other| common(&one, &other)).unwrap_or_default();
    for taken in beside.taken.iter().filter(|taken| taken.on == on) {
        if taken.van == Some(van) || taken.people.iter().any(|who| crew.contains(who)) {
            hours = without(&hours, taken.hours);
        }
    }
    hours
}

/// Whether a visit that could be on this day needs two people, and has not got them yet.
fn needs_two(problem: &RoundsProblem, on: NaiveDate) -> bool {
    problem.requests.iter().any(|request| {
        let visit = &request.visit;
        let is_open = visit.window_from.date() <= on && on <= visit.window_to.date();
        let is_frozen = request.published.as_ref().is_some_and(|place| place.frozen);
        let mut bars = request.barred.iter().chain(&request.closed_starts);
        let in_time_by_two = bars.any(|bar| {
            bar.below_people.is_some_and(|people| people > 1) && bar.from.date() <= on && on <= bar.to.date()
        });
        is_open && !is_frozen && (visit.hands >= 2 || visit.platform || in_time_by_two)
    })
}

/// Who goes with a van that is not theirs: first those without a van of their own on that day, then those who are not
/// alone in theirs.
fn stand_ins(problem: &RoundsProblem, people: &[usize], on: NaiveDate) -> Vec<usize> {
    let own_van = |who: usize| problem.technicians[who].usual_van.as_deref();
    let goes = |id: &str| problem.vans.iter().any(|van| van.van.id == id && !van.out_on.contains(&on));
    let shared = |id: &str| people.iter().filter(|&&who| own_van(who) == Some(id)).count() > 1;
    let mut order = people.to_vec();
    order.sort_by_cached_key(|&who| {
        let own = own_van(who).filter(|id| goes(id));
        (own.is_some(), own.is_some_and(|id| !shared(id)), who)
    });
    order.truncate(STAND_INS);
    order.sort_unstable();
    order
}

fn crews(problem: &RoundsProblem, van: &RosteredVan, on: NaiveDate, two_hands: bool) -> Vec<Vec<usize>> {
    let seats = van.van.seats as usize;
    let there = |who: &usize| !at_work(&problem.technicians[*who], on).is_empty();
    let is_usual = |who: &usize| problem.technicians[*who].usual_van.as_ref() == Some(&van.van.id);
    let all: Vec<usize> = (0..problem.technicians.len()).filter(there).collect();
    let (usual, others): (Vec<usize>, Vec<usize>) = all.iter().copied().partition(is_usual);
    let (people, helpers) = match usual.len() {
        _ if problem.technicians.len() <= EVERYBODY_UP_TO => (all, Vec::new()),
        0 => (stand_ins(problem, &all, on), Vec::new()),
        // Its second seat is free, and in a shop of such vans nobody would ever be a second hand.
        1 if two_hands => (usual, stand_ins(problem, &others, on)),
        _ => (usual, Vec::new()),
    };
    let mut crews: Vec<Vec<usize>> = people.iter().map(|&who| vec![who]).collect();
    if van.van.seats.min(LARGEST) >= 2 {
        for (nth, &one) in people.iter().enumerate() {
            let second = people[nth + 1..].iter().chain(&helpers);
            crews.extend(second.map(|&other| vec![one.min(other), one.max(other)]));
        }
    }
    let published = problem.requests.iter().filter_map(|request| request.published.as_ref());
    for place in published.filter(|place| place.van == van.van.id && place.start.date() == on) {
        let Some((_, crew)) = van_and_crew(problem, place) else { continue };
        if crew.iter().all(there) && !crews.contains(&crew) {
            crews.push(crew);
        }
    }
    crews.retain(|crew| crew.len() <= seats);
    crews
}

#[cfg(test)]
mod tests {
    use super::super::problem::RosterDay;
    use super::*;
    use crate::dispatch::{Place, Technician, Van};
    use chrono::NaiveTime;

    fn van(nth: usize) -> RosteredVan {
        let van = Van {
            id: format!("V{nth}"),
            seats: 2,
            tank_l: 300.0,
            home: None,
            refills: Vec::new(),
            equipment: Vec::new(),
            battery_kwh: 0.0,
            generator: false,
            stock_ml: Default::default(),
        };
        RosteredVan { van, out_on: Vec::new() }
    }

    fn technician(nth: usize, usual_van: Option<usize>, roster: &[RosterDay]) -> RosteredTechnician {
        let id = format!("T{nth}");
        RosteredTechnician {
            technician: Technician {
                name: id.clone(),
                id,
                skills: Vec::new(),
                trainee: false,
                hours: Vec::new(),
            },
            usual_van: usual_van.map(|nth| format!("V{nth}")),
            roster: roster.to_vec(),
        }
    }

    /// Ten people in five vans, two of no van, and the only driver of the sixth van away.
    fn shop() -> RoundsProblem {
        let on = NaiveDate::default();
        let hours = HourRange { from: NaiveTime::MIN, to: NaiveTime::from_hms_opt(9, 0, 0).expect("a time") };
        let work = [RosterDay { on, hours: vec![hours] }];
        let mut technicians: Vec<_> = (0..10).map(|nth| technician(nth, Some(1 + nth / 2), &work)).collect();
        technicians.extend([technician(10, None, &work), technician(11, None, &work)]);
        technicians.push(technician(12, Some(6), &[]));
        let depot = Place::Plane { x_km: 0.0, y_km: 0.0 };
        RoundsProblem { technicians, vans: (1..=6).map(van).collect(), ..RoundsProblem::new(vec![on], depot) }
    }

    #[test]
    fn a_van_without_its_people_gets_few_stand_ins() {
        let all = candidates(&shop(), &Beside::default());
        let crews =
            |van| -> Vec<&[usize]> { all.iter().filter(|c| c.van == van).map(|c| &c.crew[..]).collect() };
        let usual: [&[usize]; 3] = [&[0], &[1], &[0, 1]];
        assert_eq!(crews(0), usual);
        // Those of no van, then the first of those who are not alone in theirs.
        let stand_ins: [&[usize]; 10] =
            [&[0], &[1], &[10], &[11], &[0, 1], &[0, 10], &[0, 11], &[1, 10], &[1, 11], &[10, 11]];
        assert_eq!(crews(5), stand_ins);
    }

    /// Eight vans with one person each. By hand: one crew a van; four more with a helper each, once two are needed.
    #[test]
    fn second_hands_are_few_and_only_where_they_are_needed() {
        let mut shop = shop();
        shop.technicians.truncate(8);
        shop.vans = (0..8).map(van).collect();
        for (nth, rostered) in shop.technicians.iter_mut().enumerate() {
            rostered.usual_van = Some(format!("V{nth}"));
        }
        assert_eq!(candidates(&shop, &Beside::default()).len(), 8);
        let all = candidates(&shop, &Beside { two_hands: true, ..Beside::default() });
        let crews: Vec<&[usize]> = all.iter().filter(|c| c.van == 7).map(|c| &c.crew[..]).collect();
        let by_hand: [&[usize]; 5] = [&[7], &[0, 7], &[1, 7], &[2, 7], &[3, 7]];
        assert_eq!((crews, all.len()), (by_hand.to_vec(), 40));
        shop.vans[7].van.seats = 1;
        assert_eq!(candidates(&shop, &Beside { two_hands: true, ..Beside::default() }).len(), 36);
    }
}
