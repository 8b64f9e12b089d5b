//! Roll-ups kept step by step are the same as those made anew from everything, in any order of what happens.

use super::*;
use crate::inspection::Grade;
use crate::vehicle::VehicleClass;
use chrono::{NaiveDate, NaiveDateTime, TimeDelta};
use proptest::prelude::*;
use std::collections::{BTreeMap, BTreeSet};

fn monday() -> NaiveDate {
    NaiveDate::from_ymd_opt(2031, 3, 24).expect("a day")
}

fn at(minute: i64) -> NaiveDateTime {
    monday().and_hms_opt(0, 0, 0).expect("midnight") + TimeDelta::minutes(minute)
}

fn entry(id: &str, job: &str, technician: &str, start: i64, minutes: f64) -> StepEntry {
    StepEntry {
        id: id.into(),
        job: job.into(),
        step: "C02".into(),
        technician: technician.into(),
        started_at: at(start),
        on: at(start).date(),
        minutes,
        loops: 0,
        passed: true,
        water_l: Some(30.1),
        product_ml: None,
        panel_c: None,
        withdrawn: None,
    }
}

fn withdrawal(replaced_by: Option<&str>) -> Withdrawal {
    let (by, reason) = ("Ada".to_owned(), "wrong car".to_owned());
    Withdrawal { by, at: at(9000), reason, replaced_by: replaced_by.map(str::to_owned) }
}

fn facts(job: &str) -> JobFacts {
    let planned = PlannedStep { minutes: 30.0, norm_minutes: 28.0, grade: Grade::TYPICAL };
    JobFacts {
        job: job.into(),
        package: "P2".into(),
        class: VehicleClass::Sedan,
        grade: Grade::HEAVY,
        crew: "V1".into(),
        area_m2: 19.5,
        weighted_m2: 33.15,
        planned: BTreeMap::from([("C02".into(), planned), ("D03".into(), planned)]),
        planned_water_l: Some(120.0),
        planned_product_ml: None,
        business: JobBusiness { on: monday(), finished: true, ..JobBusiness::default() },
    }
}

/// What a database keeps: entries with how much of them counts, what each job added, and the cells.
#[derive(Debug, Default, PartialEq)]
struct Kept {
    entries: BTreeMap<String, StepEntry>,
    counted: BTreeMap<String, Counted>,
    jobs: BTreeMap<String, Contribution>,
    cells: BTreeMap<CellKey, StepCell>,
}

impl Kept {
    /// A new entry, or one that was withdrawn: screens only what [`reach`] says and changes only those jobs' rows.
    fn put(&mut self, entry: StepEntry) {
        let reach = reach(entry.started_at);
        let within = |e: &StepEntry, (from, to): (NaiveDateTime, NaiveDateTime)| {
            e.technician == entry.technician && e.started_at >= from && e.started_at <= to
        };
        let mut jobs = BTreeSet::from([entry.job.clone()]);
        self.entries.insert(entry.id.clone(), entry.clone());
        let needed: Vec<StepEntry> =
            self.entries.values().filter(|e| within(e, reach.needed)).cloned().collect();
        let screening = screen(&needed);
        for affected in needed.iter().filter(|e| within(e, reach.affected)) {
            let now = screening.counted.get(&affected.id).copied();
            let before = match now {
                Some(now) => self.counted.insert(affected.id.clone(), now),
                None => self.counted.remove(&affected.id),
            };
            if before != now {
                jobs.insert(affected.job.clone());
            }
        }
        for job in jobs {
            let own: Vec<StepEntry> = self.entries.values().filter(|e| e.job == job).cloned().collect();
            let now = Contribution::of(&facts(&job), &own, &self.counted);
            for (key, change) in now.change_from(self.jobs.get(&job)) {
                self.cells.entry(key).or_default().add(&change);
            }
            self.cells.retain(|_, cell| !cell.is_empty());
            self.jobs.insert(job, now);
        }
    }

    fn anew(entries: &BTreeMap<String, StepEntry>) -> Kept {
        let all: Vec<StepEntry> = entries.values().cloned().collect();
        let counted = screen(&all).counted;
        let ids: BTreeSet<&String> = all.iter().map(|e| &e.job).collect();
        let jobs: BTreeMap<String, Contribution> =
            ids.into_iter().map(|job| (job.clone(), Contribution::of(&facts(job), &all, &counted))).collect();
        let mut cells: BTreeMap<CellKey, StepCell> = BTreeMap::new();
        for (key, cell) in jobs.values().flat_map(|job| &job.cells) {
            cells.entry(key.clone()).or_default().add(cell);
        }
        Kept { entries: entries.clone(), counted, jobs, cells }
    }
}

/// What happens: a step is recorded, corrected or voided.
#[derive(Debug, Clone)]
enum Happening {
    Recorded(StepEntry),
    Corrected(usize, StepEntry),
    Voided(usize),
}

