//! Plans in the words of the shop, on random shops with all that a problem can have: plain code counts, orders and adds
//! up, and the judge of days, which shares nothing with the search, finds nothing that a plan may not do.

use super::random_case::Chance;
use super::shop::*;
use chrono::{NaiveDate, NaiveDateTime, TimeDelta};
use domain::dispatch::ConflictCode::*;
use domain::dispatch::planning::{
    Barred, LinkedDays, PlannedRound, PlannedStop, Request, RosterDay, RosteredTechnician, RosteredVan,
    RoundsPlan, RoundsProblem, StopKind, VisitLink, WorkSpan, offers, plan_rounds, replan_rounds,
};
use domain::dispatch::search::Iterations;
use domain::dispatch::{Conflict, Place, Refill, conflicts};
use domain::site::{HourRange, Site};

const SEEDS: u64 = 150;
const ITERATIONS: u64 = 150;
/// As in the usual weights.
const MOST_OVERTIME_MIN: i64 = 60;

#[test]
fn plans_agree_with_plain_code_and_with_the_judge() {
    let mut wrong: Vec<String> = Vec::new();
    for seed in 0..SEEDS {
        let mut chance = Chance::new(seed + 1);
        let mut problem = shop(&mut chance);
        let plan = plan_rounds(&problem, seed, &mut Iterations(ITERATIONS));
        let mut say = |when: &str, faults: Vec<String>| {
            wrong.extend(faults.into_iter().map(|fault| format!("seed {seed}, {when}: {fault}")));
        };
        say("planned", faults(&problem, &plan));
        if seed.is_multiple_of(2) {
            publish(&mut problem, &plan);
            happen(&mut chance, &mut problem);
            let plan = replan_rounds(&problem, seed, &mut Iterations(ITERATIONS)).plan;
            say("planned again", faults(&problem, &plan));
            say("planned again", moved_although_frozen(&problem, &plan));
            say("offered", offered_on_top(&mut chance, &problem));
        }
    }
    assert!(wrong.is_empty(), "{} faults:\n{}", wrong.len(), wrong.join("\n"));
}

/// From a Friday on, so that a Saturday is among the days.
fn shop(c: &mut Chance) -> RoundsProblem {
    let first = days()[0] + TimeDelta::days(2);
    let days: Vec<NaiveDate> =
        (0..1 + c.below(3)).map(|day| first + TimeDelta::days(i64::from(day))).collect();
    let (vans, people, visits) = (2 + c.below(3), 3 + c.below(4), 6 + c.below(9));
    RoundsProblem {
        technicians: (0..people).map(|nth| person(c, nth, vans, &days)).collect(),
        vans: (0..vans).map(|nth| some_van(c, nth)).collect(),
        requests: (0..visits).map(|nth| wanted(c, nth, &days)).collect(),
        links: links(c, days.len()),
        ..RoundsProblem::new(days, plane(0.0, 0.0))
    }
}

fn place(c: &mut Chance) -> Place {
    let mut km = || f64::from(c.below(17) - 8);
    plane(km(), km())
}

fn person(c: &mut Chance, nth: i32, vans: i32, days: &[NaiveDate]) -> RosteredTechnician {
    let mut rostered = technician(&format!("T{nth}"), &format!("V{}", nth % vans));
    for skill in ["coating", "platform"] {
        if c.percent(40) {
            rostered.technician.skills.push(skill.into());
        }
    }
    rostered.technician.trainee = c.percent(15);
    rostered.roster.clear();
    for &on in days {
        let spans = match c.below(6) {
            0 => vec![hours("07:00", "12:00"), hours("13:00", "16:00")],
            1 => vec![hours("08:00", "11:00"), hours("12:30", "17:00")],
            2 => vec![hours("08:00", "17:00")],
            _ => vec![hours("07:00", "16:00")],
        };
        if c.percent(85) {
            rostered.roster.push(RosterDay { on, hours: spans });
        }
    }
    rostered
}

