//! Published rounds are promises: what stays, what changes when something happens, and why.

use super::shop::*;
use domain::dispatch::ConflictCode;
use domain::dispatch::planning::{
    Barred, PlannedRound, Published, Replan, RoundsProblem, StopKind, VisitChangeKind, plan_rounds,
    replan_rounds,
};
use domain::dispatch::search::Iterations;

fn replan(problem: &RoundsProblem) -> Replan {
    replan_rounds(problem, 1, &mut Iterations(80))
}

fn published() -> RoundsProblem {
    let mut problem = sound();
    let plan = plan_rounds(&problem, 1, &mut Iterations(120));
    publish(&mut problem, &plan);
    problem
}

fn place<'a>(problem: &'a mut RoundsProblem, job: &str) -> &'a mut Published {
    let request = problem.requests.iter_mut().find(|request| request.visit.job == job).expect("a request");
    request.published.as_mut().expect("a published visit")
}

#[test]
fn nothing_happens_and_nothing_changes() {
    let told = replan(&published());
    assert_eq!(told.changes, []);
    assert_eq!(told.plan.cost.change, 0.0);
}

#[test]
fn frozen_visits_stay_whatever_happens() {
    let mut problem = published();
    let before = {
        let frozen = place(&mut problem, "J3");
        frozen.frozen = true;
        frozen.clone()
    };
    for request in &mut problem.requests {
        request.visit.work_min += 20.0;
        request.promised = false;
    }
    let told = replan(&problem);
    let rounds =
        told.plan.rounds.iter().find(|round| round.van == before.van && round.on == before.start.date());
    let stop = rounds.and_then(|round| round.stops.iter().find(|stop| stop.job.as_deref() == Some("J3")));
    assert_eq!(stop.map(|stop| stop.starts_at), Some(before.start), "{:#?}", told.plan);
    assert!(told.changes.iter().all(|change| change.job != "J3"));
}

/// The van's visits go to the other van, or to the next day where the windows let them; the reason is the van.
#[test]
fn a_van_is_out() {
    let mut problem = published();
    let van = place(&mut problem, "J3").van.clone();
    let out = problem.vans.iter_mut().find(|rostered| rostered.van.id == van).expect("a van");
    out.out_on = days();
    let told = replan(&problem);
    let moved: Vec<_> =
        told.changes.iter().filter(|change| change.before.as_ref().is_some_and(|b| b.van == van)).collect();
    assert!(!moved.is_empty());
    for change in moved {
        assert!(change.because.iter().any(|reason| reason.code == ConflictCode::UnknownVan), "{change:#?}");
        assert!(change.after.as_ref().is_none_or(|after| after.van != van));
    }
    let kinds: Vec<VisitChangeKind> = told.changes.iter().map(|change| change.kind).collect();
    assert!(kinds.is_sorted(), "smallest first: {kinds:?}");
}

#[test]
fn rain_bars_an_afternoon() {
    let mut problem = published();
    let start = place(&mut problem, "J4").start;
    let request = problem.requests.iter_mut().find(|request| request.visit.job == "J4").expect("a request");
    request.barred = vec![Barred {
        from: start,
        to: at("16:00"),
        below_people: None,
        vans: Vec::new(),
        rule: "R32".into(),
        text: "rain from then on".into(),
    }];
    let told = replan(&problem);
    let change = told.changes.iter().find(|change| change.job == "J4").expect("it cannot stay");
    assert!(change.because.iter().any(|reason| reason.code == ConflictCode::Weather), "{change:#?}");
    assert!(change.after.as_ref().is_none_or(|after| after.start < start));
}

