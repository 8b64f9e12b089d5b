//! Varied jobs, vehicles and questions: between them everything of the trade is needed once.

use crate::scene::{Scene, day, finding, quiet};
use domain::handbook::{Handbook, estimate};
use domain::inspection::{Contaminant, Evidence, Grade};
use domain::plan::quote;
use domain::site::{Drain, HourRange};
use domain::upkeep::{Climate, Experience, History, forecast};
use domain::vehicle::{Colour, Substrate, Vehicle, VehicleClass, Zone};
use serde_json::{Value, json};

/// A question that is asked with the standard handbook and with a shop's.
pub struct Probe {
    pub run: Box<dyn Fn(&Handbook) -> Value + Send + Sync>,
    /// Tables it looks at.
    tables: &'static [&'static str],
    /// Takes long.
    pub dear: u32,
}

impl Probe {
    pub fn reads(&self, table: &str) -> bool {
        self.tables.contains(&table)
    }
}

const OF_PLANS: &[&str] = &[
    "vehicle_classes",
    "zones",
    "substrates",
    "contaminants",
    "product_classes",
    "mixing",
    "equipment",
    "steps",
    "step_products",
    "precedence",
    "packages",
    "package_steps",
    "triggers",
    "rules",
    "protections",
    "exposures",
    "factors",
];
const OF_ESTIMATES: &[&str] = &["packages", "package_steps", "steps", "zones", "vehicle_classes"];
const OF_FORECASTS: &[&str] = &[
    "protections",
    "exposures",
    "sources",
    "accruals",
    "factors",
    "product_classes",
    "steps",
    "packages",
    "package_steps",
    "zones",
    "rules",
];

pub fn probes() -> Vec<Probe> {
    let mut probes = vec![estimates()];
    for (vehicle, history) in vehicles() {
        probes.push(forecasts((vehicle.clone(), history.clone()), Climate::default()));
        probes.push(forecasts(
            (vehicle, history),
            Climate { monthly_air_c: Some(AIR_C), ..Climate::default() },
        ));
    }
    probes.extend(SCENES.iter().map(|&change| plans(change)));
    probes.push(quotes());
    probes
}

/// A temperate town, January to December.
const AIR_C: [f64; 12] = [0.0, 2.0, 5.0, 9.0, 14.0, 18.0, 20.0, 19.0, 15.0, 10.0, 5.0, 1.0];

fn estimates() -> Probe {
    let run = |handbook: &Handbook| {
        let of = |package: &str| estimate(handbook, package, VehicleClass::Sedan, Grade::TYPICAL).ok();
        json!(handbook.packages.iter().map(|row| json!(of(&row.id))).collect::<Vec<_>>())
    };
    Probe { run: Box::new(run), tables: OF_ESTIMATES, dear: 0 }
}

fn plans(change: fn(&mut Scene)) -> Probe {
    let run = move |handbook: &Handbook| {
        let mut scene = quiet();
        scene.handbook = handbook.clone();
        change(&mut scene);
        match scene.try_plan() {
            Ok(plan) => serde_json::to_value(plan).unwrap(),
            Err(error) => json!({ "refused": error.pointer }),
        }
    };
    Probe { run: Box::new(run), tables: OF_PLANS, dear: 1 }
}

fn quotes() -> Probe {
    let run = |handbook: &Handbook| {
        let mut scene = quiet();
        scene.handbook = handbook.clone();
        scene.inspection.findings.clear();
        serde_json::to_value(quote(&scene.input()).unwrap()).unwrap()
    };
    Probe { run: Box::new(run), tables: &["packages", "factors"], dear: 2 }
}

