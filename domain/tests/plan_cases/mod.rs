//! Invented jobs that the tests, the bench and the fuzzer of plans share.
#![allow(dead_code, reason = "each of them uses some")]

use chrono::{Duration, NaiveDate, NaiveDateTime, Timelike};
use domain::handbook::Handbook;
use domain::inspection::{Contaminant, Evidence, Finding, Grade, Inspection};
use domain::plan::{CrewMember, ExtraWork, Kit, PlanFacts, PlanInput, Start};
use domain::site::{Drain, Ground, Site, Weather, WeatherHour};
use domain::vehicle::{Colour, Substrate, Vehicle, VehicleClass};
use std::ops::{Deref, DerefMut};
use std::sync::Arc;

/// A job by a handbook at a start, which tests change in one place. Its facts are reached as if they were its own.
#[derive(Debug, Clone)]
pub struct Case {
    pub handbook: Handbook,
    pub facts: PlanFacts,
    pub start: NaiveDateTime,
    pub utc_offset_min: i32,
    pub window_end: Option<NaiveDateTime>,
}

impl Deref for Case {
    type Target = PlanFacts;

    fn deref(&self) -> &PlanFacts {
        &self.facts
    }
}

impl DerefMut for Case {
    fn deref_mut(&mut self) -> &mut PlanFacts {
        &mut self.facts
    }
}

pub const EVERY_SKILL: [&str; 9] =
    ["wash", "decon", "clay", "polish", "coating", "soft_top", "rinseless", "acid_mild", "platform"];

pub const CONTAMINANTS: [Contaminant; 18] = [
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
    Contaminant::Oxidation,
];

impl Case {
    pub fn input(&self) -> PlanInput<'_> {
        let (utc_offset_min, window_end) = (self.utc_offset_min, self.window_end);
        self.facts.input(&self.handbook, &Start { at: self.start, utc_offset_min, window_end })
    }

    pub fn with_crew(mut self, technicians: usize) -> Case {
        self.crew = crew(technicians);
        self
    }

    pub fn of(mut self, class: VehicleClass, package: &str) -> Case {
        self.vehicle.class = class;
        self.package = package.to_string();
        self
    }
}

pub fn day() -> NaiveDate {
    NaiveDate::from_ymd_opt(2026, 5, 12).unwrap_or_default()
}

pub fn at(hour: u32, minute: u32) -> NaiveDateTime {
    day().and_hms_opt(hour, minute, 0).unwrap_or_default()
}

pub fn technician(name: &str, skills: &[&str]) -> CrewMember {
    CrewMember {
        name: name.to_string(),
        skills: skills.iter().map(|skill| skill.to_string()).collect(),
        trainee: false,
    }
}

pub fn crew(technicians: usize) -> Vec<CrewMember> {
    let names = ["Ada", "Ben", "Cleo", "Dov", "Eva", "Finn", "Gus", "Hal"];
    names.iter().take(technicians).map(|name| technician(name, &EVERY_SKILL)).collect()
}

/// Twenty-four hours of a mild, half-bright spring day.
pub fn mild_weather() -> Weather {
    let hours = (0..24).map(|hour: i64| {
        let noon = 1.0 - ((hour - 13).abs() as f64 / 7.0).min(1.0);
        WeatherHour {
            at: at(0, 0) + Duration::hours(hour),
            air_c: 11.0 + 5.0 * noon,
            humidity: 0.7 - 0.2 * noon,
            wind_m_s: 2.0,
            gust_m_s: None,
            sun_w_m2: Some(250.0 * noon),
            rain_mm_h: 0.0,
            thunder: false,
        }
    });
    Weather { hours: hours.collect() }
}

/// A sedan of typical dirt for a maintenance wash by one technician.
pub fn sedan_wash() -> Case {
    Case {
        handbook: Handbook::standard().clone(),
        facts: PlanFacts {
            vehicle: sedan(),
            inspection: Inspection::default(),
            booked_grade: Grade::new(2),
            package: "P1".to_string(),
            options: vec![],
            site: driveway(),
            weather: mild_weather(),
            kit: full_kit(),
            crew: crew(1),
            extra_work: ExtraWork { approved: Some(true), silent_min: 0 },
            done: vec![],
            refill_stops: 0,
            waivers: vec![],
            last_salted_on: None,
            norms: Arc::default(),
        },
        start: at(9, 0),
        utc_offset_min: 120,
        window_end: Some(at(13, 0)),
    }
}

fn sedan() -> Vehicle {
    Vehicle {
        class: VehicleClass::Sedan,
        colour: Colour::Silver,
        solar_absorptance: None,
        finish: Substrate::ClearCoat,
        surfaces: vec![],
        coats: vec![],
        repainted_on: None,
        repainted_zones: vec![],
        exposures: vec![],
        first_registered_on: None,
        parking: vec![],
        driving: None,
        decontaminated_on: None,
        paint_thickness_um: Some(120.0),
        paint_scatter_um: Some(8.0),
        high_voltage: false,
    }
}

fn driveway() -> Site {
    Site {
        latitude: Some(48.0),
        longitude: Some(11.0),
        heading_deg: Some(30.0),
        covered: Some(false),
        tap: Some(true),
        mains: Some(true),
        hardness_mg_l: Some(100.0),
        water_restriction: Some(0),
        drain: Some(Drain::Vegetated),
        ground: Some(Ground::Asphalt),
        generator_allowed: Some(true),
        people_downwind_m: Some(30.0),
        next_vehicle_m: Some(20.0),
        ..Site::default()
    }
}

/// Everything the handbook knows is on the van; a second polisher, and a battery beside the customer's socket.
pub fn full_kit() -> Kit {
    let equipment = Handbook::standard().equipment.iter().map(|e| e.id.clone());
    let more = ["polisher", "battery_pack"].map(String::from);
    Kit { equipment: equipment.chain(more).collect(), tank_l: 400.0, battery_kwh: 4.0, ..Kit::default() }
}

/// The dearest plan there is: a motorhome to be coated, everything found on every zone at grade 3, four
/// technicians, a day of weather.
pub fn worst_case() -> Case {
    let mut case = sedan_wash().of(VehicleClass::Motorhome, "P4").with_crew(4);
    case.inspection = everything_found(&case, Grade::HEAVY);
    case.options = case
        .handbook
        .steps_of("P4")
        .filter(|entry| entry.role == domain::handbook::PackageRole::Optional)
        .map(|entry| entry.step.clone())
        .collect();
    case.start = at(6, 0);
    case.window_end = Some(at(23, 0));
    case
}

/// A black vehicle at noon on a cloudless July day: panels far over every limit.
pub fn hot_day(mut case: Case) -> Case {
    case.vehicle.colour = Colour::Black;
    for hour in &mut case.weather.hours {
        let noon = 1.0 - ((f64::from(hour.at.hour()) - 13.0).abs() / 9.0).min(1.0);
        (hour.air_c, hour.humidity, hour.sun_w_m2) = (20.0 + 14.0 * noon, 0.35, Some(950.0 * noon));
    }
    case
}

pub fn everything_found(case: &Case, grade: Grade) -> Inspection {
    let zones: Vec<_> = case.handbook.zones_of(case.vehicle.class).map(|row| row.zone).collect();
    let findings = zones.into_iter().flat_map(|zone| {
        CONTAMINANTS.map(|contaminant| Finding {
            zone,
            contaminant,
            grade,
            evidence: Evidence::Tested,
            age_h: Some(20.0),
        })
    });
    Inspection { findings: findings.collect(), parked_min: Some(60), ..Inspection::default() }
}