/// An urgent spot visit comes in, and a no-show gives its time back to a visit that waits.
#[test]
fn an_urgent_visit_and_a_no_show() {
    let mut problem = published();
    let mut urgent = request("J9", plane(1.0, 1.0), "08:00", "12:00");
    (urgent.priority, urgent.visit.work_min, urgent.visit.water_l) = (1, 30.0, 20.0);
    problem.requests.push(urgent);
    let told = replan(&problem);
    let added: Vec<&str> =
        told.changes.iter().filter(|c| c.kind == VisitChangeKind::Added).map(|c| c.job.as_str()).collect();
    assert_eq!(added, ["J9"], "{:#?}", told.changes);

    let mut full = published();
    full.days.truncate(1);
    full.technicians.truncate(1);
    for (nth, request) in full.requests.iter_mut().enumerate() {
        request.published = None;
        (request.visit.work_min, request.priority) = (95.0, 1 + nth as u8);
        (request.visit.window_from, request.visit.window_to) = (at("07:00"), at("16:00"));
    }
    let first = plan_rounds(&full, 1, &mut Iterations(120));
    assert_eq!(first.unserved.len(), 1, "one too many for a day");
    let waiting = first.unserved[0].job.clone();
    publish(&mut full, &first);
    let absent = full.requests.iter().position(|request| request.published.is_some()).expect("a visit");
    full.requests.remove(absent);
    let told = replan(&full);
    assert!(
        told.changes.iter().any(|c| c.kind == VisitChangeKind::Added && c.job == waiting),
        "{:#?}",
        told.changes
    );
}

/// Nimbo's van with a visit that stays on the first day.
fn staying(job: &mut domain::dispatch::planning::Request, start: &str) {
    job.published =
        Some(Published { van: "V1".into(), technicians: words(&["Nimbo"]), start: at(start), frozen: true });
}

/// What stays in the evening makes the evening no working time for others, and takes nobody's break.
#[test]
fn what_stays_late_eases_nothing_for_others() {
    let mut requests = vec![
        request("J1", plane(3.0, 4.0), "08:00", "11:00"),
        request("J2", plane(3.0, 4.0), "18:00", "21:00"),
        request("J3", plane(3.0, 4.0), "20:00", "23:30"),
    ];
    staying(&mut requests[1], "18:30");
    let mut problem = problem(requests);
    problem.technicians.truncate(1);
    problem.vans.truncate(1);
    problem.days.truncate(1);
    let plan = replan(&problem).plan;
    assert_eq!(plan.faults, [] as [String; 0]);
    let stops = &plan.rounds[0].stops;
    let jobs: Vec<&str> = stops.iter().filter_map(|stop| stop.job.as_deref()).collect();
    assert_eq!(jobs, ["J1", "J2"], "{plan:#?}");
    assert_eq!(stops.iter().filter(|stop| stop.kind == StopKind::Break).count(), 1, "{plan:#?}");
}

/// More energy than the battery has, and still it stays: that has been decided.
#[test]
fn what_stays_may_be_too_much_for_its_van() {
    let mut requests = vec![request("J1", plane(3.0, 4.0), "08:00", "11:00")];
    requests[0].visit.machine_kwh = 9.0;
    staying(&mut requests[0], "08:30");
    let plan = replan(&problem(requests)).plan;
    assert_eq!((plan.faults.len(), plan.unserved.len()), (0, 0), "{plan:#?}");
    assert_eq!(plan.rounds[0].stops[0].starts_at, at("08:30"));
}

/// Nobody departs in the past, but for what stays there: it began in time.
#[test]
fn nobody_departs_before_now() {
    let mut requests = vec![
        request("J1", plane(3.0, 4.0), "08:00", "11:00"),
        request("J2", plane(4.0, 4.0), "09:00", "16:00"),
        request("J3", plane(-3.0, 4.0), "10:00", "16:00"),
    ];
    staying(&mut requests[0], "08:30");
    let mut problem = problem(requests);
    problem.now = Some(at("10:30"));
    let plan = replan(&problem).plan;
    assert_eq!((plan.faults.len(), plan.unserved.len()), (0, 0), "{plan:#?}");
    for round in &plan.rounds {
        let stays = round.stops.iter().any(|stop| stop.job.as_deref() == Some("J1"));
        assert!(stays || round.departs_at >= at("10:30"), "{round:#?}");
    }
    // By hand: 5 km straight, 6.5 km by road, 13 min.
    let first = plan.rounds.iter().find(|round| round.van == "V1").expect("a round");
    assert_eq!((first.departs_at, first.stops[0].starts_at), (at("08:17"), at("08:30")));
}