fn forecasts((vehicle, history): (Vehicle, History), climate: Climate) -> Probe {
    let today = "2031-03-17".parse().unwrap();
    let run = move |handbook: &Handbook| match forecast(
        handbook,
        &vehicle,
        &history,
        &Experience::default(),
        &climate,
        today,
    ) {
        Ok(upkeep) => serde_json::to_value(upkeep).unwrap(),
        Err(error) => json!({ "refused": error.to_string().replace(' ', "_") }),
    };
    Probe { run: Box::new(run), tables: OF_FORECASTS, dear: 0 }
}

/// Everything that steps are against, on zones that have it.
fn filthy(s: &mut Scene, grade: u8) {
    let places = [
        (Zone::Doors, Contaminant::Film),
        (Zone::Tail, Contaminant::Film),
        (Zone::WheelFace, Contaminant::BrakeIron),
        (Zone::Roof, Contaminant::FalloutIron),
        (Zone::Rocker, Contaminant::Tar),
        (Zone::Roof, Contaminant::SapFresh),
        (Zone::Bonnet, Contaminant::SapCured),
        (Zone::FrontBumper, Contaminant::Insect),
        (Zone::Bonnet, Contaminant::Bird),
        (Zone::Windscreen, Contaminant::HardwaterDeposit),
        (Zone::Bonnet, Contaminant::HardwaterEtch),
        (Zone::Rocker, Contaminant::Salt),
        (Zone::Trim, Contaminant::Moss),
        (Zone::Doors, Contaminant::Cement),
        (Zone::Rocker, Contaminant::RoadPaint),
        (Zone::Tail, Contaminant::Adhesive),
    ];
    for (zone, contaminant) in places {
        s.find_aged(zone, contaminant, grade, 20.0);
    }
    s.extra_work.approved = Some(true);
    s.inspection.ring_stays_after_acid = Some(false);
}

fn weather(s: &mut Scene, air_c: f64, humidity: f64, wind_m_s: f64, sun_w_m2: f64) {
    s.each_hour(|h| {
        (h.air_c, h.humidity, h.wind_m_s, h.sun_w_m2) = (air_c, humidity, wind_m_s, Some(sun_w_m2))
    });
}

