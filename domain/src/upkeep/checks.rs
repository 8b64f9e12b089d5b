//! Checks of the forecast against the trade's worked plan, its table of demo vehicles, and its own invariants.

use super::*;
use crate::inspection::{Contaminant, Evidence, Finding, Grade, Inspection};
use crate::vehicle::{Coat, Colour, Exposure, Substrate, VehicleClass, Zone};
use chrono::Days;
use proptest::prelude::*;

pub(super) fn on(text: &str) -> NaiveDate {
    text.parse().expect("a date of this test")
}

pub(super) fn today() -> NaiveDate {
    on("2031-03-17")
}

pub(super) fn ago(days: u64) -> NaiveDate {
    today() - Days::new(days)
}

pub(super) fn vehicle(stands: &[(&str, f64)], coats: &[(&str, u64)]) -> Vehicle {
    Vehicle {
        class: VehicleClass::Estate,
        colour: Colour::White,
        solar_absorptance: None,
        finish: Substrate::ClearCoat,
        surfaces: vec![],
        coats: coats
            .iter()
            .map(|&(id, days)| Coat { protection: id.into(), zone: None, applied_on: ago(days) })
            .collect(),
        repainted_on: None,
        repainted_zones: vec![],
        exposures: stands.iter().map(|&(kind, share)| Exposure { kind: kind.into(), share }).collect(),
        first_registered_on: None,
        parking: vec![],
        driving: None,
        decontaminated_on: None,
        paint_thickness_um: None,
        paint_scatter_um: None,
        high_voltage: false,
    }
}

pub(super) fn removed(days: &[u64]) -> History {
    let decontaminations =
        days.iter().map(|&d| Decontamination { on: ago(d), clayed: false, left_grade: None }).collect();
    History { decontaminations, ..History::default() }
}

pub(super) fn try_forecast(vehicle: &Vehicle, history: &History) -> Result<Upkeep, UpkeepError> {
    forecast(Handbook::standard(), vehicle, history, &Experience::default(), &Climate::default(), today())
}

pub(super) fn need(vehicle: &Vehicle, history: &History, kind: NeedKind) -> Need {
    let upkeep = try_forecast(vehicle, history).expect("a forecast");
    upkeep.needs.into_iter().find(|n| n.kind == kind).expect("the need")
}

pub(super) fn figure(need: &Need, name: &str) -> f64 {
    need.figures.iter().find(|f| f.name == name).expect("the figure").value
}

/// The trade's worked plan 3 (common practice): estate near the rail, 100 days, one-year ceramic: 110 x 0.7 = 77.
#[test]
fn the_coated_estate_near_the_rail_is_not_due_after_100_days() {
    let estate = vehicle(&[("near_rail", 1.0)], &[("ceramic_1y", 100)]);
    let need = need(&estate, &removed(&[100]), NeedKind::Decontamination);
    assert!((figure(&need, "dose") - 77.0).abs() < 1e-9);
    assert_eq!(need.urgency, Urgency::Later);
    // 80 / 0.77 = 103.9 and 100 / 0.77 = 129.9 days.
    assert_eq!((need.remind_on, need.due_on), (ago(100) + Days::new(104), ago(100) + Days::new(130)));
    assert_eq!(need.package, "P2");
    assert_eq!(need.reason, "Your car stands near the railway, last iron removal 100 days ago.");
}

