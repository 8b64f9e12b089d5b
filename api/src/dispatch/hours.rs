//! What the hour of the day and the size of the crew do to a visit, as the planner sees it: what the work asks for, how
//! long it takes, and when it may not begin.

use super::facts::{self, Needs, is_of_the_hour};
use super::gather::stays;
use crate::db::Db;
use crate::db::jobs::Job;
use crate::db::kinds::Id;
use crate::db::people::Person;
use crate::db::vans::Van;
use crate::error::ApiError;
use crate::norms;
use crate::plan_input::{self, gather_for, weather_between, zone_of};
use chrono::{NaiveDate, NaiveDateTime, NaiveTime, TimeDelta, Timelike};
use chrono_tz::Tz;
use domain::dispatch::planning::{Barred, Request, RoundsProblem, WorkSpan};
use domain::handbook::{Handbook, Severity};
use domain::plan::{CrewMember, ExtraWork, JobPlan, Kit, Norms, PlanFacts};
use domain::site::WeatherHour;
use std::collections::BTreeSet;
use std::sync::Arc;

/// Plans that all visits of a search are looked at with, unless some hours are looked at twice. Each takes 1 to 5 ms, so
/// that about half of the minute that a search usually has is left for the search itself.
const MOST_PLANS: usize = 10_000;
/// Hours that are judged by the first of them, at most: frost in the morning says nothing of noon.
const MOST_JOINED: usize = 4;
/// The hours of a day in which heat is drawn (assumption: nobody begins before or after).
const DAY_H: (u32, u32) = (5, 21);
/// Lengths that differ by less are the same (assumption): each step of a length costs the search.
const SAME_LENGTH: f64 = 0.03;
/// Looks between an hour that is open and one that is not: to a quarter of an hour.
const NARROWINGS: u32 = 2;
/// Sizes of crews that are planned for; larger ones share the time evenly.
const CREWS: u32 = 2;

/// From the first of two times to the second.
type Span = (NaiveDateTime, NaiveDateTime);

/// What the details of a search have in common.
pub struct Ground<'a> {
    vans: &'a [Van],
    people: &'a [Person],
    zone: Tz,
    weather: Vec<WeatherHour>,
    outfits: Arc<Vec<Outfit>>,
    norms: Arc<Norms>,
}

impl<'a> Ground<'a> {
    /// For some days.
    pub fn read(
        db: &mut Db<'_>,
        (vans, people): (&'a [Van], &'a [Person]),
        (first, last): (NaiveDate, NaiveDate),
    ) -> Result<Ground<'a>, ApiError> {
        let zone = zone_of(db, None)?;
        let weather = weather_between(db, first, last, zone, zone)?;
        let outfits = Arc::new(outfits(vans));
        Ok(Ground { vans, people, zone, weather, outfits, norms: norms::learned(db)? })
    }

    /// What a job is looked at with: its place among the requests, and whether a plan of it is in force. None where there
    /// is no van or nobody to plan with. Who has no van yet is planned with the best equipped one.
    pub fn detail(
        &self,
        db: &mut Db<'_>,
        job: &Job,
        crew: &[Id],
        (nth, is_planned): (usize, bool),
    ) -> Result<Option<Detail>, ApiError> {
        let best = self.vans.iter().max_by_key(|van| van.fields.kit.0.equipment.len()).map(|van| van.id);
        let anybody = self.people.first().map(|person| vec![person.id]).unwrap_or_default();
        let crew = if crew.is_empty() { &anybody } else { crew };
        let stand_in = Job { van: job.van.or(best), ..job.clone() };
        let mut facts = match gather_for(db, &stand_in, crew, ExtraWork::default(), &self.norms) {
            Ok((facts, _)) => facts,
            Err(ApiError::Conflict { .. }) => return Ok(None),
            Err(error) => return Err(error),
        };
        facts.weather.hours.clone_from(&self.weather);
        facts.crew = vec![able(self.people)];
        Ok(Some(Detail { nth, facts, is_planned, outfits: self.outfits.clone(), zone: self.zone }))
    }
}

/// What a visit is planned from.
pub struct Detail {
    /// Its place among the requests.
    pub nth: usize,
    pub facts: PlanFacts,
    /// A plan is in force, which says what the work asks for.
    is_planned: bool,
    outfits: Arc<Vec<Outfit>>,
    zone: Tz,
}

