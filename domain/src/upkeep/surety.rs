//! Checks of places, seasons, learning and intervals: against the trade's table, by hand, and by properties.

use super::checks::{ago, any_history, figure, need, on, removed, today, try_forecast, vehicle};
use super::*;
use crate::inspection::{Contaminant, Grade};
use crate::parking::{ChlorideClass, Driving, NearSource, ParkingPlace, Sheltering, SourceKind};
use chrono::Days;
use proptest::prelude::*;

const KINDS: [SourceKind; 8] = [
    SourceKind::Rail,
    SourceKind::Foundry,
    SourceKind::BusyRoad,
    SourceKind::BuildingSite,
    SourceKind::Coast,
    SourceKind::Trees,
    SourceKind::Sprinkler,
    SourceKind::SaltedRoads,
];

fn near(kind: SourceKind, distance_m: Option<f64>) -> NearSource {
    NearSource { kind, distance_m, hardness_mg_l: None, wettings_per_week: None, chloride_class: None }
}

fn place(share: f64, sources: Vec<NearSource>) -> ParkingPlace {
    ParkingPlace { share, sources, ..ParkingPlace::default() }
}

fn parked(places: Vec<ParkingPlace>) -> Vehicle {
    Vehicle { parking: places, ..vehicle(&[], &[]) }
}

fn upkeep(vehicle: &Vehicle, history: &History) -> Upkeep {
    try_forecast(vehicle, history).expect("a forecast")
}

fn rate(upkeep: &Upkeep, contaminant: Contaminant) -> Rate {
    let found = upkeep.rates.iter().find(|rate| rate.contaminant == contaminant);
    found.cloned().unwrap_or_else(|| panic!("no rate of {contaminant:?}"))
}

fn dose_per_day(vehicle: &Vehicle) -> f64 {
    rate(&upkeep(vehicle, &History::default()), Contaminant::FalloutIron).per_day.expected
}

fn at(latitude_deg: f64, vehicle: &Vehicle, history: &History, on: NaiveDate) -> Upkeep {
    let climate = Climate { latitude_deg: Some(latitude_deg), ..Climate::default() };
    forecast(Handbook::standard(), vehicle, history, &Experience::default(), &climate, on)
        .expect("a forecast")
}

/// The trade's table (common practice): its days to a dose of 100 are the mean and the median of what is believed
/// where only a class is known.
#[test]
fn a_class_alone_gives_the_days_of_the_trade() {
    for row in Handbook::standard().exposures.iter().filter(|row| !row.salt_season) {
        let car = vehicle(&[(&row.id, 1.0)], &[]);
        let iron = need(&car, &removed(&[1]), NeedKind::Decontamination);
        let days = (iron.due_on - ago(1)).num_days() as f64;
        assert_eq!(days, (100.0 / row.dose_per_day).ceil(), "{}", row.id);
        assert!((days - row.days_to_100).abs() <= 1.0, "{}", row.id);
        let due = forecast(
            Handbook::standard(),
            &car,
            &removed(&[1]),
            &Experience::default(),
            &Climate::default(),
            iron.due_on,
        );
        let due = due.expect("a forecast").needs.into_iter().find(|n| n.kind == NeedKind::Decontamination);
        let risk = due.and_then(|need| need.risk_today).expect("a risk");
        assert!((0.49..0.53).contains(&risk), "{} {risk}", row.id);
        let rate = rate(&upkeep(&car, &removed(&[1])), Contaminant::FalloutIron);
        let learning = rate.learning.expect("what is learned");
        // The mean of the inverse rate is that of the table.
        let mean_days =
            100.0 / row.dose_per_day * learning.prior.shape / learning.prior.scale * (100.0 / 10.0);
        assert!((mean_days * row.dose_per_day / 100.0 - 1.0).abs() < 1e-9);
    }
}