pub const SCENES: &[fn(&mut Scene)] = &[
    |_| {},
    // Everything found at each grade, one after the other.
    |s| {
        filthy(s, 1);
        s.vehicle.exposures.clear();
    },
    |s| filthy(s, 2),
    |s| {
        filthy(s, 3);
        s.second_hand();
    },
    |s| {
        filthy(s, 4);
        s.vehicle.class = VehicleClass::LargeVan;
        s.second_hand();
    },
    // A coating on paint that was polished, in the last of the light.
    |s| {
        s.package("P4", &["G04", "E03"]);
        s.coat("wax");
        s.extra_work.approved = Some(true);
        s.vehicle.paint_thickness_um = Some(95.0);
        s.vehicle.paint_scatter_um = Some(24.0);
    },
    // A hot roof that dries fast.
    |s| {
        s.package("P3", &[]);
        weather(s, 29.0, 0.35, 3.0, 750.0);
        s.vehicle.colour = Colour::Black;
        s.leave_at_home(&["awning"]);
        s.window_end = Some(day(15, 0));
        s.start = day(8, 0);
    },
    // The same where the awning helps, on matt paint.
    |s| {
        s.vehicle.finish = Substrate::MattFinish;
        s.vehicle.colour = Colour::Grey;
        s.package("P1", &[]);
        weather(s, 24.0, 0.5, 1.0, 600.0);
        s.start = day(12, 0);
    },
    |s| {
        s.package("P3", &[]);
        weather(s, 16.0, 0.6, 1.0, 600.0);
        s.start = day(12, 0);
    },
    // Wind.
    |s| {
        s.package("P4", &[]);
        weather(s, 16.0, 0.6, 4.9, 60.0);
    },
    |s| {
        s.vehicle.class = VehicleClass::Suv;
        weather(s, 16.0, 0.6, 7.9, 60.0);
        s.each_hour(|h| h.gust_m_s = Some(10.9));
    },
    |s| {
        s.vehicle.class = VehicleClass::RoadsterSofttop;
        s.package("P7", &["H10"]);
        s.done("A01 A02 A03 A04 A05 B01 B02 B03 B04 B05 B09 B10 C01 C06 C02 C03 C04 F01 F02");
        weather(s, 16.0, 0.6, 2.9, 60.0);
    },
    |s| {
        s.vehicle.class = VehicleClass::Motorhome;
        s.package("P1", &[]);
        s.second_hand();
        weather(s, 16.0, 0.6, 5.4, 60.0);
        s.each_hour(|h| h.gust_m_s = None);
        s.kit.tank_l = 343.0;
        s.site.tap = Some(false);
        s.refill_stops = 1;
    },
    // Cold, frost, damp, rain, dusk, thunder.
    |s| {
        weather(s, 5.5, 0.6, 1.0, 60.0);
        s.hours(14, 15, |h| h.air_c = 0.5);
        s.hours(27, 28, |h| h.air_c = 0.5);
    },
    |s| {
        weather(s, 9.0, 0.6, 1.0, 60.0);
        s.hours(26, 28, |h| h.air_c = -1.0);
        s.read(Zone::Roof, 1.5);
    },
    |s| {
        weather(s, 10.9, 0.6, 1.0, 60.0);
        s.weather.hours.truncate(12);
        s.find(Zone::Roof, Contaminant::FalloutIron, 3);
    },
    |s| {
        s.package("P3", &[]);
        weather(s, 16.0, 0.79, 1.0, 60.0);
        s.hours(11, 13, |h| h.rain_mm_h = 0.19);
        s.hours(18, 19, |h| h.rain_mm_h = 0.3);
        s.read(Zone::Roof, 15.8);
    },
    |s| {
        s.package("P3", &[]);
        s.start = day(14, 30);
        s.site.machine_hours =
            Some(HourRange { from: crate::scene::time(6, 0), to: crate::scene::time(23, 0) });
        s.hours(15, 16, |h| h.thunder = true);
    },
    // Short of everything.
    |s| {
        s.kit.tank_l = 330.0;
        s.site.tap = Some(false);
        s.site.hardness_mg_l = Some(178.0);
        s.site.water_restriction = Some(1);
        s.site.drain = Some(Drain::Storm);
        s.site.people_downwind_m = Some(10.5);
        s.site.next_vehicle_m = Some(2.1);
        s.kit.vehicles_served.insert("clay_towel".into(), 199);
        for ml in s.kit.stock_ml.values_mut() {
            *ml = 1500.0;
        }
    },
    |s| {
        s.leave_at_home(&["pressure_washer", "runoff_kit", "generator"]);
        s.site.drain = Some(Drain::Vegetated);
        s.site.mains = Some(false);
        s.kit.battery_kwh = 0.6;
        s.vehicle.driving =
            Some(domain::parking::Driving { km_per_week: 900.0, motorway_share: 0.8, on_salted_roads: true });
        s.last_salted_on = Some(day(9, 0).date() - chrono::TimeDelta::days(8));
    },
    // Nobody has looked, or only the customer has.
    |s| {
        s.inspection.findings.clear();
        s.inspection.parked_min = Some(20);
        s.booked_grade = Some(Grade::TYPICAL);
        s.vehicle.class = VehicleClass::Estate;
        s.package("P1", &[]);
    },
    |s| {
        let mut told = finding(Zone::Bonnet, Contaminant::FalloutIron, 2);
        told.evidence = Evidence::Said;
        s.inspection.findings.push(told);
        s.inspection.parked_min = Some(14);
        s.extra_work.silent_min = 9;
        s.find(Zone::Rocker, Contaminant::Tar, 1);
    },
    // Surfaces of every kind, on a coated car.
    |s| {
        s.coat("ceramic_1y");
        s.package("P1", &[]);
        s.find(Zone::Tail, Contaminant::Film, 2);
        s.surface(Zone::Doors, Substrate::FilmWrap, &[Substrate::BareAluminium]);
        s.surface(Zone::SideGlass, Substrate::AcrylicWindow, &[]);
        s.surface(Zone::Trim, Substrate::Anodised, &[]);
        s.vehicle.repainted_on = Some(day(9, 0).date() - chrono::TimeDelta::days(59));
        s.vehicle.repainted_zones = vec![Zone::FrontWing];
        s.vehicle.class = VehicleClass::LargeVan;
    },
    |s| {
        s.coat("wax");
        s.package("P9", &[]);
        s.site.hardness_mg_l = Some(260.0);
        s.find_aged(Zone::Roof, Contaminant::Bird, 1, 40.0);
        s.find_aged(Zone::Doors, Contaminant::Cement, 1, 23.0);
        weather(s, 25.0, 0.4, 2.0, 60.0);
        s.read(Zone::Roof, 41.0);
    },
    |s| {
        s.find(Zone::Roof, Contaminant::SapCured, 1);
        s.done("D03 D04 E06 E01 D05 D07 D14");
    },
    |s| {
        s.package("P3", &[]);
        weather(s, 18.0, 0.5, 1.0, 60.0);
        s.hours(17, 24, |h| h.rain_mm_h = 0.3);
    },
    // The other packages.
    |s| s.package("P5", &[]),
    |s| s.package("P6", &["E05"]),
    |s| s.package("P8", &[]),
];

