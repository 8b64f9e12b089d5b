//! What the customer agreed to in writing: it lifts what it names, leaves out what it names, and is shown.

use crate::scene::{Ask, Scene, quiet, technician};
use domain::handbook::Severity;
use domain::inspection::Contaminant;
use domain::plan::{SheetHead, job_sheet, sheet_html};
use domain::vehicle::{VehicleClass, Zone};

fn blocks(scene: &Scene, rule: &str) -> bool {
    scene.plan().notices.iter().any(|n| n.rule == rule && n.severity == Severity::Block)
}

#[test]
fn marks_of_a_clay_bar_are_accepted_everywhere_or_on_the_zones_named() {
    let mut scene = quiet();
    scene.package("P4", &["E03"]);
    scene.done("G01 G02 G03");
    assert!(blocks(&scene, "R43"));
    let zones = scene.plan().line("E03").zones.clone();
    scene.waive("R43", &zones[1..], &[]);
    assert!(blocks(&scene, "R43"), "one zone is missing");
    scene.waivers.clear();
    scene.waive("R43", &zones, &[]);
    let plan = scene.plan();
    let said = plan.notices.iter().find(|n| n.rule == "R43").unwrap();
    assert_eq!(said.severity, Severity::Adjust);
    assert!(
        said.text.contains("agreed in writing by Hyppa at 2031-") && said.text.contains("09:12"),
        "{said:?}"
    );
    assert!(plan.line("E03").reasons.iter().any(|r| r.id == "R43"));
}

#[test]
fn a_bar_whose_marks_are_accepted_brings_no_polishing() {
    let mut scene = quiet();
    scene.package("P3", &[]);
    scene.find(Zone::Bonnet, Contaminant::FalloutIron, 2);
    scene.done("A01 A02 A03 A04 A05 B01 B03 B04 B02 B05 B06 B09 B10 C01 C02 C03 D03 D04 E06 E02 D05");
    scene.extra_work.approved = Some(true);
    assert!(scene.plan().has("E03") && scene.plan().has("G03"));
    scene.waive("R43", &[], &[]);
    let plan = scene.plan();
    assert!(plan.has("E03") && !plan.has("G03") && !plan.has("G02"), "{:?}", plan.notices);
    assert!(!blocks(&scene, "R43"));
}

#[test]
fn a_roof_left_out_is_neither_treated_nor_counted() {
    let mut scene = quiet();
    scene.vehicle.class = VehicleClass::LargeVan;
    scene.package("P1", &[]);
    scene.find(Zone::Roof, Contaminant::Bird, 2);
    let whole = scene.plan();
    assert!(whole.has("B08") && !whole.workable);
    scene.waive("R31", &[Zone::Roof], &[]);
    let plan = scene.plan();
    assert!(plan.lines.iter().all(|line| !line.zones.contains(&Zone::Roof)));
    assert!(plan.workable && !plan.has("B08"), "{:?}", plan.notices);
    // The roof of a large van has 8.0 m2 (handbook, common practice).
    assert!((whole.totals.area_m2 - plan.totals.area_m2 - 8.0).abs() < 1e-9);
    assert!(
        plan.totals.water_l < whole.totals.water_l
            && plan.totals.person_minutes < whole.totals.person_minutes
    );
    assert_eq!(plan.waivers, scene.waivers);
}

#[test]
fn steps_left_out_stay_out_and_take_their_companions_with_them() {
    let mut scene = quiet();
    scene.waive("R60", &[], &["D03", "D04", "E01"]);
    let plan = scene.plan();
    assert!(["D03", "D04", "E01", "D05"].iter().all(|step| !plan.has(step)));
    assert!(plan.has("C02") && plan.has("D07"));
    let said = plan.notices.iter().find(|n| n.text.contains("left out D03 D04 E01")).unwrap();
    assert!(said.rule == "R60" && said.severity == Severity::Adjust);
}

#[test]
fn the_sheet_says_what_was_agreed() {
    let mut scene = quiet();
    scene.waive("R60", &[], &["D07"]);
    let plan = scene.plan();
    let crew = [technician("Nimbo").name];
    let head = SheetHead { job: "1", vehicle: "sedan", place: "here", crew: &crew, van: "V1" };
    let words = "left out D07, agreed in writing by Hyppa";
    assert!(job_sheet(&head, &plan).contains(words));
    let paper = sheet_html(&head, &plan);
    assert!(paper.contains(words) && paper.contains("AGREED"));
}

#[test]
fn who_may_not_learn_names_does_not_learn_the_customers() {
    let mut scene = quiet();
    scene.waive("R60", &[], &["D07"]);
    let plan = scene.plan().without_names();
    let said = serde_json::to_string(&plan).unwrap();
    assert!(!said.contains("Hyppa") && said.contains("agreed in writing by the customer at"), "{said}");
}
