//! What a shop's own cells make of a plan: each case has the value with which something happens and the one with which
//! it just does not. Standard values are common practice unless a case says otherwise.

use crate::scene::{Ask, Scene, finding, grade, quiet};
use domain::handbook::{Handbook, Severity};
use domain::inspection::{Contaminant, Evidence};
use domain::plan::{JobPlan, PlanLine};
use domain::site::Drain;
use domain::site::dwell::DwellAdvice;
use domain::vehicle::{VehicleClass, Zone};
use serde_json::{Value, json};

fn planned(change: impl Fn(&mut Scene), shop: Value) -> JobPlan {
    let mut scene = quiet();
    scene.shop(shop);
    change(&mut scene);
    scene.plan()
}

fn said<'p>(plan: &'p JobPlan, rule: &str) -> Vec<&'p str> {
    plan.notices.iter().filter(|n| n.rule == rule).map(|n| n.text.as_str()).collect()
}

fn faults(overrides: Value) -> Vec<String> {
    let refused = Handbook::standard().with_overrides(&overrides).err().unwrap_or_default();
    refused.into_iter().map(|fault| fault.pointer).collect()
}

// ---- pairs ----

/// Q27 wants the road paint off before the iron remover; a shop's own soft pair wants it after.
fn road_paint_both_ways(cost_min: f64) -> JobPlan {
    let road_paint = |s: &mut Scene| {
        s.find_aged(Zone::Rocker, Contaminant::RoadPaint, 1, 50.0);
        s.extra_work.approved = Some(true);
    };
    let own = json!({"before": "D03", "after": "D10", "cost_min": cost_min});
    planned(road_paint, json!({"precedence": {"Q26": own, "Q27": {"cost_min": 4}}}))
}

#[test]
fn of_two_soft_pairs_that_contradict_the_cheaper_is_given_up_and_its_cost_told() {
    let cheap = road_paint_both_ways(3.0);
    let told = said(&cheap, "Q26");
    assert!(
        told.iter().any(|t| t.starts_with("D03 before D10 given up") && t.ends_with("(cost 3 min)")),
        "{told:?}"
    );
    assert!(cheap.place("D10") < cheap.place("D03") && said(&cheap, "Q27").is_empty());
    let dear = road_paint_both_ways(5.0);
    let told = said(&dear, "Q27");
    assert!(
        told.iter().any(|t| t.starts_with("D10 before D03 given up") && t.ends_with("(cost 4 min)")),
        "{told:?}"
    );
    assert!(dear.place("D03") < dear.place("D10") && said(&dear, "Q26").is_empty());
}

#[test]
fn what_may_be_broken_has_a_cost_and_nothing_else_has() {
    assert_eq!(faults(json!({"precedence": {"Q26": {"cost_min": null}}})), ["/precedence/Q26/cost_min"]);
    assert_eq!(faults(json!({"precedence": {"Q30": {"cost_min": 5}}})), ["/precedence/Q30/cost_min"]);
    assert_eq!(faults(json!({"precedence": {"Q26": {"kind": "hard", "cost_min": null}}})), [""; 0]);
}

// ---- vessels (X13) ----

#[test]
fn shampoo_is_added_only_where_the_label_names_it_and_the_mixing_table_lets_it() {
    let acid = json!({"step_products": {"D07.waterspot_remover": {"shampoo_ml_per_l": 15}}});
    assert_eq!(faults(acid), ["/step_products/D07.waterspot_remover/shampoo_ml_per_l"]);
    assert_eq!(faults(json!({"step_products": {"D07.waterspot_remover": {"shampoo_ml_per_l": 0}}})), [""; 0]);
    assert_eq!(faults(json!({"step_products": {"B04.apc_alkaline": {"shampoo_ml_per_l": 15}}})), [""; 0]);
    // X07: anionic soap and a cationic product undo each other, whatever a label says.
    let cationic = json!({"product_classes": {"iron_remover": {"chemistry": ["cationic"]}}});
    assert_eq!(faults(cationic), ["/step_products/E01.iron_remover/shampoo_ml_per_l"]);
    let unnamed = json!({"product_classes": {"iron_remover": {"takes_shampoo": false}}});
    assert_eq!(faults(unnamed), ["/step_products/E01.iron_remover/shampoo_ml_per_l"]);
}

