//! Three worked plans with their numbers (common practice; the arithmetic stands beside them).

use crate::scene::{Ask, Scene, finding, hour, quiet};
use chrono::{NaiveDate, NaiveDateTime, TimeDelta};
use domain::handbook::Severity;
use domain::inspection::Contaminant;
use domain::plan::{JobPlan, Notice};
use domain::site::{Weather, WeatherHour};
use domain::vehicle::{Colour, VehicleClass, Zone};

fn notice<'p>(plan: &'p JobPlan, rule: &str) -> &'p Notice {
    plan.notices.iter().find(|n| n.rule == rule).unwrap_or_else(|| panic!("no {rule}: {:?}", plan.notices))
}

/// A hot clear day in June: 17 C at dawn, 250 W/m2 at 08:00, 25 C and 900 W/m2 at 13:00, 2 m/s.
fn hot_day() -> Weather {
    const AIR_C: [f64; 24] = [
        17., 17., 16., 16., 16., 16., 17., 17., 17., 19., 21., 23., 24., 25., 25., 25., 24., 23., 22., 20.,
        19., 18., 18., 17.,
    ];
    const SUN_W_M2: [f64; 24] = [
        0., 0., 0., 0., 0., 10., 60., 140., 250., 400., 560., 720., 830., 900., 880., 780., 620., 460., 300.,
        140., 40., 0., 0., 0.,
    ];
    let hours = (0..72).map(|n: usize| WeatherHour {
        at: june(0, 0) + TimeDelta::hours(n as i64),
        sun_w_m2: Some(SUN_W_M2[n % 24]),
        wind_m_s: 2.0,
        ..hour(AIR_C[n % 24])
    });
    Weather { hours: hours.collect() }
}

fn june(hour: u32, minute: u32) -> NaiveDateTime {
    NaiveDate::from_ymd_opt(2031, 6, 17).unwrap().and_hms_opt(hour, minute, 0).unwrap()
}

/// Black SUV for a deep cleanse on that day.
fn black_suv(start: NaiveDateTime) -> Scene {
    let mut scene = quiet();
    scene.vehicle.class = VehicleClass::Suv;
    scene.vehicle.colour = Colour::Black;
    scene.weather = hot_day();
    scene.start = start;
    scene
}

#[test]
fn a_black_suv_at_one_in_the_afternoon_is_refused_and_works_at_half_past_six() {
    for awning in [false, true] {
        let mut scene = black_suv(june(13, 0));
        if !awning {
            scene.leave_at_home(&["awning"]);
        }
        let plan = scene.plan();
        let heat = notice(&plan, "R01");
        assert!(!plan.workable && heat.severity == Severity::Block, "{heat:?}");
        assert!(heat.steps.contains(&"D03".to_string()) && heat.steps.contains(&"D07".to_string()));
        // By the rule of thumb the bonnet has 25 + 0.95 x 900 / (12 + 4 x 2) = 68 C; the balance in use, which sees a
        // clear sky, says 74 C.
        assert_eq!((25.0 + 0.95 * 900.0 / (12.0 + 4.0 * 2.0_f64)).round(), 68.0);
        let bonnet_c = plan.line("D03").dwell.as_ref().unwrap().panel_c.unwrap();
        assert!((bonnet_c - 68.0).abs() < 7.0, "{bonnet_c}");
        assert_eq!(notice(&plan, "R04").severity, Severity::Warn);
        // Every start it offers is one at which the heat no longer stops it.
        let offered = starts(heat.unblock.as_deref().unwrap());
        assert!(offered.iter().any(|at| *at < june(11, 0)), "{offered:?}");
        for at in offered {
            scene.start = at;
            let offered = scene.plan();
            assert!(offered.notices.iter().all(|n| n.rule != "R01" || n.severity < Severity::Block), "{at}");
        }
        scene.start = june(6, 30);
        let dawn = scene.plan();
        assert!(dawn.workable && !dawn.has("A07"), "{:?}", dawn.notices);
        // The iron goes on before eight, when the horizontals are at 17 + 0.95 x 250 / 20 = 29 C.
        let iron = dawn.line("D03");
        assert!(iron.end_min < 90.0 && iron.dwell.as_ref().unwrap().panel_c.unwrap() < 30.0);
        horizontals_first_in_small_sections(&dawn);
    }
}