/// An open place beside a source at its usual distance, driven as usual, gives the dose of the trade's class.
#[test]
fn places_at_the_usual_distance_agree_with_the_classes() {
    assert!((dose_per_day(&parked(vec![place(1.0, vec![])])) / 0.6 - 1.0).abs() < 0.015);
    for (kind, dose) in [
        (SourceKind::Rail, 1.1),
        (SourceKind::Foundry, 2.0),
        (SourceKind::BuildingSite, 1.3),
        (SourceKind::Coast, 0.7),
        (SourceKind::Trees, 0.7),
        (SourceKind::Sprinkler, 0.6),
        // In March roads are salted.
        (SourceKind::SaltedRoads, 0.9),
    ] {
        let counted = dose_per_day(&parked(vec![place(1.0, vec![near(kind, None)])]));
        assert!((counted / dose - 1.0).abs() < 0.015, "{kind:?} {counted}");
    }
    let driver = |km_per_week, motorway_share, sheltering| Vehicle {
        driving: Some(Driving { km_per_week, motorway_share, on_salted_roads: false }),
        ..parked(vec![ParkingPlace { share: 1.0, sheltering, ..ParkingPlace::default() }])
    };
    for (km_per_week, motorway_share, sheltering, dose) in [
        (577.0, 0.8, Sheltering::Open, 0.8),
        (230.0, 0.0, Sheltering::Garage, 0.4),
        (96.0, 0.0, Sheltering::Garage, 0.25),
    ] {
        let counted = dose_per_day(&driver(km_per_week, motorway_share, sheltering));
        assert!((counted / dose - 1.0).abs() < 0.1, "{km_per_week} km {counted}");
    }
}

/// 1.375 mg/m2 a day 10 m from a busy line is the upper end (FAL-24), 0.35 the lower: the interval covers both.
#[test]
fn iron_beside_rails_is_told_with_its_uncertainty() {
    let mut car = parked(vec![place(1.0, vec![near(SourceKind::Rail, Some(10.0))])]);
    car.driving = Some(Driving::default());
    let iron = rate(&upkeep(&car, &History::default()), Contaminant::FalloutIron);
    let deposition = iron.deposition_mg_m2_d.expect("iron");
    assert!((deposition.expected - 0.69).abs() < 1e-9);
    assert!(deposition.low < 0.45 && deposition.high > 1.3, "{deposition:?}");
    // Doors are steep: cos 80 deg.
    assert!(
        (iron.steep_per_day.expect("doors").expected / iron.per_day.expected - 0.17364817766693).abs() < 1e-9
    );
    let coarse =
        rate(&upkeep(&vehicle(&[("near_rail", 1.0)], &[]), &History::default()), Contaminant::FalloutIron);
    assert_eq!(coarse.deposition_mg_m2_d, None);
    assert!((coarse.equivalent_days.expected - 1.1 / 0.6).abs() < 1e-9);
}

/// Hardness x film (50 um) per wetting: 300 mg/l leave 15 mg/m2, twice a day 210 a week. The class's spots come monthly
/// (common practice).
#[test]
fn sprinklers_leave_minerals() {
    let mut sprinkler = near(SourceKind::Sprinkler, None);
    (sprinkler.hardness_mg_l, sprinkler.wettings_per_week) = (Some(300.0), Some(14.0));
    let car = parked(vec![place(0.5, vec![sprinkler])]);
    let minerals = rate(&at(0.0, &car, &History::default(), today()), Contaminant::HardwaterDeposit);
    assert!((minerals.per_day.expected - 0.5 * 30.0).abs() < 1e-9);
    let class = at(0.0, &vehicle(&[("sprinkler", 1.0)], &[]), &removed(&[1]), today());
    let spots = class.needs.iter().find(|need| need.kind == NeedKind::SpotRemoval).expect("spots");
    assert_eq!(spots.due_on, ago(1) + Days::new(31));
    assert_eq!(spots.contaminants, [Contaminant::HardwaterDeposit]);
    assert!(spots.reason.contains("hard-water spots have gathered for 1 days"), "{}", spots.reason);
    let class = rate(&class, Contaminant::HardwaterDeposit);
    assert!((class.load.expect("a load") - 30.0 / 7.0).abs() < 1e-9);
}

