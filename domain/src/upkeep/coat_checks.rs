//! Checks of coats through the forecast: chemistry from the ledger, climate, bead tests, what the shop learned, and costs.

use super::*;
use chrono::Days;
use serde_json::json;

fn today() -> NaiveDate {
    "2031-03-17".parse().expect("a date of this test")
}

fn ago(days: u64) -> NaiveDate {
    today() - Days::new(days)
}

fn coated(protection: &str, days: u64) -> Vehicle {
    serde_json::from_value(json!({
        "class": "estate", "colour": "white", "finish": "clear_coat",
        "exposures": [{ "kind": "street_open", "share": 1.0 }],
        "coats": [{ "protection": protection, "applied_on": ago(days) }],
    }))
    .expect("a vehicle")
}

fn step(days: u64, step: &str, products: &[&str]) -> WearStep {
    let products = products.iter().map(|id| (*id).to_owned()).collect();
    WearStep { on: ago(days), step: step.into(), products }
}

fn beads(days: u64, protection: &str, panel_grades: &[u8], after_test_sequence: bool) -> BeadTest {
    let panel_grades = panel_grades.to_vec();
    BeadTest { on: ago(days), protection: protection.into(), panel_grades, after_test_sequence }
}

fn judged(
    vehicle: &Vehicle,
    history: &History,
    experience: &Experience,
    climate: &Climate,
) -> (CoatLife, Need) {
    let upkeep = forecast(Handbook::standard(), vehicle, history, experience, climate, today());
    let upkeep = upkeep.expect("a forecast");
    let need = upkeep.needs.into_iter().find(|need| need.kind == NeedKind::Protection);
    (upkeep.lives.into_iter().next().expect("a life"), need.expect("a need"))
}

fn plain(vehicle: &Vehicle, history: &History) -> (CoatLife, Need) {
    judged(vehicle, history, &Experience::default(), &Climate::default())
}

fn tested(test: BeadTest) -> History {
    History { bead_tests: vec![test], ..History::default() }
}

/// The spread of the handbook is the 80 % interval, its usual life the day on which every second coat has ended.
#[test]
fn the_handbooks_spread_is_the_interval() {
    let (life, need) = plain(&coated("ceramic_1y", 0), &History::default());
    assert_eq!((life.used, life.reliability), (0.0, 1.0));
    let d = |on: Option<NaiveDate>| (on.expect("a day") - today()).num_days() as f64 / 30.436875;
    assert!((d(life.late_on) / d(life.early_on) - 18.0 / 8.0).abs() < 0.01, "{life:?}");
    assert_eq!((need.early_on, need.late_on), (life.early_on, life.late_on));
    assert_eq!((need.risk_today, need.risk_target), (Some(0.0), Some(0.5)));
    let (old, _) = plain(&coated("ceramic_1y", 366), &History::default());
    assert!((old.reliability - 0.5).abs() < 0.01);
}

/// Degrees of `strips_protection` and `removed_by` in the handbook (common practice): tar solvent takes wax off where it was
/// on all panels; on the lower panels it wears like three alkaline washes, traffic film remover like one, iron remover
/// like a third of one; a wash of that day is not counted twice.
#[test]
fn the_ledgers_chemistry_is_seen() {
    let wax = coated("wax", 20);
    let with = |steps: Vec<WearStep>| History { wear_steps: steps, ..History::default() };
    let part = |history: &History| plain(&wax, history).0.used - plain(&wax, &History::default()).0.used;
    assert!((part(&with(vec![step(5, "B06", &["prewash_alkaline"])])) - 0.03).abs() < 1e-12);
    assert!((part(&with(vec![step(5, "D03", &[])])) - 0.03 * 0.3).abs() < 1e-12);
    assert!((part(&with(vec![step(5, "B06", &["tar_solvent"])])) - 0.09).abs() < 1e-12);
    assert_eq!(part(&with(vec![step(5, "B02", &[]), step(20, "B06", &[]), step(5, "A01", &[])])), 0.0);
    let mut washed = with(vec![step(5, "B06", &[])]);
    washed.washes = vec![Wash { on: ago(5), alkaline: true, salt_flush: false }];
    assert!((part(&washed) - 0.03).abs() < 1e-12);

    let (life, need) = plain(&wax, &with(vec![step(5, "G05", &["panel_wipe"])]));
    assert_eq!((life.reliability, life.early_on), (0.0, Some(ago(5))));
    assert_eq!((need.due_on, need.urgency), (ago(5), Urgency::Due));
    assert_eq!(need.reason, "The wax on your car was taken off by the panel wipe 5 days ago.");
    // Ceramic is not among what a panel wipe removes; only polish takes it off.
    let ceramic = coated("ceramic_1y", 20);
    assert!(plain(&ceramic, &with(vec![step(5, "G05", &["panel_wipe"])])).0.reliability > 0.99);
    assert_eq!(plain(&ceramic, &with(vec![step(5, "G03", &[])])).0.reliability, 0.0);
    // What still beads high afterwards was not taken off.
    let mut beading = with(vec![step(5, "G05", &["panel_wipe"])]);
    beading.bead_tests = vec![beads(2, "wax", &[4, 4, 4], true)];
    assert!(plain(&wax, &beading).0.reliability > 0.9);
}

