//! R36-R45.

use super::{Case, asks, fires, silent};
use crate::scene::{Ask, Scene};
use domain::handbook::Severity::{Adjust, Advise, Block};
use domain::inspection::Contaminant;
use domain::site::Drain;
use domain::vehicle::{VehicleClass, Zone};
use serde_json::json;

fn wash_with_film(s: &mut Scene, of: u8) {
    s.package("P1", &[]);
    s.find(Zone::Tail, Contaminant::Film, of);
}

fn beads(s: &mut Scene, grade: u8) {
    wash_with_film(s, 2);
    s.inspection.bead_grade = Some(grade);
}

/// A soft-top refresh that turned into polishing after the clay left roughness, with the drying aid chosen.
fn polish_after_aid(s: &mut Scene) {
    s.vehicle.class = VehicleClass::RoadsterSofttop;
    s.package("P7", &["F03"]);
    s.find(Zone::Bonnet, Contaminant::FalloutIron, 2);
    s.done("A01 A02 A03 A04 A05 E06 E02");
    s.extra_work.approved = Some(true);
}

pub const CASES: &[Case] = &[
    fires("R36", Adjust, "wheels first", "a wash", |s| s.package("P1", &[]))
        .and(|p| assert!(p.place("B02") < p.place("B05") && p.place("B05") < p.place("C02"))),
    silent("R36", "first aid to spots", |s| s.package("P9", &[])),
    silent("R36", "the wheels are done", |s| {
        s.package("P1", &[]);
        s.done("A01 A02 A03 A04 A05 B01 B03 B04 B02");
    })
    .and(|p| assert!(p.has("C02"))),
    fires("R37", Adjust, "15:1", "film grade 2 on the tail", |s| wash_with_film(s, 2))
        .and(|p| assert!(p.place("B06") < p.place("B09"))),
    silent("R37", "film grade 1 on the tail", |s| wash_with_film(s, 1)).and(|p| assert!(!p.has("B06"))),
    silent("R37", "film grade 3, on the doors only", |s| {
        s.package("P1", &[]);
        s.find(Zone::Doors, Contaminant::Film, 3);
    }),
    silent("R37", "a tail that catches less film than a box", |s| {
        s.shop(json!({"zones": {"sedan.tail": {"s_film": 2}}}));
        wash_with_film(s, 3);
    }),
    fires("R38", Adjust, "tar known", "tar on the rockers", |s| s.find(Zone::Rocker, Contaminant::Tar, 1))
        .and(|p| assert!(p.place("D01") < p.place("D12") && p.place("D12") < p.place("D03"))),
    silent("R38", "no tar", |s| s.find(Zone::Rocker, Contaminant::Tar, 0)),
    fires("R38", Block, "not in the plan", "tar whose removal was refused", |s| {
        s.find(Zone::Rocker, Contaminant::Tar, 1);
        s.extra_work.approved = Some(false);
    }),
    silent("R38", "tar on a wash without iron remover", |s| {
        s.package("P1", &[]);
        s.find(Zone::Rocker, Contaminant::Tar, 1);
    }),
    fires("R39", Adjust, "spot it last", "sap found after the iron rinse", |s| {
        s.find(Zone::Roof, Contaminant::SapCured, 1);
        s.done("D03 D04 E06 E01 D05");
    })
    .and(|p| assert!(p.place("D07") < p.place("D11") && p.place("D11") < p.place("D14"))),
    silent("R39", "sap found before it", |s| {
        s.find(Zone::Roof, Contaminant::SapCured, 1);
        s.done("D03 D04 E06 E01");
    }),
    fires("R40", Adjust, "pH strip 6 to 8", "alkali, iron remover and acid", |_| {})
        .and(|p| assert!(p.place("B06") < p.place("D03") && p.place("D05") < p.place("D07"))),
    silent("R40", "no acid", |s| s.package("P5", &[])),
    fires("R41", Advise, "saves a rinse", "iron remover and clay", |_| {}),
    fires("R41", Advise, "after the iron rinse", "clay chosen with lubricant", |s| s.package("P2", &["E02"]))
        .and(|p| assert!(p.place("D05") < p.place("E02") && !p.has("E01"))),
    silent("R41", "clay without iron remover", |s| s.package("P6", &[])).and(|p| assert!(p.has("E02"))),
    silent("R41", "iron remover without clay", |s| s.package("P5", &[])).and(|p| assert!(p.has("D03"))),
    silent("R41", "the clay is done", |s| s.done("D03 D04 E06 E01")).and(|p| assert!(p.has("D05"))),
    fires("R42", Advise, "bag grade 1", "acid follows the clay", |s| s.package("P6", &[])),
    silent("R42", "nothing follows the clay", |s| {
        s.package("P6", &[]);
        s.site.drain = Some(Drain::Vegetated);
        s.leave_at_home(&["runoff_kit"]);
    }),
    fires("R43", Adjust, "polishing follows", "clay bar before polishing", |s| {
        s.package("P4", &["E03"]);
        s.extra_work.approved = Some(true);
    })
    .and(|p| assert!(p.place("E03") < p.place("G03"))),
    fires("R43", Block, "marring", "clay bar after the polishing is done", |s| {
        s.package("P4", &["E03"]);
        s.done("G01 G02 G03");
    }),
    silent("R43", "polishing without clay bar", |s| s.package("P4", &[])),
    fires("R44", Adjust, "not F03", "polishing after a drying aid", polish_after_aid)
        .and(|p| assert!(p.has("F02") && !p.has("F03") && p.has("G03"))),
    silent("R44", "a drying aid and no polishing", |s| s.package("P1", &[])).and(|p| assert!(p.has("F03"))),
    fires("R45", Adjust, "renewed after", "a waxed car decontaminated", |s| s.coat("wax")),
    silent("R45", "a bare car decontaminated", |_| {}),
    silent("R45", "a waxed car washed with shampoo", |s| {
        s.coat("wax");
        wash_with_film(s, 1);
    })
    .and(|p| assert!(!p.has("H03"))),
    fires("R45", Adjust, "renewed after", "a waxed car washed with alkali: spray added", |s| {
        s.coat("wax");
        wash_with_film(s, 2);
    })
    .and(|p| assert!(p.has("H03"))),
    fires("R45", Block, "nothing renews it", "the same with no spray on the van", |s| {
        s.coat("wax");
        wash_with_film(s, 2);
        s.kit.stock_ml.insert("silica_spray".into(), 0.0);
    }),
    // No coat on record may be bare paint or a coat that nobody entered: beads tell.
    asks("R45", "/inspection/bead_grade", "washed with alkali, and nobody knows of a coat", |s| {
        wash_with_film(s, 2)
    })
    .and(|p| assert!(!p.has("H03"))),
    silent("R45", "the same on paint on which water lies flat", |s| beads(s, 2))
        .and(|p| assert!(p.questions.is_empty() && !p.has("H03"), "{:?}", p.questions)),
    fires("R45", Adjust, "renewed after", "the same on paint on which water beads", |s| beads(s, 3))
        .and(|p| assert!(p.questions.is_empty() && p.has("H03"), "{:?}", p.questions)),
    silent("R45", "washed with shampoo: nothing strips, nothing is asked", |s| wash_with_film(s, 1))
        .and(|p| assert!(p.questions.is_empty(), "{:?}", p.questions)),
    fires("R45", Adjust, "30:1", "a coated car: alkali thinned instead", |s| {
        s.coat("ceramic_1y");
        wash_with_film(s, 2);
    })
    .and(|p| {
        assert_eq!(p.line("B06").mixes[0].water_to_product, Some(30.0));
        assert!(!p.has("H03") && p.workable);
    }),
];
