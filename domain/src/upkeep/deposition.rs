//! What settles out of the air, as far as it is published: settling velocity, iron near rails, brake wear, the salt and
//! corrosivity classes of ISO 9223.
//!
//! Rates on paint rest on these and on handbook rows named as assumptions; nobody has published them.

use crate::parking::{ChlorideClass, CorrosivityClass};

/// Seconds in a day.
const DAY_S: f64 = 86_400.0;
/// Distance at which a source's deposition is given, m.
pub const REFERENCE_DISTANCE_M: f64 = 10.0;
/// Airborne iron in PM10 10 m beside a busy line, long-term mean, µg/m³ (Gehrig et al. 2007, Atmospheric Environment
/// 41:923).
pub const RAIL_IRON_UG_M3: f64 = 1.0;
/// Iron oxide, kg/m³ (haematite; handbook value from memory).
pub const IRON_OXIDE_KG_M3: f64 = 5240.0;
/// Deposition velocity of PM10 in the published soiling model, m/s (Coello & Boyle 2019, IEEE Journal of Photovoltaics
/// 9:1382); a lower bound for coarse iron.
pub const PM10_VELOCITY_M_S: f64 = 0.004;

/// Emission of wear per vehicle and kilometre, mg/km (EMEP/EEA 2019, chapters 1.A.3.b.vi and vii, tier 1).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wear {
    pub total_mg_km: f64,
    pub pm10_mg_km: f64,
}

pub const CAR_BRAKES: Wear = Wear { total_mg_km: 7.5, pm10_mg_km: 7.35 };
/// Of these, PM2.5.
pub const CAR_BRAKES_PM25_MG_KM: f64 = 2.93;
pub const LORRY_BRAKES: Wear = Wear { total_mg_km: 32.7, pm10_mg_km: 32.0 };
pub const CAR_TYRES: Wear = Wear { total_mg_km: 10.7, pm10_mg_km: 6.4 };
pub const CAR_ROAD: Wear = Wear { total_mg_km: 15.0, pm10_mg_km: 7.5 };

/// Still air of 20 °C at sea level: viscosity Pa·s, density kg/m³, mean free path m (Hinds 1999, Aerosol Technology).
const AIR_PA_S: f64 = 1.81e-5;
const AIR_KG_M3: f64 = 1.204;
const FREE_PATH_M: f64 = 0.066e-6;
const GRAVITY_M_S2: f64 = 9.81;

/// Speed at which a sphere settles in still air, m/s: Stokes with Cunningham's slip and the drag of Schiller &
/// Naumann 1933.
///
/// ```
/// // Hinds 1999, table of settling velocities: 10 µm of unit density.
/// let v = domain::upkeep::deposition::settling_velocity_m_s(10e-6, 1000.0);
/// assert!((v / 3.06e-3 - 1.0).abs() < 0.01);
/// ```
pub fn settling_velocity_m_s(diameter_m: f64, density_kg_m3: f64) -> f64 {
    let ratio = FREE_PATH_M / diameter_m;
    let slip = 1.0 + ratio * (2.34 + 1.05 * (-0.39 / ratio).exp());
    let stokes = density_kg_m3 * diameter_m * diameter_m * GRAVITY_M_S2 * slip / (18.0 * AIR_PA_S);
    let mut speed = stokes;
    for _ in 0..100 {
        let reynolds = AIR_KG_M3 * speed * diameter_m / AIR_PA_S;
        speed = stokes / (1.0 + 0.15 * reynolds.powf(0.687));
    }
    speed
}

/// What settles on a level surface, mg/(m²·d), from a concentration in µg/m³.
pub fn deposition_mg_m2_d(concentration_ug_m3: f64, velocity_m_s: f64) -> f64 {
    concentration_ug_m3 * velocity_m_s * DAY_S * 1e-3
}

/// Share of the deposition at 10 m that is left at a distance: exp(-(x - 10) / scale), nearer taken as 10 m.
pub fn share_at(distance_m: f64, scale_m: f64) -> f64 {
    (-(distance_m.max(REFERENCE_DISTANCE_M) - REFERENCE_DISTANCE_M) / scale_m).exp()
}

