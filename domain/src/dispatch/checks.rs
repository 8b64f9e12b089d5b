//! Checks of rounds by hand, of every conflict by one change to a sound day, and of invariants on random days.

use super::*;
use crate::site::{HourRange, Site};
use chrono::{NaiveDate, NaiveDateTime, NaiveTime, TimeDelta};
use proptest::prelude::*;

/// A Wednesday.
fn on() -> NaiveDate {
    "2031-03-19".parse().expect("a date")
}

fn at(time: &str) -> NaiveDateTime {
    on().and_time(clock(time))
}

fn clock(time: &str) -> NaiveTime {
    NaiveTime::parse_from_str(time, "%H:%M").expect("a time")
}

fn hours(from: &str, to: &str) -> HourRange {
    HourRange { from: clock(from), to: clock(to) }
}

fn words(list: &[&str]) -> Vec<String> {
    list.iter().map(|s| s.to_string()).collect()
}

fn steps(ids: &[&str]) -> Vec<VisitStep> {
    let handbook = crate::handbook::Handbook::standard();
    ids.iter().map(|id| VisitStep::read(handbook, id).expect("a step of the handbook")).collect()
}

fn plane(x_km: f64, y_km: f64) -> Place {
    Place::Plane { x_km, y_km }
}

fn technician(id: &str, skills: &[&str]) -> Technician {
    let hours = vec![hours("07:00", "16:00")];
    Technician { id: id.into(), name: id.into(), skills: words(skills), trainee: false, hours }
}

fn van(id: &str, tank_l: f64) -> Van {
    Van {
        id: id.into(),
        seats: 2,
        tank_l,
        home: None,
        refills: vec![],
        equipment: words(&["pressure_washer", "runoff_kit"]),
        battery_kwh: 2.0,
        generator: false,
        stock_ml: [("iron_remover".to_owned(), 2000.0)].into(),
    }
}

fn visit(job: &str, van: &str, technician: &str, place: Place, from: &str, to: &str) -> Visit {
    Visit {
        job: job.into(),
        vehicle: format!("vehicle of {job}"),
        package: "P2".into(),
        place,
        window_from: at(from),
        window_to: at(to),
        promised: None,
        start: None,
        van: Some(van.into()),
        technicians: words(&[technician]),
        work_min: 60.0,
        hands: 1,
        steps: steps(&["B05", "C02", "C03", "D03", "D05", "E02", "F01"]),
        platform: false,
        water_l: 100.0,
        machine_kwh: 0.5,
        product_ml: [("iron_remover".to_owned(), 500.0)].into(),
        equipment: vec![],
        site: Site::default(),
        notices: vec![],
        partners: vec![],
    }
}

/// A visit of another job that nobody goes to but for what is said.
fn partner(kind: PartnerKind, start: Option<NaiveDateTime>) -> Partner {
    Partner { kind, job: "J9".into(), start, van: None, technicians: vec![] }
}

const NEXT_DAY: PartnerKind = PartnerKind::After { least_days: 1, most_days: 1 };

/// Two vans, two people, three visits, and nothing against it.
fn sound_day() -> DayProblem {
    DayProblem {
        on: on(),
        depot: plane(0.0, 0.0),
        travel: Travel::default(),
        matrix: None,
        margins: Margins::read(crate::handbook::Handbook::standard()),
        technicians: vec![
            technician("Nimbo", &["wash", "decon", "clay", "platform"]),
            technician("Obbin", &["wash", "decon", "clay"]),
        ],
        vans: vec![van("V1", 400.0), van("V2", 250.0)],
        visits: vec![
            visit("J1", "V1", "Nimbo", plane(3.0, 4.0), "08:00", "10:00"),
            visit("J2", "V1", "Nimbo", plane(3.0, 4.0), "09:00", "12:00"),
            visit("J3", "V2", "Obbin", plane(-3.0, 4.0), "08:00", "10:00"),
        ],
    }
}

