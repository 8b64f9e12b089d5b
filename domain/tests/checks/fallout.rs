//! FAL-01 to FAL-50 as far as they can be computed, DAT-02 to DAT-04.

use super::{Check, check, check_percent, holds};
use domain::parking::ChlorideClass;
use domain::upkeep::GammaBelief;
use domain::upkeep::deposition::{
    self, CAR_BRAKES, CAR_BRAKES_PM25_MG_KM, CAR_ROAD, CAR_TYRES, CORROSIVITY_BOUNDS_UM, IRON_OXIDE_KG_M3,
    LORRY_BRAKES, PM10_VELOCITY_M_S, RAIL_IRON_UG_M3, WETNESS_BOUNDS_H, carbon_steel_um, class_of,
    deposition_mg_m2_d, settling_velocity_m_s, share_at,
};
use domain::upkeep::learning::{GammaPoisson, GammaProcess, gamma_quantile, growth_shape_to, growth_within};
use domain::upkeep::soiling::{AirStep, Kimber, light_share, loose_dirt_g_m2};

const EMEP: &str = "EMEP/EEA 2019 1.A.3.b.vi and vii, tier 1, as in the German inventory report 2022";
const HINDS: &str = "Hinds 1999, Aerosol Technology, table of settling velocities (from memory)";
const DRAG: &str = "Schiller-Naumann drag with Cunningham slip, iterated in Python";
const RAIL: &str =
    "Gehrig et al. 2007, Atmos. Environ. 41:923, times the settling velocity of 10 um iron oxide";
const VTI: &str = "Gustafsson et al. 2003, VTI: levels out at 50 to 100 m";
const LIU: &str = "Liu, Chen & Xue 2019, Heliyon 5:e02236: black carbon beside roads";
const KARNER: &str = "Karner, Eisinger & Niemeier 2010, doi 10.1021/es100008x: 41 studies";
const HSU: &str = "pvlib 0.16.1 soiling.hsu (Coello & Boyle 2019)";
const KIMBER: &str = "pvlib 0.16.1 soiling.kimber (Kimber 2006)";
const ISO: &str = "ISO 9223:2012, coefficients as in four public code copies";
const CLASSES: &str = "ISO 9223:1992 classes as in Corrosion Engineering, Principles and Practice, table 9.2";
const GAMMA: &str = "scipy 1.17.1 gamma; model of van Noortwijk 2009, RESS 94:2-21";
const CLOSED: &str = "closed form, and scipy 1.17.1 beta";
const POISSON: &str = "scipy 1.17.1 gamma and nbinom";
const NIST_PRIOR: &str = "NIST/SEMATECH e-Handbook 8.2.5";
const NIST_MTBF: &str = "NIST/SEMATECH e-Handbook 8.4.6";
const NIST_TEST: &str = "NIST/SEMATECH e-Handbook 8.3.1.5";

pub fn rows() -> Vec<Check> {
    [emissions(), settling(), corrosivity(), dirt(), amounts(), counts(), records()]
        .into_iter()
        .flatten()
        .collect()
}

fn emissions() -> Vec<Check> {
    vec![
        check("FAL-05", EMEP, "brakes of a car, mg/km", CAR_BRAKES.total_mg_km, 7.5, 0.01),
        check("FAL-05", EMEP, "of these PM10", CAR_BRAKES.pm10_mg_km, 7.35, 0.01),
        check("FAL-05", EMEP, "of these PM2.5", CAR_BRAKES_PM25_MG_KM, 2.93, 0.01),
        check("FAL-06", EMEP, "brakes of a lorry", LORRY_BRAKES.total_mg_km, 32.7, 0.05),
        check("FAL-06", EMEP, "of these PM10", LORRY_BRAKES.pm10_mg_km, 32.0, 0.05),
        check("FAL-07", EMEP, "tyres of a car", CAR_TYRES.total_mg_km, 10.7, 0.05),
        check("FAL-07", EMEP, "of these PM10", CAR_TYRES.pm10_mg_km, 6.4, 0.05),
        check("FAL-08", EMEP, "road under a car", CAR_ROAD.total_mg_km, 15.0, 0.01),
        check("FAL-08", EMEP, "of these PM10", CAR_ROAD.pm10_mg_km, 7.5, 0.01),
    ]
}

