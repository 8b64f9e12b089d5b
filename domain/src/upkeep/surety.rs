//! Checks of places and seasons: against the trade's table and by hand.

use super::checks::{ago, need, on, removed, today, try_forecast, vehicle};
use super::*;
use crate::inspection::Contaminant;
use crate::parking::{
    ChlorideClass, CorrosivityClass, Driving, NearSource, ParkingPlace, Sheltering, SourceKind,
};
use chrono::Days;

pub(super) const KINDS: [SourceKind; 8] = [
    SourceKind::Rail,
    SourceKind::Foundry,
    SourceKind::BusyRoad,
    SourceKind::BuildingSite,
    SourceKind::Coast,
    SourceKind::Trees,
    SourceKind::Sprinkler,
    SourceKind::SaltedRoads,
];

pub(super) fn near(kind: SourceKind, distance_m: Option<f64>) -> NearSource {
    NearSource { kind, distance_m, hardness_mg_l: None, wettings_per_week: None, chloride_class: None }
}

pub(super) fn place(share: f64, sources: Vec<NearSource>) -> ParkingPlace {
    ParkingPlace { share, sources, ..ParkingPlace::default() }
}

pub(super) fn parked(places: Vec<ParkingPlace>) -> Vehicle {
    Vehicle { parking: places, ..vehicle(&[], &[]) }
}

pub(super) fn upkeep(vehicle: &Vehicle, history: &History) -> Upkeep {
    try_forecast(vehicle, history).expect("a forecast")
}

pub(super) fn rate(upkeep: &Upkeep, contaminant: Contaminant) -> Rate {
    let found = upkeep.rates.iter().find(|rate| rate.contaminant == contaminant);
    found.cloned().unwrap_or_else(|| panic!("no rate of {contaminant:?}"))
}

fn dose_per_day(vehicle: &Vehicle) -> f64 {
    rate(&upkeep(vehicle, &History::default()), Contaminant::FalloutIron).per_day.expected
}

pub(super) fn at(latitude_deg: f64, vehicle: &Vehicle, history: &History, on: NaiveDate) -> Upkeep {
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
    assert!(spots.reason.contains("hard-water spots have gathered for 1 day."), "{}", spots.reason);
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

fn corrosivity(vehicle: &Vehicle) -> PlaceCorrosivity {
    let rate = rate(&upkeep(vehicle, &History::default()), Contaminant::FalloutIron);
    rate.corrosivity.first().cloned().expect("the air of the place")
}

/// Bare steel by the dose-response function of ISO 9223:2012 (checked with FAL-30 to 33) at 9.75 °C, 75 % and 2 mg of
/// sulphur dioxide; values computed by hand in another language.
#[test]
fn salt_in_the_air_tells_its_corrosivity() {
    let beside = |kind, distance_m| corrosivity(&parked(vec![place(1.0, vec![near(kind, distance_m)])]));
    for (kind, distance_m, steel_um, class, factor) in [
        (SourceKind::Coast, None, 30.177105, CorrosivityClass::C3, 1.15),
        (SourceKind::Coast, Some(100.0), 67.203474, CorrosivityClass::C4, 1.3),
        (SourceKind::SaltedRoads, None, 22.776652, CorrosivityClass::C2, 1.0),
    ] {
        let air = beside(kind, distance_m);
        assert!((air.carbon_steel_um.expect("derived") - steel_um).abs() < 1e-5, "{air:?}");
        assert_eq!((air.place.as_str(), air.class, air.factor), ("/parking/0", class, factor));
    }
    let measured =
        |class| NearSource { chloride_class: Some(class), ..near(SourceKind::Coast, Some(1500.0)) };
    let by_class = |class| corrosivity(&parked(vec![place(1.0, vec![measured(class)])])).class;
    assert_eq!(by_class(ChlorideClass::S0), CorrosivityClass::C2);
    assert_eq!(by_class(ChlorideClass::S2), CorrosivityClass::C3);
    assert_eq!(by_class(ChlorideClass::S3), CorrosivityClass::C5);
    let inland = upkeep(&parked(vec![place(1.0, vec![near(SourceKind::Rail, None)])]), &History::default());
    assert_eq!(rate(&inland, Contaminant::FalloutIron).corrosivity, []);
    assert!(!inland.assumptions.iter().any(|a| a.name == "corrosivity_c2"));
}

/// What the shop says of a place goes before what salt tells; the factor is the handbook's, which a shop changes.
#[test]
fn corrosive_air_bonds_fallout_faster() {
    let handbook = Handbook::standard()
        .with_overrides(&serde_json::json!({ "factors": { "corrosivity_c5": { "value": 2.0 } } }))
        .expect("a handbook");
    let said = |corrosivity| {
        let air = ParkingPlace { corrosivity, ..place(1.0, vec![near(SourceKind::Rail, None)]) };
        Vehicle { driving: Some(Driving::default()), ..parked(vec![air]) }
    };
    let dose = |handbook: &Handbook, class| {
        let (car, none) = (said(class), History::default());
        let answer = forecast(handbook, &car, &none, &Experience::default(), &Climate::default(), today());
        let answer = answer.expect("a forecast");
        assert_eq!(answer.assumptions.iter().any(|a| a.name == "corrosivity_c5"), class.is_some());
        let iron = rate(&answer, Contaminant::FalloutIron);
        assert_eq!(
            iron.corrosivity.first().map(|air| (air.class, air.carbon_steel_um)),
            class.map(|c| (c, None))
        );
        assert!((iron.deposition_mg_m2_d.expect("iron").expected - 0.0833).abs() < 1e-4, "{iron:?}");
        iron.per_day.expected
    };
    let standard = Handbook::standard();
    let (c5, inland) = (dose(standard, Some(CorrosivityClass::C5)), dose(standard, None));
    assert!((c5 / inland - 1.5).abs() < 1e-9, "{c5} {inland}");
    assert!((dose(&handbook, Some(CorrosivityClass::C5)) / inland - 2.0).abs() < 1e-9);
    assert!((dose(standard, Some(CorrosivityClass::C1)) / inland - 0.85).abs() < 1e-9);
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