fn entries() -> impl Strategy<Value = StepEntry> {
    let minutes = prop::sample::select(vec![-12.0, 0.0, 7.5, 33.3, 90.0, 600.0, 1440.0, 1441.0]);
    let parts = (0..4u8, 0..3u8, 0..3u8, 0..(5 * 1440i64), minutes, 0..3u32, any::<bool>(), 20.0..40.0f64);
    parts.prop_map(|(job, technician, step, start, minutes, loops, passed, panel_c)| StepEntry {
        step: ["C02", "D03", "X99"][usize::from(step)].into(),
        loops,
        passed,
        product_ml: Some(panel_c),
        panel_c: Some(panel_c),
        ..entry("", &format!("J{job}"), &format!("T{technician}"), start, minutes)
    })
}

fn happenings() -> impl Strategy<Value = Vec<Happening>> {
    let one = prop_oneof![
        4 => entries().prop_map(Happening::Recorded),
        1 => (any::<prop::sample::Index>(), entries()).prop_map(|(at, e)| Happening::Corrected(at.index(40), e)),
        1 => any::<prop::sample::Index>().prop_map(|at| Happening::Voided(at.index(40))),
    ];
    prop::collection::vec(one, 1..40)
}

proptest! {
    #[test]
    fn kept_step_by_step_equals_made_anew(happenings in happenings(), order in Just((0..60).collect::<Vec<usize>>()).prop_shuffle()) {
        let mut kept = Kept::default();
        for (number, happening) in happenings.into_iter().enumerate() {
            let id = format!("E{number:02}");
            let withdraw = |kept: &mut Kept, at: usize, by: Option<&str>| {
                let standing = kept.entries.values().nth(at % kept.entries.len().max(1)).cloned();
                if let Some(old) = standing.filter(|old| old.withdrawn.is_none()) {
                    kept.put(StepEntry { withdrawn: Some(withdrawal(by)), ..old });
                }
            };
            match happening {
                Happening::Recorded(entry) => kept.put(StepEntry { id, ..entry }),
                Happening::Voided(at) => withdraw(&mut kept, at, None),
                Happening::Corrected(at, entry) => {
                    withdraw(&mut kept, at, Some(&id));
                    kept.put(StepEntry { id, ..entry });
                }
            }
        }
        let anew = Kept::anew(&kept.entries);
        prop_assert_eq!(&kept, &anew);
        // The same entries in another order, each arriving as it is now.
        let mut shuffled = Kept::default();
        for entry in order.iter().filter_map(|at| kept.entries.values().nth(*at)) {
            shuffled.put(entry.clone());
        }
        prop_assert_eq!(&shuffled, &anew);
        // No technician works more minutes than a stretch of time has.
        for technician in ["T0", "T1", "T2"] {
            let own = kept.entries.values().filter(|e| e.technician == technician);
            let counted: i64 = own.filter_map(|e| kept.counted.get(&e.id)).map(|c| c.ms).sum();
            prop_assert!(counted <= 6 * 1440 * 60_000, "{counted}");
        }
        // What was added can be taken away to nothing.
        for (key, cell) in kept.jobs.values().flat_map(|job| &job.cells) {
            if let Some(sum) = kept.cells.get_mut(key) { sum.remove(cell) }
        }
        prop_assert!(kept.cells.values().all(StepCell::is_empty));
    }
}

fn kinds(screening: &Screening) -> Vec<(FlawKind, &str)> {
    screening.flaws.iter().map(|flaw| (flaw.kind, flaw.entry.as_str())).collect()
}

#[test]
fn overlapping_steps_of_one_technician_count_once_and_say_so() {
    let two = [entry("A", "J1", "T1", 480, 30.0), entry("B", "J2", "T1", 500, 30.0)];
    let screening = screen(&two);
    assert_eq!(kinds(&screening), [(FlawKind::Overlaps, "B")]);
    assert_eq!(
        screening.flaws[0].text,
        "10 of its 30 minutes overlap with C02 of job J1, for which they count"
    );
    assert_eq!(screening.counted["A"], Counted { ms: 30 * 60_000, sound: true });
    assert_eq!(screening.counted["B"], Counted { ms: 20 * 60_000, sound: false });
    // Another technician at the same time is no overlap, nor is the next step that begins as this one ends.
    let fine = [two[0].clone(), entry("B", "J1", "T2", 500, 30.0), entry("C", "J1", "T1", 510, 5.0)];
    assert!(screen(&fine).flaws.is_empty());
}