fn settling() -> Vec<Check> {
    let unit = |um: f64| settling_velocity_m_s(um * 1e-6, 1000.0);
    let oxide = |um: f64| settling_velocity_m_s(um * 1e-6, IRON_OXIDE_KG_M3);
    let standard = domain::handbook::Handbook::standard();
    let rail = standard.sources.get("rail_iron").unwrap();
    let road_m = standard.sources.get("busy_road_iron").unwrap().scale_m.unwrap();
    let low = deposition_mg_m2_d(RAIL_IRON_UG_M3, PM10_VELOCITY_M_S);
    let high = deposition_mg_m2_d(RAIL_IRON_UG_M3, oxide(10.0));
    vec![
        check_percent("FAL-20", HINDS, "1 um, m/s", unit(1.0), 3.48e-5, 1.0),
        check_percent("FAL-21", HINDS, "10 um", unit(10.0), 3.06e-3, 1.0),
        check_percent("FAL-22", HINDS, "100 um", unit(100.0), 0.249, 1.0),
        check_percent("FAL-23", DRAG, "iron oxide of 10 um", oxide(10.0), 0.015917, 0.1),
        check_percent("FAL-23", DRAG, "20 um", oxide(20.0), 0.061927, 0.1),
        check_percent("FAL-23", DRAG, "50 um", oxide(50.0), 0.34013, 0.1),
        check("FAL-24", RAIL, "iron beside rails, mg/(m2 d)", high, 1.3752, 1e-4),
        // The handbook's rate is the geometric middle of both velocities.
        check_percent("FAL-24", RAIL, "rate of the handbook", rail.rate, (low * high).sqrt(), 1.0),
        holds(
            "FAL-02",
            VTI,
            "little is left between 50 and 100 m",
            share_at(75.0, rail.scale_m.unwrap()) < 0.15 && share_at(30.0, rail.scale_m.unwrap()) > 0.4,
        ),
        check_percent("FAL-04", LIU, "black carbon beside roads falls by, 1/m", 1.0 / road_m, 0.0026, 1.0),
        holds("FAL-03", KARNER, "roads fade over 115 to 570 m", (115.0..=570.0).contains(&road_m)),
        check("FAL-11", HSU, "velocity of PM10, m/s", PM10_VELOCITY_M_S, 0.004, 0.0),
    ]
}

fn corrosivity() -> Vec<Check> {
    let class = |chloride: f64| ChlorideClass::of(chloride);
    let category = |um: f64| class_of(um, &CORROSIVITY_BOUNDS_UM);
    vec![
        check("FAL-30", ISO, "rcorr, um/a", carbon_steel_um(10.0, 80.0, 10.0, 10.0), 37.918877, 1e-4),
        check("FAL-31", ISO, "warm and clean", carbon_steel_um(20.0, 75.0, 5.0, 3.0), 16.004847, 1e-4),
        check("FAL-32", ISO, "cool and sulphurous", carbon_steel_um(5.0, 78.0, 35.0, 60.0), 45.96486, 1e-4),
        check("FAL-33", ISO, "by the sea", carbon_steel_um(25.0, 80.0, 2.0, 300.0), 139.020531, 1e-4),
        holds(
            "FAL-34",
            ISO,
            "C1 to CX end at 1.3, 25, 50, 80, 200 and 700 um",
            [1.3, 25.0, 50.0, 80.0, 200.0, 700.0].map(category) == [0, 1, 2, 3, 4, 5].map(Some)
                && category(25.1) == Some(2)
                && category(700.1).is_none(),
        ),
        holds(
            "FAL-35",
            CLASSES,
            "S0 to 3, S1 to 60, S2 to 300, then S3",
            [3.0, 60.0, 300.0, 1500.0].map(class)
                == [ChlorideClass::S0, ChlorideClass::S1, ChlorideClass::S2, ChlorideClass::S3]
                && class(3.1) == ChlorideClass::S1,
        ),
        holds(
            "FAL-35",
            CLASSES,
            "P0 to 10, P1 to 35, P2 to 80, P3 to 200",
            [10.0, 35.0, 80.0, 200.0].map(|so2| class_of(so2, &deposition::SULPHUR_BOUNDS_MG_M2_D))
                == [0, 1, 2, 3].map(Some),
        ),
        holds(
            "FAL-36",
            CLASSES,
            "T1 to 10, T2 to 250, T3 to 2500 h",
            [10.0, 250.0, 2500.0].map(|h| class_of(h, &WETNESS_BOUNDS_H)) == [0, 1, 2].map(Some),
        ),
    ]
}

