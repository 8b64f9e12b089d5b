//! The refill stops that a plan asks for are those that its lines name, and no fewer would do.

use crate::scene::{Scene, quiet};
use domain::handbook::Severity;
use domain::plan::JobPlan;

/// A deep cleanse from so small a tank that it is filled on the way; there is no tap.
fn dry(tank_l: f64, stops: u32) -> Scene {
    let mut scene = quiet();
    scene.site.tap = Some(false);
    scene.kit.tank_l = tank_l;
    scene.refill_stops = stops;
    scene
}

/// The stops that would lift the block, none when nothing blocks for water.
fn asked(plan: &JobPlan) -> Option<u32> {
    let block = plan.notices.iter().find(|n| n.rule == "R18" && n.severity == Severity::Block)?;
    block.unblock.as_deref()?.split_once(" refill stop")?.0.parse().ok()
}

/// The stops that the lines name.
fn named(plan: &JobPlan) -> u32 {
    let reasons = plan.lines.iter().flat_map(|l| &l.reasons).filter(|r| r.id == "R18");
    let times = reasons.map(|r| match r.text.as_str() {
        "fill the tank before it" | "fill the tank once during it" => 1,
        text => text.split_whitespace().find_map(|word| word.parse().ok()).unwrap(),
    });
    times.sum()
}

#[test]
fn the_stops_asked_for_are_the_stops_named_and_one_less_is_refused() {
    let mut seen = Vec::new();
    for tank_l in (46..380).step_by(6).map(f64::from) {
        let Some(stops) = asked(&dry(tank_l, 0).plan()) else { continue };
        let plan = dry(tank_l, stops).plan();
        assert_eq!((asked(&plan), named(&plan)), (None, stops), "tank of {tank_l} l");
        assert_eq!(asked(&dry(tank_l, stops - 1).plan()), Some(stops), "tank of {tank_l} l");
        seen.push(stops);
    }
    assert!(seen.contains(&1) && seen.iter().any(|stops| *stops > 10), "{seen:?}");
    assert!(seen.is_sorted_by(|small, large| small >= large), "a larger tank needs no more stops: {seen:?}");
}

/// 0.9 x 51 l less 40 l are 5.9 l a filling: no rinse is done with that at once.
#[test]
fn a_step_larger_than_the_tank_is_stopped_for_water() {
    let stops = asked(&dry(51.0, 0).plan()).unwrap();
    let plan = dry(51.0, stops).plan();
    let during = |l: &domain::plan::PlanLine| l.reasons.iter().any(|r| r.text.contains("times during it"));
    assert!(plan.lines.iter().any(|l| l.step == "D05" && during(l)));
    // A tank that is nothing but reserve cannot be helped by filling it.
    assert_eq!(asked(&dry(44.0, 0).plan()), None);
    assert!(!dry(44.0, 20).plan().workable);
}