/// Puts into the requests what the planner says of them, one after the other while `goes_on`; tells what was taken more
/// roughly. The more visits there are, the more hours are judged by the first of them.
pub fn tell(
    handbook: &Handbook,
    details: &[Detail],
    problem: &mut RoundsProblem,
    mut goes_on: impl FnMut() -> bool,
) -> Vec<String> {
    let working = working(problem);
    let hours = |detail: &Detail| {
        let request = problem.requests.get(detail.nth);
        request.map_or_else(Vec::new, |request| detail.hours(request, &working))
    };
    let hours: Vec<Vec<Span>> = details.iter().map(hours).collect();
    let outfits = details.first().map_or(1, |detail| detail.outfits.len());
    let joined = how_many_joined(&hours, outfits);
    let mut told = 0;
    for (detail, hours) in details.iter().zip(&hours) {
        if !goes_on() {
            break;
        }
        if let Some(request) = problem.requests.get_mut(detail.nth) {
            detail.tell_work(handbook, &problem.days, request);
            detail.tell_hours(handbook, &coarser(hours, joined), request);
        }
        told += 1;
    }
    let coarse = (joined > 1).then(|| {
        format!("These are so many visits that of each one hour in {joined} was looked at for its weather.")
    });
    let cut = (told < details.len()).then(|| {
        format!(
            "The time was short: {told} of {} visits were looked at; the others have the minutes of their plans \
             or norms at every hour.",
            details.len()
        )
    });
    coarse.into_iter().chain(cut).collect()
}

impl Detail {
    /// The minutes for one and two people, and all that the work asks for where no plan in force says it: the norms know
    /// nothing of options.
    pub fn tell_work(&self, handbook: &Handbook, days: &[NaiveDate], request: &mut Request) {
        let base = request.published.as_ref().map_or_else(|| first_start(request, days), |place| place.start);
        let plans: Vec<JobPlan> = (1..=CREWS).map_while(|people| self.plan(handbook, base, people)).collect();
        request.crew_min = plans.iter().map(|plan| plan.totals.elapsed_minutes).collect();
        if let Some(plan) = plans.get(usual_crew(request) as usize - 1).filter(|_| !self.is_planned) {
            let needs = Needs::of_plan(handbook, plan);
            needs.apply(&mut request.visit);
            request.visit.notices = facts::of_the_work(handbook, plan);
            request.work_people = needs.people;
        }
    }

    /// The full hours at which the work may have to begin: those of its window in which somebody works and the weather is
    /// known. What was not promised may begin late, up to the end of the window's last day.
    fn hours(&self, request: &Request, working: &[Span]) -> Vec<Span> {
        if stays(request) {
            return Vec::new();
        }
        let visit = &request.visit;
        let latest = if request.promised { visit.window_to } else { midnight_after(visit.window_to) };
        let open = working.iter().map(|&(from, to)| (from.max(visit.window_from), to.min(latest)));
        let hours = open.flat_map(full_hours);
        hours.filter(|(from, _)| self.facts.weather.at(*from).is_some()).collect()
    }

    /// How the length changes by the hour, and the hours at which the work may not begin: with the best outfit, and with
    /// each lesser one where that could do it.
    fn tell_hours(&self, handbook: &Handbook, hours: &[Span], request: &mut Request) {
        let people = usual_crew(request);
        let usual = request.crew_min.get(people as usize - 1).copied();
        let Some(usual) = usual.filter(|minutes| *minutes > 0.0) else { return };
        let Some((best, lesser)) = self.outfits.split_first() else { return };
        let look = |outfit: &Outfit, at| self.look(handbook, at, (people, &outfit.kit));
        let looks: Vec<Option<Look>> = hours.iter().map(|&(from, _)| look(best, from)).collect();
        for (&(from, to), look) in hours.iter().zip(&looks) {
            let factor =
                look.as_ref().filter(|look| look.forbidden.is_none()).map(|look| look.minutes / usual);
            if let Some(factor) = factor.filter(|factor| (factor - 1.0).abs() > SAME_LENGTH) {
                request.work_spans.push(WorkSpan { from, to, factor_from: factor, factor_to: factor });
            }
        }
        for outfit in lesser {
            let or_worse = |(&(from, _), best): (&Span, &Option<Look>)| {
                let hopeless = best.as_ref().is_some_and(Look::is_forbidden_to_all);
                if hopeless { best.clone() } else { look(outfit, from) }
            };
            let looks: Vec<Option<Look>> = hours.iter().zip(&looks).map(or_worse).collect();
            self.close_hours(handbook, (hours, &looks), (people, outfit), request);
        }
        self.close_hours(handbook, (hours, &looks), (people, best), request);
    }