/// What steps ask for, as the handbook's columns say it (common practice).
#[test]
fn steps_are_read_from_the_handbook() {
    use crate::handbook::Skill::{self, AcidMild, Clay, Coating, Decon, Polish, Rinseless, SoftTop, Wash};
    let handbook = crate::handbook::Handbook::standard();
    let ids: Vec<&str> = handbook.steps.iter().map(|step| step.id.as_str()).collect();
    let all = steps(&ids);
    let which = |asks: fn(&VisitStep) -> bool| -> String {
        let ids: Vec<&str> = all.iter().filter(|step| asks(step)).map(|step| step.id.as_str()).collect();
        ids.join(" ")
    };
    assert_eq!(which(|step| step.machine), "F01 G02 G03 G04 I06");
    assert_eq!(which(|step| step.runs_water), "B05 B10 C03 D12 D05 D14");
    assert_eq!(which(|step| !step.trainee_alone), "D09 D03 D04 D07 E01");
    let skill = |id: &str| steps(&[id])[0].skill;
    let wanted: [(&str, Option<Skill>); 10] = [
        ("A01", None),
        ("C02", Some(Wash)),
        ("C05", Some(Rinseless)),
        ("C06", Some(SoftTop)),
        ("D03", Some(Decon)),
        ("D09", Some(AcidMild)),
        ("E02", Some(Clay)),
        ("G03", Some(Polish)),
        ("H04", Some(Coating)),
        ("I03", None),
    ];
    for (id, wanted) in wanted {
        assert_eq!(skill(id), wanted, "{id}");
    }
}

/// By hand: 5 km straight, x 1.3 = 6.5 km by road, at 30 km/h 13 min. Visit 08:00 to 09:00, the next on the spot.
#[test]
fn a_round_in_time_and_water() {
    let mut day = sound_day();
    day.vans[0].tank_l = 200.0;
    day.vans[0].refills = vec![Refill { place: plane(3.0, 9.0), minutes: 10.0 }];
    let rounds = rounds(&day);
    let round = &rounds[0];
    assert_eq!((round.departs_at, round.van.as_str()), (at("07:47"), "V1"));
    let seen: Vec<_> =
        round.stops.iter().map(|s| (s.job.as_deref(), s.arrives_at, s.finishes_at, s.tank_after_l)).collect();
    // 200 l less 100 l leaves 100 l, of which 20 l are reserve: it fills up before the second visit, 13 min away.
    let by_hand = [
        (Some("J1"), at("08:00"), at("09:00"), 100.0),
        (None, at("09:13"), at("09:23"), 200.0),
        (Some("J2"), at("09:36"), at("10:36"), 100.0),
    ];
    assert_eq!(seen, by_hand);
    assert_eq!((round.returns_at, round.travel_km, round.travel_min), (at("10:49"), 26.0, 52.0));
    assert_eq!((round.work_min, round.wait_min), (120.0, 0.0));
}

/// The morning's crew hands the van over to another: three people with two seats, but never at once.
#[test]
fn a_van_that_is_handed_over_has_seats_enough() {
    let mut day = sound_day();
    let mut person = |id: &str| {
        day.technicians.push(technician(id, &["wash", "decon", "clay", "polish"]));
        id.to_owned()
    };
    let (second, third) = (person("Quisk"), person("Tarvel"));
    day.visits[0].technicians = vec!["Nimbo".to_owned(), second];
    day.visits[1].technicians = vec![third];
    assert_eq!(codes(&day), []);
    day.visits[1].technicians.push("Nimbo".to_owned());
    assert_eq!(codes(&day), [ConflictCode::Seats]);
}

/// Where each stop is, when it is reached and left, and the water in the tank then.
fn seen(round: &Round) -> Vec<(Place, NaiveDateTime, NaiveDateTime, f64)> {
    round.stops.iter().map(|s| (s.place, s.arrives_at, s.finishes_at, s.tank_after_l)).collect()
}

/// By hand: J1 and J2 lie 5 km on two opposite sides of the base, J3 beside J2, so that the way past the base is no
/// longer than the straight one: 26 min. Of 200 l 20 stay; 60, 60 and 100 l are needed. Filling up before J3, which
/// needs it, would take 26 min and 10, and J3 is set to begin at once; before J2 there is an hour for it.
#[test]
fn filling_up_early_keeps_a_start() {
    let mut day = sound_day();
    day.vans[0].tank_l = 200.0;
    day.vans[0].refills = vec![Refill { place: day.depot, minutes: 10.0 }];
    let (near, far) = (plane(3.0, 4.0), plane(-3.0, -4.0));
    day.visits = vec![
        visit("J1", "V1", "Nimbo", near, "08:00", "10:00"),
        visit("J2", "V1", "Nimbo", far, "10:00", "12:00"),
        visit("J3", "V1", "Nimbo", far, "11:00", "13:00"),
    ];
    for (visit, water_l) in day.visits.iter_mut().zip([60.0, 60.0, 100.0]) {
        (visit.start, visit.water_l) = (Some(visit.window_from), water_l);
    }
    let round = &rounds(&day)[0];
    let by_hand = [
        (near, at("08:00"), at("09:00"), 140.0),
        (day.depot, at("09:13"), at("09:23"), 200.0),
        (far, at("09:36"), at("11:00"), 140.0),
        (far, at("11:00"), at("12:00"), 40.0),
    ];
    assert_eq!(seen(round), by_hand);
    assert_eq!((round.returns_at, round.travel_km), (at("12:13"), 26.0));
    assert_eq!(conflicts(&day), []);
    // With 80 l less to give, the tank holds it all.
    day.visits[2].water_l = 20.0;
    assert_eq!(rounds(&day)[0].stops.len(), 3);
}

