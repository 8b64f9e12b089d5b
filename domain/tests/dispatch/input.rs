//! Input that cannot be used: reasons, not failure. And what a plan says of itself.

use super::shop::*;
use chrono::TimeDelta;
use domain::dispatch::ConflictCode::{self, *};
use domain::dispatch::planning::{
    Barred, LinkedDays, Published, RoundsPlan, RoundsProblem, StopKind, VisitLink, WorkSpan, plan_rounds,
};
use domain::dispatch::search::Iterations;
use domain::dispatch::{Place, Refill, TravelMatrix};

const ITERATIONS: u64 = 60;

fn plan(problem: &RoundsProblem) -> RoundsPlan {
    plan_rounds(problem, 1, &mut Iterations(ITERATIONS))
}

fn reasons(plan: &RoundsPlan, job: &str) -> Vec<ConflictCode> {
    let unserved = plan.unserved.iter().filter(|unserved| unserved.job == job);
    unserved.flat_map(|unserved| unserved.reasons.iter().map(|reason| reason.code)).collect()
}

/// The checks of a day as assigned, which know nothing of the search, find nothing against it.
#[test]
fn a_sound_day_is_served_whole() {
    let problem = sound();
    let plan = plan(&problem);
    assert_eq!((plan.unserved.len(), plan.faults.len()), (0, 0), "{plan:#?}");
    assert_eq!(plan.conflicts, []);
    let jobs = plan.rounds.iter().flat_map(|round| &round.stops).filter(|stop| stop.job.is_some()).count();
    assert_eq!(jobs, 5);
    for round in &plan.rounds {
        let breaks = round.stops.iter().filter(|stop| stop.kind == StopKind::Break).count();
        assert!(breaks == 1 || round.returns_at <= round.on.and_time(clock("14:00")), "{round:#?}");
        let mut before = round.departs_at;
        for stop in &round.stops {
            assert!(before <= stop.arrives_at && stop.arrives_at <= stop.starts_at, "{round:#?}");
            before = stop.finishes_at;
        }
        assert!(before <= round.returns_at);
    }
    let cost = &plan.cost;
    assert!((parts_of(cost) - cost.total).abs() < 1e-6, "{cost:?}");
    let minutes: f64 = plan.rounds.iter().map(|round| round.travel_min).sum();
    assert!((cost.travel - minutes).abs() < 0.01, "a point a minute: {cost:?}, {minutes} min");
}

#[test]
fn every_unserved_visit_has_its_reason() {
    let changes: Vec<(&str, ConflictCode, Change)> = vec![
        ("window outside all hours", OutsideHours, |p| {
            (p.requests[4].visit.window_from, p.requests[4].visit.window_to) = (at("20:00"), at("23:00"));
        }),
        ("window on no planned day", WindowTooShort, |p| {
            let later = TimeDelta::days(30);
            p.requests[4].visit.window_from += later;
            p.requests[4].visit.window_to += later;
        }),
        ("longer than a day", WindowTooShort, |p| p.requests[4].visit.work_min = 2000.0),
        ("window backwards", WindowTooShort, |p| p.requests[4].visit.window_to = at("10:00")),
        ("a skill nobody has", SkillMissing, |p| p.requests[4].visit.steps.extend(steps(&["H04"]))),
        ("a tank smaller than the job", TankShort, |p| p.requests[4].visit.water_l = 500.0),
        ("kit that no van has", EquipmentMissing, |p| p.requests[4].visit.equipment = words(&["polisher"])),
        ("more energy than any battery", PowerShort, |p| p.requests[4].visit.machine_kwh = 9.0),
        ("more product than any stock", StockShort, |p| {
            p.requests[4].visit.product_ml = [("iron_remover".to_owned(), 1900.0)].into();
        }),
        ("a number that is none", BadNumber, |p| p.requests[4].visit.water_l = f64::NAN),
        ("a place nobody knows", BadNumber, |p| p.requests[4].visit.place = plane(f64::NAN, 0.0)),
        ("rain all afternoon", Weather, |p| {
            p.requests[4].barred = vec![Barred {
                from: at("10:00"),
                to: at("16:00"),
                below_people: None,
                vans: Vec::new(),
                rule: "R32".into(),
                text: "rain".into(),
            }];
        }),
        ("quiet hours", MachineHours, |p| {
            p.requests[4].visit.site.machine_hours = Some(hours("07:00", "11:30"))
        }),
        ("nobody at all", Unassigned, |p| p.technicians.clear()),
        ("no van", Unassigned, |p| p.vans.clear()),
        ("no day", Unassigned, |p| p.days.clear()),
        ("crowded out by what matters more", NoRoom, |p| {
            p.days.truncate(1);
            p.technicians.truncate(1);
            for request in &mut p.requests {
                (request.priority, request.visit.work_min) = (1, 100.0);
                (request.visit.window_from, request.visit.window_to) = (at("07:00"), at("16:00"));
            }
            p.requests[4].priority = 5;
            p.requests[4].visit.work_min = 110.0;
        }),
        ("the other of two is not served", Linked, |p| {
            p.links = vec![VisitLink::Together { one: "J4".into(), other: "J5".into() }];
            p.requests[3].visit.work_min = 2000.0;
        }),
    ];
    each_has_its_reason(changes);
}

