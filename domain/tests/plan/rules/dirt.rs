//! R46-R51, R68, R69.

use super::{Case, asks, fires, silent};
use crate::scene::{Ask, Scene};
use chrono::TimeDelta;
use domain::handbook::Severity::{Adjust, Advise, Warn};
use domain::inspection::Contaminant::{Bird, Cement, FalloutIron, HardwaterDeposit, Insect, RoadPaint, Salt};
use domain::vehicle::{VehicleClass, Zone};

fn lime(s: &mut Scene, panel_c: f64, age_h: f64) {
    s.find_aged(Zone::Roof, Bird, 1, age_h);
    s.read(Zone::Roof, panel_c);
}

fn rings(s: &mut Scene, stay: Option<bool>) {
    s.find(Zone::Bonnet, HardwaterDeposit, 1);
    s.inspection.ring_stays_after_acid = stay;
}

fn warm(s: &mut Scene, kind: &str, air_c: f64) {
    s.expose(kind);
    s.each_hour(|h| h.air_c = air_c);
}

pub const CASES: &[Case] = &[
    // At 20 C bird lime marks bare clear coat after 48 h, at 45 C after 6 h (common practice).
    fires("R46", Adjust, "marks in about 48 h at 20 C", "bird lime at 20 C", |s| lime(s, 20.0, 30.0))
        .and(|p| assert!(p.place("B08") < p.place("C02"))),
    fires("R46", Adjust, "expect prints", "bird lime at 45 C for 6 h", |s| lime(s, 45.0, 6.0)),
    fires("R46", Adjust, "marks in about 12 h at 45 C", "the same on wax, which doubles the time", |s| {
        lime(s, 45.0, 6.0);
        s.coat("wax");
    }),
    fires("R46", Adjust, "insects", "insects", |s| s.find(Zone::FrontBumper, Insect, 1))
        .and(|p| assert!(p.place("B07") < p.place("C02"))),
    silent("R46", "looked for and not found", |s| s.find(Zone::FrontBumper, Insect, 0)),
    fires("R47", Warn, "bird lime 47 h", "47 h old at 40.1 C", |s| lime(s, 40.1, 47.0)),
    silent("R47", "47 h old at 40 C", |s| lime(s, 40.0, 47.0)),
    silent("R47", "48 h old at 40.1 C", |s| lime(s, 40.1, 48.0)),
    asks("R47", "/inspection/findings/1/age_h", "of unknown age at 50 C", |s| {
        s.find(Zone::Roof, Bird, 1);
        s.read(Zone::Roof, 50.0);
    }),
    fires("R48", Adjust, "2 iron rounds", "fallout of grade 3 on the roof", |s| {
        s.find(Zone::Roof, FalloutIron, 3)
    })
    .and(|p| {
        let twice = p.line("D03");
        // Sedan: painted area of 13.99 m2, of it 1.70 at grade 3; 80 ml/m2 and two rounds (common practice).
        assert!((twice.mixes[0].made_up_ml - 2.0 * 80.0 * twice.quantity).abs() < 1e-6);
    }),
    silent("R48", "fallout of grade 2 on the roof", |s| s.find(Zone::Roof, FalloutIron, 2)),
    silent("R48", "fallout of grade 3 on the doors", |s| s.find(Zone::Doors, FalloutIron, 3)),
    fires("R49", Warn, "cement 23 h", "cement 23 h old", |s| s.find_aged(Zone::Doors, Cement, 1, 23.0)),
    silent("R49", "cement 24 h old", |s| s.find_aged(Zone::Doors, Cement, 1, 24.0)),
    fires("R49", Warn, "road paint 3 h", "road paint 3 h old", |s| {
        s.find_aged(Zone::Rocker, RoadPaint, 1, 3.0)
    }),
    asks("R49", "/inspection/findings/1/age_h", "cement of unknown age", |s| s.find(Zone::Doors, Cement, 1)),
    fires("R50", Adjust, "quote polishing", "rings that stay", |s| rings(s, Some(true))).and(|p| {
        let zones = &p.line("D07").zones;
        assert!(!zones.contains(&Zone::Bonnet) && zones.contains(&Zone::Roof));
    }),
    silent("R50", "rings that go", |s| rings(s, Some(false))),
    asks("R50", "/inspection/ring_stays_after_acid", "rings not tested", |s| rings(s, None)),
    fires("R51", Adjust, "before the foam", "salt of grade 2", |s| s.find(Zone::Rocker, Salt, 2))
        .and(|p| assert!(p.place("B11") < p.place("B09"))),
    silent("R51", "salt of grade 1", |s| s.find(Zone::Rocker, Salt, 1)).and(|p| assert!(!p.has("B11"))),
    fires("R51", Warn, "rinseless", "salt of grade 2 and a rinseless wash", |s| {
        s.package("P8", &[]);
        s.find(Zone::Rocker, Salt, 2);
    })
    .and(|p| assert!(!p.has("B11"))),
    fires("R68", Advise, "7 days apart", "motorway at a mean of 15.1 C", |s| warm(s, "motorway_high", 15.1)),
    silent("R68", "motorway at a mean of 15 C", |s| warm(s, "motorway_high", 15.0)),
    silent("R68", "street parking at 25 C", |s| warm(s, "street_open", 25.0)),
    asks("R68", "/vehicle/exposures", "warm, and nobody knows where it drives", |s| {
        s.vehicle.exposures.clear();
        s.each_hour(|h| h.air_c = 15.1);
    }),
    fires("R69", Advise, "7 days ago", "salted a week ago and 5.1 C", |s| salted(s, 5.1, 7)).and(|p| {
        assert!(p.notices.iter().any(|n| n.rule == "R69" && n.text.contains("within 14 days")));
    }),
    silent("R69", "salted a week ago and 5 C", |s| salted(s, 5.0, 7)),
    silent("R69", "salted six days ago", |s| salted(s, 12.0, 6)),
    fires("R69", Advise, "180 days ago", "salted half a year ago", |s| salted(s, 12.0, 180)),
    silent("R69", "salted a day longer ago", |s| salted(s, 12.0, 181)),
    silent("R69", "garaged while roads were salted", |s| {
        salted(s, 12.0, 7);
        s.vehicle.exposures.retain(|e| e.kind != "winter_salt");
    }),
    asks("R69", "/last_salted_on", "salted roads, nobody knows when", |s| warm(s, "winter_salt", 5.1)),
    asks("R69", "/vehicle/exposures", "nobody knows where it drives", |s| {
        salted(s, 12.0, 7);
        s.vehicle.exposures.clear();
    }),
    silent("R69", "the flush itself", |s| {
        salted(s, 12.0, 7);
        s.vehicle.class = VehicleClass::Sedan;
        s.package("P5", &[]);
    }),
];

/// A vehicle of salted roads, so many days after the last salting.
fn salted(s: &mut Scene, air_c: f64, days: i64) {
    warm(s, "winter_salt", air_c);
    s.last_salted_on = Some(s.start.date() - TimeDelta::days(days));
}