#[test]
fn a_shop_with_other_cups_pours_and_says_their_steps() {
    let pours = |step_ml: f64| {
        let plan = planned(|_| {}, json!({"rules": {"R62": {"parameters": {"round_up_ml": step_ml}}}}));
        assert!(said(&plan, "R62")[0].contains(&format!("rounded up to {step_ml:.0} ml")));
        plan.lines.iter().flat_map(|l| &l.mixes).map(|m| m.pour_each_ml / step_ml).collect::<Vec<_>>()
    };
    for step_ml in [5.0, 20.0] {
        let whole = |times: &f64| (times - times.round()).abs() < 1e-9;
        // Only what is poured neat and undivided from its own bottle may be less than a step.
        assert!(pours(step_ml).iter().all(whole), "{:?}", pours(step_ml));
    }
}

// ---- wind and tools ----

fn in_wind(package: &str, wind_m_s: f64, shop: Value) -> JobPlan {
    let scene = |s: &mut Scene| {
        s.package(package, &[]);
        s.each_hour(|h| h.wind_m_s = wind_m_s);
    };
    planned(scene, shop)
}

#[test]
fn a_package_is_refused_in_more_wind_than_it_is_sold_for() {
    let windy = in_wind("P4", 5.1, json!({}));
    assert!(said(&windy, "P4")[0].contains("5.1 m/s over 5 m/s") && !windy.workable);
    assert!(said(&in_wind("P4", 5.0, json!({})), "P4").is_empty());
    // A shop that polishes in no wind at all.
    let own = |m_s: f64| json!({"packages": {"P6": {"max_wind_m_s": m_s}}});
    let refused = in_wind("P6", 3.1, own(3.0));
    let notice = refused.notices.iter().find(|n| n.rule == "P6").unwrap();
    assert!(notice.severity == Severity::Block && notice.steps.contains(&"G03".to_string()), "{notice:?}");
    assert!(said(&in_wind("P6", 3.0, own(3.0)), "P6").is_empty());
}

#[test]
fn a_tool_has_its_own_wind_and_takes_its_own_time() {
    let weak = || json!({"equipment": {"awning": {"max_wind_m_s": 6}}});
    assert!(said(&in_wind("P2", 6.1, weak()), "R10")[0].contains("the awning stays in the van"));
    assert!(said(&in_wind("P2", 6.0, weak()), "R10").is_empty());
    // Drain cover and boom take 10 min, more than the 6 of setting up at grade 1.
    let by_storm_drain = |shop| planned(|s| s.site.drain = Some(Drain::Storm), shop).line("A05").minutes;
    assert_eq!(by_storm_drain(json!({})), 10.0);
    assert_eq!(by_storm_drain(json!({"equipment": {"runoff_kit": {"setup_min": 6}}})), 6.0);
    assert_eq!(planned(|_| {}, json!({})).line("A05").minutes, 6.0, "no kit is laid");
}

// ---- minutes and litres ----

#[test]
fn whoever_has_knelt_for_an_hour_goes_on_slower() {
    let dirty = |s: &mut Scene| {
        for zone in [Zone::WheelFace, Zone::WheelBarrel, Zone::Tyre, Zone::WheelArch, Zone::Rocker] {
            s.find(zone, Contaminant::Film, 4);
            s.find(zone, Contaminant::BrakeIron, 4);
        }
        s.extra_work.approved = Some(true);
    };
    let slower = |plan: &JobPlan| -> Vec<f64> {
        let kneeling = plan.lines.iter().filter(|l| l.zones.contains(&Zone::WheelFace) && l.zones.len() < 3);
        kneeling.map(|l| l.minutes / l.norm_minutes).collect()
    };
    let plan = planned(dirty, json!({}));
    let factors = slower(&plan);
    assert!((factors[0] - 1.0).abs() < 1e-9, "fresh knees: {factors:?}");
    assert!((factors.last().unwrap() - 1.15).abs() < 1e-9, "after an hour: {factors:?}");
    // In the step that crosses the hour only the minutes beyond it.
    assert!(factors.is_sorted() && factors.iter().any(|f| *f > 1.0 && *f < 1.15), "{factors:?}");
    let young = planned(dirty, json!({"factors": {"kneel_after_min": {"value": 1000}}}));
    assert!(slower(&young).iter().all(|f| (f - 1.0).abs() < 1e-9));
}

#[test]
fn an_ordinary_rinse_grows_where_it_carries_a_product_that_asks_for_more() {
    let foam_rinse = |shop: Value, insects: bool| {
        let scene = |s: &mut Scene| {
            s.package("P1", &[]);
            if insects {
                s.find(Zone::FrontBumper, Contaminant::Insect, 1);
            }
        };
        planned(scene, shop).line("B10").water_l
    };
    let (plain_l, soaked_l) = (foam_rinse(json!({}), false), foam_rinse(json!({}), true));
    // Insect remover has demand 2, so half as much again on the front bumper's 1.15 m2 at 1 l/m2.
    assert!((soaked_l - plain_l - 0.5 * 1.15).abs() < 1e-6, "{soaked_l} {plain_l}");
    // Foam and shampoo have demand 1, which the litres of a rinse are made for.
    let soap = foam_rinse(json!({"factors": {"rinse_demand_1": {"value": 2}}}), false);
    assert!((soap - 2.0 * plain_l).abs() < 1e-6, "{soap} {plain_l}");
    // The long rinse after iron holds its demand already.
    let long = |shop| planned(|_| {}, shop).line("D05").water_l;
    assert_eq!(long(json!({})), long(json!({"factors": {"rinse_demand_3": {"value": 5}}})));
}

