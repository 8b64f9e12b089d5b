//! The sheet, comparisons, trends, the look ahead and what they are drawn as, by hand.

use super::*;
use crate::inspection::Grade;
use crate::plan::NormVeto;
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
    SheetInput { from: day(0), to: day(6), as_of: day(30), jobs, cells: &[], weeks, flaws: &[] }
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

#[test]
fn every_measure_of_the_catalogue_is_on_the_sheet_with_its_count_and_denominator() {
    let (jobs, weeks) = week();
    let sheet = sheet(&input(&jobs, &weeks));
    let on_sheet: Vec<&str> = sheet.measures.iter().map(|measure| measure.name.as_str()).collect();
    let defined: Vec<&str> = catalogue().iter().map(|one| one.name).collect();
    assert_eq!(on_sheet.iter().collect::<std::collections::BTreeSet<_>>(), defined.iter().collect());
    assert_eq!(on_sheet.len(), defined.len());
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
    // One job with requests and two requests: ranges.
    assert_eq!(measure(&sheet.measures, "extra_work_asked").shown, Shown::Range { low: 2.0, high: 2.0 });
    assert!(matches!(measure(&sheet.measures, "extra_work_accepted").shown, Shown::Range { .. }));
    assert_eq!(measure(&sheet.measures, "water_per_m2").norm, Some(5.0));
    let clay = &sheet.wear[0];
    assert_eq!((clay.used_per_job, clay.left, clay.jobs_left), (Some(0.5), Some(20.0), Some(40.0)));
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

/// A crew that gets the large vans and the heavy cars is not slower for it.
#[test]
fn case_mix_is_no_slowness() {
    let mut jobs = Vec::new();
    for n in 0..40 {
        // V1 has three heavy vans of four jobs, V2 one of four; each kind takes everyone the same time.
        let (crew, heavy) = if n % 2 == 0 { ("V1", n % 8 != 0) } else { ("V2", n % 8 == 1) };
        let spread = [0.97, 1.0, 1.03][n % 3];
        let mut one = job(n, crew, day(0), 52.0 * spread);
        if heavy {
            one.class = VehicleClass::LargeVan;
            one.grade = Grade::HEAVY;
            one.minutes *= 3.0;
        }
        jobs.push(one);
    }
    let sheet = sheet(&input(&jobs, &[]));
    let raw = |crew: usize| value(measure(&sheet.crews[crew].measures, "person_minutes_per_weighted_m2"));
    assert!(raw(0) > 1.3 * raw(1), "the raw figure misleads: {} {}", raw(0), raw(1));
    for crew in &sheet.comparisons[0].crews {
        close(crew.shrunk, 1.0, 0.02);
        assert_eq!(crew.place, FunnelPlace::Within);
    }
    let said = sheet.cautions.join("\n");
    assert!(said.contains("V1 had 75 % jobs of grade 3 or 4, the shop 50 %"), "{said}");
}

#[test]
fn a_slow_crew_is_beyond_the_funnel_and_few_jobs_are_not_placed() {
    let slow = |crew: &str, n: usize| {
        let factor = if crew == "V3" { 1.5 } else { 1.0 };
        job(n, crew, day(0), 52.0 * factor * [0.9, 1.0, 1.1][n % 3])
    };
    let crews = ["V1", "V1", "V2", "V2", "V3"];
    let mut jobs: Vec<JobFigures> = (0..90).map(|n| slow(crews[n % 5], n)).collect();
    jobs.push(job(91, "V0", day(0), 300.0));
    let sheet = sheet(&input(&jobs, &[]));
    let time = &sheet.comparisons[0];
    let place: Vec<_> = time.crews.iter().map(|crew| (crew.crew.as_str(), crew.place)).collect();
    assert_eq!(place[0], ("V0", FunnelPlace::TooFew));
    assert_eq!(place[3], ("V3", FunnelPlace::Beyond998));
    assert!(matches!(time.crews[0].ratio, Shown::Range { .. }));
    // One job is drawn far towards the shop, eighteen hardly.
    let Shown::Range { low, .. } = time.crews[0].ratio else { panic!("a range") };
    assert!(time.crews[0].shrunk.ln() < low.ln() / 3.0);
    assert!(time.crews[3].shrunk > 1.2);
    assert!(sheet.cautions.iter().any(|text| text.contains("V3") && text.contains("ask why before judging")));
    // By name, whatever the figures say.
    assert!(time.crews.is_sorted_by(|a, b| a.crew < b.crew));
}

#[test]
fn rare_events_are_shrunk_towards_the_shop() {
    let mut jobs: Vec<JobFigures> = (0..200).map(|n| job(n, ["V1", "V2"][n % 2], day(0), 52.0)).collect();
    jobs.extend((200..208).map(|n| job(n, "V3", day(0), 52.0)));
    for at in [0, 1, 2, 3, 4, 5, 6, 7, 200, 201] {
        jobs[at].business.reworked_after_days = Some(3);
    }
    let sheet = sheet(&input(&jobs, &[]));
    let rework = sheet.comparisons.iter().find(|one| one.name == "rework_index").expect("the comparison");
    let v3 = &rework.crews[2];
    // 2 of 8 where 10 of 208 are usual: 5.2 times as many, and still hardly to be told from chance.
    close(v3.size, 8.0 * 10.0 / 208.0, 1e-12);
    let Shown::Number { value, low: Some(low), high: Some(high) } = v3.ratio else { panic!("{v3:?}") };
    close(value, 5.2, 1e-9);
    assert!(low < 1.0 && high > 10.0);
    assert!(v3.shrunk > 1.0 && v3.shrunk < value / 1.5, "{v3:?}");
}

// ---- over time ----

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

#[test]
fn limits_only_from_twenty_weeks_and_only_of_complete_ones() {
    let experience = BTreeMap::new();
    let jobs = weeks_of(20, |week, n| 52.0 * wobble(week, n));
    let of = |weeks: u64| trends(&trend(&jobs, weeks, &experience)).series.remove(0);
    let nineteen = of(19);
    assert_eq!(
        (nineteen.points.len(), nineteen.individuals.is_some(), nineteen.ewma.is_some()),
        (19, false, false)
    );
    assert!(nineteen.cautions[0].contains("limits are shown from 20 on"));
    let twenty = of(20);
    assert_eq!(twenty.points.len(), 20);
    let chart = twenty.individuals.as_ref().expect("limits");
    close(chart.center, 1.0, 0.01);
    assert!(chart.outside.is_empty() && twenty.changes.is_empty(), "{twenty:?}");
    // A week of seven jobs is drawn and carries nothing.
    let thin: Vec<JobFigures> =
        jobs.iter().filter(|j| week_of(j.business.on) != day(0) || j.crew == "V1").cloned().collect();
    let series = trends(&trend(&thin, 20, &experience)).series.remove(0);
    assert_eq!((series.points.len(), series.points[0].enough, series.individuals), (20, false, None));
}

#[test]
fn a_change_is_named_with_its_week_and_what_else_changed() {
    let experience = BTreeMap::new();
    let mut jobs = weeks_of(40, |week, n| 52.0 * wobble(week, n) * if week >= 25 { 1.2 } else { 1.0 });
    for job in jobs.iter_mut().filter(|job| job.business.on >= day(25 * 7)) {
        if job.crew == "V2" {
            job.technicians = vec!["Newt".into()];
        }
    }
    let all = trends(&trend(&jobs, 40, &experience));
    let series = &all.series[0];
    let [change] = series.changes.as_slice() else { panic!("{:?}", series.changes) };
    assert_eq!(change.week_on, day(25 * 7));
    close(change.after / change.before, 1.2, 0.02);
    let said = change.also.join("; ");
    assert!(said.contains("Newt began") && said.contains("TV2 stopped"), "{said}");
    assert!(said.contains("season"), "{said}");
    assert!(!said.contains("package"), "{said}");
    assert!(change.text.contains("no proof of a cause"));
    // Charts show it too.
    let ewma = series.ewma.as_ref().expect("a moving average");
    assert!(ewma.outside.contains(&day(39 * 7)) && ewma.values.len() == 40);
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

/// Wright's curve put in is found again; without growth of experience none is shown.
#[test]
fn a_learning_curve_is_found_again() {
    let mut done = 0.0;
    let cells: Vec<_> = (0..20)
        .map(|week| {
            let middle: f64 = done + 5.0;
            done += 9.0;
            cell(week, "Newt", 9, statistics::wright_time(1.8, 0.85, middle))
        })
        .collect();
    let experience = BTreeMap::new();
    let input = TrendInput { as_of: day(140), jobs: &[], cells: &cells, experience: &experience, stays: &[] };
    let learned = trends(&input).learning;
    let [curve] = learned.as_slice() else { panic!("{learned:?}") };
    close(curve.rate, 0.85, 1e-3);
    close(curve.first, 1.8, 1e-2);
    close(curve.fit, 1.0, 1e-4);
    assert_eq!((curve.technician.as_str(), curve.steps), ("Newt", 180));
    let old_hand = BTreeMap::from([(("Newt".to_owned(), "D03".to_owned()), 500)]);
    assert!(trends(&TrendInput { experience: &old_hand, ..input }).learning.is_empty());
}

#[test]
fn work_in_the_books_follows_littles_law() {
    // Two jobs booked each day, each done ten days later: twenty in the books.
    let stays: Vec<JobStay> =
        (0..200).map(|n| JobStay { booked_on: day(n / 2), left_on: Some(day(n / 2 + 10)) }).collect();
    let experience = BTreeMap::new();
    let input = TrendInput { as_of: day(98), jobs: &[], cells: &[], experience: &experience, stays: &stays };
    let books = trends(&input).in_progress.expect("jobs in the books");
    assert_eq!((books.mean_days, books.finished_per_day, books.by_littles_law), (10.0, 2.0, 20.0));
    close(books.mean_in_progress, 20.0, 0.2);
    assert!(books.text.contains("steady"), "{}", books.text);
}

// ---- ahead, norms, closing ----

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

#[test]
fn the_week_ahead_adds_up_and_says_where_help_pays() {
    let ahead = look_ahead(&ahead_input());
    close(ahead.booked.expected_minutes, 780.0, 1e-9);
    close(ahead.week.expected_minutes, 780.0 + 30.0, 1e-9);
    assert!(ahead.week.p50_minutes < ahead.week.expected_minutes && ahead.week.p90_minutes > 900.0);
    assert_eq!((ahead.upkeep.jobs, ahead.week.available_minutes), (0.25, 960.0));
    assert_eq!(ahead.days.len(), 3);
    let [hour] = ahead.an_hour_more.as_slice() else { panic!("{:?}", ahead.an_hour_more) };
    assert_eq!((hour.crew.as_str(), hour.on), ("V1", day(0)));
    // No hour saves more than an hour.
    assert!(hour.saved_minutes > 20.0 && hour.saved_minutes < 60.0);
    let hands: Vec<_> = ahead.a_second_pair_of_hands.iter().filter_map(|gain| gain.job.as_deref()).collect();
    assert_eq!(hands, ["A", "B"], "the longer job first, none where two already are or nothing is over");
    assert!(ahead.cautions[0].starts_with("1 booked jobs have no crew yet"));
}

/// Expected overtime by the closed form against the sum of its definition: mean of (load - hours) above the hours.
#[test]
fn expected_overtime_is_the_mean_beyond_the_hours() {
    use statrs::distribution::{ContinuousCDF, Normal};
    let one = AheadInput { upkeep: Vec::new(), jobs: ahead_input().jobs[..1].to_vec(), ..ahead_input() };
    let load = look_ahead(&one).days[0].load;
    let (width, steps) = ((load.p90_minutes / load.p50_minutes).ln() / 1.2815515655446004, 20_000);
    let normal = Normal::new(0.0, 1.0).expect("a normal distribution");
    let beyond = (0..steps).map(|step| {
        let z = normal.inverse_cdf((f64::from(step) + 0.5) / f64::from(steps));
        (load.p50_minutes * (width * z).exp() - 480.0).max(0.0) / f64::from(steps)
    });
    close(load.expected_over_minutes, beyond.sum(), 0.02);
}

#[test]
fn evidence_shows_what_moves_a_norm_and_a_veto_holds_it() {
    let cells = [cell(0, "Ada", 30, 0.8), cell(1, "Ben", 30, 1.6)];
    let evidence = norm_evidence(&cells, &[]);
    let who: Vec<_> = evidence.iter().map(|one| (one.grade, one.technician.as_deref(), one.steps)).collect();
    let typical = Some(Grade::TYPICAL);
    assert_eq!(
        who,
        [(None, None, 60), (typical, None, 60), (typical, Some("Ada"), 30), (typical, Some("Ben"), 30)]
    );
    let ben = &evidence[3];
    close(ben.measured, 1.6, 1e-4);
    assert!(ben.before < ben.learned && ben.learned < 1.75 && ben.learned_p10 < ben.learned_p90, "{ben:?}");
    close(ben.weight, 30.0 / 34.0, 1e-12);
    let veto = NormVeto { step: "D03".into(), grade: None, technician: Some("Ben".into()) };
    let held = norm_evidence(&cells, std::slice::from_ref(&veto));
    assert_eq!(held.iter().map(|one| one.vetoed).collect::<Vec<_>>(), [false, false, false, true]);
    assert!(held[3].text.ends_with("vetoed, so it moves nothing."));
    // The planner gets what was shown.
    let norms = norms_of_cells(&cells, &[]);
    close(norms.of("D03", Grade::TYPICAL, Some("Ben")).expected, ben.learned, 1e-12);
    let norms = norms_of_cells(&cells, &[veto]);
    close(norms.of("D03", Grade::TYPICAL, Some("Ben")).expected, evidence[1].learned, 1e-12);
}

#[test]
fn a_closed_week_says_what_changed_and_stays_as_it_was() {
    let (mut jobs, weeks) = week();
    let closed = (jobs.clone(), sheet(&input(&jobs, &weeks)));
    let same = since_closing((&closed.0, &closed.1), (&jobs, &closed.1));
    assert!(same.jobs.is_empty() && same.measures.is_empty());
    jobs[0].steps = 21;
    jobs[0].minutes = 60.0;
    jobs.push(job(77, "V2", day(4), 40.0));
    jobs.retain(|job| job.job != "J0005");
    let now = sheet(&input(&jobs, &weeks));
    let since = since_closing((&closed.0, &closed.1), (&jobs, &now));
    let told: Vec<_> = since.jobs.iter().map(|one| (one.job.as_str(), one.kind, one.text.as_str())).collect();
    assert_eq!(
        told,
        [
            ("J0000", JobChange::Changed, "steps 21.0 instead of 20.0; person-minutes 60.0 instead of 52.0"),
            ("J0005", JobChange::Removed, "no longer counted in this week"),
            ("J0077", JobChange::Added, "not in the closed week; 20 steps, 40 person-minutes"),
        ]
    );
    assert!(since.measures.iter().any(|one| one.name == "person_minutes_per_weighted_m2"));
}

// ---- pictures and page ----

/// Every tag that opens closes, in order; none of it is a script or reaches outside.
fn well_formed(markup: &str) {
    let mut open = Vec::new();
    for part in markup.split('<').skip(1) {
        let (tag, rest) = part.split_once('>').expect("a tag ends");
        assert!(!rest.contains('>'), "{rest}");
        let name = tag.split([' ', '\n']).next().unwrap_or_default();
        if let Some(name) = name.strip_prefix('/') {
            assert_eq!(open.pop().as_deref(), Some(name), "in {part}");
        } else if !tag.ends_with('/') && !["!doctype", "meta"].contains(&name) {
            open.push(name.to_owned());
        }
    }
    assert!(open.is_empty(), "{open:?}");
    for banned in ["<script", "javascript:", "href", "NaN", "inf "] {
        assert!(!markup.contains(banned), "{banned}");
    }
}

#[test]
fn pictures_and_the_page_are_well_formed_black_and_white_and_say_what_they_show() {
    let experience = BTreeMap::new();
    let mut jobs = weeks_of(40, |week, n| 52.0 * wobble(week, n) * if week >= 25 { 1.2 } else { 1.0 });
    jobs.iter_mut().filter(|job| job.crew == "V2").for_each(|job| job.crew = "<b>V2 & \"co\"</b>".into());
    let trends = trends(&trend(&jobs, 40, &experience));
    let sheet = sheet(&SheetInput { to: day(279), as_of: day(300), ..input(&jobs, &[]) });
    let ahead = look_ahead(&ahead_input());
    let mut pictures: Vec<String> = trends.series.iter().map(individuals_svg).collect();
    pictures.extend(trends.series.iter().filter_map(ewma_svg));
    pictures.extend(sheet.comparisons.iter().map(funnel_svg));
    pictures.push(load_svg(&ahead));
    pictures.push(individuals_svg(&Series {
        points: Vec::new(),
        individuals: None,
        ..trends.series[0].clone()
    }));
    assert!(pictures.len() > 10);
    for picture in &pictures {
        well_formed(picture);
        assert!(
            picture.contains("<title id=")
                && picture.contains("<desc id=")
                && picture.contains("role=\"img\"")
        );
        let colours = picture.split('#').skip(1).map(|rest| rest.chars().take(3).collect::<String>());
        assert!(
            colours.filter(|c| c.chars().all(|x| x.is_ascii_hexdigit())).all(|c| c == "000" || c == "fff"),
            "{picture}"
        );
    }
    assert!(pictures[0].contains("change 2031-06-23"), "{}", pictures[0]);
    let page = sheet_page(&PageInput {
        shop: "Shine & Co",
        heading: "week 1 of 2031",
        sheet: &sheet,
        trends: Some(&trends),
        ahead: Some(&ahead),
        norms: &norm_evidence(&[cell(0, "Ada", 30, 0.8)], &[]),
        since_closing: None,
    });
    well_formed(&page);
    assert!(page.contains("@page { size: A4") && page.contains("Shine &amp; Co") && !page.contains("<b>V2"));
    for one in catalogue() {
        assert!(page.contains(one.definition), "{}", one.name);
    }
}
