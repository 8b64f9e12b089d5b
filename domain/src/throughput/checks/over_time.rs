//! Charts, changes, learning, work in the books.

use super::*;

#[test]
fn limits_only_from_twenty_weeks_and_only_of_complete_ones() {
    let experience = BTreeMap::new();
    let jobs = weeks_of(20, |week, n| 52.0 * wobble(week, n));
    let of = |weeks: u64| trends(&trend(&jobs, weeks, &experience)).series.remove(0);
    let nineteen = of(19);
    assert_eq!((nineteen.points.len(), nineteen.phases.len()), (19, 0));
    assert!(nineteen.cautions[0].contains("limits are shown from 20 on"));
    let twenty = of(20);
    assert_eq!(twenty.points.len(), 20);
    let [phase] = twenty.phases.as_slice() else { panic!("{twenty:?}") };
    assert_eq!((phase.from, phase.to, phase.points), (day(0), day(19 * 7), 20));
    let chart = phase.individuals.as_ref().expect("limits");
    close(chart.center, 1.0, 0.01);
    assert!(chart.outside.is_empty() && twenty.changes.is_empty(), "{twenty:?}");
    // A week of seven jobs is drawn and carries nothing.
    let thin: Vec<JobFigures> =
        jobs.iter().filter(|j| week_of(j.business.on) != day(0) || j.crew == "V1").cloned().collect();
    let series = trends(&trend(&thin, 20, &experience)).series.remove(0);
    assert_eq!((series.points.len(), series.points[0].enough, series.phases.len()), (20, false, 0));
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
}

/// Flow rates of NIST/SEMATECH e-Handbook 6.3.2.4, which have one level.
const FLOW_RATES: [f64; 20] = [
    52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6,
    52.4, 53.6, 52.1,
];

/// After a change the old limits judge nothing: each level has its own, and needs twenty weeks for them. Numbers by numpy.
#[test]
fn limits_start_anew_where_the_level_changes() {
    let experience = BTreeMap::new();
    let jobs = weeks_of(45, |week, _| {
        let level = if week >= 20 { 1.4 } else { 1.0 };
        let lost = if week == 36 { 1.2 } else { 1.0 };
        52.0 * FLOW_RATES[week as usize % 20] / 50.0 * level * lost
    });
    let of = |weeks: u64| trends(&trend(&jobs, weeks, &experience)).series.remove(1);
    let all = of(45);
    let [then, now] = all.phases.as_slice() else { panic!("{:?}", all.phases) };
    assert_eq!((then.from, then.to, then.points), (day(0), day(19 * 7), 20));
    assert_eq!((now.from, now.to, now.points), (day(20 * 7), day(44 * 7), 25));
    let (old, new) = (then.individuals.as_ref().expect("limits"), now.individuals.as_ref().expect("limits"));
    close(old.center, 1.0093, 1e-6);
    close(old.upper, 1.129961, 1e-6);
    close(new.center, 1.423766, 1e-6);
    close(new.lower, 1.176346, 1e-6);
    close(new.upper, 1.671187, 1e-6);
    // All weeks of the new level lie beyond the old limits; beyond its own is one.
    assert_eq!((&old.outside, &new.outside), (&vec![], &vec![day(36 * 7)]));
    assert!(all.is_outside(day(36 * 7)) && !all.is_outside(day(35 * 7)));
    let smooth = [then, now].map(|phase| phase.ewma.as_ref().expect("a moving average").values.len());
    assert_eq!(smooth, [20, 25]);
    // Nineteen weeks of the new level are too few.
    let early = of(39);
    assert_eq!(early.phases.iter().map(|p| p.individuals.is_some()).collect::<Vec<_>>(), [true, false]);
    assert!(early.present().is_none() && early.phases[1].ewma.is_none());
    let said = early.cautions.join(" ");
    assert!(said.contains("19 weeks with jobs enough at the level of 2031-05-19 to 2031-09-22"), "{said}");
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
