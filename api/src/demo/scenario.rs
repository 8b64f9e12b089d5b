//! The invented town of Dravelmouth: its tables as typed rows, and what they mean for the API.
//!
//! Everything here is made up. The tables are in `api/demo`; where they are silent, the constants below speak.

use chrono::{Datelike, NaiveDate, NaiveDateTime, NaiveTime, TimeDelta};
use domain::handbook::Handbook;
use domain::inspection::{Contaminant, Evidence, Finding, Grade, Inspection};
use domain::parking::{Driving, NearSource, ParkingPlace, Sheltering, SourceKind};
use domain::plan::Kit;
use domain::site::sun::{Face, Place, Stand};
use domain::site::{Drain, Ground, HourRange, Site, Weather, WeatherHour};
use domain::vehicle::{Coat, Colour, Exposure, Substrate, Surface, Vehicle, VehicleClass, Zone};
use serde::Deserialize;
use serde::de::DeserializeOwned;

pub const SHOP: &str = "Dravelmouth Rolling Wash";
pub const TIME_ZONE: &str = "Europe/London";
pub const OWNER: (&str, &str) = ("Marwyx", "marwyx@dravelmouth.example");
pub const DISPATCHER: (&str, &str) = ("Hesk", "hesk@dravelmouth.example");
/// The depot, at sea, where no real town is, and as far south as the table's 900 W/m² at noon in April ask for; one
/// kilometre of the invented grid is one on the globe.
pub const DEPOT: (f64, f64) = (36.2, -3.5);
const KM_PER_DEGREE: f64 = 111.2;

pub struct Scenario {
    pub crew: Vec<CrewRow>,
    pub vans: Vec<VanRow>,
    pub customers: Vec<CustomerRow>,
    pub vehicles: Vec<VehicleRow>,
    /// Where some of them stand, place by place; a place near several sources has several rows.
    pub parking: Vec<ParkingRow>,
    pub driving: Vec<DrivingRow>,
    pub weather: Vec<WeatherRow>,
    pub jobs: Vec<JobRow>,
}

#[derive(Debug, Clone, Deserialize)]
pub struct CrewRow {
    pub id: String,
    pub name: String,
    pub role: String,
    pub van: String,
    pub skills: String,
    pub days: String,
    pub from: String,
    pub to: String,
}

#[derive(Debug, Clone, Deserialize)]
pub struct VanRow {
    pub id: String,
    pub name: String,
    pub seats: i32,
    pub tank_l: f64,
    pub battery_kwh: f64,
    pub equipment: String,
}

#[derive(Debug, Clone, Deserialize)]
pub struct CustomerRow {
    pub id: String,
    pub name: String,
    pub district: String,
    pub x_km: f64,
    pub y_km: f64,
    pub reminder_consent: String,
    pub site_supply: String,
    pub surface_drain: String,
    pub note: String,
}

#[derive(Debug, Clone, Deserialize)]
pub struct VehicleRow {
    pub id: String,
    pub customer: String,
    pub class: VehicleClass,
    pub colour: Colour,
    pub finish: Substrate,
    pub exposure: String,
    pub share_of_time_exposed: f64,
    pub days_since_decon: i64,
    pub protection: String,
    pub protection_age_days: Option<i64>,
    pub surfaces: String,
}

#[derive(Debug, Clone, Deserialize)]
pub struct WeatherRow {
    pub date: NaiveDate,
    pub t_min_c: f64,
    pub t_max_c: f64,
    pub wind_m_s: f64,
    pub gust_m_s: Option<f64>,
    pub sun_noon_w_m2: f64,
    pub rh_noon_pct: f64,
    pub water_restriction: u8,
    pub rain_from: Option<u32>,
    pub rain_to: Option<u32>,
    pub thunder_from: Option<u32>,
    pub thunder_to: Option<u32>,
    pub frost_c: Option<f64>,
}

#[derive(Debug, Clone, Deserialize)]
pub struct JobRow {
    pub id: String,
    pub date: NaiveDate,
    pub window_from: String,
    pub window_to: String,
    pub vehicle: String,
    pub package: String,
    pub booked_van: String,
    pub booked_grade: u8,
    pub found_grade: u8,
    pub conflict: String,
    pub note: String,
}

#[derive(Debug, Clone, Deserialize)]
pub struct ParkingRow {
    pub vehicle: String,
    pub place: String,
    pub share: f64,
    pub sheltering: Sheltering,
    pub source: Option<SourceKind>,
    pub distance_m: Option<f64>,
    pub hardness_mg_l: Option<f64>,
}

#[derive(Debug, Clone, Deserialize)]
pub struct DrivingRow {
    pub vehicle: String,
    pub km_per_week: f64,
    pub motorway_share: f64,
    pub on_salted_roads: bool,
}