#[test]
fn the_chloride_class_decides_at_the_coast() {
    let salt = |class| {
        let coast = NearSource { chloride_class: class, ..near(SourceKind::Coast, None) };
        let upkeep = at(0.0, &parked(vec![place(1.0, vec![coast])]), &History::default(), today());
        rate(&upkeep, Contaminant::Salt).per_day.expected
    };
    let [s0, s1, s2, s3] =
        [ChlorideClass::S0, ChlorideClass::S1, ChlorideClass::S2, ChlorideClass::S3].map(|c| salt(Some(c)));
    // The trade's factors 0.5, 1, 1.5, 2.5 (common practice).
    assert!((s0 / s1 - 0.5).abs() < 1e-9 && (s2 / s1 - 1.5).abs() < 1e-9 && (s3 / s1 - 2.5).abs() < 1e-9);
    assert!((salt(None) - s1).abs() < 1e-9);
}

/// January in the south is July in the north.
#[test]
fn the_seasons_follow_the_hemisphere() {
    let car = vehicle(&[("motorway_high", 1.0)], &[]);
    let insects = |latitude_deg, day: &str| {
        rate(&at(latitude_deg, &car, &History::default(), on(day)), Contaminant::Insect).per_day.expected
    };
    assert_eq!(insects(50.0, "2031-07-10"), insects(-35.0, "2031-01-10"));
    assert_eq!(insects(50.0, "2031-01-10"), 0.0);
    assert!((insects(50.0, "2031-07-10") / insects(0.0, "2031-07-10") - 2.6).abs() < 1e-9);
    let unknown = upkeep(&car, &removed(&[10]));
    assert!(unknown.remarks.iter().any(|text| text.contains("latitude is unknown")));
}

/// Rain of 6 mm takes the loose three tenths of ten days off: the wash is due three days later; iron stays.
#[test]
fn rain_takes_loose_dirt_only() {
    let car = vehicle(&[("street_open", 1.0)], &[]);
    let washed = Wash { on: ago(12), alkaline: false, salt_flush: false };
    let history = History { washes: vec![washed], ..removed(&[100]) };
    let with = |rain: &[(u64, f64)]| {
        let rain = rain.iter().map(|&(days, rain_mm)| RainDay { on: ago(days), rain_mm }).collect();
        let climate = Climate { rain, ..Climate::default() };
        let upkeep =
            forecast(Handbook::standard(), &car, &history, &Experience::default(), &climate, today());
        let needs = upkeep.expect("a forecast").needs;
        let of = |kind| needs.iter().find(|n| n.kind == kind).expect("the need").clone();
        (of(NeedKind::Wash), of(NeedKind::Decontamination))
    };
    let (dry, iron) = with(&[]);
    assert_eq!(dry.due_on, ago(12) + Days::new(14));
    let (drizzled, _) = with(&[(14, 30.0), (2, 5.9)]);
    assert_eq!(drizzled.due_on, dry.due_on);
    let (rained, still) = with(&[(7, 8.0), (2, 6.0)]);
    assert_eq!(rained.due_on, dry.due_on + Days::new(3));
    assert!(rained.risk_today < dry.risk_today);
    assert_eq!(still, iron);
}

/// By hand: 99 expected, 120 felt, so (100 + 120) / (100 + 99) of the handbook's rate from then on.
#[test]
fn a_feel_test_teaches_the_rate_and_overrides_the_load() {
    let car = vehicle(&[("near_rail", 1.0)], &[]);
    let felt = |days, grade| BagTest { on: ago(days), grade: Grade::new(grade).expect("a grade") };
    let history = History { bag_tests: vec![felt(10, 3)], ..removed(&[100]) };
    let iron = rate(&upkeep(&car, &history), Contaminant::FalloutIron);
    let factor = 220.0 / 199.0;
    assert!((iron.per_day.expected - 1.1 * factor).abs() < 1e-9);
    assert!((iron.load.expect("a load") - (120.0 + 11.0 * factor)).abs() < 1e-9);
    let learning = iron.learning.expect("what is learned");
    assert_eq!((learning.prior.shape, learning.prior.scale), (10.0, 100.0));
    assert_eq!((learning.evidence.readings, learning.evidence.censored), (1, 0));
    assert!((learning.evidence.exposure - 99.0).abs() < 1e-9 && learning.evidence.amount == 120.0);
    assert!((learning.posterior.shape - 19.9).abs() < 1e-9 && learning.posterior.scale == 220.0);
    // Nothing felt is left-censored: slower than the handbook, and the count goes on from 20.
    let history = History { bag_tests: vec![felt(10, 0)], ..removed(&[100]) };
    let clean = rate(&upkeep(&car, &history), Contaminant::FalloutIron);
    let learning = clean.learning.expect("what is learned");
    assert_eq!((learning.evidence.readings, learning.evidence.censored), (1, 1));
    assert!(clean.per_day.expected < 1.0 && learning.posterior.shape > 10.0);
    // Two on one day: the worse counts.
    let twice = History { bag_tests: vec![felt(10, 3), felt(10, 0)], ..removed(&[100]) };
    assert_eq!(rate(&upkeep(&car, &twice), Contaminant::FalloutIron), iron);
    // Measured iron is on the same scale: 0.1 mg/m2 are a day of the open street, 0.6.
    let measured =
        Reading { on: ago(10), contaminant: Contaminant::FalloutIron, found: Found::AmountMgM2(20.0) };
    let measured = History { readings: vec![measured], ..removed(&[100]) };
    assert_eq!(rate(&upkeep(&car, &measured), Contaminant::FalloutIron).per_day, iron.per_day);
}

