//! The sheet's figures and what it says of them.

use super::*;
use proptest::prelude::*;

#[test]
fn every_measure_of_the_catalogue_is_on_the_sheet_with_its_count_and_denominator() {
    let (jobs, weeks) = week();
    let sheet = sheet(&input(&jobs, &weeks));
    let on_sheet: Vec<&str> = sheet.measures.iter().map(|measure| measure.name.as_str()).collect();
    let defined = catalogue().iter().filter(|one| one.part == Part::Sheet);
    let defined: Vec<&str> = defined.map(|one| one.name).collect();
    assert_eq!(on_sheet, defined);
    // name, value, count, denominator: by hand.
    let by_hand = [
        ("jobs_done", 10.0 / 11.0, 11, 11.0),
        ("on_time_start", 0.8, 10, 10.0),
        ("person_minutes_per_weighted_m2", 2.0, 10, 260.0),
        ("actual_to_planned", 1.0, 10, 10.0),
        ("water_per_m2", 4.0, 10, 200.0),
        ("product_per_m2", 10.0, 10, 200.0),
        ("first_pass_rate", 0.95, 200, 200.0),
        ("loops_per_step", 0.05, 200, 200.0),
        ("rework_within_14_days", 0.1, 10, 10.0),
        ("extra_work_asked", 0.2, 10, 10.0),
        ("reminders_sent", 40.0, 40, 1.0),
        ("reminders_booked", 0.25, 40, 40.0),
        ("reminders_stopped", 0.05, 40, 40.0),
        ("no_shows", 1.0 / 11.0, 11, 11.0),
        ("travel_share", 0.18, 1, 1000.0),
        ("idle_share", 0.3, 1, 1000.0),
        ("near_misses", 10.0, 10, 10.0),
    ];
    for (name, wanted, count, denominator) in by_hand {
        let is = measure(&sheet.measures, name);
        close(value(is), wanted, 1e-12);
        assert_eq!((is.count, is.denominator), (count, denominator), "{name}");
        assert!(!is.definition.is_empty() && !is.misleads.is_empty() && !is.unit.is_empty());
    }
    // Two requests: a range.
    assert!(matches!(measure(&sheet.measures, "extra_work_accepted").shown, Shown::Range { .. }));
    assert_eq!(measure(&sheet.measures, "water_per_m2").norm, Some(5.0));
    let clay = &sheet.wear[0];
    assert_eq!((clay.used_per_job, clay.left, clay.jobs_left), (Some(0.5), Some(20.0), Some(40.0)));
    assert_eq!((clay.jobs, clay.definition.is_empty()), (10, false));
    let said = sheet.cautions.join("\n");
    assert!(said.contains("Water was 80 % and product 125 % of plan"), "{said}");
}

#[test]
fn what_is_not_recorded_is_said_and_not_zero() {
    let jobs: Vec<JobFigures> = (0..8).map(|n| job(n, "V1", day(0), 52.0)).collect();
    let sheet = sheet(&SheetInput { as_of: day(7), ..input(&jobs, &[]) });
    for name in ["travel_share", "idle_share", "near_misses", "reminders_booked", "extra_work_asked"] {
        let shown = &measure(&sheet.measures, name).shown;
        assert!(matches!(shown, Shown::NoData { reason } if !reason.is_empty()), "{name}: {shown:?}");
    }
    // A week after, no job can be known not to have come back.
    let rework = measure(&sheet.measures, "rework_within_14_days");
    assert_eq!((rework.count, &rework.shown), (0, &Shown::none("no job was finished at least 14 days ago")));
    assert!(sheet.cautions.iter().any(|text| text.starts_with("8 jobs may still come back")));
}

#[test]
fn contradicting_times_are_in_no_figure_of_minutes() {
    let mut jobs: Vec<JobFigures> = (0..9).map(|n| job(n, "V1", day(0), 52.0)).collect();
    jobs[8].minutes = 900.0;
    jobs[8].unsound_entries = 1;
    let sheet = sheet(&input(&jobs, &[]));
    let work = measure(&sheet.measures, "person_minutes_per_weighted_m2");
    assert_eq!((value(work), work.count), (2.0, 8));
    assert!(sheet.cautions.iter().any(|text| text.starts_with("1 of 9 jobs have times that contradict")));
}

#[test]
fn hot_jobs_stand_apart() {
    let mut jobs: Vec<JobFigures> = (0..20).map(|n| job(n, ["V1", "V2"][n % 2], day(0), 52.0)).collect();
    for job in &mut jobs[..4] {
        job.hottest_panel_c = Some(41.0);
        job.minutes = 90.0;
    }
    let sheet = sheet(&input(&jobs, &[]));
    let alike: Vec<_> = sheet.like_jobs.iter().map(|group| (group.hot, group.jobs_done)).collect();
    assert_eq!(alike, [(Some(false), 16), (Some(true), 4)]);
    let time = &sheet.comparisons[0];
    assert_eq!((time.name.as_str(), time.hot_jobs_apart, time.crews[0].jobs), ("minutes_index", 4, 8));
    close(time.crews[0].shrunk, 1.0, 1e-9);
}

/// Below eight jobs a range, never a number (common practice).
#[test]
fn seven_jobs_give_ranges_and_the_reason() {
    let jobs: Vec<JobFigures> = (0..7).map(|n| job(n, "V1", day(0), 52.0 + 5.2 * n as f64)).collect();
    let group = sheet(&input(&jobs, &[])).packages.remove(0);
    for measure in &group.measures {
        assert!(matches!(measure.shown, Shown::Range { low, high } if low <= high), "{measure:?}");
        assert_eq!((measure.median, measure.span_80), (None, None));
    }
    let ratio = measure(&group.measures, "actual_to_planned");
    let Shown::Range { low, high } = ratio.shown else { panic!("a range") };
    close(low, 1.0, 1e-12);
    close(high, 1.6, 1e-12);
    assert_eq!(group.cautions, ["Only 7 jobs: a range is shown instead of a number."]);
}

