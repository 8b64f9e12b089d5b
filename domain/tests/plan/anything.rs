//! Plans of anything: thrown jobs, sane and mad, against what must hold of every plan.

use crate::mixing;
use crate::rules::accounted_for;
use crate::scene::Scene;
use crate::thrown::{mad, sane};
use domain::handbook::{Handbook, PackageRole, PairCondition, PairKind, Phase};
use domain::plan::{JobPlan, PlanLine};
use proptest::prelude::*;

fn finite(plan: &JobPlan) -> Result<(), String> {
    let line = |l: &PlanLine| {
        let dwell = l.dwell.iter().flat_map(|d| [d.dry_s, d.panel_c, d.section_m2()]).flatten();
        let mixes = l.mixes.iter().flat_map(|m| {
            [Some(m.made_up_ml), Some(m.pour_ml), Some(m.shampoo_ml), m.water_to_product]
                .into_iter()
                .flatten()
        });
        let turns = l.turns.iter().flat_map(|t| [t.begin_min, t.end_min]);
        let own = [l.quantity, l.minutes, l.begin_min, l.end_min, l.water_l].into_iter().chain(l.max_panel_c);
        own.chain(dwell).chain(mixes).chain(turns).all(f64::is_finite)
    };
    if let Some(bad) = plan.lines.iter().find(|l| !line(l)) {
        return Err(format!("{bad:?}"));
    }
    let totals = &plan.totals;
    let sums =
        [totals.person_minutes, totals.elapsed_minutes, totals.area_m2, totals.water_l, totals.machine_kwh];
    let good = sums.into_iter().chain(totals.product_ml.values().copied()).all(|n| n.is_finite() && n >= 0.0);
    if good { Ok(()) } else { Err(format!("{totals:?}")) }
}

/// Hard pairs hold by place in the list and on the clock.
fn hard_pairs(plan: &JobPlan) -> Result<(), String> {
    let place = |step: &str| plan.lines.iter().position(|l| l.step == step);
    for pair in Handbook::standard().precedence.iter() {
        let always = matches!(pair.condition, PairCondition::Always | PairCondition::GritVisible);
        let (Some(before), Some(after)) = (place(&pair.before), place(&pair.after)) else { continue };
        let late = plan.lines[before].begin_min > plan.lines[after].begin_min;
        if pair.kind == PairKind::Hard && always && (before > after || late) {
            return Err(format!("{} {} after {}", pair.id, pair.before, pair.after));
        }
        if pair.kind == PairKind::Forbidden && before < after {
            return Err(format!("{} {} before {}", pair.id, pair.before, pair.after));
        }
    }
    Ok(())
}

/// Every required step is there, done, chosen otherwise, past its place, or its absence is told.
fn complete(scene: &Scene, plan: &JobPlan) -> Result<(), String> {
    let there =
        |step: &str| plan.lines.iter().any(|l| l.step == step) || scene.done.iter().any(|d| d == step);
    let entries: Vec<_> = scene.handbook.steps_of(&scene.package).collect();
    for entry in entries.iter().filter(|e| e.role == PackageRole::Required) {
        let other =
            entries.iter().any(|e| !e.choice.is_empty() && e.choice == entry.choice && there(&e.step));
        let early =
            scene.handbook.step(&entry.step).is_some_and(|s| matches!(s.phase, Phase::Prewash | Phase::Wash));
        let past = scene
            .handbook
            .precedence
            .iter()
            .any(|p| p.kind == PairKind::Hard && p.before == entry.step && scene.done.contains(&p.after));
        let told =
            |step: &str| plan.notices.iter().any(|n| n.text.split([' ', ',', ':', ';']).any(|w| w == step));
        let chosen = entries.iter().any(|e| {
            !e.choice.is_empty()
                && e.choice == entry.choice
                && scene.options.contains(&e.step)
                && told(&e.step)
        });
        if !(there(&entry.step) || other || chosen || early && past || told(&entry.step)) {
            return Err(format!("{} is missing without a word", entry.step));
        }
    }
    Ok(())
}

/// A step that a notice says was left out is not in the plan.
fn gone(plan: &JobPlan) -> Result<(), String> {
    for notice in &plan.notices {
        let Some((_, left_out)) = notice.text.rsplit_once("left out ") else { continue };
        if let Some(back) = plan.lines.iter().find(|l| left_out.split(' ').any(|word| word == l.step)) {
            return Err(format!("{} is back in spite of {}: {}", back.step, notice.rule, notice.text));
        }
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 96, ..ProptestConfig::default() })]

    #[test]
    fn every_sane_job_has_a_plan_that_keeps_its_promises(seed in any::<u64>()) {
        let scene = sane(seed);
        let plan = scene.try_plan().map_err(|e| TestCaseError::fail(e.to_string()))?;
        let told = finite(&plan)
            .and_then(|()| accounted_for(&plan))
            .and_then(|()| hard_pairs(&plan))
            .and_then(|()| complete(&scene, &plan))
            .and_then(|()| gone(&plan))
            .and_then(|()| mixing::kept_apart(&plan));
        prop_assert!(told.is_ok(), "{:?} in {} {:?} done {:?}", told, scene.package, scene.options, scene.done);
        let stops = plan.notices.iter().any(|n| n.severity == domain::handbook::Severity::Block);
        prop_assert_eq!(plan.workable, !stops);
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
}
