//! One quiet job that every test changes in one place.

pub use crate::plan_cases::Case as Scene;
use chrono::{NaiveDate, NaiveDateTime, NaiveTime, TimeDelta};
use domain::handbook::Handbook;
use domain::inspection::{Contaminant, Evidence, Finding, Grade, Inspection, PanelReading};
use domain::plan::{CrewMember, ExtraWork, JobPlan, Kit, PlanError, PlanFacts, PlanLine, Waiver, plan_job};
use domain::site::{Drain, Ground, HourRange, Site, Weather, WeatherHour};
use domain::vehicle::{Coat, Colour, Exposure, Substrate, Surface, Vehicle, VehicleClass, Zone};
use std::sync::Arc;

pub fn day(hour: u32, minute: u32) -> NaiveDateTime {
    NaiveDate::from_ymd_opt(2031, 4, 15).unwrap().and_hms_opt(hour, minute, 0).unwrap()
}

pub fn time(hour: u32, minute: u32) -> NaiveTime {
    NaiveTime::from_hms_opt(hour, minute, 0).unwrap()
}

pub fn grade(grade: u8) -> Grade {
    Grade::new(grade).unwrap()
}

/// A silver sedan with light film for a deep cleanse on a mild, overcast, calm Tuesday in April; everything about
/// the place is known, the van carries everything, one skilled technician.
pub fn quiet() -> Scene {
    let handbook = Handbook::standard().clone();
    let kit = Kit {
        equipment: handbook.equipment.iter().map(|e| e.id.clone()).collect(),
        tank_l: 400.0,
        battery_kwh: 5.0,
        stock_ml: handbook
            .product_classes
            .iter()
            .filter(|p| !p.banned)
            .map(|p| (p.id.clone(), 20_000.0))
            .collect(),
        vehicles_served: [("clay_towel".to_string(), 10)].into(),
    };
    Scene {
        facts: PlanFacts {
            vehicle: sedan(),
            inspection: Inspection {
                findings: vec![finding(Zone::Doors, Contaminant::Film, 1)],
                parked_min: Some(60),
                ..Inspection::default()
            },
            booked_grade: Some(grade(1)),
            package: "P2".into(),
            options: vec![],
            site: site(),
            weather: steady(hour(16.0)),
            kit,
            crew: vec![technician("Nimbo")],
            extra_work: ExtraWork::default(),
            done: vec![],
            refill_stops: 0,
            waivers: vec![],
            last_salted_on: None,
            norms: Arc::default(),
        },
        handbook,
        start: day(9, 0),
        utc_offset_min: 120,
        window_end: None,
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
        exposures: vec![Exposure { kind: "garage_daily".into(), share: 1.0 }],
        first_registered_on: None,
        parking: vec![],
        driving: None,
        decontaminated_on: None,
        paint_thickness_um: Some(130.0),
        paint_scatter_um: Some(10.0),
        high_voltage: false,
    }
}

fn site() -> Site {
    Site {
        latitude: Some(51.0),
        longitude: Some(7.0),
        heading_deg: Some(180.0),
        covered: Some(false),
        tap: Some(true),
        mains: Some(true),
        hardness_mg_l: Some(100.0),
        water_restriction: Some(0),
        drain: Some(Drain::Sewer),
        ground: Some(Ground::Asphalt),
        machine_hours: Some(HourRange { from: time(7, 0), to: time(20, 0) }),
        generator_allowed: Some(true),
        saturday_allowed: Some(true),
        people_downwind_m: Some(50.0),
        next_vehicle_m: Some(5.0),
        ..Site::default()
    }
}

pub fn technician(name: &str) -> CrewMember {
    let skills =
        ["wash", "decon", "clay", "polish", "coating", "soft_top", "rinseless", "acid_mild", "platform"];
    CrewMember { name: name.into(), skills: skills.map(String::from).to_vec(), trainee: false }
}

/// An overcast hour: no side is sunny, no panel more than a few degrees over the air.
pub fn hour(air_c: f64) -> WeatherHour {
    WeatherHour {
        at: day(0, 0),
        air_c,
        humidity: 0.6,
        wind_m_s: 1.0,
        gust_m_s: Some(2.0),
        sun_w_m2: Some(60.0),
        rain_mm_h: 0.0,
        thunder: false,
    }
}

