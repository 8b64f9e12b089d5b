//! What would lift a block lifts it: each way that a block names and the input can express is gone, and the block is
//! gone with it.

use crate::scene::{Scene, day, quiet, time};
use chrono::TimeDelta;
use domain::handbook::{Handbook, Severity};
use domain::inspection::Contaminant;
use domain::plan::JobPlan;
use domain::site::{Drain, HourRange};
use domain::vehicle::{Substrate, VehicleClass, Zone};
use std::collections::BTreeSet;

/// A rule that blocks, how, the words of one way out, and that way.
type Way = (&'static str, fn(&mut Scene), &'static str, fn(&mut Scene));

fn hot_sealant(s: &mut Scene) {
    s.package("P3", &[]);
    s.leave_at_home(&["awning"]);
    s.start = day(12, 0);
    s.each_hour(|h| h.sun_w_m2 = Some(600.0));
    s.hours(6, 11, |h| h.sun_w_m2 = Some(60.0));
    s.hours(17, 24, |h| h.sun_w_m2 = Some(60.0));
}

fn dried_soak(s: &mut Scene) {
    s.package("P9", &[]);
    s.find_aged(Zone::Roof, Contaminant::Bird, 1, 3.0);
    s.read(Zone::Roof, 85.0);
    s.each_hour(|h| (h.air_c, h.humidity, h.wind_m_s) = (25.0, 0.4, 2.0));
}

fn coating(s: &mut Scene) {
    s.package("P4", &[]);
}

fn windy_coating(s: &mut Scene) {
    coating(s);
    s.each_hour(|h| h.wind_m_s = 6.0);
}

fn damp_coating(s: &mut Scene) {
    coating(s);
    s.each_hour(|h| h.humidity = 0.85);
}

fn wet_coating(s: &mut Scene) {
    coating(s);
    s.each_hour(|h| h.rain_mm_h = 0.5);
}

fn rain_after_coating(s: &mut Scene) {
    coating(s);
    s.hours(20, 21, |h| h.rain_mm_h = 1.0);
}

fn van(s: &mut Scene) {
    s.vehicle.class = VehicleClass::LargeVan;
    s.package("P1", &[]);
}

fn van_in_wind(s: &mut Scene) {
    van(s);
    s.second_hand();
    s.each_hour(|h| h.wind_m_s = 9.0);
}

fn van_without_platform(s: &mut Scene) {
    van(s);
    s.second_hand();
    s.leave_at_home(&["platform"]);
}

fn soft_top(s: &mut Scene) {
    s.vehicle.class = VehicleClass::RoadsterSofttop;
    s.package("P7", &["H10"]);
    s.done("A01 A02 A03 A04 A05 B01 B02 B03 B04 B05 B09 B10 C01 C06 C02 C03 C04 F01 F02");
}

fn calm(s: &mut Scene) {
    s.each_hour(|h| (h.wind_m_s, h.gust_m_s) = (1.0, Some(2.0)));
}

fn cold_coating(s: &mut Scene) {
    coating(s);
    s.each_hour(|h| h.air_c = 6.0);
}

fn frost_until_ten(s: &mut Scene) {
    s.hours(0, 10, |h| h.air_c = -2.0);
    s.start = day(8, 0);
}

fn dry_van(s: &mut Scene) {
    s.site.tap = Some(false);
    s.kit.tank_l = 150.0;
}

fn restricted(s: &mut Scene) {
    s.site.water_restriction = Some(2);
    s.leave_at_home(&["runoff_kit"]);
}

fn storm_drain(s: &mut Scene) {
    s.site.drain = Some(Drain::Storm);
    s.leave_at_home(&["runoff_kit"]);
    s.package("P1", &[]);
}

fn strip_wash_on_lawn(s: &mut Scene) {
    coating(s);
    s.site.drain = Some(Drain::Vegetated);
    s.leave_at_home(&["runoff_kit"]);
}

fn quiet_morning(s: &mut Scene) {
    s.site.machine_hours = Some(HourRange { from: time(10, 0), to: time(20, 0) });
}

fn saturday(s: &mut Scene) {
    s.start = day(9, 0) + TimeDelta::days(4);
    s.weather.hours.iter_mut().for_each(|h| h.at += TimeDelta::days(4));
    s.site.saturday_allowed = Some(false);
}

fn generator_only(s: &mut Scene) {
    s.site.generator_allowed = Some(false);
    s.site.mains = Some(false);
    s.kit.battery_kwh = 0.0;
}

fn weak_battery(s: &mut Scene) {
    s.site.mains = Some(false);
    s.leave_at_home(&["generator"]);
    s.kit.battery_kwh = 0.01;
}

fn no_rcd(s: &mut Scene) {
    s.leave_at_home(&["rcd", "generator"]);
    s.kit.battery_kwh = 0.0;
}

fn strong_acid(s: &mut Scene) {
    s.shop(serde_json::json!({"product_classes": {"waterspot_remover": {"ph_use_min": 1.9}}}));
}

fn refused_tar(s: &mut Scene) {
    s.find(Zone::Rocker, Contaminant::Tar, 1);
    s.extra_work.approved = Some(false);
}