/// The left-censored update against the posterior summed over a fine grid.
#[test]
fn a_censored_reading_moves_the_belief_as_the_exact_posterior() {
    for (time, bound) in [(99.0, 55.0), (30.0, 55.0), (200.0, 20.0), (5.0, 1.0)] {
        let prior = learning::GammaProcess::trusting(10.0, 100.0);
        let got = prior.after_at_most(time, bound).belief;
        let (mut mass, mut first, mut second) = (0.0, 0.0, 0.0);
        for i in 1..200_000 {
            let u = f64::from(i) * 5e-6;
            let likelihood = learning::growth_within(0.1 * time, u, bound);
            let density = u.powi(9) * (-100.0 * u).exp() * likelihood;
            mass += density;
            first += u * density;
            second += u * u * density;
        }
        let (mean, square) = (first / mass, second / mass);
        assert!((got.shape / got.scale / mean - 1.0).abs() < 1e-4, "{time} {bound}");
        let variance = got.shape / (got.scale * got.scale);
        assert!((variance / (square - mean * mean) - 1.0).abs() < 1e-3, "{time} {bound}");
    }
}

/// By hand, without seasons: 0.35 a day expects 14 sap spots in 40 days; 28 on 2 m2 double what was to be seen of them.
#[test]
fn counted_spots_teach_their_rate() {
    let car = vehicle(&[("street_trees", 1.0)], &[]);
    let counted = |spots, area_m2| {
        let reading = Reading {
            on: today(),
            contaminant: Contaminant::SapFresh,
            found: Found::Spots { spots, area_m2 },
        };
        let history = History { readings: vec![reading], ..removed(&[40]) };
        rate(&at(0.0, &car, &history, today()), Contaminant::SapFresh)
    };
    let usual = rate(&at(0.0, &car, &removed(&[40]), today()), Contaminant::SapFresh);
    assert!((usual.load.expect("a load") - 14.0).abs() < 1e-9);
    let many = counted(56, 2.0);
    let learning = many.learning.expect("what is learned");
    assert!((learning.posterior.shape - 60.0).abs() < 1e-9 && (learning.posterior.scale - 32.0).abs() < 1e-9);
    assert!((many.per_day.expected - 0.35 * 60.0 / 32.0).abs() < 1e-9);
    assert_eq!(many.load, Some(28.0));
    let none = counted(0, 2.0);
    assert!((none.per_day.expected - 0.35 * 4.0 / 32.0).abs() < 1e-9 && none.load == Some(0.0));
}

#[test]
fn a_step_takes_off_what_it_is_for() {
    let car = vehicle(&[("street_trees", 1.0)], &[]);
    let load = |history: &History, contaminant| rate(&at(0.0, &car, history, today()), contaminant).load;
    let mut history = removed(&[40]);
    history.wear_steps = vec![WearStep { on: ago(10), step: "D01".into(), products: vec![] }];
    assert!((load(&history, Contaminant::SapFresh).expect("a load") - 3.5).abs() < 1e-9);
    let bird = load(&history, Contaminant::Bird).expect("a load");
    assert!((bird - 40.0 * 0.04).abs() < 1e-9);
    let left = Cleared { on: ago(5), contaminant: Contaminant::SapFresh, left_grade: Some(Grade::LIGHT) };
    history.cleared = vec![left];
    assert!((load(&history, Contaminant::SapFresh).expect("a load") - (5.0 + 1.75)).abs() < 1e-9);
}