/// It is not the hours of those who could do it that leave no time.
#[test]
fn weather_and_other_jobs_are_told_rather_than_hours() {
    let changes: Vec<(&str, ConflictCode, Change)> = vec![
        ("rain while anybody is at work", Weather, |p| {
            p.requests[4].visit.window_to = at("20:00");
            p.requests[4].barred = vec![Barred {
                from: at("07:00"),
                to: at("16:30"),
                below_people: None,
                vans: Vec::new(),
                rule: "R32".into(),
                text: "rain".into(),
            }];
        }),
        ("a day that is not planned is all that another job leaves", Linked, |p| {
            let on = days()[1] + TimeDelta::days(5);
            p.requests[4].linked_days = vec![LinkedDays { with: "J0".into(), from: on, to: on }];
        }),
        ("another job leaves a day on which nobody is at work", Linked, |p| {
            p.technicians.iter_mut().for_each(|rostered| rostered.roster.truncate(1));
            p.requests[4].visit.window_to += TimeDelta::days(1);
            let on = days()[1];
            p.requests[4].linked_days = vec![LinkedDays { with: "J0".into(), from: on, to: on }];
        }),
    ];
    each_has_its_reason(changes);
}

type Change = fn(&mut RoundsProblem);

/// J5 of the sound day, after a change.
fn each_has_its_reason(changes: Vec<(&str, ConflictCode, Change)>) {
    for (name, code, change) in changes {
        let mut problem = sound();
        change(&mut problem);
        let plan = plan(&problem);
        assert!(
            reasons(&plan, "J5").contains(&code),
            "{name}: {:?} {:#?}",
            reasons(&plan, "J5"),
            plan.faults
        );
        assert!(plan.unserved.iter().all(|unserved| !unserved.reasons.is_empty()), "{name}");
    }
}

#[test]
fn a_matrix_that_cannot_be_used_is_left_and_said() {
    let sound = sound();
    let places = vec![sound.depot, sound.requests[0].visit.place];
    let matrices = [
        TravelMatrix { places: places.clone(), minutes: vec![vec![0.0, 1.0]], km: vec![vec![0.0; 2]; 2] },
        TravelMatrix {
            places: places.clone(),
            minutes: vec![vec![0.0, f64::NAN], vec![1.0, 0.0]],
            km: vec![vec![0.0; 2]; 2],
        },
        TravelMatrix {
            places: places.clone(),
            minutes: vec![vec![0.0; 2]; 2],
            km: vec![vec![0.0, -1.0], vec![1.0, 0.0]],
        },
    ];
    let by_coordinates = plan(&sound);
    for matrix in matrices {
        let told = plan(&RoundsProblem { matrix: Some(matrix), ..sound.clone() });
        assert_eq!(told.faults.len(), 1, "{:?}", told.faults);
        assert_eq!(told.rounds, by_coordinates.rounds);
    }
    let far = TravelMatrix {
        places,
        minutes: vec![vec![0.0, 100.0], vec![100.0, 0.0]],
        km: vec![vec![0.0, 80.0], vec![80.0, 0.0]],
    };
    let told = plan(&RoundsProblem { matrix: Some(far), ..sound });
    assert_eq!(told.faults, [] as [String; 0]);
    assert!(told.cost.travel > by_coordinates.cost.travel, "a matrix that is sound counts");
}

/// Heat: the same work takes half as long again from noon on, so it goes before noon though the window is open all day.
#[test]
fn work_goes_to_the_hours_in_which_it_is_short() {
    let mut hot = request("J1", plane(3.0, 4.0), "07:00", "16:00");
    hot.work_spans = vec![
        WorkSpan { from: at("07:00"), to: at("10:00"), factor_from: 2.0, factor_to: 2.0 },
        WorkSpan { from: at("10:00"), to: at("16:00"), factor_from: 1.0, factor_to: 1.0 },
    ];
    let plan = plan(&problem(vec![hot]));
    let visit = plan.rounds[0].stops.iter().find(|stop| stop.job.is_some()).expect("a visit");
    let minutes = (visit.finishes_at - visit.starts_at).num_minutes();
    assert!(minutes == 90 && visit.starts_at >= at("10:00") || visit.finishes_at <= at("11:30"), "{visit:?}");
}

