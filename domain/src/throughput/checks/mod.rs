//! The sheet, comparisons, trends, the look ahead and what they are drawn as, by hand: what the checks have in common.

mod ahead;
mod compared;
mod drawn;
mod over_time;
mod sheet;

use super::*;
use crate::inspection::Grade;
use crate::vehicle::VehicleClass;
use chrono::{Days, NaiveDate};
use std::collections::BTreeMap;

fn day(number: u64) -> NaiveDate {
    NaiveDate::from_ymd_opt(2030, 12, 30).expect("a Monday") + Days::new(number)
}

/// A finished sedan at grade 2: 20 m2, weight 1.3, planned 52 minutes.
fn job(number: usize, crew: &str, on: NaiveDate, minutes: f64) -> JobFigures {
    JobFigures {
        job: format!("J{number:04}"),
        package: "P1".into(),
        class: VehicleClass::Sedan,
        grade: Grade::TYPICAL,
        crew: crew.into(),
        technicians: vec![format!("T{crew}")],
        area_m2: 20.0,
        weighted_m2: 26.0,
        minutes,
        actual_minutes: minutes,
        planned_minutes: 52.0,
        water_l: Some(80.0),
        product_ml: Some(200.0),
        planned_water_l: Some(100.0),
        planned_product_ml: Some(160.0),
        steps: 20,
        unplanned_steps: 0,
        first_passes: 19,
        loops: 1,
        unsound_entries: 0,
        hottest_panel_c: Some(22.0),
        business: JobBusiness { on, finished: true, late_minutes: Some(5.0), ..JobBusiness::default() },
    }
}

fn input<'a>(jobs: &'a [JobFigures], weeks: &'a [WeekFacts]) -> SheetInput<'a> {
    SheetInput {
        from: day(0),
        to: day(6),
        as_of: day(30),
        jobs,
        cells: &[],
        weeks,
        flaws: &[],
        cancelled: CancelledWork::default(),
    }
}

fn measure<'a>(measures: &'a [Measure], name: &str) -> &'a Measure {
    measures.iter().find(|measure| measure.name == name).unwrap_or_else(|| panic!("no {name}"))
}

fn value(measure: &Measure) -> f64 {
    let Shown::Number { value, .. } = measure.shown else { panic!("{measure:?} is no number") };
    value
}

fn close(is: f64, wanted: f64, within: f64) {
    assert!((is - wanted).abs() <= within, "{is} against {wanted}");
}

/// Ten jobs of 52 minutes, two of them late, one asked for extra work twice, one came back; one no-show beside them.
fn week() -> (Vec<JobFigures>, Vec<WeekFacts>) {
    let mut jobs: Vec<JobFigures> = (0..10).map(|n| job(n, "V1", day(n as u64 % 5), 52.0)).collect();
    jobs[0].business.late_minutes = Some(16.0);
    jobs[1].business.late_minutes = Some(40.0);
    jobs[2].business.extra_work = Some(ExtraWork { asked: 2, accepted: 1 });
    jobs[3].business.reworked_after_days = Some(14);
    jobs[4].business.reworked_after_days = Some(15);
    let mut absent = job(10, "V1", day(3), 0.0);
    absent.business = JobBusiness { on: day(3), no_show: true, ..JobBusiness::default() };
    jobs.push(absent);
    let clay = Wear { used: 5.0, left: Some(20.0), unit: "pieces".into() };
    let crew = WeekFacts {
        week_on: day(0),
        crew: "V1".into(),
        present_minutes: Some(1000.0),
        travel_minutes: Some(180.0),
        wear: BTreeMap::from([("clay".into(), clay)]),
        ..WeekFacts::default()
    };
    let shop = WeekFacts {
        week_on: day(0),
        reminders: Some(ReminderCounts { sent: 40, booked: 10, stopped: 2 }),
        near_misses: Some(1),
        ..WeekFacts::default()
    };
    (jobs, vec![crew, shop])
}

/// Ten jobs a week of two crews for a number of weeks; the time of a job is a function of the week.
fn weeks_of(weeks: u64, minutes: impl Fn(u64, usize) -> f64) -> Vec<JobFigures> {
    let all = (0..weeks).flat_map(|week| (0..10).map(move |n| (week, n)));
    all.map(|(week, n)| {
        job(week as usize * 10 + n, ["V1", "V2"][n % 2], day(week * 7 + n as u64 % 5), minutes(week, n))
    })
    .collect()
}

/// A little noise without chance.
fn wobble(week: u64, n: usize) -> f64 {
    1.0 + 0.04 * ((week * 7 + n as u64 * 3) as f64).sin()
}

fn trend<'a>(
    jobs: &'a [JobFigures],
    weeks: u64,
    experience: &'a BTreeMap<(String, String), i64>,
) -> TrendInput<'a> {
    TrendInput { as_of: day(weeks * 7), jobs, cells: &[], experience, stays: &[] }
}

fn cell(week: u64, technician: &str, steps: i64, factor: f64) -> (CellKey, StepCell) {
    let key = CellKey {
        week_on: day(week * 7),
        crew: "V1".into(),
        technician: technician.into(),
        step: "D03".into(),
        grade: Grade::TYPICAL,
        hot: false,
    };
    let planned = PlannedStep { minutes: 10.0, norm_minutes: 10.0, grade: Grade::TYPICAL };
    let mut cell = StepCell { steps, first_passes: steps, ..StepCell::default() };
    (0..steps).for_each(|_| cell.measure(10.0 * factor, &planned, true));
    (key, cell)
}

fn booked(job: &str, crew: &str, on: NaiveDate, minutes: f64, people: u32) -> BookedJob {
    BookedJob {
        job: job.into(),
        on,
        crew: crew.into(),
        expected_minutes: minutes,
        p50_minutes: minutes * 0.97,
        p90_minutes: minutes * 1.3,
        people,
        serial_share: 0.25,
    }
}

fn ahead_input() -> AheadInput {
    let hours = |crew: &str, number: u64| CrewDay { crew: crew.into(), on: day(number), minutes: 480.0 };
    AheadInput {
        from: day(0),
        to: day(6),
        jobs: vec![
            booked("A", "V1", day(0), 300.0, 1),
            booked("B", "V1", day(0), 220.0, 1),
            booked("C", "V2", day(1), 200.0, 2),
            booked("D", "", day(2), 60.0, 1),
        ],
        upkeep: vec![DueUpkeep {
            vehicle: "K1".into(),
            chance: 0.25,
            expected_minutes: 120.0,
            p50_minutes: 115.0,
            p90_minutes: 160.0,
        }],
        hours: vec![hours("V1", 0), hours("V2", 1)],
        second_person_overhead: 1.08,
    }
}
