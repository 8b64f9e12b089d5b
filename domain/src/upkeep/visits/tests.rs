//! Visits of needs made by hand: what is grouped, held back, booked and moved.

use super::*;
use crate::inspection::Contaminant;
use crate::upkeep::needs::{CoatRef, Urgency};
use chrono::Days;

fn on(text: &str) -> NaiveDate {
    text.parse().expect("a date of this test")
}

fn today() -> NaiveDate {
    on("2031-03-17")
}

fn ahead(days: u64) -> NaiveDate {
    today() + Days::new(days)
}

fn need(kind: NeedKind, package: &str, due: u64, spread: u64) -> Need {
    Need {
        kind,
        coat: None,
        since_on: None,
        remind_on: ahead(due),
        due_on: ahead(due),
        overdue_on: Some(ahead(due + 2 * spread)),
        early_on: Some(ahead(due.saturating_sub(spread))),
        late_on: Some(ahead(due + spread)),
        risk_today: Some(0.0),
        risk_target: Some(0.5),
        contaminants: vec![],
        urgency: Urgency::Later,
        package: package.into(),
        reason: String::new(),
        advice: vec![],
        figures: vec![],
    }
}

fn coat(protection: &str, package: &str, due: u64, spread: u64) -> Need {
    let coat = Some(CoatRef { protection: protection.into(), zone: None });
    Need { coat, ..need(NeedKind::Protection, package, due, spread) }
}

fn planner() -> VisitPlanner<'static> {
    let (handbook, assumed, climate) = (Handbook::standard(), &mut Assumed::default(), Climate::default());
    let air_c = climate.air_c(&mut Reader { handbook, assumed }).expect("months");
    VisitPlanner::read(handbook, &climate, &air_c, assumed).expect("a planner")
}

fn plan(needs: &[Need], wishes: &Wishes) -> Vec<UpkeepVisit> {
    planner().plan(needs, wishes, |_| None, today(), &mut Topics::default()).expect("visits")
}

fn kinds(visit: &UpkeepVisit) -> Vec<NeedKind> {
    visit.needs.iter().map(|need| need.kind).collect()
}

#[test]
fn near_needs_share_a_visit_and_a_package() {
    let needs = [
        need(NeedKind::Wash, "P1", 12, 7),
        need(NeedKind::Decontamination, "P2", 15, 30),
        coat("ceramic_1y", "P4", 150, 40),
    ];
    let visits = plan(&needs, &Wishes::default());
    assert_eq!(visits.len(), 2);
    assert_eq!(kinds(&visits[0]), [NeedKind::Wash, NeedKind::Decontamination]);
    assert_eq!(visits[0].packages, ["P2"]);
    assert!(ahead(12) <= visits[0].on && visits[0].on <= ahead(15));
    assert!(visits[0].saving > 0.8 && visits[1].saving.abs() < 1e-9, "{visits:?}");
    assert!(visits[0].reason.starts_with("One visit for wash and iron removal"));
    assert_eq!(visits[1].on, ahead(150));
}

/// A coating needs 10 °C (handbook, common practice): with the handbook's temperate months not from November to March.
#[test]
fn coatings_wait_for_warmth_and_sprays_need_less() {
    let january = (on("2032-01-10") - today()).num_days() as u64;
    let visits = plan(&[coat("ceramic_1y", "P4", january, 60)], &Wishes::default());
    assert_eq!(visits[0].closed_months, [1, 2, 3, 11, 12]);
    assert_eq!(visits[0].on, on("2031-10-31"), "the last warm day is nearer than April");
    let from = |_: &Need| Some(on("2031-12-01"));
    let coating = [coat("ceramic_1y", "P4", january, 60)];
    let late = planner().plan(&coating, &Wishes::default(), from, today(), &mut Topics::default());
    assert_eq!(late.expect("visits")[0].on, on("2032-04-01"));
    // Silica spray bears 5 °C: March, at 5 + 4 °C, is open and January, at 1 + 4 °C, too.
    let spray = plan(&[coat("silica_spray", "P3", january, 60)], &Wishes::default());
    assert_eq!(spray[0].on, on("2032-01-10"));
    let south = Climate { latitude_deg: Some(-35.0), ..Climate::default() };
    let mut assumed = Assumed::default();
    let mut read = Reader { handbook: Handbook::standard(), assumed: &mut assumed };
    let air_c = south.air_c(&mut read).expect("months");
    let cold = cold_months(read.handbook, &mut read, &air_c).expect("months");
    assert_eq!(numbers(cold["ceramic_1y"]), [5, 6, 7, 8, 9]);
}

#[test]
fn a_booked_job_takes_what_its_package_covers() {
    let needs = [need(NeedKind::Wash, "P1", 5, 7), need(NeedKind::Decontamination, "P2", 40, 20)];
    let booked = |day, package: &str| Booked { on: day, package: package.into(), job: Some("job 7".into()) };
    let wishes = Wishes { booked: vec![booked(ahead(10), "P2")], months: vec![] };
    let visits = plan(&needs, &wishes);
    assert_eq!(visits.len(), 1);
    assert_eq!(
        (visits[0].on, visits[0].job.as_deref(), visits[0].needs.len()),
        (ahead(10), Some("job 7"), 2)
    );
    // A wash does not remove iron, and a job after the need is late comes too late; one of the past does not count.
    let washed = plan(&needs, &Wishes { booked: vec![booked(ahead(10), "P1")], months: vec![] });
    assert_eq!(washed.iter().map(|v| v.job.is_some()).collect::<Vec<_>>(), [true, false]);
    let late = plan(&needs, &Wishes { booked: vec![booked(ahead(90), "P2")], months: vec![] });
    assert!(late.iter().all(|visit| visit.job.is_none()));
    let past = plan(&needs, &Wishes { booked: vec![booked(on("2031-03-16"), "P2")], months: vec![] });
    assert!(past.iter().all(|visit| visit.job.is_none()));
}

