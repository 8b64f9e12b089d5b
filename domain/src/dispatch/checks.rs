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
    let hours = Some(hours("07:00", "16:00"));
    Technician { id: id.into(), name: id.into(), skills: words(skills), trainee: false, hours }
}

fn van(id: &str, tank_l: f64) -> Van {
    Van {
        id: id.into(),
        seats: 2,
        tank_l,
        refill: None,
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
    }
}

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
    day.vans[0].refill = Some(Refill { place: plane(3.0, 9.0), minutes: 10.0 });
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

fn codes(day: &DayProblem) -> Vec<ConflictCode> {
    let mut codes: Vec<ConflictCode> = conflicts(day).into_iter().map(|c| c.code).collect();
    codes.sort();
    codes.dedup();
    codes
}

/// One change to a sound day brings out the one conflict it makes, and nothing else.
#[test]
fn every_conflict_by_one_change() {
    use ConflictCode::*;
    assert_eq!(conflicts(&sound_day()), []);
    type Change = fn(&mut DayProblem);
    let changes: Vec<(ConflictCode, Change)> = vec![
        (BadNumber, |d| d.visits[0].water_l = f64::NAN),
        (BadNumber, |d| d.visits[0].place = Place::Globe { latitude: 1.0, longitude: 2.0 }),
        (Unassigned, |d| d.visits[2].van = None),
        (UnknownVan, |d| d.visits[2].van = Some("V9".into())),
        (UnknownTechnician, |d| d.visits[2].technicians.push("T9".into())),
        (NoTechnician, |d| d.visits[2].technicians.clear()),
        (Duplicate, |d| d.visits[2].vehicle = d.visits[0].vehicle.clone()),
        (DayOff, |d| d.technicians[1].hours = None),
        (OutsideHours, |d| d.technicians[1].hours = Some(hours("07:00", "08:30"))),
        (OutsideHours, |d| d.technicians[1].hours = Some(hours("07:00", "09:05"))),
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
                vec![VisitNotice { rule: "R67".into(), text: "thunder within 10 km".into() }];
        }),
    ];
    for (i, (code, change)) in changes.into_iter().enumerate() {
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
            day.vans[0].refill = refills.then(|| Refill { place: plane(1.0, 1.0), minutes: tank });
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

    /// The order in which visits and people are listed changes nothing.
    #[test]
    fn the_order_of_the_list_does_not_matter(day in any_day()) {
        let mut back = day.clone();
        back.visits.reverse();
        back.technicians.reverse();
        prop_assert_eq!(rounds(&day), rounds(&back));
        let texts = |day| {
            let mut texts: Vec<String> = conflicts(day).into_iter().filter(|c| c.jobs.len() == 1).map(|c| c.text).collect();
            texts.sort();
            texts
        };
        prop_assert_eq!(texts(&day), texts(&back));
    }
}