/// The same hour from midnight before the job for three days.
pub fn steady(hour: WeatherHour) -> Weather {
    let at = |n: i64| day(0, 0) + TimeDelta::hours(n);
    Weather { hours: (0..72).map(|n| WeatherHour { at: at(n), ..hour.clone() }).collect() }
}

pub fn finding(zone: Zone, contaminant: Contaminant, of: u8) -> Finding {
    Finding { zone, contaminant, grade: grade(of), evidence: Evidence::Seen, age_h: None }
}

impl Scene {
    pub fn try_plan(&self) -> Result<JobPlan, PlanError> {
        plan_job(&self.input())
    }

    pub fn plan(&self) -> JobPlan {
        self.try_plan().unwrap_or_else(|error| panic!("{error}"))
    }

    // ---- what tests change ----

    pub fn each_hour(&mut self, change: impl Fn(&mut WeatherHour)) {
        self.weather.hours.iter_mut().for_each(change);
    }

    /// Changes the hours that begin at or after `from_h` and before `to_h`, counted from midnight before the job.
    pub fn hours(&mut self, from_h: usize, to_h: usize, change: impl Fn(&mut WeatherHour)) {
        self.weather.hours[from_h..to_h].iter_mut().for_each(change);
    }

    pub fn find(&mut self, zone: Zone, contaminant: Contaminant, of: u8) {
        self.inspection.findings.push(finding(zone, contaminant, of));
    }

    pub fn find_aged(&mut self, zone: Zone, contaminant: Contaminant, of: u8, age_h: f64) {
        self.inspection.findings.push(Finding { age_h: Some(age_h), ..finding(zone, contaminant, of) });
    }

    pub fn read(&mut self, zone: Zone, panel_c: f64) {
        self.inspection.readings.push(PanelReading { zone, panel_c });
    }

    pub fn package(&mut self, package: &str, options: &[&str]) {
        self.package = package.into();
        self.options = options.iter().map(|o| o.to_string()).collect();
    }

    pub fn done(&mut self, steps: &str) {
        self.done = steps.split_whitespace().map(String::from).collect();
    }

    pub fn surface(&mut self, zone: Zone, substrate: Substrate, inclusions: &[Substrate]) {
        self.vehicle.surfaces.push(Surface { zone, substrate, inclusions: inclusions.to_vec() });
    }

    pub fn coat(&mut self, protection: &str) {
        let applied_on = NaiveDate::from_ymd_opt(2031, 1, 1).unwrap();
        self.vehicle.coats.push(Coat { protection: protection.into(), zone: None, applied_on });
    }

    pub fn expose(&mut self, kind: &str) {
        self.vehicle.exposures.push(Exposure { kind: kind.into(), share: 1.0 });
    }

    pub fn leave_at_home(&mut self, equipment: &[&str]) {
        self.kit.equipment.retain(|e| !equipment.contains(&e.as_str()));
    }

    /// The customer agrees in writing to leave zones and steps out, or accepts what the rule warns of.
    pub fn waive(&mut self, rule: &str, zones: &[Zone], steps: &[&str]) {
        self.waivers.push(Waiver {
            rule: rule.into(),
            zones: zones.to_vec(),
            steps: steps.iter().map(|s| s.to_string()).collect(),
            by: "Hyppa".into(),
            at: day(9, 12),
        });
    }

    pub fn second_hand(&mut self) {
        self.crew.push(technician("Tarvel"));
    }

    /// Cells of the handbook, as a shop would override them.
    pub fn shop(&mut self, overrides: serde_json::Value) {
        self.handbook = Handbook::standard().with_overrides(&overrides).unwrap();
    }
}

/// What tests ask of a plan.
pub trait Ask {
    fn has(&self, step: &str) -> bool;
    fn line(&self, step: &str) -> &PlanLine;
    fn place(&self, step: &str) -> usize;
}

impl Ask for JobPlan {
    fn has(&self, step: &str) -> bool {
        self.lines.iter().any(|l| l.step == step)
    }

    fn line(&self, step: &str) -> &PlanLine {
        self.lines.iter().find(|l| l.step == step).unwrap_or_else(|| panic!("no {step} in the plan"))
    }

    fn place(&self, step: &str) -> usize {
        self.lines.iter().position(|l| l.step == step).unwrap_or_else(|| panic!("no {step} in the plan"))
    }
}