impl Scenario {
    /// The built-in tables; a broken one fails the tests and says which.
    pub fn read() -> Result<Scenario, csv::Error> {
        Ok(Scenario {
            crew: rows(include_str!("../../demo/crew.csv"))?,
            vans: rows(include_str!("../../demo/vans.csv"))?,
            customers: rows(include_str!("../../demo/customers.csv"))?,
            vehicles: rows(include_str!("../../demo/vehicles.csv"))?,
            parking: rows(include_str!("../../demo/parking.csv"))?,
            driving: rows(include_str!("../../demo/driving.csv"))?,
            weather: rows(include_str!("../../demo/weather.csv"))?,
            jobs: rows(include_str!("../../demo/jobs.csv"))?,
        })
    }

    /// Where a vehicle stands, as far as the tables say it place by place.
    pub fn parking(&self, vehicle: &str) -> Vec<ParkingPlace> {
        let mut places: Vec<ParkingPlace> = Vec::new();
        for row in self.parking.iter().filter(|row| row.vehicle == vehicle) {
            if places.last().is_none_or(|place| place.name.as_ref() != Some(&row.place)) {
                let (name, share, sheltering) = (Some(row.place.clone()), row.share, row.sheltering);
                places.push(ParkingPlace { name, share, sheltering, ..ParkingPlace::default() });
            }
            let source = row.source.map(|kind| NearSource {
                kind,
                distance_m: row.distance_m,
                hardness_mg_l: row.hardness_mg_l,
                wettings_per_week: None,
                chloride_class: None,
            });
            if let Some(place) = places.last_mut() {
                place.sources.extend(source);
            }
        }
        places
    }

    pub fn driving(&self, vehicle: &str) -> Option<Driving> {
        let row = self.driving.iter().find(|row| row.vehicle == vehicle)?;
        Some(Driving {
            km_per_week: row.km_per_week,
            motorway_share: row.motorway_share,
            on_salted_roads: row.on_salted_roads,
        })
    }

    /// Working days, in order.
    pub fn days(&self) -> Vec<NaiveDate> {
        self.weather.iter().map(|row| row.date).collect()
    }

    /// The day before the first.
    pub fn eve(&self) -> Option<NaiveDate> {
        self.weather.first().and_then(|row| row.date.pred_opt())
    }
}

fn rows<T: DeserializeOwned>(text: &str) -> Result<Vec<T>, csv::Error> {
    csv::Reader::from_reader(text.as_bytes()).deserialize().collect()
}

pub fn list(cell: &str) -> Vec<String> {
    cell.split(';').map(str::trim).filter(|word| !word.is_empty()).map(String::from).collect()
}

pub fn time(text: &str) -> NaiveTime {
    NaiveTime::parse_from_str(text, "%H:%M").unwrap_or(NaiveTime::MIN)
}

impl CrewRow {
    /// Weekdays worked, 1 Monday to 7 Sunday.
    pub fn weekdays(&self) -> Vec<u8> {
        const NAMES: [&str; 7] = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"];
        (1..).zip(NAMES).filter(|(_, name)| self.days.contains(name)).map(|(number, _)| number).collect()
    }

    /// On the van that day: working, and not the one who is ill on the day a two-hand job needs him.
    pub fn present(&self, on: NaiveDate) -> bool {
        let ill = self.id == "T2" && (on.month(), on.day()) == (3, 25);
        !ill && self.works(on)
    }

    /// A day of their week.
    pub fn works(&self, on: NaiveDate) -> bool {
        self.weekdays().iter().any(|&day| u32::from(day) == on.weekday().number_from_monday())
    }
}

impl VanRow {
    /// The kit on a day. The small van runs low on iron remover in the last week.
    pub fn kit(&self, on: NaiveDate) -> Kit {
        const FULL_ML: f64 = 10_000.0;
        let everything = Handbook::standard().product_classes.iter().filter(|product| !product.banned);
        let mut stock_ml: std::collections::BTreeMap<String, f64> =
            everything.map(|product| (product.id.clone(), FULL_ML)).collect();
        if self.id == "V3" && (on.month(), on.day()) == (4, 4) {
            stock_ml.insert("iron_remover".into(), 800.0);
        }
        Kit {
            equipment: list(&self.equipment),
            tank_l: self.tank_l,
            battery_kwh: self.battery_kwh,
            stock_ml,
            vehicles_served: [("clay_towel".to_string(), 60)].into(),
        }
    }
}

