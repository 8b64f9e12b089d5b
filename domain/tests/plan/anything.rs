//! Plans of anything: thrown jobs, sane and mad, against what must hold of every plan.
//! `--example plan_fuzz` throws as many as there is time for.

use crate::damaged::{damaged, overridden};
use crate::promises::{finite, kept};
use crate::thrown::{mad, sane};
use proptest::prelude::*;

/// Seeds of sane jobs whose plans once broke a promise.
const ONCE_BROKEN: [u64; 1] = [7_943_418_048_118_362_227];

#[test]
fn jobs_that_once_broke_a_promise_keep_it() {
    for seed in ONCE_BROKEN {
        let scene = sane(seed);
        assert_eq!(kept(&scene, &scene.plan()), Ok(()), "{seed}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 96, ..ProptestConfig::default() })]

    #[test]
    fn every_sane_job_has_a_plan_that_keeps_its_promises(seed in any::<u64>()) {
        let scene = sane(seed);
        let plan = scene.try_plan().map_err(|e| TestCaseError::fail(e.to_string()))?;
        let told = kept(&scene, &plan);
        prop_assert!(told.is_ok(), "{:?} in {} {:?} done {:?}", told, scene.package, scene.options, scene.done);
    }

    #[test]
    fn the_same_job_gives_the_same_plan(seed in any::<u64>()) {
        let scene = sane(seed);
        prop_assert_eq!(scene.try_plan(), scene.try_plan());
    }

    #[test]
    fn whatever_comes_in_a_plan_or_an_error_goes_out(seed in any::<u64>()) {
        let scene = mad(seed);
        match scene.try_plan() {
            Ok(plan) => prop_assert!(finite(&plan).is_ok(), "{:?}", finite(&plan)),
            Err(error) => prop_assert!(!error.detail.is_empty()),
        }
    }

    #[test]
    fn damaged_documents_are_refused_or_planned(seed in any::<u64>()) {
        let Ok(scene) = damaged(seed) else { return Ok(()) };
        match scene.try_plan() {
            Ok(plan) => prop_assert!(kept(&scene, &plan).is_ok(), "{:?}", kept(&scene, &plan)),
            Err(error) => prop_assert!(error.pointer.starts_with('/') && !error.detail.is_empty()),
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, ..ProptestConfig::default() })]

    /// A shop's own values: refused with the cell at fault, or a plan that keeps its promises.
    #[test]
    fn a_changed_handbook_is_refused_or_planned_by(seed in any::<u64>()) {
        let Ok(scene) = overridden(seed) else { return Ok(()) };
        match scene.try_plan() {
            Ok(plan) => prop_assert!(kept(&scene, &plan).is_ok(), "{:?}", kept(&scene, &plan)),
            Err(error) => prop_assert!(error.pointer.starts_with('/') && !error.detail.is_empty()),
        }
    }
}
