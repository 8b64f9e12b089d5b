//! Jobs thrown by one number: sane ones, whose every value is allowed, and mad ones.

use crate::scene::{Scene, day, grade, quiet, technician};
use chrono::{NaiveDate, NaiveDateTime, TimeDelta};
use domain::handbook::PackageRole;
use domain::inspection::{Contaminant, Evidence, Finding, PanelReading};
use domain::site::{Drain, Ground, WeatherHour};
use domain::vehicle::{Colour, Substrate, VehicleClass, Zone};

/// SplitMix64: a thrown job is one number, so a failure can be thrown again.
pub struct Dice(pub u64);

impl Dice {
    pub fn roll(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    pub fn below(&mut self, n: usize) -> usize {
        (self.roll() % n as u64) as usize
    }

    pub fn of<T: Clone>(&mut self, items: &[T]) -> T {
        items[self.below(items.len())].clone()
    }

    pub fn chance(&mut self, percent: usize) -> bool {
        self.below(100) < percent
    }

    pub fn number(&mut self, from: f64, to: f64) -> f64 {
        from + (to - from) * (self.roll() >> 11) as f64 / (1u64 << 53) as f64
    }

    fn maybe<T>(&mut self, value: impl FnOnce(&mut Dice) -> T) -> Option<T> {
        self.chance(80).then(|| value(self))
    }
}

const CLASSES: [VehicleClass; 8] = [
    VehicleClass::CityCar,
    VehicleClass::Sedan,
    VehicleClass::Estate,
    VehicleClass::Suv,
    VehicleClass::Pickup,
    VehicleClass::LargeVan,
    VehicleClass::Motorhome,
    VehicleClass::RoadsterSofttop,
];
const FINISHES: [Substrate; 9] = [
    Substrate::ClearCoat,
    Substrate::ThinClear,
    Substrate::FreshPaint,
    Substrate::SingleStage,
    Substrate::MattFinish,
    Substrate::FilmWrap,
    Substrate::ProtectionFilm,
    Substrate::BareAluminium,
    Substrate::GrpGelcoat,
];
const CONTAMINANTS: [Contaminant; 17] = [
    Contaminant::Film,
    Contaminant::BrakeIron,
    Contaminant::FalloutIron,
    Contaminant::Tar,
    Contaminant::SapFresh,
    Contaminant::SapCured,
    Contaminant::Insect,
    Contaminant::Bird,
    Contaminant::HardwaterDeposit,
    Contaminant::HardwaterEtch,
    Contaminant::Overspray,
    Contaminant::Salt,
    Contaminant::Pollen,
    Contaminant::Moss,
    Contaminant::Cement,
    Contaminant::RoadPaint,
    Contaminant::Adhesive,
];

/// A job whose every value is allowed.
pub fn sane(seed: u64) -> Scene {
    let dice = &mut Dice(seed);
    let mut scene = quiet();
    vehicle(dice, &mut scene);
    findings(dice, &mut scene);
    order(dice, &mut scene);
    place(dice, &mut scene);
    weather(dice, &mut scene);
    van(dice, &mut scene);
    agreed(dice, &mut scene);
    scene
}

/// Sometimes the customer has agreed to something.
fn agreed(dice: &mut Dice, scene: &mut Scene) {
    const STEPS: [&str; 8] = ["D03", "D07", "E01", "E02", "G03", "H02", "H03", "B06"];
    scene.refill_stops = dice.below(4) as u32 * u32::from(dice.chance(20));
    scene.last_salted_on =
        dice.chance(30).then(|| scene.start.date() - TimeDelta::days(dice.below(200) as i64));
    if dice.chance(15) {
        let rule = dice.of(&["R43", "R45"]);
        scene.waive(rule, &[], &[]);
    }
    if dice.chance(15) {
        let zone = dice.of(&zones(scene));
        scene.waive("R35", &[zone], &[]);
    }
    if dice.chance(15) {
        let steps = [dice.of(&STEPS), dice.of(&STEPS)];
        scene.waive("R60", &[], &steps);
    }
}

fn zones(scene: &Scene) -> Vec<Zone> {
    scene.handbook.zones_of(scene.vehicle.class).map(|row| row.zone).collect()
}

fn vehicle(dice: &mut Dice, scene: &mut Scene) {
    let today = scene.start.date();
    let vehicle = &mut scene.vehicle;
    vehicle.class = dice.of(&CLASSES);
    vehicle.colour = dice.of(&[Colour::White, Colour::Silver, Colour::Red, Colour::Blue, Colour::Black]);
    vehicle.finish = if dice.chance(50) { Substrate::ClearCoat } else { dice.of(&FINISHES) };
    vehicle.paint_thickness_um = dice.maybe(|d| d.number(60.0, 200.0));
    vehicle.paint_scatter_um = dice.maybe(|d| d.number(0.0, 40.0));
    if dice.chance(20) {
        let days = dice.below(90) as i64;
        vehicle.repainted_on = Some(today - TimeDelta::days(days));
        vehicle.repainted_zones = if dice.chance(50) { vec![Zone::Doors] } else { vec![] };
    }
    if dice.chance(30) {
        let inclusion = dice.of(&[Substrate::Anodised, Substrate::Chrome, Substrate::PlatedPlastic]);
        scene.surface(Zone::Doors, dice.of(&FINISHES), &[inclusion]);
    }
    if dice.chance(40) {
        scene.coat(dice.of(&["wax", "polymer_sealant", "silica_spray", "ceramic_1y", "film"]));
    }
    if dice.chance(30) {
        scene.expose(dice.of(&["motorway_high", "winter_salt", "near_rail"]));
    }
}

fn findings(dice: &mut Dice, scene: &mut Scene) {
    let zones = zones(scene);
    scene.inspection.findings = (0..dice.below(9))
        .map(|_| Finding {
            zone: dice.of(&zones),
            contaminant: dice.of(&CONTAMINANTS),
            grade: grade(dice.below(5) as u8),
            evidence: dice.of(&[Evidence::Seen, Evidence::Said, Evidence::Tested]),
            age_h: dice.maybe(|d| d.number(0.0, 100.0)),
        })
        .collect();
    if dice.chance(20) {
        let panel_c = dice.number(-5.0, 95.0);
        scene.inspection.readings = vec![PanelReading { zone: dice.of(&zones), panel_c }];
    }
    if dice.chance(10) {
        scene.inspection.scratched = vec![dice.of(&zones)];
    }
    scene.inspection.parked_min = dice.maybe(|d| d.below(120) as u32);
    scene.inspection.ring_stays_after_acid = dice.maybe(|d| d.chance(50));
    scene.booked_grade = dice.maybe(|d| grade(d.below(5) as u8));
}

fn order(dice: &mut Dice, scene: &mut Scene) {
    let package = match scene.vehicle.class {
        VehicleClass::RoadsterSofttop => dice.of(&["P1", "P2", "P3", "P4", "P5", "P6", "P7", "P8", "P9"]),
        _ => dice.of(&["P1", "P2", "P3", "P4", "P5", "P6", "P8", "P9"]),
    };
    let offered = scene.handbook.steps_of(package).filter(|e| e.role != PackageRole::Required);
    let options: Vec<String> = offered.filter(|_| dice.chance(25)).map(|e| e.step.clone()).collect();
    scene.package = package.into();
    scene.options = options;
    scene.extra_work.approved = dice.maybe(|d| d.chance(70));
    scene.extra_work.silent_min = dice.below(20) as u32;
    if dice.chance(30) {
        // Work goes in the order of a plan, so what is done is the beginning of one.
        let lines = scene.try_plan().map(|plan| plan.lines).unwrap_or_default();
        let done = dice.below(lines.len() + 1);
        scene.done = lines.into_iter().take(done).map(|l| l.step).collect();
    }
}

fn place(dice: &mut Dice, scene: &mut Scene) {
    let site = &mut scene.site;
    site.latitude = dice.maybe(|d| d.number(-70.0, 70.0));
    site.heading_deg = dice.maybe(|d| d.number(0.0, 360.0));
    site.covered = dice.maybe(|d| d.chance(20));
    site.tap = dice.maybe(|d| d.chance(50));
    site.mains = dice.maybe(|d| d.chance(50));
    site.hardness_mg_l = dice.maybe(|d| d.number(0.0, 400.0));
    site.water_restriction = dice.maybe(|d| d.below(4) as u8);
    site.drain = dice.maybe(|d| d.of(&[Drain::Storm, Drain::Sewer, Drain::Vegetated, Drain::None]));
    site.ground = dice.maybe(|d| d.of(&[Ground::Asphalt, Ground::NaturalStone, Ground::Gravel]));
    site.generator_allowed = dice.maybe(|d| d.chance(50));
    site.people_downwind_m = dice.maybe(|d| d.number(0.0, 30.0));
    site.next_vehicle_m = dice.maybe(|d| d.number(0.0, 5.0));
}

fn weather(dice: &mut Dice, scene: &mut Scene) {
    let (air_c, humidity, wind_m_s) =
        (dice.number(-5.0, 38.0), dice.number(0.2, 1.0), dice.number(0.0, 12.0));
    let clear = dice.chance(50);
    scene.each_hour(|h| {
        (h.air_c, h.humidity, h.wind_m_s) = (air_c, humidity, wind_m_s);
        h.sun_w_m2 = if clear { None } else { Some(60.0) };
    });
    if dice.chance(30) {
        let from = dice.below(48);
        scene.hours(from, from + 4, |h| h.rain_mm_h = 1.0);
    }
    if dice.chance(10) {
        scene.weather.hours.truncate(dice.below(24));
    }
    scene.start = day(0, 0) + TimeDelta::minutes(dice.below(24 * 60) as i64);
    scene.window_end = dice.chance(50).then(|| scene.start + TimeDelta::hours(4));
}

fn van(dice: &mut Dice, scene: &mut Scene) {
    let kit = &mut scene.kit;
    kit.equipment.retain(|_| dice.chance(90));
    kit.tank_l = dice.number(0.0, 600.0);
    kit.battery_kwh = dice.number(0.0, 6.0);
    for ml in kit.stock_ml.values_mut() {
        *ml = if dice.chance(90) { 20_000.0 } else { dice.number(0.0, 500.0) };
    }
    kit.vehicles_served.insert("clay_towel".into(), dice.below(350) as u32);
    scene.crew = (0..1 + dice.below(3)).map(|n| technician(["Nimbo", "Tarvel", "Quisk"][n])).collect();
}

/// A sane job with some values that may be anything at all.
pub fn mad(seed: u64) -> Scene {
    let mut scene = sane(seed);
    let dice = &mut Dice(seed ^ 0x5bd1_e995);
    for _ in 0..1 + dice.below(3) {
        spoil(dice, &mut scene);
    }
    scene
}

pub fn any_number(dice: &mut Dice) -> f64 {
    let bits = f64::from_bits(dice.roll());
    dice.of(&[f64::NAN, f64::INFINITY, f64::NEG_INFINITY, -0.0, f64::MAX, f64::MIN_POSITIVE, -1e9, bits])
}

fn spoil(dice: &mut Dice, scene: &mut Scene) {
    let number = any_number(dice);
    let at = dice.below(scene.weather.hours.len().max(1));
    let mut hour = |change: fn(&mut WeatherHour, f64)| {
        scene.weather.hours.iter_mut().skip(at).take(1).for_each(|h| change(h, number))
    };
    match dice.below(22) {
        0 => hour(|h, n| h.air_c = n),
        1 => hour(|h, n| h.humidity = n),
        2 => hour(|h, n| h.wind_m_s = n),
        3 => hour(|h, n| h.sun_w_m2 = Some(n)),
        4 => hour(|h, n| h.rain_mm_h = n),
        5 => hour(|h, n| h.gust_m_s = Some(n)),
        6 => hour(|h, _| h.at = NaiveDateTime::MAX),
        7 => scene.site.latitude = Some(number),
        8 => scene.site.longitude = Some(number),
        9 => scene.site.heading_deg = Some(number),
        10 => scene.kit.tank_l = number,
        11 => scene.kit.battery_kwh = number,
        12 => scene.vehicle.solar_absorptance = Some(number),
        13 => scene.vehicle.paint_thickness_um = Some(number),
        14 => scene.start = dice.of(&[NaiveDateTime::MIN, NaiveDateTime::MAX, day(23, 59)]),
        15 => scene.window_end = Some(dice.of(&[NaiveDateTime::MIN, NaiveDateTime::MAX, day(23, 59)])),
        16 => scene.utc_offset_min = dice.roll() as i32,
        17 => scene.vehicle.repainted_on = Some(dice.of(&[NaiveDate::MIN, NaiveDate::MAX, day(0, 0).date()])),
        18 => scene.crew = vec![technician("Zellow"); dice.below(12)],
        19 => scene.kit.stock_ml.values_mut().take(1).for_each(|ml| *ml = number),
        20 => scene.done = (0..9).map(|_| dice.of(&["A01", "D05", "C03", "Z01", "", "F02"]).into()).collect(),
        _ => scene.package = dice.of(&["P1", "", "P10", "p2"]).into(),
    }
}