/// QUA-10: a rate of the sheet has Wilson's interval, 0.2553 to 0.3662 for 81 of 263 (Newcombe 1998, Statistics in
/// Medicine 17:857, table I, method 3).
#[test]
fn a_rate_on_the_sheet_has_wilsons_interval() {
    let mut jobs: Vec<JobFigures> = (0..10).map(|n| job(n, "V1", day(0), 52.0)).collect();
    for (n, job) in jobs.iter_mut().enumerate() {
        (job.steps, job.first_passes) = if n < 3 { (27, 9) } else { (26, 8) };
    }
    // 3 x 27 + 7 x 26 = 263 steps, 3 x 9 + 7 x 8 = 83 passes: two too many.
    jobs[9].first_passes -= 2;
    let sheet = sheet(&input(&jobs, &[]));
    let rate = measure(&sheet.measures, "first_pass_rate");
    assert_eq!((rate.numerator, rate.denominator, rate.count), (81.0, 263.0, 263));
    let Shown::Number { low: Some(low), high: Some(high), .. } = rate.shown else { panic!("{rate:?}") };
    close(low, 0.2553, 5e-5);
    close(high, 0.3662, 5e-5);
}

/// By hand: of ten jobs the fifth and the sixth have ratios of 1.4 and 1.5.
#[test]
fn the_median_of_the_jobs_stands_beside_the_sum() {
    let jobs: Vec<JobFigures> = (0..10).map(|n| job(n, "V1", day(0), 52.0 + 5.2 * n as f64)).collect();
    let sheet = sheet(&input(&jobs, &[]));
    let median = |name: &str| measure(&sheet.measures, name).median.expect("a median");
    close(median("actual_to_planned"), 1.45, 1e-12);
    close(median("person_minutes_per_weighted_m2"), 1.45 * 52.0 / 26.0, 1e-12);
    close(median("water_per_m2"), 4.0, 1e-12);
    close(median("first_pass_rate"), 0.95, 1e-12);
    assert_eq!(measure(&sheet.measures, "jobs_done").median, None);
}

#[test]
fn mixed_cases_are_said() {
    let mut jobs: Vec<JobFigures> = (0..8).map(|n| job(n, "V1", day(0), 52.0)).collect();
    jobs[0].grade = Grade::HEAVY;
    jobs[1].class = VehicleClass::LargeVan;
    jobs[2].hottest_panel_c = Some(41.0);
    jobs[3].unplanned_steps = 1;
    jobs[4].water_l = None;
    jobs[5].technicians.push("T2".into());
    let said = sheet(&input(&jobs, &[])).packages.remove(0).cautions.join("\n");
    for part in [
        "1 of 8 jobs were grade 3",
        "2 vehicle classes",
        "1 of 8 jobs were done by more than one person",
        "above 30",
        "1 of 160 steps",
        "Water was recorded on 7 of 8",
    ] {
        assert!(said.contains(part), "{part} in {said}");
    }
}

/// What came to nothing, and what nobody wrote down the end of, is in no figure: the sheet says so.
#[test]
fn cancelled_work_and_open_jobs_are_said() {
    let mut jobs: Vec<JobFigures> = (0..10).map(|n| job(n, "V1", day(0), 52.0)).collect();
    for job in &mut jobs[..3] {
        job.business.finished = false;
    }
    jobs[2].business.no_show = true;
    let cancelled = CancelledWork { jobs: 1, steps: 3, minutes: 44.6 };
    let said = |as_of| sheet(&SheetInput { as_of, cancelled, ..input(&jobs, &[]) }).cautions.join("\n");
    let after = said(day(7));
    assert!(after.contains("2 of 10 jobs planned for these days are still open"), "{after}");
    assert!(
        after.contains("1 job was cancelled after work had begun: 3 steps of 45 person-minutes"),
        "{after}"
    );
    assert!(!said(day(0)).contains("still open"), "the day is not over");
    let none = sheet(&SheetInput { cancelled: CancelledWork::default(), ..input(&jobs, &[]) });
    assert!(!none.cautions.join("\n").contains("was cancelled"));
}

proptest! {
    /// Nothing is lost or counted twice: packages, like jobs and crews have all minutes, in any order of jobs.
    #[test]
    fn groups_add_up_in_any_order(
        parts in prop::collection::vec((0..3u8, 0..3u8, 0..5u8, 0.0..300.0f64, any::<bool>()), 0..60).prop_shuffle()
    ) {
        let mut jobs: Vec<JobFigures> = parts.iter().enumerate().map(|(n, (crew, package, grade, minutes, finished))| {
            let mut one = job(n, &format!("V{crew}"), day(0), *minutes);
            one.package = format!("P{package}");
            one.grade = Grade::new(*grade).expect("a grade");
            one.business.finished = *finished;
            one
        }).collect();
        let there = sheet(&input(&jobs, &[]));
        let all: f64 = jobs.iter().filter(|job| job.business.finished).map(|job| job.minutes).sum();
        for groups in [&there.packages, &there.like_jobs, &there.crews] {
            let sum: f64 = groups.iter().map(|group| group.person_minutes).sum();
            prop_assert!((sum - all).abs() < 1e-6, "{} is not {}", sum, all);
        }
        jobs.reverse();
        let back = sheet(&input(&jobs, &[]));
        let done = |sheet: &Sheet| sheet.like_jobs.iter().map(|group| group.jobs_done).collect::<Vec<_>>();
        prop_assert_eq!(done(&there), done(&back));
        prop_assert_eq!(there.cautions, back.cautions);
    }
}
