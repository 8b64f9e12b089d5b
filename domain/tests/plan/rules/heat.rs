//! R01-R08. Under a roof a panel is exactly as warm as the air, so limits can be met to a tenth.

use super::{Case, asks, fires, silent};
use crate::scene::{Ask, Scene, day, time};
use domain::handbook::Severity::{Adjust, Block, Warn};
use domain::inspection::Contaminant;
use domain::site::HourRange;
use domain::vehicle::{Colour, Substrate, Zone};

fn covered_at(s: &mut Scene, air_c: f64) {
    s.site.covered = Some(true);
    s.each_hour(|h| h.air_c = air_c);
}

/// Sun, and no awning to hide from it.
fn sunny(s: &mut Scene) {
    s.leave_at_home(&["awning"]);
    s.each_hour(|h| h.sun_w_m2 = Some(700.0));
}

fn matt(s: &mut Scene, absorptance: f64) {
    s.vehicle.finish = Substrate::MattFinish;
    s.vehicle.solar_absorptance = Some(absorptance);
    s.package("P1", &[]);
}

pub const CASES: &[Case] = &[
    silent("R01", "D07 at its 25 C", |s| covered_at(s, 25.0)),
    fires("R01", Adjust, "rinse them cool", "D07 over 25 C, water cools it", |s| covered_at(s, 25.1)).and(
        |p| {
            let reason = p.line("D07").reasons.iter().find(|r| r.id == "R01").unwrap();
            assert!(
                reason.text.contains("25 C at 1") && reason.text.contains("limit 25 C"),
                "{}",
                reason.text
            );
            assert!(p.workable);
        },
    ),
    fires("R01", Adjust, "wet-type", "silica spray over its 30 C goes on wet", |s| covered_at(s, 30.1))
        .and(|p| assert!(p.workable && p.place("D14") < p.place("H03") && p.place("H03") < p.place("F02"))),
    fires("R01", Adjust, "rinse them cool", "sealant at its 30 C", |s| {
        covered_at(s, 30.0);
        s.package("P3", &[]);
    })
    .and(|p| assert!(p.workable)),
    fires("R01", Block, "limit 30 C", "sealant over 30 C goes on dry panels", |s| {
        covered_at(s, 30.1);
        s.package("P3", &[]);
    })
    .and(|p| assert!(!p.workable)),
    fires("R01", Block, "bonnet: panel 95 C", "an infrared reading of 95 C", |s| s.read(Zone::Bonnet, 95.0)),
    fires("R01", Adjust, "awning up", "sealant in a sun that the awning keeps off", |s| {
        s.each_hour(|h| h.sun_w_m2 = Some(600.0));
        s.package("P3", &[]);
        s.start = day(12, 0);
    })
    .and(|p| assert!(p.workable && p.has("A07"))),
    fires("R01", Block, "H02", "the same without the awning", |s| {
        s.each_hour(|h| h.sun_w_m2 = Some(600.0));
        s.package("P3", &[]);
        s.start = day(12, 0);
        s.leave_at_home(&["awning"]);
    }),
    asks("R01", "/weather/hours", "no weather at all", |s| s.weather.hours.clear()),
    asks("R01", "/site/latitude", "neither the place nor its sun known", |s| {
        s.site.latitude = None;
        s.each_hour(|h| h.sun_w_m2 = None);
    }),
    fires("R02", Adjust, "5 K lower", "matt grey", |s| matt(s, 0.75)).and(|p| {
        let reason = &p.line("B09").reasons.iter().find(|r| r.id == "R02").unwrap().text;
        assert_eq!(reason, "matt and dark: limit 35 C");
    }),
    silent("R02", "matt, not quite dark", |s| matt(s, 0.749)),
    silent("R02", "dark, not matt", |s| s.vehicle.colour = Colour::Black),
    fires("R03", Adjust, "wheel 30 C", "wheel a tenth over 30 C", |s| s.read(Zone::WheelFace, 30.1)),
    silent("R03", "wheel at 30 C", |s| s.read(Zone::WheelFace, 30.0)),
    fires("R03", Adjust, "wheel 80 C", "hot barrel behind a cool face", |s| {
        s.read(Zone::WheelFace, 20.0);
        s.read(Zone::WheelBarrel, 80.0);
    })
    .and(|p| assert!(p.workable && p.place("B01") < p.place("B02"))),
    fires("R03", Adjust, "driven 14 min ago", "driven a minute too lately", |s| {
        s.inspection.parked_min = Some(14)
    }),
    silent("R03", "rested for 15 min", |s| s.inspection.parked_min = Some(15)),
    // Brakes rest 15 to 30 min: between them only a reading decides.
    asks("R03", "/inspection/readings", "rested for 29 min", |s| s.inspection.parked_min = Some(29)),
    silent("R03", "rested for 30 min", |s| s.inspection.parked_min = Some(30))
        .and(|p| assert!(p.questions.is_empty(), "{:?}", p.questions)),
    asks("R03", "/inspection/parked_min", "neither read nor known", |s| s.inspection.parked_min = None),
    fires("R04", Warn, "in the booked window", "25.1 C within the window", |s| {
        s.site.covered = Some(true);
        s.window_end = Some(day(15, 0));
        s.hours(14, 16, |h| h.air_c = 25.1);
    }),
    silent("R04", "25 C within the window", |s| {
        s.site.covered = Some(true);
        s.window_end = Some(day(15, 0));
        s.hours(14, 16, |h| h.air_c = 25.0);
    }),
    silent("R04", "hot an hour after the window", |s| {
        s.site.covered = Some(true);
        s.window_end = Some(day(13, 59));
        s.hours(14, 16, |h| h.air_c = 35.0);
    }),
    fires("R05", Adjust, "shady side first", "sun", sunny).and(|p| {
        // Bonnet to the south: before noon the left side, which looks east, is in the sun.
        let order = &p.line("C02").zone_order;
        assert!(
            order.contains("rear and right side first") || order.contains("right side and rear first"),
            "{order}"
        );
        assert!(order.contains("left side in the sun last"), "{order}");
    }),
    fires("R05", Adjust, "shady side first", "shade until ten", |s| {
        sunny(s);
        s.site.shade = vec![HourRange { from: time(6, 0), to: time(10, 0) }];
    }),
    silent("R05", "shade until after the end", |s| {
        sunny(s);
        s.site.shade = vec![HourRange { from: time(6, 0), to: time(15, 0) }];
    }),
    silent("R05", "overcast", |_| {}),
    asks("R05", "/site/heading_deg", "sun from an unknown side", |s| {
        sunny(s);
        s.site.heading_deg = None;
    }),
    fires("R06", Adjust, "one or two panels", "iron remover and acid in the sun", sunny)
        .and(|p| assert!(p.line("D03").reasons.iter().any(|r| r.id == "R06" && r.text.contains("m2")))),
    silent("R06", "a wash in the sun", |s| {
        sunny(s);
        s.package("P1", &[]);
    }),
    silent("R06", "iron remover and acid under cloud", |_| {}),
    // B08 on the roof works at least 120 s; the film model gives the drying time of the panel read.
    fires("R07", Adjust, "mist it again", "dries just before it has worked", |s| spot_on_roof(s, 69.0)).and(
        |p| {
            let dwell = p.line("B08").dwell.as_ref().unwrap();
            assert!((100.0..120.0).contains(&dwell.dry_s.unwrap()), "{dwell:?}");
        },
    ),
    silent("R07", "dries just after it has worked", |s| spot_on_roof(s, 67.0))
        .and(|p| assert!((120.0..140.0).contains(&p.line("B08").dwell.as_ref().unwrap().dry_s.unwrap()))),
    fires("R07", Block, "does not help", "dries in less than half the time", |s| spot_on_roof(s, 85.0))
        .and(|p| assert!(p.line("B08").dwell.as_ref().unwrap().dry_s.unwrap() < 60.0)),
    // B08 may stay 600 s.
    fires("R08", Adjust, "timer", "outlasts the label by a little", |s| spot_on_roof(s, 35.0))
        .and(|p| assert!((600.0..700.0).contains(&p.line("B08").dwell.as_ref().unwrap().dry_s.unwrap()))),
    silent("R08", "dries a little before the label's end", |s| spot_on_roof(s, 37.0))
        .and(|p| assert!((500.0..600.0).contains(&p.line("B08").dwell.as_ref().unwrap().dry_s.unwrap()))),
];

/// First aid to bird lime on a roof of a given temperature: the only dwell in the plan is B08's.
fn spot_on_roof(s: &mut Scene, panel_c: f64) {
    s.package("P9", &[]);
    s.done("I01");
    s.inspection.findings.clear();
    s.find_aged(Zone::Roof, Contaminant::Bird, 1, 3.0);
    s.read(Zone::Roof, panel_c);
    s.each_hour(|h| (h.air_c, h.humidity, h.wind_m_s) = (25.0, 0.4, 2.0));
}