/// Column `dose_by_full_exposure` of the trade's demo vehicles: dose per day times days, rounded (common practice).
#[test]
fn the_dose_of_every_demo_vehicle_by_full_exposure() {
    #[rustfmt::skip]
    let vehicles = [("coast", 122, 85), ("near_rail", 34, 37), ("foundry", 337, 674), ("street_trees", 198, 139),
        ("garage_daily", 160, 64), ("farm_gravel", 357, 250), ("sprinkler", 217, 130), ("motorway_high", 40, 32),
        ("coast", 189, 132), ("near_rail", 98, 108), ("foundry", 336, 672), ("street_trees", 418, 293),
        ("garage_daily", 329, 132), ("farm_gravel", 307, 215), ("sprinkler", 59, 35), ("motorway_high", 110, 88),
        ("coast", 208, 146), ("near_rail", 410, 451), ("foundry", 370, 740), ("street_trees", 229, 160),
        ("garage_daily", 229, 92), ("farm_gravel", 38, 27), ("sprinkler", 208, 125), ("motorway_high", 36, 29),
        ("coast", 107, 75), ("near_rail", 188, 207), ("foundry", 124, 248), ("street_trees", 387, 271),
        ("garage_daily", 362, 145), ("farm_gravel", 145, 102), ("sprinkler", 111, 67), ("motorway_high", 175, 140),
        ("coast", 375, 262), ("near_rail", 415, 457), ("foundry", 381, 762), ("street_trees", 74, 52),
        ("garage_daily", 359, 144), ("farm_gravel", 274, 192), ("sprinkler", 249, 149), ("motorway_high", 418, 334)];
    for (kind, days, dose) in vehicles {
        let need = need(&vehicle(&[(kind, 1.0)], &[]), &removed(&[days]), NeedKind::Decontamination);
        assert!((figure(&need, "dose") - f64::from(dose)).abs() <= 0.5 + 1e-9, "{kind} after {days} days");
    }
}

/// Shares weight the dose, exposures add to the one garage class, a bag test replaces the model (common practice).
#[test]
fn shares_add_and_the_bag_test_replaces_the_model() {
    let both = vehicle(&[("garage_daily", 0.5), ("near_rail", 0.25)], &[]);
    let counted = need(&both, &removed(&[100]), NeedKind::Decontamination);
    assert!((figure(&counted, "dose") - (0.4 * 0.5 + 1.1 * 0.25) * 100.0).abs() < 1e-9);
    for (grade, dose, urgency) in
        [(1, 20.0, Urgency::Later), (2, 90.0, Urgency::Remind), (3, 120.0, Urgency::Due)]
    {
        let test = BagTest { on: today(), grade: Grade::new(grade).expect("a grade") };
        let history = History { bag_tests: vec![test], ..removed(&[100]) };
        let tested = need(&both, &history, NeedKind::Decontamination);
        assert_eq!((figure(&tested, "dose"), tested.urgency), (dose, urgency));
    }
}

#[test]
fn events_add_and_absence_slows() {
    let car = vehicle(&[("street_open", 1.0)], &[]);
    let event = FalloutEvent { on: ago(10), kind: FalloutEventKind::GrindingBeside };
    let away = Away { from_on: ago(60), to_on: ago(20) };
    let history = History { events: vec![event], away: vec![away], ..removed(&[100]) };
    let need = need(&car, &history, NeedKind::Decontamination);
    // 60 days at 0.6, 40 days at 0.1, and 50 for the grinding.
    assert!((figure(&need, "dose") - (36.0 + 4.0 + 50.0)).abs() < 1e-9);
}

/// At most four full decontaminations a year, six at a foundry, clay at most twice (common practice).
#[test]
fn too_much_is_held_back() {
    let days = [200, 150, 100, 90];
    let rail = need(&vehicle(&[("near_rail", 1.0)], &[]), &removed(&days), NeedKind::Decontamination);
    assert_eq!(rail.due_on, ago(200) + Days::new(365));
    assert!(rail.advice.iter().any(|a| a.contains("4 iron removals")), "{:?}", rail.advice);
    let foundry = need(&vehicle(&[("foundry", 1.0)], &[]), &removed(&days), NeedKind::Decontamination);
    assert_eq!((foundry.due_on, foundry.urgency), (ago(40), Urgency::Overdue));
    assert!(foundry.advice.iter().any(|a| a.contains("no clay")), "{:?}", foundry.advice);
    let mut clayed = removed(&[200, 100]);
    clayed.decontaminations.iter_mut().for_each(|d| d.clayed = true);
    let need = need(&vehicle(&[("near_rail", 1.0)], &[]), &clayed, NeedKind::Decontamination);
    assert!(need.advice.iter().any(|a| a.starts_with("No clay")), "{:?}", need.advice);
}