/// By hand: 2.5 km to the nearer place are 3.25 km by road and 6.5 min, 5 km to the other one 13 min.
#[test]
fn a_van_fills_up_where_it_takes_least() {
    let mut day = sound_day();
    day.vans[0].tank_l = 200.0;
    let (far, near) = (plane(3.0, 9.0), plane(3.0, 6.5));
    day.vans[0].refills = [far, near].map(|place| Refill { place, minutes: 10.0 }).to_vec();
    let filled = |day: &DayProblem| seen(&rounds(day)[0])[1];
    let half = TimeDelta::seconds(30);
    assert_eq!(filled(&day), (near, at("09:06") + half, at("09:16") + half, 200.0));
    // With 24 min of filling the nearer one takes 37 min, and the other one 36.
    day.vans[0].refills[1].minutes = 24.0;
    assert_eq!(filled(&day), (far, at("09:13"), at("09:23"), 200.0));
    // A place that nobody knows is none.
    day.vans[0].refills = vec![Refill { place: plane(f64::NAN, 0.0), minutes: 1.0 }];
    assert_eq!(codes(&day), [ConflictCode::TankShort]);
}

/// By hand: the van stands at the door of its visit; from a home 5 km further it takes 13 min either way.
#[test]
fn a_van_begins_and_ends_at_its_home() {
    let mut day = sound_day();
    day.vans[1].home = Some(plane(-3.0, 4.0));
    let ways = |day: &DayProblem| {
        let round = &rounds(day)[1];
        (round.departs_at, round.returns_at, round.travel_km)
    };
    assert_eq!(ways(&day), (at("08:00"), at("09:00"), 0.0));
    day.vans[1].home = Some(plane(-3.0, 9.0));
    assert_eq!(ways(&day), (at("07:47"), at("09:13"), 13.0));
    assert_eq!(conflicts(&day), []);
    day.technicians[1].hours = vec![hours("07:00", "09:05")];
    assert_eq!(texts(&day), ["J3: back home 09:13, 8 min after Obbin's hours."]);
    // Who stands elsewhere does without the depot.
    day.depot = plane(f64::NAN, 0.0);
    day.vans[0].home = Some(plane(0.0, 0.0));
    assert_eq!(codes(&day), [ConflictCode::OutsideHours]);
}

/// By hand: 08:00 to 12:00 and 14:00 to 18:00, and 13 min of way there and back.
#[test]
fn a_split_day_has_a_gap() {
    let mut day = sound_day();
    day.technicians[1].hours = vec![hours("08:00", "12:00"), hours("14:00", "18:00")];
    day.visits[2].window_to = at("20:00");
    let mut told = |start: &str| {
        day.visits[2].start = Some(at(start));
        texts(&day)
    };
    for fits in ["08:13", "10:30", "11:00", "14:05", "14:13", "16:47"] {
        assert_eq!(told(fits), [] as [&str; 0], "{fits}");
    }
    let gap = "but Obbin is not at work 12:00 to 14:00.";
    assert_eq!(told("11:30"), [format!("J3: works 11:30 to 12:30, {gap}")]);
    assert_eq!(told("16:50"), ["J3: back at the depot 18:03, 3 min after Obbin's hours."]);
    assert_eq!(told("13:30"), [format!("J3: works 13:30 to 14:30, {gap}")]);
    assert_eq!(told("17:30"), ["J3: ends 18:30, 30 min after Obbin's hours."]);
    // The crew waits through the gap and drives after it.
    let mut next = visit("J4", "V2", "Obbin", plane(-3.0, -4.0), "14:30", "16:00");
    next.start = Some(at("14:30"));
    day.visits[2].start = Some(at("10:55"));
    day.visits.push(next);
    assert_eq!(texts(&day), [] as [&str; 0]);
}