fn some_van(c: &mut Chance, nth: i32) -> RosteredVan {
    let mut rostered = van(&format!("V{nth}"), 150.0 + f64::from(c.below(4) * 70));
    let van = &mut rostered.van;
    van.seats = 1 + c.below(3) as u32;
    van.home = c.percent(40).then(|| place(c));
    if c.percent(40) {
        van.refills.push(Refill { place: place(c), minutes: 10.0 });
    }
    if c.percent(20) {
        van.refills.clear();
    }
    van.equipment.retain(|_| c.percent(85));
    if c.percent(50) {
        van.equipment.push("platform".into());
    }
    van.battery_kwh = f64::from(1 + c.below(5));
    van.generator = c.percent(30);
    rostered
}

fn wanted(c: &mut Chance, nth: i32, days: &[NaiveDate]) -> Request {
    let mut new = request(&format!("J{nth}"), place(c), "08:00", "09:00");
    let on = days[c.below(days.len() as i32) as usize];
    let from = on.and_time(clock("07:00")) + TimeDelta::hours(i64::from(c.below(7)));
    let visit = &mut new.visit;
    (visit.window_from, visit.window_to) = if c.percent(25) {
        (days[0].and_time(clock("07:00")), days[days.len() - 1].and_time(clock("18:00")))
    } else {
        (from, from + TimeDelta::hours(i64::from(4 + c.below(4))))
    };
    visit.work_min = f64::from(30 + 10 * c.below(10));
    visit.hands = if c.percent(15) { 2 } else { 1 };
    visit.platform = c.percent(5);
    visit.water_l = f64::from(30 * c.below(8));
    visit.machine_kwh = 0.5 * f64::from(c.below(5));
    visit.product_ml = [("iron_remover".to_owned(), f64::from(200 * c.below(4)))].into();
    match c.below(5) {
        0 => visit.steps = steps(&["C02", "C03", "H04"]),
        1 => visit.steps = steps(&["F01"]),
        2 => visit.steps = steps(&["C02"]),
        _ => {}
    }
    visit.site = site(c);
    (new.priority, new.promised) = (1 + c.below(5) as u8, c.percent(50));
    narrow(c, &mut new, on, days);
    new
}

fn site(c: &mut Chance) -> Site {
    Site {
        generator_allowed: c.percent(20).then_some(false),
        saturday_allowed: c.percent(30).then_some(false),
        machine_hours: c.percent(20).then(|| hours("09:00", "16:00")),
        water_restriction: c.percent(20).then(|| c.below(4) as u8),
        tap: c.percent(10).then_some(true),
        mains: c.percent(10).then_some(true),
        ..Site::default()
    }
}

/// Weather, heat and jobs that are not planned here.
fn narrow(c: &mut Chance, new: &mut Request, on: NaiveDate, days: &[NaiveDate]) {
    let rain = |from: &str, to: &str| Barred {
        below_people: None,
        vans: Vec::new(),
        from: on.and_time(clock(from)),
        to: on.and_time(clock(to)),
        rule: "R32".into(),
        text: "rain".into(),
    };
    if c.percent(20) {
        new.barred = vec![rain("12:00", "14:00")];
    }
    if c.percent(15) {
        new.closed_starts = vec![rain("08:00", "09:30")];
    }
    if c.percent(20) {
        let heat = |day: &NaiveDate| WorkSpan {
            from: day.and_time(clock("12:00")),
            to: day.and_time(clock("17:00")),
            factor_from: 1.0,
            factor_to: 1.3,
        };
        new.work_spans = days.iter().map(heat).collect();
    }
    if c.percent(10) {
        let day = days[c.below(days.len() as i32) as usize];
        new.linked_days = vec![LinkedDays { with: "J99".into(), from: day, to: day }];
    }
}