/// Whoever does each decontamination on the day it is due, or today where that has passed, and clays unless told not to,
/// stays within the limits in every twelve months, whatever the bag test says.
#[test]
fn following_the_forecast_stays_within_the_limits() {
    for (exposure, most) in [("near_rail", 4), ("foundry", 6)] {
        let car = vehicle(&[(exposure, 1.0)], &[]);
        let mut history = removed(&[1500]);
        let mut on = ago(1500);
        while on < today() {
            on = on + Days::new(20);
            // Every look finds the paint like sandpaper.
            history.bag_tests.push(BagTest { on, grade: Grade::HEAVY });
            let nothing = Experience::default();
            let answer = forecast(Handbook::standard(), &car, &history, &nothing, &Climate::default(), on);
            let answer = answer.expect("a forecast");
            let need = answer.needs.iter().find(|n| n.kind == NeedKind::Decontamination).expect("iron");
            let visit =
                answer.visits.iter().find(|v| v.needs.iter().any(|n| n.kind == NeedKind::Decontamination));
            assert!(
                visit.is_some_and(|visit| visit.on >= need.due_on.min(on + Days::new(365))),
                "{answer:?}"
            );
            if need.due_on <= on {
                let clayed = !need.advice.iter().any(|advice| advice.contains("o clay"));
                history.decontaminations.push(Decontamination { on, clayed, left_grade: None });
            }
        }
        let done = &history.decontaminations;
        for first in done {
            let year = |d: &&Decontamination| first.on <= d.on && d.on < first.on + Days::new(365);
            let (all, clayed) =
                (done.iter().filter(year).count(), done.iter().filter(year).filter(|d| d.clayed).count());
            assert!(
                all <= most && clayed <= 2,
                "{exposure}: {all} times, {clayed} with clay from {}",
                first.on
            );
        }
        assert!(
            done.len() > 4 * most - 2,
            "{exposure}: the paint is rough, so the limits are what holds back"
        );
        assert!(done.iter().any(|d| d.clayed) && done.iter().any(|d| !d.clayed));
    }
}

/// A month is 365.2425 / 12 days; used = days / (typical life x factor, floor 0.5) + 0.03 a wash (common practice).
#[test]
fn wax_wears_by_time_and_alkaline_washes() {
    let car = vehicle(&[("coast", 1.0)], &[("wax", 30)]);
    let alkaline = Wash { on: ago(10), alkaline: true, salt_flush: false };
    let history = History { washes: vec![alkaline.clone(), alkaline], ..History::default() };
    let waxed = need(&car, &history, NeedKind::Protection);
    let life = 2.0 * 30.436875 * 0.75;
    assert!((figure(&waxed, "part of life used") - (30.0 / life + 0.06)).abs() < 1e-9);
    assert_eq!(waxed.due_on, ago(30) + Days::new((life * 0.94).ceil() as u64));
    assert_eq!(waxed.package, "P3");
    // A shop's floor above the coast's 0.75 holds.
    let floor = serde_json::json!({ "factors": { "life_factor_floor": { "value": 0.9 } } });
    let handbook = Handbook::standard().with_overrides(&floor).expect("a handbook");
    let (experience, climate) = (Experience::default(), Climate::default());
    let floor = forecast(&handbook, &car, &History::default(), &experience, &climate, today());
    let floor = floor.expect("a forecast").needs.into_iter().find(|n| n.kind == NeedKind::Protection);
    assert_eq!(figure(&floor.expect("wax"), "life factor of the exposures"), 0.9);
}

/// Two panels of three at or below the renewal grade: due now; high beads on all: 25 % later (common practice).
#[test]
fn a_bead_test_overrides_the_age() {
    let car = vehicle(&[("street_open", 1.0)], &[("ceramic_1y", 100)]);
    let tested = |grades: [u8; 3], after_test_sequence| {
        let test = BeadTest {
            on: ago(5),
            protection: "ceramic_1y".into(),
            panel_grades: grades.to_vec(),
            after_test_sequence,
        };
        need(&car, &History { bead_tests: vec![test], ..History::default() }, NeedKind::Protection)
    };
    let life = 12.0 * 30.436875;
    let usual = need(&car, &History::default(), NeedKind::Protection);
    assert_eq!(usual.due_on, ago(100) + Days::new(f64::ceil(life) as u64));
    assert_eq!(tested([3, 3, 4], false).due_on, usual.due_on);
    assert_eq!(tested([4, 5, 5], false).due_on, ago(100) + Days::new(f64::ceil(life * 1.25) as u64));
    let clogged = tested([2, 1, 4], false);
    assert_eq!((clogged.due_on, clogged.urgency), (ago(5), Urgency::Due));
    assert!(clogged.advice[0].contains("clogged"));
    assert!(tested([2, 1, 4], true).advice.is_empty());
}

