//! Checks of what readings teach, by hand and against the exact posterior.

use super::checks::{ago, removed, today, vehicle};
use super::surety::{at, rate, upkeep};
use super::*;
use crate::inspection::{Contaminant, Grade};

/// By hand: 99 expected, 120 felt, so (100 + 120) / (100 + 99) of the handbook's rate from then on.
#[test]
fn a_feel_test_teaches_the_rate_and_overrides_the_load() {
    let car = vehicle(&[("near_rail", 1.0)], &[]);
    let felt = |days, grade| BagTest { on: ago(days), grade: Grade::new(grade).expect("a grade") };
    let history = History { bag_tests: vec![felt(10, 3)], ..removed(&[100]) };
    let iron = rate(&upkeep(&car, &history), Contaminant::FalloutIron);
    let factor = 220.0 / 199.0;
    assert!((iron.per_day.expected - 1.1 * factor).abs() < 1e-9);
    assert!((iron.load.expect("a load") - (120.0 + 11.0 * factor)).abs() < 1e-9);
    let learning = iron.learning.expect("what is learned");
    assert_eq!((learning.prior.shape, learning.prior.scale), (10.0, 100.0));
    assert_eq!((learning.evidence.readings, learning.evidence.censored), (1, 0));
    assert!((learning.evidence.exposure - 99.0).abs() < 1e-9 && learning.evidence.amount == 120.0);
    assert!((learning.posterior.shape - 19.9).abs() < 1e-9 && learning.posterior.scale == 220.0);
    // Nothing felt is left-censored: slower than the handbook, and the count goes on from 20.
    let history = History { bag_tests: vec![felt(10, 0)], ..removed(&[100]) };
    let clean = rate(&upkeep(&car, &history), Contaminant::FalloutIron);
    let learning = clean.learning.expect("what is learned");
    assert_eq!((learning.evidence.readings, learning.evidence.censored), (1, 1));
    assert!(clean.per_day.expected < 1.0 && learning.posterior.shape > 10.0);
    // Two on one day: the worse counts.
    let twice = History { bag_tests: vec![felt(10, 3), felt(10, 0)], ..removed(&[100]) };
    assert_eq!(rate(&upkeep(&car, &twice), Contaminant::FalloutIron), iron);
    // Measured iron is on the same scale: 0.1 mg/m2 are a day of the open street, 0.6.
    let measured =
        Reading { on: ago(10), contaminant: Contaminant::FalloutIron, found: Found::AmountMgM2(20.0) };
    let measured = History { readings: vec![measured], ..removed(&[100]) };
    assert_eq!(rate(&upkeep(&car, &measured), Contaminant::FalloutIron).per_day, iron.per_day);
}

/// The left-censored update against the posterior summed over a fine grid.
#[test]
fn a_censored_reading_moves_the_belief_as_the_exact_posterior() {
    for (time, bound) in [(99.0, 55.0), (30.0, 55.0), (200.0, 20.0), (5.0, 1.0)] {
        let prior = learning::GammaProcess::trusting(10.0, 100.0);
        let got = prior.after_at_most(time, bound).belief;
        let (mut mass, mut first, mut second) = (0.0, 0.0, 0.0);
        for i in 1..200_000 {
            let u = f64::from(i) * 5e-6;
            let likelihood = learning::growth_within(0.1 * time, u, bound);
            let density = u.powi(9) * (-100.0 * u).exp() * likelihood;
            mass += density;
            first += u * density;
            second += u * u * density;
        }
        let (mean, square) = (first / mass, second / mass);
        assert!((got.shape / got.scale / mean - 1.0).abs() < 1e-4, "{time} {bound}");
        let variance = got.shape / (got.scale * got.scale);
        assert!((variance / (square - mean * mean) - 1.0).abs() < 1e-3, "{time} {bound}");
    }
}

/// By hand, without seasons: 0.35 a day expects 14 sap spots in 40 days; 28 on 2 m2 double what was to be seen of them.
#[test]
fn counted_spots_teach_their_rate() {
    let car = vehicle(&[("street_trees", 1.0)], &[]);
    let counted = |spots, area_m2| {
        let reading = Reading {
            on: today(),
            contaminant: Contaminant::SapFresh,
            found: Found::Spots { spots, area_m2 },
        };
        let history = History { readings: vec![reading], ..removed(&[40]) };
        rate(&at(0.0, &car, &history, today()), Contaminant::SapFresh)
    };
    let usual = rate(&at(0.0, &car, &removed(&[40]), today()), Contaminant::SapFresh);
    assert!((usual.load.expect("a load") - 14.0).abs() < 1e-9);
    let many = counted(56, 2.0);
    let learning = many.learning.expect("what is learned");
    assert!((learning.posterior.shape - 60.0).abs() < 1e-9 && (learning.posterior.scale - 32.0).abs() < 1e-9);
    assert!((many.per_day.expected - 0.35 * 60.0 / 32.0).abs() < 1e-9);
    assert_eq!(many.load, Some(28.0));
    let none = counted(0, 2.0);
    assert!((none.per_day.expected - 0.35 * 4.0 / 32.0).abs() < 1e-9 && none.load == Some(0.0));
}

#[test]
fn a_step_takes_off_what_it_is_for() {
    let car = vehicle(&[("street_trees", 1.0)], &[]);
    let load = |history: &History, contaminant| rate(&at(0.0, &car, history, today()), contaminant).load;
    let mut history = removed(&[40]);
    history.wear_steps = vec![WearStep { on: ago(10), step: "D01".into(), products: vec![] }];
    assert!((load(&history, Contaminant::SapFresh).expect("a load") - 3.5).abs() < 1e-9);
    let bird = load(&history, Contaminant::Bird).expect("a load");
    assert!((bird - 40.0 * 0.04).abs() < 1e-9);
    let left = Cleared { on: ago(5), contaminant: Contaminant::SapFresh, left_grade: Some(Grade::LIGHT) };
    history.cleared = vec![left];
    assert!((load(&history, Contaminant::SapFresh).expect("a load") - (5.0 + 1.75)).abs() < 1e-9);
}

/// Random inputs of `tests/bench/upkeep_agreement.py` whose root is met to the last digit at once; values of scipy 1.17.1
/// (`gammaincc`, `betaincc`, `brentq`).
#[test]
fn a_root_that_is_met_exactly_is_kept() {
    use super::learning::{GammaProcess, growth_shape_to};
    let agrees = |got: f64, expected: f64| assert!((got / expected - 1.0).abs() < 1e-9, "{got} {expected}");
    agrees(growth_shape_to(2.5778876967718496, 19.578806818311648, 0.24561519894355627), 45.99696304);
    agrees(growth_shape_to(9.328255300161008, 4.2234116329622715, 0.7048687290952367), 43.15532067);
    for (shape_per_time, shape, scale, level, risk, expected) in [
        (
            0.22393632907423225,
            59.44363413267749,
            16.5350478604241,
            34.655967407271326,
            0.877736892321791,
            661.73998405,
        ),
        (
            0.9262093507092766,
            6.1662433049372245,
            102.21278985189659,
            688.6697063493255,
            0.2849585190785487,
            32.98845954,
        ),
        (
            2.0430539578765434,
            34.05911293949227,
            153.48727267930425,
            6075.018688555532,
            0.8975118558596725,
            808.49924583,
        ),
    ] {
        let process = GammaProcess { shape_per_time, belief: GammaBelief { shape, scale } };
        agrees(process.time_to(level, risk), expected);
    }
}