    /// The hours at which the work may not begin with an outfit.
    fn close_hours(
        &self,
        handbook: &Handbook,
        (hours, looks): (&[Span], &[Option<Look>]),
        (people, outfit): (u32, &Outfit),
        request: &mut Request,
    ) {
        let mut closed = Vec::new();
        // Where all vans are alike nobody needs to be told which.
        let vans: &[String] = if self.outfits.len() > 1 { &outfit.vans } else { &[] };
        for (nth, &(from, to)) in hours.iter().enumerate() {
            let Some(look) = &looks[nth] else { continue };
            if let Some(forbidden) = &look.forbidden {
                close(&mut closed, forbidden.barred((from, to), vans));
                continue;
            }
            let goes_on = hours.get(nth + 1).is_some_and(|next| next.0 == to);
            let next = looks.get(nth + 1).filter(|_| goes_on).and_then(Option::as_ref);
            if let Some(forbidden) = next.and_then(|next| next.forbidden.as_ref()) {
                let last = self.last_open(handbook, (from, to), (people, &outfit.kit));
                if last < to {
                    close(&mut closed, forbidden.barred((last, to), vans));
                }
            }
        }
        request.closed_starts.extend(closed);
    }

    /// What a start would mean; where it is forbidden to so many people, more of them may still be done in time.
    fn look(&self, handbook: &Handbook, at: NaiveDateTime, (people, kit): (u32, &Kit)) -> Option<Look> {
        let plan = self.plan_with(handbook, at, (people, kit))?;
        let forbidden = forbidden(handbook, &plan).map(|(rule, text)| {
            let is_enough = |more: &u32| {
                self.plan_with(handbook, at, (*more, kit)).is_some_and(|plan| is_open(handbook, &plan))
            };
            Forbidden { below_people: (people + 1..=CREWS).find(is_enough), rule, text }
        });
        Some(Look { minutes: plan.totals.elapsed_minutes, forbidden })
    }

    /// Between a start that is open and one that is not: until when it stays open, as far as a few looks tell.
    fn last_open(&self, handbook: &Handbook, (mut open, mut shut): Span, with: (u32, &Kit)) -> NaiveDateTime {
        for _ in 0..NARROWINGS {
            let middle = open + (shut - open) / 2;
            let plan = self.plan_with(handbook, middle, with);
            if plan.is_some_and(|plan| is_open(handbook, &plan)) { open = middle } else { shut = middle }
        }
        // That one is open itself.
        open + TimeDelta::seconds(1)
    }

    /// None where the facts contradict each other.
    fn plan(&self, handbook: &Handbook, at: NaiveDateTime, people: u32) -> Option<JobPlan> {
        self.plan_with(handbook, at, (people, &self.facts.kit))
    }

    fn plan_with(
        &self,
        handbook: &Handbook,
        at: NaiveDateTime,
        (people, kit): (u32, &Kit),
    ) -> Option<JobPlan> {
        let member = self.facts.crew.first()?;
        let crew = (1..=people).map(|nth| CrewMember { name: format!("technician {nth}"), ..member.clone() });
        let facts = PlanFacts { crew: crew.collect(), kit: kit.clone(), ..self.facts.clone() };
        facts.plan(handbook, &plan_input::start(at, self.zone, None)).ok()
    }

    /// What forbids a start there by the hour, with that van.
    pub fn forbidden_at(
        &self,
        handbook: &Handbook,
        at: NaiveDateTime,
        (people, van): (u32, &str),
    ) -> Option<(String, String)> {
        self.facts.weather.at(at)?;
        let of_van = self.outfits.iter().find(|outfit| outfit.vans.iter().any(|id| id == van));
        let kit = of_van.map_or(&self.facts.kit, |outfit| &outfit.kit);
        forbidden(handbook, &self.plan_with(handbook, at, (people, kit))?)
    }
}

/// Somebody who has learned all that anybody has: skills are judged elsewhere.
fn able(people: &[Person]) -> CrewMember {
    let mut skills: Vec<String> = people.iter().flat_map(|person| person.fields.skills.0.clone()).collect();
    skills.sort();
    skills.dedup();
    CrewMember { name: String::new(), skills, trainee: false }
}