/// The customer hears the place and the days; a wash or an iron removal before it makes the small visit needless.
#[test]
fn the_reason_names_the_place_and_little_is_asked() {
    let work = ParkingPlace {
        name: Some("work".into()),
        ..place(0.3, vec![near(SourceKind::Rail, Some(40.0)), near(SourceKind::Trees, None)])
    };
    let home = ParkingPlace { sheltering: Sheltering::Garage, ..place(0.7, vec![]) };
    let car = parked(vec![home, work]);
    let answer = upkeep(&car, &removed(&[92]));
    let iron = answer.needs.iter().find(|n| n.kind == NeedKind::Decontamination).expect("iron");
    assert_eq!(iron.reason, "Your car stands 40 m from the railway (work), last iron removal 92 days ago.");
    let kinds: Vec<NeedKind> = answer.needs.iter().map(|need| need.kind).collect();
    assert!(!kinds.contains(&NeedKind::FrontWash), "{kinds:?}");
}

/// Every assumption is a cell of the handbook with that value, and those of places are named.
#[test]
fn assumptions_are_cells_of_the_handbook() {
    let handbook = serde_json::to_value(Handbook::standard()).expect("JSON");
    let car = parked(vec![place(1.0, KINDS.map(|kind| near(kind, None)).into())]);
    let answer = upkeep(&car, &removed(&[30]));
    assert!(answer.assumptions.len() > 30, "{}", answer.assumptions.len());
    for assumption in &answer.assumptions {
        let pointer = match assumption.name.split_once('/') {
            Some(_) => format!("/{}", assumption.name),
            None => format!("/factors/{}/value", assumption.name),
        };
        let cell = handbook.pointer(&pointer).and_then(serde_json::Value::as_f64);
        assert_eq!(cell, Some(assumption.value), "{pointer}");
    }
    for name in ["iron_reference_mg_m2_d", "sources/rail_iron/scale_m", "fallout_shape_places"] {
        assert!(answer.assumptions.iter().any(|a| a.name == name), "{name}");
    }
    let brakes = answer.assumptions.iter().find(|a| a.name == "brake_wear_mg_km").expect("brakes");
    assert_eq!(brakes.basis, AssumptionBasis::Published);
}

#[test]
fn contradictions_of_places_and_readings_are_refused_with_their_place() {
    let refused = |vehicle: &Vehicle, history: &History, pointer: &str| {
        let error = try_forecast(vehicle, history).expect_err(pointer).to_string();
        assert!(error.starts_with(&format!("{pointer}: ")), "{error}");
    };
    let none = History::default();
    refused(&parked(vec![place(0.7, vec![]), place(0.4, vec![])]), &none, "/parking");
    refused(&parked(vec![place(0.1, vec![]), place(-0.1, vec![])]), &none, "/parking/1/share");
    refused(&parked(vec![place(f64::NAN, vec![])]), &none, "/parking/0/share");
    let rail = |distance_m| parked(vec![place(0.5, vec![near(SourceKind::Rail, Some(distance_m))])]);
    refused(&rail(-1.0), &none, "/parking/0/sources/0/distance_m");
    refused(&rail(f64::NAN), &none, "/parking/0/sources/0/distance_m");
    refused(&vehicle(&[("coast", 0.7), ("near_rail", 0.4)], &[]), &none, "/exposures");
    let driving = |km_per_week, motorway_share| Vehicle {
        driving: Some(Driving { km_per_week, motorway_share, on_salted_roads: false }),
        ..vehicle(&[], &[])
    };
    refused(&driving(-5.0, 0.0), &none, "/driving/km_per_week");
    refused(&driving(5.0, 1.5), &none, "/driving/motorway_share");
    let registered = |days| Vehicle { first_registered_on: Some(ago(days)), ..vehicle(&[], &[("wax", 50)]) };
    refused(&registered(40), &none, "/coats/0/applied_on");
    refused(&registered(60), &removed(&[10, 61]), "/decontaminations/1/on");
    let felt = BagTest { on: ago(61), grade: Grade::LIGHT };
    refused(&registered(60), &History { bag_tests: vec![felt], ..none.clone() }, "/bag_tests/0/on");
    let read = |contaminant, found| {
        let reading = Reading { on: today(), contaminant, found };
        History { readings: vec![reading], ..History::default() }
    };
    let car = vehicle(&[], &[]);
    let spots = Found::Spots { spots: 3, area_m2: 1.0 };
    refused(&car, &read(Contaminant::HardwaterDeposit, spots), "/readings/0/found");
    refused(&car, &read(Contaminant::Tar, Found::AmountMgM2(3.0)), "/readings/0/found");
    let nowhere = Found::Spots { spots: 3, area_m2: 0.0 };
    refused(&car, &read(Contaminant::Tar, nowhere), "/readings/0/found/spots/area_m2");
    let negative = Found::AmountMgM2(-3.0);
    refused(&car, &read(Contaminant::FalloutIron, negative), "/readings/0/found/amount_mg_m2");
    let mut ahead = read(Contaminant::Tar, spots);
    ahead.readings[0].on = today() + Days::new(1);
    refused(&car, &ahead, "/readings/0/on");
}