fn gone(days: u64, protection: &str, step: Option<&str>) -> Stripped {
    Stripped { on: ago(days), protection: protection.into(), zone: None, step: step.map(str::to_owned) }
}

fn renewals(vehicle: &Vehicle, stripped: Vec<Stripped>) -> Vec<Need> {
    let history = History { stripped, ..History::default() };
    let (nothing, climate) = (Experience::default(), Climate::default());
    let upkeep = forecast(Handbook::standard(), vehicle, &history, &nothing, &climate, today());
    let needs = upkeep.expect("a forecast").needs.into_iter();
    needs.filter(|need| need.kind == NeedKind::Protection).collect()
}

/// A coat that was taken off and is listed no longer is asked for until something lies in its place again.
#[test]
fn what_was_stripped_and_not_laid_again_is_asked_for() {
    let bare = Vehicle { coats: vec![], ..coated("wax", 0) };
    let needs = renewals(&bare, vec![gone(9, "ceramic_1y", Some("G03"))]);
    let [need] = needs.as_slice() else { panic!("{needs:?}") };
    assert_eq!((need.due_on, need.urgency, need.package.as_str()), (ago(9), Urgency::Due, "P4"));
    assert_eq!((need.risk_today, need.key()), (Some(1.0), format!("protection:ceramic_1y:{}", ago(9))));
    let step = &Handbook::standard().step("G03").expect("a step").name;
    let name = &Handbook::standard().protection("ceramic_1y").expect("a protection").name;
    let reason = format!(
        "The {name} that your car had was taken off by the {step} 9 days ago, and nothing has taken its place."
    );
    assert_eq!(need.reason, reason);
    assert_eq!(renewals(&bare, vec![gone(30, "wax", None)])[0].urgency, Urgency::Overdue);
    // Twice taken off is asked for once, from the last time on.
    let twice = renewals(&bare, vec![gone(40, "wax", None), gone(9, "wax", None)]);
    assert_eq!(twice.iter().map(|need| need.due_on).collect::<Vec<_>>(), [ago(9)]);
    // A newer coat on the paint has its own need; an older one does not answer for it.
    let kinds = |applied: u64| -> Vec<String> {
        let needs = renewals(&coated("silica_spray", applied), vec![gone(9, "polymer_sealant", None)]);
        needs.into_iter().filter_map(|need| Some(need.coat?.protection)).collect()
    };
    assert_eq!(kinds(9), ["silica_spray"]);
    assert_eq!(kinds(10), ["polymer_sealant", "silica_spray"]);
    // One that is still listed is judged as a coat that was taken off; one laid on that day or later is whole.
    let listed = |applied: u64| {
        plain(
            &coated("wax", applied),
            &History { stripped: vec![gone(9, "wax", None)], ..History::default() },
        )
    };
    assert_eq!((listed(20).0.reliability, listed(20).1.due_on), (0.0, ago(9)));
    assert!(listed(9).0.reliability > 0.9 && listed(9).1.due_on > today());
    // Tyre dressing is laid at every wash.
    assert_eq!(renewals(&bare, vec![gone(9, "tyre_dress", None)]), []);
}

/// Conditional survival: a coat past its usual life that still beads is trusted for longer than the model alone would.
#[test]
fn a_test_that_beads_makes_the_past_certain() {
    let old = coated("ceramic_1y", 400);
    let (before, due) = plain(&old, &History::default());
    let (after, later) = plain(&old, &tested(beads(1, "ceramic_1y", &[3, 3, 4], false)));
    assert!(before.reliability < 0.5 && after.reliability > 0.9, "{before:?} {after:?}");
    assert!(later.due_on > today() && due.due_on < today());
    // Misreading 5 %: P(alive) = R / (R + 0.05 (1 - R)).
    let r = before.reliability;
    assert!((after.reliability - r / (r + 0.05 * (1.0 - r))).abs() < 0.01);
}