#[test]
fn twenty_six_hours_in_a_day_are_shown_and_teach_nothing() {
    let day: Vec<StepEntry> =
        (0..13).map(|n| entry(&format!("E{n:02}"), "J1", "T1", n * 100, 120.0)).collect();
    let screening = screen(&day);
    let impossible = screening.flaws.iter().filter(|flaw| flaw.kind == FlawKind::ImpossibleDay);
    assert_eq!(impossible.count(), 13);
    assert!(screening.flaws.iter().any(|f| f.text.starts_with("26.0 hours of work were recorded")));
    // 13 x 100 minutes on, the last one to its end: no minute twice.
    assert_eq!(screening.counted.values().map(|c| c.ms).sum::<i64>(), (12 * 100 + 120) * 60_000);
    assert!(screening.counted.values().all(|c| !c.sound));
}

#[test]
fn a_step_that_ends_before_it_starts_is_done_but_takes_no_time() {
    let entries = [entry("A", "J1", "T1", 480, -5.0), entry("B", "J1", "T1", 490, f64::NAN)];
    let screening = screen(&entries);
    assert_eq!(kinds(&screening), [(FlawKind::EndsBeforeStart, "A"), (FlawKind::ImpossibleMinutes, "B")]);
    let job = Contribution::of(&facts("J1"), &entries, &screening.counted);
    assert_eq!((job.figures.steps, job.figures.minutes, job.figures.unsound_entries), (1, 0.0, 2));
    assert!(!job.figures.has_sound_minutes());
    assert_eq!(
        job.cells.values().map(|cell| (cell.steps, cell.normed, cell.planned)).collect::<Vec<_>>(),
        [(1, 0, 0)]
    );
}

#[test]
fn corrected_and_voided_entries_are_told_with_who_and_why_and_do_not_count() {
    let old = StepEntry { withdrawn: Some(withdrawal(Some("B"))), ..entry("A", "J1", "T1", 480, 300.0) };
    let gone = StepEntry { withdrawn: Some(withdrawal(None)), ..entry("C", "J1", "T1", 900, 10.0) };
    let entries = [old, entry("B", "J1", "T1", 480, 30.0), gone];
    let screening = screen(&entries);
    assert_eq!(kinds(&screening), [(FlawKind::Corrected, "A"), (FlawKind::Voided, "C")]);
    assert_eq!(
        screening.flaws[0].text,
        "corrected by Ada at 2031-03-30 06:00 UTC (wrong car); entry B counts instead"
    );
    let job = Contribution::of(&facts("J1"), &entries, &screening.counted);
    assert_eq!(
        (job.figures.minutes, job.figures.actual_minutes, job.figures.planned_minutes),
        (30.0, 30.0, 30.0)
    );
}

#[test]
fn an_entry_sent_twice_counts_once() {
    let one = entry("A", "J1", "T1", 480, 30.0);
    let screening = screen(&[one.clone(), one.clone()]);
    assert!(screening.flaws.is_empty());
    assert_eq!(screening.counted.len(), 1);
    let other = StepEntry { minutes: 20.0, ..one.clone() };
    for entries in [[one.clone(), other.clone()], [other, one]] {
        let screening = screen(&entries);
        assert_eq!(kinds(&screening), [(FlawKind::Repeated, "A")]);
        assert_eq!(screening.counted["A"].ms, 20 * 60_000, "whichever came first, the same one stands");
    }
}

/// Two turns and two people on one step are one finished step, against the plan once; nobody in particular did it.
#[test]
fn a_shared_step_is_one_step() {
    let entries = [entry("A", "J1", "T1", 480, 20.0), entry("B", "J1", "T2", 480, 16.0)];
    let job = Contribution::of(&facts("J1"), &entries, &screen(&entries).counted);
    let cells: Vec<_> = job.cells.iter().collect();
    let [(key, cell)] = cells.as_slice() else { panic!("one cell") };
    assert_eq!((key.technician.as_str(), cell.steps, cell.planned), ("", 1, 1));
    assert_eq!((cell.actual_ms, cell.planned_ms), (36 * 60_000, 30 * 60_000));
    let ratio = cell.plan_error.quantile(0.5).expect("a ratio");
    assert!((ratio / 1.2 - 1.0).abs() <= 0.01, "{ratio}");
    assert_eq!(job.figures.technicians, ["T1", "T2"]);
}

proptest! {
    /// A quantile read from the bins is the order statistic to within 1 %.
    #[test]
    fn the_histogram_keeps_its_error_bound(ratios in prop::collection::vec(0.11..9.0f64, 1..60), p in 0.0..1.0f64) {
        let mut histogram = Histogram::default();
        ratios.iter().for_each(|ratio| histogram.count(ratio.ln()));
        let mut sorted = ratios.clone();
        sorted.sort_by(f64::total_cmp);
        let rank = ((p * sorted.len() as f64).ceil() as usize).max(1);
        let read = histogram.quantile(p).expect("a quantile");
        prop_assert!((read.ln() - sorted[rank - 1].ln()).abs() <= 0.01 + 1e-12);
        prop_assert_eq!(histogram.bins().collect::<Histogram>(), histogram);
    }
}