fn any_place() -> impl Strategy<Value = ParkingPlace> {
    let sheltering = prop::sample::select(vec![Sheltering::Open, Sheltering::Carport, Sheltering::Garage]);
    let source = (prop::sample::select(KINDS.to_vec()), prop::option::of(0.0..2000.0f64))
        .prop_map(|(kind, distance_m)| near(kind, distance_m));
    (0.0..=0.5f64, sheltering, prop::collection::vec(source, 0..4))
        .prop_map(|(share, sheltering, sources)| ParkingPlace { name: None, share, sheltering, sources })
}

fn any_parked() -> impl Strategy<Value = Vehicle> {
    let driving = (0.0..2000.0f64, 0.0..=1.0f64, any::<bool>()).prop_map(
        |(km_per_week, motorway_share, on_salted_roads)| Driving {
            km_per_week,
            motorway_share,
            on_salted_roads,
        },
    );
    (prop::collection::vec(any_place(), 0..3), prop::option::of(driving))
        .prop_map(|(places, driving)| Vehicle { driving, ..parked(places) })
}

fn any_reading() -> impl Strategy<Value = Reading> {
    let counted = prop::sample::select(vec![Contaminant::Tar, Contaminant::SapFresh, Contaminant::Insect]);
    let spots = (counted, 0..200u32, 0.1..5.0f64)
        .prop_map(|(contaminant, spots, area_m2)| (contaminant, Found::Spots { spots, area_m2 }));
    let measured = prop::sample::select(vec![Contaminant::FalloutIron, Contaminant::HardwaterDeposit]);
    let amount =
        (measured, 0.0..300.0f64).prop_map(|(contaminant, amount)| (contaminant, Found::AmountMgM2(amount)));
    let all = prop::sample::select(vec![
        Contaminant::FalloutIron,
        Contaminant::Bird,
        Contaminant::HardwaterDeposit,
    ]);
    let grade = (all, 0..=4u8).prop_map(|(contaminant, grade)| {
        (contaminant, Found::Grade(Grade::new(grade).unwrap_or(Grade::NONE)))
    });
    (0..900u64, prop_oneof![spots, amount, grade]).prop_map(|(days, (contaminant, found))| Reading {
        on: ago(days),
        contaminant,
        found,
    })
}

fn any_past() -> impl Strategy<Value = History> {
    (any_history(), prop::collection::vec(any_reading(), 0..6))
        .prop_map(|(history, readings)| History { readings, ..history })
}

fn expected_rates(vehicle: &Vehicle) -> Vec<(Contaminant, f64)> {
    let rates = at(0.0, vehicle, &History::default(), today()).rates;
    rates.into_iter().map(|rate| (rate.contaminant, rate.per_day.expected)).collect()
}