fn bar_after_polish(s: &mut Scene) {
    s.package("P4", &["E03"]);
    s.done("G01 G02 G03");
}

fn bared(s: &mut Scene) {
    s.coat("wax");
    s.package("P1", &[]);
    s.find(Zone::Tail, Contaminant::Film, 2);
    s.kit.stock_ml.insert("silica_spray".into(), 0.0);
}

fn matt_sale(s: &mut Scene) {
    s.vehicle.finish = Substrate::MattFinish;
    s.package("P6", &[]);
}

fn fresh(s: &mut Scene) {
    s.vehicle.repainted_on = Some(s.start.date() - TimeDelta::days(10));
}

fn short_iron(s: &mut Scene) {
    s.kit.stock_ml.insert("iron_remover".into(), 100.0);
}

fn worn_towel(s: &mut Scene) {
    s.kit.vehicles_served.insert("clay_towel".into(), 300);
}

fn at_dusk(s: &mut Scene) {
    s.start = day(18, 0);
    s.site.machine_hours = Some(HourRange { from: time(6, 0), to: time(23, 0) });
}

fn fluoride(s: &mut Scene) {
    s.kit.stock_ml.insert("fluoride_acid".into(), 500.0);
}

fn thunder(s: &mut Scene) {
    s.hours(10, 11, |h| h.thunder = true);
}

const WAYS: &[Way] = &[
    ("R01", hot_sealant, "start by 0", |s| s.start = offered(s, "R01", 0)),
    ("R01", hot_sealant, "or at 1", |s| s.start = offered(s, "R01", 1)),
    ("R01", hot_sealant, "roof", roof),
    ("R07", dried_soak, "a cooler hour", |s| s.inspection.readings[0].panel_c = 25.0),
    ("R09", windy_coating, "a roof", roof),
    ("R09", windy_coating, "a calmer day", calm),
    ("R10", van_in_wind, "another day", calm),
    ("R10", van_in_wind, "leave these zones out", |s| {
        s.waive("R10", &[Zone::Roof, Zone::Tail, Zone::RearQuarter], &[])
    }),
    (
        "R10",
        |s| {
            soft_top(s);
            s.each_hour(|h| h.wind_m_s = 9.0);
        },
        "calm day",
        calm,
    ),
    (
        "R11",
        |s| {
            soft_top(s);
            s.each_hour(|h| h.wind_m_s = 4.0);
        },
        "calm day",
        calm,
    ),
    ("R13", frost_until_ten, "no water before 10:00", |s| s.start = day(10, 0)),
    ("R13", frost_until_ten, "a covered place", roof),
    ("R15", wet_coating, "a closed, ventilated place", roof),
    ("R16", rain_after_coating, "a closed, ventilated place", roof),
    ("R17", damp_coating, "another day", |s| s.each_hour(|h| h.humidity = 0.6)),
    ("R18", dry_van, "refill stop", |s| s.refill_stops = count(s, "R18")),
    ("R18", dry_van, "tap", |s| s.site.tap = Some(true)),
    ("R18", dry_van, "the rinseless package", |s| s.package("P8", &[])),
    ("R19", restricted, "the rinseless package", |s| s.package("P8", &[])),
    ("R19", restricted, "washer and runoff kit", |s| s.kit.equipment.push("runoff_kit".into())),
    ("R23", storm_drain, "the runoff kit", |s| s.kit.equipment.push("runoff_kit".into())),
    ("R23", storm_drain, "drains to the sewer", |s| s.site.drain = Some(Drain::Sewer)),
    ("R23", storm_drain, "the rinseless package", |s| s.package("P8", &[])),
    ("R24", strip_wash_on_lawn, "the runoff kit", |s| s.kit.equipment.push("runoff_kit".into())),
    ("R24", strip_wash_on_lawn, "drains to the sewer", |s| s.site.drain = Some(Drain::Sewer)),
    ("R26", quiet_morning, "start inside these hours", |s| s.start = day(10, 0)),
    ("R26", saturday, "another day", |s| s.start += TimeDelta::days(2)),
    ("R26", generator_only, "a battery", |s| s.kit.battery_kwh = 9.0),
    ("R26", generator_only, "the customer's mains", |s| s.site.mains = Some(true)),
    ("R28", |s| s.site.next_vehicle_m = Some(1.0), "move one", |s| s.site.next_vehicle_m = Some(3.0)),
    ("R29", weak_battery, "more energy", |s| s.kit.battery_kwh = 9.0),
    ("R29", weak_battery, "mains", |s| s.site.mains = Some(true)),
    ("R30", no_rcd, "residual-current device", |s| s.kit.equipment.push("rcd".into())),
    ("R30", no_rcd, "more battery", |s| s.kit.battery_kwh = 9.0),
    ("R31", strong_acid, "a second technician", Scene::second_hand),
    ("R12", cold_coating, "warmer hours", |s| s.each_hour(|h| h.air_c = 12.0)),
    ("R31", van, "a second technician", Scene::second_hand),
    ("R31", van, "leave these zones out", |s| s.waive("R31", &[Zone::Roof], &[])),
    ("R35", van_without_platform, "a van with the platform", |s| s.kit.equipment.push("platform".into())),
    ("R35", van_without_platform, "leave these zones out", |s| s.waive("R35", &[Zone::Roof], &[])),
    ("R38", refused_tar, "approve", |s| s.extra_work.approved = Some(true)),
    ("R38", refused_tar, "leave the iron step out", |s| s.waive("R38", &[], &["D03", "E01"])),
    ("R43", bar_after_polish, "consent in writing", |s| s.waive("R43", &[], &[])),
    ("R45", bared, "a protection step", |s| {
        s.kit.stock_ml.insert("silica_spray".into(), 5000.0);
    }),
    ("R45", bared, "consent to a bare surface", |s| s.waive("R45", &[], &[])),
    ("R52", matt_sale, "another package", |s| s.package("P1", &[])),
    ("R52", matt_sale, "leave G03 out", |s| s.waive("R52", &[], &["G03", "H02"])),
    ("R52", matt_sale, "leave H02 out", |s| s.waive("R52", &[], &["G03", "H02"])),
    ("R54", fresh, "the wash instead", |s| s.package("P1", &[])),
    ("R54", fresh, "wait until", |s| s.vehicle.repainted_on = Some(s.start.date() - TimeDelta::days(60))),
    ("R60", short_iron, "restock", |s| {
        s.kit.stock_ml.insert("iron_remover".into(), 9000.0);
    }),
    ("R60", short_iron, "leave D03", |s| s.waive("R60", &[], &["D03", "D04", "E01"])),
    ("R63", worn_towel, "a new clay towel", |s| {
        s.kit.vehicles_served.insert("clay_towel".into(), 0);
    }),
    ("R64", at_dusk, "an earlier start", |s| s.start = day(9, 0)),
    ("R66", fluoride, "take it off the van", |s| {
        s.kit.stock_ml.remove("fluoride_acid");
    }),
    ("R67", thunder, "go on at 11:30", |s| s.start = day(11, 30)),
    (
        "kit",
        |s| s.leave_at_home(&["pump_foamer", "foam_lance"]),
        "load the",
        |s| {
            s.kit.equipment.push("pump_foamer".into());
        },
    ),
    (
        "P8",
        |s| {
            s.package("P8", &[]);
            s.find(Zone::Tail, Contaminant::Film, 3);
        },
        "foam and contact wash",
        |s| s.package("P1", &[]),
    ),
];