/// Horizontals first, one panel at a time where the sun is on it (a bonnet has 1.75 m2), shady side first.
fn horizontals_first_in_small_sections(plan: &JobPlan) {
    let horizontals = notice(plan, "R04").unblock.as_deref().unwrap();
    assert!(
        horizontals.ends_with("the shady side and the horizontals within the first 90 min"),
        "{horizontals}"
    );
    assert_eq!(plan.line("D03").zones[..2], [Zone::Roof, Zone::Bonnet]);
    assert_eq!(plan.line("E06").zone_order, "horizontals first");
    assert_eq!(plan.line("E01").zone_order, "one panel, then next");
    assert!(notice(plan, "R06").text.contains("one or two panels at a time, each rinsed before the next"));
    assert!(plan.line("D07").dwell.as_ref().unwrap().section_m2().unwrap() <= 1.0);
    assert!(notice(plan, "R05").text.starts_with("shady side first, sunny side last"));
}

/// The times that the warning names are those at which it begins and ends to hold.
#[test]
fn the_hours_without_chemistry_on_the_roof_are_true() {
    let mut scene = black_suv(june(13, 0));
    scene.leave_at_home(&["awning"]);
    let warning = notice(&scene.plan(), "R04").text.clone();
    assert!(warning.contains("be done with the horizontals before "), "{warning}");
    assert!(warning.contains("no chemistry on this roof before "), "{warning}");
    let [until, from] = starts(&warning)[..] else { panic!("{warning}") };
    assert!(
        june(5, 0) < until && until < june(10, 0) && june(16, 0) < from && from < june(22, 0),
        "{warning}"
    );
    let warns = |scene: &Scene| scene.plan().notices.iter().any(|n| n.rule == "R04");
    scene.start = from + TimeDelta::minutes(10);
    assert!(!warns(&scene), "cool from {from} on");
    scene.start = from - TimeDelta::minutes(20);
    assert!(warns(&scene), "still hot before {from}");
}

/// The customer insists on one o'clock: after awning and water a wash is possible, rinseless or not; in the open
/// neither is, and decontamination is refused either way, with the reason (the test before).
#[test]
fn the_black_suv_can_be_washed_at_one_under_the_awning() {
    for package in ["P1", "P8"] {
        let mut scene = black_suv(june(13, 0));
        scene.package(package, &[]);
        let plan = scene.plan();
        let stops: Vec<_> = plan.notices.iter().filter(|n| n.unblock.is_some()).collect();
        assert!(plan.workable, "{package}: {stops:?}");
        assert!(plan.place("A07") < plan.place("B01") && plan.place("B01") < plan.place("B02"));
        scene.leave_at_home(&["awning"]);
        let open = scene.plan();
        assert!(!open.workable && notice(&open, "R01").severity == Severity::Block);
    }
}

/// The sun goes round: the side that is washed last in the morning is in the shade in the afternoon.
#[test]
fn the_shady_side_changes_during_the_job_and_the_plan_says_when() {
    let scene = black_suv(june(12, 15));
    let plan = scene.plan();
    let sides = notice(&plan, "R05");
    assert!(
        sides.text.contains("comes into the sun at ") && sides.text.contains("goes into the shade at "),
        "{sides:?}"
    );
    let order = |step: &str| plan.line(step).zone_order.clone();
    assert_ne!(
        order("B05").split_once("; ").map(|o| o.1.to_string()),
        order("F02").split_once("; ").map(|o| o.1.to_string())
    );
}

/// The clock times in a text such as `start by 08:15 or at 17:30 under the awning`.
fn starts(text: &str) -> Vec<NaiveDateTime> {
    let clocks = text.split_whitespace().filter_map(|word| word.trim_end_matches(',').split_once(':'));
    clocks.filter_map(|(h, m)| Some(june(h.parse().ok()?, m.parse().ok()?))).collect()
}

