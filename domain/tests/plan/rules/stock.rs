//! R58-R63, R65, R66, R70.

use super::{Case, asks, fires, silent};
use crate::scene::{Ask, Scene, grade};
use domain::handbook::Severity::{Adjust, Block, Warn};
use domain::inspection::Contaminant;
use domain::vehicle::{VehicleClass, Zone};
use serde_json::json;

fn unseen(s: &mut Scene) {
    s.inspection.findings.clear();
}

fn tar(s: &mut Scene, silent_min: u32) {
    s.find(Zone::Rocker, Contaminant::Tar, 1);
    s.extra_work.silent_min = silent_min;
}

/// Stock of a product that is just the plan's need and a fifth, and a little more.
fn stock(s: &mut Scene, product: &str, more_ml: f64) {
    let need_ml = s.plan().totals.product_ml[product];
    s.kit.stock_ml.insert(product.into(), need_ml * 1.2 + more_ml);
}

fn served(s: &mut Scene, vehicles: u32) {
    s.kit.vehicles_served.insert("clay_towel".into(), vehicles);
}

/// Clay bar after the towel, polishing sold with it.
fn clay_bar(s: &mut Scene, vehicles: u32) {
    s.package("P4", &["E03"]);
    s.extra_work.approved = Some(true);
    s.kit.vehicles_served.insert("clay_bar".into(), vehicles);
}

/// First aid to bird lime; its only product is the soak.
fn first_aid(s: &mut Scene) {
    s.package("P9", &[]);
    s.find(Zone::Roof, Contaminant::Bird, 1);
}

/// First foam of an SUV, 23.6 m2 of outer skin less what the foam does not reach.
fn foam(s: &mut Scene, dose_ml: f64) {
    s.shop(json!({"step_products": {"B09.foam_prewash_neutral": {"dose_ml": dose_ml}}}));
    s.vehicle.class = VehicleClass::Suv;
    s.package("P1", &[]);
}