fn links(c: &mut Chance, days: usize) -> Vec<VisitLink> {
    let job = |nth: usize| format!("J{nth}");
    let mut links = Vec::new();
    if days > 1 && c.percent(40) {
        links.push(VisitLink::After { first: job(0), then: job(1), least_days: 1, most_days: 2 });
    }
    if c.percent(30) {
        links.push(VisitLink::Together { one: job(2), other: job(3) });
    }
    if c.percent(40) {
        links.push(VisitLink::SamePerson { one: job(4), other: job(5) });
    }
    links
}

/// Some visits are fixed, some take longer; at times somebody is ill or a van is out, and a new visit comes in.
fn happen(c: &mut Chance, problem: &mut RoundsProblem) {
    for request in &mut problem.requests {
        if let Some(published) = &mut request.published {
            published.frozen = c.percent(25);
        }
        if c.percent(20) {
            request.visit.work_min += 10.0;
        }
    }
    let first = problem.days[0];
    if c.percent(40) {
        problem.technicians[0].roster.retain(|day| day.on != first);
    }
    if c.percent(20) {
        problem.vans[0].out_on = vec![first];
    }
    let new = wanted(c, problem.requests.len() as i32, &problem.days);
    problem.requests.push(new);
}

fn faults(problem: &RoundsProblem, plan: &RoundsPlan) -> Vec<String> {
    let mut wrong = counted(problem, plan);
    for (nth, round) in plan.rounds.iter().enumerate() {
        wrong.extend(out_of_order(round));
        wrong.extend(out_of_hours(problem, round));
        wrong.extend(breaks(problem, round));
        let others = &plan.rounds[nth + 1..];
        wrong.extend(others.iter().filter_map(|other| two_places_at_once(problem, round, other)));
    }
    wrong.extend(costs(plan));
    let judged = problem.days.iter().flat_map(|&on| conflicts(&plan.day(problem, on)));
    let not_allowed = judged.filter(|conflict| !may_be(problem, plan, conflict));
    wrong.extend(not_allowed.map(|conflict| format!("{:?}: {}", conflict.code, conflict.text)));
    wrong
}

/// Every request is on one stop, or unserved with reasons.
fn counted(problem: &RoundsProblem, plan: &RoundsPlan) -> Vec<String> {
    let mut wrong = Vec::new();
    for request in &problem.requests {
        let job = &request.visit.job;
        let stops = plan.rounds.iter().flat_map(visits).filter(|stop| stop.job.as_ref() == Some(job)).count();
        let unserved: Vec<_> = plan.unserved.iter().filter(|unserved| unserved.job == *job).collect();
        if stops + unserved.len() != 1 || unserved.iter().any(|unserved| unserved.reasons.is_empty()) {
            wrong.push(format!("{job} is on {stops} stops, and unserved: {unserved:?}"));
        }
    }
    wrong
}

fn visits(round: &PlannedRound) -> impl Iterator<Item = &PlannedStop> {
    round.stops.iter().filter(|stop| stop.kind == StopKind::Visit)
}

fn is_frozen(problem: &RoundsProblem, job: &str) -> bool {
    let request = problem.requests.iter().find(|request| request.visit.job == job);
    request.and_then(|request| request.published.as_ref()).is_some_and(|published| published.frozen)
}

fn stays(problem: &RoundsProblem, stop: &PlannedStop) -> bool {
    stop.job.as_deref().is_some_and(|job| is_frozen(problem, job))
}

/// One stop after the other between departure and return, and no refill before the first visit or after the last.
fn out_of_order(round: &PlannedRound) -> Vec<String> {
    let mut wrong = Vec::new();
    let mut before = round.departs_at;
    for stop in &round.stops {
        if ![before, stop.arrives_at, stop.starts_at, stop.finishes_at].is_sorted() {
            wrong.push(format!("{} {}: out of order at {}", round.on, round.van, stop.arrives_at));
        }
        before = stop.finishes_at;
    }
    let ends = [round.stops.first(), round.stops.last()];
    let refills = ends.into_iter().flatten().any(|stop| stop.kind == StopKind::Refill);
    if before > round.returns_at || refills || visits(round).next().is_none() {
        wrong.push(format!("{} {}: ends badly: {round:?}", round.on, round.van));
    }
    wrong
}