#[test]
fn a_worn_wax_no_longer_shields_and_a_newer_coat_replaces_the_older() {
    let worn = vehicle(&[("street_open", 1.0)], &[("wax", 400)]);
    let need_of = |v: &Vehicle| need(v, &removed(&[100]), NeedKind::Decontamination);
    assert_eq!(figure(&need_of(&worn), "coat factor"), 1.0);
    let fresh = vehicle(&[("street_open", 1.0)], &[("wax", 400), ("wax", 20)]);
    assert_eq!(figure(&need_of(&fresh), "coat factor"), 0.85);
    // 80 days bare, 20 days waxed.
    assert!((figure(&need_of(&fresh), "dose") - 0.6 * (80.0 + 20.0 * 0.85)).abs() < 1e-9);
    let coats = try_forecast(&fresh, &History::default()).expect("a forecast");
    assert_eq!(coats.needs.iter().filter(|n| n.kind == NeedKind::Protection).count(), 1);
}

/// Rules R68 and R69 (common practice).
#[test]
fn the_season_asks_for_closer_washes_and_a_salt_flush() {
    let car = vehicle(&[("motorway_high", 1.0)], &[]);
    let washed = Wash { on: ago(5), alkaline: false, salt_flush: false };
    let mut history = History { washes: vec![washed], mean_air_c: Some(18.0), ..History::default() };
    assert_eq!(need(&car, &history, NeedKind::Wash).due_on, ago(5) + Days::new(7));
    history.mean_air_c = Some(8.0);
    assert_eq!(need(&car, &history, NeedKind::Wash).due_on, ago(5) + Days::new(10));
    history.last_salted_on = Some(ago(9));
    let flush = need(&car, &history, NeedKind::SaltFlush);
    assert_eq!(
        (flush.package.as_str(), flush.remind_on, flush.due_on),
        ("P5", ago(2), ago(2) + Days::new(14))
    );
    history.washes[0].salt_flush = true;
    let flushed = try_forecast(&car, &history).expect("a forecast");
    assert!(flushed.needs.iter().all(|n| n.kind != NeedKind::SaltFlush));
}

#[test]
fn a_fresh_coating_is_not_washed_and_fresh_paint_gets_only_shampoo() {
    let mut car = vehicle(&[("sprinkler", 1.0)], &[("ceramic_1y", 3)]);
    let wash = need(&car, &History::default(), NeedKind::Wash);
    assert_eq!(wash.remind_on, ago(3) + Days::new(7));
    car.repainted_on = Some(ago(30));
    let iron = need(&car, &removed(&[300]), NeedKind::Decontamination);
    assert_eq!(iron.due_on, ago(30) + Days::new(60));
}

/// Salted roads count from half a year before the last salting until a week after it; unknown, in the months of salt.
#[test]
fn salted_roads_count_in_their_season() {
    let car = vehicle(&[("winter_salt", 1.0)], &[]);
    let winter = need(&car, &removed(&[60]), NeedKind::Decontamination);
    assert!((figure(&winter, "dose") - 0.9 * 60.0).abs() < 1e-9);
    // From 30 September November to 17 March: 136 days.
    let since = need(&car, &removed(&[168]), NeedKind::Decontamination);
    assert!((figure(&since, "dose") - 0.9 * 136.0).abs() < 1e-9);
    let history = History { last_salted_on: Some(ago(37)), ..removed(&[60]) };
    let upkeep = try_forecast(&car, &history).expect("a forecast");
    assert!(
        upkeep.needs.iter().all(|n| n.kind != NeedKind::Decontamination),
        "30 salty days never add up to 100"
    );
    let history = History { last_salted_on: Some(ago(37)), ..removed(&[150]) };
    let salted = need(&car, &history, NeedKind::Decontamination);
    assert!((figure(&salted, "dose") - 0.9 * 120.0).abs() < 1e-9);
}

