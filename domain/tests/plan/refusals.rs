//! Input no plan can be made from is refused with the pointer of the value at fault; what the day forbids is no
//! error but a plan that says so.

use crate::scene::{Ask, Scene, day, quiet, technician, time};
use chrono::{NaiveDate, NaiveDateTime, TimeDelta};
use domain::handbook::Severity;
use domain::inspection::Contaminant;
use domain::site::HourRange;
use domain::site::water::Water;
use domain::vehicle::{Coat, Exposure, Substrate, Zone};

fn water(ph: f64, calcium_mg_l: f64) -> Water {
    Water { ph, tds_mg_l: 300.0, calcium_mg_l, alkalinity_mg_l: 120.0, water_c: 12.0 }
}

/// Pointer of the fault and how to make it.
const FAULTS: &[(&str, fn(&mut Scene))] = &[
    ("/package", |s| s.package("P99", &[])),
    ("/package", |s| s.package("P7", &[])),
    ("/options/0", |s| s.package("P2", &["H04"])),
    ("/done/1", |s| s.done("A01 Z99")),
    ("/start", |s| s.start = NaiveDateTime::MAX),
    ("/window_end", |s| s.window_end = Some(day(8, 59))),
    ("/window_end", |s| s.window_end = Some(NaiveDateTime::MAX)),
    ("/utc_offset_min", |s| s.utc_offset_min = 18 * 60 + 1),
    ("/crew", |s| s.crew.clear()),
    ("/crew", |s| s.crew = vec![technician("Quisk"); 9]),
    ("/vehicle/finish", |s| s.vehicle.finish = Substrate::Glass),
    ("/vehicle/surfaces/1/zone", |s| {
        s.surface(Zone::Doors, Substrate::FilmWrap, &[]);
        s.surface(Zone::Doors, Substrate::MattFinish, &[]);
    }),
    ("/vehicle/surfaces/0/zone", |s| s.surface(Zone::SoftTop, Substrate::TextileTop, &[])),
    ("/vehicle/surfaces/0/substrate", |s| s.surface(Zone::Windscreen, Substrate::ClearCoat, &[])),
    ("/vehicle/surfaces/0/substrate", |s| s.surface(Zone::Tyre, Substrate::Glass, &[])),
    ("/vehicle/surfaces/0/substrate", |s| s.surface(Zone::Doors, Substrate::TextileTop, &[])),
    ("/vehicle/repainted_on", |s| {
        s.vehicle.finish = Substrate::FreshPaint;
        s.vehicle.repainted_on = Some(s.start.date() - TimeDelta::days(91));
    }),
    ("/vehicle/repainted_on", |s| s.vehicle.repainted_on = Some(NaiveDate::MIN)),
    ("/vehicle/repainted_zones/0", |s| s.vehicle.repainted_zones = vec![Zone::BedInner]),
    ("/vehicle/solar_absorptance", |s| s.vehicle.solar_absorptance = Some(1.01)),
    ("/vehicle/solar_absorptance", |s| s.vehicle.solar_absorptance = Some(f64::NAN)),
    ("/vehicle/paint_thickness_um", |s| s.vehicle.paint_thickness_um = Some(f64::INFINITY)),
    ("/vehicle/paint_scatter_um", |s| s.vehicle.paint_scatter_um = Some(-1.0)),
    ("/vehicle/coats/0/protection", |s| s.coat("lacquer")),
    ("/vehicle/coats/0/zone", |s| s.vehicle.coats = vec![coat(Some(Zone::BedInner), day(0, 0).date())]),
    ("/vehicle/coats/0/applied_on", |s| s.vehicle.coats = vec![coat(None, NaiveDate::MAX)]),
    ("/vehicle/exposures/0/share", |s| s.vehicle.exposures = vec![exposure("coast", f64::NAN)]),
    ("/vehicle/exposures/0/kind", |s| s.vehicle.exposures = vec![exposure("moon", 0.5)]),
    ("/inspection/findings/1/zone", |s| s.find(Zone::BedInner, Contaminant::Film, 1)),
    ("/inspection/findings/1/age_h", |s| s.find_aged(Zone::Roof, Contaminant::Bird, 1, -1.0)),
    ("/inspection/findings/1/age_h", |s| s.find_aged(Zone::Roof, Contaminant::Bird, 1, f64::NAN)),
    ("/inspection/readings/0/zone", |s| s.read(Zone::Overcab, 20.0)),
    ("/inspection/readings/0/panel_c", |s| s.read(Zone::Roof, 120.1)),
    ("/inspection/readings/0/panel_c", |s| s.read(Zone::Roof, f64::NEG_INFINITY)),
    ("/inspection/scratched/1", |s| s.inspection.scratched = vec![Zone::Doors, Zone::BedInner]),
    ("/site/heading_deg", |s| s.site.heading_deg = Some(400.0)),
    ("/site/latitude", |s| s.site.latitude = Some(90.1)),
    ("/site/longitude", |s| s.site.longitude = Some(f64::NAN)),
    ("/site/turbidity", |s| s.site.turbidity = Some(0.9)),
    ("/site/hardness_mg_l", |s| s.site.hardness_mg_l = Some(-0.1)),
    ("/site/water/ph", |s| s.site.water = Some(water(14.1, 150.0))),
    ("/site/water/calcium_mg_l", |s| s.site.water = Some(water(7.0, f64::NAN))),
    ("/site/water/calcium_mg_l", |s| {
        s.site.hardness_mg_l = Some(149.9);
        s.site.water = Some(water(7.0, 150.0));
    }),
    ("/site/people_downwind_m", |s| s.site.people_downwind_m = Some(f64::INFINITY)),
    ("/site/next_vehicle_m", |s| s.site.next_vehicle_m = Some(f64::NAN)),
    ("/site/water_restriction", |s| s.site.water_restriction = Some(4)),
    ("/site/machine_hours", |s| s.site.machine_hours = Some(HourRange { from: time(22, 0), to: time(6, 0) })),
    ("/site/shade/0", |s| s.site.shade = vec![HourRange { from: time(9, 0), to: time(9, 0) }]),
    ("/weather/hours/3/at", |s| s.weather.hours.swap(2, 3)),
    ("/weather/hours/0/at", |s| s.weather.hours[0].at = NaiveDateTime::MIN),
    ("/weather/hours/9/air_c", |s| s.weather.hours[9].air_c = f64::NAN),
    ("/weather/hours/9/humidity", |s| s.weather.hours[9].humidity = 1.01),
    ("/weather/hours/9/wind_m_s", |s| s.weather.hours[9].wind_m_s = -0.1),
    ("/weather/hours/9/gust_m_s", |s| s.weather.hours[9].gust_m_s = Some(f64::INFINITY)),
    ("/weather/hours/9/sun_w_m2", |s| s.weather.hours[9].sun_w_m2 = Some(1500.1)),
    ("/weather/hours/9/rain_mm_h", |s| s.weather.hours[9].rain_mm_h = f64::NAN),
    ("/kit/tank_l", |s| s.kit.tank_l = f64::NAN),
    ("/kit/battery_kwh", |s| s.kit.battery_kwh = -1.0),
    ("/kit/equipment/0", |s| s.kit.equipment.insert(0, "wand".into())),
    ("/kit/stock_ml/elixir", |s| {
        s.kit.stock_ml.insert("elixir".into(), 1.0);
    }),
    ("/kit/stock_ml/iron_remover", |s| {
        s.kit.stock_ml.insert("iron_remover".into(), f64::INFINITY);
    }),
    ("/last_salted_on", |s| s.last_salted_on = Some(NaiveDate::MAX)),
    ("/waivers/0/rule", |s| s.waive("R99", &[], &["D07"])),
    ("/waivers/0", |s| s.waive("R35", &[], &[])),
    ("/waivers/0/steps", |s| s.waive("R43", &[], &["E03"])),
    ("/waivers/0/zones/1", |s| s.waive("R35", &[Zone::Roof, Zone::BedInner], &[])),
    ("/waivers/0/steps/0", |s| s.waive("R60", &[], &["Z99"])),
    ("/waivers/0/steps/1", |s| s.waive("R60", &[], &["D03", "D05"])),
    ("/waivers/0/steps/0", |s| s.waive("R60", &[], &["C02"])),
    ("/waivers/1/by", |s| {
        s.waive("R43", &[], &[]);
        s.waive("R45", &[], &[]);
        s.waivers[1].by = " ".into();
    }),
    ("/waivers/0/at", |s| {
        s.waive("R43", &[], &[]);
        s.waivers[0].at = NaiveDateTime::MAX;
    }),
    ("/kit/vehicles_served/wand", |s| {
        s.kit.vehicles_served.insert("wand".into(), 1);
    }),
];