/// The published worked records of loose dirt, hour by hour.
fn dirt() -> Vec<Check> {
    let dry = vec![AirStep { rain_mm: 0.0, pm25_g_m3: 10e-6, pm10_g_m3: 30e-6 }; 400];
    let mut wet = dry.clone();
    wet[372].rain_mm = 2.0;
    let level = loose_dirt_g_m2(&dry, 3600.0, 0.0, 1.0);
    let ratio = |steps: usize, tilt_deg| light_share(loose_dirt_g_m2(&dry, 3600.0, tilt_deg, 1.0)[steps - 1]);
    let mut rain = vec![0.0; 24 * 40];
    rain[372] = 2.0;
    let kimber = Kimber { loss_per_day: 0.0015, reset_mm: 1.0, grace_days: 3, most: 0.3 };
    let losses = kimber.losses(&rain, 1.0 / 24.0, 24);
    vec![
        check("FAL-12", HSU, "light after 24 h", ratio(24, 0.0), 0.998934, 2e-6),
        check("FAL-12", HSU, "light after 361 h", ratio(361, 0.0), 0.989402, 2e-6),
        check("FAL-13", HSU, "dirt after 360 h, g/m2", level[359], 0.115344, 1e-9),
        check("FAL-14", HSU, "light after 360 h at 30 deg", ratio(360, 30.0), 0.990639539, 2e-6),
        check(
            "FAL-15",
            HSU,
            "light after rain",
            light_share(loose_dirt_g_m2(&wet, 3600.0, 0.0, 1.0)[372]),
            1.0,
            0.0,
        ),
        check(
            "FAL-15",
            HSU,
            "dirt after rain that is just enough, g/m2",
            loose_dirt_g_m2(&wet, 3600.0, 0.0, 2.0)[372],
            0.0,
            0.0,
        ),
        check("FAL-16", KIMBER, "loss on day 15", losses[360], 0.0225, 1e-5),
        check("FAL-16", KIMBER, "loss on day 30.96", losses[743], 0.017313, 1e-5),
    ]
}

fn amounts() -> Vec<Check> {
    let prior = GammaProcess { shape_per_time: 2.0, belief: GammaBelief { shape: 3.0, scale: 2.0 } };
    let seen = prior.after(1.5, 0.9).after(2.0, 0.7);
    let mut rows = vec![
        check("FAL-40", GAMMA, "P(X(6) <= 6)", growth_within(12.0, 4.0, 6.0), 0.9974758703, 1e-9),
        check("FAL-41", GAMMA, "time to 10 %, months", growth_shape_to(4.0, 6.0, 0.1) / 2.0, 9.171034, 1e-5),
        check("FAL-41", GAMMA, "time to 50 %", growth_shape_to(4.0, 6.0, 0.5) / 2.0, 12.166255, 1e-5),
        check("FAL-42", CLOSED, "shape after two readings", seen.belief.shape, 10.0, 1e-12),
        check("FAL-42", CLOSED, "scale after two readings", seen.belief.scale, 3.6, 1e-12),
        check(
            "FAL-42",
            CLOSED,
            "mean rate",
            seen.shape_per_time * seen.belief.scale / (seen.belief.shape - 1.0),
            0.8,
            1e-12,
        ),
        check("FAL-44", CLOSED, "time to 10 %, months", seen.time_to(6.0, 0.1), 4.611309847, 1e-6),
    ];
    for (months, expected) in [(2.0, 0.99546603), (4.0, 0.9391238967), (8.0, 0.5274775056)] {
        let what = format!("P(X({months}) <= 6) after the readings");
        rows.push(check("FAL-43", CLOSED, what, seen.within(months, 6.0), expected, 1e-9));
    }
    rows
}

fn counts() -> Vec<Check> {
    let prior = GammaPoisson { belief: GammaBelief { shape: 2.0, scale: 4.0 } };
    let seen = prior.after(6.0, 9.0);
    let quantile = |p| gamma_quantile(seen.belief.shape, p) / seen.belief.scale;
    // Mean times between failures are the inverse of rates.
    let mtbf = |confidence: f64| 3309.0 / gamma_quantile(4.0, confidence);
    let next = [0, 1, 2, 3].map(|n| seen.probability_of(2.0, n));
    let mut rows = vec![
        check("FAL-45", POISSON, "shape", seen.belief.shape, 11.0, 0.0),
        check("FAL-45", POISSON, "scale", seen.belief.scale, 10.0, 0.0),
        check("FAL-45", POISSON, "mean, spots a week", seen.rate().expected, 1.1, 1e-12),
        check("FAL-45", POISSON, "5 %", quantile(0.05), 0.61690, 1e-5),
        check("FAL-45", POISSON, "50 %", quantile(0.5), 1.06685, 1e-5),
        check("FAL-45", POISSON, "95 %", quantile(0.95), 1.69622, 1e-5),
        check("FAL-46", POISSON, "P(up to 3)", next.iter().sum(), 0.806282, 1e-6),
        check("FAL-46", POISSON, "P(fewer than 4)", seen.below(2.0, 4.0), 0.806282, 1e-6),
        check("FAL-47", NIST_PRIOR, "scale of the prior, h", prior_of(600.0, 250.0).1, 1522.506, 0.05),
        check("FAL-47", NIST_PRIOR, "shape of the prior", prior_of(600.0, 250.0).0, 2.863055, 1e-4),
        check("FAL-48", NIST_PRIOR, "P(rate < 1/250)", growth_within(2.863, 1522.46, 0.004), 0.9499963, 1e-6),
        check("FAL-49", NIST_MTBF, "median, h", mtbf(0.5), 901.0, 1.0),
        check("FAL-49", NIST_MTBF, "80 % lower bound", mtbf(0.8), 600.0, 1.0),
        check("FAL-49", NIST_MTBF, "90 % lower bound", mtbf(0.9), 495.0, 1.0),
        check("FAL-50", NIST_TEST, "test time, h", 600.0 * gamma_quantile(4.0, 0.8) - 1400.0, 1909.0, 1.0),
    ];
    for (n, (got, expected)) in next.into_iter().zip([0.134588, 0.246745, 0.246745, 0.178205]).enumerate() {
        rows.push(check("FAL-46", POISSON, format!("P({n} spots)"), got, expected, 1e-6));
    }
    rows
}