/// A young coat with low beads is likelier clogged than worn; after the test sequence it is likelier worn. Due either way
/// (two of three panels low, common practice), but first the sequence.
#[test]
fn low_beads_on_a_young_coat_are_likely_clogged() {
    let young = coated("ceramic_1y", 150);
    let (clogged, need) = plain(&young, &tested(beads(0, "ceramic_1y", &[1, 1, 2], false)));
    let (worn, sure) = plain(&young, &tested(beads(0, "ceramic_1y", &[1, 1, 2], true)));
    assert!(
        clogged.reliability > 0.8 && worn.reliability < clogged.reliability - 0.1,
        "{clogged:?} {worn:?}"
    );
    assert!(need.advice[0].contains("clogged") && sure.advice.is_empty());
    assert_eq!((need.due_on, sure.due_on), (today(), today()));
    assert_eq!(need.early_on, None);
}

/// Of two tests on one day the one after the sequence counts, else the worse; the order of entry does not matter.
#[test]
fn contradicting_tests_of_one_day() {
    let car = coated("ceramic_1y", 150);
    let due = |mut tests: Vec<BeadTest>| {
        let one = plain(&car, &History { bead_tests: tests.clone(), ..History::default() }).1.due_on;
        tests.reverse();
        assert_eq!(plain(&car, &History { bead_tests: tests, ..History::default() }).1.due_on, one);
        one
    };
    let (low, high) =
        (|after| beads(3, "ceramic_1y", &[1, 2, 2], after), |after| beads(3, "ceramic_1y", &[5, 5], after));
    assert_eq!(due(vec![low(false), high(false)]), ago(3));
    assert_eq!(due(vec![low(true), high(false)]), ago(3));
    assert!(due(vec![low(false), high(true)]) > today(), "the sequence freed a clogged coat");
}

/// Twenty coats that ended at two thirds of their usual life shorten the forecast; those still alive count, too.
#[test]
fn the_shops_own_lives_move_the_day() {
    let handbook = Handbook::standard();
    let (none, mild) = (Experience::default(), Climate::default());
    let forecaster = Forecaster::new(handbook, &none, &mild).expect("a forecaster");
    let (mut short, mut long) = (Experience::default(), Experience::default());
    for _ in 0..20 {
        let worn = tested(beads(0, "ceramic_1y", &[1, 1, 1], true));
        forecaster.learn(&coated("ceramic_1y", 243), &worn, today(), &mut short).expect("a lesson");
        let alive = tested(beads(0, "ceramic_1y", &[4, 4, 4], false));
        forecaster.learn(&coated("ceramic_1y", 500), &alive, today(), &mut long).expect("a lesson");
    }
    let (seen, going) = (short.protections["ceramic_1y"], long.protections["ceramic_1y"]);
    assert_eq!((seen.ended, seen.censored, going.ended, going.censored), (20, 0, 0, 20));
    let car = coated("ceramic_1y", 100);
    let due = |experience: &Experience| judged(&car, &History::default(), experience, &mild);
    let (usual, shorter, longer) = (due(&none).1.due_on, due(&short).1.due_on, due(&long).1.due_on);
    assert!(shorter < usual && usual < longer, "{shorter} {usual} {longer}");
    let learning = due(&short).0.learning.expect("what was learned");
    assert_eq!((learning.prior.shape, learning.posterior.shape, learning.evidence.readings), (4.0, 24.0, 20));
    assert!((learning.posterior.scale - learning.prior.scale - learning.evidence.exposure).abs() < 1e-12);
}

/// A coat before the present one is known by the steps that laid it; untested coats and low tests that may show a clogged
/// one teach nothing.
#[test]
fn only_tests_teach() {
    let learned = |vehicle: &Vehicle, history: &History| {
        let (none, mild) = (Experience::default(), Climate::default());
        let forecaster = Forecaster::new(Handbook::standard(), &none, &mild).expect("a forecaster");
        let mut experience = Experience::default();
        forecaster.learn(vehicle, history, today(), &mut experience).expect("a lesson");
        experience.protections.into_values().map(|seen| (seen.ended, seen.censored)).collect::<Vec<_>>()
    };
    let car = coated("ceramic_1y", 30);
    assert_eq!(learned(&car, &History::default()), []);
    assert_eq!(learned(&car, &tested(beads(1, "ceramic_1y", &[1, 1, 1], false))), []);
    let mut history = tested(beads(31, "ceramic_1y", &[1, 1, 1], true));
    assert_eq!(learned(&car, &history), [], "nobody knows when the coat before was laid");
    history.wear_steps = vec![step(300, "H04", &["ceramic_hobby"]), step(30, "H04", &["ceramic_hobby"])];
    assert_eq!(learned(&car, &history), [(1, 0)]);
    history.bead_tests.push(beads(1, "ceramic_1y", &[5, 5, 5], false));
    assert_eq!(learned(&car, &history), [(1, 1)]);
}

