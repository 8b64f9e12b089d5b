//! What is found after the work has begun: finished steps are kept, late spots come last.

use crate::scene::{Ask, Scene, quiet};
use domain::inspection::Contaminant;
use domain::vehicle::Zone;

const BEFORE_ACID: &str =
    "A01 A02 A03 A04 A05 B01 B03 B04 B02 B05 B06 B09 B10 C01 C02 C03 D03 D04 E06 E01 D05";

fn tar_after(done: &str) -> Scene {
    let mut scene = quiet();
    scene.find(Zone::Bonnet, Contaminant::Tar, 1);
    scene.extra_work.approved = Some(true);
    scene.done(done);
    scene
}

fn steps(scene: &Scene) -> Vec<String> {
    scene.plan().lines.into_iter().map(|l| l.step).collect()
}

#[test]
fn tar_found_after_the_iron_rinse_is_spotted_last_and_the_sides_rinsed_again() {
    let left = steps(&tar_after(BEFORE_ACID));
    // Order and steps: conditional steps and pairs Q41-Q44 (common practice).
    let expected = "D07 D11 D14 F01 F02 F04 H03 H06 I01 I02 I03 I04 I05";
    assert_eq!(left.join(" "), expected);
}

#[test]
fn tar_found_before_the_iron_step_comes_off_before_it() {
    let left = steps(&tar_after("A01 A02 A03 A04 A05 B01 B03 B04 B02 B05 B06 B09 B10 C01 C02 C03"));
    assert!(left.starts_with(&["D01", "D12", "D03", "D04"].map(String::from)), "{left:?}");
    assert!(!left.contains(&"D11".to_string()));
}

#[test]
fn tar_found_under_the_lamp_is_followed_by_rinsing_and_drying_once_more() {
    let scene = tar_after(&format!("{BEFORE_ACID} D07 D14 F01 F02 F04"));
    let plan = scene.plan();
    let left: Vec<&str> = plan.lines.iter().map(|l| l.step.as_str()).collect();
    assert_eq!(left, ["D11", "D14", "F02", "H03", "H06", "I01", "I02", "I03", "I04", "I05"]);
    let again = |step: &str| plan.line(step).reasons.iter().any(|r| r.text.contains("once more"));
    assert!(again("D14") && again("F02"));
}

#[test]
fn a_late_find_that_nobody_approves_leaves_the_booked_work() {
    let mut scene = tar_after(BEFORE_ACID);
    scene.extra_work.approved = None;
    assert!(scene.plan().questions.iter().any(|q| q.pointer == "/extra_work/approved"));
    scene.extra_work.silent_min = 10;
    let left = steps(&scene);
    assert!(!left.contains(&"D11".to_string()) && left.contains(&"D07".to_string()), "{left:?}");
}

/// Replanning after every step gives what was left of the plan, in its order.
#[test]
fn replanning_from_any_state_gives_the_rest_of_the_plan() {
    let mut scene = quiet();
    scene.find(Zone::Roof, Contaminant::Bird, 1);
    scene.find(Zone::Rocker, Contaminant::Salt, 2);
    let whole = steps(&scene);
    for done in 0..whole.len() {
        scene.done = whole[..done].to_vec();
        assert_eq!(steps(&scene), whole[done..], "after {:?}", whole[..done].last());
    }
}

/// Etching or scratches, thickness in order, and approval: the cut comes before the refining polish (Q56), on the
/// zones agreed.
#[test]
fn etched_rings_and_scratches_are_cut_before_they_are_refined() {
    let marked: [fn(&mut Scene); 2] = [
        |s| s.find(Zone::Bonnet, Contaminant::HardwaterEtch, 1),
        |s| s.inspection.scratched = vec![Zone::Bonnet],
    ];
    for mark in marked {
        let mut scene = quiet();
        scene.package("P4", &[]);
        scene.extra_work.approved = Some(true);
        assert!(!scene.plan().has("G04"), "nothing is there to be cut");
        mark(&mut scene);
        let plan = scene.plan();
        assert_eq!(plan.line("G04").zones, [Zone::Bonnet]);
        assert!(plan.place("G04") < plan.place("G03"));
        scene.extra_work.approved = None;
        let offered = scene.plan();
        assert!(!offered.has("G04") && offered.notices.iter().any(|n| n.text.contains("offer G04")));
        scene.extra_work.approved = Some(true);
        scene.package("P2", &[]);
        assert!(!scene.plan().has("G04"), "no polish follows");
    }
}