// ---- chemistry ----

#[test]
fn soap_follows_what_water_alone_beads_on() {
    let rinse = |what: Contaminant, shop: Value| {
        let found = |s: &mut Scene| {
            s.find_aged(Zone::Rocker, what, 1, 50.0);
            s.extra_work.approved = Some(true);
        };
        planned(found, shop).line("D12").mixes.len()
    };
    assert_eq!((rinse(Contaminant::Tar, json!({})), rinse(Contaminant::SapCured, json!({}))), (1, 0));
    let oily = json!({"product_classes": {"sap_solvent": {"surfactant_wash_after": true}}});
    assert_eq!(rinse(Contaminant::SapCured, oily), 1);
}

/// A roof on which iron remover dries in two and a half minutes, and no awning.
fn hot_roof(s: &mut Scene) {
    s.leave_at_home(&["awning"]);
    s.read(Zone::Roof, 62.0);
    s.each_hour(|h| (h.air_c, h.humidity, h.wind_m_s) = (25.0, 0.4, 2.0));
}

/// A label may ask for more and allow less than the step; a step that does not wait (E01) waits for no label.
#[test]
fn the_stricter_of_step_and_label_is_the_dwell_and_timers_are_round() {
    let dwell = |step: &str, shop: Value| {
        let tar = |s: &mut Scene| {
            s.find(Zone::Rocker, Contaminant::Tar, 2);
            s.extra_work.approved = Some(true);
        };
        let dwell = planned(tar, shop).line(step).dwell.clone().unwrap();
        (dwell.min_s, dwell.max_s, dwell.label_max_s)
    };
    let iron = |label: Value| json!({"product_classes": {"iron_remover": label}});
    assert_eq!(dwell("D03", json!({})), (120, 300, 300));
    assert_eq!(dwell("D03", iron(json!({"dwell_min_s": 180}))), (180, 300, 300));
    assert_eq!(dwell("D03", iron(json!({"dwell_max_s": 400}))), (120, 300, 300), "the step allows no more");
    assert_eq!(dwell("E01", iron(json!({"dwell_min_s": 180}))), (0, 300, 300));
    // Tar solvent may stay 180 s, though the step has 300 for what is milder.
    assert_eq!(dwell("D01", json!({})), (60, 180, 180));
    let shorter = json!({"product_classes": {"tar_solvent": {"dwell_max_s": 100}}});
    assert_eq!(dwell("D01", shorter), (60, 90, 100), "set to a quarter of a minute");
}

#[test]
fn only_what_may_not_dry_races_the_panel() {
    let dwell = |step: &str, shop: Value| {
        let scene = |s: &mut Scene| {
            s.package("P3", &[]);
            hot_roof(s);
        };
        planned(scene, shop).line(step).dwell.clone().unwrap()
    };
    let iron = dwell("D03", json!({}));
    assert!(iron.never_dry && iron.dry_s.is_some() && iron.max_s < iron.label_max_s, "{iron:?}");
    let calm = dwell("D03", json!({"product_classes": {"iron_remover": {"never_dry": false}}}));
    assert!(!calm.never_dry && calm.dry_s.is_none() && calm.max_s == calm.label_max_s, "{calm:?}");
    // Sealant is left to haze.
    let sealant = dwell("H02", json!({}));
    assert!(
        !sealant.never_dry && sealant.max_s == sealant.label_max_s && sealant.advice.is_none(),
        "{sealant:?}"
    );
}

#[test]
fn a_drying_film_is_misted_as_often_as_the_shop_does_it() {
    let advice = |times: f64| {
        let shop = json!({"factors": {"re_mists": {"value": times}}});
        planned(hot_roof, shop).line("D03").dwell.clone().unwrap().advice.unwrap()
    };
    assert!(matches!(advice(2.0), DwellAdvice::Remist { .. }), "{:?}", advice(2.0));
    assert!(matches!(advice(0.0), DwellAdvice::CoolFirst | DwellAdvice::Refuse), "{:?}", advice(0.0));
}

