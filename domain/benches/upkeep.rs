//! What a forecast costs, whole and as days alone: `cargo bench -p domain --bench upkeep`.
//!
//! Aim on one core: the days of an ordinary vehicle, prepared once per shop, within 15 µs, so that a million take 15 s of
//! the minute that streaming them through a database may take. The whole forecast with its words, rates and visits is
//! made only where somebody reads it.

use chrono::{Days, NaiveDate};
use criterion::{Criterion, criterion_group, criterion_main};
use domain::handbook::Handbook;
use domain::inspection::Grade;
use domain::parking::{Driving, NearSource, ParkingPlace, Sheltering, SourceKind};
use domain::upkeep::{BagTest, Climate, Decontamination, Experience, Forecaster, History, Wash};
use domain::vehicle::Vehicle;
use std::hint::black_box;

fn today() -> NaiveDate {
    NaiveDate::from_ymd_opt(2031, 3, 17).unwrap_or_default()
}

fn ago(days: u64) -> NaiveDate {
    today().checked_sub_days(Days::new(days)).unwrap_or_default()
}

fn vehicle(exposures: &str) -> Option<Vehicle> {
    let text = format!(
        r#"{{ "class": "estate", "colour": "grey", "finish": "clear_coat", "exposures": {exposures},
              "coats": [{{ "protection": "ceramic_1y", "applied_on": "2030-12-07" }}] }}"#
    );
    serde_json::from_str(&text).ok()
}

/// Three decontaminations, washes in between, and one feel test.
fn past(felt: &[(u64, Grade)]) -> History {
    let wash = |days| Wash { on: ago(days), alkaline: false, salt_flush: false };
    let decontamination = |days| Decontamination { on: ago(days), clayed: false, left_grade: None };
    History {
        decontaminations: [400, 260, 100].map(decontamination).into(),
        washes: [380, 330, 290, 240, 200, 150, 60, 20].map(wash).into(),
        bag_tests: felt.iter().map(|&(days, grade)| BagTest { on: ago(days), grade }).collect(),
        ..History::default()
    }
}

fn parked() -> Option<Vehicle> {
    let near = |kind, distance_m| NearSource {
        kind,
        distance_m,
        hardness_mg_l: None,
        wettings_per_week: None,
        chloride_class: None,
    };
    let home = ParkingPlace { share: 0.6, sheltering: Sheltering::Carport, ..ParkingPlace::default() };
    let sources = vec![near(SourceKind::Rail, Some(60.0)), near(SourceKind::Trees, None)];
    let work = ParkingPlace { share: 0.4, sources, ..ParkingPlace::default() };
    let driving = Driving { km_per_week: 350.0, motorway_share: 0.4, on_salted_roads: true };
    Some(Vehicle { parking: vec![home, work], driving: Some(driving), ..vehicle("[]")? })
}

fn forecasts(bench: &mut Criterion) {
    let (experience, climate) = (Experience::default(), Climate::default());
    let near_rail =
        vehicle(r#"[{ "kind": "near_rail", "share": 0.6 }, { "kind": "street_open", "share": 0.4 }]"#);
    let trees = vehicle(r#"[{ "kind": "street_trees", "share": 1.0 }]"#);
    let felt = [(265, Grade::TYPICAL), (105, Grade::LIGHT)];
    let prepared = Forecaster::new(Handbook::standard(), &experience, &climate);
    let (Ok(prepared), Some(near_rail), Some(trees), Some(parked)) = (prepared, near_rail, trees, parked())
    else {
        // The bench's own data is valid; were it not, no figure would be printed.
        return;
    };
    for (name, vehicle, history) in [
        ("classes, nothing read", &near_rail, past(&[])),
        ("classes, two feel tests", &near_rail, past(&felt)),
        ("under trees, two feel tests", &trees, past(&felt)),
        ("places and driving, two feel tests", &parked, past(&felt)),
    ] {
        bench.bench_function(&format!("upkeep, whole, {name}"), |b| {
            b.iter(|| prepared.forecast(black_box(vehicle), black_box(&history), black_box(today())))
        });
        bench.bench_function(&format!("upkeep, days, {name}"), |b| {
            b.iter(|| prepared.days(black_box(vehicle), black_box(&history), black_box(today())))
        });
    }
    bench.bench_function("upkeep, preparing a shop", |b| {
        b.iter(|| Forecaster::new(black_box(Handbook::standard()), &experience, &climate))
    });
}

criterion_group!(benches, forecasts);
criterion_main!(benches);
