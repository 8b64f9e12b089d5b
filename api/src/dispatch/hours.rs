//! What the hour of the day and the size of the crew do to a visit, as the planner sees it: how long the work takes, and
//! when it may not begin.

use super::facts::is_of_the_hour;
use crate::db::Db;
use crate::db::jobs::Job;
use crate::db::kinds::Id;
use crate::db::people::Person;
use crate::db::vans::Van;
use crate::error::ApiError;
use crate::plan_input::{self, gather_for, weather_between, zone_of};
use chrono::{NaiveDate, NaiveDateTime, NaiveTime, TimeDelta};
use chrono_tz::Tz;
use domain::dispatch::planning::{Barred, Request, WorkSpan};
use domain::handbook::{Handbook, Severity};
use domain::plan::{CrewMember, ExtraWork, JobPlan, Norms, PlanFacts};
use std::sync::Arc;

/// Starts looked at for one visit, at most, but one on each day.
const MOST_STARTS: usize = 24;
/// Nobody begins before or after these hours (assumption); other starts are judged like the nearest.
const DAY_H: (u32, u32) = (5, 21);
/// Lengths that differ by less are the same (assumption): each step of a length costs the search.
const SAME_LENGTH: f64 = 0.03;
/// Sizes of crews that are planned for; larger ones share the time evenly.
const CREWS: u32 = 2;

/// What a visit is planned from.
pub struct Detail {
    /// Its place among the requests.
    pub nth: usize,
    pub facts: PlanFacts,
    zone: Tz,
}

impl Detail {
    /// None where there is no van or nobody to plan with. Who has no van yet is planned with the best equipped one.
    pub fn read(
        db: &mut Db<'_>,
        nth: usize,
        job: &Job,
        crew: &[Id],
        (vans, people): (&[Van], &[Person]),
        (first, last): (NaiveDate, NaiveDate),
        norms: &Arc<Norms>,
    ) -> Result<Option<Detail>, ApiError> {
        let best = vans.iter().max_by_key(|van| van.fields.kit.0.equipment.len()).map(|van| van.id);
        let anybody = people.first().map(|person| vec![person.id]).unwrap_or_default();
        let crew = if crew.is_empty() { &anybody } else { crew };
        let stand_in = Job { van: job.van.or(best), ..job.clone() };
        let mut facts = match gather_for(db, &stand_in, crew, ExtraWork::default(), norms) {
            Ok((facts, _)) => facts,
            Err(ApiError::Conflict { .. }) => return Ok(None),
            Err(error) => return Err(error),
        };
        let zone = zone_of(db, None)?;
        facts.weather.hours = weather_between(db, first, last, zone, zone)?;
        facts.crew = vec![able(people)];
        Ok(Some(Detail { nth, facts, zone }))
    }

    /// Minutes by the size of the crew, and what changes by the hour.
    pub fn tell(&self, handbook: &Handbook, days: &[NaiveDate], request: &mut Request) {
        let base = request.published.as_ref().map_or_else(|| first_start(request, days), |place| place.start);
        let plans: Vec<JobPlan> = (1..=CREWS).map_while(|people| self.plan(handbook, base, people)).collect();
        request.crew_min = plans.iter().map(|plan| plan.totals.elapsed_minutes).collect();
        let people = request.visit.hands.clamp(1, CREWS);
        let Some(usual) = request.crew_min.get(people as usize - 1).copied().filter(|minutes| *minutes > 0.0)
        else {
            return;
        };
        for (from, to) in starts(request, days) {
            if self.facts.weather.at(from).is_none() {
                continue;
            }
            let Some(plan) = self.plan(handbook, from, people) else { continue };
            if let Some((rule, text)) = forbidden(handbook, &plan) {
                close(&mut request.closed_starts, Barred { from, to, rule, text });
                continue;
            }
            let factor = plan.totals.elapsed_minutes / usual;
            if (factor - 1.0).abs() > SAME_LENGTH {
                request.work_spans.push(WorkSpan { from, to, factor_from: factor, factor_to: factor });
            }
        }
    }

    /// None where the facts contradict each other.
    fn plan(&self, handbook: &Handbook, at: NaiveDateTime, people: u32) -> Option<JobPlan> {
        let member = self.facts.crew.first()?;
        let crew = (1..=people).map(|nth| CrewMember { name: format!("technician {nth}"), ..member.clone() });
        let facts = PlanFacts { crew: crew.collect(), ..self.facts.clone() };
        facts.plan(handbook, &plan_input::start(at, self.zone, None)).ok()
    }

    /// What forbids a start there by the hour.
    pub fn forbidden_at(
        &self,
        handbook: &Handbook,
        at: NaiveDateTime,
        people: u32,
    ) -> Option<(String, String)> {
        self.facts.weather.at(at)?;
        forbidden(handbook, &self.plan(handbook, at, people)?)
    }
}

/// Somebody who has learned all that anybody has: skills are judged elsewhere.
fn able(people: &[Person]) -> CrewMember {
    let mut skills: Vec<String> = people.iter().flat_map(|person| person.fields.skills.0.clone()).collect();
    skills.sort();
    skills.dedup();
    CrewMember { name: String::new(), skills, trainee: false }
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
        Some(last) if last.to == next.from && last.rule == next.rule => last.to = next.to,
        _ => closed.push(next),
    }
}

fn first_start(request: &Request, days: &[NaiveDate]) -> NaiveDateTime {
    let nine = NaiveTime::from_hms_opt(9, 0, 0).unwrap_or(NaiveTime::MIN);
    let first = days.first().map(|day| day.and_time(nine));
    first.map_or(request.visit.window_from, |nine| nine.max(request.visit.window_from))
}

/// The spans that the window is cut into at full hours; wider ones, each within its day, where these would be too many.
fn starts(request: &Request, days: &[NaiveDate]) -> Vec<(NaiveDateTime, NaiveDateTime)> {
    let (from, to) = (request.visit.window_from, request.visit.window_to);
    let hour = |day: &NaiveDate, hour: u32| day.and_time(NaiveTime::MIN) + TimeDelta::hours(i64::from(hour));
    let mut spans = Vec::new();
    for day in days {
        for nth in DAY_H.0..DAY_H.1 {
            let (begins, ends) = (hour(day, nth).max(from), hour(day, nth + 1).min(to));
            if begins < ends {
                spans.push((begins, ends));
            }
        }
    }
    let of_days: Vec<_> = spans.chunk_by(|one, next| one.0.date() == next.0.date()).collect();
    let most = (MOST_STARTS / of_days.len().max(1)).max(1);
    let joined = of_days.into_iter().flat_map(|of_day| of_day.chunks(of_day.len().div_ceil(most)));
    joined.filter_map(|part| Some((part.first()?.0, part.last()?.1))).collect()
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