pub const CASES: &[Case] = &[
    fires("R58", Adjust, "quote grade 1 to 2", "nobody has looked", unseen),
    silent("R58", "somebody has looked", |_| {}),
    asks("R58", "/booked_grade", "nobody has looked or asked", |s| {
        unseen(s);
        s.booked_grade = None;
    }),
    asks("R58", "/extra_work/approved", "film of grade 3 all over and grade 1 booked", |s| {
        for zone in [Zone::Roof, Zone::Bonnet, Zone::Doors, Zone::RearQuarter, Zone::Tail, Zone::WheelFace] {
            s.find(zone, Contaminant::Film, 3);
            s.find(zone, Contaminant::BrakeIron, 3);
        }
    }),
    fires("R59", Adjust, "no answer in 10 min", "silent for 10 min", |s| tar(s, 10))
        .and(|p| assert!(!p.has("D01") && !p.has("D12"))),
    silent("R59", "silent for 9 min", |s| tar(s, 9)).and(|p| assert!(p.has("D01"))),
    fires("R59", Adjust, "not approved", "refused", |s| {
        tar(s, 0);
        s.extra_work.approved = Some(false);
    }),
    silent("R59", "approved", |s| {
        tar(s, 30);
        s.extra_work.approved = Some(true);
    }),
    asks("R59", "/extra_work/approved", "not answered yet", |s| tar(s, 0)),
    silent("R60", "stock just covers the plan and a fifth", |s| stock(s, "iron_remover", 0.01)),
    fires("R60", Block, "iron remover", "iron remover just short", |s| stock(s, "iron_remover", -1.0)).and(
        |p| {
            assert!(p.has("D03"), "the package is sold with it");
        },
    ),
    fires("R60", Adjust, "same family", "foam short, shampoo on board", |s| {
        stock(s, "foam_prewash_neutral", -1.0)
    })
    .and(|p| assert_eq!(p.line("B09").mixes[0].product, "clay_lube")),
    fires("R60", Adjust, "same family", "insect remover short, the terpene type on board", |s| {
        s.find(Zone::FrontBumper, Contaminant::Insect, 1);
        s.kit.stock_ml.insert("bug_remover".into(), 0.0);
    })
    .and(|p| assert_eq!(p.line("B07").mixes[0].product, "citrus_prewash")),
    fires("R60", Adjust, "left out H07", "an option that the stock does not reach", |s| {
        s.package("P3", &["H07"]);
        s.kit.stock_ml.insert("glass_repellent".into(), 1.0);
    })
    .and(|p| assert!(!p.has("H07"))),
    asks("R60", "/kit/stock_ml", "nobody counted", |s| s.kit.stock_ml.clear()),
    // 4.5 l of a 6 l vessel is the largest fill; 23.58 m2 take 4480 ml at 190 and 4504 ml at 191 ml/m2.
    silent("R61", "one fill of the foamer, nearly three quarters", |s| foam(s, 190.0))
        .and(|p| assert!((4400.0..4500.0).contains(&p.line("B09").mixes[0].made_up_ml))),
    fires("R61", Adjust, "75 %", "a little more than three quarters", |s| foam(s, 191.0))
        .and(|p| assert_eq!(p.line("B09").mixes[0].fills, 2)),
    // 32:1 in a volume V takes V/33 (arithmetic), rounded up to 5 ml.
    fires("R62", Adjust, "volume / (r + 1)", "foam at 32:1", |s| s.package("P1", &[])).and(|p| {
        let mix = &p.line("B09").mixes[0];
        assert_eq!(mix.pour_ml, (mix.made_up_ml / 33.0 / 5.0).ceil() * 5.0);
    }),
    fires("R62", Adjust, "volume / (r + 1)", "first aid with a soak thinned 1:1", |s| {
        s.shop(json!({"step_products": {"B08.lime_softener": {"water_to_product": 1.0}}}));
        first_aid(s);
    }),
    silent("R62", "the same soak as it comes", first_aid).and(|p| assert!(!p.line("B08").mixes.is_empty())),
    silent("R63", "199 vehicles", |s| served(s, 199)),
    fires("R63", Warn, "served 200", "200 vehicles: look at it", |s| served(s, 200)),
    fires("R63", Warn, "served 299", "299 vehicles", |s| served(s, 299)),
    fires("R63", Block, "served 300", "300 vehicles: retire it", |s| served(s, 300)),
    silent("R63", "a clay bar of 4 vehicles", |s| clay_bar(s, 4)).and(|p| assert!(p.has("E03"))),
    fires("R63", Warn, "clay bar has served 5", "a clay bar of 5 vehicles: look at it", |s| clay_bar(s, 5)),
    fires("R63", Warn, "clay bar has served 14", "a clay bar of 14 vehicles", |s| clay_bar(s, 14)),
    fires("R63", Block, "clay bar has served 15", "a clay bar of 15 vehicles: retire it", |s| {
        clay_bar(s, 15)
    }),
    asks("R63", "/kit/vehicles_served/clay_bar", "nobody counted the bar", |s| {
        clay_bar(s, 0);
        s.kit.vehicles_served.remove("clay_bar");
    }),
    silent("R63", "a mitt of 49 washes", |s| {
        s.kit.vehicles_served.insert("mitt".into(), 49);
    }),
    fires("R63", Warn, "look at it", "a mitt of 50 washes", |s| {
        s.kit.vehicles_served.insert("mitt".into(), 50);
    }),
    fires("R63", Warn, "take a fresh one", "a mitt of 100 washes", |s| {
        s.kit.vehicles_served.insert("mitt".into(), 100);
    }),
    silent("R63", "small towels of 99 washes", |s| {
        s.kit.vehicles_served.insert("towel_small".into(), 99);
    }),
    fires("R63", Warn, "towel small has served 100", "small towels of 100 washes", |s| {
        s.kit.vehicles_served.insert("towel_small".into(), 100);
    })
    .and(|p| assert!(p.workable)),
    asks("R63", "/kit/vehicles_served/clay_towel", "nobody counted", |s| s.kit.vehicles_served.clear()),
    // Concentrates of pH 2 or less and 11.5 or more count as corrosive (CLP annex I, 3.2.3.1.2).
    fires("R65", Adjust, "goggles", "a soak of pH 11.5", |s| soak_of(s, 7.0, 11.5)),
    silent("R65", "a soak of pH 11.4", |s| soak_of(s, 7.0, 11.4)),
    fires("R65", Adjust, "goggles", "a soak of pH 2", |s| soak_of(s, 2.0, 7.0)),
    silent("R65", "a soak of pH 2.1", |s| soak_of(s, 2.1, 7.0)),
    fires("R66", Block, "banned", "a bottle of fluoride acid on the van", |s| {
        s.kit.stock_ml.insert("fluoride_acid".into(), 1.0);
    }),
    silent("R66", "none of it", |s| {
        s.kit.stock_ml.insert("fluoride_acid".into(), 0.0);
    }),
    fires("R66", Block, "banned", "a product sheet that names fluoride", |s| {
        s.shop(json!({"product_classes": {"waterspot_remover": {"chemistry": ["acid", "fluoride"]}}}))
    }),
    fires("R70", Adjust, "log product", "iron remover and acid", |_| {}),
    fires("R70", Adjust, "log product", "first aid with a soak of solvent", |s| soak_with(s, "solvent")),
    silent("R70", "the same with alkali", |s| soak_with(s, "alkali")),
    silent("R70", "a soak of neither", first_aid),
];

fn soak_with(s: &mut Scene, chemistry: &str) {
    s.shop(json!({"product_classes": {"lime_softener": {"chemistry": [chemistry]}}}));
    first_aid(s);
}

fn soak_of(s: &mut Scene, low: f64, high: f64) {
    s.shop(json!({"product_classes": {"lime_softener": {"ph_neat_min": low, "ph_neat_max": high}}}));
    first_aid(s);
    s.booked_grade = Some(grade(1));
}