fn coat(zone: Option<Zone>, applied_on: NaiveDate) -> Coat {
    Coat { protection: "wax".into(), zone, applied_on }
}

fn exposure(kind: &str, share: f64) -> Exposure {
    Exposure { kind: kind.into(), share }
}

#[test]
fn contradictions_and_numbers_out_of_range_are_refused_with_their_pointer() {
    for (index, (pointer, break_it)) in FAULTS.iter().enumerate() {
        let mut scene = quiet();
        break_it(&mut scene);
        let error = scene.try_plan().map(|plan| plan.workable).expect_err(pointer);
        assert_eq!(error.pointer, *pointer, "fault {index}: {error}");
        assert!(!error.detail.is_empty());
    }
}

fn blocks(scene: &Scene) -> Vec<String> {
    let plan = scene.plan();
    plan.notices.iter().filter(|n| n.severity == Severity::Block).map(|n| n.rule.clone()).collect()
}

#[test]
fn no_weather_is_a_question() {
    let mut scene = quiet();
    scene.weather.hours.clear();
    let plan = scene.plan();
    assert!(plan.workable && plan.questions.iter().any(|q| q.pointer == "/weather/hours"));
    assert_eq!(plan.questions.iter().filter(|q| q.pointer == "/weather/hours").count(), 1);
}