/// Vehicles with a past, with every kind of record between them.
fn vehicles() -> Vec<(Vehicle, History)> {
    [by_class(), by_place()].concat()
}

fn read(vehicle: Value, history: Value) -> (Vehicle, History) {
    (serde_json::from_value(vehicle).unwrap(), serde_json::from_value(history).unwrap())
}

fn car(more: Value) -> Value {
    let mut car = json!({"class": "estate", "colour": "black", "finish": "clear_coat"});
    for (name, value) in more.as_object().unwrap() {
        car[name] = value.clone();
    }
    car
}

fn coat(protection: &str, on: &str) -> Value {
    json!({"protection": protection, "applied_on": on})
}

/// By classes of exposure.
fn by_class() -> Vec<(Vehicle, History)> {
    vec![
        // Coated, with a feel test between smooth and rough.
        read(
            car(json!({
                "exposures": [{"kind": "near_rail", "share": 0.5}, {"kind": "winter_salt", "share": 0.5}],
                "coats": [coat("ceramic_1y", "2030-04-01")],
            })),
            json!({
                "decontaminations": [{"on": "2031-01-10"}],
                "bag_tests": [{"on": "2031-02-10", "grade": 1}],
                "washes": [{"on": "2031-02-20", "alkaline": true}],
                "last_salted_on": "2031-03-05",
                "mean_air_c": 9.0,
            }),
        ),
        // Little driven, garaged, with a train journey and roadworks behind it.
        read(
            car(json!({
                "exposures": [{"kind": "garage_low", "share": 1.0}],
                "coats": [coat("ceramic_3y", "2029-01-01"), coat("polymer_sealant", "2030-10-01")],
            })),
            json!({
                "decontaminations": [{"on": "2030-06-10"}],
                "bag_tests": [{"on": "2030-12-10", "grade": 0}],
                "bead_tests": [
                    {"on": "2031-02-10", "protection": "ceramic_3y", "panel_grades": [5, 5, 5]},
                    {"on": "2031-03-10", "protection": "polymer_sealant", "panel_grades": [1, 2, 1]},
                ],
                "events": [
                    {"on": "2031-01-10", "kind": "train_yard_delivery"},
                    {"on": "2031-01-11", "kind": "grinding_beside"},
                    {"on": "2031-01-12", "kind": "roadworks_week"},
                ],
                "away": [{"from_on": "2031-01-15", "to_on": "2031-02-15"}],
            }),
        ),
        // Beside a foundry, cleaned as often as is good for it, and stripped.
        read(
            car(json!({
                "exposures": [{"kind": "foundry", "share": 1.0}],
                "coats": [coat("silica_spray", "2031-01-01")],
            })),
            json!({
                "decontaminations": [
                    {"on": "2030-04-20", "clayed": true}, {"on": "2030-06-10", "clayed": true},
                    {"on": "2030-08-10"}, {"on": "2030-10-10"}, {"on": "2030-12-10"}, {"on": "2031-02-01"},
                ],
                "bag_tests": [{"on": "2031-03-10", "grade": 3}],
                "bead_tests": [{"on": "2031-03-11", "protection": "silica_spray", "panel_grades": [1, 2, 1],
                    "after_test_sequence": true}],
                "wear_steps": [{"on": "2031-02-01", "step": "B06"}, {"on": "2031-02-01", "step": "D03"}],
            }),
        ),
        // Coated a week ago, and soiled fast.
        read(
            car(json!({
                "exposures": [{"kind": "foundry", "share": 1.0}],
                "coats": [coat("ceramic_5y", "2031-03-10")],
            })),
            json!({}),
        ),
    ]
}