/// White large van, tail of film grade 4, tank of 250 l, a garden tap, keep-clean wash.
fn white_van() -> Scene {
    let mut scene = quiet();
    scene.vehicle.class = VehicleClass::LargeVan;
    scene.vehicle.colour = Colour::White;
    scene.package("P1", &[]);
    scene.inspection.findings = vec![finding(Zone::Tail, Contaminant::Film, 4)];
    scene.kit.tank_l = 250.0;
    scene
}

#[test]
fn a_white_van_gets_alkali_behind_a_second_hand_and_the_customers_tap() {
    let alone = white_van().plan();
    assert_eq!(notice(&alone, "R32").severity, Severity::Warn);
    // Nobody does the roof of a large van alone: 2.7 m.
    assert!(!alone.workable && notice(&alone, "R31").severity == Severity::Block);
    let mut scene = white_van();
    scene.second_hand();
    let plan = scene.plan();
    assert!(plan.workable, "{:?}", plan.notices);
    assert_eq!(notice(&plan, "R32").severity, Severity::Adjust);
    assert!(plan.place("B06") < plan.place("B09") && notice(&plan, "R37").severity == Severity::Adjust);
    // B06: tail 3.9, rockers 1.4, bumpers 2.25 m2; 65 ml/m2 make 0.49 l of 15:1, that is 31 ml; 15 ml of shampoo a
    // litre make 7 ml. Both are poured in steps of 5 ml.
    let alkali = plan.line("B06");
    assert!((alkali.quantity - 7.55).abs() < 1e-9);
    let mix = &alkali.mixes[0];
    assert!((mix.made_up_ml - 490.75).abs() < 1e-9 && mix.water_to_product == Some(15.0));
    assert_eq!(((mix.made_up_ml / 16.0).round(), mix.pour_ml), (31.0, 35.0));
    assert_eq!(((mix.made_up_ml * 0.015).round(), mix.shampoo_ml), (7.0, 10.0));
    // 261 l at grade 2 by washer already are more than 250 l less a tenth.
    assert!(!plan.totals.by_hose && plan.totals.water_l > 250.0 * 0.9);
    let water = notice(&plan, "R18");
    assert!(water.severity == Severity::Adjust && water.text.contains("customer's tap through the washer"));
    assert!(plan.notices.iter().all(|n| n.rule != "R20"));
    scene.leave_at_home(&["pressure_washer"]);
    assert!(notice(&scene.plan(), "R20").text.contains("22.7 against 7.6"));
}

/// Estate near the railway under a coating of one year: the bag test finds grade 2 after the booked wash.
#[test]
fn a_coated_estate_near_the_rail_is_upgraded_at_the_wash() {
    let mut scene = quiet();
    scene.vehicle.class = VehicleClass::Estate;
    scene.coat("ceramic_1y");
    scene.expose("near_rail");
    let washed = "A01 A02 A03 A04 A05 B01 B03 B04 B02 B05 B09 B10 C01 C02 C03";
    scene.done(washed);
    for zone in [Zone::Roof, Zone::Bonnet] {
        scene.find(zone, Contaminant::FalloutIron, 2);
    }
    scene.extra_work.approved = Some(true);
    let plan = scene.plan();
    let steps: Vec<&str> = plan.lines.iter().map(|l| l.step.as_str()).collect();
    let expected = "D03 D04 E06 E01 D05 D07 D14 F01 F02 F04 H03 H06 I01 I02 I03 I04 I05";
    assert_eq!(steps.join(" "), expected);
    assert_eq!(plan.line("D03").max_loops, 2, "two rounds");
    assert_eq!(notice(&plan, "R45").severity, Severity::Adjust);
    assert!(plan.workable, "{:?}", plan.notices);
    // Had it been booked as such, alkali behind would be thinned to 30:1 on the coating.
    scene.done.clear();
    let booked = scene.plan();
    let alkali = booked.lines.iter().filter(|l| l.step == "B06").flat_map(|l| &l.mixes);
    assert_eq!(alkali.map(|m| m.water_to_product).collect::<Vec<_>>(), [Some(30.0)]);
}