/// The jobs of a round with their starts.
fn jobs(round: &PlannedRound) -> Vec<(&str, chrono::NaiveDateTime)> {
    round.stops.iter().filter_map(|stop| Some((stop.job.as_deref()?, stop.starts_at))).collect()
}

/// Whoever is off, whichever van is out, however many seats it has: what stays, stays, and gets nothing beside it.
#[test]
fn what_stays_needs_no_roster() {
    type Change = fn(&mut RoundsProblem);
    let changes: [(&str, &[&str], Change); 4] = [
        ("the crew has the day off", &["Nimbo"], |p| p.technicians[0].roster.clear()),
        ("the van is out", &["Nimbo"], |p| p.vans[0].out_on = days()),
        ("more people than seats", &["Nimbo", "Obbin"], |p| p.vans[0].van.seats = 1),
        ("no common hours", &["Nimbo", "Obbin"], |p| {
            p.technicians[0].roster[0].hours = vec![hours("07:00", "08:00")];
            p.technicians[1].roster[0].hours = vec![hours("12:00", "16:00")];
        }),
    ];
    for (name, crew, change) in changes {
        let mut requests = vec![
            request("J1", plane(3.0, 4.0), "08:00", "11:00"),
            request("J2", plane(3.0, 4.0), "08:00", "16:00"),
        ];
        requests[0].published = Some(Published { frozen: true, ..stands("V1", crew, "09:00") });
        requests[1].visit.window_to += chrono::TimeDelta::days(1);
        let mut problem = problem(requests);
        change(&mut problem);
        let told = replan(&problem);
        assert_eq!((told.plan.faults.len(), told.plan.unserved.len()), (0, 0), "{name}: {:#?}", told.plan);
        let kept = told.plan.rounds.iter().find(|round| round.van == "V1" && round.on == days()[0]);
        let kept = kept.unwrap_or_else(|| panic!("{name}: {:#?}", told.plan));
        assert_eq!((jobs(kept), &kept.technicians), (vec![("J1", at("09:00"))], &words(crew)), "{name}");
        assert!(told.changes.iter().all(|change| change.job != "J1"), "{name}: {:#?}", told.changes);
    }
    // Whom nobody knows cannot be kept.
    let mut requests = vec![request("J1", plane(3.0, 4.0), "08:00", "11:00")];
    requests[0].published = Some(Published { frozen: true, ..stands("V9", &["Nimbo"], "09:00") });
    let told = replan(&problem(requests)).plan;
    assert!(told.faults.len() == 1 && told.faults[0].contains("not known"), "{:?}", told.faults);
}

/// By hand: from 9:30 on it takes 15.6 min to the other place, 6 km as the crow flies.
#[test]
fn what_stays_too_close_to_the_visit_before_begins_later() {
    let mut requests = vec![
        request("J1", plane(3.0, 4.0), "08:00", "11:00"),
        request("J2", plane(-3.0, 4.0), "08:00", "11:00"),
    ];
    staying(&mut requests[0], "08:00");
    staying(&mut requests[1], "09:00");
    let told = replan(&problem(requests));
    let round = told.plan.rounds.iter().find(|round| round.van == "V1").expect("a round");
    let later = at("09:45") + chrono::TimeDelta::seconds(36);
    assert_eq!(jobs(round), [("J1", at("08:00")), ("J2", later)], "{:#?}", told.plan);
    assert!(told.plan.faults.len() == 1 && told.plan.faults[0].contains("later"), "{:?}", told.plan.faults);
    let change = told.changes.iter().find(|change| change.job == "J2").expect("it begins later");
    assert!(change.because.iter().any(|reason| reason.code == ConflictCode::Travel), "{change:#?}");
}

