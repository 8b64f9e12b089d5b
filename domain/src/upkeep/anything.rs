//! What must not be, and what always holds.

use super::checks::{ago, any_history, removed, today, try_forecast, vehicle};
use super::surety::{KINDS, at, near, parked, place, rate, upkeep};
use super::*;
use crate::inspection::{Contaminant, Grade};
use crate::parking::{Driving, ParkingPlace, Sheltering, SourceKind};
use chrono::Days;
use proptest::prelude::*;

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
    (0.0..=0.5f64, sheltering, prop::collection::vec(source, 0..4)).prop_map(
        |(share, sheltering, sources)| ParkingPlace { share, sheltering, sources, ..ParkingPlace::default() },
    )
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

/// One pair of distances at which an earlier form of the sum of sources rose with the distance.
#[test]
fn a_railway_farther_off_raises_no_rate() {
    let at = |distance_m| {
        expected_rates(&parked(vec![place(1.0, vec![near(SourceKind::Rail, Some(distance_m))])]))
    };
    assert!(none_is_lower(&at(0.0), &at(737.0)), "{:?} {:?}", at(0.0), at(737.0));
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

    /// A list of many vehicles shows the same days as the forecast of each.
    #[test]
    fn days_without_words_are_the_same_days(car in any_parked(), past in any_past(), coat in 0..3usize) {
        let coats = [&[][..], &[("wax", 40)], &[("ceramic_1y", 300), ("silica_spray", 20)]];
        let car = Vehicle { coats: vehicle(&[], coats[coat]).coats, ..car };
        let (handbook, nothing, climate) = (Handbook::standard(), Experience::default(), Climate::default());
        let days = Forecaster::new(handbook, &nothing, &climate).and_then(|f| f.days(&car, &past, today()));
        let needs: Vec<NeedDays> = upkeep(&car, &past).needs.iter().map(NeedDays::of).collect();
        prop_assert_eq!(days.expect("days"), needs);
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