/// What vans have on board that are equipped alike.
struct Outfit {
    vans: Vec<String>,
    kit: Kit,
}

/// The outfits of these vans, the one with most equipment first.
fn outfits(vans: &[Van]) -> Vec<Outfit> {
    let mut all: Vec<(BTreeSet<&String>, Outfit)> = Vec::new();
    for van in vans.iter().filter(|van| van.fields.retired_at.is_none()) {
        let kit = &van.fields.kit.0;
        let equipment: BTreeSet<&String> = kit.equipment.iter().collect();
        match all.iter_mut().find(|(known, _)| *known == equipment) {
            Some((_, outfit)) => outfit.vans.push(van.id.to_string()),
            None => all.push((equipment, Outfit { vans: vec![van.id.to_string()], kit: kit.clone() })),
        }
    }
    all.sort_by_key(|(equipment, _)| std::cmp::Reverse(equipment.len()));
    all.into_iter().map(|(_, outfit)| outfit).collect()
}

/// What a start at some hour would mean.
#[derive(Clone)]
struct Look {
    minutes: f64,
    forbidden: Option<Forbidden>,
}

impl Look {
    fn is_forbidden_to_all(&self) -> bool {
        self.forbidden.as_ref().is_some_and(|forbidden| forbidden.below_people.is_none())
    }
}

/// Why a start is forbidden, and from how many people on it is not.
#[derive(Clone)]
struct Forbidden {
    below_people: Option<u32>,
    rule: String,
    text: String,
}

impl Forbidden {
    fn barred(&self, (from, to): Span, vans: &[String]) -> Barred {
        let (rule, text) = (self.rule.clone(), self.text.clone());
        Barred { from, to, below_people: self.below_people, vans: vans.to_vec(), rule, text }
    }
}

fn is_open(handbook: &Handbook, plan: &JobPlan) -> bool {
    forbidden(handbook, plan).is_none()
}

/// The first rule of the hour that forbids the work.
fn forbidden(handbook: &Handbook, plan: &JobPlan) -> Option<(String, String)> {
    let blocks = |notice: &&domain::plan::Notice| {
        notice.severity == Severity::Block && is_of_the_hour(handbook, &notice.rule)
    };
    plan.notices.iter().find(blocks).map(|notice| (notice.rule.clone(), notice.text.clone()))
}

/// Adds hours, joined with those before them where the same rule goes on.
fn close(closed: &mut Vec<Barred>, next: Barred) {
    match closed.last_mut() {
        Some(last)
            if (last.to, last.below_people, &last.rule) == (next.from, next.below_people, &next.rule) =>
        {
            last.to = next.to;
        }
        _ => closed.push(next),
    }
}

fn first_start(request: &Request, days: &[NaiveDate]) -> NaiveDateTime {
    let nine = NaiveTime::from_hms_opt(9, 0, 0).unwrap_or(NaiveTime::MIN);
    let first = days.first().map(|day| day.and_time(nine));
    first.map_or(request.visit.window_from, |nine| nine.max(request.visit.window_from))
}

/// As many as the work asks for, of those that are planned for.
fn usual_crew(request: &Request) -> u32 {
    request.visit.hands.clamp(1, CREWS)
}

/// When anybody is at work on these days, with the overtime that a round may have.
fn working(problem: &RoundsProblem) -> Vec<Span> {
    let overtime = TimeDelta::minutes(problem.weights.overtime_most_min.clamp(0.0, 480.0) as i64);
    let days = problem.technicians.iter().flat_map(|person| &person.roster);
    let spans = days.flat_map(|day| {
        day.hours.iter().map(move |hours| (day.on.and_time(hours.from), day.on.and_time(hours.to) + overtime))
    });
    facts::joined(spans.collect())
}

/// A span cut at full hours; none where it ends before it begins.
fn full_hours((from, to): Span) -> Vec<Span> {
    let mut hours = Vec::new();
    let mut at = from;
    while at < to {
        let full = at.date().and_time(NaiveTime::MIN) + TimeDelta::hours(i64::from(at.hour()) + 1);
        hours.push((at, full.min(to)));
        at = full;
    }
    hours
}

/// The end of the day that a window ends on.
fn midnight_after(window_to: NaiveDateTime) -> NaiveDateTime {
    let last = (window_to - TimeDelta::seconds(1)).date();
    last.succ_opt().unwrap_or(last).and_time(NaiveTime::MIN)
}