/// By hand: 25 min there and 31 min back, and no way between the first two visits; the other van's place is not in it.
#[test]
fn a_matrix_counts_where_it_knows_both_places() {
    let mut day = sound_day();
    day.matrix = Some(TravelMatrix {
        places: vec![plane(0.0, 0.0), plane(3.0, 4.0)],
        minutes: vec![vec![0.0, 25.0], vec![31.0, 0.0]],
        km: vec![vec![0.0, 9.0], vec![11.0, 0.0]],
    });
    let ways = |day: &DayProblem| {
        let all = rounds(day);
        all.iter().map(|round| (round.departs_at, round.travel_min, round.travel_km)).collect::<Vec<_>>()
    };
    assert_eq!(ways(&day), [(at("07:35"), 56.0, 20.0), (at("07:47"), 26.0, 13.0)]);
    // One that is not square counts as none.
    day.matrix.as_mut().expect("a matrix").km.pop();
    assert_eq!(ways(&day), [(at("07:47"), 26.0, 13.0), (at("07:47"), 26.0, 13.0)]);
}

/// A quarter of a great circle of the mean sphere: pi / 2 x 6371.0088 km = 10007.557 km (IUGG mean radius).
#[test]
fn a_quarter_of_the_globe() {
    let travel = Travel { road_factor: 1.0, speed_km_h: 30.0 };
    let pole = Place::Globe { latitude: 90.0, longitude: 17.0 };
    let equator = Place::Globe { latitude: 0.0, longitude: -80.0 };
    assert!((travel.km(&pole, &equator) - 10007.557).abs() < 1e-3);
    assert_eq!(travel.km(&pole, &plane(0.0, 0.0)), 0.0);
}

fn texts(day: &DayProblem) -> Vec<String> {
    conflicts(day).into_iter().map(|c| c.text).collect()
}

fn codes(day: &DayProblem) -> Vec<ConflictCode> {
    let mut codes: Vec<ConflictCode> = conflicts(day).into_iter().map(|c| c.code).collect();
    codes.sort();
    codes.dedup();
    codes
}

type Change = fn(&mut DayProblem);

/// One change to a sound day brings out the one conflict it makes, and nothing else.
#[test]
fn every_conflict_by_one_change() {
    use ConflictCode::{Travel, VanOverlap};
    assert_eq!(conflicts(&sound_day()), []);
    let changes = of_a_visit().into_iter().chain(of_vans_places_and_partners());
    for (i, (code, change)) in changes.enumerate() {
        let mut day = sound_day();
        change(&mut day);
        let found = conflicts(&day);
        let wanted: &[ConflictCode] = match code {
            // A start that the van cannot keep because of the overlap before it is late as well.
            VanOverlap => &[Travel, VanOverlap],
            _ => &[code],
        };
        assert_eq!(codes(&day), wanted, "change {i}: {found:?}");
    }
}

fn of_a_visit() -> Vec<(ConflictCode, Change)> {
    use ConflictCode::*;
    vec![
        (BadNumber, |d| d.visits[0].water_l = f64::NAN),
        (BadNumber, |d| d.visits[0].place = Place::Globe { latitude: 1.0, longitude: 2.0 }),
        (BadNumber, |d| d.vans[1].home = Some(Place::Globe { latitude: 1.0, longitude: 2.0 })),
        (Unassigned, |d| d.visits[2].van = None),
        (UnknownVan, |d| d.visits[2].van = Some("V9".into())),
        (UnknownTechnician, |d| d.visits[2].technicians.push("T9".into())),
        (NoTechnician, |d| d.visits[2].technicians.clear()),
        (Duplicate, |d| d.visits[2].vehicle = d.visits[0].vehicle.clone()),
        (DayOff, |d| d.technicians[1].hours.clear()),
        (OutsideHours, |d| d.technicians[1].hours = vec![hours("07:00", "08:30")]),
        (OutsideHours, |d| d.technicians[1].hours = vec![hours("07:00", "09:05")]),
        (OutsideHours, |d| d.technicians[1].hours = vec![hours("07:00", "08:30"), hours("08:40", "16:00")]),
        (SkillMissing, |d| d.visits[2].steps.extend(steps(&["H04"]))),
        (CrewTooSmall, |d| d.visits[2].hands = 2),
        (Seats, |d| {
            d.vans[0].seats = 1;
            d.technicians.push(technician("Quisk", &[]));
            d.visits[0].technicians.push("Quisk".into());
        }),
        (LoneWork, |d| d.technicians[1].trainee = true),
        (WindowTooShort, |d| d.visits[2].window_to = at("08:30")),
        (WindowTooShort, |d| d.visits[2].window_to = at("07:30")),
        (Travel, |d| {
            (d.visits[1].start, d.visits[1].place) = (Some(at("09:05")), plane(3.0, -4.0));
        }),
        (Late, |d| (d.visits[0].work_min, d.visits[1].window_to) = (110.0, at("10:30"))),
        (PromiseBroken, |d| {
            d.visits[0].promised = Some(PromisedWindow { from: at("08:30"), to: at("09:45") });
        }),
        (PromiseBroken, |d| {
            d.visits[0].promised = Some(PromisedWindow { from: at("08:00"), to: at("08:59") });
        }),
    ]
}