/// A finished job resets the count; what was felt before it on the same day does not; what was left does.
#[test]
fn jobs_and_inspections_enter_the_history() {
    let finding = |evidence| Finding {
        zone: Zone::Bonnet,
        contaminant: Contaminant::FalloutIron,
        grade: Grade::HEAVY,
        evidence,
        age_h: None,
    };
    let inspection = Inspection { findings: vec![finding(Evidence::Felt)], ..Inspection::default() };
    let mut history = removed(&[100]);
    history.record_inspection(ago(10), &inspection);
    let car = vehicle(&[("near_rail", 1.0)], &[]);
    let dose = |history: &History| figure(&need(&car, history, NeedKind::Decontamination), "dose");
    // 120 where 99 was expected teaches a factor of (100 + 120) / (100 + 99).
    let learned = 11.0 * 220.0 / 199.0;
    assert!((dose(&history) - (120.0 + learned)).abs() < 1e-9);
    history.record_job(ago(10), &["C02", "D03", "E01", "D05"], None);
    assert!((dose(&history) - learned).abs() < 1e-9);
    assert!(history.decontaminations[1].clayed && !history.washes[0].alkaline);
    history.decontaminations[1].left_grade = Some(Grade::TYPICAL);
    assert!((dose(&history) - (90.0 + learned)).abs() < 1e-9);
    let mut said = removed(&[100]);
    let told = Inspection { findings: vec![finding(Evidence::Said)], ..Inspection::default() };
    said.record_inspection(ago(10), &told);
    assert_eq!(said, removed(&[100]));
}

#[test]
fn what_is_unknown_is_said() {
    let upkeep = try_forecast(&vehicle(&[], &[]), &History::default()).expect("a forecast");
    assert_eq!(upkeep.needs.len(), 1);
    assert_eq!(upkeep.needs[0].kind, NeedKind::FeelTest);
    assert!(upkeep.remarks.iter().any(|a| a.contains("Nobody has said where it stands")));
    assert!(upkeep.remarks.iter().any(|a| a.contains("No wash is on record")));
}

#[test]
fn contradictions_are_refused_with_their_place() {
    let pointer = |vehicle: &Vehicle, history: &History| {
        try_forecast(vehicle, history).expect_err("an error").to_string()
    };
    let none = History::default();
    assert!(pointer(&vehicle(&[("coast", 1.2)], &[]), &none).starts_with("/exposures/0/share: share 1.2"));
    assert!(pointer(&vehicle(&[("coast", f64::NAN)], &[]), &none).starts_with("/exposures/0/share"));
    assert!(pointer(&vehicle(&[("moon", 1.0)], &[]), &none).starts_with("/exposures/0/kind"));
    let garages = vehicle(&[("garage_low", 0.5), ("garage_daily", 0.5)], &[]);
    assert!(pointer(&garages, &none).starts_with("/exposures/1/kind"));
    assert!(pointer(&vehicle(&[], &[("honey", 1)]), &none).starts_with("/coats/0/protection"));
    let mut ahead = vehicle(&[], &[("wax", 0)]);
    ahead.coats[0].applied_on = today() + Days::new(1);
    assert!(pointer(&ahead, &none).starts_with("/coats/0/applied_on"));
    let bead = BeadTest {
        on: today(),
        protection: "wax".into(),
        panel_grades: vec![3, 6],
        after_test_sequence: false,
    };
    let history = History { bead_tests: vec![bead], ..History::default() };
    assert!(pointer(&vehicle(&[], &[]), &history).starts_with("/bead_tests/0/panel_grades/1"));
}

fn any_vehicle() -> impl Strategy<Value = Vehicle> {
    let kinds =
        prop::sample::subsequence(vec!["street_open", "street_trees", "near_rail", "foundry", "coast"], 0..4);
    let stands = kinds.prop_flat_map(|kinds| {
        let n = kinds.len();
        prop::collection::vec(0.0..=1.0f64, n)
            .prop_map(move |s| kinds.iter().copied().zip(s.iter().map(|s| s / n as f64)).collect::<Vec<_>>())
    });
    let coats = prop::collection::vec(
        (prop::sample::select(vec!["wax", "silica_spray", "ceramic_1y"]), 0..1000u64),
        0..4,
    );
    (stands, coats).prop_map(|(stands, coats)| vehicle(&stands, &coats))
}

