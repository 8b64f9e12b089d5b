//! R18-R25.

use super::{Case, asks, fires, silent};
use crate::scene::{Ask, Scene};
use domain::handbook::Severity::{Adjust, Block, Warn};
use domain::inspection::Contaminant;
use domain::plan::JobPlan;
use domain::site::water::Water;
use domain::site::{Drain, Ground};
use domain::vehicle::Zone;
use serde_json::json;

/// A tank of which the plan leaves just a tenth and the 40 l for open chemistry, and a little more.
fn tank(s: &mut Scene, more_l: f64) {
    s.kit.tank_l = (s.plan().totals.water_l + 40.0) / 0.9 + more_l;
}

/// A wash with alkali and wheel cleaner, but without iron remover and acid: a tenth is left, and a little more.
fn tank_of_a_wash(s: &mut Scene, more_l: f64) {
    s.package("P1", &[]);
    s.kit.tank_l = s.plan().totals.water_l / 0.9 + more_l;
}

/// Water whose dissolved solids are known, of calcium and alkalinity by WAT-04, at pH 7.6 and 25 C.
fn analysed(s: &mut Scene, tds_mg_l: f64) {
    let (ph, calcium_mg_l, alkalinity_mg_l, water_c) = (7.6, 150.0, 120.0, 25.0);
    s.site.hardness_mg_l = None;
    s.site.water = Some(Water { ph, tds_mg_l, calcium_mg_l, alkalinity_mg_l, water_c });
}

fn reason<'p>(p: &'p JobPlan, step: &str, rule: &str) -> &'p str {
    p.line(step).reasons.iter().find(|r| r.id == rule).map_or("", |r| r.text.as_str())
}

fn no_collection(s: &mut Scene) {
    s.leave_at_home(&["runoff_kit"]);
    s.site.drain = Some(Drain::Vegetated);
}