fn of_vans_places_and_partners() -> Vec<(ConflictCode, Change)> {
    use ConflictCode::*;
    use NoticeOf::{Hour, Work};
    vec![
        (VanOverlap, |d| {
            (d.visits[0].start, d.visits[1].start) = (Some(at("08:00")), Some(at("08:30")));
            d.visits[1].window_from = at("08:30");
        }),
        (TechnicianOverlap, |d| d.visits[2].technicians = words(&["Nimbo"])),
        (TankShort, |d| d.visits[2].water_l = 226.0),
        (PowerShort, |d| d.visits[2].machine_kwh = 2.1),
        (EquipmentMissing, |d| d.visits[2].equipment = words(&["polisher"])),
        (StockShort, |d| d.vans[0].stock_ml = [("iron_remover".to_owned(), 1199.0)].into()),
        (SaturdayForbidden, |d| {
            let shift = TimeDelta::days(3);
            d.on += shift;
            d.visits
                .iter_mut()
                .for_each(|v| (v.window_from, v.window_to) = (v.window_from + shift, v.window_to + shift));
            d.visits[2].site.saturday_allowed = Some(false);
        }),
        (GeneratorForbidden, |d| {
            (d.vans[1].battery_kwh, d.vans[1].generator) = (0.0, true);
            d.visits[2].site.generator_allowed = Some(false);
        }),
        (MachineHours, |d| d.visits[2].site.machine_hours = Some(hours("09:00", "16:00"))),
        (WaterRestriction, |d| {
            d.visits[2].site.water_restriction = Some(2);
            d.vans[1].equipment = words(&["pressure_washer"]);
        }),
        (WaterRestriction, |d| {
            d.visits[2].site.water_restriction = Some(1);
            d.vans[1].equipment = vec![];
        }),
        (WaterRestriction, |d| d.visits[2].site.water_restriction = Some(3)),
        (Weather, |d| {
            d.visits[2].notices =
                vec![VisitNotice { of: Hour, rule: "R67".into(), text: "thunder within 10 km".into() }];
        }),
        (WorkBlocked, |d| {
            d.visits[2].notices = vec![VisitNotice { of: Work, rule: "P8".into(), text: "too dirty".into() }];
        }),
        (Linked, |d| linked(d, partner(NEXT_DAY, None))),
        (Linked, |d| linked(d, partner(NEXT_DAY, Some(at("08:00") - TimeDelta::days(2))))),
        (Linked, |d| linked(d, partner(NEXT_DAY, Some(at("10:00"))))),
        (Linked, |d| {
            let before = PartnerKind::Before { least_days: 0, most_days: 2 };
            linked(d, partner(before, Some(at("08:00") - TimeDelta::days(1))));
        }),
        (Linked, |d| linked(d, partner(PartnerKind::Together, None))),
        (Linked, |d| linked(d, partner(PartnerKind::Together, Some(at("09:00"))))),
        (Linked, |d| {
            let twin = partner(PartnerKind::Together, Some(at("08:00")));
            linked(d, Partner { van: Some("V2".into()), ..twin });
        }),
        (Linked, |d| {
            let other = partner(PartnerKind::SamePerson, None);
            linked(d, Partner { technicians: words(&["Nimbo"]), ..other });
        }),
    ]
}

/// Sets the start of the third visit to 08:00, and links it.
fn linked(day: &mut DayProblem, partner: Partner) {
    day.visits[2].start = Some(at("08:00"));
    day.visits[2].partners.push(partner);
}

#[test]
fn links_that_hold_say_nothing() {
    let (yesterday, today) = (at("16:00") - TimeDelta::days(1), Some(at("08:00")));
    let before = PartnerKind::Before { least_days: 0, most_days: 0 };
    let holding = [
        partner(NEXT_DAY, Some(yesterday)),
        // The most is never less than the least.
        partner(PartnerKind::After { least_days: 1, most_days: 0 }, Some(yesterday)),
        partner(before, Some(at("16:00"))),
        Partner { van: Some("V1".into()), ..partner(PartnerKind::Together, today) },
        Partner { technicians: words(&["Nimbo", "Obbin"]), ..partner(PartnerKind::SamePerson, None) },
        // Nobody goes there yet.
        partner(PartnerKind::SamePerson, today),
        // A job has nothing to do with itself.
        Partner { job: "J3".into(), ..partner(NEXT_DAY, today) },
    ];
    for partner in holding {
        let mut day = sound_day();
        linked(&mut day, partner.clone());
        assert_eq!(conflicts(&day), [], "{partner:?}");
    }
    // Who is served by no van has that to be told first.
    let mut day = sound_day();
    linked(&mut day, partner(NEXT_DAY, None));
    day.visits[2].van = None;
    assert_eq!(codes(&day), [ConflictCode::Unassigned]);
}