/// The gamma prior of a rate whose inverse is as likely above as below one value, and with 5 % below another
/// (the 50/95 method): the ratio of two quantiles gives the shape.
fn prior_of(mtbf50: f64, mtbf05: f64) -> (f64, f64) {
    let (mut low, mut high) = (0.5, 20.0);
    for _ in 0..80 {
        let shape = f64::midpoint(low, high);
        let ratio = gamma_quantile(shape, 0.95) / gamma_quantile(shape, 0.5);
        if ratio > mtbf50 / mtbf05 { low = shape } else { high = shape }
    }
    (low, gamma_quantile(low, 0.5) * mtbf50)
}

/// Years of measured weather.
fn records() -> Vec<Check> {
    let lines = |text: &'static str| text.lines().filter(|line| !line.starts_with('#'));
    let hours: Vec<AirStep> = lines(include_str!("../data/soiling_hsu.csv"))
        .map(|line| {
            let cells: Vec<f64> = line.split(',').map(|cell| cell.parse().unwrap()).collect();
            AirStep { rain_mm: cells[0], pm25_g_m3: cells[1] * 1e-6, pm10_g_m3: cells[2] * 1e-6 }
        })
        .collect();
    let light: Vec<f64> = loose_dirt_g_m2(&hours, 3600.0, 0.0, 0.5).into_iter().map(light_share).collect();
    let resets = hours.iter().filter(|hour| hour.rain_mm >= 0.5).count();
    let (least_at, least) = light.iter().enumerate().min_by(|a, b| a.1.total_cmp(b.1)).unwrap();
    let days: Vec<f64> =
        lines(include_str!("../data/seattle_rain.csv")).map(|line| line.parse().unwrap()).collect();
    let kimber = Kimber { loss_per_day: 0.0015, reset_mm: 6.0, grace_days: 14, most: 0.3 };
    let losses = kimber.losses(&days, 1.0, 1);
    let (most_at, most) = losses.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1)).unwrap();
    let mut dry = (0, 0);
    let mut run = 0;
    for (i, &rain_mm) in days.iter().enumerate() {
        run = if rain_mm < 1.0 { run + 1 } else { 0 };
        dry = dry.max((run, i + 1 - run));
    }
    let mean = |values: &[f64]| values.iter().sum::<f64>() / values.len() as f64;
    vec![
        check("DAT-02", HSU, "hours", hours.len() as f64, 8760.0, 0.0),
        check("DAT-02", HSU, "mean light", mean(&light), 0.944706947, 1e-7),
        check("DAT-02", HSU, "least light", *least, 0.846144462, 1e-7),
        // 12 October, 09:00, is hour 9 of day 284.
        check("DAT-02", HSU, "its hour", least_at as f64, 284.0 * 24.0 + 9.0, 0.0),
        check("DAT-02", HSU, "last hour", light[8759], 0.969692477, 1e-7),
        check("DAT-02", HSU, "resets", resets as f64, 80.0, 0.0),
        check("DAT-01", KIMBER, "days of rain record", days.len() as f64, 1461.0, 0.0),
        check("DAT-01", KIMBER, "rain, mm", days.iter().sum(), 4426.0, 1e-6),
        check("DAT-03", KIMBER, "mean loss", mean(&losses), 0.009331622, 1e-7),
        check("DAT-03", KIMBER, "greatest loss", *most, 0.1275, 1e-7),
        // 11 August 2015 is day 222 of the year after three years.
        check("DAT-03", KIMBER, "its day", most_at as f64, 366.0 + 365.0 + 365.0 + 222.0, 0.0),
        check(
            "DAT-03",
            KIMBER,
            "clean days",
            losses.iter().filter(|l| **l == 0.0).count() as f64,
            1053.0,
            0.0,
        ),
        check("DAT-04", KIMBER, "longest dry run, days", dry.0 as f64, 81.0, 0.0),
        // 23 July 2012.
        check("DAT-04", KIMBER, "its first day", dry.1 as f64, 204.0, 0.0),
    ]
}
