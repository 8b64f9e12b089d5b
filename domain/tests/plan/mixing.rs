//! The mixing table X01-X13: what may not meet does not, in a bottle or on the vehicle.

use crate::promises::kept_apart;
use crate::scene::{Ask, quiet};
use domain::handbook::{Handbook, MixVerdict, Severity};
use domain::inspection::Contaminant;
use domain::vehicle::Zone;
use serde_json::json;

/// X01-X03: alkali, iron remover and acid in one plan, each rinsed off before the next, and the lines say so.
#[test]
fn alkali_iron_and_acid_are_rinsed_apart_and_the_lines_say_so() {
    let plan = quiet().plan();
    kept_apart(Handbook::standard(), &plan).unwrap();
    let says = |step: &str, id: &str| plan.line(step).reasons.iter().any(|r| r.id == id);
    assert!(says("D03", "X03") && says("D07", "X02"), "{:?}", plan.line("D07").reasons);
    let (iron, rinse, acid) = (plan.place("D03"), plan.place("D05"), plan.place("D07"));
    assert!(iron < rinse && rinse < acid);
}

/// X02: cement dissolver is an acid, and the rinse of rule R40 stands between it and the iron remover.
#[test]
fn cement_dissolver_is_rinsed_off_before_iron() {
    let mut scene = quiet();
    scene.find_aged(Zone::Doors, Contaminant::Cement, 2, 50.0);
    scene.extra_work.approved = Some(true);
    let plan = scene.plan();
    kept_apart(Handbook::standard(), &plan).unwrap();
    assert!(plan.place("D09") < plan.place("D12") && plan.place("D12") < plan.place("D03"));
    assert!(plan.line("D12").mixes.is_empty(), "soap is for oil");
    assert!(plan.line("D03").reasons.iter().any(|r| r.id == "X02" && r.text.starts_with("D12")));
}

/// X04, X05: a shop that declares its products so that they may never meet gets no plan with both.
#[test]
fn what_never_may_meet_blocks_the_plan() {
    for (product, chemistry, entry) in
        [("waterspot_remover", "oxidiser", "X04"), ("clay_lube", "hypochlorite", "X05")]
    {
        let mut scene = quiet();
        scene.shop(json!({"product_classes": {product: {"chemistry": [chemistry]}}}));
        scene.package("P2", &["E02"]);
        let plan = scene.plan();
        let found = plan.notices.iter().find(|n| n.rule == entry);
        assert!(found.is_some_and(|n| n.severity == Severity::Block), "{entry}: {:?}", plan.notices);
        assert!(!plan.workable);
    }
}

/// X10: silicone comes near a coating only when it is laid.
#[test]
fn silicone_stays_behind_a_coating() {
    let mut scene = quiet();
    scene.package("P4", &[]);
    let plan = scene.plan();
    let silicone = ["H08", "H09"].into_iter().filter(|step| plan.has(step));
    assert!(silicone.into_iter().all(|step| plan.place("H04") < plan.place(step)));
    kept_apart(Handbook::standard(), &plan).unwrap();
}

/// X13: shampoo is added only where the handbook's row has it, and nothing else is ever added to a product.
#[test]
fn only_the_rows_of_the_handbook_add_shampoo() {
    let mut seen = 0;
    for package in ["P1", "P2", "P3", "P4", "P5", "P6", "P8", "P9"] {
        let mut scene = quiet();
        scene.find(Zone::Tail, Contaminant::Film, 3);
        scene.find(Zone::Trim, Contaminant::Moss, 2);
        scene.package(package, &[]);
        for line in scene.plan().lines {
            for mix in &line.mixes {
                let rows = Handbook::standard().products_of(&line.step);
                let row = rows.into_iter().find(|row| row.product == mix.product).unwrap();
                assert_eq!(
                    mix.shampoo_ml > 0.0,
                    row.shampoo_ml_per_l.is_some(),
                    "{} {}",
                    line.step,
                    mix.product
                );
                seen += usize::from(mix.shampoo_ml > 0.0);
            }
        }
    }
    assert!(seen > 0);
    // X12 is the order of filling: the mix's own text.
    assert_eq!(
        Handbook::standard().mixing.iter().filter(|e| e.verdict == MixVerdict::FillingOrder).count(),
        1
    );
}

/// Every entry of the table is one of these kinds, so none is forgotten when a row is added.
#[test]
fn the_table_holds_thirteen_entries_of_known_kinds() {
    let handbook = Handbook::standard();
    let of = |verdict| {
        let ids = handbook.mixing.iter().filter(move |e| e.verdict == verdict).map(|e| e.id.as_str());
        ids.collect::<Vec<_>>().join(" ")
    };
    assert_eq!(of(MixVerdict::RinseBetween), "X01 X02 X03 X07");
    assert_eq!(of(MixVerdict::Never), "X04 X05 X06 X08 X11 X13");
    assert_eq!(of(MixVerdict::NeverWhileWet), "X10");
    assert_eq!((of(MixVerdict::Banned), of(MixVerdict::FillingOrder)), ("X09".into(), "X12".into()));
}