#[test]
fn the_customers_months_are_kept_where_that_costs_little() {
    let needs = [need(NeedKind::Decontamination, "P2", 20, 60)];
    let wishes = |months: &[u8]| Wishes { booked: vec![], months: months.to_vec() };
    assert_eq!(plan(&needs, &wishes(&[]))[0].on, ahead(20));
    // The 6th of April is wished into March or May: March is nearer.
    assert_eq!(plan(&needs, &wishes(&[3, 5]))[0].on, on("2031-03-31"));
    // Half a year of waiting costs more than an unwelcome month.
    assert_eq!(plan(&needs, &wishes(&[10]))[0].on, ahead(20));
    let wrong = planner().plan(&needs, &wishes(&[3, 13]), |_| None, today(), &mut Topics::default());
    let wrong = wrong.expect_err("month 13");
    assert!(wrong.to_string().starts_with("/months/1"));
}

/// At the days of 10 %, the target and 90 % the risk is what the need says.
#[test]
fn moving_a_visit_has_a_price_in_words() {
    let needs = [coat("ceramic_1y", "P4", 60, 30), need(NeedKind::Wash, "P1", 120, 7)];
    let visits = plan(&needs, &Wishes::default());
    let risk = |day| visits[0].needs[0].risk_on(day).expect("a risk");
    for (day, expected) in [(30, 0.1), (60, 0.5), (90, 0.9)] {
        assert!((risk(ahead(day)) - expected).abs() < 1e-9, "{day}");
    }
    assert!(risk(ahead(400)) > 0.999 && risk(ahead(0)) < 0.1);
    let still = move_visit(&visits, 0, 0).expect("no move");
    assert_eq!((still.cost_change, still.to_on), (0.0, visits[0].on));
    let later = move_visit(&visits, 0, 3).expect("a move");
    assert_eq!((later.to_on, later.needs[0].days_late_after), (ahead(81), 21));
    // Weight 2 · 4 · 0.4 / 30²: 21 days late cost half of that times 21².
    assert!((later.cost_change - 4.0 * 0.4 * (21.0f64 / 30.0).powi(2)).abs() < 1e-9, "{later:?}");
    assert_eq!(later.words.len(), 2);
    assert!(later.words[0].starts_with("The new protection then comes 21 days after its day; the chance"));
    let winter = move_visit(&visits, 0, 36).expect("a move");
    assert!(!winter.possible && winter.words[0].starts_with("January is too cold"), "{winter:?}");
    let joined = move_visit(&visits, 1, -9).expect("a move");
    assert_eq!((joined.joins, joined.to_on), (Some(0), visits[0].on));
    assert_eq!(move_visit(&visits, 2, 1), Err(NoMove::NoVisit { index: 2, count: 2 }));
    assert_eq!(move_visit(&visits, 0, 521), Err(NoMove::TooFar { weeks: 521 }));
}

/// Against the tables: whatever a need is about, the package recommended for it has a step that treats it, or plans it
/// once the contaminant is found there.
#[test]
fn every_package_treats_what_it_is_recommended_for() {
    let (handbook, planner) = (Handbook::standard(), planner());
    let steps = |package: &'static str| -> Vec<&'static str> {
        handbook.steps_of(package).map(|row| row.step.as_str()).collect()
    };
    for row in &handbook.accruals {
        let package = planner.packages.against(&[row.id]);
        let inserted = handbook.triggers.iter().filter(|t| t.contaminant == Some(row.id));
        let inserted = inserted.flat_map(|t| t.inserts.iter().map(String::as_str));
        let excluded = &handbook.package(package).expect("a package").excludes;
        let done: Vec<&str> = steps(package).into_iter().chain(inserted).collect();
        let treats = row.cleared_by.iter().any(|s| done.contains(&s.as_str()) && !excluded.contains(s));
        assert!(treats, "{package} does not treat {:?}", row.id);
    }
    use Contaminant::{Bird, Cement, HardwaterDeposit, Insect, SapFresh, Tar};
    for (contaminants, package) in [
        (&[Bird, Insect][..], "P9"),
        (&[Cement], "P9"),
        (&[Tar, SapFresh], "P9"),
        (&[HardwaterDeposit], "P2"),
        (&[Tar, HardwaterDeposit], "P2"),
    ] {
        assert_eq!(planner.packages.against(contaminants), package, "{contaminants:?}");
    }
    // A deep clean that is booked takes the spots along; a wash does not, but it takes the front along.
    let about = |kind, contaminants: &[Contaminant]| Need {
        contaminants: contaminants.into(),
        ..need(kind, "P9", 9, 7)
    };
    let covers = |package: &str, need: &Need| planner.packages.covers(package, need);
    assert!(covers("P2", &about(NeedKind::SpotRemoval, &[Tar, HardwaterDeposit])));
    assert!(!covers("P1", &about(NeedKind::SpotRemoval, &[Tar])));
    assert!(!covers("P6", &about(NeedKind::SpotRemoval, &[HardwaterDeposit])), "minerals off the glass only");
    assert!(covers("P1", &about(NeedKind::FrontWash, &[Insect, Bird])));
}
