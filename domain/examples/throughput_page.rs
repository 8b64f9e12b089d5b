//! Prints the throughput page of an invented shop's week, to be looked at:
//! `cargo run -p domain --example throughput_page > page.html`, or with a picture's name its SVG alone: `individuals`,
//! `ewma`, `funnel`, `load`.
#![allow(clippy::disallowed_methods, clippy::disallowed_macros, reason = "an example talks to its terminal")]

use chrono::{Days, NaiveDate, TimeDelta};
use domain::handbook::Handbook;
use domain::inspection::Grade;
use domain::throughput::{
    AheadInput, BookedJob, CancelledWork, CellKey, Contribution, CrewDay, DueUpkeep, ExtraWork, Flaw,
    JobBusiness, JobFacts, JobFigures, JobStay, PageInput, PlannedStep, ReminderCounts, SheetInput, StepCell,
    StepEntry, TrendInput, Wear, WeekFacts, compare_crews, ewma_svg, funnel_svg, individuals_svg, load_svg,
    look_ahead, norm_evidence, screen, sheet, sheet_page, trends, weighted_m2,
};
use domain::vehicle::VehicleClass;
use std::collections::BTreeMap;

const WEEKS: u64 = 52;
/// Van, technician, jobs a week, pace.
const CREWS: [(&str, &str, u64, f64); 4] = [
    ("V1", "Nimbo", 14, 1.0),
    ("V2", "Tarvel", 12, 0.97),
    ("V3", "Quisk", 11, 1.22),
    ("V4", "Hyppa", 3, 1.0),
];
const STEPS: [(&str, f64); 8] = [
    ("A01", 4.0),
    ("B02", 6.0),
    ("B06", 5.0),
    ("C02", 16.0),
    ("D03", 8.0),
    ("E01", 14.0),
    ("F01", 9.0),
    ("I02", 5.0),
];

/// A generator of the example's own (the multiplier of Knuth's MMIX), 0 to 1.
struct Chance(u64);

impl Chance {
    fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// About normal, standard deviation 1.
    fn bell(&mut self) -> f64 {
        (0..12).map(|_| self.next()).sum::<f64>() - 6.0
    }
}

/// What a database would hold.
#[derive(Default)]
struct Rows {
    jobs: Vec<JobFigures>,
    cells: BTreeMap<CellKey, StepCell>,
    flaws: Vec<Flaw>,
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let first = NaiveDate::from_ymd_opt(2030, 3, 25).ok_or("no such day")?;
    let rows = year(first);
    let week_on = first + Days::new(7 * (WEEKS - 1));
    let cells: Vec<(CellKey, StepCell)> = rows.cells.into_iter().collect();
    let jobs: Vec<JobFigures> = rows.jobs.iter().filter(|job| job.business.on >= week_on).cloned().collect();
    let of_week: Vec<_> = cells.iter().filter(|(key, _)| key.week_on == week_on).cloned().collect();
    let flaws: Vec<Flaw> = rows.flaws.iter().filter(|flaw| flaw.on >= week_on).cloned().collect();
    let to = week_on + Days::new(6);
    let as_of = week_on + Days::new(7);
    let (weeks, experience) = (weeks(week_on), BTreeMap::new());
    let week = sheet(&SheetInput {
        from: week_on,
        to,
        as_of,
        jobs: &jobs,
        cells: &of_week,
        weeks: &weeks,
        flaws: &flaws,
        cancelled: CancelledWork::default(),
    });
    // Crews are compared over the quarter: a week is too short for that.
    let quarter: Vec<JobFigures> =
        rows.jobs.iter().filter(|job| job.business.on >= week_on - Days::new(84)).cloned().collect();
    let comparisons = compare_crews(&quarter, as_of);
    let stays: Vec<JobStay> = rows
        .jobs
        .iter()
        .map(|job| JobStay { booked_on: job.business.on - Days::new(9), left_on: Some(job.business.on) })
        .collect();
    let over_time = trends(&TrendInput {
        as_of,
        jobs: &rows.jobs,
        cells: &cells,
        experience: &experience,
        stays: &stays,
    });
    let ahead = look_ahead(&next_week(as_of));
    let norms = norm_evidence(&cells, &[]);
    let week = domain::throughput::Sheet { comparisons, ..week };
    let wanted = std::env::args().nth(1).unwrap_or_default();
    let picture = match wanted.as_str() {
        "individuals" => individuals_svg(&over_time.series[0]),
        "ewma" => ewma_svg(&over_time.series[0]).unwrap_or_default(),
        "funnel" => funnel_svg(&week.comparisons[0]),
        "load" => load_svg(&ahead),
        _ => sheet_page(&PageInput {
            shop: "Example Shop",
            heading: "week 12 of 2031",
            sheet: &week,
            trends: Some(&over_time),
            ahead: Some(&ahead),
            norms: &norms,
            since_closing: None,
        }),
    };
    println!("{picture}");
    Ok(())
}

fn year(first: NaiveDate) -> Rows {
    let (handbook, mut chance, mut rows, mut number) =
        (Handbook::standard(), Chance(9), Rows::default(), 1000);
    for week in 0..WEEKS {
        for (crew, technician, jobs, pace) in CREWS {
            for at in 0..jobs {
                number += 1;
                let on = first + Days::new(7 * week + at * 5 / jobs);
                let pace = pace * if week >= 34 { 1.14 } else { 1.0 };
                // Someone new comes to V2 in week 34.
                let technician = if week >= 34 && crew == "V2" { "Newt" } else { technician };
                add_job(&mut rows, handbook, &mut chance, &Job { number, crew, technician, on, pace, at });
            }
        }
    }
    rows
}

struct Job<'a> {
    number: u32,
    crew: &'a str,
    technician: &'a str,
    on: NaiveDate,
    pace: f64,
    at: u64,
}