/// One van in the morning with one person and in the afternoon with another: each round has its half of the day.
#[test]
fn a_van_is_handed_over_at_noon() {
    let mut requests = vec![
        request("J1", plane(3.0, 4.0), "08:00", "11:00"),
        request("J2", plane(3.0, 4.0), "12:00", "16:00"),
        request("J3", plane(3.0, 4.0), "08:00", "16:00"),
        request("J4", plane(3.0, 4.0), "14:00", "16:00"),
    ];
    requests[0].published = Some(Published { frozen: true, ..stands("V1", &["Nimbo"], "08:00") });
    requests[1].published = Some(Published { frozen: true, ..stands("V1", &["Obbin"], "13:00") });
    let mut problem = problem(requests);
    problem.vans.truncate(1);
    problem.days.truncate(1);
    let plan = replan(&problem).plan;
    assert_eq!((plan.faults.len(), plan.unserved.len()), (0, 0), "{plan:#?}");
    let [morning, afternoon] = &plan.rounds[..] else { panic!("two rounds: {plan:#?}") };
    assert_eq!((jobs(morning).len(), jobs(afternoon).len()), (2, 2), "{plan:#?}");
    // 13 min before 13:00.
    assert!(morning.returns_at <= at("12:47") && afternoon.departs_at >= at("12:47"), "{plan:#?}");
}

/// Two rounds of one van that overlap cannot be parted: both stay as they are, and that is told.
#[test]
fn rounds_that_overlap_get_nothing_else() {
    for (van, crew, other_crew) in [("V1", "Nimbo", "Obbin"), ("V2", "Nimbo", "Nimbo")] {
        let mut requests = vec![
            request("J1", plane(3.0, 4.0), "08:00", "11:00"),
            request("J2", plane(-3.0, 4.0), "08:00", "11:00"),
            request("J3", plane(3.0, 4.0), "12:00", "16:00"),
        ];
        requests[0].published = Some(Published { frozen: true, ..stands("V1", &[crew], "08:00") });
        requests[1].published = Some(Published { frozen: true, ..stands(van, &[other_crew], "09:00") });
        let mut problem = problem(requests);
        problem.days.truncate(1);
        if van == "V2" {
            problem.technicians.truncate(1);
        }
        let plan = replan(&problem).plan;
        assert!(plan.faults.len() == 1 && plan.faults[0].contains("overlap"), "{:?}", plan.faults);
        let kept: Vec<_> = plan.rounds.iter().flat_map(jobs).collect();
        assert_eq!(kept, [("J1", at("08:00")), ("J2", at("09:00"))], "{plan:#?}");
        let unserved: Vec<&str> = plan.unserved.iter().map(|unserved| unserved.job.as_str()).collect();
        assert_eq!(unserved, ["J3"], "{plan:#?}");
    }
}

/// What comes in takes a place that nothing speaks against: the visit that had it is told who has it now.
#[test]
fn who_makes_room_is_told_for_whom() {
    let mut requests = vec![
        request("J1", plane(3.0, 4.0), "08:00", "16:00"),
        request("J9", plane(3.0, 4.0), "09:00", "10:30"),
    ];
    requests[0].published = Some(stands("V1", &["Nimbo"], "09:00"));
    requests[1].priority = 1;
    let mut problem = problem(requests);
    problem.technicians.truncate(1);
    problem.vans.truncate(1);
    problem.days.truncate(1);
    let told = replan(&problem);
    let change = told.changes.iter().find(|change| change.job == "J1").expect("it makes room");
    assert_eq!(change.kind, VisitChangeKind::Start, "{told:#?}");
    let because: Vec<_> = change.because.iter().map(|reason| (reason.code, reason.text.as_str())).collect();
    assert_eq!(because, [(ConflictCode::NoRoom, "J1: its place at 09:00 in van V1 goes to J9.")]);
    assert_eq!(change.because[0].jobs, ["J1", "J9"]);
}