#[test]
fn linked_visits_keep_together() {
    let mut problem = sound();
    for request in &mut problem.requests {
        request.visit.window_to = at("16:00") + TimeDelta::days(1);
    }
    problem.links = vec![
        VisitLink::Together { one: "J1".into(), other: "J2".into() },
        VisitLink::After { first: "J3".into(), then: "J4".into(), least_days: 1, most_days: 1 },
        VisitLink::SamePerson { one: "J3".into(), other: "J4".into() },
    ];
    let plan = plan(&problem);
    assert_eq!(plan.unserved, []);
    let stop = |job: &str| {
        let mut all = plan.rounds.iter().flat_map(|round| round.stops.iter().map(move |stop| (round, stop)));
        all.find(|(_, stop)| stop.job.as_deref() == Some(job)).expect("it is served")
    };
    let ((one, first), (other, second)) = (stop("J1"), stop("J2"));
    assert_eq!(first.starts_at, second.starts_at);
    assert_ne!(one.van, other.van);
    let ((before, _), (after, _)) = (stop("J3"), stop("J4"));
    assert_eq!(after.on - before.on, TimeDelta::days(1));
    assert_eq!(plan.cost.parted, 0.0);
    assert!(before.technicians.iter().any(|who| after.technicians.contains(who)));
}

/// Numbers beyond all measure: no sum of the search runs over (this build checks every one), and each visit has its answer.
#[test]
fn absurd_numbers_are_survived() {
    let mut problem = sound();
    let template = problem.requests[0].clone();
    for nth in 0..40 {
        let mut request = template.clone();
        request.visit.job = format!("X{nth}");
        let absurd = [1e300, f64::MAX, -1e300, 1e12][nth % 4];
        (request.visit.work_min, request.visit.water_l, request.visit.machine_kwh) = (absurd, absurd, absurd);
        request.visit.product_ml = [("iron_remover".to_owned(), absurd)].into();
        (request.work_people, request.crew_min) = (u32::MAX, vec![absurd; nth % 3]);
        request.work_spans = vec![WorkSpan {
            from: at("08:00"),
            to: at("12:00"),
            factor_from: absurd,
            factor_to: 1.0 / absurd,
        }];
        request.published = (nth % 2 == 0).then(|| Published {
            van: "V1".into(),
            technicians: words(&["Nimbo"]),
            start: at("08:00"),
            frozen: nth % 4 == 0,
        });
        problem.requests.push(request);
    }
    problem.requests[7].visit.window_to = chrono::NaiveDateTime::MAX;
    problem.requests[8].visit.window_from = chrono::NaiveDateTime::MIN;
    let weights = &mut problem.weights;
    (weights.fairness, weights.travel, weights.late, weights.overtime) = (1e300, 1e300, 1e300, 1e300);
    (weights.refill, weights.parted, weights.unserved) = (1e300, 1e300, [1e300; 5]);
    (problem.vans[0].van.tank_l, problem.vans[1].van.battery_kwh) = (1e300, 1e300);
    let plan = plan(&problem);
    let served = plan.rounds.iter().flat_map(|round| &round.stops).filter(|stop| stop.job.is_some()).count();
    assert_eq!(served + plan.unserved.len(), problem.requests.len());
    assert!(plan.unserved.iter().all(|unserved| !unserved.reasons.is_empty()));
}

/// The planner's own minutes for each size of a crew count, and hours at which the work may not begin are kept free.
#[test]
fn minutes_by_crew_and_closed_starts_count() {
    let mut problem = sound();
    problem.requests.truncate(1);
    problem.vans.truncate(1);
    problem.technicians.truncate(1);
    problem.requests[0].crew_min = vec![100.0];
    let closed = |from: &str, to: &str| Barred {
        below_people: None,
        vans: Vec::new(),
        from: at(from),
        to: at(to),
        rule: "R67".into(),
        text: "thunder".into(),
    };
    problem.requests[0].closed_starts = vec![closed("08:00", "09:00")];
    let served = plan(&problem);
    let stop = &served.rounds[0].stops[0];
    assert_eq!((stop.starts_at, stop.finishes_at), (at("09:00"), at("10:40")), "{served:#?}");
    problem.requests[0].closed_starts.push(closed("09:00", "11:00"));
    assert_eq!(reasons(&plan(&problem), "J1"), [Weather], "one reason for all hours is told once");
}