/// So many hours are judged by the first of them that the plans for all visits are not too many. A day is looked at once
/// at least.
fn how_many_joined(all: &[Vec<Span>], outfits: usize) -> usize {
    let plans = |joined: usize| -> usize {
        all.iter().map(|hours| CREWS as usize + outfits * coarser(hours, joined).len()).sum()
    };
    (1..MOST_JOINED).find(|&joined| plans(joined) <= MOST_PLANS).unwrap_or(MOST_JOINED)
}

/// The hours of each day, so many joined.
fn coarser(hours: &[Span], joined: usize) -> Vec<Span> {
    let days = hours.chunk_by(|one, next| one.0.date() == next.0.date());
    let parts = days.flat_map(|day| day.chunks(joined));
    parts.filter_map(|part| Some((part.first()?.0, part.last()?.1))).collect()
}

/// Rules of these kinds speak of heat.
const OF_HEAT: [&str; 3] = ["heat", "sun", "evaporation"];

/// The hours of a day at which heat forbids a job, joined, and why.
pub fn hot_hours(
    handbook: &Handbook,
    facts: &PlanFacts,
    on: NaiveDate,
    zone: Tz,
) -> Vec<(NaiveDateTime, NaiveDateTime, String)> {
    let mut hot: Vec<(NaiveDateTime, NaiveDateTime, String)> = Vec::new();
    for hour in DAY_H.0..DAY_H.1 {
        let from = on.and_time(NaiveTime::MIN) + TimeDelta::hours(i64::from(hour));
        let to = from + TimeDelta::hours(1);
        if facts.weather.at(from).is_none() {
            continue;
        }
        let Ok(plan) = facts.plan(handbook, &plan_input::start(from, zone, None)) else { continue };
        let of_heat =
            |rule: &str| handbook.rule(rule).is_some_and(|rule| OF_HEAT.contains(&rule.category.as_str()));
        let Some((rule, text)) = forbidden(handbook, &plan).filter(|(rule, _)| of_heat(rule)) else {
            continue;
        };
        match hot.last_mut() {
            Some(last) if last.1 == from => last.1 = to,
            _ => hot.push((from, to, format!("{text} ({rule})"))),
        }
    }
    hot
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> NaiveDateTime {
        text.parse().expect("a time")
    }

    #[test]
    fn a_span_is_cut_at_full_hours() {
        let cut = full_hours((at("2026-05-04T22:30:00"), at("2026-05-05T00:15:00")));
        let times = ["04T22:30:00", "04T23:00:00", "05T00:00:00", "05T00:15:00"];
        let times = times.map(|time| at(&format!("2026-05-{time}")));
        let expected: Vec<Span> = times.windows(2).map(|two| (two[0], two[1])).collect();
        assert_eq!(cut, expected);
        assert!(full_hours((at("2026-05-04T22:30:00"), at("2026-05-04T22:30:00"))).is_empty());
        let midnight = at("2026-05-05T00:00:00");
        assert_eq!([midnight, at("2026-05-04T16:00:00")].map(midnight_after), [midnight; 2]);
    }

    /// By hand, with two plans for the crews of each visit: 11 hours on each of 14 days are 156 plans, joined by two 86,
    /// by four 44, and never more. With two outfits they are 310, joined by two 170, by three 114.
    #[test]
    fn the_more_visits_the_fewer_hours_of_each_and_never_none() {
        let hours: Vec<Span> = (0..14)
            .flat_map(|day| {
                let midnight = at("2026-05-04T00:00:00") + TimeDelta::days(day);
                full_hours((midnight + TimeDelta::hours(7), midnight + TimeDelta::hours(18)))
            })
            .collect();
        assert_eq!(hours.len(), 154);
        for (visits, joined) in [(0, 1), (64, 1), (65, 2), (200, 4), (2000, 4)] {
            assert_eq!(how_many_joined(&vec![hours.clone(); visits], 1), joined, "{visits}");
        }
        assert_eq!(how_many_joined(&vec![hours.clone(); 64], 2), 3);
        assert_eq!(coarser(&hours, 4).len(), 3 * 14);
        let days = coarser(&hours, 24);
        assert_eq!(days.len(), 14);
        assert_eq!(days[13], (at("2026-05-17T07:00:00"), at("2026-05-17T18:00:00")));
    }
}
