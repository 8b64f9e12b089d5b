//! Checks of the sheet from records, by hand and by properties.

use super::*;
use crate::handbook::Handbook;
use crate::inspection::Grade;
use crate::vehicle::VehicleClass;
use proptest::prelude::*;

fn record(job: &str, minutes: f64, planned: f64) -> StepRecord {
    StepRecord {
        job: job.into(),
        step: "C02".into(),
        package: "P1".into(),
        class: VehicleClass::Sedan,
        grade: Grade::TYPICAL,
        crew: "V1".into(),
        technician: "T1".into(),
        minutes,
        planned_minutes: Some(planned),
        water_l: Some(40.0),
        product_ml: Some(100.0),
        loops: 0,
        passed: true,
        area_m2: 20.0,
        panel_c: None,
    }
}

fn sheet_of(records: &[StepRecord]) -> Throughput {
    throughput(Handbook::standard(), records)
}

fn measure<'a>(group: &'a PackageCrew, name: &str) -> &'a Measure {
    group.measures.iter().find(|m| m.name == name).expect("the measure")
}

fn number(measure: &Measure) -> f64 {
    let Shown::Number { value, .. } = measure.shown else { panic!("{:?} is no number", measure.shown) };
    value
}

/// By hand: ten sedans of 20 m² at grade 2 (weight 1.3, common practice), 52 to 61 minutes in two steps.
#[test]
fn ten_jobs_give_numbers() {
    let steps = (0..10).flat_map(|i| {
        let job = format!("J{i}");
        [record(&job, 26.0, 26.0), record(&job, 26.0 + f64::from(i), 26.0)]
    });
    let sheet = sheet_of(&steps.collect::<Vec<_>>());
    let [group] = sheet.groups.as_slice() else { panic!("one group") };
    assert_eq!((group.jobs_done, group.person_minutes), (10, 565.0));
    let work = measure(group, "person_minutes_per_weighted_m2");
    assert_eq!((number(work), work.count), (565.0 / 260.0, 10));
    assert!((work.denominator - 260.0).abs() < 1e-9);
    assert_eq!(number(measure(group, "actual_to_planned")), (56.0 / 52.0 + 57.0 / 52.0) / 2.0);
    assert_eq!(number(measure(group, "water_per_m2")), 4.0);
    assert_eq!(number(measure(group, "product_per_m2")), 10.0);
    assert_eq!(number(measure(group, "first_pass_rate")), 1.0);
    assert!(group.cautions.is_empty(), "{:?}", group.cautions);
}

/// Below eight jobs a range, never a number (common practice).
#[test]
fn seven_jobs_give_ranges_and_the_reason() {
    let steps: Vec<_> = (0..7).map(|i| record(&format!("J{i}"), 26.0 + 2.6 * f64::from(i), 26.0)).collect();
    let sheet = sheet_of(&steps);
    for m in &sheet.groups[0].measures {
        assert!(matches!(m.shown, Shown::Range { low, high } if low <= high), "{m:?}");
    }
    let Shown::Range { low, high } = measure(&sheet.groups[0], "actual_to_planned").shown.clone() else {
        panic!("a range")
    };
    assert!((low - 1.0).abs() < 1e-12 && (high - 1.6).abs() < 1e-12);
    assert_eq!(sheet.groups[0].cautions, ["Only 7 jobs: a range is shown instead of a number."]);
}

#[test]
fn bad_records_are_left_out_and_named() {
    let mut steps = vec![record("J1", 26.0, 26.0), record("J2", -1.0, 26.0), record("J3", f64::NAN, 26.0)];
    steps.push(StepRecord { area_m2: 0.0, ..record("J4", 5.0, 5.0) });
    steps.push(StepRecord { minutes: 1560.0, ..record("J5", 5.0, 5.0) });
    let sheet = sheet_of(&steps);
    assert_eq!(sheet.groups[0].jobs_done, 1);
    let named: Vec<&str> = sheet.left_out.iter().map(|l| l.job.as_str()).collect();
    assert_eq!(named, ["J2", "J3", "J4", "J5"]);
    assert_eq!(sheet.left_out[0].reason, "minutes is -1, outside 0 to 1440");
}

#[test]
fn mixed_cases_are_said() {
    let mut steps: Vec<_> = (0..8).map(|i| record(&format!("J{i}"), 26.0, 26.0)).collect();
    steps[0].grade = Grade::HEAVY;
    steps[1].class = VehicleClass::LargeVan;
    steps[2].panel_c = Some(41.0);
    steps[3].planned_minutes = None;
    steps[4].water_l = None;
    steps.push(StepRecord { technician: "T2".into(), ..record("J5", 10.0, 10.0) });
    let cautions = sheet_of(&steps).groups.remove(0).cautions.join("\n");
    for part in [
        "1 of 8 jobs were grade 3",
        "2 vehicle classes",
        "more than one person",
        "above 30",
        "1 of 9 steps",
        "Water was recorded on 7 of 8",
    ] {
        assert!(cautions.contains(part), "{part} in {cautions}");
    }
}

proptest! {
    /// Nothing is lost or counted twice: minutes of groups and records left out add up, in any order of records.
    #[test]
    fn minutes_add_up_in_any_order(
        steps in prop::collection::vec((0..9u8, 0..3u8, 0..3u8, -5.0..300.0f64), 0..60).prop_shuffle()
    ) {
        let steps: Vec<StepRecord> = steps.into_iter().map(|(job, crew, package, minutes)| StepRecord {
            crew: format!("V{crew}"),
            package: format!("P{package}"),
            ..record(&format!("J{job}"), minutes, 30.0)
        }).collect();
        let sheet = sheet_of(&steps);
        let counted: f64 = sheet.groups.iter().map(|g| g.person_minutes).sum();
        let good: f64 = steps.iter().map(|s| s.minutes).filter(|m| *m >= 0.0).sum();
        prop_assert!((counted - good).abs() < 1e-6);
        prop_assert_eq!(sheet.left_out.len(), steps.iter().filter(|s| s.minutes < 0.0).count());
        let mut back = steps.clone();
        back.reverse();
        let jobs = |s: &Throughput| s.groups.iter().map(|g| (g.package.clone(), g.crew.clone(), g.jobs_done)).collect::<Vec<_>>();
        prop_assert_eq!(jobs(&sheet), jobs(&sheet_of(&back)));
    }
}