pub const CASES: &[Case] = &[
    silent("R18", "the tank just lasts", |s| tank(s, 0.01)),
    fires("R18", Adjust, "customer's tap through the washer", "a little short, with a tap", |s| {
        tank(s, -0.1)
    }),
    fires("R18", Block, "no tap", "a little short, no tap", |s| {
        tank(s, -0.1);
        s.site.tap = Some(false);
    })
    .and(|p| {
        let unblock = p.notices.iter().find(|n| n.rule == "R18").unwrap().unblock.clone().unwrap();
        assert_eq!(
            unblock,
            "1 refill stop, or a neighbour's or the customer's tap, or the rinseless package"
        );
    }),
    fires("R18", Block, "no tap", "too dirty for the rinseless way out", |s| {
        s.find(Zone::Tail, Contaminant::Film, 3);
        s.kit.tank_l = 150.0;
        s.site.tap = Some(false);
    })
    .and(|p| {
        let unblock = p.notices.iter().find(|n| n.rule == "R18").unwrap().unblock.clone().unwrap();
        assert!(unblock.starts_with("2 refill stops") && !unblock.contains("rinseless"), "{unblock}");
    }),
    fires("R18", Adjust, "1 refill stop", "a little short, with a refill agreed", |s| {
        tank(s, -0.1);
        s.site.tap = Some(false);
        s.refill_stops = 1;
    })
    .and(|p| {
        let reason = |l: &domain::plan::PlanLine| l.reasons.iter().any(|r| r.text.contains("fill the tank"));
        assert_eq!(p.lines.iter().filter(|l| reason(l)).count(), 1, "it says before which step");
        assert!(p.workable);
    }),
    silent("R18", "a wash just lasts, without the 40 l", |s| tank_of_a_wash(s, 0.01)),
    fires("R18", Adjust, "0 l in reserve", "a wash a little short", |s| tank_of_a_wash(s, -0.1)),
    asks("R18", "/site/tap", "short, and nobody knows of a tap", |s| {
        tank(s, -0.1);
        s.site.tap = None;
    }),
    silent("R19", "level 0", |_| {}),
    fires("R19", Adjust, "recycled water never on paint", "level 1 with washer and runoff kit", |s| {
        s.site.water_restriction = Some(1)
    })
    .and(|p| assert!(reason(p, "C03", "R19").ends_with("collect, fresh water only"))),
    fires("R19", Block, "no runoff kit", "level 1 without runoff kit", |s| {
        s.site.water_restriction = Some(1);
        s.leave_at_home(&["runoff_kit"]);
    }),
    fires("R19", Block, "no pressure washer", "level 1 by hose", |s| {
        s.site.water_restriction = Some(1);
        s.leave_at_home(&["pressure_washer"]);
    }),
    fires("R19", Adjust, "level 2", "level 2", |s| s.site.water_restriction = Some(2)),
    fires("R19", Block, "rinseless only", "level 3", |s| s.site.water_restriction = Some(3)),
    silent("R19", "level 3 and the rinseless package", |s| {
        s.site.water_restriction = Some(3);
        s.package("P8", &[]);
    }),
    asks("R19", "/site/water_restriction", "nobody knows", |s| s.site.water_restriction = None),
    fires("R20", Adjust, "22.7 against 7.6", "a van without washer", |s| {
        s.leave_at_home(&["pressure_washer"])
    })
    .and(|p| {
        assert!(p.totals.by_hose && p.totals.water_l > 500.0, "{}", p.totals.water_l);
        // 22.7 l/min: the pass may take no longer than the litres that were counted for it.
        let open_min = p.line("C03").water_l / 22.7;
        let pass = reason(p, "C03", "R20");
        assert!(pass.contains(&format!("{open_min:.1} min at most")) && open_min > 2.0, "{pass}");
    }),
    silent("R20", "a van with washer", |_| {}),
    silent("R20", "rinseless without washer", |s| {
        s.leave_at_home(&["pressure_washer"]);
        s.package("P8", &[]);
    }),
    silent("R20", "without washer, and the last rinse is done", |s| {
        s.leave_at_home(&["pressure_washer"]);
        s.package("P1", &[]);
        s.done("A01 A02 A03 A04 A05 B01 B03 B04 B02 B05 B09 B10 C01 C02 C03");
    })
    .and(|p| assert!(p.has("C04"))),
    fires("R20", Adjust, "22.7 against 7.6", "without washer, and the last rinse is to come", |s| {
        s.leave_at_home(&["pressure_washer"]);
        s.package("P1", &[]);
        s.done("A01 A02 A03 A04 A05 B01 B03 B04 B02 B05 B09 B10 C01 C02");
    }),
    // Very hard water begins above 180 mg/l CaCO3 (published class).
    fires("R21", Adjust, "through the filter", "180.1 mg/l", |s| s.site.hardness_mg_l = Some(180.1)),
    silent("R21", "180 mg/l", |s| s.site.hardness_mg_l = Some(180.0)),
    // 180 mg/l in a film of 50 um are 9.0 mg/m2 (WAT-10: mg/l x um / 1000); 182 mg/l are 9.1.
    silent("R21", "180 mg/l dissolved: 9.0 mg/m2", |s| analysed(s, 180.0)),
    fires("R21", Adjust, "9.1 mg/m2 left where it dries, limit 9.0", "182 mg/l dissolved", |s| {
        analysed(s, 182.0)
    }),
    // The water of WAT-04: index -0.10, too close to equilibrium to tell.
    fires(
        "R21",
        Adjust,
        "500 mg/l dissolved, Langelier -0.10, Ryznar 7.81, neither",
        "the water of WAT-04",
        |s| analysed(s, 500.0),
    ),
    // A shop that takes less for very hard.
    fires("R21", Adjust, "limit 6.0", "121 mg/l where the shop's limit is 120", |s| {
        s.shop(json!({"rules": {"R21": {"parameters": {"hardness_mg_l": 120.0}}}}));
        s.site.hardness_mg_l = Some(121.0);
    }),
    fires("R21", Adjust, "water 260 mg/l, very hard: 13.0 mg/m2", "hard water, no filter", |s| {
        s.site.hardness_mg_l = Some(260.0);
        s.leave_at_home(&["spotless_filter"]);
    })
    .and(|p| assert!(reason(p, "D14", "R21").ends_with("dry each panel at once"), "no hurry in the shade"))
    .and(|p| {
        // A quarter more of 1 in 33 is 1 in 26.4 (common practice above 180 mg/l); the others stay.
        let parts = |step: &str| p.lines.iter().find(|l| l.step == step).unwrap().mixes[0].water_to_product;
        assert!((parts("B09").unwrap() - 25.4).abs() < 1e-9, "{:?}", parts("B09"));
        assert_eq!(parts("B04"), Some(10.0));
        assert!(reason(p, "B09", "R21").ends_with("foam and shampoo 1.25 times as strong"));
    }),
    fires("R21", Adjust, "towel within", "hard water, no filter, a panel of 40 C", |s| {
        s.site.hardness_mg_l = Some(260.0);
        s.read(Zone::Doors, 40.0);
        s.leave_at_home(&["spotless_filter"]);
    }),
    fires("R21", Adjust, "in the sun", "soft water in the sun", |s| {
        s.each_hour(|h| h.sun_w_m2 = Some(700.0));
        s.leave_at_home(&["awning"]);
    }),
    asks("R21", "/site/hardness_mg_l", "nobody knows", |s| s.site.hardness_mg_l = None).and(|p| {
        // WAT-08 and WAT-09, as a strip or the water works may print it.
        let text = &p.questions.iter().find(|q| q.rule == "R21").unwrap().text;
        for unit in ["German degree is 17.8", "Clark degree is 14.3", "grain per US gallon is 17.1"] {
            assert!(text.contains(unit), "{text}");
        }
    }),
    fires("R22", Adjust, "long rinse", "iron remover planned", |_| {})
        .and(|p| assert!(p.place("E01") < p.place("D05") && p.line("D05").water_l > 40.0)),
    fires("R22", Adjust, "long rinse", "iron remover on the paint since before", |s| {
        s.done("D03 D04 E06 E01")
    })
    .and(|p| assert!(p.has("D05"))),
    silent("R22", "no iron remover", |s| s.package("P1", &[])),
    silent("R22", "rinsed off already", |s| s.done("D03 D04 E06 E01 D05")),
    fires("R23", Adjust, "cover it", "a storm drain and the runoff kit", |s| {
        s.site.drain = Some(Drain::Storm)
    }),
    fires("R23", Block, "storm drain", "a storm drain and no runoff kit", |s| {
        s.site.drain = Some(Drain::Storm);
        s.leave_at_home(&["runoff_kit"]);
    }),
    silent("R23", "planted ground", |s| s.site.drain = Some(Drain::Vegetated)),
    silent("R23", "rinseless beside a storm drain", |s| {
        s.site.drain = Some(Drain::Storm);
        s.package("P8", &[]);
        s.leave_at_home(&["runoff_kit"]);
    }),
    asks("R23", "/site/drain", "nobody knows", |s| s.site.drain = None),
    fires("R24", Adjust, "collect this runoff", "acid and a sewer", |_| {}),
    fires("R24", Adjust, "left out D07", "acid and no way to collect", no_collection)
        .and(|p| assert!(!p.has("D07") && !p.has("D14") && p.workable)),
    fires("R24", Block, "strip wash", "strip wash before a coating and no way to collect", |s| {
        no_collection(s);
        s.package("P4", &[]);
    }),
    fires("R24", Adjust, "left out D07", "the salt flush goes on with plain water", |s| {
        no_collection(s);
        s.find(Zone::Rocker, Contaminant::Salt, 2);
    })
    .and(|p| assert!(p.line("B11").mixes.is_empty())),
    silent("R24", "a wash", |s| {
        no_collection(s);
        s.package("P1", &[]);
    }),
    fires("R24", Adjust, "B06", "alkali that the shop collects, and no way to", |s| {
        no_collection(s);
        s.shop(json!({"product_classes": {"apc_alkaline": {"collect_runoff": true}}}));
    }),
    asks("R24", "/site/drain", "nobody knows where acid would run", |s| {
        s.leave_at_home(&["runoff_kit"]);
        s.site.drain = None;
    })
    .and(|p| assert!(p.has("D07"))),
    fires("R25", Warn, "etches", "acid on natural stone", |s| s.site.ground = Some(Ground::NaturalStone)),
    fires("R25", Warn, "etches", "acid on fresh concrete", |s| s.site.ground = Some(Ground::FreshConcrete)),
    silent("R25", "acid on old concrete", |s| s.site.ground = Some(Ground::Concrete)),
    silent("R25", "a wash on natural stone", |s| {
        s.site.ground = Some(Ground::NaturalStone);
        s.package("P1", &[]);
    }),
    asks("R25", "/site/ground", "nobody knows", |s| s.site.ground = None),
];