/// A matrix that names places a hair beside those of the visits is meant for them; who is named twice goes once.
#[test]
fn small_slips_of_the_input_do_no_harm() {
    let mut problem = sound();
    problem.requests.truncate(1);
    problem.matrix = Some(TravelMatrix {
        places: vec![plane(0.0, 0.0), plane(3.000_000_1, 4.0)],
        minutes: vec![vec![0.0, 33.0], vec![44.0, 0.0]],
        km: vec![vec![0.0, 1.0], vec![2.0, 0.0]],
    });
    problem.requests[0].published = Some(Published {
        van: "V1".into(),
        technicians: words(&["Nimbo", "Nimbo"]),
        start: at("08:00"),
        frozen: true,
    });
    let plan = plan(&problem);
    assert_eq!(plan.faults, [] as [String; 0]);
    assert_eq!((plan.rounds[0].travel_min, plan.rounds[0].travel_km), (77.0, 3.0));
    assert_eq!(plan.rounds[0].stops[0].starts_at, at("08:00"));
}

/// By hand: 15 % of 26 l stay in the tank, so 22.1 l can be given, and not a tenth more.
#[test]
fn the_whole_tank_but_its_reserve_is_given() {
    for (water_l, served) in [(22.1, true), (22.2, false)] {
        let mut problem = sound();
        problem.requests.truncate(1);
        problem.margins.tank_reserve_share = 0.15;
        for rostered in &mut problem.vans {
            (rostered.van.tank_l, rostered.van.refills) = (26.0, Vec::new());
        }
        problem.requests[0].visit.water_l = water_l;
        assert_eq!(plan(&problem).unserved.is_empty(), served, "{water_l} l");
    }
}

/// Two far visits that are worth less than the way there: the first is left out for its own cost, the second as it goes
/// only after the first.
#[test]
fn what_costs_more_than_it_is_worth_says_so() {
    let mut problem = sound();
    problem.weights.unserved = [5.0; 5];
    problem.requests.retain(|request| ["J4", "J5"].contains(&request.visit.job.as_str()));
    for request in &mut problem.requests {
        request.visit.place = plane(12.0, 9.0);
    }
    problem.links =
        vec![VisitLink::After { first: "J5".into(), then: "J4".into(), least_days: 0, most_days: 1 }];
    let plan = plan(&problem);
    assert_eq!((reasons(&plan, "J5"), reasons(&plan, "J4")), (vec![NoRoom], vec![Linked]), "{plan:#?}");
    let text = &plan.unserved.iter().find(|one| one.job == "J5").expect("unserved").reasons[0].text;
    assert!(text.contains("leaving it out costs 5"), "{text}");
}

/// Nobody works in a gap of the hours. By hand: J1 from 10:00 to 11:30; J2 would run into the gap and begins after it; two
/// hours from 11:00 on fit on neither side.
#[test]
fn nobody_works_in_a_gap_of_the_hours() {
    let mut problem = problem(vec![
        request("J1", plane(3.0, 4.0), "10:00", "12:00"),
        request("J2", plane(3.0, 4.0), "10:30", "16:00"),
        request("J3", plane(3.0, 4.0), "11:00", "14:30"),
    ]);
    problem.requests[2].visit.work_min = 120.0;
    problem.technicians.truncate(1);
    problem.days.truncate(1);
    problem.technicians[0].roster[0].hours = vec![hours("07:00", "12:00"), hours("13:00", "16:00")];
    let plan = plan(&problem);
    let stops = plan.rounds.iter().flat_map(|round| &round.stops);
    let times: Vec<_> = stops.map(|stop| (stop.job.as_deref(), stop.starts_at, stop.finishes_at)).collect();
    let by_hand = [
        (Some("J1"), at("10:00"), at("11:30")),
        (None, at("12:00"), at("13:00")),
        (Some("J2"), at("13:00"), at("14:30")),
    ];
    assert_eq!(times, by_hand, "{plan:#?}");
    assert_eq!(plan.conflicts, [], "the judge agrees, and one rest is enough");
    assert_eq!(reasons(&plan, "J3"), [OutsideHours]);
    assert!(plan.unserved[0].reasons[0].text.contains("12:00:00 and 13:00:00"), "{:?}", plan.unserved);
}

