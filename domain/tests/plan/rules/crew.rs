//! R31-R35.

use super::{Case, fires, silent};
use crate::scene::{Ask, Scene};
use domain::handbook::Severity::{Adjust, Block, Warn};
use domain::inspection::Contaminant;
use domain::vehicle::{VehicleClass, Zone};
use serde_json::json;

fn van(s: &mut Scene, film: u8) {
    s.vehicle.class = VehicleClass::LargeVan;
    s.package("P1", &[]);
    s.find(Zone::Tail, Contaminant::Film, film);
}

pub const CASES: &[Case] = &[
    fires("R31", Adjust, "check in every 120 min", "alone", |_| {}),
    silent("R31", "two of them", Scene::second_hand),
    fires("R31", Block, "no platform", "alone with a van's roof", |s| van(s, 1)),
    fires("R31", Block, "no acid stronger", "alone with an acid below pH 2", |s| {
        s.shop(json!({"product_classes": {"waterspot_remover": {"ph_use_min": 1.9}}}))
    }),
    fires("R31", Adjust, "alone", "alone with an acid of pH 2", |s| {
        s.shop(json!({"product_classes": {"waterspot_remover": {"ph_use_min": 2.0}}}))
    })
    .and(|p| assert!(p.workable)),
    fires("R31", Block, "trainee", "a trainee alone with any acid", |s| s.crew[0].trainee = true),
    fires("R32", Adjust, "film grade 3", "a van of film grade 3, two of them", |s| {
        van(s, 3);
        s.second_hand();
    }),
    silent("R32", "a van of film grade 2", |s| {
        van(s, 2);
        s.second_hand();
    }),
    silent("R32", "a sedan of film grade 3", |s| s.find(Zone::Tail, Contaminant::Film, 3)),
    fires("R32", Warn, "one pair of hands", "a van of film grade 3 and one technician", |s| van(s, 3)),
    fires("R32", Warn, "2 zones at grade 4", "two zones of grade 4", |s| {
        s.find(Zone::Tail, Contaminant::Film, 4);
        s.find(Zone::Roof, Contaminant::FalloutIron, 4);
    }),
    silent("R32", "one zone of grade 4, twice over", |s| {
        s.find(Zone::Tail, Contaminant::Film, 4);
        s.find(Zone::Tail, Contaminant::Salt, 4);
    }),
    fires("R33", Adjust, "opposite sides", "two on one car", Scene::second_hand),
    silent("R33", "one on one car", |_| {}),
    fires("R34", Adjust, "in sight", "wax hazes for 180 s", |s| s.package("P3", &["H01"]))
        .and(|p| assert!(p.line("H01").reasons.iter().any(|r| r.id == "R34"))),
    silent("R34", "wax hazes for 179 s", |s| {
        s.shop(json!({"steps": {"H01": {"dwell_min_s": 179}}}));
        s.package("P3", &["H01"]);
    })
    .and(|p| assert!(p.has("H01"))),
    fires("R35", Adjust, "two-tread step", "the roof of an SUV", |s| s.vehicle.class = VehicleClass::Suv),
    fires("R35", Block, "none on the van", "the same without the step", |s| {
        s.vehicle.class = VehicleClass::Suv;
        s.leave_at_home(&["step"]);
    }),
    fires("R35", Block, "platform and a second person", "a van's roof without the platform", |s| {
        van(s, 1);
        s.second_hand();
        s.leave_at_home(&["platform"]);
    }),
    silent("R35", "a sedan is reached from the ground", |s| s.leave_at_home(&["step", "platform"])),
];