/// When a technician of the shop is at work.
fn spans<'a>(problem: &'a RoundsProblem, id: &str, on: NaiveDate) -> &'a [HourRange] {
    let who = problem.technicians.iter().find(|rostered| rostered.technician.id == id);
    let day = who.and_then(|rostered| rostered.roster.iter().find(|day| day.on == on));
    day.map_or(&[], |day| day.hours.as_slice())
}

/// What does not stay is worked at in one span of everybody's hours, or after the last by overtime; and in a van that is
/// there.
fn out_of_hours(problem: &RoundsProblem, round: &PlannedRound) -> Vec<String> {
    let out = problem.vans.iter().any(|van| van.van.id == round.van && van.out_on.contains(&round.on));
    let is_at_work = |id: &String, stop: &PlannedStop| {
        let spans = spans(problem, id, round.on);
        spans.iter().enumerate().any(|(nth, span)| {
            let overtime = if nth + 1 == spans.len() { MOST_OVERTIME_MIN } else { 0 };
            let to = round.on.and_time(span.to) + TimeDelta::minutes(overtime);
            round.on.and_time(span.from) <= stop.starts_at && stop.finishes_at <= to
        })
    };
    let moving = visits(round).filter(|stop| !stays(problem, stop));
    let wrong = moving.filter(|stop| out || !round.technicians.iter().all(|id| is_at_work(id, stop)));
    wrong.map(|stop| format!("{} {}: out of hours or of use: {stop:?}", round.on, round.van)).collect()
}

/// A break is the shop's or a gap in the hours of the crew; who is out from eleven until after two has had one.
fn breaks(problem: &RoundsProblem, round: &PlannedRound) -> Vec<String> {
    let all_at_work = |at: NaiveDateTime| {
        let is_at_work =
            |id: &String| spans(problem, id, round.on).iter().any(|span| span.contains(at.time()));
        round.technicians.iter().all(is_at_work)
    };
    let minute = TimeDelta::minutes(1);
    let at = |time: &str| round.on.and_time(clock(time));
    let mut wrong = Vec::new();
    let mut rested = false;
    for stop in round.stops.iter().filter(|stop| stop.kind == StopKind::Break) {
        let (from, to) = (stop.starts_at, stop.finishes_at);
        let is_rest = to - from == TimeDelta::minutes(30) && at("11:00") <= from && from <= at("14:00");
        let ends =
            [all_at_work(from - minute), !all_at_work(from), !all_at_work(to - minute), all_at_work(to)];
        if !is_rest && ends.contains(&false) {
            wrong.push(format!("{} {}: a break at {from} to {to}", round.on, round.van));
        }
        rested |= at("11:30") <= to && from <= at("14:00") && to - from >= TimeDelta::minutes(30);
    }
    let is_due = round.departs_at <= at("11:00") && at("14:00") < round.returns_at;
    if is_due && !rested && !visits(round).any(|stop| stays(problem, stop)) {
        wrong.push(format!("{} {}: no break: {round:?}", round.on, round.van));
    }
    wrong
}

/// Only rounds of nothing but what stays may share a van or a person at one time.
fn two_places_at_once(problem: &RoundsProblem, one: &PlannedRound, other: &PlannedRound) -> Option<String> {
    let shares = one.van == other.van || one.technicians.iter().any(|id| other.technicians.contains(id));
    let at_once = one.departs_at < other.returns_at && other.departs_at < one.returns_at;
    let decided = visits(one).chain(visits(other)).all(|stop| stays(problem, stop));
    (shares && at_once && !decided).then(|| format!("two places at once: {one:?} and {other:?}"))
}