/// By the places where they stand.
fn by_place() -> Vec<(Vehicle, History)> {
    let near = |kinds: &[&str]| kinds.iter().map(|kind| json!({ "kind": kind })).collect::<Vec<_>>();
    let coast = |class: &str| json!({"share": 0.25, "sources": [{"kind": "coast", "chloride_class": class}, {"kind": "salted_roads"}]});
    let shores = ["s0", "s1", "s2", "s3"].map(coast);
    let everything =
        ["rail", "foundry", "busy_road", "building_site", "trees", "sprinkler", "coast", "salted_roads"];
    vec![
        // Driven far, with everything counted once.
        read(
            car(json!({
                "parking": [
                    {"share": 0.4, "sources": near(&everything)},
                    {"share": 0.3, "sheltering": "carport", "sources": near(&["rail"])},
                    {"share": 0.3, "sheltering": "garage", "sources": near(&["rail"])},
                ],
                "driving": {"km_per_week": 600.0, "motorway_share": 0.6, "on_salted_roads": true},
                "coats": [coat("wax", "2031-02-01")],
            })),
            json!({
                "decontaminations": [{"on": "2030-11-10"}],
                "bag_tests": [{"on": "2031-02-10", "grade": 2}],
                "washes": [{"on": "2031-03-01"}],
                "readings": [
                    {"on": "2031-02-01", "contaminant": "insect", "found": {"grade": 2}},
                    {"on": "2031-02-02", "contaminant": "bird", "found": {"grade": 1}},
                    {"on": "2031-02-03", "contaminant": "sap_fresh", "found": {"grade": 3}},
                    {"on": "2031-02-04", "contaminant": "tar", "found": {"spots": {"spots": 3, "area_m2": 1.0}}},
                    {"on": "2031-02-05", "contaminant": "hardwater_deposit", "found": {"grade": 1}},
                ],
            }),
        ),
        // Garaged and little driven, with a new coat and one of middling beads.
        read(
            car(json!({
                "parking": [{"share": 1.0, "sheltering": "garage"}],
                "driving": {"km_per_week": 60.0, "motorway_share": 0.0},
                "coats": [coat("ceramic_1y", "2030-04-01"), coat("wax", "2031-03-15")],
            })),
            json!({"bead_tests": [{"on": "2031-02-10", "protection": "ceramic_1y", "panel_grades": [3, 3, 3]}],
                "wear_steps": [{"on": "2030-06-01", "step": "D11"}]}),
        ),
        // By the sea, class by class, on bare paint.
        read(
            car(json!({ "parking": shores })),
            json!({"decontaminations": [{"on": "2030-10-10"}], "washes": [{"on": "2031-02-01"}]}),
        ),
    ]
}