#[test]
fn a_job_below_the_horizon_stops_at_what_needs_light() {
    let mut scene = quiet();
    scene.start = day(23, 0);
    scene.site.machine_hours = Some(HourRange { from: time(0, 0), to: time(23, 59) });
    assert!(blocks(&scene).contains(&"R64".to_string()));
}

#[test]
fn a_polar_night_has_no_sunset_and_a_plan_all_the_same() {
    let mut scene = quiet();
    scene.site.latitude = Some(89.0);
    assert!(scene.try_plan().is_ok());
}

#[test]
fn a_panel_of_95_c_is_refused_by_the_rule() {
    let mut scene = quiet();
    scene.read(Zone::Roof, 95.0);
    assert!(blocks(&scene).contains(&"R01".to_string()));
}

#[test]
fn a_van_without_a_foamer_says_what_to_load() {
    let mut scene = quiet();
    scene.leave_at_home(&["pump_foamer"]);
    assert!(scene.plan().workable, "the lance will do");
    scene.leave_at_home(&["foam_lance"]);
    let plan = scene.plan();
    let missing = plan.notices.iter().find(|n| n.rule == "kit").unwrap();
    assert!(!plan.workable && missing.severity == Severity::Block);
    assert_eq!(missing.unblock.as_deref(), Some("load the pump foamer or foam lance"));
    assert_eq!(missing.steps, ["B09", "C01"]);
    assert!(plan.line("B09").reasons.iter().any(|r| r.id == "kit"));
}

#[test]
fn a_van_with_nothing_listed_is_a_question_and_small_tools_are_advice() {
    let mut scene = quiet();
    scene.kit.equipment.clear();
    assert!(scene.plan().questions.iter().any(|q| q.pointer == "/kit/equipment"));
    let mut scene = quiet();
    scene.leave_at_home(&["brush", "mitt"]);
    let plan = scene.plan();
    let advice = plan.notices.iter().find(|n| n.rule == "kit").unwrap();
    assert!(plan.workable && advice.severity == Severity::Advise && advice.text.contains("brush, mitt"));
}

#[test]
fn precedence_that_contradicts_itself_is_an_error_of_the_handbook() {
    let circle = serde_json::json!({"precedence": {"Q48": {"before": "F02", "after": "D05"}}});
    let faults = domain::handbook::Handbook::standard().with_overrides(&circle).expect_err("a circle");
    assert!(faults.iter().any(|f| f.pointer.starts_with("/precedence")), "{faults:?}");
}