/// Both visits are on the day, and each knows of the other.
#[test]
fn a_link_is_told_once_with_its_numbers() {
    let told = |kinds: [PartnerKind; 2], starts: [&str; 2]| {
        let mut day = sound_day();
        for (visit, start) in [0, 2].into_iter().zip(starts) {
            day.visits[visit].start = Some(at(start));
        }
        let as_it_stands = |visit: &Visit, kind| Partner {
            kind,
            job: visit.job.clone(),
            start: visit.start,
            van: visit.van.clone(),
            technicians: visit.technicians.clone(),
        };
        let [first, third] = [as_it_stands(&day.visits[0], kinds[1]), as_it_stands(&day.visits[2], kinds[0])];
        day.visits[0].partners.push(third);
        day.visits[2].partners.push(first);
        conflicts(&day)
    };
    let after = PartnerKind::After { least_days: 1, most_days: 2 };
    let before = PartnerKind::Before { least_days: 1, most_days: 2 };
    let days = |name: &str, value: f64| crate::figure::Figure::new(name, value, "days");
    let same_day = Conflict {
        code: ConflictCode::Linked,
        jobs: words(&["J3", "J1"]),
        text: "J3 goes 1 to 2 days after J1, but both are on one day.".into(),
        figures: vec![days("least", 1.0), days("most", 2.0), days("apart", 0.0)],
    };
    assert_eq!(told([before, after], ["08:00", "08:00"]), [same_day]);
    let texts = |kind, starts| -> Vec<String> {
        told([kind, kind], starts).into_iter().map(|conflict| conflict.text).collect()
    };
    let apart = "J1 and J3 begin at the same time, but are set to 19 Mar 08:00 and 19 Mar 08:30.";
    assert_eq!(texts(PartnerKind::Together, ["08:00", "08:30"]), [apart]);
    let person = "J1 and J3 want the same technician, and nobody goes to both.";
    assert_eq!(texts(PartnerKind::SamePerson, ["08:00", "08:00"]), [person]);
}

/// Supply on site lifts water and power: a tap counts up to restriction level 1, mains always.
#[test]
fn supply_on_site_lifts_the_conflict() {
    let mut day = sound_day();
    (day.visits[2].water_l, day.visits[2].machine_kwh) = (600.0, 9.0);
    assert_eq!(codes(&day), [ConflictCode::TankShort, ConflictCode::PowerShort]);
    (day.visits[2].site.tap, day.visits[2].site.mains) = (Some(true), Some(true));
    assert_eq!(conflicts(&day), []);
    day.visits[2].site.water_restriction = Some(2);
    assert_eq!(codes(&day), [ConflictCode::TankShort]);
}

/// Too early is before the window, unless the customer was told so.
#[test]
fn a_promise_may_begin_before_the_window() {
    let mut day = sound_day();
    day.visits[2].start = Some(at("07:50"));
    assert_eq!(codes(&day), [ConflictCode::Early]);
    day.visits[2].promised = Some(PromisedWindow { from: at("07:45"), to: at("10:00") });
    assert_eq!(conflicts(&day), []);
}

/// By hand: the generator gives the first visit its 1.5 kWh, so that the battery of 2 kWh has 1.5 for the second.
#[test]
fn a_generator_spares_the_battery() {
    let mut day = sound_day();
    day.vans[0].generator = true;
    (day.visits[0].machine_kwh, day.visits[1].machine_kwh) = (1.5, 1.5);
    day.visits[1].site.generator_allowed = Some(false);
    assert_eq!(conflicts(&day), []);
    day.visits[0].site.generator_allowed = Some(false);
    assert_eq!(codes(&day), [ConflictCode::GeneratorForbidden]);
}