pub(super) fn any_history() -> impl Strategy<Value = History> {
    let removals = prop::collection::vec((0..900u64, any::<bool>()), 0..8);
    let tests = prop::collection::vec((0..900u64, 0..=4u8), 0..4);
    let washes = prop::collection::vec((0..900u64, any::<bool>()), 0..8);
    (removals, tests, washes).prop_map(|(removals, tests, washes)| History {
        decontaminations: removals
            .into_iter()
            .map(|(d, clayed)| Decontamination { on: ago(d), clayed, left_grade: None })
            .collect(),
        bag_tests: tests
            .into_iter()
            .filter_map(|(d, g)| Some(BagTest { on: ago(d), grade: Grade::new(g)? }))
            .collect(),
        washes: washes
            .into_iter()
            .map(|(d, alkaline)| Wash { on: ago(d), alkaline, salt_flush: false })
            .collect(),
        ..History::default()
    })
}

proptest! {
    /// The days of a need are in order, sorted by due day, and its urgency agrees with them.
    #[test]
    fn needs_are_in_order(vehicle in any_vehicle(), history in any_history()) {
        let upkeep = try_forecast(&vehicle, &history).expect("a forecast");
        prop_assert!(upkeep.needs.windows(2).all(|w| w[0].due_on <= w[1].due_on));
        for need in &upkeep.needs {
            prop_assert!(need.remind_on <= need.due_on);
            prop_assert!(need.overdue_on.is_none_or(|on| need.due_on <= on));
            prop_assert_eq!(need.urgency >= Urgency::Due, today() >= need.due_on);
            prop_assert_eq!(need.urgency >= Urgency::Remind, today() >= need.remind_on);
            prop_assert!(need.figures.iter().all(|f| f.value.is_finite()));
        }
    }

    /// Standing longer under an exposure never makes iron removal due later.
    #[test]
    fn more_exposure_is_never_due_later(history in any_history(), share in 0.05..=1.0f64, less in 0.0..1.0f64) {
        let due = |share| {
            let car = vehicle(&[("near_rail", share)], &[("ceramic_1y", 0)]);
            let upkeep = try_forecast(&car, &history).expect("a forecast");
            upkeep.needs.iter().find(|n| n.kind == NeedKind::Decontamination).map(|n| n.due_on)
        };
        let (more, less) = (due(share), due(share * less));
        prop_assert!(less.is_none() || more.is_some_and(|m| less.is_some_and(|l| m <= l)));
    }
}

#[test]
fn a_need_names_its_trigger() {
    let mut car = vehicle(&[("near_rail", 1.0)], &[("glass_repellent", 30)]);
    car.coats[0].zone = Some(Zone::Windscreen);
    let keys: Vec<String> =
        try_forecast(&car, &removed(&[10])).expect("a forecast").needs.iter().map(Need::key).collect();
    assert!(keys.contains(&"protection:glass_repellent:Windscreen:2031-02-15".to_owned()), "{keys:?}");
    assert!(keys.contains(&"decontamination:2031-03-07".to_owned()), "{keys:?}");
}

/// What the picture says does not need colour: ink is black on white, and lines of one panel differ by their dashes.
#[test]
fn the_picture_reads_in_black_and_white() {
    let mut car = vehicle(
        &[("near_rail", 0.5), ("street_trees", 0.5)],
        &[("ceramic_1y", 60), ("wax", 20), ("polymer_sealant", 40)],
    );
    car.coats[1].zone = Some(Zone::Bonnet);
    car.coats[2].zone = Some(Zone::Roof);
    let svg = picture("car", &try_forecast(&car, &removed(&[200])).expect("a forecast"));
    let values = |attribute: &str| {
        let begin = format!("{attribute}=\"");
        let quoted = svg.split(&begin).skip(1);
        quoted.filter_map(|rest| rest.split_once('"')).map(|(value, _)| value.to_owned()).collect::<Vec<_>>()
    };
    let mut inks = [values("fill"), values(" stroke"), values("style")].concat();
    inks.retain(|ink| {
        !["black", "white", "none", "url(#h0)", "url(#h1)", "url(#h2)", "url(#h3)"].contains(&ink.as_str())
    });
    assert!(inks.is_empty(), "{inks:?}");
    let (loads, lives) = svg.split_once("Life used of each coat").expect("the lower panel");
    for panel in [loads, lives] {
        let keys = panel.lines().filter(|line| line.contains("h26\""));
        let dashes: Vec<_> = keys.filter_map(|line| line.split("stroke-dasharray=").nth(1)).collect();
        let told_apart: std::collections::BTreeSet<_> = dashes.iter().collect();
        assert!(dashes.len() > 1 && told_apart.len() == dashes.len(), "{dashes:?}");
    }
}