impl CustomerRow {
    /// The site as it is on a day: restrictions begin in the second week in two districts.
    pub fn site(&self, weather: &WeatherRow) -> Site {
        let number: u32 = self.id.trim_start_matches('C').parse().unwrap_or(0);
        let restricted = matches!(self.district.as_str(), "D1" | "D7");
        let (ground, drain) = match self.surface_drain.as_str() {
            "street, storm drain 5 m" => (Ground::Asphalt, Drain::Storm),
            "drive, natural stone" => (Ground::NaturalStone, Drain::Vegetated),
            "yard, sewer drain" => (Ground::Concrete, Drain::Sewer),
            _ => (Ground::Concrete, Drain::Vegetated),
        };
        let association = self.district == "D5";
        let hours = match self.district.as_str() {
            "D5" => ("09:00", "16:00"),
            "D8" => ("06:30", "20:00"),
            _ => ("07:00", "20:00"),
        };
        Site {
            latitude: Some(DEPOT.0 + self.y_km / KM_PER_DEGREE),
            longitude: Some(DEPOT.1 + self.x_km / (KM_PER_DEGREE * DEPOT.0.to_radians().cos())),
            heading_deg: Some(f64::from(number * 37 % 360)),
            covered: Some(false),
            tap: Some(self.site_supply.contains("tap")),
            mains: Some(self.site_supply.contains("mains")),
            hardness_mg_l: Some(match self.district.as_str() {
                "D6" => 260.0,
                "D7" => 210.0,
                _ => 120.0,
            }),
            water_restriction: Some(if restricted { weather.water_restriction } else { 0 }),
            drain: Some(drain),
            ground: Some(ground),
            machine_hours: Some(HourRange { from: time(hours.0), to: time(hours.1) }),
            generator_allowed: Some(!association),
            saturday_allowed: Some(!association),
            people_downwind_m: Some(f64::from(6 + number % 5 * 4)),
            next_vehicle_m: Some(f64::from(3 + number % 4)),
            access_note: Some(self.note.clone()).filter(|note| !note.is_empty()),
            ..Site::default()
        }
    }
}

impl VehicleRow {
    pub fn document(&self, eve: NaiveDate) -> Vehicle {
        let ago = |days: i64| eve.checked_sub_signed(TimeDelta::days(days)).unwrap_or(eve);
        let coat = self.protection_age_days.filter(|_| self.protection != "none");
        Vehicle {
            class: self.class,
            colour: self.colour,
            solar_absorptance: None,
            finish: self.finish,
            surfaces: list(&self.surfaces).iter().filter_map(|cell| surface(cell)).collect(),
            coats: coat
                .map(|age| Coat { protection: self.protection.clone(), zone: None, applied_on: ago(age) })
                .into_iter()
                .collect(),
            repainted_on: None,
            repainted_zones: vec![],
            exposures: vec![Exposure { kind: self.exposure.clone(), share: self.share_of_time_exposed }],
            first_registered_on: None,
            parking: vec![],
            driving: None,
            decontaminated_on: Some(ago(self.days_since_decon)),
            paint_thickness_um: Some(118.0),
            paint_scatter_um: Some(9.0),
            high_voltage: false,
        }
    }

    /// What is seen on the day when the overall grade is `found`: road film, and what the place of the vehicle
    /// brings, each where a zone catches it.
    pub fn inspection(&self, job: &JobRow) -> Inspection {
        let handbook = Handbook::standard();
        let mut kinds = vec![Contaminant::Film];
        kinds.extend(handbook.exposure(&self.exposure).map(|row| row.adds.clone()).unwrap_or_default());
        kinds.dedup();
        let mut findings = Vec::new();
        for row in handbook.zones_of(self.class) {
            for &contaminant in &kinds {
                // Worst places carry the found grade, others a third or two thirds of it.
                let grade =
                    (f64::from(job.found_grade * row.susceptibility(contaminant)) / 3.0).round() as u8;
                if let Some(grade) = Grade::new(grade).filter(|grade| *grade > Grade::NONE) {
                    findings.push(Finding {
                        zone: row.zone,
                        contaminant,
                        grade,
                        evidence: Evidence::Seen,
                        age_h: None,
                    });
                }
            }
        }
        findings.extend(spots(&job.conflict, &job.note, self.class));
        Inspection {
            findings,
            parked_min: Some(90),
            ring_stays_after_acid: Some(false),
            ..Inspection::default()
        }
    }
}

impl VehicleRow {
    /// What is left after the work: everything that was found is down to light at most.
    pub fn left(&self, job: &JobRow) -> Vec<Finding> {
        let mut left = self.inspection(job).findings;
        for finding in &mut left {
            finding.grade = if finding.grade >= Grade::HEAVY { Grade::LIGHT } else { Grade::NONE };
            finding.evidence = Evidence::Felt;
        }
        left
    }
}