/// The trade's demo job J012 (common practice): one person with a 250 l van sent to a motorhome of 3.05 m for a
/// decontamination of 621 l and 374 min in a window of 3 h. Everything is said at once, with its numbers.
#[test]
fn the_motorhome_gets_every_reason_at_once() {
    let mut day = sound_day();
    let motorhome = &mut day.visits[2];
    (motorhome.work_min, motorhome.water_l, motorhome.platform, motorhome.hands) = (374.0, 621.0, true, 2);
    (motorhome.window_from, motorhome.window_to) = (at("07:00"), at("10:00"));
    use ConflictCode::*;
    assert_eq!(
        codes(&day),
        [SkillMissing, CrewTooSmall, LoneWork, WindowTooShort, TankShort, EquipmentMissing]
    );
    let found = conflicts(&day);
    let text = |code| found.iter().find(|c| c.code == code).map(|c| c.text.as_str());
    assert_eq!(text(WindowTooShort), Some("J3: the window is 180 min and the work takes 374 min."));
    assert_eq!(
        text(TankShort),
        Some("J3: needs 621 l; van V2 arrives with 250 l, keeps 25 l in reserve, and it can refill nowhere.")
    );
}

fn any_day() -> impl Strategy<Value = DayProblem> {
    let number = || prop_oneof![8 => -10.0..2000.0f64, 1 => Just(f64::NAN), 1 => Just(f64::INFINITY)];
    let one = (
        (0..3u8, 0..4u8, 0..40u8, number(), number(), number(), number()),
        (0..1440i64, -60..1440i64, prop::option::of(0..1440i64), any::<bool>()),
        (prop::option::of(0..5u8), prop::option::of(any::<bool>())),
    );
    (prop::collection::vec(one, 0..9), number(), number(), any::<bool>()).prop_map(
        |(visits, tank, speed, refills)| {
            let mut day = sound_day();
            day.travel.speed_km_h = speed;
            day.vans[0].tank_l = tank;
            if refills {
                let places = [(plane(1.0, 1.0), tank), (day.depot, 15.0)];
                day.vans[0].refills = places.map(|(place, minutes)| Refill { place, minutes }).to_vec();
                day.vans[1].home = Some(plane(2.0, 0.0));
            }
            day.visits = visits
                .into_iter()
                .enumerate()
                .map(
                    |(
                        i,
                        (
                            (van, person, vehicle, x, y, water, work),
                            (from, length, start, platform),
                            (level, tap),
                        ),
                    )| {
                        let person = ["Nimbo", "Obbin", "nobody", "Nimbo"][usize::from(person)];
                        let mut v = visit(
                            &format!("J{i}"),
                            &format!("V{}", van + 1),
                            person,
                            plane(x, y),
                            "00:00",
                            "00:00",
                        );
                        v.vehicle = vehicle.to_string();
                        v.window_from = at("00:00") + TimeDelta::minutes(from);
                        v.window_to = v.window_from + TimeDelta::minutes(length);
                        v.start = start.map(|m| at("00:00") + TimeDelta::minutes(m));
                        (v.water_l, v.work_min, v.platform) = (water, work, platform);
                        (v.site.water_restriction, v.site.tap) = (level, tap);
                        v
                    },
                )
                .collect();
            day
        },
    )
}

/// Up to five visits of one van with a small tank and two places to fill up.
fn thirsty_day() -> impl Strategy<Value = DayProblem> {
    let one = (-4..5_i32, -4..5_i32, 20..150_i32, 0..9_i64);
    let place = |x: i32, y: i32| plane(f64::from(x), f64::from(y));
    (prop::collection::vec(one, 1..6), -4..5_i32, -4..5_i32).prop_map(move |(visits, x, y)| {
        let mut day = sound_day();
        day.vans[0].tank_l = 200.0;
        let places = [(day.depot, 10.0), (place(x, y), 5.0)];
        day.vans[0].refills = places.map(|(place, minutes)| Refill { place, minutes }).to_vec();
        let visits = visits.into_iter().enumerate().map(|(nth, (x, y, water_l, start))| {
            let visit = visit(&format!("J{nth}"), "V1", "Nimbo", place(x, y), "08:00", "11:00");
            let start = Some(at("08:00") + TimeDelta::minutes(45 * start));
            Visit { start, water_l: f64::from(water_l), work_min: 30.0, ..visit }
        });
        day.visits = visits.collect();
        day
    })
}

/// What the choice of refills costs, read from the stops.
fn cost_of(day: &DayProblem, departs_at: NaiveDateTime, stops: &[Stop]) -> refills::Cost {
    let mut leaves_at = departs_at;
    let mut sum = refills::Cost::default();
    for stop in stops {
        let times = rounds::Times {
            arrives_at: stop.arrives_at,
            starts_at: stop.starts_at,
            finishes_at: stop.finishes_at,
        };
        let more = match day.visits.iter().find(|visit| Some(&visit.job) == stop.job.as_ref()) {
            Some(visit) => {
                refills::Cost::busy(leaves_at, stop.arrives_at)
                    + refills::Cost::of_visit(day, &day.vans[0], visit, stop.tank_before_l, &times)
            }
            None => refills::Cost::busy(leaves_at, stop.finishes_at),
        };
        (sum, leaves_at) = (sum + more, stop.finishes_at);
    }
    sum
}