fn add_job(rows: &mut Rows, handbook: &Handbook, chance: &mut Chance, job: &Job) {
    let (class, area_m2) =
        [(VehicleClass::Sedan, 19.5), (VehicleClass::Estate, 21.0), (VehicleClass::LargeVan, 42.0)]
            [(chance.next() * 2.4) as usize];
    let grade = [Grade::LIGHT, Grade::TYPICAL, Grade::HEAVY][(chance.next() * 2.6) as usize];
    let size = weighted_m2(handbook, grade, area_m2) / 26.0;
    let planned =
        |minutes: f64| PlannedStep { minutes: minutes * size, norm_minutes: minutes * size * 0.95, grade };
    let facts = JobFacts {
        job: format!("{}", job.number),
        package: if chance.next() < 0.6 { "P1" } else { "P2" }.into(),
        class,
        grade,
        crew: job.crew.into(),
        area_m2,
        weighted_m2: weighted_m2(handbook, grade, area_m2),
        planned: STEPS.iter().map(|(step, minutes)| ((*step).to_owned(), planned(*minutes))).collect(),
        planned_water_l: Some(area_m2 * 5.0),
        planned_product_ml: Some(area_m2 * 24.0),
        business: JobBusiness {
            on: job.on,
            finished: true,
            no_show: false,
            booked_on: Some(job.on - Days::new(9)),
            late_minutes: Some(8.0 * chance.bell()),
            reworked_after_days: (chance.next() < 0.04).then_some(6),
            extra_work: Some(ExtraWork {
                asked: u32::from(chance.next() < 0.3),
                accepted: u32::from(chance.next() < 0.1),
            }),
        },
    };
    let entries = entries(chance, job, size, area_m2);
    let screening = screen(&entries);
    let contribution = Contribution::of(&facts, &entries, &screening.counted);
    rows.flaws.extend(screening.flaws);
    for (key, cell) in contribution.cells {
        rows.cells.entry(key).or_default().add(&cell);
    }
    rows.jobs.push(contribution.figures);
}

fn entries(chance: &mut Chance, job: &Job, size: f64, area_m2: f64) -> Vec<StepEntry> {
    let day_pace = job.pace * (0.12 * chance.bell()).exp();
    let panel_c =
        18.0 + 9.0 * chance.next() + if (100..240).contains(&day_of_year(job.on)) { 6.0 } else { 0.0 };
    let mut begin =
        job.on.and_time(chrono::NaiveTime::MIN) + TimeDelta::minutes(420 + 150 * (job.at as i64 % 3));
    let mut entries = Vec::new();
    for (step, minutes) in STEPS {
        let minutes = minutes * size * day_pace * (0.2 * chance.bell()).exp();
        let failed = chance.next() < 0.08;
        // Now and then a phone's clock is wrong.
        let wrong = chance.next() < 0.0015;
        entries.push(StepEntry {
            id: format!("{}-{step}", job.number),
            job: format!("{}", job.number),
            step: step.into(),
            technician: job.technician.into(),
            started_at: begin,
            on: job.on,
            minutes: if wrong { -minutes } else { minutes },
            loops: u32::from(failed),
            passed: true,
            water_l: Some(area_m2 * 0.55),
            product_ml: Some(area_m2 * 3.2),
            panel_c: Some(panel_c),
            withdrawn: None,
        });
        begin += TimeDelta::seconds((minutes * 60.0) as i64 + 30);
    }
    entries
}

fn day_of_year(on: NaiveDate) -> u32 {
    chrono::Datelike::ordinal(&on)
}

fn weeks(week_on: NaiveDate) -> Vec<WeekFacts> {
    let clay = Wear { used: 9.0, left: Some(31.0), unit: "pieces".into() };
    let towels = Wear { used: 160.0, left: Some(410.0), unit: "washes".into() };
    let mut weeks: Vec<WeekFacts> = CREWS
        .iter()
        .map(|(crew, _, jobs, _)| WeekFacts {
            week_on,
            crew: (*crew).into(),
            present_minutes: Some(*jobs as f64 * 170.0),
            travel_minutes: Some(*jobs as f64 * 32.0),
            ..WeekFacts::default()
        })
        .collect();
    weeks.push(WeekFacts {
        week_on,
        reminders: Some(ReminderCounts { sent: 42, booked: 11, stopped: 1 }),
        near_misses: Some(1),
        wear: BTreeMap::from([("clay".into(), clay), ("towels".into(), towels)]),
        ..WeekFacts::default()
    });
    weeks
}

fn next_week(from: NaiveDate) -> AheadInput {
    let mut chance = Chance(4);
    let mut input =
        AheadInput { from, to: from + Days::new(6), second_person_overhead: 1.08, ..AheadInput::default() };
    for (crew, _, jobs, pace) in CREWS {
        for at in 0..jobs {
            let expected = 110.0 * pace * (0.4 * chance.bell()).exp();
            input.jobs.push(BookedJob {
                job: format!("{crew}-{at}"),
                on: from + Days::new(at * 5 / jobs),
                crew: crew.into(),
                expected_minutes: expected,
                p50_minutes: expected * 0.96,
                p90_minutes: expected * 1.4,
                people: 1,
                serial_share: 0.2,
            });
        }
        for day in 0..5 {
            input.hours.push(CrewDay { crew: crew.into(), on: from + Days::new(day), minutes: 330.0 });
        }
    }
    let due = |n: u64| DueUpkeep {
        vehicle: format!("K{n}"),
        chance: 0.25,
        expected_minutes: 120.0,
        p50_minutes: 115.0,
        p90_minutes: 170.0,
    };
    input.upkeep = (0..9).map(due).collect();
    input
}