/// Rules of severity block in the table that always find a way themselves: they drop, swap or warn.
const NEVER_BLOCKS: [&str; 14] =
    ["R02", "R03", "R14", "R22", "R40", "R44", "R50", "R53", "R55", "R56", "R65", "R20", "R21", "R46"];

fn roof(s: &mut Scene) {
    s.site.covered = Some(true);
}

fn plan(s: &mut Scene) -> JobPlan {
    s.plan()
}

/// The way out in words.
fn unblock(s: &mut Scene, rule: &str) -> String {
    let plan = plan(s);
    let blocks = plan.notices.iter().filter(|n| n.rule == rule && n.severity == Severity::Block);
    blocks.filter_map(|n| n.unblock.clone()).collect::<Vec<_>>().join(" | ")
}

/// The first or second start that the block names.
fn offered(s: &mut Scene, rule: &str, which: usize) -> chrono::NaiveDateTime {
    let text = unblock(s, rule);
    let clocks: Vec<_> =
        text.split_whitespace().filter_map(|w| w.trim_end_matches(',').split_once(':')).collect();
    let (hour, minute) = clocks[which];
    day(hour.parse().unwrap(), minute.parse().unwrap())
}

/// The number that the way out begins with.
fn count(s: &mut Scene, rule: &str) -> u32 {
    unblock(s, rule).split_whitespace().next().unwrap().parse().unwrap()
}

#[test]
fn giving_what_a_block_asks_for_lifts_it() {
    let mut failed = Vec::new();
    for (rule, block, words, lift) in WAYS {
        let mut scene = quiet();
        block(&mut scene);
        let text = unblock(&mut scene, rule);
        if !text.contains(words) {
            failed.push(format!("{rule} {words}: offers {text:?}"));
            continue;
        }
        lift(&mut scene);
        let after = unblock(&mut scene, rule);
        if !after.is_empty() {
            failed.push(format!("{rule} {words}: still {after:?}"));
        }
    }
    assert!(failed.is_empty(), "{} of {}:\n{}", failed.len(), WAYS.len(), failed.join("\n"));
}

#[test]
fn every_rule_that_can_block_is_walked() {
    let walked: BTreeSet<&str> = WAYS.iter().map(|way| way.0).collect();
    let block = |rule: &str| Handbook::standard().rule(rule).is_some_and(|r| r.severity == Severity::Block);
    let missing: Vec<&str> = Handbook::standard()
        .rules
        .iter()
        .map(|r| r.id.as_str())
        .filter(|&rule| block(rule) && !walked.contains(rule) && !NEVER_BLOCKS.contains(&rule))
        .collect();
    assert_eq!(missing, Vec::<&str>::new());
}