proptest! {
    /// On any day: no panic, every visit of a known van is in exactly one round, time never runs backwards, the tank
    /// stays within its size, and every late end and every unserved visit is said.
    #[test]
    fn rounds_hold_and_nothing_is_hidden(day in any_day()) {
        let (rounds, found) = (rounds(&day), conflicts(&day));
        let mut served: Vec<&str> = rounds.iter().flat_map(|r| &r.stops).filter_map(|s| s.job.as_deref()).collect();
        served.sort_unstable();
        let mut given: Vec<&str> =
            day.visits.iter().filter(|v| v.van.as_deref() != Some("V3")).map(|v| v.job.as_str()).collect();
        given.sort_unstable();
        prop_assert_eq!(served, given);
        for round in &rounds {
            let mut clock = round.departs_at;
            for stop in &round.stops {
                prop_assert!(clock <= stop.arrives_at && stop.arrives_at <= stop.starts_at);
                prop_assert!(stop.starts_at <= stop.finishes_at && stop.tank_after_l >= 0.0);
                clock = stop.finishes_at;
                let Some(job) = &stop.job else { continue };
                let visit = day.visits.iter().find(|v| &v.job == job).expect("a visit of the day");
                let told = |codes: &[ConflictCode]| found.iter().any(|c| codes.contains(&c.code) && c.jobs.contains(job));
                if stop.finishes_at > visit.window_to {
                    prop_assert!(told(&[ConflictCode::Late, ConflictCode::WindowTooShort]));
                }
                if visit.start.is_some_and(|start| stop.starts_at > start) {
                    prop_assert!(told(&[ConflictCode::Travel]));
                }
            }
            prop_assert!(clock <= round.returns_at);
        }
        for visit in day.visits.iter().filter(|v| v.van.as_deref() == Some("V3")) {
            prop_assert!(found.iter().any(|c| c.code == ConflictCode::UnknownVan && c.jobs[0] == visit.job));
        }
    }

    /// Where a van can fill up, a visit is short of water only if a full tank does not hold it.
    #[test]
    fn a_full_tank_is_enough(day in any_day()) {
        let van = &day.vans[0];
        let found = conflicts(&day);
        let served = day.visits.iter().filter(|visit| visit.van.as_deref() == Some("V1"));
        for visit in served.filter(|_| !van.refills.is_empty()) {
            let short = day.short_l(van, visit, problem::usable(van.tank_l)) > 0.0;
            let told = found.iter().any(|c| c.code == ConflictCode::TankShort && c.jobs[0] == visit.job);
            prop_assert_eq!(told, short);
        }
    }

    /// No other choice of where to fill up is better, of all that there are.
    #[test]
    fn no_other_refills_are_better(day in thirsty_day()) {
        let (van, ways) = (&day.vans[0], ways::Ways::of(&day));
        let visits = rounds::visits_of(&day, van);
        let departs_at = rounds::departure(&day, ways, van, visits[0]);
        let cost = |refills: &[Option<&Refill>]| {
            cost_of(&day, departs_at, &rounds::drive(&day, ways, van, &visits, refills, departs_at))
        };
        let chosen = cost(&refills::refills(&day, ways, van, &visits, departs_at));
        let options = [None, Some(&van.refills[0]), Some(&van.refills[1])];
        for nth in 0..options.len().pow(visits.len() as u32) {
            let digit = |place: usize| nth / options.len().pow(place as u32) % options.len();
            let tried: Vec<Option<&Refill>> = (0..visits.len()).map(|place| options[digit(place)]).collect();
            prop_assert!(chosen <= cost(&tried), "{:?} {:?} {:?}", chosen, cost(&tried), tried);
        }
    }

    /// The order in which visits and people are listed changes nothing.
    #[test]
    fn the_order_of_the_list_does_not_matter(day in any_day()) {
        let mut back = day.clone();
        back.visits.reverse();
        back.technicians.reverse();
        // As text: a place that is no number does not even equal itself.
        let told = |day| format!("{:?}", rounds(day));
        prop_assert_eq!(told(&day), told(&back));
        let texts = |day| {
            let mut texts: Vec<String> = conflicts(day).into_iter().filter(|c| c.jobs.len() == 1).map(|c| c.text).collect();
            texts.sort();
            texts
        };
        prop_assert_eq!(texts(&day), texts(&back));
    }
}