fn none_is_lower(more: &[(Contaminant, f64)], less: &[(Contaminant, f64)]) -> bool {
    less.iter().all(|(contaminant, rate)| {
        more.iter().any(|(other, higher)| other == contaminant && *higher >= rate * (1.0 - 1e-12))
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    #[test]
    fn one_source_more_lowers_no_rate(car in any_parked(), kind in prop::sample::select(KINDS.to_vec()), distance_m in 0.0..3000.0f64) {
        let before = expected_rates(&car);
        let mut more = car;
        if let Some(place) = more.parking.first_mut() {
            place.sources.push(near(kind, Some(distance_m)));
        }
        prop_assert!(none_is_lower(&expected_rates(&more), &before));
    }

    #[test]
    fn farther_raises_no_rate(kind in prop::sample::select(KINDS.to_vec()), near_m in 0.0..3000.0f64, more_m in 0.0..3000.0f64) {
        let at = |distance_m| expected_rates(&parked(vec![place(1.0, vec![near(kind, Some(distance_m))])]));
        prop_assert!(none_is_lower(&at(near_m), &at(near_m + more_m)));
    }

    /// Whatever the past: the days are in order, the interval holds the due day unless a limit put it off, and nothing
    /// is beyond numbers.
    #[test]
    fn intervals_hold_the_due_day(car in any_parked(), past in any_past()) {
        let answer = upkeep(&car, &past);
        for need in &answer.needs {
            let put_off = need.advice.iter().any(|text| text.starts_with("Not before") || text.starts_with("No wash before"));
            prop_assert!(need.remind_on <= need.due_on);
            prop_assert!(need.overdue_on.is_none_or(|on| need.due_on <= on));
            prop_assert!(need.early_on.is_none_or(|on| on <= need.due_on), "{need:?}");
            prop_assert!(put_off || need.late_on.is_none_or(|on| need.due_on <= on), "{need:?}");
            prop_assert!(need.risk_today.is_none_or(|risk| (0.0..=1.0).contains(&risk)), "{need:?}");
        }
        for rate in &answer.rates {
            let i = rate.per_day;
            prop_assert!(0.0 <= i.low && i.low <= i.expected && i.expected <= i.high && i.high.is_finite(), "{rate:?}");
            prop_assert!(rate.load.is_none_or(|load| load >= 0.0 && load.is_finite()));
        }
    }

    #[test]
    fn a_reading_more_tightens_the_belief(past in any_past(), grade in 0..=4u8) {
        let car = vehicle(&[("near_rail", 1.0)], &[]);
        let spread = |past: &History| {
            let iron = rate(&upkeep(&car, past), Contaminant::FalloutIron);
            iron.per_day.high / iron.per_day.low
        };
        let mut more = past.clone();
        more.bag_tests.push(BagTest { on: today(), grade: Grade::new(grade).unwrap_or(Grade::NONE) });
        // On a day with readings only the worst of them counts.
        let read_today = past.bag_tests.iter().map(|t| t.on).chain(past.readings.iter().map(|r| r.on)).any(|on| on == today());
        prop_assume!(!read_today);
        prop_assert!(spread(&more) <= spread(&past) * (1.0 + 1e-9));
    }

    #[test]
    fn the_order_of_the_past_does_not_matter(car in any_parked(), past in any_past()) {
        let mut turned = past.clone();
        turned.decontaminations.reverse();
        turned.bag_tests.reverse();
        turned.washes.reverse();
        turned.readings.reverse();
        prop_assert_eq!(upkeep(&car, &past), upkeep(&car, &turned));
    }

    /// Days and numbers of any kind give an answer or an error, never a crash.
    #[test]
    fn no_past_is_beyond_an_answer(
        car in any_parked(),
        past in any_past(),
        days in prop::collection::vec(-400_000i64..400_000, 6),
        amount in prop::num::f64::ANY,
    ) {
        let day = |i: usize| today().checked_add_signed(chrono::TimeDelta::days(days[i])).unwrap_or(NaiveDate::MAX);
        let mut past = past;
        past.decontaminations.push(Decontamination { on: day(0), clayed: true, left_grade: Some(Grade::WORST) });
        past.away.push(Away { from_on: day(1), to_on: day(2) });
        past.events.push(FalloutEvent { on: day(3), kind: FalloutEventKind::GrindingBeside });
        past.last_salted_on = Some(day(4));
        past.readings.push(Reading { on: day(5), contaminant: Contaminant::FalloutIron, found: Found::AmountMgM2(amount) });
        let _ = try_forecast(&car, &past);
        past.last_salted_on = None;
        past.away.clear();
        let _ = try_forecast(&car, &past);
    }
}