#[test]
fn another_job_leaves_one_day_and_it_is_kept() {
    let mut problem = sound();
    problem.requests[0].visit.window_to += TimeDelta::days(1);
    problem.requests[0].linked_days =
        vec![LinkedDays { with: "J0".into(), from: days()[1], to: days()[1] + TimeDelta::days(3) }];
    let plan = plan(&problem);
    let round =
        plan.rounds.iter().find(|round| round.stops.iter().any(|stop| stop.job.as_deref() == Some("J1")));
    assert_eq!(round.map(|round| round.on), Some(days()[1]), "{plan:#?}");
}

/// In a larger shop vans are tried with their usual people; where a visit needs two hands, others go with them.
#[test]
fn two_of_eight_single_drivers_go_together() {
    let mut problem = problem(vec![request("J1", plane(3.0, 4.0), "08:00", "11:00")]);
    problem.technicians = (0..8).map(|nth| technician(&format!("T{nth}"), &format!("V{nth}"))).collect();
    problem.vans = (0..8).map(|nth| van(&format!("V{nth}"), 400.0)).collect();
    problem.requests[0].visit.hands = 2;
    let plan = plan(&problem);
    assert_eq!(plan.unserved, []);
    assert_eq!(plan.rounds[0].technicians.len(), 2, "{plan:#?}");
}

/// Seven people alone in their vans: one needs longer than the thunder leaves, two do not.
#[test]
fn two_go_where_the_weather_leaves_no_time_for_one() {
    let mut problem = problem(vec![request("J1", plane(3.0, 4.0), "08:00", "16:00")]);
    problem.technicians = (0..7).map(|nth| technician(&format!("T{nth}"), &format!("V{nth}"))).collect();
    problem.vans = (0..7).map(|nth| van(&format!("V{nth}"), 400.0)).collect();
    let thunder = Barred {
        from: at("07:00"),
        to: at("16:00"),
        below_people: Some(2),
        vans: Vec::new(),
        rule: "R67".into(),
        text: "thunder".into(),
    };
    problem.requests[0].closed_starts = vec![thunder];
    let served = plan(&problem);
    assert_eq!(served.rounds[0].technicians.len(), 2, "{served:#?}");
    problem.requests[0].closed_starts[0].below_people = Some(3);
    assert_eq!(reasons(&plan(&problem), "J1"), [Weather]);
}

/// Who is wanted goes, as nothing else speaks for the other one.
#[test]
fn who_is_wanted_goes() {
    for wanted in ["Nimbo", "Obbin"] {
        let mut problem = problem(vec![request("J1", plane(3.0, 4.0), "08:00", "16:00")]);
        problem.requests[0].wanted = words(&[wanted]);
        // Two would be quicker.
        problem.vans.iter_mut().for_each(|rostered| rostered.van.seats = 1);
        let plan = plan(&problem);
        assert_eq!(plan.rounds[0].technicians, [wanted], "{plan:#?}");
        assert_eq!(plan.cost.change, 0.0);
    }
}

/// A shop without a base: a van with a home of its own can go, each with what is on it.
#[test]
fn vans_without_a_base_are_not_all_alike() {
    let nowhere = Place::Globe { latitude: f64::NAN, longitude: f64::NAN };
    let mut problem = problem(vec![request("J1", plane(3.0, 4.0), "08:00", "16:00")]);
    problem.depot = nowhere;
    problem.vans.push(van("V3", 250.0));
    for (rostered, home) in problem.vans.iter_mut().zip([None, Some(plane(0.0, 0.0)), Some(plane(0.0, 0.0))])
    {
        rostered.van.home = home;
        rostered.van.refills = vec![Refill { place: nowhere, minutes: 15.0 }];
    }
    problem.vans[2].van.equipment.push("polisher".into());
    problem.requests[0].visit.equipment = words(&["polisher"]);
    let served = plan(&problem);
    assert_eq!(
        served.rounds.iter().map(|round| round.van.as_str()).collect::<Vec<_>>(),
        ["V3"],
        "{served:#?}"
    );
}

/// What is on board of one van does not do in the heat.
#[test]
fn a_van_that_is_not_equipped_for_the_hour_stays_away() {
    let mut problem = problem(vec![request("J1", plane(3.0, 4.0), "08:00", "16:00")]);
    let hot = Barred {
        from: at("07:00"),
        to: at("18:00"),
        below_people: None,
        vans: words(&["V1"]),
        rule: "R01".into(),
        text: "hot paint and no awning".into(),
    };
    problem.requests[0].closed_starts = vec![hot];
    assert_eq!(plan(&problem).rounds[0].van, "V2");
    problem.requests[0].closed_starts[0].vans = words(&["V1", "V2"]);
    assert_eq!(reasons(&plan(&problem), "J1"), [Weather]);
}