/// Share of what settles on a level surface that settles on a tilted one.
pub fn tilt_share(tilt_deg: f64) -> f64 {
    tilt_deg.to_radians().cos().max(0.0)
}

/// Upper bounds of the chloride deposition classes S0 to S3, mg/(m²·d) (ISO 9223).
pub const CHLORIDE_BOUNDS_MG_M2_D: [f64; 4] = [3.0, 60.0, 300.0, 1500.0];
/// Upper bounds of the sulphur dioxide classes P0 to P3, mg/(m²·d) (ISO 9223:1992).
pub const SULPHUR_BOUNDS_MG_M2_D: [f64; 4] = [10.0, 35.0, 80.0, 200.0];
/// Upper bounds of the corrosivity categories C1 to CX for carbon steel, µm in the first year (ISO 9223:2012).
pub const CORROSIVITY_BOUNDS_UM: [f64; 6] = [1.3, 25.0, 50.0, 80.0, 200.0, 700.0];
/// Upper bounds of the time-of-wetness classes T1 to T3, h in a year above 0 °C and 80 % humidity (ISO 9223:1992).
pub const WETNESS_BOUNDS_H: [f64; 3] = [10.0, 250.0, 2500.0];

/// The class of a value by its upper bounds, 0 the lowest; none above the highest.
pub fn class_of(value: f64, bounds: &[f64]) -> Option<usize> {
    bounds.iter().position(|&bound| value <= bound)
}

impl ChlorideClass {
    /// The class of a chloride deposition, mg/(m²·d); above the highest bound the highest class.
    pub fn of(chloride_mg_m2_d: f64) -> ChlorideClass {
        match class_of(chloride_mg_m2_d, &CHLORIDE_BOUNDS_MG_M2_D) {
            Some(0) => ChlorideClass::S0,
            Some(1) => ChlorideClass::S1,
            Some(2) => ChlorideClass::S2,
            _ => ChlorideClass::S3,
        }
    }
}

impl ChlorideClass {
    /// A deposition in the middle of the class, mg/(m²·d): half the bound of the lowest, else the geometric mean of both.
    pub fn middle_mg_m2_d(self) -> f64 {
        let [s0, s1, s2, s3] = CHLORIDE_BOUNDS_MG_M2_D;
        match self {
            ChlorideClass::S0 => s0 / 2.0,
            ChlorideClass::S1 => (s0 * s1).sqrt(),
            ChlorideClass::S2 => (s1 * s2).sqrt(),
            ChlorideClass::S3 => (s2 * s3).sqrt(),
        }
    }
}

impl CorrosivityClass {
    /// The class of a corrosion of bare carbon steel in the first year, µm; above the highest bound the highest class.
    pub fn of(steel_um: f64) -> CorrosivityClass {
        match class_of(steel_um, &CORROSIVITY_BOUNDS_UM) {
            Some(0) => CorrosivityClass::C1,
            Some(1) => CorrosivityClass::C2,
            Some(2) => CorrosivityClass::C3,
            Some(3) => CorrosivityClass::C4,
            Some(4) => CorrosivityClass::C5,
            _ => CorrosivityClass::Cx,
        }
    }
}

/// Corrosion of bare carbon steel in the first year, µm (dose-response function of ISO 9223:2012): how harsh a site
/// is, not how fast paint gathers.
pub fn carbon_steel_um(
    air_c: f64,
    humidity_percent: f64,
    sulphur_mg_m2_d: f64,
    chloride_mg_m2_d: f64,
) -> f64 {
    let warmth = if air_c <= 10.0 { 0.150 } else { -0.054 } * (air_c - 10.0);
    1.77 * sulphur_mg_m2_d.powf(0.52) * (0.020 * humidity_percent + warmth).exp()
        + 0.102 * chloride_mg_m2_d.powf(0.62) * (0.033 * humidity_percent + 0.040 * air_c).exp()
}