#[test]
fn a_failed_check_is_repeated_no_oftener_than_its_dirt_is_worth_and_a_dried_product_takes_thrice_the_rinse() {
    let iron = |of: u8, shop: Value| {
        let fallout = |s: &mut Scene| {
            s.find(Zone::Bonnet, Contaminant::FalloutIron, of);
            s.extra_work.approved = Some(true);
        };
        planned(fallout, shop).line("D03").branch.clone().unwrap()
    };
    // Two rounds, then clay: one more where one is planned, none where R48 plans both.
    assert_eq!((iron(2, json!({})).max_loops, iron(3, json!({})).max_loops), (1, 0));
    let stubborn = || json!({"contaminants": {"fallout_iron": {"max_rounds": 4}}});
    assert_eq!((iron(2, stubborn()).max_loops, iron(3, stubborn()).max_loops), (2, 2), "the step's own two");
    let dried =
        |factor: f64| iron(2, json!({"factors": {"rinse_dried": {"value": factor}}})).dried_rinse_l.unwrap();
    assert!(dried(3.0) > 0.0 && (dried(3.0) / dried(1.0) - 3.0).abs() < 1e-9);
    let wax = |s: &mut Scene| s.package("P3", &["H01"]);
    let line = planned(wax, json!({}));
    let may_dry = |l: &&PlanLine| l.dwell.as_ref().is_some_and(|dwell| !dwell.never_dry);
    assert!(
        line.lines
            .iter()
            .filter(may_dry)
            .filter_map(|l| l.branch.as_ref())
            .all(|b| b.dried_rinse_l.is_none())
    );
}

// ---- looking and measuring ----

#[test]
fn what_only_the_customer_told_counts_worse() {
    let rounds = |told: u8, shop: Value| {
        let scene = |s: &mut Scene| {
            let mut told = finding(Zone::Bonnet, Contaminant::FalloutIron, told);
            told.evidence = Evidence::Said;
            s.inspection.findings = vec![told];
            s.booked_grade = Some(grade(4));
            s.extra_work.approved = Some(true);
        };
        planned(scene, shop).line("D03").grade.get()
    };
    assert_eq!((rounds(1, json!({})), rounds(2, json!({}))), (2, 3));
    assert_eq!(rounds(1, json!({"factors": {"booked_grade_unknown_worse": {"value": 2}}})), 3);
}

#[test]
fn grading_begins_where_most_is_to_be_expected() {
    let first = |kind: Option<&str>| {
        let scene = |s: &mut Scene| {
            s.vehicle.exposures.clear();
            kind.into_iter().for_each(|kind| s.expose(kind));
        };
        planned(scene, json!({})).line("A04").zones.clone()
    };
    // Iron from the railway lies on what looks up, insects on what meets the wind.
    assert_eq!(first(Some("near_rail"))[..2], [Zone::Roof, Zone::Bonnet]);
    let insects = first(Some("motorway_high"));
    assert!(insects[0] != Zone::Roof && insects.len() == first(None).len(), "{insects:?}");
}

#[test]
fn the_gauge_leaves_plastic_out() {
    let gauged = |shop: Value| planned(|s| s.package("P4", &[]), shop).line("F05").zones.clone();
    assert!(gauged(json!({})).contains(&Zone::Bonnet));
    assert!(!gauged(json!({"zones": {"sedan.bonnet": {"on_plastic": true}}})).contains(&Zone::Bonnet));
}

#[test]
fn shaded_panels_are_read_again() {
    let hot = |s: &mut Scene| {
        s.each_hour(|h| h.sun_w_m2 = Some(600.0));
        s.package("P3", &[]);
        s.start = crate::scene::day(12, 0);
    };
    let plan = planned(hot, json!({}));
    let once = planned(|s| s.package("P3", &[]), json!({}));
    assert!(plan.has("A07") && !once.has("A07"));
    assert_eq!(plan.line("A03").minutes, 2.0 * once.line("A03").minutes);
    let blind = planned(hot, json!({"triggers": {"T02": {"repeats": []}}}));
    assert_eq!(blind.line("A03").minutes, once.line("A03").minutes);
    assert_eq!(plan.line("A07").minutes, 8.0, "the awning takes 8 min to put up");
}

#[test]
fn a_large_vehicle_takes_more_towels() {
    let towels = |class| {
        let plan = planned(|s| s.vehicle.class = class, json!({}));
        plan.line("F02").cautions.iter().find(|c| c.contains("towels")).cloned()
    };
    assert_eq!(towels(VehicleClass::Sedan).as_deref(), Some("2 large drying towels at hand"));
    assert_eq!(towels(VehicleClass::Motorhome).as_deref(), Some("6 large drying towels at hand"));
}