/// `zone=substrate`.
fn surface(cell: &str) -> Option<Surface> {
    let (zone, substrate) = cell.split_once('=')?;
    let word = |text: &str| serde_json::Value::String(text.to_owned());
    Some(Surface {
        zone: serde_json::from_value(word(zone)).ok()?,
        substrate: serde_json::from_value(word(substrate)).ok()?,
        inclusions: vec![],
    })
}

/// What a named conflict puts on the vehicle.
fn spots(conflict: &str, note: &str, class: VehicleClass) -> Vec<Finding> {
    let on = |zone, contaminant, grade, age_h| Finding {
        zone,
        contaminant,
        grade,
        evidence: Evidence::Seen,
        age_h,
    };
    match conflict {
        "urgency" if note.contains("bird") => {
            vec![on(Zone::Roof, Contaminant::Bird, Grade::TYPICAL, Some(30.0))]
        }
        "urgency" => vec![
            on(Zone::FrontBumper, Contaminant::Insect, Grade::HEAVY, None),
            on(Zone::Roof, Contaminant::Pollen, Grade::HEAVY, None),
        ],
        "skill;salt" => vec![
            on(Zone::Rocker, Contaminant::Salt, Grade::WORST, None),
            on(Zone::WheelArch, Contaminant::Salt, Grade::WORST, None),
        ],
        "crew" if class == VehicleClass::LargeVan => vec![
            on(Zone::Tail, Contaminant::Film, Grade::WORST, None),
            on(Zone::Roof, Contaminant::Film, Grade::WORST, None),
        ],
        _ => vec![],
    }
}

impl WeatherRow {
    /// The day hour by hour: coldest at six, warmest at three, the sun as under a clear sky times the day's share of it.
    pub fn weather(&self) -> Weather {
        Weather { hours: (0..24).filter_map(|hour| self.hour(hour)).collect() }
    }

    fn hour(&self, hour: u32) -> Option<WeatherHour> {
        let within =
            |from: Option<u32>, to: Option<u32>| from.zip(to).is_some_and(|(a, b)| (a..b).contains(&hour));
        let frost = self.frost_c.filter(|_| hour <= 7);
        let swing = 0.5 - 0.5 * (std::f64::consts::TAU * (f64::from(hour) - 3.0) / 24.0).cos();
        let air_c = frost.unwrap_or(self.t_min_c + (self.t_max_c - self.t_min_c) * swing);
        let height = clear_sky_w_m2(self.date, hour) / clear_sky_w_m2(self.date, 12).max(1.0);
        // Vapour stays, so the relative humidity falls as the air warms: about 5 % of it per kelvin.
        let humidity = self.rh_noon_pct / 100.0 * 1.05_f64.powf(self.t_max_c - air_c);
        Some(WeatherHour {
            at: NaiveDateTime::new(self.date, NaiveTime::from_hms_opt(hour, 0, 0)?),
            air_c: (air_c * 10.0).round() / 10.0,
            humidity: (humidity.min(0.98) * 100.0).round() / 100.0,
            wind_m_s: self.wind_m_s,
            gust_m_s: self.gust_m_s,
            sun_w_m2: Some((self.sun_noon_w_m2 * height).round()),
            rain_mm_h: if within(self.rain_from, self.rain_to) { 1.5 } else { 0.0 },
            thunder: within(self.thunder_from, self.thunder_to),
        })
    }
}

/// Sun on level ground under a clear sky in the middle of the hour.
fn clear_sky_w_m2(on: NaiveDate, hour: u32) -> f64 {
    let place = Place { latitude_deg: DEPOT.0, longitude_deg: DEPOT.1, elevation_m: 0.0 };
    let stand =
        Stand { place, heading_deg: None, shade: &[], covered: false, utc_offset_min: 0, turbidity: None };
    let middle = on.and_hms_opt(hour, 30, 0).unwrap_or_default();
    stand.sun_on_face_w_m2(Face::Top, middle, None).unwrap_or(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_tables_are_read_and_fit_together() {
        let town = Scenario::read().expect("the tables are read");
        let counts =
            (town.crew.len(), town.vans.len(), town.customers.len(), town.vehicles.len(), town.jobs.len());
        assert_eq!(counts, (6, 4, 40, 40, 147));
        assert_eq!(town.jobs.iter().filter(|job| !job.conflict.is_empty()).count(), 26);
        for job in &town.jobs {
            assert!(town.vehicles.iter().any(|v| v.id == job.vehicle), "{}", job.id);
            assert!(town.vans.iter().any(|v| v.id == job.booked_van), "{}", job.id);
            assert!(town.days().contains(&job.date) && Handbook::standard().package(&job.package).is_some());
        }
    }
}