/// A hot, bright climate ages coats faster than the handbook's, summer faster than winter.
#[test]
fn heat_and_sun_age_coats() {
    let climate = |air_c: f64| Climate { monthly_air_c: Some([air_c; 12]), ..Climate::default() };
    let due = |climate: &Climate| {
        judged(&coated("ceramic_1y", 0), &History::default(), &Experience::default(), climate).1.due_on
    };
    assert_eq!(due(&climate(10.0)), due(&Climate::default()));
    // exp(0.4 / 8.617e-5 (1/283.15 - 1/293.15)) = 1.749
    let months = (due(&climate(20.0)) - today()).num_days() as f64 / 30.436875;
    assert!((months - 12.0 / 1.749).abs() < 0.05, "{months}");
    let mut sunny = Climate {
        monthly_uv: Some([0.2, 0.4, 0.8, 1.2, 1.6, 1.8, 1.8, 1.6, 1.2, 0.8, 0.4, 0.2]),
        ..climate(10.0)
    };
    let wax = |climate: &Climate| {
        judged(&coated("wax", 0), &History::default(), &Experience::default(), climate).1.due_on
    };
    let summer = wax(&sunny);
    sunny.monthly_uv.as_mut().expect("set above").rotate_left(6);
    assert!(summer < wax(&sunny), "from March on the sun of the north wears more than that of the south");
}

/// LIF-07 (age replacement): a late renewal that costs ten times as much is worth an early one; LIF-08 (minimal repair)
/// where the coat is topped up.
#[test]
fn costs_bring_renewal_forward() {
    let dear = json!({ "factors": { "late_renewal_cost_ratio": { "value": 10.0 } } });
    let handbook = Handbook::standard().with_overrides(&dear).expect("a handbook");
    let need = |handbook: &Handbook, protection| {
        let (none, mild) = (Experience::default(), Climate::default());
        let upkeep = forecast(handbook, &coated(protection, 0), &History::default(), &none, &mild, today());
        upkeep
            .expect("a forecast")
            .needs
            .into_iter()
            .find(|n| n.kind == NeedKind::Protection)
            .expect("a need")
    };
    for protection in ["ceramic_3y", "ceramic_1y"] {
        let (usual, costly) = (need(Handbook::standard(), protection), need(&handbook, protection));
        assert!(costly.due_on < usual.due_on);
        assert!(costly.risk_target < usual.risk_target);
        assert!(costly.figures.iter().any(|f| f.name == "part of life at which renewal is cheapest"));
    }
}

#[test]
fn what_is_assumed_is_named() {
    let names = |vehicle: &Vehicle, history: &History| {
        let (none, mild) = (Experience::default(), Climate::default());
        let upkeep =
            forecast(Handbook::standard(), vehicle, history, &none, &mild, today()).expect("a forecast");
        upkeep.assumptions.into_iter().map(|a| a.name.into_owned()).collect::<Vec<_>>()
    };
    let has = |names: &[String], name: &str| names.iter().any(|n| n == name);
    let bare = names(&coated("wax", 10), &History::default());
    assert!(has(&bare, "life_prior_lives") && has(&bare, "visit_risk_cost"), "{bare:?}");
    assert!(!has(&bare, "bead_clogged_share") && !has(&bare, "strip_washes_1"));
    let mut history = tested(beads(1, "wax", &[1], false));
    history.wear_steps = vec![step(5, "B06", &[])];
    let more = names(&coated("wax", 10), &history);
    assert!(has(&more, "bead_clogged_share") && has(&more, "strip_washes_1"));
}

/// Against the tables: the package recommended for a coat has the step that lays it; what none lays is quoted apart.
#[test]
fn the_package_of_a_renewal_lays_the_coat() {
    let handbook = Handbook::standard();
    for row in handbook.protections.iter().filter(|row| row.life_months >= 2.0) {
        let (_, need) = plain(&coated(&row.id, 10), &History::default());
        let steps: Vec<&str> = handbook.steps_of(&need.package).map(|row| row.step.as_str()).collect();
        match row.applied_by.as_deref() {
            Some(step) if row.mobile => assert!(steps.contains(&step), "{} by {}", row.id, need.package),
            _ => assert!(need.package == "P1" && !need.advice.is_empty(), "{need:?}"),
        }
    }
}