fn costs(plan: &RoundsPlan) -> Option<String> {
    let cost = &plan.cost;
    ((parts_of(cost) - cost.total).abs() > 1e-6).then(|| format!("{cost:?}"))
}

/// What the judge may find: a late end that was not promised, overtime, another technician than wanted, and whatever comes
/// of visits that stay.
fn may_be(problem: &RoundsProblem, plan: &RoundsPlan, conflict: &Conflict) -> bool {
    let of = |job: &String| problem.requests.iter().find(|request| request.visit.job == *job);
    let jobs = &conflict.jobs;
    if jobs.iter().any(|job| is_frozen(problem, job)) {
        return true;
    }
    match conflict.code {
        Late => jobs.iter().filter_map(of).all(|request| !request.promised),
        OutsideHours => {
            let minutes = conflict.figures.first().map_or(0.0, |figure| figure.value);
            minutes <= MOST_OVERTIME_MIN as f64 || beside_frozen(problem, plan, jobs)
        }
        Linked => problem.links.iter().any(|link| match link {
            VisitLink::SamePerson { one, other } => jobs.contains(one) && jobs.contains(other),
            _ => false,
        }),
        Travel | TankShort | PowerShort | GeneratorForbidden | StockShort | Seats => {
            beside_frozen(problem, plan, jobs)
        }
        _ => false,
    }
}

/// The van of one of these jobs has a visit that stays on that day.
fn beside_frozen(problem: &RoundsProblem, plan: &RoundsPlan, jobs: &[String]) -> bool {
    let has = |round: &&PlannedRound| {
        visits(round).any(|stop| stop.job.as_ref().is_some_and(|job| jobs.contains(job)))
    };
    plan.rounds.iter().filter(has).any(|theirs| {
        let same = plan.rounds.iter().filter(|round| (round.on, &round.van) == (theirs.on, &theirs.van));
        same.flat_map(visits).any(|stop| stays(problem, stop))
    })
}

/// What is frozen has its van, its crew and its start, unless it is told that it begins later.
fn moved_although_frozen(problem: &RoundsProblem, plan: &RoundsPlan) -> Vec<String> {
    let mut wrong = Vec::new();
    for request in problem.requests.iter().filter(|request| is_frozen(problem, &request.visit.job)) {
        let (job, Some(place)) = (&request.visit.job, &request.published) else { continue };
        let mut stops = plan.rounds.iter().flat_map(|round| visits(round).map(move |stop| (round, stop)));
        let found = stops.find(|(_, stop)| stop.job.as_ref() == Some(job));
        let is_told =
            plan.faults.iter().any(|fault| fault.starts_with(&format!("{job}: ")) && fault.contains("later"));
        let is_kept = found.is_some_and(|(round, stop)| {
            round.van == place.van
                && round.technicians.iter().all(|id| place.technicians.contains(id))
                && (stop.starts_at == place.start || is_told)
        });
        if !is_kept {
            wrong.push(format!("{job} was {place:?} and is {found:?}"));
        }
    }
    wrong
}

/// Nothing is offered to a van or a person in the hours of a visit that stands.
fn offered_on_top(c: &mut Chance, problem: &RoundsProblem) -> Vec<String> {
    let new = wanted(c, 100, &problem.days);
    let windows = [hours("08:00", "11:00"), hours("11:00", "14:00"), hours("13:00", "16:00")];
    let mut wrong = Vec::new();
    for offer in offers(problem, &new, &windows, 9) {
        for request in &problem.requests {
            let Some(place) = &request.published else { continue };
            let shares =
                place.van == offer.van || place.technicians.iter().any(|id| offer.technicians.contains(id));
            // Without the heat, which makes it longer.
            let seconds = request.visit.work_min * 60.0 / place.technicians.len() as f64;
            let ends = place.start + TimeDelta::seconds(seconds as i64);
            if shares && offer.start < ends && place.start < offer.finish {
                wrong.push(format!("{offer:?} lies on {} at {place:?}", request.visit.job));
            }
        }
    }
    wrong
}
